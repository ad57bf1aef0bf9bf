/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Light made even over a clip: frames are seen through coarse cells. What each cell mostly is over fixed frames is
 * common to all; how a frame differs from that, in most of its cells, is its flicker. Cells in which something moves
 * disagree with the rest and are left out.
 */
#ifndef KINDS_EVEN_LIGHT_H
#define KINDS_EVEN_LIGHT_H

#include <passel/error.h>
#include <stdbool.h>
#include <stdint.h>

#include "picture/picture.h"

/* How the gain may differ over the frame: not at all, as a slow surface of second order, or from row to row. */
enum even_light { EVEN_WHOLE, EVEN_AREAS, EVEN_BANDS };

/* Cells of whole pixels over a display window. */
struct light_grid {
    struct rect display;
    int32_t cell_width, cell_height;
    int32_t columns, rows;
};

/* A gain for every pixel: values at cell centres, linear between them, held outside. */
struct gain_field {
    double x0, y0, cell_width, cell_height;
    int32_t columns, rows;
    float *gain; /* columns * rows */
};

struct light_grid light_grid_over(struct rect display, enum even_light mode, int scale);

/* Mean light (a quarter of red, half of green, a quarter of blue) of each cell in out->area – its x and y are columns
 * and rows of cells – to plane A. `in` holds R, G and B of all their pixels (light_grid_pixels). */
void light_grid_measure(const struct light_grid *grid, const struct picture *in, const struct picture *out);
struct rect light_grid_pixels(const struct light_grid *grid, struct rect cells);

/*
 * The gain that brings the frame with cell means `light` to the level of the frames `others`, in their order in time
 * (their geometric mean, those in the middle counting most). All are pictures of columns x rows in plane A. Cells
 * darker than 2 % of a frame's mean say nothing; without any that says something the gain is 1. field->gain is for
 * memory_free.
 */
enum passel_status even_light_gain(const struct light_grid *grid, enum even_light mode, const struct picture *light,
                                   const struct picture *others, int other_count, struct gain_field *field,
                                   struct passel_error *error);

/* row[i] *= the gain at pixel (x0 + i, y). */
void gain_field_row(const struct gain_field *field, int32_t x0, int32_t y, int32_t count, float *row);
/* The gain at a position in pixels (centres at half-integers). */
float gain_field_at(const struct gain_field *field, double x, double y);

#endif
