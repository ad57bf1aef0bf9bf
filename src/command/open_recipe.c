/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "command/open_recipe.h"

#include <stdio.h>

enum exit_code open_recipe(const struct call *call, struct passel_recipe **recipe)
{
    const char *changes[GIVEN_LIMIT];
    const int count = call_values(call, "--set", changes);
    struct passel_error error = { 0 };
    char *messages = NULL;
    const enum passel_status status =
        passel_recipe_load(call->arguments[0], changes, count, recipe, &messages, &error);
    enum exit_code code = exit_code_of(status);
    if (messages != NULL)
        (void)fprintf(stderr, "%s", messages);
    else
        code = end_with(status, &error);
    passel_text_free(messages);
    return code;
}
