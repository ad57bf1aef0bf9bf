/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Each grid is solved after one of half its size has given the first guess: what is left to do there are waves of a few
 * steps, which a few dozen sweeps of over-relaxation settle.
 */
#include "numerics/membrane.h"

#include <stdbool.h>
#include <stddef.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"

#define SWEEPS 40       /* on each grid */
#define OVER_RELAX 1.5F /* of a sweep's step */
#define COARSEST 4      /* a grid of this side or less is not halved */

struct level {
    float *plane, *weight;
    int32_t width, height;
};

/* Four values become one: the mean of the known. */
static void halve(const struct level *fine, const struct level *coarse)
{
    for (int32_t j = 0; j < coarse->height; j++) {
        for (int32_t i = 0; i < coarse->width; i++) {
            float sum = 0, weight = 0;
            for (int32_t y = 2 * j; y < 2 * j + 2 && y < fine->height; y++) {
                for (int32_t x = 2 * i; x < 2 * i + 2 && x < fine->width; x++) {
                    const size_t at = (size_t)y * (size_t)fine->width + (size_t)x;
                    if (fine->weight[at] > 0) {
                        sum += fine->weight[at] * fine->plane[at];
                        weight += fine->weight[at];
                    }
                }
            }
            const size_t to = (size_t)j * (size_t)coarse->width + (size_t)i;
            coarse->weight[to] = weight;
            coarse->plane[to] = weight > 0 ? sum / weight : 0;
        }
    }
}

static int32_t held_in(int32_t i, int32_t count)
{
    return i < 0 ? 0 : i >= count ? count - 1 : i;
}

/* The guess: linear between the coarse centres. */
static void spread(const struct level *coarse, const struct level *fine)
{
    for (int32_t y = 0; y < fine->height; y++) {
        const int32_t j = y / 2, j2 = held_in(y % 2 == 0 ? j - 1 : j + 1, coarse->height);
        const float *row = coarse->plane + (size_t)j * (size_t)coarse->width;
        const float *other = coarse->plane + (size_t)j2 * (size_t)coarse->width;
        for (int32_t x = 0; x < fine->width; x++) {
            const int32_t i = x / 2, i2 = held_in(x % 2 == 0 ? i - 1 : i + 1, coarse->width);
            const size_t at = (size_t)y * (size_t)fine->width + (size_t)x;
            if (!(fine->weight[at] > 0))
                fine->plane[at] = 0.5625F * row[i] + 0.1875F * (row[i2] + other[i]) + 0.0625F * other[i2];
        }
    }
}

static float relaxed(const struct level *level, int32_t x, int32_t y, float pull)
{
    const float *at = level->plane + (size_t)y * (size_t)level->width + (size_t)x;
    float sum = 0, count = pull;
    if (x > 0)
        sum += at[-1], count += 1;
    if (x + 1 < level->width)
        sum += at[1], count += 1;
    if (y > 0)
        sum += at[-(ptrdiff_t)level->width], count += 1;
    if (y + 1 < level->height)
        sum += at[level->width], count += 1;
    return count > 0 ? *at + OVER_RELAX * (sum / count - *at) : *at;
}

static void sweep(const struct level *level, float pull)
{
    for (int32_t y = 0; y < level->height; y++) {
        for (int32_t x = 0; x < level->width; x++) {
            const size_t at = (size_t)y * (size_t)level->width + (size_t)x;
            if (!(level->weight[at] > 0))
                level->plane[at] = relaxed(level, x, y, pull);
        }
    }
}

static void solve(const struct level *fine, float *room, float pull)
{
    if (fine->width > COARSEST || fine->height > COARSEST) {
        struct level coarse = { .width = (fine->width + 1) / 2, .height = (fine->height + 1) / 2 };
        const size_t cells = (size_t)coarse.width * (size_t)coarse.height;
        coarse.plane = room;
        coarse.weight = room + cells;
        halve(fine, &coarse);
        solve(&coarse, room + 2 * cells, 4 * pull);
        spread(&coarse, fine);
    }
    for (int i = 0; i < SWEEPS; i++)
        sweep(fine, pull);
}

static bool any_known(const float *weight, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        if (weight[i] > 0)
            return true;
    }
    return false;
}

enum passel_status membrane_fill(float *const *planes, int count, const float *weight, int32_t width, int32_t height,
                                 float pull, struct passel_error *error)
{
    const size_t cells = (size_t)width * (size_t)height;
    /* Halves of halves: (w + 1) / 2 · (h + 1) / 2 + … is at most cells / 3 + w + h + 64. */
    const size_t room = 2 * (cells / 3 + (size_t)width + (size_t)height + 64);
    float *memory = memory_zeros(cells + room, sizeof *memory);
    if (memory == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    memcpy(memory, weight, cells * sizeof *weight);
    for (int k = 0; k < count; k++) {
        const struct level finest = { .plane = planes[k], .weight = memory, .width = width, .height = height };
        for (size_t i = 0; i < cells; i++)
            planes[k][i] = weight[i] > 0 ? planes[k][i] : 0;
        if (any_known(weight, cells))
            solve(&finest, memory + cells, pull);
    }
    memory_free(memory);
    return PASSEL_OK;
}
