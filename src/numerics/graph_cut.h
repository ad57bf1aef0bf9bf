/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Chooses a label for each cell of a grid so that labels suit their cells and neighbours agree: alpha expansion by
 * minimum cuts (Boykov, Veksler, Zabih 2001). All costs are whole numbers, so the result is exact and the same
 * everywhere.
 */
#ifndef NUMERICS_GRAPH_CUT_H
#define NUMERICS_GRAPH_CUT_H

#include <passel/error.h>
#include <stdbool.h>
#include <stdint.h>

#define GRAPH_COST_LIMIT 10000000 /* of one cell or pair */

struct labelling {
    int32_t width, height, labels;
    const bool *open; /* cells that get a label; the others are no part of it */
    void *data;
    /* Cost of a label at a cell. */
    int32_t (*cell)(const void *data, int32_t cell, int32_t label);
    /* Cost of labels a and b at neighbouring open cells p and q; a metric in a and b, 0 when they are equal. */
    int32_t (*pair)(const void *data, int32_t p, int32_t q, int32_t a, int32_t b);
};

/* label[cell] of open cells starts as any label in 0 … labels - 1 and ends as one that no expansion of a single label
 * improves, or after `rounds` over all labels. */
enum passel_status graph_cut_label(const struct labelling *labelling, int rounds, int32_t *label,
                                   struct passel_error *error);

#endif
