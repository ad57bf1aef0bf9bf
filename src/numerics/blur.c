/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Columns first, into one padded row, then along that row: nothing is computed outside the rows asked for, however
 * large the blur. The weights are symmetric, so two samples share a multiplication.
 */
#include "numerics/blur.h"

#include <assert.h>
#include <math.h>
#include <string.h>

#include "base/error.h"
#include "numerics/between.h"
#include "picture/function.h"

static const double log2_e = 1.4426950408889634074;

int blur_radius(double sigma)
{
    return sigma > 0 ? (int)ceil(3 * sigma) : 0;
}

void blur_weights(double sigma, double *weights)
{
    const int radius = blur_radius(sigma);
    weights[0] = 1;
    double sum = 1;
    for (int i = 1; i <= radius; i++) {
        weights[i] = function_exp2(-i / sigma * i / sigma / 2 * log2_e);
        sum += 2 * weights[i];
    }
    for (int i = 0; i <= radius; i++)
        weights[i] /= sum;
}

static void scale_row(float *restrict out, const float *restrict in, float weight, int count)
{
    for (int x = 0; x < count; x++)
        out[x] = weight * in[x];
}

static void add_pair(float *restrict out, const float *restrict a, const float *restrict b, float weight, int count)
{
    for (int x = 0; x < count; x++)
        out[x] += weight * (a[x] + b[x]);
}

struct blur {
    const struct picture *in;
    enum plane plane;
    const float *weights;
    int radius;
    struct rect columns; /* the columns of `in` that the output needs; rows unused */
    float *padded;       /* out width + 2 radius */
    int32_t pad_x0;      /* the column of padded[0] */
};

/* Row y of the column pass over the needed columns, then held out to the full padding. */
static void blur_columns(const struct blur *b, int32_t y)
{
    const struct rect area = b->in->area;
    const int32_t width = b->columns.x1 - b->columns.x0;
    const int32_t skip = b->columns.x0 - area.x0;
    float *row = b->padded + (b->columns.x0 - b->pad_x0);
    scale_row(row, picture_row(b->in, b->plane, place_between(y, area.y0, area.y1 - 1)) + skip, b->weights[0], width);
    for (int i = 1; i <= b->radius; i++) {
        const float *above = picture_row(b->in, b->plane, place_between(y - i, area.y0, area.y1 - 1)) + skip;
        const float *below = picture_row(b->in, b->plane, place_between(y + i, area.y0, area.y1 - 1)) + skip;
        add_pair(row, above, below, b->weights[i], width);
    }
    for (float *p = b->padded; p < row; p++)
        *p = row[0];
}

static void blur_row(const struct blur *b, float *out, int32_t width)
{
    const int32_t held_from = b->columns.x1 - b->pad_x0;
    for (int32_t x = held_from; x < width + 2 * b->radius; x++)
        b->padded[x] = b->padded[held_from - 1];
    const float *centre = b->padded + b->radius;
    scale_row(out, centre, b->weights[0], width);
    for (int i = 1; i <= b->radius; i++)
        add_pair(out, centre - i, centre + i, b->weights[i], width);
}

static float *float_weights(double sigma, int radius, struct arena *scratch)
{
    double *exact = arena_array(scratch, (size_t)radius + 1, sizeof *exact);
    float *weights = arena_array(scratch, (size_t)radius + 1, sizeof *weights);
    if (!exact || !weights)
        return NULL;
    blur_weights(sigma, exact);
    for (int i = 0; i <= radius; i++)
        weights[i] = (float)exact[i];
    return weights;
}

enum passel_status blur_plane(const struct picture *out, const struct picture *in, enum plane plane, double sigma,
                              struct arena *scratch, struct passel_error *error)
{
    assert(sigma <= BLUR_SIGMA_LIMIT && rect_holds(in->area, out->area));
    const int radius = blur_radius(sigma);
    const int32_t width = rect_width(out->area);
    const struct rect padded = rect_grow(out->area, radius, 0);
    const struct rect columns = rect_cut(padded, rect_of(in->area.x0, padded.y0, in->area.x1, padded.y1));
    struct blur b = { .in = in, .plane = plane, .radius = radius, .columns = columns, .pad_x0 = padded.x0 };
    b.weights = float_weights(sigma, radius, scratch);
    b.padded = arena_array(scratch, (size_t)width + 2 * (size_t)radius, sizeof(float));
    if (!b.weights || !b.padded)
        return error_set(error, PASSEL_NO_MEMORY, "no memory for a blur of %d pixels", radius);
    for (int32_t y = out->area.y0; y < out->area.y1; y++) {
        blur_columns(&b, y);
        blur_row(&b, picture_row(out, plane, y), width);
    }
    return PASSEL_OK;
}
