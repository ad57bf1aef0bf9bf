/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Coverage by signed areas: an edge that runs down through a pixel row by the height h adds h to every pixel to its
 * right and, in the pixels it passes, the part of their area to its right; an edge that runs up takes it away. Written
 * as differences between neighbours, so that one running sum finishes the row.
 */
#include "numerics/polygon.h"

#include <math.h>
#include <stdbool.h>
#include <string.h>

#include "picture/function.h"

struct edge {
    double x0, y0, x1, y1;
};

/* Goes through the edges of all contours. Zeroed, it stands before the first. */
struct walk {
    int next, start, contour;
};

static bool next_edge(const struct polygon *polygon, struct walk *walk, struct edge *edge)
{
    const int i = walk->next;
    if (i >= polygon->count)
        return false;
    const int end = polygon->contours > 1 ? polygon->ends[walk->contour] : polygon->count;
    const double *a = &polygon->points[2 * i];
    const double *b = &polygon->points[2 * (i + 1 < end ? i + 1 : walk->start)];
    *edge = (struct edge){ a[0], a[1], b[0], b[1] };
    walk->next++;
    if (walk->next == end) {
        walk->start = end;
        walk->contour++;
    }
    return true;
}

/* ---- cover ------------------------------------------------------------------------------------------------------- */

/* A piece of an edge within one pixel row, from `left` to `right` (measured from the first column), of height h. */
static void add_piece(double *cover, int32_t width, double left, double right, double h)
{
    if (right <= 0) {
        cover[0] += h;
        return;
    }
    if (left >= width)
        return;
    const double per_pixel = right > left ? h / (right - left) : 0;
    if (left < 0)
        cover[0] += per_pixel * -left;
    for (int32_t c = left > 0 ? (int32_t)left : 0; c < width && (c < right || c == (int32_t)left); c++) {
        const double from = left > c ? left : c;
        const double to = right < c + 1 ? right : c + 1;
        const double share = right > left ? per_pixel * (to - from) : h;
        const double mean = (from + to) / 2 - c;
        cover[c] += share * (1 - mean);
        cover[c + 1] += share * mean;
    }
}

static double edge_x(struct edge e, double y)
{
    return e.x0 + (e.x1 - e.x0) * ((y - e.y0) / (e.y1 - e.y0));
}

static void add_edge(double *cover, int32_t y, int32_t x0, int32_t width, struct edge e)
{
    const double sign = e.y1 > e.y0 ? 1 : -1;
    const double top = fmax(fmin(e.y0, e.y1), y), bottom = fmin(fmax(e.y0, e.y1), y + 1.0);
    if (!(top < bottom))
        return;
    const double a = edge_x(e, top) - x0, b = edge_x(e, bottom) - x0;
    add_piece(cover, width, fmin(a, b), fmax(a, b), sign * (bottom - top));
}

void polygon_cover(const struct polygon *polygon, int32_t y, int32_t x0, int32_t x1, double *cover)
{
    const int32_t width = x1 - x0;
    memset(cover, 0, ((size_t)width + 1) * sizeof *cover);
    struct walk walk = { 0, 0, 0 };
    for (struct edge e; next_edge(polygon, &walk, &e);)
        add_edge(cover, y, x0, width, e);
    double sum = 0;
    for (int32_t x = 0; x < width; x++) {
        sum += cover[x];
        const double share = fabs(sum);
        /* Rounding leaves traces of 1e-15 where everything has cancelled. */
        cover[x] = share < 1e-9 ? 0 : share > 1 - 1e-9 ? 1 : share;
    }
}

/* ---- distance ---------------------------------------------------------------------------------------------------- */

void polygon_winding(const struct polygon *polygon, int32_t y, int32_t x0, int32_t x1, int *winding)
{
    const int32_t width = x1 - x0;
    const double centre = y + 0.5;
    memset(winding, 0, ((size_t)width + 1) * sizeof *winding);
    struct walk walk = { 0, 0, 0 };
    for (struct edge e; next_edge(polygon, &walk, &e);) {
        if ((e.y0 <= centre) == (e.y1 <= centre))
            continue;
        const double first = ceil(edge_x(e, centre) - x0 - 0.5);
        if (first < width)
            winding[first > 0 ? (int32_t)first : 0] += e.y0 < e.y1 ? 1 : -1;
    }
    for (int32_t x = 1; x < width; x++)
        winding[x] += winding[x - 1];
}

/* x and y: the first pixel centre, seen from the edge's start. */
static void nearer(double *restrict squared, int32_t count, double x, double y, double dx, double dy)
{
    const double length = dx * dx + dy * dy;
    const double scale = length > 0 ? 1 / length : 0;
    for (int32_t i = 0; i < count; i++) {
        const double px = x + i;
        const double t = (px * dx + y * dy) * scale;
        const double on = t < 0 ? 0 : t > 1 ? 1 : t;
        const double ox = px - on * dx, oy = y - on * dy;
        const double d = ox * ox + oy * oy;
        squared[i] = d < squared[i] ? d : squared[i];
    }
}

void polygon_distance(const struct polygon *polygon, int32_t y, int32_t x0, int32_t x1, double limit, double *squared)
{
    const int32_t width = x1 - x0;
    const double centre = y + 0.5;
    for (int32_t x = 0; x < width; x++)
        squared[x] = limit * limit;
    struct walk walk = { 0, 0, 0 };
    for (struct edge e; next_edge(polygon, &walk, &e);) {
        if (centre < fmin(e.y0, e.y1) - limit || centre > fmax(e.y0, e.y1) + limit)
            continue;
        const double left = fmax(floor(fmin(e.x0, e.x1) - limit - x0), 0);
        const double right = fmin(ceil(fmax(e.x0, e.x1) + limit - x0), width);
        if (left < right)
            nearer(squared + (int32_t)left, (int32_t)(right - left), x0 + left + 0.5 - e.x0, centre - e.y0, e.x1 - e.x0,
                   e.y1 - e.y0);
    }
}

/* ---- ellipse ----------------------------------------------------------------------------------------------------- */

/* A quarter of a circle in n steps has no step above 2/n radians; between its ends the circle is at most
 * r (1 - cos(1/n)) < r / (2 n²) away. */
int polygon_ellipse_points(double radius_x, double radius_y, double tolerance)
{
    const double radius = fmax(fabs(radius_x), fabs(radius_y));
    const double steps = ceil(sqrt(radius / (2 * tolerance)));
    return 4 * (steps < 2 ? 2 : (int)fmin(steps, 1 << 16));
}

void polygon_ellipse(double centre_x, double centre_y, double radius_x, double radius_y, double degrees, int count,
                     double *points)
{
    const double cosine = function_cospi(degrees / 180), sine = function_sinpi(degrees / 180);
    const int steps = count / 4;
    for (int i = 0; i < count; i++) {
        const double t = (double)(i % steps) / steps; /* tangent of half the angle within the quarter */
        const double c = (1 - t * t) / (1 + t * t), s = 2 * t / (1 + t * t);
        static const int turns[4][2] = { { 1, 0 }, { 0, 1 }, { -1, 0 }, { 0, -1 } };
        const int *turn = turns[i / steps];
        const double x = radius_x * (turn[0] * c - turn[1] * s), y = radius_y * (turn[1] * c + turn[0] * s);
        points[2 * i] = centre_x + x * cosine - y * sine;
        points[2 * i + 1] = centre_y + x * sine + y * cosine;
    }
}
