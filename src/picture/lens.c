/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "picture/lens.h"

#include <math.h>

#include "picture/kernel.h"

#define HALVINGS 52
#define TAPS_LIMIT (2 * KERNEL_REACH * WIDEN_LIMIT + 2)
#define FARTHEST_RADIUS 4.0 /* in units: no lens is asked for more */

static double bent(double k1, double k2, double r)
{
    return r * (1 + r * r * (k1 + r * r * k2));
}

static double slope(double k1, double k2, double r)
{
    return 1 + r * r * (3 * k1 + 5 * k2 * r * r);
}

/* The first radius at which the picture would fold over itself. */
static double fold(double k1, double k2)
{
    double r = 0;
    while (r < FARTHEST_RADIUS && slope(k1, k2, r) > 0.02)
        r += 1.0 / 256;
    return r;
}

/* The straight radius of a bent one below that of the fold; halving always gets there. */
static double straight(double k1, double k2, double radius, double most)
{
    double low = 0, high = most;
    for (int i = 0; i < HALVINGS; i++) {
        const double middle = (low + high) / 2;
        if (bent(k1, k2, middle) < radius)
            low = middle;
        else
            high = middle;
    }
    return (low + high) / 2;
}

void lens_init(struct lens *lens, double k1, double k2, double x, double y, double unit, bool straighten, double reach)
{
    const double most = fold(k1, k2), edge = straighten ? most : bent(k1, k2, most);
    *lens = (struct lens){ .k1 = k1, .k2 = k2, .x = x, .y = y, .unit = unit, .straighten = straighten };
    lens->farthest = edge * unit;
    const double last = fmin(edge, reach / unit + 1e-3);
    lens->span = last * last * unit * unit;
    lens->factor[0] = 1;
    for (int i = 1; i <= LENS_STEPS; i++) {
        const double r = last * sqrt((double)i / LENS_STEPS);
        lens->factor[i] = straighten ? bent(k1, k2, r) / r : straight(k1, k2, r, most) / r;
    }
}

static double factor_at(const struct lens *lens, double squared)
{
    const double place = fmin(squared / lens->span, 1) * LENS_STEPS;
    const int i = place < LENS_STEPS - 1 ? (int)place : LENS_STEPS - 1;
    return lens->factor[i] + (place - i) * (lens->factor[i + 1] - lens->factor[i]);
}

bool lens_point(const struct lens *lens, double x, double y, double *in_x, double *in_y)
{
    const double dx = x - lens->x, dy = y - lens->y, squared = dx * dx + dy * dy;
    const double factor = factor_at(lens, squared);
    *in_x = lens->x + factor * dx;
    *in_y = lens->y + factor * dy;
    return squared < lens->farthest * lens->farthest;
}

/* How far apart neighbouring output pixels lie in the input. */
struct spread {
    double across, down;
};

static struct spread spread_at(const struct lens *lens, double x, double y)
{
    double x0, y0, x1, y1, x2, y2, x3, y3;
    (void)lens_point(lens, x - 0.5, y, &x0, &y0);
    (void)lens_point(lens, x + 0.5, y, &x1, &y1);
    (void)lens_point(lens, x, y - 0.5, &x2, &y2);
    (void)lens_point(lens, x, y + 0.5, &x3, &y3);
    const struct spread spread = { sqrt((x1 - x0) * (x1 - x0) + (x3 - x2) * (x3 - x2)),
                                   sqrt((y1 - y0) * (y1 - y0) + (y3 - y2) * (y3 - y2)) };
    return spread;
}

