/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Focus against another pass, and pixels that stand out.
 */
#include <math.h>

#include "base/memory.h"
#include "survey/gauge.h"

enum { BLOCK = 16, BLOCKS_LEAST = 12 };

/*
 * Detail of one block of the green plane in two bands: what a 3 x 3 binomial blur takes away (fine), and what it leaves
 * but the same blur with twice the step takes away (coarse). The fine band keeps this share of white noise's variance:
 * (1 - 1/4)² + 4 (1/8)² + 4 (1/16)².
 */
#define NOISE_IN_FINE 0.640625

struct detail {
    double fine, coarse, level;
};

static double blurred(const float *at, size_t stride, ptrdiff_t step)
{
    const ptrdiff_t down = (ptrdiff_t)stride * step;
    return 0.25 * (double)at[0] +
           0.125 * ((double)at[-step] + (double)at[step] + (double)at[-down] + (double)at[down]) +
           0.0625 * ((double)at[-down - step] + (double)at[-down + step] + (double)at[down - step] +
                     (double)at[down + step]);
}

static struct detail measure_block(const struct picture *picture, int32_t x0, int32_t y0)
{
    struct detail found = { 0, 0, 0 };
    for (int32_t y = y0; y < y0 + BLOCK; y++) {
        const float *row = picture_row(picture, PLANE_G, y) - picture->area.x0;
        for (int32_t x = x0; x < x0 + BLOCK; x++) {
            const double near = blurred(row + x, picture->stride, 1), wide = blurred(row + x, picture->stride, 2);
            const double fine = (double)row[x] - near, coarse = near - wide;
            found.fine += fine * fine;
            found.coarse += coarse * coarse;
            found.level += (double)row[x];
        }
    }
    found.fine /= BLOCK * BLOCK;
    found.coarse /= BLOCK * BLOCK;
    found.level /= BLOCK * BLOCK;
    return found;
}

/* Fine over coarse with the noise taken off; 0 when there is too little detail to say. */
static double sharpness(const struct detail *detail, const struct noise *noise)
{
    const double variance = (double)noise_variance(*noise, (float)detail->level);
    if (detail->coarse < 4 * variance || detail->level <= 0)
        return 0;
    return fmax(0.001, (detail->fine - NOISE_IN_FINE * variance) / detail->coarse);
}

double gauge_focus(const struct picture *pass, const struct noise *pass_noise, const struct picture *lock,
                   const struct noise *lock_noise)
{
    const struct rect both = rect_cut(rect_grow(pass->area, -4, -4), rect_grow(lock->area, -4, -4));
    const size_t most = (size_t)(rect_width(both) / BLOCK + 1) * (size_t)(rect_height(both) / BLOCK + 1);
    float *shares = memory_new(most * sizeof *shares);
    size_t count = 0;
    if (shares == NULL)
        return -1;
    for (int32_t y = both.y0; y + BLOCK <= both.y1; y += BLOCK) {
        for (int32_t x = both.x0; x + BLOCK <= both.x1; x += BLOCK) {
            const struct detail a = measure_block(pass, x, y), b = measure_block(lock, x, y);
            const double sharp_a = sharpness(&a, pass_noise), sharp_b = sharpness(&b, lock_noise);
            if (sharp_a > 0 && sharp_b > 0)
                shares[count++] = (float)(sharp_a / sharp_b);
        }
    }
    const double share = count >= BLOCKS_LEAST ? sqrt((double)numbers_at(shares, count, 0.5)) : -1;
    memory_free(shares);
    return share;
}

/* How far v lies outside what its eight neighbours span, in deviations of the noise there; 0 inside. */
static double outside(const float *at, size_t stride, struct noise noise)
{
    const ptrdiff_t down = (ptrdiff_t)stride;
    const float around[8] = { at[-down - 1], at[-down],    at[-down + 1], at[-1],
                              at[1],         at[down - 1], at[down],      at[down + 1] };
    float least = around[0], most = around[0];
    for (int i = 1; i < 8; i++) {
        least = fminf(least, around[i]);
        most = fmaxf(most, around[i]);
    }
    const float apart = at[0] > most ? at[0] - most : at[0] < least ? least - at[0] : 0;
    /* An edge nearby makes the span wide; what stands out of it must do so by as much again. */
    return apart <= 0 || apart < 0.5F * (most - least) ? 0 : (double)apart / sqrt((double)noise_variance(noise, most));
}

int gauge_spots(const struct picture *picture, const struct noise noise[3], struct spot *spots)
{
    int count = 0;
    for (int32_t y = picture->area.y0 + 1; y < picture->area.y1 - 1; y++) {
        const float *rows[3];
        for (int c = 0; c < 3; c++)
            rows[c] = picture_row(picture, (enum plane)c, y) - picture->area.x0;
        for (int32_t x = picture->area.x0 + 1; x < picture->area.x1 - 1 && count < SPOTS_MOST; x++) {
            bool stands_out = false;
            for (int c = 0; c < 3 && !stands_out; c++)
                stands_out = outside(rows[c] + x, picture->stride, noise[c]) > 6;
            if (stands_out)
                spots[count++] = (struct spot){ x, y };
        }
    }
    return count;
}
