/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "numerics/flow.h"

#include <stdbool.h>

#include "base/error.h"
#include "base/memory.h"
#include "numerics/between.h"
#include "numerics/flow_patches.h"
#include "numerics/flow_refine.h"

enum {
    LEVEL_LIMIT = 12,
    COARSEST = 8 /* pixels along the shorter side */
};

/* ---- the pyramid ----------------------------------------------------------------------------------------------- */

struct level {
    int32_t width, height;
    float *plane;
};

/* 1 4 6 4 1 across, then down; every second sample of each is kept. */
static void halve(const struct level *from, const struct level *to, float *across)
{
    for (int32_t y = 0; y < from->height; y++) {
        const float *row = from->plane + (size_t)y * (size_t)from->width;
        for (int32_t x = 0; x < to->width; x++) {
            const int32_t c = 2 * x, w = from->width;
            across[(size_t)y * (size_t)to->width + (size_t)x] =
                (row[place_held(c - 2, w)] + row[place_held(c + 2, w)] + 4 * (row[place_held(c - 1, w)] + row[place_held(c + 1, w)]) +
                 6 * row[place_held(c, w)]) *
                0.0625f;
        }
    }
    for (int32_t y = 0; y < to->height; y++) {
        const float *rows[5];
        for (int i = 0; i < 5; i++)
            rows[i] = across + (size_t)place_held(2 * y + i - 2, from->height) * (size_t)to->width;
        float *out = to->plane + (size_t)y * (size_t)to->width;
        for (int32_t x = 0; x < to->width; x++)
            out[x] = (rows[0][x] + rows[4][x] + 4 * (rows[1][x] + rows[3][x]) + 6 * rows[2][x]) * 0.0625f;
    }
}

static void pyramid_release(struct level *levels, int count)
{
    for (int i = 0; i < count; i++)
        memory_free(levels[i].plane);
}

/* 1 2 1 both ways: what sensor noise does from pixel to pixel is no motion. */
static void soften(const float *plane, int32_t width, int32_t height, float *out)
{
    for (int32_t y = 0; y < height; y++) {
        const float *up = plane + (size_t)place_held(y - 1, height) * (size_t)width,
                    *here = plane + (size_t)y * (size_t)width,
                    *down = plane + (size_t)place_held(y + 1, height) * (size_t)width;
        for (int32_t x = 0; x < width; x++) {
            const int32_t l = place_held(x - 1, width), r = place_held(x + 1, width);
            out[(size_t)y * (size_t)width + (size_t)x] =
                (up[l] + up[r] + down[l] + down[r] + 2 * (up[x] + down[x] + here[l] + here[r]) + 4 * here[x]) * 0.0625f;
        }
    }
}

static enum passel_status pyramid_new(const float *plane, int32_t width, int32_t height,
                                      struct level levels[LEVEL_LIMIT], int *count, struct passel_error *error)
{
    float *across = memory_zeros((size_t)(width + 1) / 2 * (size_t)height, sizeof *across);
    *count = 0;
    bool good = across != NULL;
    while (good) {
        struct level *level = &levels[*count];
        *level = (struct level){ width, height, memory_zeros((size_t)width * (size_t)height, sizeof(float)) };
        good = level->plane != NULL;
        if (!good)
            break;
        if (*count == 0)
            soften(plane, width, height, level->plane);
        else
            halve(level - 1, level, across);
        (*count)++;
        if (*count == LEVEL_LIMIT || width < 2 * COARSEST || height < 2 * COARSEST)
            break;
        width = (width + 1) / 2;
        height = (height + 1) / 2;
    }
    memory_free(across);
    if (good)
        return PASSEL_OK;
    pyramid_release(levels, *count);
    *count = 0;
    return error_set(error, PASSEL_NO_MEMORY, "out of memory");
}

/* ---- coarse to fine -------------------------------------------------------------------------------------------- */

/* A field of the next coarser level, twice as large in every way. */
static void enlarge(const struct flow *from, const struct flow *to)
{
    for (int32_t y = 0; y < to->height; y++) {
        for (int32_t x = 0; x < to->width; x++) {
            const size_t i = (size_t)y * (size_t)to->width + (size_t)x;
            const float u = 0.5f * (float)x, v = 0.5f * (float)y;
            to->u[i] = 2 * plane_linear(from->u, from->width, from->height, u, v);
            to->v[i] = 2 * plane_linear(from->v, from->width, from->height, u, v);
        }
    }
}

static enum passel_status find_one_way(const struct level *a, const struct level *b, int count, struct flow *found,
                                       struct passel_error *error)
{
    struct flow coarse = { 0 };
    enum passel_status status = PASSEL_OK;
    for (int i = count - 1; i >= 0; i--) {
        struct flow flow;
        GOTO_IF_ERROR(flow_new(&flow, a[i].width, a[i].height, error), out_coarse);
        if (i < count - 1)
            enlarge(&coarse, &flow);
        flow_release(&coarse);
        coarse = flow;
        GOTO_IF_ERROR(flow_patches(a[i].plane, b[i].plane, &flow, error), out_coarse);
        GOTO_IF_ERROR(flow_refine(a[i].plane, b[i].plane, &flow, i == 0 ? 1 : 4, error), out_coarse);
    }
    *found = coarse;
    return PASSEL_OK;
out_coarse:
    flow_release(&coarse);
    return status;
}

enum passel_status flow_find(const float *a, const float *b, int32_t width, int32_t height, struct flow *there,
                             struct flow *back, struct passel_error *error)
{
    struct level levels_a[LEVEL_LIMIT], levels_b[LEVEL_LIMIT];
    int count_a = 0, count_b = 0;
    enum passel_status status;
    *there = *back = (struct flow){ 0 };
    GOTO_IF_ERROR(pyramid_new(a, width, height, levels_a, &count_a, error), out_pyramids);
    GOTO_IF_ERROR(pyramid_new(b, width, height, levels_b, &count_b, error), out_pyramids);
    GOTO_IF_ERROR(find_one_way(levels_a, levels_b, count_a, there, error), out_pyramids);
    status = find_one_way(levels_b, levels_a, count_a, back, error);
    if (status != PASSEL_OK)
        flow_release(there);
out_pyramids:
    pyramid_release(levels_a, count_a);
    pyramid_release(levels_b, count_b);
    return status;
}
