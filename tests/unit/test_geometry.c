/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/* Transforms, the rectangles they lead to, and coverage. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "picture/coverage.h"
#include "picture/geometry.h"

/* Output → input: turned by `degrees` and made `size` times as large about (x, y). */
static struct transform turned(double degrees, double size, double x, double y)
{
    const double angle = degrees * acos(-1) / 180, c = cos(angle) / size, s = sin(angle) / size;
    const struct transform t = { { c, s, x - c * x - s * y, -s, c, y + s * x - c * y, 0, 0, 1 } };
    return t;
}

static struct transform moved(double x, double y)
{
    const struct transform t = { { 1, 0, -x, 0, 1, -y, 0, 0, 1 } };
    return t;
}

static struct transform in_perspective(void)
{
    const struct transform t = { { 1.1, 0.2, -3, -0.1, 0.9, 4, 0.002, 0.004, 1 } };
    return t;
}

static void assert_near(double a, double b, double tolerance)
{
    if (!(fabs(a - b) <= tolerance))
        fail_msg("%.12g is not %.12g within %g", a, b, tolerance);
}

static void test_chain_is_first_a_then_b(void **state)
{
    (void)state;
    const struct transform a = in_perspective(), b = turned(31, 1.7, 12, -5);
    const struct transform both = transform_chain(a, b);
    for (double x = -20; x < 50; x += 7)
        for (double y = -20; y < 50; y += 9) {
            double ax, ay, bx, by, cx, cy;
            transform_point(&a, x, y, &ax, &ay);
            transform_point(&b, ax, ay, &bx, &by);
            transform_point(&both, x, y, &cx, &cy);
            assert_near(bx, cx, 1e-10);
            assert_near(by, cy, 1e-10);
        }
}

static void test_inverse(void **state)
{
    (void)state;
    const struct transform all[] = { in_perspective(), turned(200, 0.3, 4, 5), moved(3.25, -7) };
    for (int i = 0; i < 3; i++) {
        struct transform back;
        assert_true(transform_invert(all[i], &back));
        double x, y;
        transform_point(&all[i], 17.5, -3.25, &x, &y);
        transform_point(&back, x, y, &x, &y);
        assert_near(x, 17.5, 1e-10);
        assert_near(y, -3.25, 1e-10);
    }
    struct transform back;
    assert_true(transform_invert(all[1], &back));
    assert_true(back.m[6] == 0 && back.m[7] == 0 && back.m[8] == 1); /* affine stays affine, exactly */
    const struct transform flat = { { 1, 2, 0, 2, 4, 0, 0, 0, 1 } };
    assert_false(transform_invert(flat, &back));
}

static void test_shift(void **state)
{
    (void)state;
    int32_t dx = 0, dy = 0;
    struct transform t = moved(-3, 12);
    assert_true(transform_is_shift(&t, &dx, &dy));
    assert_true(dx == 3 && dy == -12);
    t = transform_chain(moved(0.1, 0), transform_chain(moved(0.2, 0), moved(0.7, 0)));
    assert_true(transform_is_shift(&t, &dx, &dy) && dx == -1 && dy == 0);
    const struct transform others[] = { moved(0.5, 0),           moved(0, 1e-6),   turned(90, 1, 0, 0),
                                        turned(0, 1.0001, 5, 5), in_perspective(), moved(1e12, 0) };
    for (int i = 0; i < 6; i++)
        assert_false(transform_is_shift(&others[i], &dx, &dy));
    t = transform_identity();
    assert_false(transform_wants_spline(&t, FILTER_SPLINE));
    assert_true(transform_wants_spline(&others[0], FILTER_SPLINE));
    assert_false(transform_wants_spline(&others[0], FILTER_LANCZOS));
}

