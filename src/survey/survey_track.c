/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * First order in the shift (Lucas and Kanade 1981), with the gradients of both pictures' mean, so that the second order
 * falls out; both are softened by 1 2 1 first, so that differences over five pixels are gradients. Noise in them would
 * make shifts too small: its share is known from what the fit leaves, and taken off the diagonal. When what is left is
 * not small beside the structure, pictures of a quarter of the size are tried at every place first.
 */
#include "survey/survey_track.h"

#include <math.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include "base/memory.h"

enum { TILE = 16, LEAST = 24, ROUNDS = 4, MARGIN = 3, REACH = 8 };

/* One tile: normal equations of the shift, once gain and offset are taken out. */
struct tile {
    double xx, xy, yy, xr, yr, rr;
    double count, structure; /* structure: square of the light without its mean */
    double weight;
};

/* Sums of products of: 1, light a, gradients x and y, difference r; first in lanes, which a processor adds at once. */
enum { LANES = 8, PRODUCTS = 14 };

struct products {
    double n, a, x, y, r, aa, ax, ay, ar, xx, xy, xr, yy, yr, rr;
};

/* The gradient of two pictures' mean: half of (8 (p1 - p-1) - (p2 - p-2)) / 12. */
#define NEAR (1.0F / 3)
#define FAR (1.0F / 24)

/* Light is counted from `ground`, so that little is lost where it is large. */
static void add_lanes(float sums[PRODUCTS][LANES], const float *restrict f, const float *restrict m, ptrdiff_t across,
                      float ground)
{
    for (int32_t i = 0; i < LANES; i++) {
        const float x =
            NEAR * (f[i + 1] - f[i - 1] + m[i + 1] - m[i - 1]) - FAR * (f[i + 2] - f[i - 2] + m[i + 2] - m[i - 2]);
        const float y = NEAR * (f[i + across] - f[i - across] + m[i + across] - m[i - across]) -
                        FAR * (f[i + 2 * across] - f[i - 2 * across] + m[i + 2 * across] - m[i - 2 * across]);
        const float a = 0.5F * (f[i] + m[i]) - ground, r = m[i] - f[i];
        sums[0][i] += a;
        sums[1][i] += x;
        sums[2][i] += y;
        sums[3][i] += r;
        sums[4][i] += a * a;
        sums[5][i] += a * x;
        sums[6][i] += a * y;
        sums[7][i] += a * r;
        sums[8][i] += x * x;
        sums[9][i] += x * y;
        sums[10][i] += x * r;
        sums[11][i] += y * y;
        sums[12][i] += y * r;
        sums[13][i] += r * r;
    }
}

static struct products add_tile(const float *f, const float *m, int32_t across)
{
    float lanes[PRODUCTS][LANES] = { { 0 } };
    double sums[PRODUCTS] = { 0 };
    for (ptrdiff_t row = 0; row < TILE; row++) {
        for (ptrdiff_t i = 0; i < TILE; i += LANES)
            add_lanes(lanes, f + row * across + i, m + row * across + i, across, f[0]);
    }
    for (int k = 0; k < PRODUCTS; k++) {
        for (int i = 0; i < LANES; i++)
            sums[k] += (double)lanes[k][i];
    }
    return (struct products){ TILE * TILE, sums[0], sums[1], sums[2],  sums[3],  sums[4],  sums[5], sums[6],
                              sums[7],     sums[8], sums[9], sums[10], sums[11], sums[12], sums[13] };
}

/* Takes the offset and the gain out of the rest. */
static struct tile without_light(const struct products *s)
{
    const double n = s->n;
    const double aa = s->aa - s->a * s->a / n, ax = s->ax - s->a * s->x / n, ay = s->ay - s->a * s->y / n;
    const double ar = s->ar - s->a * s->r / n;
    const double share = aa > 1e-12 * s->aa ? 1 / aa : 0;
    return (struct tile){ .xx = s->xx - s->x * s->x / n - ax * ax * share,
                          .xy = s->xy - s->x * s->y / n - ax * ay * share,
                          .yy = s->yy - s->y * s->y / n - ay * ay * share,
                          .xr = s->xr - s->x * s->r / n - ax * ar * share,
                          .yr = s->yr - s->y * s->r / n - ay * ar * share,
                          .rr = s->rr - s->r * s->r / n - ar * ar * share,
                          .count = n,
                          .structure = aa };
}

/* What a shift leaves of a tile's difference: mean square. r = -(gx dx + gy dy). */
static double left_over(const struct tile *t, double dx, double dy)
{
    const double left = t->rr + 2 * (dx * t->xr + dy * t->yr) + dx * dx * t->xx + 2 * dx * dy * t->xy + dy * dy * t->yy;
    return (left > 0 ? left : 0) / t->count;
}

/* Of white noise of variance 1 in each picture, 1 2 1 both ways leaves 2 · 0.1406 in the difference, and with the
 * gradient's weights (the squares of 1 -6 -15 0 15 6 -1 over 48, times 0.375, halved) 0.0426 in the gradients. */
