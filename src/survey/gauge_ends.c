/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What stands at the ends of a channel: clipped, and crushed.
 */
#include <math.h>
#include <string.h>

#include "numerics/between.h"
#include "survey/gauge.h"
#include "survey/gauge_run.h"

/* Clipping piles up at the top what would lie above; without it there is more within this share below. TOP_VALUES
 * reach further down. */
#define BELOW_THE_TOP 0.05F

/* Floats are told apart by their first bits: 2048 values to a doubling, two for each half float. */
enum { VALUE_SHIFT = 12 };

static int32_t bits_of(float value)
{
    int32_t bits;
    memcpy(&bits, &value, sizeof bits);
    return bits;
}

static int32_t value_of(float above_0)
{
    return bits_of(above_0) >> VALUE_SHIFT;
}

/* The first value that none below `least` has. */
static int32_t value_from(float least)
{
    return (int32_t)(((int64_t)bits_of(least) + (1 << VALUE_SHIFT) - 1) >> VALUE_SHIFT);
}

void ends_begin(struct ends_run *run, struct rect area)
{
    *run = (struct ends_run){ .area = area, .most = -INFINITY };
}

/* The least and the most of a row; in lanes, which a processor compares many at once. */
enum { LANES = 128 };

static void span_of(const float *restrict row, int32_t width, float *least, float *most)
{
    float low[LANES], high[LANES];
    for (int i = 0; i < LANES; i++)
        low[i] = high[i] = row[0];
    int32_t x = 0;
    for (; x + 4 * LANES <= width; x += 4 * LANES) { /* four at a time: what was found is seldom touched */
        const float *restrict part = row + x;
        for (int i = 0; i < LANES; i++) {
            const float a = part[i], b = part[i + LANES], c = part[i + 2 * LANES], d = part[i + 3 * LANES];
            low[i] = smaller(smaller(smaller(a, b), smaller(c, d)), low[i]);
            high[i] = larger(larger(larger(a, b), larger(c, d)), high[i]);
        }
    }
    for (; x < width; x += LANES) {
        const float *restrict part = row + x;
        const int32_t count = width - x < LANES ? width - x : LANES;
        for (int32_t i = 0; i < count; i++) {
            low[i] = smaller(part[i], low[i]);
            high[i] = larger(part[i], high[i]);
        }
    }
    for (int n = LANES / 2; n > 0; n /= 2) {
        for (int i = 0; i < n; i++) {
            low[i] = smaller(low[i + n], low[i]);
            high[i] = larger(high[i + n], high[i]);
        }
    }
    *least = low[0];
    *most = high[0];
}

static int32_t zeros_of(const float *row, int32_t width)
{
    int32_t count = 0;
    for (int32_t x = 0; x < width; x++)
        count += row[x] <= 0;
    return count;
}

/* Makes place for the values up to a larger one. */
static void rise(struct ends_run *run, float most)
{
    const int32_t last = value_of(most), old = run->most > 0 ? value_of(run->most) : last;
    for (int32_t value = last; value > old && value > last - TOP_VALUES; value--)
        run->values[value % TOP_VALUES] = 0;
    for (int32_t value = last; value > old && value > last - TOP_TILE_VALUES; value--)
        memset(run->tiles[value % TOP_TILE_VALUES], 0, sizeof *run->tiles);
}

static void count_values(struct ends_run *run, const float *row, int32_t width, int32_t tile, float below)
{
    const int32_t far = value_of(run->most) - TOP_TILE_VALUES;
    int32_t near = 0;
    for (int32_t x = 0; x < width; x++)
        near += row[x] >= below;
    for (int32_t x = 0; x < width && near > 0; x++) {
        if (!(row[x] >= below))
            continue;
        const int32_t value = value_of(row[x]);
        run->values[value % TOP_VALUES]++;
        if (value > far)
            run->tiles[value % TOP_TILE_VALUES][tile]++;
    }
}

void ends_row(struct ends_run *run, const float *row, int32_t y)
{
    const int32_t width = rect_width(run->area), height = rect_height(run->area);
    float least, most;
    span_of(row, width, &least, &most);
    run->below = run->below || least < 0;
    if (least <= 0 && !run->below)
        run->low += zeros_of(row, width);
    if (most > run->most && most > 0)
        rise(run, most);
    run->most = most > run->most ? most : run->most;
    const float below = run->most * (1 - BELOW_THE_TOP);
    if (!(run->most > 0 && most >= below))
        return;
    const int32_t line = (int32_t)((int64_t)(y - run->area.y0) * TILES_DOWN / height) * TILES_ACROSS;
    for (int32_t t = 0; t < TILES_ACROSS; t++) {
        const int32_t first = (int32_t)(((int64_t)t * width + TILES_ACROSS - 1) / TILES_ACROSS);
        const int32_t end = (int32_t)(((int64_t)(t + 1) * width + TILES_ACROSS - 1) / TILES_ACROSS);
        count_values(run, row + first, end - first, line + t, below);
    }
}

bool ends_end(const struct ends_run *run, struct ends *ends)
{
    int64_t near = 0;
    *ends = (struct ends){ .low = run->below ? 0 : run->low };
    if (!(run->most > 0))
        return false;
    const int32_t top = value_from(run->most * (1 - AT_THE_TOP)), below = value_from(run->most * (1 - BELOW_THE_TOP));
    for (int32_t value = below; value <= value_of(run->most); value++) {
        near += value < top ? run->values[value % TOP_VALUES] : 0;
        ends->high += value < top ? 0 : run->values[value % TOP_VALUES];
        for (int32_t i = 0; i < TILES && value >= top; i++)
            ends->tiles[i] += run->tiles[value % TOP_TILE_VALUES][i];
    }
    return ends->high > 8 && ends->high > near;
}