static void test_reach_out(void **state)
{
    (void)state;
    const struct rect input = rect_of(0, 0, 10, 6);
    struct transform t = moved(3, -2);
    assert_true(rect_same(transform_reach_out(&t, FILTER_SPLINE, input), rect_of(3, -2, 13, 4)));
    t = moved(0.25, 0);
    assert_true(rect_same(transform_reach_out(&t, FILTER_SPLINE, input), rect_of(0, 0, 11, 6)));
    t = turned(90, 1, 5, 5); /* clockwise as seen: the left edge goes up */
    assert_true(rect_same(transform_reach_out(&t, FILTER_LINEAR, input), rect_of(4, 0, 10, 10)));
    t = turned(0, 0.5, 0, 0);
    assert_true(rect_same(transform_reach_out(&t, FILTER_LINEAR, input), rect_of(0, 0, 5, 3)));
    assert_true(rect_empty(transform_reach_out(&t, FILTER_LINEAR, rect_of(4, 4, 4, 9))));
}

/* Every pixel with coverage lies within reach_out, and every position that a covered pixel reads within reach_in. */
static void test_reaches_hold_what_is_covered(void **state)
{
    (void)state;
    const struct rect input = rect_of(-4, 3, 37, 30);
    const struct transform all[] = { turned(33, 1.3, 10, 8), turned(-71, 0.4, 3, 3), moved(0.4, 0.6),
                                     in_perspective() };
    for (int i = 0; i < 4; i++) {
        const struct rect out = transform_reach_out(&all[i], FILTER_SPLINE, input);
        const double window[4] = { input.x0, input.y0, input.x1, input.y1 };
        struct coverage coverage;
        coverage_init(&coverage, &all[i], window);
        for (int32_t y = out.y0 - 3; y < out.y1 + 3; y++)
            for (int32_t x = out.x0 - 3; x < out.x1 + 3; x++) {
                const bool inside = x >= out.x0 && x < out.x1 && y >= out.y0 && y < out.y1;
                assert_true(inside || coverage_of(&coverage, x, y) == 0);
            }
        const struct rect part = rect_of(out.x0 + 3, out.y0 + 2, out.x0 + 9, out.y0 + 7);
        const struct rect in = transform_reach_in(&all[i], FILTER_SPLINE, part);
        for (int32_t y = part.y0; y < part.y1; y++)
            for (int32_t x = part.x0; x < part.x1; x++) {
                double px, py;
                transform_point(&all[i], x + 0.5, y + 0.5, &px, &py);
                assert_true(px - 3 >= in.x0 && px + 3 <= in.x1 && py - 3 >= in.y0 && py + 3 <= in.y1);
            }
    }
}

static void test_horizon(void **state)
{
    (void)state;
    /* a plane that runs to the horizon at y = -1: what maps far out is cut, not wrapped */
    const struct transform t = { { 1, 0, 0, 0, 1, 0, 0, 1, 1 } };
    const struct rect in = transform_reach_in(&t, FILTER_NEAREST, rect_of(-5, -10, 5, 10));
    assert_true(in.y0 == -RECT_LIMIT && in.y1 <= RECT_LIMIT);
    const struct rect behind = transform_reach_in(&t, FILTER_NEAREST, rect_of(-5, -10, 5, -2));
    assert_true(rect_empty(behind));
    const double window[4] = { -100, -100, 100, 100 };
    struct coverage coverage;
    coverage_init(&coverage, &t, window);
    assert_true(coverage_of(&coverage, 0, -5) == 0);
    assert_true(coverage_of(&coverage, 0, 3) == 1);
}

static void test_reach_held(void **state)
{
    (void)state;
    const struct rect data = rect_of(0, 0, 10, 8);
    assert_true(rect_same(reach_held(rect_of(2, 3, 5, 6), data), rect_of(2, 3, 5, 6)));
    assert_true(rect_same(reach_held(rect_of(-9, 3, 5, 60), data), rect_of(0, 3, 5, 8)));
    assert_true(rect_same(reach_held(rect_of(-9, 3, -5, 6), data), rect_of(0, 3, 1, 6)));
    assert_true(rect_same(reach_held(rect_of(20, 30, 25, 36), data), rect_of(9, 7, 10, 8)));
    assert_true(rect_empty(reach_held(rect_of(2, 3, 2, 6), data)));
    assert_true(rect_empty(reach_held(rect_of(2, 3, 5, 6), rect_of(0, 0, 0, 0))));
}

