/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The setting `encoding`, which `pass` and `output` share: `encoding srgb`, `encoding gamma 2.2`.
 */
#ifndef KINDS_ENCODING_SETTING_H
#define KINDS_ENCODING_SETTING_H

#include "language/recipe.h"
#include "picture/encoding.h"

/* The words, in the order of enum encoding_curve. */
extern const struct choice encoding_choices[];

/* The value specs of the setting: the word, and the number of `gamma N`. */
#define ENCODING_VALUES                                                                        \
    { .label = "ENCODING", .type = VALUE_CHOICE, .choices = encoding_choices },                \
    {                                                                                          \
        .label = "N", .type = VALUE_NUMBER, .optional = true, .limited = true, .least = 0.1, .most = 10 \
    }

/* What the setting says, or `otherwise` when it is NULL. `gamma` without a number is 2.2. */
struct encoding encoding_setting(const struct setting *setting, struct encoding otherwise);

#endif
