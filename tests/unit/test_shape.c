/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Generated pictures: shapes with and without feather, ramps, flats.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "kinds/kinds.h"
#include "pattern.h"
#include "stage.h"

#define SHOT "shot storm\n  frames 1001-1010\n  size 40x21\n"

static const struct kind *const kinds[] = { &kind_curve, &kind_ramp, &kind_shape, NULL };

static double at(const struct picture *picture, enum plane plane, int32_t x, int32_t y)
{
    const struct rect area = picture->area;
    if (x < area.x0 || x >= area.x1 || y < area.y0 || y >= area.y1)
        return 0;
    return (double)pattern_at(picture, plane, x, y);
}

/* The part of pixel v that lies in lo … hi. */
static double part(double lo, double hi, int v)
{
    return fmax(0, fmin(hi, v + 1) - fmax(lo, v));
}

static void polygon_moves_with_its_keys(void **state)
{
    (void)state;
    struct stage stage;
    stage_init(&stage, SHOT "s = shape\n  polygon [1001 3 2 9 2 9 8 3 8, 1005 5 2 11 2 11 8 5 8] px\n", kinds);
    for (int f = 1001; f <= 1006; f++) {
        struct picture out = stage_picture(&stage, "s", f, HAS_A);
        const double x0 = 3 + 0.5 * fmin(f - 1001, 4);
        for (int32_t y = 0; y < 21; y++) {
            for (int32_t x = 0; x < 40; x++)
                assert_true(fabs(at(&out, PLANE_A, x, y) - part(x0, x0 + 6, x) * part(2, 8, y)) < 1e-6);
        }
        picture_release(&out);
    }
    stage_release(&stage);
}

static double smooth(double t)
{
    t = fmin(fmax(t, 0), 1);
    return t * t * (3 - 2 * t);
}

/* A straight edge at x = 20.5 through the whole picture: the feather follows the distance from it. */
static void feather_lies_on_its_side(void **state)
{
    (void)state;
    struct stage stage;
    stage_init(&stage,
               SHOT "both = shape\n  polygon 20.5 -99 99 -99 99 99 20.5 99 px\n  feather 8 px\n"
                    "inner = shape\n  polygon 20.5 -99 99 -99 99 99 20.5 99 px\n  feather 8 px inside\n"
                    "outer = shape\n  polygon 20.5 -99 99 -99 99 99 20.5 99 px\n  feather 8 px outside\n"
                    "uneven = shape\n  polygon 20.5 -99 99 -99 99 99 20.5 99 px\n  feather 6 px outside other 2 px\n"
                    "inward = shape\n  polygon 20.5 -99 99 -99 99 99 20.5 99 px\n  feather 6 px inside other 2 px\n"
                    "little = shape\n  polygon 20.5 -99 99 -99 99 99 20.5 99 px\n  feather 0.25 px\n",
               kinds);
    static const char *const names[] = { "both", "inner", "outer", "uneven", "inward" };
    static const double starts[] = { 0.5, 0, 1, 0.75, 0.25 };
    for (int i = 0; i < 5; i++) {
        struct picture out = stage_picture(&stage, names[i], 1001, HAS_A);
        for (int32_t y = 0; y < 21; y++) {
            for (int32_t x = 0; x < 40; x++)
                assert_true(fabs(at(&out, PLANE_A, x, y) - smooth(starts[i] + (x + 0.5 - 20.5) / 8)) < 1e-6);
        }
        picture_release(&out);
    }
    /* Below a pixel: a quarter of the soft edge, three of the exact area. */
    struct picture out = stage_picture(&stage, "little", 1001, HAS_A);
    assert_true(fabs(at(&out, PLANE_A, 20, 5) - (0.75 * 0.5 + 0.25 * smooth(0.5))) < 1e-6);
    assert_true(fabs(at(&out, PLANE_A, 21, 5) - 1) < 1e-6);
    picture_release(&out);
    stage_release(&stage);
}

