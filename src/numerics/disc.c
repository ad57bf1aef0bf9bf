/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A bilinear surface has its extremes over a disc either in pixel centres inside or on the rim.
 *
 * Inside: the disc is cut into rows. The least value of a run of n pixels is that of two runs of length 2^k that
 * cover it, so one table per source row and k serves all runs, and the cost grows with the radius, not its square.
 *
 * Rim: below radius 16 it is sampled in equal steps of direction. An edge whose normal falls between two of K samples
 * is missed by radius · (1 - cos(π/K)), so K grows with the root of the radius. From 16 on, the points where the rim
 * crosses the lines between pixel centres do: between two of them (at most √2 apart) it bulges by 0.25/radius at most.
 *
 * The largest value is minus the least of the negated plane.
 */
#include "numerics/disc.h"

#include <assert.h>
#include <math.h>
#include <stdbool.h>

#include "base/error.h"
#include "numerics/between.h"

static const double crossings_from = 16;

int disc_reach(double radius)
{
    return radius > 0 ? (int)ceil(radius) : 0;
}

/* A place on the rim: whole pixels and the fraction beyond them. */
struct rim_point {
    int x, y;
    float fraction_x, fraction_y;
};

struct disc {
    double radius;
    int reach;
    struct rim_point *rim;
    int rim_count;
    /* The source with its edge held, `reach` + 1 pixels around the output; negated for DISC_LARGEST. */
    float *source;
    int32_t width, height; /* of the output */
    size_t stride;         /* of source */
    float **tables;        /* per k: least of 2^k pixels from here on */
    int levels;
};

/* ---- rim --------------------------------------------------------------------------------------------------------- */

static void add_point(struct disc *disc, double x, double y)
{
    const double whole_x = floor(x), whole_y = floor(y);
    disc->rim[disc->rim_count++] = (struct rim_point){
        .x = (int)whole_x, .y = (int)whole_y, .fraction_x = (float)(x - whole_x), .fraction_y = (float)(y - whole_y)
    };
}

static void add_point_and_mirrors(struct disc *disc, double x, double y)
{
    for (int i = 0; i < 4; i++) {
        const bool left = (i & 1) != 0, up = (i & 2) != 0;
        if ((left && x == 0) || (up && y == 0))
            continue;
        add_point(disc, left ? -x : x, up ? -y : y);
    }
}

static int direction_steps(double radius)
{
    const int steps = (int)ceil(2.8 * sqrt(radius));
    return steps < 2 ? 2 : steps;
}

/* Directions by the tangent of half their angle: from 0 to that of 22.5 degrees is an eighth of the circle. */
static void directions(struct disc *disc)
{
    const int steps = direction_steps(disc->radius);
    const double tangent = sqrt(2.0) - 1;
    for (int i = 0; i <= steps; i++) {
        const double t = tangent * i / steps;
        const double x = disc->radius * (1 - t * t) / (1 + t * t);
        const double y = disc->radius * 2 * t / (1 + t * t);
        add_point_and_mirrors(disc, x, y);
        if (i < steps)
            add_point_and_mirrors(disc, y, x);
    }
}

static void crossings(struct disc *disc)
{
    const int whole = (int)floor(disc->radius);
    for (int i = 0; i <= whole; i++) {
        const double other = sqrt(disc->radius * disc->radius - (double)i * i);
        add_point_and_mirrors(disc, i, other);
        add_point_and_mirrors(disc, other, i);
    }
}

static bool make_rim(struct disc *disc, struct arena *scratch)
{
    const bool by_crossings = disc->radius >= crossings_from;
    const int steps = by_crossings ? (int)floor(disc->radius) : direction_steps(disc->radius);
    disc->rim = arena_array(scratch, 8 * ((size_t)steps + 1), sizeof *disc->rim);
    if (disc->rim == NULL)
        return false;
    if (by_crossings)
        crossings(disc);
    else
        directions(disc);
    return true;
}

/* ---- rows -------------------------------------------------------------------------------------------------------- */

static void take_pair(float *restrict out, const float *restrict a, const float *restrict b, float fraction, int count)
{
    for (int x = 0; x < count; x++) {
        const float v = a[x] + fraction * (b[x] - a[x]);
        out[x] = v < out[x] ? v : out[x];
    }
}

static void take_square(float *restrict out, const float *restrict a, const float *restrict b, float fraction_x,
                        float fraction_y, int count)
{
    for (int x = 0; x < count; x++) {
        const float above = a[x] + fraction_x * (a[x + 1] - a[x]);
        const float below = b[x] + fraction_x * (b[x + 1] - b[x]);
        const float v = above + fraction_y * (below - above);
        out[x] = v < out[x] ? v : out[x];
    }
}

static void take_runs(float *restrict out, const float *restrict a, const float *restrict b, int count)
{
    for (int x = 0; x < count; x++) {
        const float v = a[x] < b[x] ? a[x] : b[x];
        out[x] = v < out[x] ? v : out[x];
    }
}

static void double_runs(float *restrict out, const float *restrict in, size_t step, size_t count)
{
    for (size_t x = 0; x < count; x++)
        out[x] = in[x] < in[x + step] ? in[x] : in[x + step];
}

