/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * extend: how bright a frame of the plate is against the frames that its fill was found from. A picture of mean light
 * per cell is made of every frame; the cells near the border are compared.
 */
#ifndef KINDS_EXTEND_LEVEL_H
#define KINDS_EXTEND_LEVEL_H

#include <passel/error.h>
#include <stdbool.h>
#include <stdint.h>

#include "picture/picture.h"

/* Pixels along a cell's side. */
int32_t level_cell(int scale);

/* The window of the picture of cells: one pixel per cell of `area`, from (0, 0). */
struct rect level_window(struct rect area, int32_t cell);

/* The pixels that a part of the picture of cells looks at. */
struct rect level_pixels(struct rect area, int32_t cell, struct rect cells);

/* R, G, B: mean light of a cell's pixels that count; A: how many do, 0 … 1. `hole` may be NULL; where its A is above 0
 * a pixel does not count. Both cover level_pixels of `out`. */
void level_measure(const struct picture *plate, const struct picture *hole, struct rect area, int32_t cell,
                   const struct picture *out);

/* Chosen cells and their light in the frames that were looked at. */
struct level_reference {
    int32_t count;
    int32_t *x, *y; /* in the picture of cells */
    float *light[3];
    void *block; /* holds them */
};

/* Keeps the cells of `levels` that `wanted` names (as many as cells, row-major; NULL: all) and that count at least
 * half. */
enum passel_status level_reference_new(struct level_reference *reference, const struct picture *levels,
                                       const bool *wanted, struct passel_error *error);
void level_reference_release(struct level_reference *reference);

/* gain[c]: how many times as bright the cells of `levels` are as the reference; robust against those in which something
 * else has changed. 1 where nothing can be said. `room` holds 3 * count floats. */
void level_gain(const struct level_reference *reference, const struct picture *levels, float *room, float gain[3]);

/* A number that follows from the light of all cells: equal for equal frames, and hardly ever else. */
uint64_t level_seed(const struct picture *levels);

#endif
