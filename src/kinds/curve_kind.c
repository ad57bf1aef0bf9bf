/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The kind `curve`: a number over frames. The parser turns its lines into block->track; values that name the block
 * read that. It makes no picture.
 */
#include "kinds/kinds.h"

static const struct choice leaving[] = {
    { "linear", "a straight line to the next key (when nothing is said)" },
    { "smooth", "a gentle start and end, never beyond the two keys" },
    { "hold", "stays until the next key" },
    { NULL, NULL },
};

static const struct value_spec key[] = {
    { .label = "FRAME", .type = VALUE_INTEGER },
    { .label = "NUMBER", .type = VALUE_NUMBER },
    { .label = NULL },
};

static const struct setting_spec settings[] = {
    { .word = NULL,
      .help = "a key: the shot frame, the number there, and how the curve leaves it",
      .values = key,
      .operators = leaving,
      .repeats = true,
      .required = true },
    { .help = NULL },
};

const struct kind kind_curve = {
    .schema = { .name = "curve",
                .summary = "A number over frames, usable wherever a number may change.",
                .notes =
                    "Keys stand in rising order; before the first and after the last the curve holds. It is a bare "
                    "number in the base unit of the setting that uses it, and is read at the frame asked of the "
                    "block that names it. For a curve used once, the same keys can stand in the setting: "
                    "`opacity [1001 0, 1010 1 smooth]`.",
                .example = "strike = curve\n"
                           "  1008  0\n"
                           "  1010  1     smooth\n"
                           "  1013  0.25  hold\n"
                           "  1014  0.9   smooth\n"
                           "  1024  0\n",
                .form = HEAD_NAMED,
                .makes = MAKES_NUMBER,
                .settings = settings },
};
