/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The gain starts at the median of the cells' ratios and is settled by least squares, in which a cell that is off by
 * more than a few per cent has little say: a bird before the sky, a lamp that goes on in a corner.
 */
#include "kinds/extend_level.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "numerics/order.h"

#define CELL 16
#define ROUNDS 6
#define OFF 0.03F /* of its light: a cell that misses by this counts half */

int32_t level_cell(int scale)
{
    return CELL / scale > 4 ? CELL / scale : 4;
}

struct rect level_window(struct rect area, int32_t cell)
{
    return rect_of(0, 0, (rect_width(area) + cell - 1) / cell, (rect_height(area) + cell - 1) / cell);
}

struct rect level_pixels(struct rect area, int32_t cell, struct rect cells)
{
    const struct rect pixels = { area.x0 + cells.x0 * cell, area.y0 + cells.y0 * cell, area.x0 + cells.x1 * cell,
                                 area.y0 + cells.y1 * cell };
    return rect_cut(pixels, area);
}

/* Adds the pixels of a row that count; returns how many. */
static float row_measure(const struct picture *plate, const float *cut, int32_t x0, int32_t x1, int32_t y, float sum[3])
{
    float count = 0;
    for (int32_t x = x0; x < x1; x++)
        count += cut == NULL || !(cut[x] > 0);
    for (int c = 0; c < 3; c++) {
        const float *row = picture_row(plate, (enum plane)c, y) - plate->area.x0;
        for (int32_t x = x0; x < x1; x++) {
            if (cut == NULL || !(cut[x] > 0))
                sum[c] += row[x];
        }
    }
    return count;
}

static void cell_measure(const struct picture *plate, const struct picture *hole, struct rect pixels, float mean[4])
{
    float count = 0;
    memset(mean, 0, 4 * sizeof *mean);
    for (int32_t y = pixels.y0; y < pixels.y1; y++) {
        const float *cut = hole != NULL ? picture_row(hole, PLANE_A, y) - hole->area.x0 : NULL;
        count += row_measure(plate, cut, pixels.x0, pixels.x1, y, mean);
    }
    for (int c = 0; c < 3 && count > 0; c++)
        mean[c] /= count;
    mean[PLANE_A] = rect_empty(pixels) ? 0 : count / ((float)rect_width(pixels) * (float)rect_height(pixels));
}

void level_measure(const struct picture *plate, const struct picture *hole, struct rect area, int32_t cell,
                   const struct picture *out)
{
    for (int32_t j = out->area.y0; j < out->area.y1; j++) {
        for (int32_t i = out->area.x0; i < out->area.x1; i++) {
            float mean[4];
            cell_measure(plate, hole, level_pixels(area, cell, rect_of(i, j, i + 1, j + 1)), mean);
            for (int p = 0; p < PLANE_COUNT; p++) {
                if (out->plane[p] != NULL)
                    picture_row(out, (enum plane)p, j)[i - out->area.x0] = mean[p];
            }
        }
    }
}

/* ---- the reference --------------------------------------------------------------------------------------------- */

enum passel_status level_reference_new(struct level_reference *reference, const struct picture *levels,
                                       const bool *wanted, struct passel_error *error)
{
    const struct rect area = levels->area;
    const size_t room = (size_t)rect_width(area) * (size_t)rect_height(area);
    int32_t n = 0;
    *reference = (struct level_reference){ .block = memory_zeros(room, 5 * sizeof(float)) };
    if (reference->block == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    reference->x = reference->block;
    reference->y = reference->x + room;
    for (size_t c = 0; c < 3; c++)
        reference->light[c] = (float *)reference->block + (2 + c) * room;
    for (int32_t k = 0; k < (int32_t)room; k++) {
        const int32_t x = k % rect_width(area), y = k / rect_width(area);
        if ((wanted != NULL && !wanted[k]) || picture_row(levels, PLANE_A, area.y0 + y)[x] < 0.5F)
            continue;
        reference->x[n] = area.x0 + x;
        reference->y[n] = area.y0 + y;
        for (int c = 0; c < 3; c++)
            reference->light[c][n] = picture_row(levels, (enum plane)c, area.y0 + y)[x];
        n++;
    }
    reference->count = n;
    return PASSEL_OK;
}

void level_reference_release(struct level_reference *reference)
{
    memory_free(reference->block);
    *reference = (struct level_reference){ 0 };
}

/* ---- the gain -------------------------------------------------------------------------------------------------- */

static float gain_of(const float *was, const float *is, int32_t count, float *ratios)
{
    int32_t usable = 0;
    double gain;
    for (int32_t i = 0; i < count; i++) {
        if (was[i] > 1e-6F)
            ratios[usable++] = is[i] / was[i];
    }
    if (usable == 0)
        return 1;
    qsort(ratios, (size_t)usable, sizeof *ratios, rising_floats);
    gain = (double)ratios[usable / 2];
    for (int round = 0; round < ROUNDS; round++) {
        double above = 0, below = 0;
        for (int32_t i = 0; i < count; i++) {
            const double fit = gain * (double)was[i], off = ((double)is[i] - fit) / (OFF * fabs(fit) + 1e-6);
            const double weight = 1 / ((1 + off * off) * (1 + off * off));
            above += weight * (double)was[i] * (double)is[i];
            below += weight * (double)was[i] * (double)was[i];
        }
        if (below > 0)
            gain = above / below;
    }
    return gain > 0 ? (float)gain : 0;
}

/* The cells that count in this frame, too: a hole may have moved over the others. */
static int32_t pair_cells(const struct level_reference *reference, const struct picture *levels, int c, float *was,
                          float *is)
{
    int32_t n = 0;
    for (int32_t i = 0; i < reference->count; i++) {
        const int32_t x = reference->x[i] - levels->area.x0, y = reference->y[i];
        if (y >= levels->area.y1 || x >= rect_width(levels->area) || picture_row(levels, PLANE_A, y)[x] < 0.5F)
            continue;
        was[n] = reference->light[c][i];
        is[n++] = picture_row(levels, (enum plane)c, y)[x];
    }
    return n;
}

void level_gain(const struct level_reference *reference, const struct picture *levels, float *room, float gain[3])
{
    float *was = room, *is = room + reference->count, *ratios = is + reference->count;
    for (int c = 0; c < 3; c++)
        gain[c] = gain_of(was, is, pair_cells(reference, levels, c, was, is), ratios);
}

uint64_t level_seed(const struct picture *levels)
{
    uint64_t seed = UINT64_C(0x9e3779b97f4a7c15);
    for (int c = 0; c < 3; c++) {
        for (int32_t y = levels->area.y0; y < levels->area.y1; y++) {
            const float *row = picture_row(levels, (enum plane)c, y);
            for (int32_t x = 0; x < rect_width(levels->area); x++) {
                uint32_t bits;
                memcpy(&bits, &row[x], sizeof bits);
                seed = (seed ^ bits) * UINT64_C(0xbf58476d1ce4e5b9);
                seed ^= seed >> 29;
            }
        }
    }
    return seed;
}
