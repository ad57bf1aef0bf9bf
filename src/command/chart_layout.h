/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Where the blocks of a recipe stand in a drawing: columns from sources on the left to outputs on the right, rows
 * ordered so that lines cross little.
 */
#ifndef COMMAND_CHART_LAYOUT_H
#define COMMAND_CHART_LAYOUT_H

#include <passel/error.h>

#include "language/recipe.h"

struct chart_line {
    int from, to;     /* block numbers */
    const char *role; /* the word of the setting that names it */
    const char *further; /* the further picture's name, or NULL */
};

struct chart {
    const struct recipe *recipe;
    struct chart_line *lines;
    int line_count, line_room;
    int *column, *row; /* per block; column -1: not drawn (shot, curves that nobody uses) */
    int columns, rows;
};

enum passel_status chart_make(struct chart *chart, const struct recipe *recipe, struct passel_error *error);
void chart_release(struct chart *chart);

#endif
