/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Matte steps against their formulas, alone and in a row, at the borders and over frames.
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

#define TEXT                                                                                                           \
    "shot storm\n  frames 1001-1010\n  size 40x21\n"                                                                   \
    "cut = flat\n  colour 0 0 0\n"                                                                                     \
    "hold = flat\n  colour 0 0 0\n"                                                                                    \
    "night = flat\n  colour 0 0 0\n"

static const struct kind *const kinds[] = { &kind_matte, NULL };
static const struct rect window = { 0, 0, 40, 21 };

struct set {
    struct stage stage;
    struct stage_input inputs[3];
};

/* cut: with alpha, larger than the shot on one side; hold: a matte, a part; night: colour alone. Alphas leave 0 … 1. */
static void set_init(struct set *set, const char *text)
{
    static const char *const names[] = { "cut", "hold", "night" };
    static const unsigned planes[] = { HAS_RGBA, HAS_A, HAS_RGB };
    const struct rect areas[] = { { -4, 0, 36, 21 }, { 10, 3, 30, 24 }, window };
    for (int i = 0; i < 3; i++) {
        struct picture picture = pattern_picture(areas[i], planes[i], (uint32_t)i + 1);
        for (int32_t y = areas[i].y0; y < areas[i].y1 && i < 2; y++) {
            float *row = picture_row(&picture, PLANE_A, y);
            for (int32_t x = 0; x < rect_width(areas[i]); x++)
                row[x] = row[x] * 1.4f - 0.2f;
        }
        set->inputs[i] = (struct stage_input){ names[i], picture, window };
    }
    stage_init(&set->stage, text, kinds);
    set->stage.inputs = set->inputs;
    set->stage.input_count = 3;
}

static void set_release(struct set *set)
{
    stage_release(&set->stage);
    for (int i = 0; i < 3; i++)
        picture_release(&set->inputs[i].picture);
}

static double alpha_at(const struct set *set, int i, int32_t x, int32_t y)
{
    const struct picture *picture = &set->inputs[i].picture;
    const struct rect area = picture->area;
    if (x < area.x0 || x >= area.x1 || y < area.y0 || y >= area.y1)
        return 0;
    return (double)pattern_at(picture, PLANE_A, x, y);
}

static double clamped(double v)
{
    return fmin(fmax(v, 0), 1);
}

typedef double formula(double a, double b);

static double floor_and_ceiling(double a, double b)
{
    (void)b;
    return clamped((a - 0.1) / (0.9 - 0.1));
}

static double ceiling(double a, double b)
{
    (void)b;
    return clamped(a / 0.8);
}

static double inverse(double a, double b)
{
    (void)b;
    return 1 - a;
}

static double minus(double a, double b)
{
    return a * (1 - clamped(b));
}

static double joined(double a, double b)
{
    return a + clamped(b) - a * clamped(b);
}

static double within(double a, double b)
{
    return a * clamped(b);
}

static void steps_as_designed(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        formula *formula;
        const char *asked;
    } steps[] = {
        { TEXT "edge = matte cut\n  floor 10% ceiling 90%\n", floor_and_ceiling, "cut:A" },
        { TEXT "edge = matte cut\n  ceiling 0.8\n", ceiling, "cut:A" },
        { TEXT "edge = matte cut\n  invert\n", inverse, "cut:A" },
        { TEXT "edge = matte cut\n  minus hold\n", minus, "cut:A hold:A" },
        { TEXT "edge = matte cut\n  union hold\n", joined, "cut:A hold:A" },
        { TEXT "edge = matte cut\n  within hold\n", within, "cut:A hold:A" },
    };
    for (size_t i = 0; i < sizeof steps / sizeof *steps; i++) {
        struct set set;
        set_init(&set, steps[i].text);
        struct picture out = stage_picture(&set.stage, "edge", 1001, HAS_A);
        assert_string_equal(set.stage.asked, steps[i].asked);
        assert_true(rect_same(out.area, rect_of(-4, 0, 40, 21)));
        for (int32_t y = 0; y < 21; y++) {
            for (int32_t x = -4; x < 40; x++) {
                const double made = steps[i].formula(alpha_at(&set, 0, x, y), alpha_at(&set, 1, x, y));
                assert_true(fabs((double)pattern_at(&out, PLANE_A, x, y) - made) < 4e-7);
            }
        }
        picture_release(&out);
        set_release(&set);
    }
}

/* A hard edge that does not fall on the pixel grid moves by fractions: its area per row says how far. */
static void choke_and_spread_move_the_edge(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        double moved;
    } steps[] = {
        { TEXT "edge = matte cut\n  choke 0.7 px\n", -0.7 },
        { TEXT "edge = matte cut\n  spread 0.35 px\n", 0.35 },
        { TEXT "edge = matte cut\n  choke [1001 0.5, 1003 2.5] px\n", -1.5 },
        { TEXT "edge = matte cut\n  choke 1 px\n  spread 3.25 px\n", 2.25 },
    };
    for (size_t i = 0; i < sizeof steps / sizeof *steps; i++) {
        struct set set;
        set_init(&set, steps[i].text);
        struct picture *cut = &set.inputs[0].picture;
        picture_fill(cut, PLANE_A, cut->area, 0);
        picture_fill(cut, PLANE_A, rect_of(-4, 0, 15, 21), 1);
        picture_fill(cut, PLANE_A, rect_of(15, 0, 16, 21), 0.3f);
        struct picture out = stage_picture(&set.stage, "edge", 1002, HAS_A);
        for (int32_t y = 0; y < 21; y++) {
            double sum = 0;
            for (int32_t x = -4; x < 40; x++)
                sum += (double)pattern_at(&out, PLANE_A, x, y);
            assert_true(fabs(sum - (19.3 + steps[i].moved)) < 1e-5);
            /* The border of the frame is no edge. */
            assert_true(pattern_at(&out, PLANE_A, -4, y) == 1);
        }
        picture_release(&out);
        set_release(&set);
    }
}

