/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Least and largest under a disc, against a search of the bilinear surface point by point, against exact Euclidean
 * distances, and on edges whose offset is known.
 */
#include "numerics/disc.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "pattern.h"

static void disc(const struct picture *out, const struct picture *in, enum disc_side side, double radius)
{
    struct arena scratch;
    arena_init(&scratch);
    assert_int_equal(disc_plane(out, in, PLANE_A, side, radius, &scratch, NULL), PASSEL_OK);
    arena_release(&scratch);
}

static int32_t held(int32_t v, int32_t least, int32_t most)
{
    return v < least ? least : v > most ? most : v;
}

static double surface(const struct picture *in, double x, double y)
{
    const struct rect a = in->area;
    const int32_t ix = (int32_t)floor(x), iy = (int32_t)floor(y);
    double v[2][2];
    for (int i = 0; i < 4; i++)
        v[i / 2][i % 2] =
            (double)pattern_at(in, PLANE_A, held(ix + i % 2, a.x0, a.x1 - 1), held(iy + i / 2, a.y0, a.y1 - 1));
    const double fx = x - ix, fy = y - iy;
    return (v[0][0] * (1 - fx) + v[0][1] * fx) * (1 - fy) + (v[1][0] * (1 - fx) + v[1][1] * fx) * fy;
}

/* Pixel centres inside and 2000 points of the rim. */
static double searched(const struct picture *in, int32_t x, int32_t y, double radius, double sign)
{
    double least = INFINITY;
    const int reach = (int)radius;
    for (int v = -reach; v <= reach; v++) {
        for (int u = -reach; u <= reach; u++) {
            if (u * u + v * v <= radius * radius)
                least = fmin(least, sign * surface(in, x + u, y + v));
        }
    }
    for (int i = 0; i < 2000; i++) {
        const double angle = 2 * 3.14159265358979323846 * i / 2000;
        least = fmin(least, sign * surface(in, x + radius * cos(angle), y + radius * sin(angle)));
    }
    return sign * least;
}

/* Noise is the hardest surface: neighbours differ by up to 1, so a place between two samples of the rim (0.1 pixel
 * apart and more) may be lower by several hundredths. For straight edges the bound is another one, tried below. */
static void equals_a_search(void **state)
{
    (void)state;
    static const double radii[] = { 0.05, 0.5, 0.7, 1, 1.414, 2.75, 5, 9.9, 17.3 };
    struct picture in = pattern_picture(rect_of(4, -6, 27, 15), HAS_A, 11);
    for (size_t i = 0; i < 2 * sizeof radii / sizeof *radii; i++) {
        const double radius = radii[i / 2];
        const enum disc_side side = i % 2 == 0 ? DISC_LEAST : DISC_LARGEST;
        struct picture out = pattern_picture(in.area, HAS_A, 12);
        disc(&out, &in, side, radius);
        double worst = 0, sum = 0;
        for (int32_t y = in.area.y0; y < in.area.y1; y++) {
            for (int32_t x = in.area.x0; x < in.area.x1; x++) {
                const double found = searched(&in, x, y, radius, side == DISC_LEAST ? 1 : -1);
                const double off = fabs((double)pattern_at(&out, PLANE_A, x, y) - found);
                worst = fmax(worst, off);
                sum += off;
            }
        }
        assert_true(worst < 0.06);
        assert_true(sum / (23 * 21) < 0.003);
        picture_release(&out);
    }
    picture_release(&in);
}

/* source: exact Euclidean distance to the pixels of at least 0.5, computed with scipy 1.10 */
static const double distances[7][9] = {
    { 3.60555, 2.82843, 2.23607, 2, 2, 2, 2.23607, 2.82843, 3.16228 },
    { 3.16228, 2.23607, 1.41421, 1, 1, 1, 1.41421, 2, 2.23607 },
    { 3, 2, 1, 0, 0, 0, 1, 1, 1.41421 },
    { 3, 2, 1, 0, 0, 0, 1, 0, 1 },
    { 3, 2, 1, 0, 0, 0, 1, 1, 1.41421 },
    { 3.16228, 2.23607, 1.41421, 1, 1, 1, 1.41421, 2, 2.23607 },
    { 3.60555, 2.82843, 2.23607, 2, 2, 2, 2.23607, 2.82843, 3.16228 },
};

/* A hard matte spread by a pixel's distance just reaches that pixel; spread by less it does not. */
static void reaches_pixels_at_their_distance(void **state)
{
    (void)state;
    struct picture in = pattern_picture(rect_of(0, 0, 9, 7), HAS_A, 0);
    struct picture out = pattern_picture(in.area, HAS_A, 0);
    for (int32_t y = 0; y < 7; y++) {
        for (int32_t x = 0; x < 9; x++)
            picture_row(&in, PLANE_A, y)[x] = distances[y][x] == 0;
    }
    for (int32_t y = 0; y < 7; y++) {
        for (int32_t x = 0; x < 9; x++) {
            if (distances[y][x] == 0)
                continue;
            disc(&out, &in, DISC_LARGEST, distances[y][x] + 1e-5);
            assert_true(pattern_at(&out, PLANE_A, x, y) > 0.9999f);
            disc(&out, &in, DISC_LARGEST, distances[y][x] - 0.05);
            assert_true(pattern_at(&out, PLANE_A, x, y) < 0.98f);
        }
    }
    picture_release(&in);
    picture_release(&out);
}