/* The source pixel under output pixel (0, row) moved by (x, y). */
static const float *source_at(const struct disc *disc, int32_t row, int x, int y)
{
    const int pad = disc->reach + 1;
    return disc->source + (size_t)(row + y + pad) * disc->stride + (size_t)(x + pad);
}

static void take_rim(const struct disc *disc, int32_t row, float *out)
{
    for (int i = 0; i < disc->rim_count; i++) {
        const struct rim_point p = disc->rim[i];
        const float *a = source_at(disc, row, p.x, p.y);
        const float *b = a + disc->stride;
        if (p.fraction_y == 0)
            take_pair(out, a, a + 1, p.fraction_x, disc->width);
        else if (p.fraction_x == 0)
            take_pair(out, a, b, p.fraction_y, disc->width);
        else
            take_square(out, a, b, p.fraction_x, p.fraction_y, disc->width);
    }
}

/* ---- inside ------------------------------------------------------------------------------------------------------ */

static int half_run(double radius, int y)
{
    return (int)floor(sqrt(radius * radius - (double)y * y));
}

static int level_of(int length)
{
    int level = 0;
    while (2 << level <= length)
        level++;
    return level;
}

/* Source row `row` (of the output's rows; may lie outside) as part of the discs around all output rows it touches. */
static void take_source_row(const struct disc *disc, int32_t row, const struct picture *out, enum plane plane)
{
    const int whole = (int)floor(disc->radius);
    const float *start = source_at(disc, row, -whole, 0);
    size_t length = (size_t)disc->width + 2 * (size_t)whole;
    const float *tables[32] = { start };
    for (int k = 1; k < disc->levels; k++) {
        const size_t step = (size_t)1 << (k - 1);
        length -= step;
        double_runs(disc->tables[k], tables[k - 1], step, length);
        tables[k] = disc->tables[k];
    }
    for (int y = -whole; y <= whole; y++) {
        const int32_t target = row - y;
        if (target < 0 || target >= disc->height)
            continue;
        const int half = half_run(disc->radius, y);
        const int level = level_of(2 * half + 1);
        const float *first = tables[level] + (whole - half);
        const float *second = tables[level] + (whole + half + 1 - (1 << level));
        take_runs(picture_row(out, plane, out->area.y0 + target), first, second, disc->width);
    }
}

/* ---- the whole --------------------------------------------------------------------------------------------------- */

static void fill_source(const struct disc *disc, const struct picture *out, const struct picture *in, enum plane plane,
                        float sign)
{
    const int32_t pad = disc->reach + 1;
    const struct rect area = in->area;
    for (int32_t y = 0; y < disc->height + 2 * pad; y++) {
        const float *from = picture_row(in, plane, place_between(out->area.y0 - pad + y, area.y0, area.y1 - 1));
        float *to = disc->source + (size_t)y * disc->stride;
        for (int32_t x = 0; x < disc->width + 2 * pad; x++)
            to[x] = sign * from[place_between(out->area.x0 - pad + x, area.x0, area.x1 - 1) - area.x0];
    }
}

static bool make_tables(struct disc *disc, struct arena *scratch)
{
    const size_t whole = (size_t)floor(disc->radius);
    disc->levels = level_of(2 * (int)whole + 1) + 1;
    disc->tables = arena_array(scratch, (size_t)disc->levels, sizeof *disc->tables);
    for (int k = 1; disc->tables != NULL && k < disc->levels; k++) {
        disc->tables[k] = arena_array(scratch, (size_t)disc->width + 2 * whole, sizeof(float));
        if (disc->tables[k] == NULL)
            return false;
    }
    return disc->tables != NULL;
}

static void scale_plane(const struct picture *picture, enum plane plane, float by)
{
    for (int32_t y = picture->area.y0; y < picture->area.y1; y++) {
        float *row = picture_row(picture, plane, y);
        for (int32_t x = 0; x < rect_width(picture->area); x++)
            row[x] *= by;
    }
}

enum passel_status disc_plane(const struct picture *out, const struct picture *in, enum plane plane,
                              enum disc_side side, double radius, struct arena *scratch, struct passel_error *error)
{
    assert(radius <= DISC_RADIUS_LIMIT && rect_holds(in->area, out->area));
    struct disc disc = { .radius = radius > 0 ? radius : 0, .reach = disc_reach(radius) };
    const float sign = side == DISC_LEAST ? 1 : -1;
    const size_t pads = 2 * ((size_t)disc.reach + 1);
    disc.width = rect_width(out->area);
    disc.height = rect_height(out->area);
    disc.stride = (size_t)disc.width + pads;
    disc.source = arena_array(scratch, disc.stride * ((size_t)disc.height + pads), sizeof(float));
    if (disc.source == NULL || !make_rim(&disc, scratch) || !make_tables(&disc, scratch))
        return error_set(error, PASSEL_NO_MEMORY, "no memory for a disc of %d pixels", disc.reach);
    fill_source(&disc, out, in, plane, sign);
    picture_fill(out, plane, out->area, INFINITY);
    const int whole = (int)floor(disc.radius);
    for (int32_t row = -whole; row < disc.height + whole; row++)
        take_source_row(&disc, row, out, plane);
    for (int32_t row = 0; row < disc.height; row++)
        take_rim(&disc, row, picture_row(out, plane, out->area.y0 + row));
    scale_plane(out, plane, sign);
    return PASSEL_OK;
}
