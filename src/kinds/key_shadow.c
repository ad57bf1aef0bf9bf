/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Light s of the screen K in a pixel y is the weighted projection of y on K. A place is bare screen, lit or in shadow,
 * when in a small box around it y is s K to within noise, and s hardly changes: a dark wire that covers half of a pixel
 * looks like a shadow by itself, but not together with its neighbours. What such boxes lose of their light is the
 * shadow. Between them and what stands before the screen it is the mean of those near by.
 */
#include "kinds/key_shadow.h"

#include <math.h>
#include <string.h>

#include "base/error.h"
#include "kinds/arena_picture.h"
#include "numerics/between.h"

#define BOX 2    /* pixels to either side */
#define AROUND 8 /* pixels to either side that a shadow goes on */
#define CLOSE 4  /* if it can, as it is so close by */
#define FAR_WEIGHT 0.05F
#define CHROMA 0.01F   /* how far a screen's colour changes with its brightness, of the channel */
#define MISS_FROM 1.7F /* mean squared miss per degree of freedom, in variances; noise alone makes 1 */
#define MISS_TO 2.6F
#define CHANGE_FROM 0.05F /* sigma of s in a box */
#define CHANGE_TO 0.10F
#define FAINT 0.006F  /* shadows that are no more than a crease in the screen */
#define ENOUGH 0.001F /* share of the surroundings that must be bare */

enum { LIGHT, LIGHT2, MISS, BARE, DEPTH, PLANES };

struct work {
    struct rect seen;
    float *plane[PLANES];
    float *row; /* as wide as `seen` */
    float *spare[3];
};

static float ramp(float value, float from, float to)
{
    return between((value - from) / (to - from), 0, 1);
}

static size_t place(const struct work *work, int32_t y)
{
    return (size_t)(y - work->seen.y0) * (size_t)rect_width(work->seen);
}

/* s, its square and the miss of every pixel. */
static void project(const struct work *work, const struct picture *take, const struct screen *screen)
{
    const int32_t count = rect_width(work->seen);
    for (int32_t y = work->seen.y0; y < work->seen.y1; y++) {
        const float *from[3], *field[3];
        float *light = work->plane[LIGHT] + place(work, y), *light2 = work->plane[LIGHT2] + place(work, y);
        float *miss = work->plane[MISS] + place(work, y);
        for (int c = 0; c < 3; c++) {
            from[c] = picture_row(take, (enum plane)c, y) + (work->seen.x0 - take->area.x0);
            field[c] = screen_row(screen, c, work->seen.x0, y, count, work->spare[c]);
        }
        for (int32_t i = 0; i < count; i++) {
            float weight[3], with = 0, own = 1e-12F, off = 0;
            for (int c = 0; c < 3; c++) {
                const float k = field[c][i];
                weight[c] = 1 / (noise_variance(screen->noise[c], from[c][i]) + CHROMA * CHROMA * k * k);
                with += weight[c] * k * from[c][i];
                own += weight[c] * k * k;
            }
            const float s = with / own;
            for (int c = 0; c < 3; c++)
                off += weight[c] * (from[c][i] - s * field[c][i]) * (from[c][i] - s * field[c][i]);
            light[i] = s;
            light2[i] = s * s;
            miss[i] = off / 2;
        }
    }
}

/* Sums of a plane within `radius` along row y of `seen`, both ways; cut where `seen` ends, so that they are the same
 * whatever is filled as long as the margin is there. */
static void box_row(const struct work *work, int plane, int radius, int32_t y, float *restrict sums)
{
    const int32_t count = rect_width(work->seen);
    memset(work->row, 0, (size_t)count * sizeof *work->row);
    memset(sums, 0, (size_t)count * sizeof *sums);
    for (int32_t v = y - radius; v <= y + radius; v++) {
        if (v < work->seen.y0 || v >= work->seen.y1)
            continue;
        const float *from = work->plane[plane] + place(work, v);
        for (int32_t i = 0; i < count; i++)
            work->row[i] += from[i];
    }
    for (int32_t d = -radius; d <= radius; d++) {
        const int32_t first = d < 0 ? -d : 0, last = d > 0 ? count - d : count;
        for (int32_t i = first; i < last; i++)
            sums[i] += work->row[i + d];
    }
}

