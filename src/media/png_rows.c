/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The dither matrix is Bayer's (1973), 16×16, made from the bits of the position: the rank of a place is x^y and y
 * interleaved, lowest bits first. Thresholds lie at the middles of the 256 steps, so no code moves by rounding.
 */
#include "media/png_rows.h"

enum { TILE = 16, TILE_BITS = 4 };

static float clamped(float sample)
{
    return sample > 0.0f ? (sample < 1.0f ? sample : 1.0f) : 0.0f;
}

static float threshold(unsigned x, unsigned y)
{
    unsigned rank = 0;
    for (int bit = 0; bit < TILE_BITS; bit++)
        rank = rank << 2 | (((x ^ y) >> bit) & 1u) << 1 | ((y >> bit) & 1u);
    return ((float)rank + 0.5f) / (float)(TILE * TILE);
}

void samples_to_8(const float *samples, size_t count, int32_t x, int32_t y, unsigned char *bytes, size_t step)
{
    float thresholds[TILE];
    for (unsigned i = 0; i < TILE; i++)
        thresholds[i] = threshold(((unsigned)x + i) % TILE, (unsigned)y % TILE);
    for (size_t i = 0; i < count; i++)
        bytes[i * step] = (unsigned char)(int)(clamped(samples[i]) * 255.0f + thresholds[i % TILE]);
}

void samples_to_16(const float *samples, size_t count, unsigned char *bytes, size_t step)
{
    for (size_t i = 0; i < count; i++) {
        const unsigned code = (unsigned)(int)(clamped(samples[i]) * 65535.0f + 0.5f);
        bytes[2 * i * step] = (unsigned char)(code >> 8);
        bytes[2 * i * step + 1] = (unsigned char)(code & 255u);
    }
}
