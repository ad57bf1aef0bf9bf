/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Motion is found for blocks of BLOCK pixels that are aligned with the origin, by trying every move of whole pixels up
 * to SEARCH on a window that is MARGIN larger. Moves by parts of a pixel leave a difference at sharp edges and so keep
 * more of this frame: never a smear.
 */
#include "kinds/matte_steady.h"
#include "numerics/between.h"

#include <stdbool.h>

#define BLOCK 8
#define MARGIN 4
#define SEARCH 7
#define LINGER 0.02F /* a move must pay so much squared difference for every pixel of its length */
#define NOISE 0.1F   /* a difference of alpha that counts half as noise */

struct move {
    int32_t x, y;
};

static float alpha_at(const struct picture *matte, int32_t x, int32_t y)
{
    const struct rect area = matte->area;
    return picture_row(matte, PLANE_A, place_between(y, area.y0, area.y1 - 1))[place_between(x, area.x0, area.x1 - 1) - area.x0];
}

/* Reads a square of alpha, `side` along, into rows without gaps. False when all of it is one value. */
static bool read_square(const struct picture *matte, int32_t x0, int32_t y0, int32_t side, float *square)
{
    bool varies = false;
    for (int32_t y = 0; y < side; y++) {
        for (int32_t x = 0; x < side; x++) {
            square[y * side + x] = alpha_at(matte, x0 + x, y0 + y);
            varies = varies || square[y * side + x] != square[0];
        }
    }
    return varies;
}

enum { WINDOW = BLOCK + 2 * MARGIN, SEEN = WINDOW + 2 * SEARCH };

static float square_difference(const float *own, const float *seen, struct move move)
{
    float sums[WINDOW] = { 0 }, sum = 0;
    for (int32_t y = 0; y < WINDOW; y++) {
        const float *a = own + y * WINDOW, *b = seen + (y + SEARCH + move.y) * SEEN + SEARCH + move.x;
        for (int32_t x = 0; x < WINDOW; x++)
            sums[x] += (a[x] - b[x]) * (a[x] - b[x]);
    }
    for (int32_t x = 0; x < WINDOW; x++)
        sum += sums[x];
    return sum;
}

/* Where the block at (x0, y0) is found in the other frame. False when there is nothing but one value in both. */
static bool find_move(const struct picture *own, const struct picture *other, int32_t x0, int32_t y0,
                      struct move *found)
{
    float square[WINDOW * WINDOW], seen[SEEN * SEEN];
    struct move best = { 0, 0 };
    const bool own_varies = read_square(own, x0 - MARGIN, y0 - MARGIN, WINDOW, square);
    const bool seen_varies = read_square(other, x0 - MARGIN - SEARCH, y0 - MARGIN - SEARCH, SEEN, seen);
    *found = best;
    if (!own_varies || !seen_varies)
        return own_varies || seen_varies || square[0] != seen[0];
    float least = square_difference(square, seen, best);
    for (int32_t y = -SEARCH; y <= SEARCH; y++) {
        for (int32_t x = -SEARCH; x <= SEARCH; x++) {
            const float length = (float)((x < 0 ? -x : x) + (y < 0 ? -y : y));
            const float cost = square_difference(square, seen, (struct move){ x, y }) + LINGER * length;
            if (cost < least) {
                least = cost;
                best = (struct move){ x, y };
            }
        }
    }
    *found = best;
    return true;
}

/* How far this frame is to be averaged with the other's value at a pixel: by their difference over 3 x 3 pixels. */
static float trust_in(const struct picture *own, const struct picture *other, struct move move, int32_t x, int32_t y)
{
    float sum = 0;
    for (int32_t v = y - 1; v <= y + 1; v++) {
        for (int32_t u = x - 1; u <= x + 1; u++) {
            const float d = alpha_at(own, u, v) - alpha_at(other, u + move.x, v + move.y);
            sum += d * d;
        }
    }
    const float off = 1 + sum / (9 * NOISE * NOISE);
    return 1 / (off * off);
}

static int32_t block_of(int32_t v)
{
    return v >= 0 ? v / BLOCK * BLOCK : -((BLOCK - 1 - v) / BLOCK * BLOCK);
}

static void steady_block(const struct picture *out, const struct picture *own, const struct picture *others, int count,
                         int32_t x0, int32_t y0)
{
    const struct rect part = rect_cut(rect_of(x0, y0, x0 + BLOCK, y0 + BLOCK), out->area);
    float sum[BLOCK][BLOCK], weight[BLOCK][BLOCK];
    for (int32_t y = part.y0; y < part.y1; y++) {
        for (int32_t x = part.x0; x < part.x1; x++) {
            sum[y - y0][x - x0] = alpha_at(own, x, y);
            weight[y - y0][x - x0] = 1;
        }
    }
    for (int k = 0; k < count; k++) {
        struct move move;
        if (!find_move(own, &others[k], x0, y0, &move))
            continue;
        for (int32_t y = part.y0; y < part.y1; y++) {
            for (int32_t x = part.x0; x < part.x1; x++) {
                const float trust = trust_in(own, &others[k], move, x, y);
                sum[y - y0][x - x0] += trust * alpha_at(&others[k], x + move.x, y + move.y);
                weight[y - y0][x - x0] += trust;
            }
        }
    }
    for (int32_t y = part.y0; y < part.y1; y++) {
        for (int32_t x = part.x0; x < part.x1; x++)
            picture_row(out, PLANE_A, y)[x - out->area.x0] = sum[y - y0][x - x0] / weight[y - y0][x - x0];
    }
}

void steady_plane(const struct picture *out, const struct picture *own, const struct picture *others, int count)
{
    for (int32_t y = block_of(out->area.y0); y < out->area.y1; y += BLOCK) {
        for (int32_t x = block_of(out->area.x0); x < out->area.x1; x += BLOCK)
            steady_block(out, own, others, count, x, y);
    }
}