/* A feathered disc is the same in every direction, and follows the distance from its rim. */
static void feathered_ellipse_is_round(void **state)
{
    (void)state;
    struct stage stage;
    stage_init(&stage, SHOT "s = shape\n  ellipse 20 10 6 6 px\n  feather 4 px outside\n", kinds);
    struct picture out = stage_picture(&stage, "s", 1001, HAS_A);
    assert_true(rect_same(out.area, rect_of(10, 0, 30, 20)));
    for (int32_t y = 0; y < 21; y++) {
        for (int32_t x = 0; x < 40; x++) {
            const double distance = 6 - hypot(x + 0.5 - 20, y + 0.5 - 10);
            /* The outline may run 1/64 pixel inside the ellipse. */
            assert_true(fabs(at(&out, PLANE_A, x, y) - smooth(1 + distance / 4)) < 1.5 / 64 / 4 + 1e-6);
        }
    }
    picture_release(&out);
    stage_release(&stage);
}

static void figures_are_joined(void **state)
{
    (void)state;
    struct stage stage;
    stage_init(&stage,
               SHOT "s = shape\n  polygon 2 2 8.5 2 8.5 6 2 6 px\n  polygon 8.5 2 30 2 30 6 8.5 6 px\n"
                    "  ellipse 500 500 3 2 px turn 30 deg\n",
               kinds);
    struct picture out = stage_picture(&stage, "s", 1001, HAS_A);
    assert_true(rect_same(out.area, rect_of(2, 2, 40, 21)));
    assert_true(at(&out, PLANE_A, 5, 3) == 1 && at(&out, PLANE_A, 20, 3) == 1);
    assert_true(at(&out, PLANE_A, 8, 3) == 0.75); /* 1 - (1 - 1/2)(1 - 1/2) */
    assert_true(at(&out, PLANE_A, 35, 3) == 0 && at(&out, PLANE_A, 5, 7) == 0);
    picture_release(&out);
    stage_release(&stage);
}

static void shape_mistakes_are_told(void **state)
{
    (void)state;
    struct stage stage;
    struct picture out;
    struct picture_info info;
    struct passel_error error;
    stage_init(&stage,
               SHOT "odd = shape\n  polygon 1 1 9 1 9 9 5 px\nnone = shape\n  feather 2 px\n"
                    "side = shape\n  ellipse 9 9 5 5 px\n  feather 2 px other 1 px\n",
               kinds);
    assert_int_equal(stage_make(&stage, "side", 1001, 1, HAS_A, 64, &out, &info, &error), PASSEL_BAD_RECIPE);
    assert_non_null(strstr(error.text, "the other side of what?"));
    assert_int_equal(stage_make(&stage, "odd", 1001, 1, HAS_A, 64, &out, &info, &error), PASSEL_BAD_RECIPE);
    assert_non_null(strstr(error.text, "not 7 numbers"));
    assert_int_equal(stage_make(&stage, "none", 1001, 1, HAS_A, 64, &out, &info, &error), PASSEL_BAD_RECIPE);
    assert_non_null(strstr(error.text, "a shape needs an outline"));
    stage_release(&stage);
}

static void ramp_runs_from_colour_to_colour(void **state)
{
    (void)state;
    struct stage stage;
    stage_init(&stage,
               SHOT "sky = ramp\n  from 10 0 px colour 0 0.2 0.8\n  through 25% colour 1 0.4 0.4 alpha 0.5\n"
                    "  to 30 0 px colour 4 0 0\n",
               kinds);
    struct picture out = stage_picture(&stage, "sky", 1001, HAS_RGBA);
    static const double stops[3][4] = { { 0, 0.2, 0.8, 1 }, { 0.5, 0.2, 0.2, 0.5 }, { 4, 0, 0, 1 } };
    for (int32_t x = 0; x < 40; x++) {
        const double place = fmin(fmax((x + 0.5 - 10) / 20, 0), 1);
        const int i = place >= 0.25;
        const double t = i ? (place - 0.25) / 0.75 : place / 0.25;
        for (int p = 0; p < PLANE_COUNT; p++)
            assert_true(fabs(at(&out, (enum plane)p, x, 7) - (stops[i][p] + t * (stops[i + 1][p] - stops[i][p]))) <
                        1e-6);
    }
    picture_release(&out);
    stage_release(&stage);
}

