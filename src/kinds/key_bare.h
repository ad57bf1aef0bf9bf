/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Finding the bare screen in a shot that was filmed without its empty, and making the whole screen from it.
 */
#ifndef KINDS_KEY_BARE_H
#define KINDS_KEY_BARE_H

#include <passel/error.h>

#include "numerics/cells.h"
#include "numerics/noise_model.h"

/* The same cells of one or several takes that show the same thing before different screens. */
struct bare_view {
    struct cells *takes[16];
    const struct noise *noise[16]; /* of R, G, B of each take */
    int count;
    float *score; /* per cell: how much it looks like bare screen; larger is surer */
};

/* Sets the weight of every take's cells to 1 where the screen is bare in all takes and 0 elsewhere: cells that look the
 * surest, then all flat cells that continue them smoothly. *bare is the number of bare cells. Changes spreads. */
enum passel_status bare_select(struct bare_view *view, int *bare, struct passel_error *error);

#endif
