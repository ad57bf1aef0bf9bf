/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * How bright a frame is: what a page shows over the frames.
 */
#include <math.h>
#include <string.h>

#include "survey/gauge_run.h"

/* So many pixels are enough to know 1 % from 2 %. */
#define PIXELS_LOOKED_AT 65536.0
/* A float's exponent and the first bits of its mantissa count the bins. */
enum { BIN_SHIFT = 20 };
#define LEAST_LIGHT (1.0F / 1048576)
#define MOST_LIGHT 65535.0F

static uint32_t bits_of(float value)
{
    uint32_t bits;
    memcpy(&bits, &value, sizeof bits);
    return bits;
}

static uint32_t bin_of(float light)
{
    const float inside = light > MOST_LIGHT ? MOST_LIGHT : light > LEAST_LIGHT ? light : LEAST_LIGHT;
    return (bits_of(inside) >> BIN_SHIFT) - (bits_of(LEAST_LIGHT) >> BIN_SHIFT);
}

static float start_of(uint32_t bin)
{
    const uint32_t bits = ((bits_of(LEAST_LIGHT) >> BIN_SHIFT) + bin) << BIN_SHIFT;
    float value;
    memcpy(&value, &bits, sizeof value);
    return value;
}

static float level_at(const uint32_t bins[LEVEL_BINS], double rank)
{
    double below = 0;
    for (uint32_t i = 0; i < LEVEL_BINS; i++) {
        if (bins[i] > 0 && below + bins[i] > rank) {
            const float start = start_of(i), share = (float)((rank - below) / bins[i]);
            return start + share * (start_of(i + 1) - start);
        }
        below += bins[i];
    }
    return 0;
}

void levels_begin(struct level_run *run, struct rect area)
{
    const double pixels = (double)rect_width(area) * rect_height(area);
    *run = (struct level_run){ .area = area, .step = 1 };
    if (pixels > PIXELS_LOOKED_AT)
        run->step = (int32_t)sqrt(pixels / PIXELS_LOOKED_AT);
}

void levels_rows(struct level_run *run, const struct picture *rows)
{
    for (int32_t y = rows->area.y0; y < rows->area.y1; y++) {
        const float *row[3];
        if ((y - run->area.y0) % run->step != run->step / 2)
            continue;
        for (int c = 0; c < 3; c++)
            row[c] = picture_row(rows, (enum plane)c, y);
        for (int32_t x = run->step / 2; x < rect_width(run->area); x += run->step)
            run->bins[bin_of(0.2126F * row[0][x] + 0.7152F * row[1][x] + 0.0722F * row[2][x])]++;
    }
}

void levels_end(const struct level_run *run, float levels[3])
{
    static const double shares[3] = { 0.01, 0.5, 0.99 };
    double count = 0;
    for (int i = 0; i < LEVEL_BINS; i++)
        count += run->bins[i];
    for (int k = 0; k < 3; k++)
        levels[k] = level_at(run->bins, shares[k] * (count - 1));
}