static void ramp_can_be_round_and_smooth(void **state)
{
    (void)state;
    struct stage stage;
    stage_init(&stage,
               SHOT
               "glow = ramp\n  from 20 10 px colour 1 1 1\n  to 20 18 px colour 0 0 0\n  form round\n  pace smooth\n"
               "point = ramp\n  from 20 10 px colour 1 1 1\n  to 20 10 px colour 0.25 0 0\n",
               kinds);
    struct picture out = stage_picture(&stage, "glow", 1001, HAS_RGB);
    for (int32_t y = 0; y < 21; y++) {
        for (int32_t x = 0; x < 40; x++)
            assert_true(fabs(at(&out, PLANE_R, x, y) - (1 - smooth(hypot(x - 19.5, y - 9.5) / 8))) < 1e-6);
    }
    picture_release(&out);
    out = stage_picture(&stage, "point", 1001, HAS_RGB);
    assert_true(at(&out, PLANE_R, 3, 3) == 0.25);
    picture_release(&out);
    stage_release(&stage);
}

static void ramp_wants_colours(void **state)
{
    (void)state;
    struct stage stage;
    struct picture out;
    struct picture_info info;
    struct passel_error error;
    stage_init(&stage, SHOT "sky = ramp\n  from 1 1 px\n  to 5 5 px colour 1 1 1\n", kinds);
    assert_int_equal(stage_make(&stage, "sky", 1001, 1, HAS_RGB, 64, &out, &info, &error), PASSEL_BAD_RECIPE);
    assert_non_null(strstr(error.text, "`colour R G B`"));
    stage_release(&stage);
}

static void flat_is_one_colour(void **state)
{
    (void)state;
    struct stage stage;
    struct picture out;
    struct picture_info info;
    stage_init(&stage,
               SHOT "dusk = flat\n  colour [1001 1 2 -0.5, 1003 3 2 -0.5]\n  alpha 50%\n"
                    "card = flat\n  colour 0.18 0.18 0.18\n  size 9x5\n",
               kinds);
    out = stage_picture(&stage, "dusk", 1002, HAS_RGBA);
    assert_true(rect_same(out.area, rect_of(0, 0, 40, 21)));
    static const double colour[] = { 1, 1, -0.25, 0.5 };
    for (int p = 0; p < PLANE_COUNT; p++)
        assert_true(at(&out, (enum plane)p, 39, 20) == colour[p]);
    picture_release(&out);
    assert_int_equal(stage_make(&stage, "card", 1001, 2, HAS_RGBA, 64, &out, &info, NULL), PASSEL_OK);
    assert_true(rect_same(info.display, rect_of(0, 0, 5, 3)) && rect_same(info.data, info.display));
    assert_true(at(&out, PLANE_A, 4, 2) == 1 && pattern_at(&out, PLANE_G, 4, 2) == 0.18f);
    picture_release(&out);
    stage_release(&stage);
}

static void survive_no_memory(void **state)
{
    (void)state;
    struct stage stage;
    stage_init(&stage,
               SHOT "s = shape\n  ellipse 20 10 6 6 px\n  feather 4 px\n"
                    "sky = ramp\n  from 1 1 px colour 0 0 0\n  to 5 5 px colour 1 1 1\n"
                    "dusk = flat\n  colour 1 1 1\n",
               kinds);
    stage_survives_no_memory(&stage, "s", HAS_A);
    stage_survives_no_memory(&stage, "sky", HAS_RGB);
    stage_survives_no_memory(&stage, "dusk", HAS_RGBA);
    stage_release(&stage);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(polygon_moves_with_its_keys),  cmocka_unit_test(feather_lies_on_its_side),
        cmocka_unit_test(feathered_ellipse_is_round),   cmocka_unit_test(figures_are_joined),
        cmocka_unit_test(shape_mistakes_are_told),      cmocka_unit_test(ramp_runs_from_colour_to_colour),
        cmocka_unit_test(ramp_can_be_round_and_smooth), cmocka_unit_test(ramp_wants_colours),
        cmocka_unit_test(flat_is_one_colour),           cmocka_unit_test(survive_no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
