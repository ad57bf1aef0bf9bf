/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * passel tidy: prints a recipe back in its settled form.
 */
#include <stdio.h>

#include "base/file.h"
#include "command/command.h"
#include "command/open_recipe.h"
#include "engine/recipe_handle.h"

static const struct option options[] = {
    { "--write", NULL, false, "write the file itself instead of printing" },
    { "--set", "'BLOCK: LINE'", true, "change a setting; may be given several times" },
    { NULL, NULL, false, NULL },
};

static enum exit_code run(const struct call *call)
{
    struct passel_recipe *recipe;
    const enum exit_code code = open_recipe(call, &recipe);
    if (code != EXIT_FINE)
        return code;
    struct text text = { 0 };
    struct passel_error error = { .text = "out of memory" };
    recipe_print(recipe->recipe, &text);
    enum passel_status status = text.failed ? PASSEL_NO_MEMORY : PASSEL_OK;
    if (status == PASSEL_OK && call_has(call, "--write"))
        status = file_write(call->arguments[0], text.bytes, text.length, &error);
    else if (status == PASSEL_OK)
        (void)fwrite(text.bytes, 1, text.length, stdout);
    text_release(&text);
    passel_recipe_free(recipe);
    return end_with(status, &error);
}

const struct command command_tidy = {
    .name = "tidy",
    .arguments = "RECIPE",
    .summary = "Prints a recipe back, columns aligned, comments kept.",
    .least_arguments = 1,
    .most_arguments = 1,
    .options = options,
    .run = run,
};
