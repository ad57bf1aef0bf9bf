/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * passel check: is the recipe right, and are all files there?
 */
#include <stdio.h>

#include "command/command.h"
#include "command/open_recipe.h"
#include "engine/check_files.h"
#include "engine/recipe_handle.h"

static const struct option options[] = {
    { "--set", "'BLOCK: LINE'", true, "a setting for this run only; may be given several times" },
    { NULL, NULL, false, NULL },
};

static void tell(void *user, int32_t frame, const char *text)
{
    (void)user;
    (void)fprintf(stderr, "warning, from frame %d on: %s\n", (int)frame, text);
}

static enum exit_code check_graph(const struct passel_recipe *recipe)
{
    struct graph *graph = NULL;
    struct text messages = { 0 };
    struct passel_error error = { 0 };
    const enum passel_status status = graph_new(recipe->recipe, 1, NULL, 0, &graph, &messages, &error);
    if (status != PASSEL_OK) {
        (void)fprintf(stderr, "%s", messages.length > 0 ? messages.bytes : error.text);
        text_release(&messages);
        return exit_code_of(status);
    }
    struct check_result result;
    check_frames_of(graph, tell, NULL, &result);
    (void)printf("%s: %d blocks, %d outputs, %d frames", recipe->recipe->path, recipe->recipe->block_count,
                 graph->output_count, result.frames);
    if (result.faulty > 0)
        (void)printf("; %d of the frames cannot be made\n", result.faulty);
    else
        (void)printf("; all files are there\n");
    graph_free(graph);
    text_release(&messages);
    return result.faulty > 0 ? exit_code_of(result.first) : EXIT_FINE;
}

static enum exit_code run(const struct call *call)
{
    struct passel_recipe *recipe;
    enum exit_code code = open_recipe(call, &recipe);
    if (code != EXIT_FINE)
        return code;
    code = check_graph(recipe);
    passel_recipe_free(recipe);
    return code;
}

const struct command command_check = {
    .name = "check",
    .arguments = "RECIPE",
    .summary = "Says whether a recipe is right and all its files are there.",
    .notes = "Opens every file that the outputs need, at every frame; makes no pixels and writes nothing.\n",
    .least_arguments = 1,
    .most_arguments = 1,
    .options = options,
    .run = run,
};
