/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Transforms of the plane and the rectangles they lead to. A homography sees only the half plane in which the third
 * coordinate is positive; rectangles are cut to it before they are mapped.
 */
#include "picture/geometry.h"

#include <math.h>

#include "picture/kernel.h"

#define WHOLE_PIXEL 1e-9 /* a move this close to whole pixels is one */
#define SAME_SCALE 1e-12 /* and a factor this close to 1 is 1 */

struct transform transform_identity(void)
{
    const struct transform t = { { 1, 0, 0, 0, 1, 0, 0, 0, 1 } };
    return t;
}

struct transform transform_chain(struct transform a, struct transform b)
{
    struct transform t;
    for (int row = 0; row < 3; row++)
        for (int column = 0; column < 3; column++)
            t.m[3 * row + column] =
                b.m[3 * row] * a.m[column] + b.m[3 * row + 1] * a.m[3 + column] + b.m[3 * row + 2] * a.m[6 + column];
    return t;
}

bool transform_invert(struct transform t, struct transform *inverse)
{
    const double *m = t.m;
    double cofactor[9];
    for (int row = 0; row < 3; row++)
        for (int column = 0; column < 3; column++) {
            const int r1 = (row + 1) % 3, r2 = (row + 2) % 3, c1 = (column + 1) % 3, c2 = (column + 2) % 3;
            cofactor[3 * column + row] = m[3 * r1 + c1] * m[3 * r2 + c2] - m[3 * r1 + c2] * m[3 * r2 + c1];
        }
    const double determinant = m[0] * cofactor[0] + m[1] * cofactor[3] + m[2] * cofactor[6];
    if (determinant == 0 || !isfinite(determinant))
        return false;
    for (int i = 0; i < 9; i++) {
        inverse->m[i] = cofactor[i] / determinant;
        if (!isfinite(inverse->m[i]))
            return false;
    }
    return true;
}

void transform_point(const struct transform *t, double x, double y, double *in_x, double *in_y)
{
    const double *m = t->m;
    const double w = m[6] * x + m[7] * y + m[8];
    *in_x = (m[0] * x + m[1] * y + m[2]) / w;
    *in_y = (m[3] * x + m[4] * y + m[5]) / w;
}

static bool affine(const struct transform *t)
{
    return t->m[6] == 0 && t->m[7] == 0 && t->m[8] != 0;
}

static bool whole(double move, int32_t *pixels)
{
    const double nearest = floor(move + 0.5);
    if (!(fabs(move - nearest) <= WHOLE_PIXEL) || fabs(nearest) > 2.0 * RECT_LIMIT)
        return false;
    *pixels = (int32_t)nearest;
    return true;
}

bool transform_is_shift(const struct transform *t, int32_t *dx, int32_t *dy)
{
    const double *m = t->m;
    if (!affine(t))
        return false;
    const bool unturned = fabs(m[1] / m[8]) <= SAME_SCALE && fabs(m[3] / m[8]) <= SAME_SCALE;
    const bool unscaled = fabs(m[0] / m[8] - 1) <= SAME_SCALE && fabs(m[4] / m[8] - 1) <= SAME_SCALE;
    return unturned && unscaled && whole(m[2] / m[8], dx) && whole(m[5] / m[8], dy);
}

struct transform transform_resampled(struct transform t)
{
    int32_t dx, dy;
    if (transform_is_shift(&t, &dx, &dy))
        t.m[2] += 10 * WHOLE_PIXEL * t.m[8];
    return t;
}

bool transform_wants_spline(const struct transform *t, enum filter filter)
{
    int32_t dx, dy;
    return filter == FILTER_SPLINE && !transform_is_shift(t, &dx, &dy);
}

/* Where the corners of a rectangle go, cut to the visible half plane: at most one more corner. */
struct outline {
    double x[5], y[5], w[5]; /* homogeneous */
    int count;
};

static void outline_add(struct outline *outline, double x, double y, double w)
{
    outline->x[outline->count] = x;
    outline->y[outline->count] = y;
    outline->w[outline->count++] = w;
}

