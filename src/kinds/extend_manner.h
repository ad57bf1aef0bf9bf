/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * extend: the manners in which the light of a plate can go on past an edge, and how well each suits this plate.
 */
#ifndef KINDS_EXTEND_MANNER_H
#define KINDS_EXTEND_MANNER_H

#include "kinds/extend_gradient.h"
#include "numerics/extrapolate.h"

enum side { SIDE_TOP, SIDE_BOTTOM, SIDE_LEFT, SIDE_RIGHT, SIDE_COUNT };

static inline bool is_upright(enum side side)
{
    return side == SIDE_TOP || side == SIDE_BOTTOM;
}

#define MANNERS 19

/* The plate's cells in the grid of the field: those that it covers at least half. */
struct rect plate_cells(const struct gradient *gradient);
/* Cells to be found past a side; 0: the plate ends there. */
int32_t side_gap(const struct gradient *gradient, enum side side);

/* How a field goes on in a manner, past a side that is `gap` cells wide. */
struct extrapolate_law manner_law(int manner, int32_t gap, bool upright);

/* Of a known cell's value against bending. */
double manner_trust(int manner);

/* Whether two neighbouring cells are of one kind: no edge of a thing runs between them. */
bool cells_are_gradual(const struct cells *field, int32_t a, int32_t b);

/* Cells of the plate along a side. */
int32_t side_length(const struct gradient *gradient, enum side side);

/* weight[manner * side_length + i]: the say of a manner past the i-th cell of a side; at each place they add up to 1.
 * Bands of the plate along the side, of several depths, are guessed from what lies behind them in each manner.
 * belief[cell]: how much a cell counts, 0 … 1. Past a left or a right side the carrying's arrays,
 * of side_length and 0 before, are set, too. */
enum passel_status manners_weigh(const struct gradient *gradient, const double *belief, enum side side, double *weight,
                                 const struct carrying *carrying, struct passel_error *error);

#endif
