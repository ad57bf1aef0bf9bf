/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Grain at a border would be drawn out into streaks, so what is known there is averaged before a membrane is spanned.
 */
#include "kinds/extend_join.h"

#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "numerics/membrane.h"

enum passel_status packed_picture(struct picture *picture, struct rect area, unsigned planes,
                                  struct passel_error *error)
{
    size_t pixels;
    *picture = (struct picture){ .area = area, .stride = (size_t)rect_width(area) };
    if (size_multiply((size_t)rect_width(area), (size_t)rect_height(area), &pixels))
        picture->owned = memory_zeros(pixels, PLANE_COUNT * sizeof(float));
    if (picture->owned == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (size_t p = 0; p < PLANE_COUNT; p++)
        picture->plane[p] = (planes & 1u << p) != 0 ? (float *)picture->owned + p * pixels : NULL;
    return PASSEL_OK;
}

struct rect join_gap(const struct picture *known)
{
    struct rect gap = { 0 };
    for (int32_t y = known->area.y0; y < known->area.y1; y++) {
        const float *row = picture_row(known, PLANE_A, y) - known->area.x0;
        int32_t first = known->area.x0, last = known->area.x1;
        while (first < last && row[first] > 0)
            first++;
        while (last > first && row[last - 1] > 0)
            last--;
        if (first < last)
            gap = rect_join(gap, rect_of(first, y, last, y + 1));
    }
    return gap;
}

/* The mean of the known values around a place. */
static float mean_around(const float *plane, const float *weight, int32_t width, int32_t height, int32_t x, int32_t y,
                         int32_t radius)
{
    float sum = 0, count = 0;
    const int32_t y1 = y + radius + 1 < height ? y + radius + 1 : height;
    const int32_t x1 = x + radius + 1 < width ? x + radius + 1 : width;
    for (int32_t j = y > radius ? y - radius : 0; j < y1; j++) {
        for (int32_t i = x > radius ? x - radius : 0; i < x1; i++) {
            const size_t at = (size_t)j * (size_t)width + (size_t)i;
            if (weight[at] > 0) {
                sum += plane[at];
                count += 1;
            }
        }
    }
    return sum / count;
}

static bool borders(const float *weight, int32_t width, int32_t height, int32_t x, int32_t y)
{
    const float *at = weight + (size_t)y * (size_t)width + (size_t)x;
    return *at > 0 && ((x > 0 && !(at[-1] > 0)) || (x + 1 < width && !(at[1] > 0)) ||
                       (y > 0 && !(at[-(ptrdiff_t)width] > 0)) || (y + 1 < height && !(at[width] > 0)));
}

enum passel_status join_span(const struct picture *difference, const struct picture *weight, int32_t radius, float pull,
                             struct passel_error *error)
{
    const int32_t width = rect_width(difference->area), height = rect_height(difference->area);
    const size_t pixels = (size_t)width * (size_t)height;
    const float *known = weight->plane[PLANE_A];
    float *smooth = memory_zeros(pixels, sizeof *smooth);
    if (smooth == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int c = 0; c < 3; c++) {
        float *plane = difference->plane[c];
        memcpy(smooth, plane, pixels * sizeof *smooth);
        for (int32_t y = 0; y < height; y++) {
            for (int32_t x = 0; x < width; x++) {
                if (borders(known, width, height, x, y))
                    smooth[(size_t)y * (size_t)width + (size_t)x] =
                        mean_around(plane, known, width, height, x, y, radius);
            }
        }
        memcpy(plane, smooth, pixels * sizeof *smooth);
    }
    memory_free(smooth);
    return membrane_fill(difference->plane, 3, known, width, height, pull, error);
}