#define NOISE_IN_GRADIENT 0.1516

static bool solve(const struct tile *tiles, int count, double *dx, double *dy)
{
    double xx = 0, xy = 0, yy = 0, xr = 0, yr = 0;
    for (int i = 0; i < count; i++) {
        const double noise = NOISE_IN_GRADIENT * left_over(&tiles[i], *dx, *dy) * tiles[i].count;
        if (tiles[i].weight <= 0 || tiles[i].xx + tiles[i].yy < 4 * noise)
            continue;
        const double w = tiles[i].weight;
        xx += w * (tiles[i].xx - noise);
        yy += w * (tiles[i].yy - noise);
        xy += w * tiles[i].xy;
        xr += w * tiles[i].xr;
        yr += w * tiles[i].yr;
    }
    const double det = xx * yy - xy * xy;
    if (!(det > 1e-4 * xx * yy) || !(det > 0))
        return false;
    *dx = -(yy * xr - xy * yr) / det;
    *dy = -(xx * yr - xy * xr) / det;
    return isfinite(*dx) && isfinite(*dy);
}

/* Tiles count by how little the common shift leaves in them: noise, and what moves by itself. */
static void weigh(struct tile *tiles, int count, double dx, double dy)
{
    for (int i = 0; i < count; i++)
        tiles[i].weight = 1 / (left_over(&tiles[i], dx, dy) + 1e-10);
}

/* Tiles of `fixed` against `moved`, looked at (ox, oy) away. */
static int gather(const float *fixed, const float *moved, int32_t across, int32_t down, const int32_t offset[2],
                  struct tile *tiles)
{
    const int32_t ox = offset[0], oy = offset[1];
    const int32_t left = ox < 0 ? -ox : 0, right = ox > 0 ? ox : 0, top = oy < 0 ? -oy : 0, bottom = oy > 0 ? oy : 0;
    int count = 0;
    for (int32_t y = MARGIN + top; y + TILE + MARGIN + bottom <= down; y += TILE) {
        for (int32_t x = MARGIN + left; x + TILE + MARGIN + right <= across; x += TILE) {
            const struct products sums =
                add_tile(fixed + (ptrdiff_t)y * across + x, moved + (ptrdiff_t)(y + oy) * across + x + ox, across);
            tiles[count] = without_light(&sums);
            tiles[count].weight = 1 / (tiles[count].rr / tiles[count].count + 1e-10);
            count++;
        }
    }
    return count;
}

/* What is left, as a share of the structure: 0 well held, 1 not at all. */
static double misfit(const struct tile *tiles, int count, double dx, double dy)
{
    double left = 0, all = 1e-12;
    for (int i = 0; i < count; i++) {
        const double rest = left_over(&tiles[i], dx, dy) * tiles[i].count;
        left += rest < tiles[i].structure ? rest : tiles[i].structure;
        all += tiles[i].structure;
    }
    return left / all;
}

/* From a first guess in whole pixels; the rest stays below one when all is well. The misfit, or 2: not found. */
static double refine(const float *fixed, const float *moved, int32_t across, int32_t down, double *dx, double *dy)
{
    struct tile *tiles = memory_new(((size_t)(across / TILE) + 1) * ((size_t)(down / TILE) + 1) * sizeof *tiles);
    bool found = tiles != NULL;
    double bad = 2;
    for (int move = 0; move < ROUNDS && found; move++) {
        const int32_t offset[2] = { (int32_t)lround(*dx), (int32_t)lround(*dy) };
        double rest_x = 0, rest_y = 0;
        if (abs(offset[0]) > across / 4 || abs(offset[1]) > down / 4) {
            found = false;
            break;
        }
        const int count = gather(fixed, moved, across, down, offset, tiles);
        for (int k = 0; k < ROUNDS && found; k++) {
            found = solve(tiles, count, &rest_x, &rest_y);
            weigh(tiles, count, rest_x, rest_y);
        }
        *dx = offset[0] + rest_x;
        *dy = offset[1] + rest_y;
        bad = misfit(tiles, count, rest_x, rest_y);
        if (fabs(rest_x) < 0.6 && fabs(rest_y) < 0.6)
            break;
    }
    memory_free(tiles);
    return found ? bad : 2;
}

static void halve(const float *in, int32_t across, int32_t down, float *out)
{
    for (int32_t y = 0; y < down / 2; y++) {
        const float *a = in + (ptrdiff_t)2 * y * across, *b = a + across;
        for (int32_t x = 0; x < across / 2; x++)
            out[(ptrdiff_t)y * (across / 2) + x] = 0.25F * (a[2 * x] + a[2 * x + 1] + b[2 * x] + b[2 * x + 1]);
    }
}

