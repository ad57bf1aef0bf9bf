/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Strength comes from the noise model. Likeness of neighbours and of colours is read off the finest detail of the quiet
 * blocks: clouds and waves have no part in that, where there is no bare block they would be taken for soft grain. A
 * compressed picture has lost its finest detail, and what is left of it looks as alike as the softest grain, without
 * the coarse part that such grain would have: pixels two by two tell how much of that there is.
 */
#include "numerics/grain.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "numerics/order.h"

#define BLOCK 16
#define FINE (BLOCK - 2) /* of its pixels have all neighbours in it */
#define HALF (BLOCK / 2)
#define BLOCKS_LEAST 8
#define QUIET_SHARE 4
#define LEVEL_BLOCKS 16   /* at least, for a level of its own */
#define LEVEL_BIAS 0.855F /* the quiet fifth of blocks of pure grain has this share of the variance (simulated) */
#define TAPS_MOST 0.5
#define TAPS_LEAST 0.04

/* ---- measuring ------------------------------------------------------------------------------------------------- */

enum { COVER_0, COVER_X, COVER_Y, COVER_COLOUR, COVER_COARSE, COVER_COUNT };

struct block_look {
    double energy; /* what it is sorted by */
    double cover[3][COVER_COUNT];
    struct grain_level fine[3]; /* variance of the finest detail, against the model's */
    int32_t place;
};

/* The block's finest detail, which slow change has no part in: second differences both ways. White noise keeps its
 * variance. */
static void block_fine(const struct picture *picture, int c, int32_t x, int32_t y, float *fine)
{
    for (int32_t j = 0; j < FINE; j++) {
        const float *above = picture_row(picture, (enum plane)c, y + j) + (x - picture->area.x0);
        const float *here = picture_row(picture, (enum plane)c, y + j + 1) + (x - picture->area.x0);
        const float *below = picture_row(picture, (enum plane)c, y + j + 2) + (x - picture->area.x0);
        for (int32_t i = 0; i < FINE; i++) {
            const float middle = 2 * (2 * here[i + 1] - here[i] - here[i + 2]);
            const float sides = 2 * above[i + 1] - above[i] - above[i + 2] + 2 * below[i + 1] - below[i] - below[i + 2];
            fine[j * FINE + i] = (middle - sides) / 6;
        }
    }
}

/* Energy of the finest detail of means of two by two pixels; white noise has a quarter of its variance left. */
static double block_coarse(const struct picture *picture, int c, int32_t x, int32_t y)
{
    double means[HALF][HALF], energy = 0;
    for (int32_t j = 0; j < HALF; j++) {
        const float *above = picture_row(picture, (enum plane)c, y + 2 * j) + (x - picture->area.x0);
        const float *below = picture_row(picture, (enum plane)c, y + 2 * j + 1) + (x - picture->area.x0);
        for (int32_t i = 0; i < HALF; i++)
            means[j][i] = 0.25 * ((double)above[2 * i] + (double)above[2 * i + 1] + (double)below[2 * i] +
                                  (double)below[2 * i + 1]);
    }
    for (int32_t j = 1; j + 1 < HALF; j++) {
        for (int32_t i = 1; i + 1 < HALF; i++) {
            const double *a = &means[j - 1][i], *b = &means[j][i], *d = &means[j + 1][i];
            const double value = 2 * (2 * b[0] - b[-1] - b[1]) - (2 * a[0] - a[-1] - a[1]) - (2 * d[0] - d[-1] - d[1]);
            energy += value * value / 36;
        }
    }
    return energy / ((HALF - 2) * (HALF - 2)) * FINE * FINE;
}

static void block_covers(float fine[3][FINE * FINE], struct block_look *look)
{
    memset(look->cover, 0, sizeof look->cover);
    for (int c = 0; c < 3; c++) {
        const float *own = fine[c], *next = fine[(c + 1) % 3];
        for (int k = 0; k < FINE * FINE; k++) {
            look->cover[c][COVER_0] += (double)own[k] * (double)own[k];
            look->cover[c][COVER_COLOUR] += (double)own[k] * (double)next[k];
            if (k % FINE + 1 < FINE)
                look->cover[c][COVER_X] += (double)own[k] * (double)own[k + 1] * FINE / (FINE - 1);
            if (k + FINE < FINE * FINE)
                look->cover[c][COVER_Y] += (double)own[k] * (double)own[k + FINE] * FINE / (FINE - 1);
        }
    }
}