static struct outline outline_of(const struct transform *t, struct rect r)
{
    const double cx[4] = { r.x0, r.x1, r.x1, r.x0 }, cy[4] = { r.y0, r.y0, r.y1, r.y1 };
    const double *m = t->m;
    double x[4], y[4], w[4], most = 0;
    for (int i = 0; i < 4; i++) {
        x[i] = m[0] * cx[i] + m[1] * cy[i] + m[2];
        y[i] = m[3] * cx[i] + m[4] * cy[i] + m[5];
        w[i] = m[6] * cx[i] + m[7] * cy[i] + m[8];
        most = fmax(most, fabs(w[i]));
    }
    const double near = most * 1e-9;
    struct outline outline = { .count = 0 };
    for (int i = 0; i < 4; i++) {
        const int j = (i + 1) % 4;
        if (w[i] >= near)
            outline_add(&outline, x[i], y[i], w[i]);
        if ((w[i] >= near) != (w[j] >= near)) {
            const double share = (near - w[i]) / (w[j] - w[i]);
            outline_add(&outline, x[i] + share * (x[j] - x[i]), y[i] + share * (y[j] - y[i]), near);
        }
    }
    return outline;
}

/* The whole number at or below `value`, within ± RECT_LIMIT; a hair of rounding error does not cost a pixel. */
static int32_t floor_in_limit(double value)
{
    const double clamped = fmin(fmax(value + WHOLE_PIXEL, -RECT_LIMIT), RECT_LIMIT);
    return (int32_t)floor(clamped);
}

static struct rect map_outward(const struct transform *t, struct rect r, double pad_x, double pad_y)
{
    const struct outline outline = outline_of(t, r);
    if (rect_empty(r) || outline.count == 0)
        return rect_of(0, 0, 0, 0);
    double x0 = INFINITY, y0 = INFINITY, x1 = -INFINITY, y1 = -INFINITY;
    for (int i = 0; i < outline.count; i++) {
        const double x = outline.x[i] / outline.w[i], y = outline.y[i] / outline.w[i];
        x0 = fmin(x0, x);
        y0 = fmin(y0, y);
        x1 = fmax(x1, x);
        y1 = fmax(y1, y);
    }
    return rect_of(floor_in_limit(x0 - pad_x), floor_in_limit(y0 - pad_y), -floor_in_limit(-x1 - pad_x),
                   -floor_in_limit(-y1 - pad_y));
}

struct rect transform_reach_out(const struct transform *t, enum filter filter, struct rect input)
{
    (void)filter; /* coverage ends with the image of the window, whatever the filter */
    struct transform inverse;
    int32_t dx, dy;
    if (transform_is_shift(t, &dx, &dy))
        return rect_empty(input) ? rect_of(0, 0, 0, 0) : rect_shift(input, -dx, -dy);
    if (!transform_invert(*t, &inverse))
        return rect_of(0, 0, 0, 0);
    return map_outward(&inverse, input, 0, 0);
}

struct rect transform_reach_in(const struct transform *t, enum filter filter, struct rect output)
{
    int32_t dx, dy;
    if (transform_is_shift(t, &dx, &dy))
        return rect_empty(output) ? rect_of(0, 0, 0, 0) : rect_shift(output, dx, dy);
    double pad_x = 0, pad_y = 0;
    if (filter != FILTER_NEAREST)
        stretch_reach(t, output, kernel_reach(filter), &pad_x, &pad_y);
    return map_outward(t, output, pad_x + 1, pad_y + 1);
}

static int32_t clamp_edge(int32_t value, int32_t least, int32_t most)
{
    return value < least ? least : value > most ? most : value;
}

struct rect reach_held(struct rect reach, struct rect data)
{
    if (rect_empty(reach) || rect_empty(data))
        return rect_of(0, 0, 0, 0);
    const int32_t x0 = clamp_edge(reach.x0, data.x0, data.x1 - 1), y0 = clamp_edge(reach.y0, data.y0, data.y1 - 1);
    return rect_of(x0, y0, clamp_edge(reach.x1, x0 + 1, data.x1), clamp_edge(reach.y1, y0 + 1, data.y1));
}
