/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Means over square windows, at a cost that does not depend on the window. For whole pictures only: the running sums
 * start at the picture's edges, so the bits of a part would differ.
 */
#ifndef NUMERICS_BOX_MEAN_H
#define NUMERICS_BOX_MEAN_H

#include <stddef.h>
#include <stdint.h>

/* out[y][x] = mean of in over the window of (2 radius + 1)², cut to the picture (fewer pixels near an edge). Rows of
 * both are `stride` floats apart. `columns` is memory for `width` doubles. `out` must not be `in`. */
void box_mean(const float *in, float *out, int32_t width, int32_t height, size_t stride, int radius, double *columns);

#endif
