/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * extend: the way in which ridges and layers run where they meet the plate's border.
 *
 * Cells along a border are rows of `width` values, the outermost row first. A slant is how many cells along the border
 * a structure shifts per cell outwards.
 */
#ifndef KINDS_EXTEND_SLANT_H
#define KINDS_EXTEND_SLANT_H

#include <passel/error.h>
#include <stdbool.h>
#include <stdint.h>

#include "picture/picture.h"

#define SLANT_COLOURS 3

struct slant_cells {
    double *value[SLANT_COLOURS];
    const bool *known;
    const double *square, *product; /* sums of f_along² and f_in f_along in a cell, f being the root of the light */
    int32_t width, rows;
};

/* Sums of f_x², f_x f_y and f_y² in cells of `size` pixels: sums[k][row * stride + column]. */
enum passel_status slant_measure(const struct picture *plate, struct rect area, int32_t size, float *const sums[3],
                                 int32_t stride, struct passel_error *error);

/* slant[width]: of what lies at the rows from `first` inwards, which are few: what matters is how it meets that row. */
void slant_find(const struct slant_cells *cells, int32_t first, double *slant);

/* Sets the rows before `first` to its values, shifted by the slants (NULL: straight on) and ever more blurred. */
void slant_carry(const struct slant_cells *cells, int32_t first, const double *slant);

#endif
