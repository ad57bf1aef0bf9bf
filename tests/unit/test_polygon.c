/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Coverage against clipping every pixel by itself, areas against formulas, distances against a search along the
 * outline.
 */
#include "numerics/polygon.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#define PI 3.14159265358979323846

enum { SIZE = 24, ROOM = 64 };

static const double dart[] = { 2.25, 3.5, 20.75, 1.125, 12.5, 10.0, 21.0, 21.3, 3.0, 18.0 };
static const double box[] = { 4, 5, 4, 9, 11, 9, 11, 5 };
static const double sliver[] = { 1.1, 1.2, 22.9, 1.4, 1.3, 1.7 };
static const double beyond[] = { -30.5, -8, 60, 11.5, -12, 40.25 };

static const struct polygon polygons[] = { { .count = 5, .points = dart },
                                           { .count = 4, .points = box },
                                           { .count = 3, .points = sliver },
                                           { .count = 3, .points = beyond } };

/* Keeps the side of the line where axis·sign ≥ bound·sign (Sutherland and Hodgman). Returns the new count. */
static int clip(const double *in, int count, int axis, double sign, double bound, double *out)
{
    int kept = 0;
    for (int i = 0; i < count; i++) {
        const double *a = &in[2 * i], *b = &in[2 * ((i + 1) % count)];
        const double da = sign * (a[axis] - bound), db = sign * (b[axis] - bound);
        if (da >= 0) {
            memcpy(&out[2 * kept++], a, 2 * sizeof *a);
        }
        if ((da >= 0) != (db >= 0)) {
            const double t = da / (da - db);
            out[2 * kept] = a[0] + t * (b[0] - a[0]);
            out[2 * kept + 1] = a[1] + t * (b[1] - a[1]);
            kept++;
        }
    }
    return kept;
}

static double area(const double *points, int count)
{
    double sum = 0;
    for (int i = 0; i < count; i++) {
        const double *a = &points[2 * i], *b = &points[2 * ((i + 1) % count)];
        sum += a[0] * b[1] - a[1] * b[0];
    }
    return fabs(sum) / 2;
}

static double clipped_area(const struct polygon *polygon, int x, int y)
{
    double a[2 * ROOM], b[2 * ROOM];
    int count = clip(polygon->points, polygon->count, 0, 1, x, a);
    count = clip(a, count, 0, -1, x + 1, b);
    count = clip(b, count, 1, 1, y, a);
    count = clip(a, count, 1, -1, y + 1, b);
    return area(b, count);
}

static void cover_is_the_exact_area(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof polygons / sizeof *polygons; i++) {
        for (int y = 0; y < SIZE; y++) {
            double cover[SIZE + 1];
            polygon_cover(&polygons[i], y, 0, SIZE, cover);
            for (int x = 0; x < SIZE; x++)
                assert_true(fabs(cover[x] - clipped_area(&polygons[i], x, y)) < 1e-9);
        }
    }
}

/* The same polygon in the other direction, and from columns that begin within it. */
static void direction_and_first_column_do_not_matter(void **state)
{
    (void)state;
    double reversed[10];
    for (int i = 0; i < 5; i++)
        memcpy(&reversed[2 * i], &dart[2 * (4 - i)], 2 * sizeof *dart);
    const struct polygon back = { .count = 5, .points = reversed };
    for (int y = 0; y < SIZE; y++) {
        double a[SIZE + 1], b[SIZE + 1], c[SIZE + 1];
        polygon_cover(&polygons[0], y, 0, SIZE, a);
        polygon_cover(&back, y, 0, SIZE, b);
        polygon_cover(&polygons[0], y, 9, SIZE, c);
        for (int x = 0; x < SIZE; x++) {
            assert_true(fabs(a[x] - b[x]) < 1e-12);
            assert_true(x < 9 || fabs(a[x] - c[x - 9]) < 1e-12);
        }
    }
}

/* Where an outline goes round twice, the part counts once. */
static void crossing_parts_count_once(void **state)
{
    (void)state;
    static const double twice[] = { 2, 2, 10, 2, 10, 10, 2, 10, 2, 2, 10, 2, 10, 10, 2, 10 };
    const struct polygon polygon = { .count = 8, .points = twice };
    double cover[SIZE + 1];
    polygon_cover(&polygon, 5, 0, SIZE, cover);
    for (int x = 0; x < SIZE; x++)
        assert_true(cover[x] == (x >= 2 && x < 10 ? 1 : 0));
}

