/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Focus against another pass, and pixels that stand out.
 */
#include <math.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "survey/gauge.h"

enum { BLOCK = 16, BLOCKS_LEAST = 12 };

/*
 * Detail of one block of the green plane in two bands: what a 3 x 3 binomial blur takes away (fine), and what it leaves
 * but the same blur with twice the step takes away (coarse). The fine band keeps this share of white noise's variance:
 * (1 - 1/4)² + 4 (1/8)² + 4 (1/16)².
 */
#define NOISE_IN_FINE 0.640625

/* A row of the plane, blurred downwards with this step between the taps. */
static void blur_down(const float *restrict at, ptrdiff_t down, int32_t width, float *restrict out)
{
    for (int32_t x = 0; x < width; x++)
        out[x] = 0.25F * at[x - down] + 0.5F * at[x] + 0.25F * at[x + down];
}

/* Squares of one row of blocks' worth of pixels, added to its blocks. `at` is the row's first pixel that counts. */
static void add_detail_row(const float *restrict at, ptrdiff_t stride, int32_t across, float *restrict room,
                           struct detail *details)
{
    const int32_t width = across * BLOCK, wide_width = width + 4;
    float *restrict near = room, *restrict wide = room + wide_width, *restrict fine = wide + wide_width;
    blur_down(at - 2, stride, wide_width, near);
    blur_down(at - 2, 2 * stride, wide_width, wide);
    for (int32_t x = 0; x < width; x++) {
        const float once = 0.25F * near[x + 1] + 0.5F * near[x + 2] + 0.25F * near[x + 3];
        const float twice = 0.25F * wide[x] + 0.5F * wide[x + 2] + 0.25F * wide[x + 4];
        fine[x] = (at[x] - once) * (at[x] - once);
        fine[width + x] = (once - twice) * (once - twice);
    }
    for (int32_t b = 0; b < across; b++) {
        for (int32_t i = b * BLOCK; i < (b + 1) * BLOCK; i++) {
            details[b].fine += fine[i];
            details[b].coarse += fine[width + i];
            details[b].level += at[i];
        }
    }
}

enum passel_status gauge_detail(const struct picture *picture, struct detail_map *map, struct passel_error *error)
{
    const struct rect area = rect_grow(picture->area, -4, -4);
    const int32_t across = rect_width(area) / BLOCK, down = rect_height(area) / BLOCK;
    *map = (struct detail_map){ .area = picture->area };
    if (across < 1 || down < 1)
        return PASSEL_OK;
    const size_t count = (size_t)across * (size_t)down, width = (size_t)across * BLOCK + 4;
    float *room = memory_new(4 * width * sizeof *room);
    map->blocks = memory_zeros(count, sizeof *map->blocks);
    if (room == NULL || map->blocks == NULL) {
        memory_free(room);
        detail_map_release(map);
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    }
    map->across = across;
    map->down = down;
    for (int32_t y = 0; y < down * BLOCK; y++)
        add_detail_row(picture_row(picture, PLANE_G, area.y0 + y) + 4, (ptrdiff_t)picture->stride, across, room,
                       map->blocks + (ptrdiff_t)(y / BLOCK) * across);
    for (size_t i = 0; i < count; i++) {
        map->blocks[i].fine /= BLOCK * BLOCK;
        map->blocks[i].coarse /= BLOCK * BLOCK;
        map->blocks[i].level /= BLOCK * BLOCK;
    }
    memory_free(room);
    return PASSEL_OK;
}

void detail_map_release(struct detail_map *map)
{
    memory_free(map->blocks);
    *map = (struct detail_map){ 0 };
}

/* Fine over coarse with the noise taken off; 0 when there is too little detail to say. */
static double sharpness(const struct detail *detail, const struct noise *noise)
{
    const double variance = (double)noise_variance(*noise, (float)detail->level);
    if ((double)detail->coarse < 4 * variance || detail->level <= 0)
        return 0;
    return fmax(0.001, ((double)detail->fine - NOISE_IN_FINE * variance) / (double)detail->coarse);
}

