/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include <math.h>
#include <string.h>
#include <xxhash.h>

#include "base/error.h"
#include "base/memory.h"
#include "survey/gauge.h"

/* Clipping piles up at the top what would lie above; without it there is more within this share below. */
#define BELOW_THE_TOP 0.05F

/* One channel of a frame. */
struct ends {
    float most;
    bool below;      /* something lies below 0 */
    int64_t low;     /* at 0 or below */
    float *row_most; /* of each row */
};

/* Bits of floats compare as whole numbers do, where one of them is not below 0; and those in any order, so that a
 * processor compares many at once. Of a row that is all below 0 the most is one of its values. */
static void add_row(const float *row, int32_t width, struct ends *ends, float *row_most)
{
    int32_t most = INT32_MIN, low = 0, signs = 0;
    for (int32_t x = 0; x < width; x++) {
        int32_t bits;
        memcpy(&bits, row + x, sizeof bits);
        most = bits > most ? bits : most;
        low += bits <= 0;
        signs |= bits;
    }
    memcpy(row_most, &most, sizeof *row_most);
    ends->low += low;
    ends->below = ends->below || signs < 0;
    ends->most = *row_most > ends->most ? *row_most : ends->most;
}

/* Noise makes every pixel of a bright area another value; a clipped one has only one. */
static void count_ends(const struct reading *reading, enum plane plane, const struct ends *ends,
                       struct frame_gauge *gauge)
{
    const struct picture *picture = &reading->picture;
    const float top = ends->most - fabsf(ends->most) * AT_THE_TOP;
    const int32_t width = rect_width(picture->area);
    const float below = ends->most * (1 - BELOW_THE_TOP);
    int64_t high = 0, near = 0;
    for (int32_t y = picture->area.y0; y < picture->area.y1 && ends->most > 0; y++) {
        const float *row = picture_row(picture, plane, y);
        int32_t row_high = 0, row_near = 0;
        if (ends->row_most[y - picture->area.y0] < below)
            continue;
        for (int32_t x = 0; x < width; x++) {
            row_high += row[x] >= top;
            row_near += row[x] >= below;
        }
        high += row_high;
        near += row_near - row_high;
    }
    const float area = (float)reading->width * (float)reading->height;
    gauge->clipped[plane] = high > 8 && high > near ? (float)high / area : 0;
    gauge->crushed[plane] = !ends->below ? (float)ends->low / area : 0;
}

static void add_tiles(const struct look *small, struct frame_gauge *gauge)
{
    double sums[TILES] = { 0 }, sum = 0;
    int64_t counts[TILES] = { 0 };
    for (int32_t y = 0; y < small->down; y++) {
        const int32_t down = (int32_t)((int64_t)y * TILES_DOWN / small->down);
        for (int32_t t = 0; t < TILES_ACROSS; t++) {
            const int32_t first = (int32_t)((int64_t)small->across * t / TILES_ACROSS);
            const int32_t end = (int32_t)((int64_t)small->across * (t + 1) / TILES_ACROSS);
            float part = 0;
            for (int32_t x = first; x < end; x++)
                part += look_light(small, (size_t)y * (size_t)small->across + (size_t)x);
            sums[down * TILES_ACROSS + t] += (double)part;
            counts[down * TILES_ACROSS + t] += end - first;
        }
    }
    for (int i = 0; i < TILES; i++) {
        gauge->tiles[i] = counts[i] > 0 ? (float)(sums[i] / (double)counts[i]) : 0;
        sum += sums[i];
    }
    gauge->light = (float)(sum / (double)look_count(small));
}

/* Every row once, while it is at hand. */
static void go_over_rows(const struct reading *reading, struct look_maker *maker, struct ends ends[3],
                         struct frame_gauge *gauge)
{
    const struct picture *picture = &reading->picture;
    const int32_t width = rect_width(picture->area), block = maker->look.block;
    for (int32_t y = picture->area.y0; y < picture->area.y1; y++) {
        for (int c = 0; c < 3; c++) {
            const float *row = picture_row(picture, (enum plane)c, y);
            add_row(row, width, &ends[c], &ends[c].row_most[y - picture->area.y0]);
            gauge->digest = XXH3_64bits_withSeed(row, (size_t)width * sizeof *row, gauge->digest);
            if (y >= 0)
                look_add(maker, c, row, picture->area.x0, picture->area.x1);
        }
        if (y >= 0 && (y % block == block - 1 || y == picture->area.y1 - 1))
            look_fold(maker, y / block);
    }
}

enum passel_status gauge_frame(const struct reading *reading, struct frame_gauge *gauge, struct look *small,
                               struct passel_error *error)
{
    const size_t height = (size_t)rect_height(reading->picture.area);
    struct look_maker maker;
    struct ends ends[3];
    gauge->width = reading->width;
    gauge->height = reading->height;
    gauge->no_numbers = reading->faults.nan + reading->faults.infinite;
    gauge->digest = 0;
    *small = (struct look){ 0 };
    float *rows = memory_new((3 * height + 1) * sizeof *rows);
    if (rows == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    const enum passel_status status =
        look_begin(reading->width, reading->height, look_block(reading->width, SMALL_ACROSS), &maker, error);
    if (status == PASSEL_OK) {
        for (int c = 0; c < 3; c++)
            ends[c] = (struct ends){ .most = -INFINITY, .row_most = rows + (size_t)c * height };
        go_over_rows(reading, &maker, ends, gauge);
        for (int c = 0; c < 3; c++)
            count_ends(reading, (enum plane)c, &ends[c], gauge);
        *small = look_end(&maker);
        add_tiles(small, gauge);
    }
    memory_free(rows);
    return status;
}
