/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Monotone cubic pieces.
 */
#include "numerics/curve.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static void near_to(double seen, double wanted, double slack)
{
    if (!(fabs(seen - wanted) <= slack))
        fail_msg("%.17g instead of %.17g", seen, wanted);
}

/* The paper's formula worked by hand in fractions: with a = (1 + h2 / (h1 + h2)) / 3, the slope is
 * 1 / (a / S1 + (1 - a) / S2). */
static void slopes_are_weighted_harmonic_means(void **state)
{
    (void)state;
    near_to(curve_slope(1. / 2, 2, 3, 1), 27. / 29, 1e-15);
    near_to(curve_slope(3, 1, 1. / 3, 3), 9. / 13, 1e-15);
    near_to(curve_slope(-1. / 2, 2, -3, 1), -27. / 29, 1e-15);
    near_to(curve_slope(2, 1, 2, 5), 2, 1e-15);
}

static void slopes_are_level_where_it_turns(void **state)
{
    (void)state;
    assert_true(curve_slope(1, 1, -1, 1) == 0);
    assert_true(curve_slope(0, 1, 5, 1) == 0);
    assert_true(curve_slope(5, 1, 0, 1) == 0);
    assert_true(curve_slope(NAN, 1, 1, 1) == 0);
}

static void slopes_are_limited(void **state)
{
    (void)state;
    assert_true(curve_slope_limit(2, 1) == 2);
    assert_true(curve_slope_limit(5, 1) == 3);
    assert_true(curve_slope_limit(-5, -1) == -3);
    assert_true(curve_slope_limit(-1, 1) == 0);
    assert_true(curve_slope_limit(1, 0) == 0);
}

/* A cubic with these ends is 3t² - 2t³ when level, and passes its ends exactly. */
static void cubic_has_its_ends(void **state)
{
    (void)state;
    assert_true(curve_cubic(3, 1, 7, 2, 4, 0) == 3);
    assert_true(curve_cubic(3, 1, 7, 2, 4, 1) == 7);
    near_to(curve_cubic(0, 0, 1, 0, 10, 0.25), 3 * 0.0625 - 2 * 0.015625, 1e-16);
    near_to(curve_cubic(1, 2, 5, 2, 2, 0.5), 3, 1e-15);
    const double d = 1e-6;
    near_to((curve_cubic(0, 0.1, 4, 0.3, 8, d) - 0) / (8 * d), 0.1, 1e-5);
    near_to((4 - curve_cubic(0, 0.1, 4, 0.3, 8, 1 - d)) / (8 * d), 0.3, 1e-5);
}

/* Every pair of slopes that the two functions can give, on a grid: no piece falls while it should rise. */
static void no_piece_swings(void **state)
{
    (void)state;
    for (int i = 0; i <= 12; i++)
        for (int k = 0; k <= 12; k++) {
            double before = 0;
            for (int t = 1; t <= 1000; t++) {
                const double now = curve_cubic(0, 0.25 * i, 1, 0.25 * k, 1, t / 1000.0);
                if (now < before - 1e-15)
                    fail_msg("slopes %g and %g fall at %g", 0.25 * i, 0.25 * k, t / 1000.0);
                before = now;
            }
        }
}

static void huge_numbers_stay_finite(void **state)
{
    (void)state;
    const double a = -1.7e308, b = 1.7e308;
    const double middle = curve_cubic(a, INFINITY, b, INFINITY, 1, 0.5);
    assert_true(middle >= a && middle <= b);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(slopes_are_weighted_harmonic_means),
        cmocka_unit_test(slopes_are_level_where_it_turns),
        cmocka_unit_test(slopes_are_limited),
        cmocka_unit_test(cubic_has_its_ends),
        cmocka_unit_test(no_piece_swings),
        cmocka_unit_test(huge_numbers_stay_finite),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
