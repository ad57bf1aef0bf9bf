/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "numerics/flow_patches.h"

#include <math.h>
#include <stdbool.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "numerics/between.h"

enum { SIDE = 8, PIXELS = SIDE * SIDE, STRIDE = 4, STEPS = 8 };

/* A patch moves on only to where it fits so much better: noise always fits a little better somewhere else. */
static const float BETTER = 0.5f;

struct match {
    float u, v, cost;
};

struct search {
    const float *a, *b;
    int32_t width, height;
    int32_t columns, rows;
    struct match *matches;
};

/* A patch of `a`: its values less their mean, their gradient, and the inverse of the gradient's second moments. */
struct patch {
    int32_t x0, y0;
    float value[PIXELS], gx[PIXELS], gy[PIXELS];
    float inverse[3];
};

/* The last patch of a row or column ends with the plane. */
static int32_t place_of(int32_t i, int32_t size)
{
    const int32_t place = i * STRIDE;
    return place + SIDE <= size ? place : size > SIDE ? size - SIDE : 0;
}

static int32_t places(int32_t size)
{
    return size > SIDE ? (size - SIDE + STRIDE - 1) / STRIDE + 1 : 1;
}

static void patch_take(const struct search *search, struct patch *patch)
{
    float mean = 0, xx = 0, xy = 0, yy = 0;
    for (int i = 0; i < PIXELS; i++) {
        const int32_t x = place_held(patch->x0 + i % SIDE, search->width), y = place_held(patch->y0 + i / SIDE, search->height);
        const float *row = search->a + (size_t)y * (size_t)search->width;
        const float *up = search->a + (size_t)place_held(y - 1, search->height) * (size_t)search->width;
        const float *down = search->a + (size_t)place_held(y + 1, search->height) * (size_t)search->width;
        patch->value[i] = row[x];
        patch->gx[i] = 0.5f * (row[place_held(x + 1, search->width)] - row[place_held(x - 1, search->width)]);
        patch->gy[i] = 0.5f * (down[x] - up[x]);
        mean += row[x];
        xx += patch->gx[i] * patch->gx[i];
        xy += patch->gx[i] * patch->gy[i];
        yy += patch->gy[i] * patch->gy[i];
    }
    for (int i = 0; i < PIXELS; i++)
        patch->value[i] -= mean * (1.0f / PIXELS);
    xx += 1e-4f; /* flat patches stay where they are */
    yy += 1e-4f;
    const float scale = 1 / (xx * yy - xy * xy);
    patch->inverse[0] = yy * scale;
    patch->inverse[1] = -xy * scale;
    patch->inverse[2] = xx * scale;
}

/* `b` where the patch comes to lie when it is moved by (u, v): within the plane all its pixels share their weights. */
static void bring(const struct search *search, const struct patch *patch, float u, float v, float out[PIXELS])
{
    const float x = (float)patch->x0 + u, y = (float)patch->y0 + v;
    const bool within = x >= 0 && y >= 0 && x < (float)(search->width - SIDE) && y < (float)(search->height - SIDE);
    if (!within) {
        for (int i = 0; i < PIXELS; i++)
            out[i] =
                plane_linear(search->b, search->width, search->height, x + (float)(i % SIDE), y + (float)(i / SIDE));
        return;
    }
    const int32_t left = (int32_t)x, top = (int32_t)y;
    const float s = x - (float)left, t = y - (float)top;
    const float *row = search->b + (size_t)top * (size_t)search->width + left, *below = row + search->width;
    for (int r = 0; r < SIDE; r++, row = below, below += search->width) {
        for (int c = 0; c < SIDE; c++)
            out[r * SIDE + c] =
                (1 - t) * ((1 - s) * row[c] + s * row[c + 1]) + t * ((1 - s) * below[c] + s * below[c + 1]);
    }
}

/* How the patch moved by (u, v) differs from `b` there, means taken off; returns the sum of squares. */
static float difference(const struct search *search, const struct patch *patch, float u, float v, float out[PIXELS])
{
    float mean = 0, sum = 0;
    bring(search, patch, u, v, out);
    for (int i = 0; i < PIXELS; i++)
        mean += out[i];
    mean *= 1.0f / PIXELS;
    for (int i = 0; i < PIXELS; i++) {
        out[i] -= mean + patch->value[i];
        sum += out[i] * out[i];
    }
    return sum;
}

/* Inverse search: the patch's own gradient serves every step. */
static void follow(const struct search *search, const struct patch *patch, struct match *match)
{
    float miss[PIXELS];
    const struct match from = *match;
    struct match now = from, best = from;
    (void)difference(search, patch, now.u, now.v, miss);
    for (int step = 0; step < STEPS; step++) {
        float x = 0, y = 0;
        for (int i = 0; i < PIXELS; i++) {
            x += patch->gx[i] * miss[i];
            y += patch->gy[i] * miss[i];
        }
        now.u -= patch->inverse[0] * x + patch->inverse[1] * y;
        now.v -= patch->inverse[1] * x + patch->inverse[2] * y;
        if (!(fabsf(now.u - from.u) < SIDE && fabsf(now.v - from.v) < SIDE))
            break;
        now.cost = difference(search, patch, now.u, now.v, miss);
        if (now.cost < best.cost)
            best = now;
    }
    if (best.cost < BETTER * match->cost)
        *match = best;
}

