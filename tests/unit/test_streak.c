/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * streak: what `longer` does to a single point of light, measured by its moments; what `thinner` leaves of a bar, of a
 * soft streak and of noise.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "kinds/kinds.h"
#include "numerics/seeded.h"
#include "pattern.h"
#include "stage.h"

enum { SIDE = 101, MIDDLE = 50 };

static const struct kind *const kinds[] = { &kind_streak, NULL };
static const struct rect window = { 0, 0, SIDE, SIDE };

typedef double light_function(double x, double y);

/* The streaks of a picture of this light, its channels 1, 1/2 and 1/4 of it. */
static struct picture streaks(light_function *light, const char *settings, unsigned planes)
{
    char text[1024];
    struct stage stage;
    struct stage_input input = { .name = "rain", .display = window };
    assert_int_equal(picture_new(&input.picture, window, HAS_RGB, NULL), PASSEL_OK);
    for (int32_t y = 0; y < SIDE; y++) {
        for (int32_t x = 0; x < SIDE; x++) {
            for (int p = 0; p < 3; p++)
                picture_row(&input.picture, (enum plane)p, y)[x] = (float)(light(x, y) / (1 << p));
        }
    }
    snprintf(text, sizeof text,
             "shot storm\n  frames 1001\n  size %dx%d\nrain = flat\n  colour 0 0 0\nout = streak rain\n%s", SIDE, SIDE,
             settings);
    stage_init(&stage, text, kinds);
    stage.inputs = &input;
    stage.input_count = 1;
    struct picture out = stage_picture(&stage, "out", 1001, planes);
    stage_release(&stage);
    picture_release(&input.picture);
    return out;
}

static double point(double x, double y)
{
    return x == MIDDLE && y == MIDDLE ? 8 : 0;
}

static double bar(double x, double y)
{
    (void)y;
    return x >= MIDDLE - 4 && x <= MIDDLE + 4 ? 0.8 : 0;
}

/* Runs down and 30 degrees to the left of straight down. */
static double aslant(double x, double y)
{
    const double u = (x - MIDDLE) * 0.8660254037844386 + (y - MIDDLE) * 0.5;
    return 0.8 * exp(-u * u / (2 * 3 * 3));
}

static double noise(double x, double y)
{
    double sum = 0;
    for (int i = 0; i < 12; i++)
        sum += seeded_share(7, (uint64_t)i, (int64_t)y * SIDE + (int64_t)x);
    return 0.002 * (sum - 6);
}

struct moments {
    double light, along, across; /* variances */
};

static struct moments moments_of(const struct picture *picture, double degrees)
{
    const double c = cos(degrees / 180 * acos(-1.0)), s = sin(degrees / 180 * acos(-1.0));
    struct moments m = { 0 };
    for (int32_t y = 0; y < SIDE; y++) {
        for (int32_t x = 0; x < SIDE; x++) {
            const double light = (double)pattern_at(picture, PLANE_R, x, y), u = x - MIDDLE, v = y - MIDDLE;
            m.light += light;
            m.along += light * (u * c + v * s) * (u * c + v * s);
            m.across += light * (v * c - u * s) * (v * c - u * s);
        }
    }
    m.along /= m.light;
    m.across /= m.light;
    return m;
}

/* The light of a point is all there, spread evenly over the length: variance L^2 / 12; across it there is no more than
 * what lies between pixels. */
static void light_is_spread(void **state)
{
    static const double angles[] = { 0, 30, 45, 78, 90, 117, 135, 200, -60 };
    static const double lengths[] = { 3, 10, 24.6, 60 };
    (void)state;
    for (int i = 0; i < 9; i++) {
        for (int k = 0; k < 4; k++) {
            char settings[128];
            snprintf(settings, sizeof settings, "  along %g deg\n  longer %g px\n", angles[i], lengths[k]);
            struct picture out = streaks(point, settings, HAS_RGB);
            const struct moments m = moments_of(&out, angles[i]);
            assert_true(fabs(m.light - 8) < 1e-5);
            assert_true(fabs(m.along - lengths[k] * lengths[k] / 12) < 0.35);
            assert_true(m.across < 0.3);
            for (int p = 1; p < 3; p++)
                assert_true(fabsf(pattern_at(&out, (enum plane)p, MIDDLE, MIDDLE) * (float)(1 << p) -
                                  pattern_at(&out, PLANE_R, MIDDLE, MIDDLE)) < 1e-6F);
            picture_release(&out);
        }
    }
}