/* How many pixels such a box holds at column i of row y. */
static float box_pixels(const struct work *work, int radius, int32_t i, int32_t y)
{
    const int32_t x = work->seen.x0 + i;
    const struct rect box = rect_cut(rect_of(x - radius, y - radius, x + radius + 1, y + radius + 1), work->seen);
    return (float)rect_width(box) * (float)rect_height(box);
}

/* From the boxes: how surely a place is bare screen, and what it loses of its light, times that. */
static void judge(const struct work *work, const struct screen *screen, float least, float *const sums[3])
{
    const int32_t count = rect_width(work->seen);
    for (int32_t y = work->seen.y0; y < work->seen.y1; y++) {
        float *bare = work->plane[BARE] + place(work, y), *depth = work->plane[DEPTH] + place(work, y);
        for (int k = 0; k < 3; k++)
            box_row(work, LIGHT + k, BOX, y, sums[k]);
        const float *green = screen_row(screen, PLANE_G, work->seen.x0, y, count, work->spare[1]);
        for (int32_t i = 0; i < count; i++) {
            const float share = 1 / box_pixels(work, BOX, i, y), mean = sums[0][i] * share;
            const float noise = noise_variance(screen->noise[1], green[i]) / larger(green[i] * green[i], 1e-6F);
            const float change = sqrtf(larger(sums[1][i] * share - mean * mean - noise, 0));
            const float sure = (1 - ramp(sums[2][i] * share, MISS_FROM, MISS_TO)) *
                               (1 - ramp(change, CHANGE_FROM, CHANGE_TO)) * ramp(mean, least - 0.05F, least);
            const float lost = larger(1 - mean, 0);
            bare[i] = sure;
            depth[i] = sure * lost * ramp(lost, FAINT, 2 * FAINT);
        }
    }
}

/* sums: rows for bare and depth close by, and farther off, which counts where nothing close by is bare. */
static void spread_row(const struct work *work, const struct picture *shadow, int32_t y, float *sums[4])
{
    const int32_t shift = shadow->area.x0 - work->seen.x0;
    const float *own_bare = work->plane[BARE] + place(work, y), *own = work->plane[DEPTH] + place(work, y);
    float *to = picture_row(shadow, PLANE_A, y);
    for (int k = 0; k < 2; k++) {
        box_row(work, BARE, k == 0 ? CLOSE : AROUND, y, sums[2 * k]);
        box_row(work, DEPTH, k == 0 ? CLOSE : AROUND, y, sums[2 * k + 1]);
    }
    for (int32_t i = 0; i < rect_width(shadow->area); i++) {
        const int32_t at = i + shift;
        const float bare = sums[0][at] + FAR_WEIGHT * sums[2][at], depth = sums[1][at] + FAR_WEIGHT * sums[3][at];
        const float near = depth / larger(bare, ENOUGH * box_pixels(work, AROUND, at, y));
        to[i] = own[at] + (1 - own_bare[at]) * near;
    }
}

enum passel_status shadow_find(const struct picture *shadow, const struct picture *take, const struct screen *screen,
                               float least, struct arena *scratch, struct passel_error *error)
{
    struct work work = { .seen = rect_cut(rect_grow(shadow->area, SHADOW_REACH, SHADOW_REACH), take->area) };
    const size_t width = (size_t)rect_width(work.seen), pixels = width * (size_t)rect_height(work.seen);
    float *planes = arena_array(scratch, pixels, PLANES * sizeof *planes);
    float *rows = arena_array(scratch, width, 8 * sizeof *rows);
    if (planes == NULL || rows == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int k = 0; k < PLANES; k++)
        work.plane[k] = planes + (size_t)k * pixels;
    for (int c = 0; c < 3; c++)
        work.spare[c] = rows + (size_t)c * width;
    work.row = rows + 3 * width;
    float *sums[4] = { rows + 4 * width, rows + 5 * width, rows + 6 * width, rows + 7 * width };
    project(&work, take, screen);
    judge(&work, screen, least, sums);
    for (int32_t y = shadow->area.y0; y < shadow->area.y1; y++)
        spread_row(&work, shadow, y, sums);
    return PASSEL_OK;
}