/* One patch, from where it is thought to be and from where two neighbours that were looked at before went. */
static void search_patch(const struct search *search, int32_t column, int32_t row, int way)
{
    struct patch patch = { .x0 = place_of(column, search->width), .y0 = place_of(row, search->height) };
    struct match *match = &search->matches[(size_t)row * (size_t)search->columns + (size_t)column];
    float miss[PIXELS];
    bool changed = way > 0; /* in the first round every patch is followed */
    patch_take(search, &patch);
    match->cost = difference(search, &patch, match->u, match->v, miss);
    for (int i = 0; i < 2; i++) {
        const int32_t x = i == 0 ? column - way : column, y = i == 0 ? row : row - way;
        if (x < 0 || x >= search->columns || y < 0 || y >= search->rows)
            continue;
        struct match other = search->matches[(size_t)y * (size_t)search->columns + (size_t)x];
        other.cost = difference(search, &patch, other.u, other.v, miss);
        if (other.cost < BETTER * match->cost) {
            *match = other;
            changed = true;
        }
    }
    if (changed)
        follow(search, &patch, match);
}

/* Every pixel takes the mean of the patches it is in; how well it fits each is its weight. */
static void spread_patch(const struct search *search, int32_t column, int32_t row, const struct flow *flow,
                         float *weights)
{
    const struct match *match = &search->matches[(size_t)row * (size_t)search->columns + (size_t)column];
    struct patch patch = { .x0 = place_of(column, search->width), .y0 = place_of(row, search->height) };
    float miss[PIXELS];
    patch_take(search, &patch);
    (void)difference(search, &patch, match->u, match->v, miss);
    for (int i = 0; i < PIXELS; i++) {
        const int32_t x = patch.x0 + i % SIDE, y = patch.y0 + i / SIDE;
        if (x >= search->width || y >= search->height)
            continue;
        const size_t at = (size_t)y * (size_t)search->width + (size_t)x;
        const float weight = 1 / (fabsf(miss[i]) + 0.005f);
        flow->u[at] += weight * match->u;
        flow->v[at] += weight * match->v;
        weights[at] += weight;
    }
}

static void spread(const struct search *search, const struct flow *flow, float *weights)
{
    const size_t count = (size_t)search->width * (size_t)search->height;
    memset(flow->u, 0, count * sizeof *flow->u);
    memset(flow->v, 0, count * sizeof *flow->v);
    for (int32_t row = 0; row < search->rows; row++) {
        for (int32_t column = 0; column < search->columns; column++)
            spread_patch(search, column, row, flow, weights);
    }
    for (size_t i = 0; i < count; i++) {
        flow->u[i] /= weights[i];
        flow->v[i] /= weights[i];
    }
}

enum passel_status flow_patches(const float *a, const float *b, const struct flow *flow, struct passel_error *error)
{
    struct search search = { .a = a, .b = b, .width = flow->width, .height = flow->height };
    search.columns = places(flow->width);
    search.rows = places(flow->height);
    search.matches = memory_zeros((size_t)search.columns * (size_t)search.rows, sizeof *search.matches);
    float *weights = memory_zeros((size_t)flow->width * (size_t)flow->height, sizeof *weights);
    enum passel_status status = PASSEL_OK;
    if (search.matches == NULL || weights == NULL) {
        status = error_set(error, PASSEL_NO_MEMORY, "out of memory");
        goto out_search;
    }
    for (int32_t row = 0; row < search.rows; row++) {
        for (int32_t column = 0; column < search.columns; column++) {
            const int32_t x = place_held(place_of(column, search.width) + SIDE / 2, search.width);
            const int32_t y = place_held(place_of(row, search.height) + SIDE / 2, search.height);
            const size_t i = (size_t)y * (size_t)search.width + (size_t)x;
            search.matches[(size_t)row * (size_t)search.columns + (size_t)column] =
                (struct match){ flow->u[i], flow->v[i], 0 };
        }
    }
    for (int32_t row = 0; row < search.rows; row++) {
        for (int32_t column = 0; column < search.columns; column++)
            search_patch(&search, column, row, 1);
    }
    for (int32_t row = search.rows - 1; row >= 0; row--) {
        for (int32_t column = search.columns - 1; column >= 0; column--)
            search_patch(&search, column, row, -1);
    }
    spread(&search, flow, weights);
out_search:
    memory_free(search.matches);
    memory_free(weights);
    return status;
}