static void five_rows_are_a_mean_of_five(void **state)
{
    (void)state;
    struct picture out = streaks(noise, "  longer 5 px\n", HAS_RGB);
    for (int32_t y = 2; y < SIDE - 2; y++) {
        for (int32_t x = 0; x < SIDE; x++) {
            double sum = 0;
            for (int k = -2; k <= 2; k++)
                sum += (double)(float)noise(x, y + k) / 5;
            assert_true(fabs((double)pattern_at(&out, PLANE_R, x, y) - sum) < 1e-9);
        }
    }
    picture_release(&out);
}

static void nothing_is_done_when_nothing_is_said(void **state)
{
    (void)state;
    struct picture out = streaks(noise, "", HAS_RGB);
    for (int32_t i = 0; i < SIDE * SIDE; i++)
        assert_true(pattern_at(&out, PLANE_G, i % SIDE, i / SIDE) == (float)(noise(i % SIDE, i / SIDE) / 2));
    picture_release(&out);
}

/* Nine pixels wide, less four: five, as bright as before; to the edge of the picture. What goes keeps n / (s + n), and
 * its channels together are 7 / 12 of the first. */
static void a_bar_loses_its_flanks(void **state)
{
    const double gone = 0.8 * 0.005 / (0.8 * 7 / 12 + 0.005);
    (void)state;
    struct picture out = streaks(bar, "  thinner 4 px\n", HAS_RGB);
    for (int32_t i = 0; i < SIDE * SIDE; i++) {
        const int32_t x = i % SIDE, y = i / SIDE;
        const float light = pattern_at(&out, PLANE_B, x, y) * 4;
        if (x >= MIDDLE - 2 && x <= MIDDLE + 2)
            assert_true(light == 0.8F);
        else
            assert_true(light == 0 || fabs((double)light - gone) < 1e-6);
    }
    picture_release(&out);
    out = streaks(bar, "  thinner 10 px\n", HAS_RGB);
    for (int32_t x = 0; x < SIDE; x++)
        assert_true((double)pattern_at(&out, PLANE_R, x, 3) < gone + 1e-6);
    picture_release(&out);
}

/* exp(-x^2 / 2 s^2) becomes exp(-(|x| + w/2)^2 / 2 s^2), whichever way it runs. */
static void a_soft_streak_grows_thin(void **state)
{
    (void)state;
    struct picture out = streaks(aslant, "  along 120 deg\n  thinner 3 px\n", HAS_RGB);
    for (int32_t i = 0; i < SIDE * SIDE; i++) {
        const int32_t x = i % SIDE, y = i / SIDE;
        if (x < 12 || y < 12 || x >= SIDE - 12 || y >= SIDE - 12)
            continue; /* beyond the frame its edge goes on, and a streak aslant does not */
        const double u = fabs((x - MIDDLE) * 0.8660254037844386 + (y - MIDDLE) * 0.5) + 1.5;
        const double wanted = 0.8 * exp(-u * u / (2 * 3 * 3));
        assert_true(fabs((double)pattern_at(&out, PLANE_R, x, y) - wanted) < 0.012);
    }
    picture_release(&out);
}

/* Bug to guard against: the smaller of two noises is darker than black, and every rain position would sink it. */
static void black_stays_black(void **state)
{
    (void)state;
    double before = 0, after = 0;
    struct picture out = streaks(noise, "  thinner 3 px\n", HAS_RGB);
    for (int32_t i = 0; i < SIDE * SIDE; i++) {
        before += noise(i % SIDE, i / SIDE) / (SIDE * SIDE);
        after += (double)pattern_at(&out, PLANE_R, i % SIDE, i / SIDE) / (SIDE * SIDE);
    }
    assert_true(fabs(after - before) < 0.00005);
    picture_release(&out);
}

static void survives_no_memory(void **state)
{
    (void)state;
    struct stage stage;
    struct stage_input input = { "rain", pattern_picture(window, HAS_RGB, 1), window };
    stage_init(&stage,
               "shot storm\n  frames 1001\n  size 101x101\nrain = flat\n  colour 0 0 0\n"
               "out = streak rain\n  longer 10 px\n  thinner 2 px\n",
               kinds);
    stage.inputs = &input;
    stage.input_count = 1;
    stage_survives_no_memory(&stage, "out", HAS_RGB);
    stage_release(&stage);
    picture_release(&input.picture);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(light_is_spread),
        cmocka_unit_test(five_rows_are_a_mean_of_five),
        cmocka_unit_test(nothing_is_done_when_nothing_is_said),
        cmocka_unit_test(a_bar_loses_its_flanks),
        cmocka_unit_test(a_soft_streak_grows_thin),
        cmocka_unit_test(black_stays_black),
        cmocka_unit_test(survives_no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
