/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Bare screen shows one and the same ratio in many cells; what stands before it shows any. The ratio that most cells
 * share, in the screen's brightest channel, is the level; then each channel is measured on the cells that agree.
 */
#include "kinds/key_level.h"

#include <math.h>

#include "base/error.h"
#include "base/memory.h"
#include "numerics/between.h"

#define BINS 90
#define NEAR 0.015F       /* how far from the level a bare cell's ratio may be, noise apart */
#define NEAR_COLOUR 0.03F /* the same for the other channels */
#define SHARE_LEAST 100   /* one cell in so many must be bare */

struct pair {
    float take[3], empty[3];
    float noise[3]; /* sigma of take's value */
};

/* Mean of the empty over the cell; false when the cell sticks out of it. */
static bool empty_mean(const struct picture *empty, const struct cells *look, int32_t i, int32_t j, float mean[3])
{
    const struct rect cell =
        rect_cut(rect_of(look->area.x0 + i * look->size, look->area.y0 + j * look->size,
                         look->area.x0 + (i + 1) * look->size, look->area.y0 + (j + 1) * look->size),
                 look->area);
    if (rect_empty(cell) || !rect_holds(empty->area, cell))
        return false;
    for (int c = 0; c < 3; c++) {
        double sum = 0;
        for (int32_t y = cell.y0; y < cell.y1; y++) {
            const float *row = picture_row(empty, (enum plane)c, y) - empty->area.x0;
            for (int32_t x = cell.x0; x < cell.x1; x++)
                sum += (double)row[x];
        }
        mean[c] = (float)(sum / ((double)rect_width(cell) * (double)rect_height(cell)));
    }
    return true;
}

static int collect(const struct picture *empty, const struct noise noise[3], const struct cells *look,
                   struct pair *pairs)
{
    int count = 0;
    for (int32_t j = 0; j < look->height; j++) {
        for (int32_t i = 0; i < look->width; i++) {
            struct pair *pair = &pairs[count];
            const int32_t cell = j * look->width + i;
            if (!empty_mean(empty, look, i, j, pair->empty))
                continue;
            for (int c = 0; c < 3; c++) {
                pair->take[c] = look->value[c][cell];
                pair->noise[c] = CELL_NOISE * sqrtf(noise_variance(noise[c], pair->take[c]));
            }
            count++;
        }
    }
    return count;
}

static int brightest_channel(const struct pair *pairs, int count)
{
    double sum[3] = { 0 };
    for (int i = 0; i < count; i++) {
        for (int c = 0; c < 3; c++)
            sum[c] += (double)pairs[i].empty[c];
    }
    const int first = sum[1] > sum[0] ? 1 : 0;
    return sum[2] > sum[first] ? 2 : first;
}

/* The fullest place of the histogram of ratios in channel c. */
static float common_ratio(const struct pair *pairs, int count, int c)
{
    int bins[BINS + 4] = { 0 }, best = 0, most = 0;
    const float width = (LEVEL_MOST - LEVEL_LEAST) / BINS;
    for (int i = 0; i < count; i++) {
        const float place = (pairs[i].take[c] / larger(pairs[i].empty[c], 1e-6F) - LEVEL_LEAST) / width;
        if (place >= 0 && place < BINS)
            bins[2 + (int)place]++;
    }
    for (int i = 2; i < BINS + 2; i++) {
        const int sum = bins[i - 2] + 2 * bins[i - 1] + 3 * bins[i] + 2 * bins[i + 1] + bins[i + 2];
        if (sum > most) {
            most = sum;
            best = i - 2;
        }
    }
    return LEVEL_LEAST + ((float)best + 0.5F) * width;
}

/* Levels of the pairs that lie near `level` (in channel `main` closely); how many they are. */
static int refine(const struct pair *pairs, int count, int main, const bool judged[3], float level[3])
{
    double take[3] = { 0 }, empty[3] = { 0 };
    int used = 0;
    for (int i = 0; i < count; i++) {
        bool near = true;
        for (int c = 0; c < 3 && near; c++) {
            const float share = c == main ? NEAR : NEAR_COLOUR;
            const float off = fabsf(pairs[i].take[c] - level[c] * pairs[i].empty[c]);
            near = !judged[c] || off <= share * pairs[i].empty[c] + 3 * pairs[i].noise[c];
        }
        for (int c = 0; c < 3 && near; c++) {
            take[c] += (double)pairs[i].take[c];
            empty[c] += (double)pairs[i].empty[c];
        }
        used += near;
    }
    for (int c = 0; c < 3 && used > 0; c++)
        level[c] = empty[c] > 0 ? (float)(take[c] / empty[c]) : 1;
    return used;
}

enum passel_status level_find(const struct picture *empty, const struct noise noise[3], const struct cells *looks,
                              int look_count, float level[3], int *bare, struct passel_error *error)
{
    size_t room = 1;
    for (int k = 0; k < look_count; k++)
        room += (size_t)looks[k].width * (size_t)looks[k].height;
    struct pair *pairs = memory_zeros(room, sizeof *pairs);
    if (pairs == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    int count = 0;
    for (int k = 0; k < look_count; k++)
        count += collect(empty, noise, &looks[k], pairs + count);
    const int main = brightest_channel(pairs, count);
    const float common = common_ratio(pairs, count, main);
    for (int c = 0; c < 3; c++)
        level[c] = common;
    refine(pairs, count, main, (const bool[]){ main == 0, main == 1, main == 2 }, level);
    *bare = 0;
    for (int round = 0; round < 3; round++)
        *bare = refine(pairs, count, main, (const bool[]){ true, true, true }, level);
    const bool found = *bare >= 12 && *bare * SHARE_LEAST >= count;
    for (int c = 0; c < 3; c++)
        level[c] = found ? smaller(larger(level[c], LEVEL_LEAST), LEVEL_MOST) : 1;
    memory_free(pairs);
    return PASSEL_OK;
}
