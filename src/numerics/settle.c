/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The estimate is that of Lee (1980), mean + gate (value - mean), but the gate is a test and not a ratio of variances,
 * so that what stands out of the noise is not drawn to the mean at all. In the 5x5 window around a pixel:
 *
 *   chi    the variance of what is left of a plane, over the noise's (1 expected, standard deviation sqrt(2 / 22))
 *   line   the mean along each of four lines through the pixel, and of the 3x3 in the middle, against the window's:
 *          squared, over the variance of that difference (1 expected, five times taken the largest)
 *
 * Lines find a wire that is fainter than one pixel's noise. A gate that opens alone among closed neighbours is chance
 * and stays closed: an edge or a wire opens its neighbours' gates too.
 */
#include "numerics/settle.h"

#include "numerics/between.h"

#define HALF 2
#define SIDE (2 * HALF + 1)
#define WINDOW (SIDE * SIDE)
#define SLOPE_SQUARES 50.0F /* Σ dx² of the window */
#define FREE (WINDOW - 3)
#define CHI_FROM 1.6F /* two standard deviations above 1 */
#define CHI_TO 2.2F   /* four */
#define LINE_FROM 6.0F
#define LINE_TO 12.0F
/* 1 / variance of (Σ of the part - n / 25 Σ of the window), per pixel's variance: n - n² / 25. */
#define LINE_SHARE (1 / (5.0F - 25.0F / 25))
#define MIDDLE_SHARE (1 / (9.0F - 81.0F / 25))
#define ALONE_FROM 0.12F /* mean gate of 3x3: one alone makes 1 / 9 */
#define ALONE_TO 0.3F
#define ORIGIN 0.5F      /* taken off the values, so that squares of 0 and 1 are small alike */
#define ROUNDING 1.5e-6F /* of Σ of squares: a variance that drowns in it is not believed */

/* Sums down the window's columns, for one row; as wide as the values. */
struct columns {
    float *sum, *square, *slope, *variance, *middle;
};

static void sum_values(const float *const v[SIDE], float *restrict sum, float *restrict square, float *restrict slope,
                       float *restrict middle, int32_t count)
{
    const float *restrict a = v[0], *restrict b = v[1], *restrict c = v[2], *restrict d = v[3], *restrict e = v[4];
    for (int32_t x = 0; x < count; x++) {
        const float p = a[x] - ORIGIN, q = b[x] - ORIGIN, r = c[x] - ORIGIN, s = d[x] - ORIGIN, t = e[x] - ORIGIN;
        const float three = q + r + s;
        middle[x] = three;
        sum[x] = three + (p + t);
        square[x] = (p * p + t * t) + (q * q + s * s) + r * r;
        slope[x] = 2 * (t - p) + (s - q);
    }
}

static void sum_variances(const float *const v[SIDE], float *restrict sum, int32_t count)
{
    const float *restrict a = v[0], *restrict b = v[1], *restrict c = v[2], *restrict d = v[3], *restrict e = v[4];
    for (int32_t x = 0; x < count; x++)
        sum[x] = (a[x] + e[x]) + (b[x] + d[x]) + c[x];
}

static inline float five(const float *row)
{
    return (row[0] + row[4]) + (row[1] + row[3]) + row[2];
}

static inline float squared(float value)
{
    return value * value;
}

/* 0 … 1 between two thresholds. */
static inline float rise(float value, float from, float to)
{
    return between((value - from) * (1 / (to - from)), 0, 1);
}