static void soften_keeps_the_amount_and_the_border(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, TEXT "edge = matte cut\n  soften 1 px\n");
    struct picture *cut = &set.inputs[0].picture;
    picture_fill(cut, PLANE_A, cut->area, 0);
    picture_fill(cut, PLANE_A, rect_of(-4, 0, 15, 21), 1);
    struct picture out = stage_picture(&set.stage, "edge", 1001, HAS_A);
    /* source: taps of a Gaussian of standard deviation 1, computed with scipy 1.10 */
    static const double edge[] = { 0.9955669, 0.9415614, 0.6995251, 0.3004749, 0.0584386, 0.0044330 };
    for (int32_t y = 0; y < 21; y++) {
        for (int32_t x = 0; x < 6; x++)
            assert_true(fabs((double)pattern_at(&out, PLANE_A, 12 + x, y) - edge[x]) < 3e-7);
        assert_true(fabs((double)pattern_at(&out, PLANE_A, -4, y) - 1) < 3e-7);
    }
    picture_release(&out);
    set_release(&set);
}

/* Many steps that look around: tiles are compared with the whole inside stage_picture. The order counts. */
static void steps_follow_each_other(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, TEXT "edge = matte cut\n  floor 5%\n  choke 0.7 px\n  minus hold\n  soften 0.8 px\n"
                        "  union hold\n  spread 1.2 px\n  invert\n"
                        "first = matte cut\n  spread 1 px\n  minus hold\n"
                        "last = matte cut\n  minus hold\n  spread 1 px\n"
                        "same = matte cut\n  choke 0 px\n  soften 0 px\n");
    struct picture out = stage_picture(&set.stage, "edge", 1001, HAS_A);
    picture_release(&out);
    struct picture first = stage_picture(&set.stage, "first", 1001, HAS_A);
    struct picture last = stage_picture(&set.stage, "last", 1001, HAS_A);
    double apart = 0;
    for (int32_t x = 0; x < 40; x++)
        apart += fabs((double)(pattern_at(&first, PLANE_A, x, 10) - pattern_at(&last, PLANE_A, x, 10)));
    assert_true(apart > 1);
    picture_release(&first);
    picture_release(&last);
    out = stage_picture(&set.stage, "same", 1001, HAS_A);
    pattern_assert_same(&out, &set.inputs[0].picture, PLANE_A);
    picture_release(&out);
    set_release(&set);
}

/* At half size a choke of 2 px is one of 1. */
static void pixels_follow_the_scale(void **state)
{
    (void)state;
    struct set set;
    struct picture half, full;
    struct picture_info info;
    set_init(&set, TEXT "two = matte cut\n  choke 2 px\none = matte cut\n  choke 1 px\n");
    assert_int_equal(stage_make(&set.stage, "two", 1001, 2, HAS_A, 64, &half, &info, NULL), PASSEL_OK);
    assert_int_equal(stage_make(&set.stage, "one", 1001, 1, HAS_A, 64, &full, &info, NULL), PASSEL_OK);
    pattern_assert_same(&half, &full, PLANE_A);
    picture_release(&half);
    picture_release(&full);
    set_release(&set);
}

static void refuses_colour_without_alpha(void **state)
{
    (void)state;
    static const char *const texts[] = { TEXT "edge = matte night\n  invert\n",
                                         TEXT "edge = matte cut\n  invert\n  within night\n" };
    for (int i = 0; i < 2; i++) {
        struct set set;
        struct picture out;
        struct picture_info info;
        struct passel_error error;
        set_init(&set, texts[i]);
        assert_int_equal(stage_make(&set.stage, "edge", 1001, 1, HAS_A, 64, &out, &info, &error), PASSEL_BAD_RECIPE);
        assert_non_null(strstr(error.text, "key luma night"));
        set_release(&set);
    }
}

static void survives_no_memory(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, TEXT "edge = matte cut\n  choke 4.5 px\n  soften 1 px\n  minus hold\n");
    stage_survives_no_memory(&set.stage, "edge", HAS_A);
    set_release(&set);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(steps_as_designed),
        cmocka_unit_test(choke_and_spread_move_the_edge),
        cmocka_unit_test(soften_keeps_the_amount_and_the_border),
        cmocka_unit_test(steps_follow_each_other),
        cmocka_unit_test(pixels_follow_the_scale),
        cmocka_unit_test(refuses_colour_without_alpha),
        cmocka_unit_test(survives_no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
