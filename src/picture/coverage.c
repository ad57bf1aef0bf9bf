/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Clipping after Sutherland and Hodgman, one line after the other, in the pixel's own coordinates 0 … 1.
 */
#include "picture/coverage.h"

#include <math.h>

#define CORNERS (4 + 2 * COVERAGE_LINES) /* each line cuts off corners and adds two at most */

struct polygon {
    double x[CORNERS], y[CORNERS];
    int count;
};

static void add_line(struct coverage *coverage, double a, double b, double c)
{
    const double length = sqrt(a * a + b * b);
    if (length == 0 && c > 0)
        return; /* a line at infinity with everything inside: the horizon of an affine map */
    const double scale = length == 0 ? 1 : length;
    coverage->line[coverage->count].a = a / scale;
    coverage->line[coverage->count].b = b / scale;
    coverage->line[coverage->count].c = c / scale;
    coverage->line[coverage->count++].reach = (fabs(a) + fabs(b)) / scale / 2;
}

void coverage_init(struct coverage *coverage, const struct transform *t, const double window[4])
{
    const double *m = t->m;
    coverage->count = 0;
    add_line(coverage, m[6], m[7], m[8]);
    for (int axis = 0; axis < 2; axis++) {
        const double *row = m + 3 * axis, first = window[axis], end = window[2 + axis];
        /* x_in ≥ first is (row - first * last row) · (x, y, 1) ≥ 0 where (last row) · (x, y, 1) > 0 */
        add_line(coverage, row[0] - first * m[6], row[1] - first * m[7], row[2] - first * m[8]);
        add_line(coverage, end * m[6] - row[0], end * m[7] - row[1], end * m[8] - row[2]);
    }
}

/* Keeps the part of the polygon in which a x + b y + c is positive. */
static void clip(struct polygon *polygon, double a, double b, double c)
{
    struct polygon kept = { .count = 0 };
    for (int i = 0; i < polygon->count; i++) {
        const int j = i + 1 < polygon->count ? i + 1 : 0;
        const double here = a * polygon->x[i] + b * polygon->y[i] + c;
        const double next = a * polygon->x[j] + b * polygon->y[j] + c;
        if (here > 0) {
            kept.x[kept.count] = polygon->x[i];
            kept.y[kept.count++] = polygon->y[i];
        }
        if ((here > 0) != (next > 0)) {
            const double share = here / (here - next);
            kept.x[kept.count] = polygon->x[i] + share * (polygon->x[j] - polygon->x[i]);
            kept.y[kept.count++] = polygon->y[i] + share * (polygon->y[j] - polygon->y[i]);
        }
    }
    *polygon = kept;
}

static double polygon_area(const struct polygon *polygon)
{
    double twice = 0;
    for (int i = 0; i < polygon->count; i++) {
        const int j = i + 1 < polygon->count ? i + 1 : 0;
        twice += polygon->x[i] * polygon->y[j] - polygon->x[j] * polygon->y[i];
    }
    return fabs(twice) / 2;
}

float coverage_of(const struct coverage *coverage, int32_t x, int32_t y)
{
    double at_centre[COVERAGE_LINES];
    bool whole = true;
    for (int i = 0; i < coverage->count; i++) {
        at_centre[i] = coverage->line[i].a * (x + 0.5) + coverage->line[i].b * (y + 0.5) + coverage->line[i].c;
        if (at_centre[i] <= -coverage->line[i].reach)
            return 0;
        whole = whole && at_centre[i] >= coverage->line[i].reach;
    }
    if (whole)
        return 1;
    struct polygon pixel = { { 0, 1, 1, 0 }, { 0, 0, 1, 1 }, 4 };
    for (int i = 0; i < coverage->count; i++) {
        const double a = coverage->line[i].a, b = coverage->line[i].b;
        if (at_centre[i] < coverage->line[i].reach)
            clip(&pixel, a, b, at_centre[i] - (a + b) / 2);
    }
    return (float)fmin(polygon_area(&pixel), 1);
}

static float whole_share(const struct transform *t, struct rect window, int32_t x, int32_t y)
{
    double px, py;
    const double w = t->m[6] * (x + 0.5) + t->m[7] * (y + 0.5) + t->m[8];
    transform_point(t, x + 0.5, y + 0.5, &px, &py);
    return w > 0 && px >= window.x0 && px < window.x1 && py >= window.y0 && py < window.y1 ? 1 : 0;
}

void coverage_cut(const struct picture *picture, const struct transform *t, struct rect window, enum filter filter)
{
    const struct rect area = picture->area;
    const double sides[4] = { window.x0, window.y0, window.x1, window.y1 };
    struct coverage coverage;
    coverage_init(&coverage, t, sides);
    for (int32_t y = area.y0; y < area.y1; y++)
        for (int32_t x = area.x0; x < area.x1; x++) {
            const float share = filter == FILTER_NEAREST ? whole_share(t, window, x, y) : coverage_of(&coverage, x, y);
            for (int plane = 0; share != 1 && plane < PLANE_COUNT; plane++)
                if (picture->plane[plane] != NULL)
                    picture_row(picture, (enum plane)plane, y)[x - area.x0] *= share;
        }
}
