/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What a matte input asks for, and the refusal of a picture that cannot be one.
 */
#include "kinds/alpha_input.h"

#include "base/error.h"

int alpha_ask(struct ask_list *list, const struct value *value, int32_t frame)
{
    ask_add(list, (struct ask){ .block = value->block, .picture = value->picture, .frame = frame, .planes = HAS_A });
    return list->count - 1;
}

enum passel_status alpha_check(const struct at *at, int ask, const struct value *value, struct passel_error *error)
{
    const unsigned planes = at->inputs[ask].planes;
    if (planes == 0 || (planes & HAS_A) != 0)
        return PASSEL_OK;
    return recipe_error(at->recipe, value->where, PASSEL_BAD_RECIPE, error,
                        "expected a matte, or a picture with alpha; `%s` is colour alone. A block\n"
                        "  NAME = key luma %s\n"
                        "makes a matte from its brightness",
                        value->text, value->text);
}