/* mean and gate[x] of the windows in whose corner the columns at x are. */
static void test_windows(const float *const v[SIDE], const struct columns *columns, float *restrict mean,
                         float *restrict gate, int32_t count)
{
    const float *restrict a = v[0], *restrict b = v[1], *restrict c = v[2], *restrict d = v[3], *restrict e = v[4];
    const float *restrict sums = columns->sum, *restrict middles = columns->middle;
    for (int32_t x = 0; x < count; x++) {
        const float *column = sums + x;
        const float sum = five(column), fifth = sum * (1.0F / SIDE);
        const float across = 2 * (column[4] - column[0]) + (column[3] - column[1]);
        const float left = five(columns->square + x) - sum * sum * (1.0F / WINDOW) -
                           (squared(across) + squared(five(columns->slope + x))) * (1 / SLOPE_SQUARES);
        const float own = WINDOW / (five(columns->variance + x) + 1e-12F);
        const float over = (c[x] + c[x + 4]) + (c[x + 1] + c[x + 3]) + c[x + 2] - SIDE * ORIGIN - fifth;
        const float falling = (a[x] + e[x + 4]) + (b[x + 1] + d[x + 3]) + c[x + 2] - SIDE * ORIGIN - fifth;
        const float rising = (e[x] + a[x + 4]) + (d[x + 1] + b[x + 3]) + c[x + 2] - SIDE * ORIGIN - fifth;
        const float nine = middles[x + 1] + middles[x + 2] + middles[x + 3] - sum * (9.0F / WINDOW);
        const float lines =
            larger(larger(squared(over), squared(column[2] - fifth)), larger(squared(falling), squared(rising)));
        const float part = larger(lines * LINE_SHARE, squared(nine) * MIDDLE_SHARE);
        mean[x] = sum * (1.0F / WINDOW) + ORIGIN;
        gate[x] = larger(rise(part * own, LINE_FROM, LINE_TO),
                         rise((left + ROUNDING) * own * (1.0F / FREE), CHI_FROM, CHI_TO));
    }
}

static void draw(float *restrict values, const float *restrict mean, const float *const gates[3], int32_t count)
{
    const float *restrict above = gates[0], *restrict gate = gates[1], *restrict below = gates[2];
    for (int32_t x = 0; x < count; x++) {
        const float around = (above[x] + above[x + 1] + above[x + 2]) + (gate[x] + gate[x + 1] + gate[x + 2]) +
                             (below[x] + below[x + 1] + below[x + 2]);
        const float open = gate[x + 1] * rise(around * (1.0F / 9), ALONE_FROM, ALONE_TO);
        const float off = values[x] - mean[x];
        values[x] = open < 1 ? mean[x] + open * off : values[x];
    }
}

bool settle(const struct picture *values, const struct picture *variances, struct rect want, struct arena *scratch)
{
    const int32_t width = rect_width(want), seen = width + 2 * SETTLE_REACH, height = rect_height(want);
    const int32_t tested = width + 2;
    const size_t stride = (size_t)seen;
    float *columns = arena_array(scratch, 5 * stride, sizeof(float));
    float *means = arena_array(scratch, stride * (size_t)(height + 2), sizeof(float));
    float *gates = arena_array(scratch, stride * (size_t)(height + 2), sizeof(float));
    if (columns == NULL || means == NULL || gates == NULL)
        return false;
    const struct columns sums = { columns, columns + stride, columns + 2 * stride, columns + 3 * stride,
                                  columns + 4 * stride };
    for (int32_t row = 0; row < height + 2; row++) {
        const float *v[SIDE], *noise[SIDE];
        for (int k = 0; k < SIDE; k++) {
            const int32_t y = want.y0 - 1 + row - HALF + k, x = want.x0 - SETTLE_REACH;
            v[k] = picture_row(values, PLANE_A, y) + (x - values->area.x0);
            noise[k] = picture_row(variances, PLANE_A, y) + (x - variances->area.x0);
        }
        sum_values(v, sums.sum, sums.square, sums.slope, sums.middle, seen);
        sum_variances(noise, sums.variance, seen);
        test_windows(v, &sums, means + stride * (size_t)row, gates + stride * (size_t)row, tested);
    }
    for (int32_t row = 0; row < height; row++) {
        const float *const around[3] = { gates + stride * (size_t)row, gates + stride * (size_t)(row + 1),
                                         gates + stride * (size_t)(row + 2) };
        draw(picture_row(values, PLANE_A, want.y0 + row) + (want.x0 - values->area.x0),
             means + stride * (size_t)(row + 1) + 1, around, width);
    }
    return true;
}