static int by_level(const void *a, const void *b)
{
    const struct grain_level *x = a, *y = b;
    if (x->level != y->level)
        return x->level < y->level ? -1 : 1;
    return (x->times > y->times) - (x->times < y->times);
}

static int by_times(const void *a, const void *b)
{
    const struct grain_level *x = a, *y = b;
    if (x->times != y->times)
        return x->times < y->times ? -1 : 1;
    return (x->level > y->level) - (x->level < y->level);
}

/* Blocks of like level become one: the quiet fifth tells, which is a little below the truth. */
static void find_levels(struct grain *grain, int c, struct grain_level *blocks, size_t count)
{
    const size_t possible = count / LEVEL_BLOCKS, levels = possible < GRAIN_LEVELS ? possible : GRAIN_LEVELS;
    qsort(blocks, count, sizeof *blocks, by_level);
    for (size_t i = 0; i < levels; i++) {
        struct grain_level *from = blocks + count * i / levels;
        const size_t many = (size_t)(blocks + count * (i + 1) / levels - from);
        const float level = from[many / 2].level;
        qsort(from, many, sizeof *from, by_times);
        grain->levels[c][i] = (struct grain_level){ level, from[many / 5].times / LEVEL_BIAS };
    }
    grain->level_count[c] = (int)levels;
}

static enum passel_status levels_from(struct grain *grain, const struct block_look *looks, size_t count,
                                      struct passel_error *error)
{
    struct grain_level *blocks = memory_zeros(count + 1, sizeof *blocks);
    if (blocks == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int c = 0; c < 3; c++) {
        for (size_t k = 0; k < count; k++)
            blocks[k] = looks[k].fine[c];
        find_levels(grain, c, blocks, count);
    }
    memory_free(blocks);
    return PASSEL_OK;
}

static bool block_is_known(const struct picture *known, int32_t x, int32_t y)
{
    for (int32_t j = 0; known != NULL && j < BLOCK; j++) {
        const float *row = picture_row(known, PLANE_A, y + j) + (x - known->area.x0);
        for (int32_t i = 0; i < BLOCK; i++) {
            if (!(row[i] > 0))
                return false;
        }
    }
    return true;
}

/* How far a block is from what the noise model says; total order with its place. */
static int by_energy(const void *a, const void *b)
{
    const struct block_look *x = a, *y = b;
    if (x->energy != y->energy)
        return x->energy < y->energy ? -1 : 1;
    return (x->place > y->place) - (x->place < y->place);
}

/* Blocks whose grain can be seen, measured against what is expected there. */
static size_t look_at_blocks(const struct grain *grain, const struct picture *picture, const struct picture *known,
                             int32_t place, struct block_look *looks)
{
    float fine[3][FINE * FINE];
    const int32_t across = rect_width(picture->area) / BLOCK, down = rect_height(picture->area) / BLOCK;
    size_t count = 0;
    for (int32_t k = 0; k < across * down; k++) {
        const int32_t x = picture->area.x0 + k % across * BLOCK, y = picture->area.y0 + k / across * BLOCK;
        struct block_look *look = &looks[count];
        look->place = place + k;
        look->energy = 0;
        if (!block_is_known(known, x, y))
            continue;
        for (int c = 0; c < 3; c++)
            block_fine(picture, c, x, y, fine[c]);
        block_covers(fine, look);
        for (int c = 0; c < 3; c++)
            look->cover[c][COVER_COARSE] = block_coarse(picture, c, x, y);
        bool clear = true;
        for (int c = 0; c < 3; c++) {
            const float level = picture_row(picture, (enum plane)c, y + BLOCK / 2)[x + BLOCK / 2 - picture->area.x0];
            const double expected = (double)noise_variance(grain->noise[c], fmaxf(level, 0)) * FINE * FINE;
            clear = clear && look->cover[c][COVER_0] > 1e-4 * expected;
            look->energy += look->cover[c][COVER_0] / expected;
            look->fine[c] = (struct grain_level){ level, (float)(look->cover[c][COVER_0] / expected) };
        }
        count += clear;
    }
    return count;
}

/* How alike neighbours are in the second differences of white noise through b, 1, b: these are white noise through
 * b, 1 - 2 b, 2 b - 2, 1 - 2 b, b. It rises with b. */
static double fine_alike(double b)
{
    const double side = 1 - 2 * b, middle = 2 * b - 2;
    return 2 * side * (b + middle) / (2 * b * b + 2 * side * side + middle * middle);
}