/* A soft straight edge in any direction keeps its profile and moves by the radius. */
static void moves_edges_by_the_radius(void **state)
{
    (void)state;
    static const double radii[] = { 0.3, 0.7, 1, 2.5, 7.75, 20.2 };
    const struct rect area = rect_of(0, 0, 80, 80);
    for (int i = 0; i < 6 * 16; i++) {
        const double radius = radii[i / 16], angle = i % 16 * 0.41;
        const double nx = cos(angle), ny = sin(angle);
        struct picture in = pattern_picture(area, HAS_A, 0), out = pattern_picture(rect_of(30, 30, 50, 50), HAS_A, 0);
        for (int32_t y = 0; y < 80; y++) {
            for (int32_t x = 0; x < 80; x++)
                picture_row(&in, PLANE_A, y)[x] = (float)(0.5 + ((x - 40) * nx + (y - 40) * ny) / 200);
        }
        disc(&out, &in, DISC_LEAST, radius);
        for (int32_t y = 30; y < 50; y++) {
            for (int32_t x = 30; x < 50; x++) {
                const double moved = 0.5 + ((x - 40) * nx + (y - 40) * ny - radius) / 200;
                assert_true(fabs((double)pattern_at(&out, PLANE_A, x, y) - moved) * 200 < 0.0165);
            }
        }
        picture_release(&in);
        picture_release(&out);
    }
}

static void keeps_flat_parts_to_the_bit(void **state)
{
    (void)state;
    struct picture in = pattern_picture(rect_of(0, 0, 20, 12), HAS_A, 0);
    struct picture out = pattern_picture(in.area, HAS_A, 1);
    picture_fill(&in, PLANE_A, in.area, 0.9371f);
    disc(&out, &in, DISC_LEAST, 0.7);
    pattern_assert_same(&out, &in, PLANE_A);
    disc(&out, &in, DISC_LARGEST, 3.3);
    pattern_assert_same(&out, &in, PLANE_A);
    struct picture noise = pattern_picture(in.area, HAS_A, 9);
    disc(&out, &noise, DISC_LEAST, 0);
    pattern_assert_same(&out, &noise, PLANE_A);
    picture_release(&in);
    picture_release(&out);
    picture_release(&noise);
}

/* A hair one pixel wide gets fainter the more it is choked, without a jump. */
static void thin_hair_fades(void **state)
{
    (void)state;
    struct picture in = pattern_picture(rect_of(0, 0, 9, 9), HAS_A, 0), out = pattern_picture(in.area, HAS_A, 0);
    picture_fill(&in, PLANE_A, in.area, 0);
    picture_fill(&in, PLANE_A, rect_of(4, 0, 5, 9), 0.6f);
    for (int i = 0; i <= 20; i++) {
        disc(&out, &in, DISC_LEAST, i / 20.0);
        assert_true(fabs((double)pattern_at(&out, PLANE_A, 4, 4) - 0.6 * (1 - i / 20.0)) < 1e-6);
    }
    picture_release(&in);
    picture_release(&out);
}

static void tiles_fit_together(void **state)
{
    (void)state;
    static const double radii[] = { 0.7, 4.2, 16.9 };
    const struct rect area = rect_of(0, 0, 61, 47);
    struct picture in = pattern_picture(area, HAS_A, 5);
    for (int i = 0; i < 3; i++) {
        struct picture whole = pattern_picture(area, HAS_A, 6);
        disc(&whole, &in, DISC_LEAST, radii[i]);
        for (int32_t y = 0; y < area.y1; y += 11) {
            const struct rect tile = rect_cut(rect_of(y, y, y + 17, y + 11), area);
            const int32_t reach = disc_reach(radii[i]);
            const struct picture near = picture_part(&in, rect_cut(rect_grow(tile, reach, reach), area));
            struct picture out = pattern_picture(tile, HAS_A, 7);
            disc(&out, &near, DISC_LEAST, radii[i]);
            pattern_assert_same(&out, &whole, PLANE_A);
            picture_release(&out);
        }
        picture_release(&whole);
    }
    picture_release(&in);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(equals_a_search),           cmocka_unit_test(reaches_pixels_at_their_distance),
        cmocka_unit_test(moves_edges_by_the_radius), cmocka_unit_test(keeps_flat_parts_to_the_bit),
        cmocka_unit_test(thin_hair_fades),           cmocka_unit_test(tiles_fit_together),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
