/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * How bright a frame is, and where it is clipped: what a page shows over the frames and over the picture.
 */
#include <math.h>
#include <string.h>

#include "survey/gauge.h"

/* So many pixels are enough to know 1 % from 2 %. */
#define PIXELS_LOOKED_AT 65536.0
/* Bins are eighths of a doubling, from 2^-20 on: a float's exponent and the first bits of its mantissa count them. */
enum { BIN_SHIFT = 20, BINS = 36 * 8 };
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

static float level_at(const uint32_t bins[BINS], double rank)
{
    double below = 0;
    for (uint32_t i = 0; i < BINS; i++) {
        if (bins[i] > 0 && below + bins[i] > rank) {
            const float start = start_of(i), share = (float)((rank - below) / bins[i]);
            return start + share * (start_of(i + 1) - start);
        }
        below += bins[i];
    }
    return 0;
}

void gauge_levels(const struct reading *reading, struct frame_gauge *gauge)
{
    const struct picture *picture = &reading->picture;
    const int32_t width = rect_width(picture->area), height = rect_height(picture->area);
    const double area = (double)width * height;
    const int32_t step = area > PIXELS_LOOKED_AT ? (int32_t)sqrt(area / PIXELS_LOOKED_AT) : 1;
    uint32_t bins[BINS] = { 0 };
    double count = 0;
    for (int32_t y = picture->area.y0 + step / 2; y < picture->area.y1; y += step) {
        const float *rows[3];
        for (int c = 0; c < 3; c++)
            rows[c] = picture_row(picture, (enum plane)c, y);
        for (int32_t x = step / 2; x < width; x += step) {
            bins[bin_of(0.2126F * rows[0][x] + 0.7152F * rows[1][x] + 0.0722F * rows[2][x])]++;
            count++;
        }
    }
    static const double shares[3] = { 0.01, 0.5, 0.99 };
    for (int k = 0; k < 3; k++)
        gauge->levels[k] = level_at(bins, shares[k] * (count - 1));
}

/* The largest value that a channel has. */
static float top_of(const struct picture *picture, enum plane plane)
{
    float most = 0;
    for (int32_t y = picture->area.y0; y < picture->area.y1; y++) {
        const float *row = picture_row(picture, plane, y);
        for (int32_t x = 0; x < rect_width(picture->area); x++)
            most = row[x] > most ? row[x] : most;
    }
    return most;
}

static void add_at_top(const struct picture *picture, enum plane plane, uint8_t at_top[TILES])
{
    const int32_t width = rect_width(picture->area), height = rect_height(picture->area);
    const float top = top_of(picture, plane) * (1 - AT_THE_TOP);
    uint32_t counts[TILES] = { 0 };
    for (int32_t y = 0; y < height; y++) {
        const float *row = picture_row(picture, plane, picture->area.y0 + y);
        uint32_t *line = &counts[(int64_t)y * TILES_DOWN / height * TILES_ACROSS];
        for (int32_t x = 0; x < width; x++)
            line[(int64_t)x * TILES_ACROSS / width] += row[x] >= top;
    }
    const double tile = (double)width * height / TILES;
    for (int i = 0; i < TILES; i++) {
        const double share = ceil(255 * counts[i] / tile);
        if (share > at_top[i])
            at_top[i] = (uint8_t)(share < 255 ? share : 255);
    }
}

void gauge_at_top(const struct reading *reading, struct frame_gauge *gauge)
{
    for (int c = 0; c < 3; c++) {
        if (gauge->clipped[c] > 0)
            add_at_top(&reading->picture, (enum plane)c, gauge->at_top);
    }
}