/* The ratio of amplitudes of the middle block; -1 when there are too few. */
static double middle_of(float *shares, size_t count)
{
    return count >= BLOCKS_LEAST ? sqrt((double)numbers_at(shares, count, 0.5)) : -1;
}

static bool in_region(const struct detail_map *map, int32_t x, int32_t y, int region)
{
    return region < 0 || (x * FOCUS_ACROSS / map->across == region % FOCUS_ACROSS &&
                          y * FOCUS_DOWN / map->down == region / FOCUS_ACROSS);
}

double gauge_focus(const struct detail_map *pass, const struct noise *pass_noise, const struct detail_map *lock,
                   const struct noise *lock_noise, float regions[FOCUS_REGIONS])
{
    const size_t blocks = (size_t)pass->across * (size_t)pass->down;
    float *shares = rect_same(pass->area, lock->area) ? memory_new((blocks + 1) * sizeof *shares) : NULL;
    double found[FOCUS_REGIONS + 1] = { 0 };
    if (shares == NULL)
        return -1;
    for (int region = -1; region < FOCUS_REGIONS; region++) {
        size_t count = 0;
        for (size_t i = 0; i < blocks; i++) {
            const int32_t x = (int32_t)(i % (size_t)pass->across), y = (int32_t)(i / (size_t)pass->across);
            if (!in_region(pass, x, y, region))
                continue;
            const double a = sharpness(&pass->blocks[i], pass_noise), b = sharpness(&lock->blocks[i], lock_noise);
            if (a > 0 && b > 0)
                shares[count++] = (float)(a / b);
        }
        found[region + 1] = middle_of(shares, count);
    }
    for (int region = 0; region < FOCUS_REGIONS; region++)
        regions[region] = (float)found[region + 1];
    memory_free(shares);
    return found[0];
}

/* Six deviations of noise. */
#define STANDS_OUT 36.0F

/* How far each pixel of a row lies outside what its eight neighbours span, against the noise there: above 1 it stands
 * out. An edge nearby makes the span wide; what stands out of it must do so by as much again. */
static bool mark_row(const float *restrict at, ptrdiff_t down, int32_t width, struct noise noise,
                     uint8_t *restrict marks)
{
    int any = 0;
    for (int32_t x = 0; x < width; x++) {
        const float *p = at + x;
        float least = p[-1], most = p[-1];
        least = p[1] < least ? p[1] : least;
        most = p[1] > most ? p[1] : most;
        for (int i = -1; i <= 1; i++) {
            const float above = p[i - down], below = p[i + down];
            least = above < least ? above : least;
            most = above > most ? above : most;
            least = below < least ? below : least;
            most = below > most ? below : most;
        }
        const float up = p[0] - most, under = least - p[0], apart = up > under ? up : under;
        const float level = most > 0 ? most : 0;
        const int out = (apart > 0) & (apart >= 0.5F * (most - least)) &
                        (apart * apart > STANDS_OUT * (noise.gain * level + noise.floor));
        marks[x] |= (uint8_t)out;
        any |= out;
    }
    return any != 0;
}

int gauge_spots(const struct picture *picture, const struct noise noise[3], struct spot *spots)
{
    const int32_t width = rect_width(picture->area) - 2;
    int count = 0;
    uint8_t *marks = width > 0 ? memory_new((size_t)width) : NULL;
    if (marks == NULL)
        return 0;
    for (int32_t y = picture->area.y0 + 1; y < picture->area.y1 - 1; y++) {
        bool any = false;
        memset(marks, 0, (size_t)width);
        for (int c = 0; c < 3; c++)
            any |= mark_row(picture_row(picture, (enum plane)c, y) + 1, (ptrdiff_t)picture->stride, width, noise[c],
                            marks);
        for (int32_t x = 0; any && x < width && count < SPOTS_MOST; x++) {
            if (marks[x] != 0)
                spots[count++] = (struct spot){ picture->area.x0 + 1 + x, y };
        }
    }
    memory_free(marks);
    return count;
}