/* Exact chords of 4000 lines per pixel row. */
static double ellipse_cover(double cx, double cy, double rx, double ry, int x, int y)
{
    double sum = 0;
    for (int i = 0; i < 4000; i++) {
        const double dy = (y + (i + 0.5) / 4000 - cy) / ry;
        if (fabs(dy) >= 1)
            continue;
        const double half = rx * sqrt(1 - dy * dy);
        sum += fmax(0, fmin(x + 1, cx + half) - fmax(x, cx - half));
    }
    return sum / 4000;
}

static void ellipse_is_right_to_a_part_in_512(void **state)
{
    (void)state;
    static const double radii[][2] = { { 0.4, 0.3 }, { 3, 3 }, { 9.3, 2.1 }, { 11.5, 11.2 }, { 700, 300 } };
    for (size_t i = 0; i < sizeof radii / sizeof *radii; i++) {
        const double rx = radii[i][0], ry = radii[i][1];
        const double cx = 12.3 - (rx > 100 ? 600 : 0), cy = 11.6 - (rx > 100 ? 140 : 0);
        double points[2 * 8192];
        const struct polygon ellipse = { .count = polygon_ellipse_points(rx, ry, 1.0 / 1024), .points = points };
        assert_true(ellipse.count <= 8192);
        polygon_ellipse(cx, cy, rx, ry, 0, ellipse.count, points);
        assert_true(fabs(area(points, ellipse.count) - PI * rx * ry) < PI * (rx + ry) / 1024);
        for (int y = 0; y < SIZE; y++) {
            double cover[SIZE + 1];
            polygon_cover(&ellipse, y, 0, SIZE, cover);
            for (int x = 0; x < SIZE; x++)
                assert_true(fabs(cover[x] - ellipse_cover(cx, cy, rx, ry, x, y)) < 1.0 / 512);
        }
    }
}

static void ellipse_turns_clockwise(void **state)
{
    (void)state;
    double points[8192], quarter[8192];
    const int count = polygon_ellipse_points(40, 10, 0.01);
    polygon_ellipse(5, 6, 40, 10, 30, count, points);
    assert_true(fabs(points[0] - (5 + 40 * cos(PI / 6))) < 1e-12);
    assert_true(fabs(points[1] - (6 + 40 * sin(PI / 6))) < 1e-12); /* y down: to the lower right */
    polygon_ellipse(5, 6, 40, 10, 90, count, quarter);
    assert_true(quarter[0] == 5 && quarter[1] == 46);
}

static double searched_distance(const struct polygon *polygon, double x, double y)
{
    double least = INFINITY;
    for (int i = 0; i < polygon->count; i++) {
        const double *a = &polygon->points[2 * i], *b = &polygon->points[2 * ((i + 1) % polygon->count)];
        for (int k = 0; k <= 20000; k++) {
            const double t = k / 20000.0;
            least = fmin(least, hypot(a[0] + t * (b[0] - a[0]) - x, a[1] + t * (b[1] - a[1]) - y));
        }
    }
    return least;
}

static void distance_is_that_of_a_search(void **state)
{
    (void)state;
    const double limit = 4.5;
    for (size_t i = 0; i < sizeof polygons / sizeof *polygons; i++) {
        for (int y = 0; y < SIZE; y += 5) {
            double squared[SIZE + 1];
            polygon_distance(&polygons[i], y, 0, SIZE, limit, squared);
            for (int x = 0; x < SIZE; x++) {
                const double found = fmin(searched_distance(&polygons[i], x + 0.5, y + 0.5), limit);
                assert_true(fabs(sqrt(squared[x]) - found) < 3e-3);
            }
        }
    }
}

/* A centre is inside when most of a small square around it is. */
static void winding_tells_inside_from_outside(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof polygons / sizeof *polygons; i++) {
        for (int y = 0; y < SIZE; y++) {
            int winding[SIZE + 1];
            double squared[SIZE + 1];
            polygon_winding(&polygons[i], y, 0, SIZE, winding);
            polygon_distance(&polygons[i], y, 0, SIZE, 1, squared);
            for (int x = 0; x < SIZE; x++) {
                const double cover = clipped_area(&polygons[i], x, y);
                if (cover == 0)
                    assert_int_equal(winding[x], 0);
                if (squared[x] >= 0.5001)
                    assert_int_equal(winding[x] != 0, cover > 0.5);
            }
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(cover_is_the_exact_area),           cmocka_unit_test(direction_and_first_column_do_not_matter),
        cmocka_unit_test(crossing_parts_count_once),         cmocka_unit_test(ellipse_is_right_to_a_part_in_512),
        cmocka_unit_test(ellipse_turns_clockwise),           cmocka_unit_test(distance_is_that_of_a_search),
        cmocka_unit_test(winding_tells_inside_from_outside),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
