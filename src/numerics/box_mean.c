/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Sums of columns slide down the picture; a sum of those slides along the row. Doubles keep what enters and leaves
 * equal to far below a float's precision.
 */
#include "numerics/box_mean.h"

#include <stdbool.h>
#include <string.h>

static void columns_add(double *restrict columns, const float *restrict row, int32_t width)
{
    for (int32_t x = 0; x < width; x++)
        columns[x] += (double)row[x];
}

static void columns_drop(double *restrict columns, const float *restrict row, int32_t width)
{
    for (int32_t x = 0; x < width; x++)
        columns[x] -= (double)row[x];
}

static void row_means(const double *restrict columns, float *restrict out, int32_t width, int radius, int32_t rows)
{
    const double full = 1 / ((2.0 * radius + 1) * (double)rows);
    double sum = 0;
    for (int32_t x = 0; x < radius && x < width; x++)
        sum += columns[x];
    for (int32_t x = 0; x < width; x++) {
        const bool left_in = x - radius > 0, right_in = x + radius < width;
        sum += right_in ? columns[x + radius] : 0;
        sum -= left_in ? columns[x - radius - 1] : 0;
        if (x >= radius && right_in) {
            out[x] = (float)(sum * full);
            continue;
        }
        const int32_t left = left_in ? x - radius : 0, right = right_in ? x + radius : width - 1;
        out[x] = (float)(sum / ((double)(right - left + 1) * (double)rows));
    }
}

void box_mean(const float *in, float *out, int32_t width, int32_t height, size_t stride, int radius, double *columns)
{
    memset(columns, 0, (size_t)width * sizeof *columns);
    for (int32_t y = 0; y < radius && y < height; y++)
        columns_add(columns, in + (size_t)y * stride, width);
    for (int32_t y = 0; y < height; y++) {
        if (y + radius < height)
            columns_add(columns, in + (size_t)(y + radius) * stride, width);
        if (y - radius - 1 >= 0)
            columns_drop(columns, in + (size_t)(y - radius - 1) * stride, width);
        const int32_t top = y - radius > 0 ? y - radius : 0;
        const int32_t bottom = y + radius < height ? y + radius : height - 1;
        row_means(columns, out + (size_t)y * stride, width, radius, bottom - top + 1);
    }
}
