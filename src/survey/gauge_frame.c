/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include <math.h>
#include <string.h>
#include <xxhash.h>

#include "survey/gauge.h"
#include "survey/gauge_run.h"

static void add_tiles(const struct look *small, struct frame_gauge *gauge)
{
    double sums[TILES] = { 0 }, sum = 0;
    int64_t counts[TILES] = { 0 };
    for (int32_t y = 0; y < small->down; y++) {
        const int32_t down = (int32_t)((int64_t)y * TILES_DOWN / small->down);
        const float *row[3];
        for (int c = 0; c < 3; c++)
            row[c] = small->plane[c] + (ptrdiff_t)y * small->across;
        for (int32_t t = 0; t < TILES_ACROSS; t++) {
            const int32_t first = (int32_t)((int64_t)small->across * t / TILES_ACROSS);
            const int32_t end = (int32_t)((int64_t)small->across * (t + 1) / TILES_ACROSS);
            float part = 0;
            for (int32_t x = first; x < end; x++)
                part += 0.2126F * row[0][x] + 0.7152F * row[1][x] + 0.0722F * row[2][x];
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

enum passel_status gauge_begin(const struct reading *reading, struct look *spare, struct gauge_run *run,
                               struct passel_error *error)
{
    const struct rect area = reading->picture.area;
    run->digest = 0;
    levels_begin(&run->levels, area);
    for (int c = 0; c < 3; c++)
        ends_begin(&run->ends[c], area);
    return look_begin(reading->width, reading->height, look_block(reading->width, SMALL_ACROSS), spare, &run->small,
                      error);
}

/* The digest goes on with a row; the bits of the three colours are mixed first, so that it has a third as much to do.
 */
static uint64_t digest_row(uint64_t digest, const float *const row[3], int32_t width)
{
    enum { PART = 1024 };
    uint32_t mixed[PART];
    for (int32_t x = 0; x < width; x += PART) {
        const int32_t count = width - x < PART ? width - x : PART;
        for (int32_t i = 0; i < count; i++) {
            uint32_t r, g, b;
            memcpy(&r, row[0] + x + i, sizeof r);
            memcpy(&g, row[1] + x + i, sizeof g);
            memcpy(&b, row[2] + x + i, sizeof b);
            mixed[i] = r ^ (g << 11 | g >> 21) ^ (b << 22 | b >> 10);
        }
        digest = XXH3_64bits_withSeed(mixed, (size_t)count * sizeof *mixed, digest);
    }
    return digest;
}

void gauge_rows(struct gauge_run *run, const struct picture *rows)
{
    for (int32_t y = rows->area.y0; y < rows->area.y1; y++) {
        const float *row[3];
        for (int c = 0; c < 3; c++) {
            row[c] = picture_row(rows, (enum plane)c, y);
            ends_row(&run->ends[c], row[c], y);
        }
        run->digest = digest_row(run->digest, row, rect_width(rows->area));
    }
    levels_rows(&run->levels, rows);
    look_rows(&run->small, rows);
}

/* How much of each tile is clipped. */
static void add_at_top(const struct ends *ends, struct rect area, uint8_t at_top[TILES])
{
    const double tile = (double)rect_width(area) * rect_height(area) / TILES;
    for (int i = 0; i < TILES; i++) {
        const double share = ceil(255 * ends->tiles[i] / tile);
        if (share > at_top[i])
            at_top[i] = (uint8_t)(share < 255 ? share : 255);
    }
}

void gauge_end(struct gauge_run *run, const struct reading *reading, struct frame_gauge *gauge, struct look *small)
{
    const float area = (float)reading->width * (float)reading->height;
    *gauge = (struct frame_gauge){ .width = reading->width,
                                   .height = reading->height,
                                   .no_numbers = reading->faults.nan + reading->faults.infinite,
                                   .digest = run->digest };
    for (int c = 0; c < 3; c++) {
        struct ends ends;
        if (ends_end(&run->ends[c], &ends)) {
            gauge->clipped[c] = (float)ends.high / area;
            add_at_top(&ends, reading->picture.area, gauge->at_top);
        }
        gauge->crushed[c] = (float)ends.low / area;
    }
    levels_end(&run->levels, gauge->levels);
    *small = look_end(&run->small);
    add_tiles(small, gauge);
}