static float taps_for(double alike)
{
    double low = 0, high = TAPS_MOST;
    for (int round = 0; round < 30; round++) {
        const double b = 0.5 * (low + high);
        if (fine_alike(b) < alike)
            low = b;
        else
            high = b;
    }
    return low > TAPS_LEAST ? (float)low : 0;
}

/* Variance that the kernel of second differences sees of such grain, of 6 for white grain. */
static float second_differences(float b)
{
    return (6 * (1 + 2 * b * b) - 4 * 2 * (2 * b) + 2 * (b * b)) / (1 + 2 * b * b);
}

/* The same after means of two pixels along each direction, of 3 for white grain: the kernel is 1, 1, -2, -2, 1, 1 over
 * 2, then. */
static float coarse_differences(float b)
{
    static const float kernel[10] = { 0, 0, 0.5F, 0.5F, -1, -1, 0.5F, 0.5F, 0, 0 };
    float sum = 0;
    for (int i = 1; i < 9; i++) {
        const float tap = kernel[i] + b * (kernel[i - 1] + kernel[i + 1]);
        sum += tap * tap;
    }
    return sum / (1 + 2 * b * b);
}

/* Makes grain of plane c less soft until it has no more coarse detail, beside its finest, than was seen. */
static void limit_softness(struct grain *grain, int c, double coarse)
{
    const float across = grain->across[c], down = grain->down[c];
    float low = 0, high = 1;
    for (int round = 0; round < 20; round++) {
        const float share = round == 0 ? 1 : 0.5F * (low + high), a = share * across, d = share * down;
        const float has =
            coarse_differences(a) * coarse_differences(d) / (second_differences(a) * second_differences(d));
        if ((double)has <= coarse)
            low = share;
        else
            high = share;
    }
    grain->across[c] = low * across;
    grain->down[c] = low * down;
}

/* Coarse detail beside the finest, in the middle one of the blocks: a star is no grain. */
static double usual_coarse(const struct block_look *looks, size_t count, int c, double *ratios)
{
    for (size_t k = 0; k < count; k++)
        ratios[k] = looks[k].cover[c][COVER_COARSE] / looks[k].cover[c][COVER_0];
    qsort(ratios, count, sizeof *ratios, rising_doubles);
    return ratios[count / 2];
}

/* `ratios` is room for one number a block. */
static void shape_from(struct grain *grain, const struct block_look *looks, size_t count, double *ratios)
{
    double sums[3][COVER_COUNT] = { { 0 } }, both = 0, all = 0;
    for (size_t k = 0; k < count; k++) {
        for (int c = 0; c < 3; c++) {
            for (int i = 0; i < COVER_COUNT; i++)
                sums[c][i] += looks[k].cover[c][i];
        }
    }
    for (int c = 0; c < 3; c++) {
        grain->across[c] = taps_for(sums[c][COVER_X] / sums[c][COVER_0]);
        grain->down[c] = taps_for(sums[c][COVER_Y] / sums[c][COVER_0]);
        limit_softness(grain, c, usual_coarse(looks, count, c, ratios));
        both += sums[c][COVER_COLOUR];
        all += sqrt(sums[c][COVER_0] * sums[(c + 1) % 3][COVER_0]);
    }
    grain->common = (float)(both > 0.05 * all ? fmin(both / all, 1) : 0);
}

static enum passel_status noise_measure(struct grain *grain, const struct picture *picture, const struct rect *parts,
                                        int count, struct passel_error *error)
{
    for (int c = 0; c < 3; c++) {
        struct noise_samples samples = { 0 };
        enum passel_status status = PASSEL_OK;
        for (int i = 0; i < count && status == PASSEL_OK; i++) {
            const struct picture part = picture_part(picture, parts[i]);
            status = noise_gather(&samples, &part, (enum plane)c, error);
        }
        grain->noise[c] = noise_fit(&samples);
        noise_samples_release(&samples);
        RETURN_IF_ERROR(status);
    }
    return PASSEL_OK;
}

