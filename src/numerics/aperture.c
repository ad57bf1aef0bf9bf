/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "numerics/aperture.h"

#include <assert.h>
#include <math.h>
#include <string.h>

#include "base/error.h"
#include "numerics/between.h"

int aperture_reach(double radius)
{
    return radius > 0 ? (int)ceil(radius + 0.5) - 1 : 0;
}

/* The share of the pixel at (x, y) from the centre that the disc covers, its rim taken for straight and upright. */
static double covered(double radius, int x, int y)
{
    const double inside = radius + 0.5 - sqrt((double)x * x + (double)y * y);
    return inside < 0 ? 0 : inside < 1 ? inside : 1;
}

/* One quarter of the disc, (reach + 1)² weights, the whole disc summing to 1. */
static void disc_weights(double radius, int reach, float *weights)
{
    double sum = 0;
    for (int y = -reach; y <= reach; y++) {
        for (int x = -reach; x <= reach; x++)
            sum += covered(radius, x, y);
    }
    for (int y = 0; y <= reach; y++) {
        for (int x = 0; x <= reach; x++)
            *weights++ = (float)(covered(radius, x, y) / sum);
    }
}

/* Row y of `in` from column x0 on, its ends held. */
static void held_row(const struct picture *in, enum plane plane, int32_t x0, int32_t y, int32_t count, float *row)
{
    const struct rect area = in->area;
    const float *from = picture_row(in, plane, place_between(y, area.y0, area.y1 - 1));
    const int32_t first = place_between(area.x0 - x0, 0, count), last = place_between(area.x1 - x0, 0, count);
    for (int32_t i = 0; i < first; i++)
        row[i] = from[0];
    memcpy(row + first, from + (x0 + first - area.x0), (size_t)(last - first) * sizeof *row);
    for (int32_t i = last; i < count; i++)
        row[i] = from[rect_width(area) - 1];
}

static void add_row(float *restrict to, const float *restrict from, float weight, int32_t count)
{
    for (int32_t i = 0; i < count; i++)
        to[i] += weight * from[i];
}

static void add_pair(float *restrict to, const float *restrict left, const float *restrict right, float weight,
                     int32_t count)
{
    for (int32_t i = 0; i < count; i++)
        to[i] += weight * (left[i] + right[i]);
}

enum passel_status aperture_plane(const struct picture *out, const struct picture *in, enum plane plane, double radius,
                                  struct arena *scratch, struct passel_error *error)
{
    assert(radius <= APERTURE_RADIUS_LIMIT && rect_holds(in->area, out->area));
    const int reach = aperture_reach(radius);
    const int32_t width = rect_width(out->area);
    float *weights = arena_array(scratch, (size_t)(reach + 1) * (size_t)(reach + 1), sizeof *weights);
    float *row = arena_array(scratch, (size_t)width + 2 * (size_t)reach, sizeof *row);
    if (weights == NULL || row == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "no memory for a disc of %d pixels", reach);
    disc_weights(radius, reach, weights);
    for (int32_t y = out->area.y0; y < out->area.y1; y++) {
        float *to = picture_row(out, plane, y);
        memset(to, 0, (size_t)width * sizeof *to);
        for (int v = -reach; v <= reach; v++) {
            const float *chord = weights + (v < 0 ? -v : v) * (reach + 1), *centre = row + reach;
            held_row(in, plane, out->area.x0 - reach, y + v, width + 2 * reach, row);
            add_row(to, centre, chord[0], width);
            for (int u = 1; u <= reach && chord[u] > 0; u++)
                add_pair(to, centre - u, centre + u, chord[u], width);
        }
    }
    return PASSEL_OK;
}