/* A radial map that rises keeps what is inside a closed line inside of it, so the border tells. */
struct rect lens_reach(const struct lens *lens, struct rect output)
{
    double x0 = INFINITY, y0 = INFINITY, x1 = -INFINITY, y1 = -INFINITY, widest = 1;
    const int32_t width = rect_width(output), height = rect_height(output), steps = (width + height) / 8 + 2;
    for (int side = 0; side < 4; side++)
        for (int32_t i = 0; i <= steps; i++) {
            const double t = (double)i / steps;
            const double x = side == 0 ? output.x0 : side == 1 ? output.x1 : output.x0 + t * width;
            const double y = side == 2 ? output.y0 : side == 3 ? output.y1 : output.y0 + t * height;
            const struct spread spread = spread_at(lens, x, y);
            double u, v;
            (void)lens_point(lens, x, y, &u, &v);
            x0 = fmin(x0, u);
            x1 = fmax(x1, u);
            y0 = fmin(y0, v);
            y1 = fmax(y1, v);
            widest = fmax(widest, fmax(spread.across, spread.down));
        }
    const double more = (KERNEL_REACH + 1) * fmin(widest, WIDEN_LIMIT) + 2, limit = RECT_LIMIT;
    return rect_of((int32_t)fmax(floor(x0 - more), -limit), (int32_t)fmax(floor(y0 - more), -limit),
                   (int32_t)fmin(ceil(x1 + more), limit), (int32_t)fmin(ceil(y1 + more), limit));
}

/* The share of an output pixel that lies between two sides of the input. */
static double share(double position, double from, double to, double spread)
{
    const double before = (position - from) / spread + 0.5, behind = (to - position) / spread + 0.5;
    return fmin(fmax(before, 0), 1) * fmin(fmax(behind, 0), 1);
}

static int32_t inside(int32_t i, int32_t first, int32_t end)
{
    return i < first ? first : i >= end ? end - 1 : i;
}

static float tapped(const struct picture *in, enum plane plane, struct rect area, int32_t x0, int32_t y0, int across,
                    int down, const float *wx, const float *wy)
{
    float sum = 0;
    for (int j = 0; j < down; j++) {
        const float *row = picture_row(in, plane, inside(y0 + j, area.y0, area.y1));
        float line = 0;
        for (int i = 0; i < across; i++)
            line += wx[i] * row[inside(x0 + i, area.x0, area.x1) - in->area.x0];
        sum += wy[j] * line;
    }
    return sum;
}

static void clear_pixel(const struct picture *out, int32_t x, int32_t y)
{
    for (int p = 0; p < PLANE_COUNT; p++)
        if (out->plane[p] != NULL)
            picture_row(out, (enum plane)p, y)[x - out->area.x0] = 0;
}

static void resample_pixel(const struct lens *lens, const struct kernel *kernel, const struct picture *out,
                           const struct picture *in, struct rect data, int32_t x, int32_t y)
{
    const struct rect area = rect_cut(in->area, data);
    float wx[TAPS_LIMIT], wy[TAPS_LIMIT];
    double u, v;
    const bool there = lens_point(lens, x + 0.5, y + 0.5, &u, &v);
    const struct spread spread = spread_at(lens, x + 0.5, y + 0.5);
    const double covered = share(u, data.x0, data.x1, spread.across) * share(v, data.y0, data.y1, spread.down);
    if (!there || covered <= 0 || rect_empty(area)) {
        clear_pixel(out, x, y);
        return;
    }
    const double sx = fmin(fmax(spread.across, 1), WIDEN_LIMIT), sy = fmin(fmax(spread.down, 1), WIDEN_LIMIT);
    int32_t x0, y0;
    kernel_weights(kernel, sx, u, &x0, wx);
    kernel_weights(kernel, sy, v, &y0, wy);
    for (int p = 0; p < PLANE_COUNT; p++) {
        if (out->plane[p] == NULL)
            continue;
        const float value = in->plane[p] == NULL ? (p == PLANE_A ? 1.0F : 0.0F)
                                                 : tapped(in, (enum plane)p, area, x0, y0, kernel_count(kernel, sx),
                                                          kernel_count(kernel, sy), wx, wy);
        picture_row(out, (enum plane)p, y)[x - out->area.x0] = value * (float)covered;
    }
}

void lens_resample(const struct lens *lens, const struct picture *out, const struct picture *in, struct rect data)
{
    struct kernel kernel;
    kernel_init(&kernel, FILTER_LANCZOS);
    for (int32_t y = out->area.y0; y < out->area.y1; y++)
        for (int32_t x = out->area.x0; x < out->area.x1; x++)
            resample_pixel(lens, &kernel, out, in, data, x, y);
}
