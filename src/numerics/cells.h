/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A picture seen through coarse cells: what is left of it when only slow changes count, such as the light on a screen.
 * Cells without a value are filled so that the whole is smooth; between cell centres the field is a cubic B-spline.
 */
#ifndef NUMERICS_CELLS_H
#define NUMERICS_CELLS_H

#include <passel/error.h>

#include "picture/picture.h"

#define CELL_PLANES 4
#define CELL_SIZE_LIMIT 1024
#define CELL_SAMPLES_ALONG 8 /* a cell's medians look at so many pixels each way, at most */
#define CELL_NOISE 0.16F     /* sigma of a value, where the cell is full, in sigmas of a pixel: 1.253 / 8 */

struct cells {
    struct rect area; /* the pixels that are covered; the last column and row of cells may be cut */
    int32_t size;     /* pixels along a cell's side, ≤ CELL_SIZE_LIMIT */
    int32_t width, height, planes;
    float *value[CELL_PLANES];  /* width * height each */
    float *spread[CELL_PLANES]; /* how far the middle half of its pixels is from the value (median of |difference|) */
    float *weight;              /* 0: the value says nothing */
};

/* All zero. */
enum passel_status cells_new(struct cells *cells, struct rect area, int32_t size, int32_t planes,
                             struct passel_error *error);
void cells_release(struct cells *cells); /* a zeroed one is fine */

/* Sets value and spread of plane p to the medians of picture plane p (which covers the area), and weights to 1. */
void cells_measure(struct cells *cells, const struct picture *picture);

/* Gives cells of weight 0 values: a surface of second order (less when few are known) through those that are known,
 * plus a membrane of what it misses there. False when no cell has weight. */
bool cells_fill(struct cells *cells);

/* The polynomial surface of order ≤ `order` (0 … 2) through the weighted cells, at every cell: surface[width * height].
 * `weight` stands for cells->weight. False when nothing has weight. */
bool cells_surface(const struct cells *cells, const float *values, const float *weight, int order, float *surface);

/* Weights of four neighbours for a place 0 ≤ t < 1 between the middle two: a uniform cubic B-spline. */
void cubic_weights(float t, float weights[4]);

/* out[i] = the field of a plane at pixel (x0 + i, y), 0 ≤ i < count. Outside the outermost cells' centres it goes on in
 * a straight line, for two cells at most; then it is held. */
void cells_row(const struct cells *cells, int plane, int32_t x0, int32_t y, int32_t count, float *out);

#endif
