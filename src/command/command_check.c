/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * passel check: is the recipe right, and are all files there?
 */
#include <stdio.h>

#include "base/error.h"
#include "base/memory.h"
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
    (void)fprintf(stderr, "warning, frame %d: %s\n", (int)frame, text);
}

/* A recipe without an output is looked at as a whole. */
static enum passel_status make_graph(const struct recipe *recipe, struct graph **graph, struct text *messages,
                                     struct passel_error *error)
{
    const struct block **pictures = memory_zeros((size_t)recipe->block_count + 1, sizeof *pictures);
    int count = 0;
    bool has_output = false;
    if (pictures == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int i = 0; i < recipe->block_count; i++) {
        has_output = has_output || recipe->blocks[i]->schema->form == HEAD_OUTPUT;
        if (recipe->blocks[i]->schema->makes == MAKES_PICTURE)
            pictures[count++] = recipe->blocks[i];
    }
    const enum passel_status status =
        graph_new(recipe, (struct manner){ 0 }, pictures, has_output ? 0 : count, graph, messages, error);
    memory_free(pictures);
    return status;
}

static void print_count(int count, const char *what)
{
    (void)printf("%d %s%s", count, what, count == 1 ? "" : "s");
}

static enum exit_code check_graph(const struct passel_recipe *recipe)
{
    struct graph *graph = NULL;
    struct text messages = { 0 };
    struct passel_error error = { 0 };
    const enum passel_status status = make_graph(recipe->recipe, &graph, &messages, &error);
    if (status != PASSEL_OK) {
        (void)fprintf(stderr, "%s", messages.length > 0 ? messages.bytes : error.text);
        text_release(&messages);
        return exit_code_of(status);
    }
    struct check_result result;
    check_frames_of(graph, tell, NULL, &result);
    (void)printf("%s: ", recipe->recipe->path);
    print_count(recipe->recipe->block_count, "block");
    (void)printf(", ");
    print_count(graph->output_count, "output");
    (void)printf(", ");
    print_count(result.frames, "frame");
    if (result.faulty > 0)
        (void)printf("; %d of the frames cannot be made\n", result.faulty);
    else
        (void)printf("; all files are there\n");
    graph_free(graph);
    text_release(&messages);
    return exit_code_of(result.faulty > 0 && result.faulty < result.frames ? PASSEL_PARTLY : result.first);
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
    .notes = "Opens every file that the outputs need, at every frame; makes no pixels and writes nothing.\n"
             "Ends with the exit code that `passel render` would end with, as far as can be told.\n",
    .least_arguments = 1,
    .most_arguments = 1,
    .options = options,
    .run = run,
};