/* How unlike two pictures are when the second is looked at (ox, oy) away: 1 minus the square of their correlation. */
static double unlike(const float *a, const float *b, int32_t across, int32_t down, int32_t ox, int32_t oy)
{
    const int32_t left = ox < 0 ? -ox : 0, right = ox > 0 ? ox : 0, top = oy < 0 ? -oy : 0, bottom = oy > 0 ? oy : 0;
    double n = 0, sa = 0, sb = 0, saa = 0, sbb = 0, sab = 0;
    for (int32_t y = top; y < down - bottom; y++) {
        for (int32_t x = left; x < across - right; x++) {
            const double va = (double)a[y * across + x], vb = (double)b[(y + oy) * across + x + ox];
            n++;
            sa += va;
            sb += vb;
            saa += va * va;
            sbb += vb * vb;
            sab += va * vb;
        }
    }
    const double aa = saa - sa * sa / n, bb = sbb - sb * sb / n, ab = sab - sa * sb / n;
    return aa > 0 && bb > 0 && ab > 0 ? 1 - ab * ab / (aa * bb) : 1;
}

/* The most alike of the places up to `reach` from (*x, *y). */
static void best_near(const float *a, const float *b, const int32_t size[2], int32_t reach, int32_t *x, int32_t *y)
{
    const int32_t x0 = *x, y0 = *y, most = size[0] / 4 < size[1] / 4 ? size[0] / 4 : size[1] / 4;
    double best = 2;
    for (int32_t oy = y0 - reach; oy <= y0 + reach; oy++) {
        for (int32_t ox = x0 - reach; ox <= x0 + reach; ox++) {
            const double here = abs(ox) < most && abs(oy) < most ? unlike(a, b, size[0], size[1], ox, oy) : 2;
            if (here >= best)
                continue;
            best = here;
            *x = ox;
            *y = oy;
        }
    }
}

/* The most alike place, to a pixel: everywhere at a quarter of the size, then nearby at half of it and in full. */
static void search(const float *fixed, const float *moved, int32_t across, int32_t down, double *dx, double *dy)
{
    const int32_t sizes[3][2] = { { across, down }, { across / 2, down / 2 }, { across / 2 / 2, down / 2 / 2 } };
    const size_t half = (size_t)sizes[1][0] * (size_t)sizes[1][1], quarter = (size_t)sizes[2][0] * (size_t)sizes[2][1];
    int32_t x = 0, y = 0;
    *dx = *dy = 0;
    float *room = sizes[2][1] >= 3 * REACH ? memory_new(2 * (half + quarter) * sizeof *room) : NULL;
    if (room == NULL)
        return;
    float *halves[2] = { room, room + half }, *quarters[2] = { room + 2 * half, room + 2 * half + quarter };
    for (int i = 0; i < 2; i++) {
        halve(i == 0 ? fixed : moved, across, down, halves[i]);
        halve(halves[i], sizes[1][0], sizes[1][1], quarters[i]);
    }
    best_near(quarters[0], quarters[1], sizes[2], REACH, &x, &y);
    x *= 2;
    y *= 2;
    best_near(halves[0], halves[1], sizes[1], 2, &x, &y);
    x *= 2;
    y *= 2;
    best_near(fixed, moved, sizes[0], 2, &x, &y);
    *dx = x;
    *dy = y;
    memory_free(room);
}

/* 1 2 1 across and down; the borders stay as they are. */
static void soften(const float *restrict in, int32_t across, int32_t down, float *restrict out)
{
    memcpy(out, in, (size_t)across * (size_t)down * sizeof *out);
    for (int32_t y = 1; y < down - 1; y++) {
        const float *restrict row = in + (ptrdiff_t)y * across;
        const float *restrict above = row - across, *restrict below = row + across;
        float *restrict to = out + (ptrdiff_t)y * across;
        for (int32_t x = 1; x < across - 1; x++)
            to[x] = 0.25F * row[x] + 0.125F * (row[x - 1] + row[x + 1] + above[x] + below[x]) +
                    0.0625F * (above[x - 1] + above[x + 1] + below[x - 1] + below[x + 1]);
    }
}

/* Above this misfit the place is doubted, and other ones are tried. */
#define DOUBTFUL 0.25

bool track_shift(const float *fixed, const float *moved, int32_t across, int32_t down, double *dx, double *dy)
{
    const size_t count = (size_t)across * (size_t)down;
    float *soft = across >= LEAST && down >= LEAST ? memory_new(2 * count * sizeof *soft) : NULL;
    *dx = *dy = 0;
    if (soft == NULL)
        return false;
    soften(fixed, across, down, soft);
    soften(moved, across, down, soft + count);
    double bad = refine(soft, soft + count, across, down, dx, dy);
    if (bad > DOUBTFUL) {
        double x, y;
        search(soft, soft + count, across, down, &x, &y);
        const double there = refine(soft, soft + count, across, down, &x, &y);
        if (there < bad) {
            bad = there;
            *dx = x;
            *dy = y;
        }
    }
    memory_free(soft);
    return bad < 1;
}