enum passel_status grain_measure(struct grain *grain, const struct picture *picture, const struct picture *known,
                                 const struct rect *parts, int count, struct passel_error *error)
{
    size_t blocks = 1, seen = 0;
    *grain = (struct grain){ .common = 0 };
    RETURN_IF_ERROR(noise_measure(grain, picture, parts, count, error));
    for (int i = 0; i < count; i++)
        blocks += (size_t)(rect_width(parts[i]) / BLOCK) * (size_t)(rect_height(parts[i]) / BLOCK);
    /* one more, which the last look that does not count is written to */
    struct block_look *looks = memory_zeros(blocks, sizeof *looks + sizeof(double));
    if (looks == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int i = 0; i < count; i++) {
        const struct picture part = picture_part(picture, parts[i]);
        seen += look_at_blocks(grain, &part, known, i << 24, looks + seen);
    }
    const enum passel_status status = levels_from(grain, looks, seen, error);
    qsort(looks, seen, sizeof *looks, by_energy);
    const size_t quiet = seen / QUIET_SHARE > BLOCKS_LEAST ? seen / QUIET_SHARE : BLOCKS_LEAST;
    if (seen >= BLOCKS_LEAST)
        shape_from(grain, looks, quiet, (double *)(looks + blocks));
    for (int c = 0; c < 3; c++)
        grain->strength[c] = 6 / sqrtf(second_differences(grain->across[c]) * second_differences(grain->down[c]));
    memory_free(looks);
    return status;
}

/* ---- drawing --------------------------------------------------------------------------------------------------- */

/* Spreads every bit over all others (see numerics/seeded.c). */
static uint64_t mixed(uint64_t bits)
{
    bits = (bits ^ bits >> 30) * UINT64_C(0xbf58476d1ce4e5b9);
    bits = (bits ^ bits >> 27) * UINT64_C(0x94d049bb133111eb);
    return bits ^ bits >> 31;
}

/* Nearly normal, mean 0, variance 1: four 16-bit numbers added. */
static float normal_of(uint64_t bits)
{
    const int32_t sum = (int32_t)(bits & 0xffff) + (int32_t)(bits >> 16 & 0xffff) + (int32_t)(bits >> 32 & 0xffff) +
                        (int32_t)(bits >> 48);
    return (float)(sum - 131070) * (1 / 37837.0F);
}

static void white_row(uint64_t seed, uint64_t series, int32_t x0, int32_t y, int32_t count, float *out)
{
    const uint64_t line = mixed(mixed(seed + series * UINT64_C(0x9e3779b97f4a7c15)) + (uint64_t)(uint32_t)y);
    for (int32_t i = 0; i < count; i++)
        out[i] = normal_of(mixed(line + (uint64_t)(uint32_t)(x0 + i)));
}

static float times_at(const struct grain *grain, int c, float light)
{
    const struct grain_level *levels = grain->levels[c];
    const int count = grain->level_count[c];
    if (count == 0)
        return 1;
    if (!(light > levels[0].level))
        return levels[0].times;
    for (int i = 1; i < count; i++) {
        if (light < levels[i].level)
            return levels[i - 1].times + (levels[i].times - levels[i - 1].times) * (light - levels[i - 1].level) /
                                             (levels[i].level - levels[i - 1].level);
    }
    return levels[count - 1].times;
}

void grain_row(const struct grain *grain, uint64_t seed, int32_t x0, int32_t y, int32_t count,
               const float *const light[3], float *const out[3], float *room)
{
    const int32_t wide = count + 2;
    const float own = sqrtf(1 - grain->common), common = sqrtf(grain->common);
    float *shared = room + 9 * (ptrdiff_t)wide;
    for (int32_t k = 0; k < 3; k++)
        white_row(seed, 3, x0 - 1, y - 1 + k, wide, shared + k * wide);
    for (int c = 0; c < 3; c++) {
        if (out[c] == NULL)
            continue;
        float *rows = room + c * 3 * (ptrdiff_t)wide;
        for (int32_t k = 0; k < 3; k++)
            white_row(seed, (uint64_t)c, x0 - 1, y - 1 + k, wide, rows + k * wide);
        for (int32_t i = 0; i < 3 * wide; i++)
            rows[i] = own * rows[i] + common * shared[i];
        const float a = grain->across[c], d = grain->down[c];
        const float scale = grain->strength[c] / sqrtf((1 + 2 * a * a) * (1 + 2 * d * d));
        for (int32_t i = 0; i < wide; i++)
            rows[i] = rows[wide + i] + d * (rows[i] + rows[2 * wide + i]);
        for (int32_t i = 0; i < count; i++) {
            const float sigma =
                scale * sqrtf(noise_variance(grain->noise[c], fmaxf(light[c][i], 0)) * times_at(grain, c, light[c][i]));
            out[c][i] = sigma * (rows[i + 1] + a * (rows[i] + rows[i + 2]));
        }
    }
}
