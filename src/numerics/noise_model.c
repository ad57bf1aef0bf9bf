/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Noise of blocks after Immerkaer 1996 (the kernel 1 -2 1; -2 4 -2; 1 -2 1 leaves no plane and no ramp, and has norm
 * 6), then a line through the quiet blocks of each level.
 */
#include "numerics/noise_model.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"

#define BLOCK 16
#define GROUPS 32
#define GROUP_LEAST 24
/* Mean |noise| to standard deviation: sqrt(pi / 2), over the kernel's norm. */
#define ABS_TO_SIGMA (1.2533141373155003F / 6)
/* The fifth of the blocks of pure noise that looks quietest is this much below the truth (14x14 samples, simulated). */
#define QUIET_SHARE 5
#define QUIET_BIAS 0.935F

struct noise_block {
    float level, sigma;
};

static struct noise_block block_measure(const struct picture *picture, enum plane plane, int32_t x, int32_t y)
{
    float sum = 0, high = 0;
    for (int32_t row = 1; row < BLOCK - 1; row++) {
        const float *above = picture_row(picture, plane, y + row - 1) + (x - picture->area.x0);
        const float *here = picture_row(picture, plane, y + row) + (x - picture->area.x0);
        const float *below = picture_row(picture, plane, y + row + 1) + (x - picture->area.x0);
        for (int i = 1; i < BLOCK - 1; i++) {
            const float middle = 2 * here[i] - here[i - 1] - here[i + 1];
            const float outer = 2 * above[i] - above[i - 1] - above[i + 1] + 2 * below[i] - below[i - 1] - below[i + 1];
            high += fabsf(2 * middle - outer);
            sum += here[i];
        }
    }
    const float count = (BLOCK - 2) * (BLOCK - 2);
    return (struct noise_block){ sum / count, high / count * ABS_TO_SIGMA };
}

static enum passel_status make_room(struct noise_samples *samples, size_t more, struct passel_error *error)
{
    if (samples->count + more <= samples->room)
        return PASSEL_OK;
    struct noise_block *blocks = memory_grow(samples->blocks, samples->count, samples->count + more, sizeof *blocks);
    if (blocks == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    samples->blocks = blocks;
    samples->room = samples->count + more;
    return PASSEL_OK;
}

enum passel_status noise_join(struct noise_samples *samples, const struct noise_samples *more,
                              struct passel_error *error)
{
    RETURN_IF_ERROR(make_room(samples, more->count, error));
    if (more->count > 0)
        memcpy(samples->blocks + samples->count, more->blocks, more->count * sizeof *more->blocks);
    samples->count += more->count;
    return PASSEL_OK;
}

enum passel_status noise_gather(struct noise_samples *samples, const struct picture *picture, enum plane plane,
                                struct passel_error *error)
{
    const int32_t across = rect_width(picture->area) / BLOCK, down = rect_height(picture->area) / BLOCK;
    RETURN_IF_ERROR(make_room(samples, (size_t)across * (size_t)down, error));
    for (int32_t j = 0; j < down; j++) {
        for (int32_t i = 0; i < across; i++) {
            const struct noise_block block =
                block_measure(picture, plane, picture->area.x0 + i * BLOCK, picture->area.y0 + j * BLOCK);
            if (block.sigma > 0) /* clipped or synthetic: says nothing */
                samples->blocks[samples->count++] = block;
        }
    }
    return PASSEL_OK;
}

/* Total orders: equal elements are the same, so every qsort gives the same array. */
static int by_level(const void *a, const void *b)
{
    const struct noise_block *x = a, *y = b;
    if (x->level != y->level)
        return x->level < y->level ? -1 : 1;
    return (x->sigma > y->sigma) - (x->sigma < y->sigma);
}

static int by_sigma(const void *a, const void *b)
{
    const struct noise_block *x = a, *y = b;
    if (x->sigma != y->sigma)
        return x->sigma < y->sigma ? -1 : 1;
    return (x->level > y->level) - (x->level < y->level);
}

/* A variance that may be divided by. */
static double block_variance(const struct noise_block *block)
{
    return fmax((double)block->sigma * (double)block->sigma, 1e-14);
}

/* Blocks of similar level become one: the quiet share's sigma, and the level of the blocks that look like that. */
static struct noise_block group_measure(struct noise_block *blocks, size_t count)
{
    const size_t middle = count / QUIET_SHARE, from = middle / 2, to = middle + (middle + 1) / 2 + 1;
    double level = 0;
    qsort(blocks, count, sizeof *blocks, by_sigma);
    for (size_t i = from; i < to; i++)
        level += (double)blocks[i].level;
    return (struct noise_block){ (float)(level / (double)(to - from)), blocks[middle].sigma / QUIET_BIAS };
}

/* One weighted line fit of var over level with both coefficients ≥ 0; relative errors count. */
static void line_fit(const struct noise_block *groups, const double *trust, int count, double *gain, double *floor)
{
    double s = 0, sx = 0, sxx = 0, sy = 0, sxy = 0;
    for (int i = 0; i < count; i++) {
        const double x = fmax(0, (double)groups[i].level), y = block_variance(&groups[i]);
        const double w = trust[i] / (y * y);
        s += w;
        sx += w * x;
        sxx += w * x * x;
        sy += w * y;
        sxy += w * x * y;
    }
    const double det = s * sxx - sx * sx;
    *gain = det > 1e-9 * s * sxx ? (s * sxy - sx * sy) / det : 0;
    *floor = (sy - *gain * sx) / s;
    if (*gain < 0) {
        *gain = 0;
        *floor = sy / s;
    } else if (*floor < 0) {
        *floor = 0;
        *gain = sxy / sxx;
    }
}

struct noise noise_fit(struct noise_samples *samples)
{
    struct noise_block groups[GROUPS];
    double trust[GROUPS], gain = 0, floor = 0;
    const size_t possible = samples->count / GROUP_LEAST;
    const int count = possible > GROUPS ? GROUPS : possible > 0 ? (int)possible : samples->count > 0;
    if (samples->count > 0)
        qsort(samples->blocks, samples->count, sizeof *samples->blocks, by_level);
    for (int i = 0; i < count; i++) {
        const size_t from = samples->count * (size_t)i / (size_t)count;
        const size_t to = samples->count * (size_t)(i + 1) / (size_t)count;
        groups[i] = group_measure(samples->blocks + from, to - from);
        trust[i] = 1;
    }
    for (int round = 0; round < 6 && count > 0; round++) {
        line_fit(groups, trust, count, &gain, &floor);
        for (int i = 0; i < count; i++) {
            const double model = gain * fmax(0, (double)groups[i].level) + floor;
            const double excess = block_variance(&groups[i]) / fmax(model, 1e-15) - 1;
            trust[i] = excess > 0 ? 1 / (1 + 16 * excess * excess) : 1;
        }
    }
    return (struct noise){ (float)gain, fmaxf((float)floor, NOISE_FLOOR_LEAST) };
}

float noise_level(const struct noise_samples *samples)
{
    return samples->blocks[samples->count / 2].level;
}

void noise_samples_release(struct noise_samples *samples)
{
    memory_free(samples->blocks);
    *samples = (struct noise_samples){ 0 };
}
