/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include <math.h>
#include <string.h>
#include <xxhash.h>

#include "survey/gauge.h"

/* Clipping piles up at the top what would lie above; without it there is more within this share below. */
#define BELOW_THE_TOP 0.05F

struct extremes {
    float least, most;
};

static struct extremes find_extremes(const struct picture *picture, enum plane plane)
{
    struct extremes found = { INFINITY, -INFINITY };
    const int32_t width = rect_width(picture->area);
    for (int32_t y = picture->area.y0; y < picture->area.y1; y++) {
        const float *row = picture_row(picture, plane, y);
        for (int32_t x = 0; x < width; x++) {
            found.least = fminf(found.least, row[x]);
            found.most = fmaxf(found.most, row[x]);
        }
    }
    return found;
}

/* Noise makes every pixel of a bright area another value; a clipped one has only one. */
static void count_ends(const struct reading *reading, enum plane plane, struct frame_gauge *gauge)
{
    const struct picture *picture = &reading->picture;
    const struct extremes ends = find_extremes(picture, plane);
    const float top = ends.most - fabsf(ends.most) * AT_THE_TOP;
    const int32_t width = rect_width(picture->area);
    const float below = ends.most * (1 - BELOW_THE_TOP);
    size_t high = 0, near = 0, low = 0;
    for (int32_t y = picture->area.y0; y < picture->area.y1; y++) {
        const float *row = picture_row(picture, plane, y);
        for (int32_t x = 0; x < width; x++) {
            high += row[x] >= top;
            near += row[x] >= below && row[x] < top;
            low += row[x] <= 0;
        }
    }
    const float area = (float)reading->width * (float)reading->height;
    gauge->clipped[plane] = ends.most > 0 && high > 8 && high > near ? (float)high / area : 0;
    gauge->crushed[plane] = ends.least >= 0 ? (float)low / area : 0;
}

static void add_tiles(const struct reading *reading, struct frame_gauge *gauge)
{
    const struct picture *picture = &reading->picture;
    const float *rows[3];
    double sums[TILES] = { 0 };
    int counts[TILES] = { 0 };
    double sum = 0;
    for (int32_t y = picture->area.y0; y < picture->area.y1; y++) {
        const int32_t down = (int32_t)((int64_t)(y - picture->area.y0) * TILES_DOWN / rect_height(picture->area));
        for (int c = 0; c < 3; c++)
            rows[c] = picture_row(picture, (enum plane)c, y);
        for (int32_t t = 0; t < TILES_ACROSS; t++) {
            const int32_t width = rect_width(picture->area);
            const int32_t first = (int32_t)((int64_t)width * t / TILES_ACROSS);
            const int32_t end = (int32_t)((int64_t)width * (t + 1) / TILES_ACROSS);
            float part = 0;
            for (int32_t x = first; x < end; x++)
                part += 0.2126F * rows[0][x] + 0.7152F * rows[1][x] + 0.0722F * rows[2][x];
            sums[down * TILES_ACROSS + t] += (double)part;
            counts[down * TILES_ACROSS + t] += end - first;
        }
    }
    for (int i = 0; i < TILES; i++) {
        gauge->tiles[i] = counts[i] > 0 ? (float)(sums[i] / counts[i]) : 0;
        sum += sums[i];
    }
    gauge->light = (float)(sum / ((double)rect_width(picture->area) * rect_height(picture->area)));
}

static uint64_t digest_of(const struct picture *picture)
{
    uint64_t digest = 0;
    for (int c = 0; c < 3; c++) {
        for (int32_t y = picture->area.y0; y < picture->area.y1; y++)
            digest = XXH3_64bits_withSeed(picture_row(picture, (enum plane)c, y),
                                          (size_t)rect_width(picture->area) * sizeof(float), digest);
    }
    return digest;
}

void gauge_frame(const struct reading *reading, struct frame_gauge *gauge)
{
    gauge->width = reading->width;
    gauge->height = reading->height;
    gauge->no_numbers = reading->faults.nan + reading->faults.infinite;
    if (rect_empty(reading->picture.area))
        return;
    for (int c = 0; c < 3; c++)
        count_ends(reading, (enum plane)c, gauge);
    add_tiles(reading, gauge);
    gauge->digest = digest_of(&reading->picture);
}