static float share(const struct transform *t, const double window[4], int32_t x, int32_t y)
{
    struct coverage coverage;
    coverage_init(&coverage, t, window);
    return coverage_of(&coverage, x, y);
}

static void test_coverage_by_hand(void **state)
{
    (void)state;
    const double window[4] = { 0, 0, 4, 4 };
    struct transform t = moved(0.25, 0.5);
    assert_near(share(&t, window, 0, 1), 0.75, 1e-7);
    assert_near(share(&t, window, 4, 1), 0.25, 1e-7);
    assert_near(share(&t, window, 0, 0), 0.375, 1e-7);
    assert_true(share(&t, window, 2, 2) == 1 && share(&t, window, 5, 2) == 0);
    t = turned(45, 1, 0, 0); /* the corner at the origin is now a right angle pointing up */
    assert_near(share(&t, window, 0, 0), 0.5, 1e-7);
    assert_near(share(&t, window, -1, 0), 0.5, 1e-7);
    assert_true(share(&t, window, 0, -1) == 0);
    t = turned(20, 0.05, 0.5, 0.5); /* all of the picture within one pixel: 0.2 x 0.2 */
    const double middle[4] = { -1.5, -1.5, 2.5, 2.5 };
    assert_near(share(&t, middle, 0, 0), 0.04, 1e-7);
    const double nothing[4] = { 3, 0, 1, 4 };
    t = transform_identity();
    for (int32_t x = -1; x < 5; x++)
        assert_true(share(&t, nothing, x, 1) == 0);
}

/* The shares of all pixels add up to the area of the window's image. */
static void test_coverage_adds_up(void **state)
{
    (void)state;
    const double window[4] = { -3, 2, 14, 13 };
    for (double degrees = 0; degrees < 360; degrees += 7.3) {
        const double size = 0.3 + degrees / 200;
        const struct transform t = turned(degrees, size, 1.7, 3.1);
        struct coverage coverage;
        coverage_init(&coverage, &t, window);
        double sum = 0;
        for (int32_t y = -60; y < 60; y++)
            for (int32_t x = -60; x < 60; x++)
                sum += coverage_of(&coverage, x, y);
        assert_near(sum, 17 * 11 * size * size, 1e-4);
    }
}

/* Under a homography too: against the shoelace area of the mapped corners. */
static void test_coverage_in_perspective(void **state)
{
    (void)state;
    const struct transform t = in_perspective();
    struct transform forward;
    const double window[4] = { 2, 3, 40, 33 };
    const double cx[4] = { 2, 40, 40, 2 }, cy[4] = { 3, 3, 33, 33 };
    double x[4], y[4], area = 0, sum = 0;
    assert_true(transform_invert(t, &forward));
    for (int i = 0; i < 4; i++)
        transform_point(&forward, cx[i], cy[i], &x[i], &y[i]);
    for (int i = 0; i < 4; i++)
        area += (x[i] * y[(i + 1) % 4] - x[(i + 1) % 4] * y[i]) / 2;
    struct coverage coverage;
    coverage_init(&coverage, &t, window);
    for (int32_t py = -100; py < 100; py++)
        for (int32_t px = -100; px < 100; px++)
            sum += coverage_of(&coverage, px, py);
    assert_near(sum, area, 1e-4);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_chain_is_first_a_then_b),
        cmocka_unit_test(test_inverse),
        cmocka_unit_test(test_shift),
        cmocka_unit_test(test_reach_out),
        cmocka_unit_test(test_reaches_hold_what_is_covered),
        cmocka_unit_test(test_horizon),
        cmocka_unit_test(test_reach_held),
        cmocka_unit_test(test_coverage_by_hand),
        cmocka_unit_test(test_coverage_adds_up),
        cmocka_unit_test(test_coverage_in_perspective),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
