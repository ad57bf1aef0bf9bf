/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The prefilter of quintic B-spline interpolation (Unser, Aldroubi and Eden 1991/1993): the samples of the B-spline at
 * whole numbers are (1 26 66 26 1)/120, whose inverse is a cascade of two recursive filters, each run forwards and
 * backwards, with the poles z for which z^4 + 26 z^3 + 66 z^2 + 26 z + 1 = 0 and |z| < 1. The picture continues
 * mirrored about its border, so both ends start from exact sums.
 */
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "picture/geometry.h"

#define POLES 2
#define LANES 16   /* rows or columns that are filtered side by side */
#define HORIZON 40 /* 0.4306^40 is below 1e-14 */

static const double poles[POLES] = { -0.43057534709997430, -0.043096288203264652 };

/* Index of the mirrored continuation: … 1 0 | 0 1 … n-1 | n-1 n-2 … */
static size_t mirrored(size_t i, size_t n)
{
    const size_t phase = i % (2 * n);
    return phase < n ? phase : 2 * n - 1 - phase;
}

/* One recursive filter forwards and backwards over `lanes` ≤ LANES columns of n samples, `step` floats from one sample
 * to the next. */
static inline void filter_pole(float *samples, size_t n, size_t step, size_t lanes, double pole)
{
    const float z = (float)pole;
    float start[LANES] = { 0 };
    for (size_t k = HORIZON; k-- > 0;) /* what comes before sample 0: its mirror image, the farthest first */
        for (size_t lane = 0; lane < lanes; lane++)
            start[lane] = (start[lane] + samples[mirrored(k, n) * step + lane]) * z;
    for (size_t lane = 0; lane < lanes; lane++)
        samples[lane] += start[lane];
    for (size_t i = 1; i < n; i++)
        for (size_t lane = 0; lane < lanes; lane++)
            samples[i * step + lane] += z * samples[(i - 1) * step + lane];
    const float last = (float)(pole / (pole - 1)); /* from c[n] = c[n-1] */
    for (size_t lane = 0; lane < lanes; lane++)
        samples[(n - 1) * step + lane] *= last;
    for (size_t i = n - 1; i-- > 0;)
        for (size_t lane = 0; lane < lanes; lane++)
            samples[i * step + lane] = z * (samples[(i + 1) * step + lane] - samples[i * step + lane]);
}

static inline void filter_lanes(float *samples, size_t n, size_t step, size_t lanes)
{
    double gain = 1;
    for (int p = 0; p < POLES; p++)
        gain *= (1 - poles[p]) * (1 - 1 / poles[p]);
    for (size_t i = 0; i < n; i++)
        for (size_t lane = 0; lane < lanes; lane++)
            samples[i * step + lane] *= (float)gain;
    for (int p = 0; p < POLES; p++)
        filter_pole(samples, n, step, lanes, poles[p]);
}

/* Down all columns of a plane; whole vectors of columns where there are as many. */
static void filter_columns(float *plane, size_t width, size_t height, size_t stride)
{
    size_t x = 0;
    for (; x + LANES <= width; x += LANES)
        filter_lanes(plane + x, height, stride, LANES);
    if (x < width)
        filter_lanes(plane + x, height, stride, width - x);
}

/* Along all rows: LANES rows are turned into columns in `scratch` (width * LANES floats), filtered and turned back. */
static void filter_rows(float *plane, size_t width, size_t height, size_t stride, float *scratch)
{
    for (size_t y = 0; y < height; y += LANES) {
        const size_t rows = height - y < LANES ? height - y : LANES;
        for (size_t row = 0; row < rows; row++)
            for (size_t x = 0; x < width; x++)
                scratch[x * LANES + row] = plane[(y + row) * stride + x];
        for (size_t row = rows; row < LANES; row++)
            for (size_t x = 0; x < width; x++)
                scratch[x * LANES + row] = 0;
        filter_lanes(scratch, width, LANES, LANES);
        for (size_t row = 0; row < rows; row++)
            for (size_t x = 0; x < width; x++)
                plane[(y + row) * stride + x] = scratch[x * LANES + row];
    }
}

enum passel_status spline_prepare(const struct picture *picture, struct passel_error *error)
{
    const size_t width = (size_t)rect_width(picture->area), height = (size_t)rect_height(picture->area);
    if (width == 0 || height == 0)
        return PASSEL_OK;
    float *scratch = memory_new(width * LANES * sizeof *scratch);
    if (scratch == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "no memory for the spline filter of a row of %zu pixels", width);
    for (int plane = 0; plane < PLANE_COUNT; plane++)
        if (picture->plane[plane] != NULL) {
            filter_columns(picture->plane[plane], width, height, picture->stride);
            filter_rows(picture->plane[plane], width, height, picture->stride, scratch);
        }
    memory_free(scratch);
    return PASSEL_OK;
}
