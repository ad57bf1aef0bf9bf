/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Bare screen shows one and the same ratio in many cells; what stands before it shows any. The ratio that most cells
 * share, in the screen's brightest channel, is the first level; the other channels' are the middle ones of the cells
 * that agree, and the last is the mean of cells that agree in all.
 */
#include "kinds/key_level.h"

#include <math.h>
#include <stdlib.h>

#include "base/error.h"
#include "base/memory.h"
#include "numerics/between.h"
#include "numerics/order.h"

#define BINS 90
#define NEAR 0.015F       /* how far from the level a bare cell's ratio may be, noise apart */
#define NEAR_COLOUR 0.03F /* the same for the other channels */
#define ROUNDS 4          /* each with half the tolerance: haze of smoke falls away */

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

static bool pair_near(const struct pair *pair, const float level[3], int main, bool all, float tight)
{
    for (int c = 0; c < 3; c++) {
        const float share = tight * (c == main ? NEAR : NEAR_COLOUR);
        const float off = fabsf(pair->take[c] - level[c] * pair->empty[c]);
        if ((all || c == main) && off > share * pair->empty[c] + 3 * pair->noise[c])
            return false;
    }
    return true;
}

/* The middle ratio of each channel, of the pairs that lie near `level` in the main one: thin smoke can be as bright as
 * the screen in that channel while its others are several times the screen's, so means would follow it. */
static void middle_levels(const struct pair *pairs, int count, int main, float *ratios, float level[3])
{
    const float was[3] = { level[0], level[1], level[2] };
    for (int c = 0; c < 3; c++) {
        int used = 0;
        for (int i = 0; i < count; i++) {
            if (pairs[i].empty[c] > 0 && pair_near(&pairs[i], was, main, false, 1))
                ratios[used++] = pairs[i].take[c] / pairs[i].empty[c];
        }
        qsort(ratios, (size_t)used, sizeof *ratios, rising_floats);
        level[c] = used > 0 ? ratios[used / 2] : 1;
    }
}

/* Mean levels of the pairs that lie near `level` in all channels; how many they are. */
static int refine(const struct pair *pairs, int count, int main, float tight, float level[3])
{
    double take[3] = { 0 }, empty[3] = { 0 };
    int used = 0;
    for (int i = 0; i < count; i++) {
        if (!pair_near(&pairs[i], level, main, true, tight))
            continue;
        for (int c = 0; c < 3; c++) {
            take[c] += (double)pairs[i].take[c];
            empty[c] += (double)pairs[i].empty[c];
        }
        used++;
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
    float *ratios = memory_zeros(room, sizeof *ratios);
    if (pairs == NULL || ratios == NULL) {
        memory_free(ratios);
        memory_free(pairs);
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    }
    int count = 0;
    for (int k = 0; k < look_count; k++)
        count += collect(empty, noise, &looks[k], pairs + count);
    const int main = brightest_channel(pairs, count);
    const float common = common_ratio(pairs, count, main);
    for (int c = 0; c < 3; c++)
        level[c] = common;
    middle_levels(pairs, count, main, ratios, level);
    *bare = refine(pairs, count, main, 1, level);
    for (int round = 1; round < ROUNDS; round++)
        refine(pairs, count, main, 1 / (float)(1 << round), level);
    const bool found = *bare >= 12 && *bare * LEVEL_SHARE >= count;
    for (int c = 0; c < 3; c++)
        level[c] = found ? smaller(larger(level[c], LEVEL_LEAST), LEVEL_MOST) : 1;
    memory_free(ratios);
    memory_free(pairs);
    return PASSEL_OK;
}
