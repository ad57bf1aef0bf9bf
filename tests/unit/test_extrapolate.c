/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/* Small least squares; and the plate under tension that continues values past where they are known. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <string.h>

#include "fail_memory.h"
#include "numerics/extrapolate.h"
#include "numerics/least_squares.h"

/* A weighted fit of a line; by hand: minimise 1 (b - 1)² + 1 (a + b - 2)² + 2 (2 a + b - 2)². */
static void test_least_squares(void **state)
{
    (void)state;
    struct normal_equations equations;
    double x[2] = { 7, 7 };
    normal_equations_init(&equations, 2);
    assert_false(normal_equations_solve(&equations, x));
    normal_equations_add(&equations, (const double[]){ 0, 1 }, 1, 1);
    assert_false(normal_equations_solve(&equations, x)); /* one row does not determine two */
    assert_true(x[0] == 7 && x[1] == 7);
    normal_equations_add(&equations, (const double[]){ 1, 1 }, 2, 1);
    normal_equations_add(&equations, (const double[]){ 2, 1 }, 2, 2);
    normal_equations_add(&equations, (const double[]){ NAN, NAN }, NAN, 0);
    assert_true(normal_equations_solve(&equations, x));
    /* normal equations: 9 a + 5 b = 10, 5 a + 4 b = 7 */
    assert_float_equal(x[0], 5.0 / 11, 1e-12);
    assert_float_equal(x[1], 13.0 / 11, 1e-12);
}

#define WIDTH 60
#define HEIGHT 8

/* Known on the left with slope s, free on the right: v + s length (1 - exp(-x / length)), in the limit of fine grids.
 */
static void check_levels_out(bool upright)
{
    const int32_t width = upright ? HEIGHT : WIDTH, height = upright ? WIDTH : HEIGHT;
    double field[WIDTH * HEIGHT], trust[WIDTH * HEIGHT], *fields[1] = { field };
    const double length = 12, slope = 0.03;
    const struct extrapolate_law law = { 1, 1 / (length * length), 1, 1 };
    for (int i = 0; i < WIDTH * HEIGHT; i++) {
        const int x = upright ? i / width : i % width;
        field[i] = x < 20 ? 1 + slope * (x - 19) : NAN;
        trust[i] = x < 20 ? 1000 : 0;
    }
    assert_int_equal(extrapolate(fields, 1, trust, width, height, &law, NULL), PASSEL_OK);
    for (int i = 0; i < WIDTH * HEIGHT; i++) {
        const int x = (upright ? i / width : i % width) - 19;
        const double wanted = x <= 0 ? 1 + slope * x : 1 + slope * length * (1 - exp(-x / length));
        assert_float_equal(field[i], wanted, 0.02); /* the grid is not fine */
    }
}

static void test_levels_out(void **state)
{
    (void)state;
    check_levels_out(false);
    check_levels_out(true);
}

/* The energy at f, from its definition. */
static double energy(const double *f, const double *values, const double *trust, int w, int h,
                     const struct extrapolate_law *law)
{
    const double sx = law->stretch_x * law->stretch_x, sy = law->stretch_y * law->stretch_y;
    double sum = 0;
    for (int y = 0; y < h; y++) {
        for (int x = 0; x < w; x++) {
            const double *at = f + y * w + x;
            const int right = x + 1 < w, down = y + 1 < h;
            if (trust[y * w + x] > 0)
                sum += trust[y * w + x] * (at[0] - values[y * w + x]) * (at[0] - values[y * w + x]);
            if (x > 0 && right)
                sum += law->bend * sx * sx * (at[-1] - 2 * at[0] + at[1]) * (at[-1] - 2 * at[0] + at[1]);
            if (y > 0 && down)
                sum += law->bend * sy * sy * (at[-w] - 2 * at[0] + at[w]) * (at[-w] - 2 * at[0] + at[w]);
            if (right && down)
                sum +=
                    2 * law->bend * sx * sy * (at[0] - at[1] - at[w] + at[w + 1]) * (at[0] - at[1] - at[w] + at[w + 1]);
            if (right)
                sum += law->slope * sx * (at[1] - at[0]) * (at[1] - at[0]);
            if (down)
                sum += law->slope * sy * (at[w] - at[0]) * (at[w] - at[0]);
        }
    }
    return sum;
}

/* No step in any single cell makes the energy smaller. */
static void check_smallest(int w, int h, const struct extrapolate_law *law)
{
    double values[64] = { 0 }, trust[64] = { 0 }, field[64], *fields[1] = { field };
    for (int i = 0; i < w * h; i++) {
        values[i] = (i * 37 % 11) / 11.0;
        trust[i] = i % 3 == 0 ? 0.5 : 0;
    }
    memcpy(field, values, sizeof field);
    assert_int_equal(extrapolate(fields, 1, trust, w, h, law, NULL), PASSEL_OK);
    const double least = energy(field, values, trust, w, h, law);
    for (int i = 0; i < w * h; i++) {
        for (int sign = -1; sign <= 1; sign += 2) {
            const double kept = field[i];
            field[i] = kept + sign * 1e-4;
            assert_true(energy(field, values, trust, w, h, law) > least);
            field[i] = kept;
        }
    }
}

static void test_smallest(void **state)
{
    (void)state;
    static const int sizes[][2] = { { 7, 5 }, { 5, 7 }, { 9, 1 }, { 2, 2 }, { 1, 1 } };
    static const struct extrapolate_law laws[] = {
        { 1, 0.25, 1, 1 }, { 1, 0.1, 3, 1 }, { 0, 1, 1, 1 }, { 0, 1, 0.2, 1 }
    };
    for (size_t k = 0; k < sizeof sizes / sizeof sizes[0]; k++) {
        for (size_t i = 0; i < sizeof laws / sizeof laws[0]; i++)
            check_smallest(sizes[k][0], sizes[k][1], &laws[i]);
    }
}

/* Where change across is dear an uneven edge is evened out; where it is cheap every column goes on as it is. */
static void test_stretch(void **state)
{
    (void)state;
    double field[WIDTH * HEIGHT], trust[WIDTH * HEIGHT], *fields[1] = { field };
    for (int dear = 0; dear < 2; dear++) {
        const struct extrapolate_law law = { 0, 1, dear ? 30 : 0.001, 1 };
        for (int i = 0; i < WIDTH * HEIGHT; i++) {
            field[i] = i % WIDTH % 2;
            trust[i] = i / WIDTH < 4 ? 1000 : 0;
        }
        assert_int_equal(extrapolate(fields, 1, trust, WIDTH, HEIGHT, &law, NULL), PASSEL_OK);
        for (int x = 0; x < WIDTH; x++)
            assert_true(fabs(field[7 * WIDTH + x] - (dear ? 0.5 : x % 2)) < 0.02);
    }
}

static const struct extrapolate_law tense = { 1, 0.04, 1, 1 };

/* A constant is continued exactly, in each of several fields; without any trust all is zero. */
static void test_constant(void **state)
{
    (void)state;
    double trust[WIDTH * HEIGHT] = { 0 }, one[WIDTH * HEIGHT], two[WIDTH * HEIGHT], *fields[2] = { one, two };
    for (int i = 0; i < WIDTH * HEIGHT; i++)
        one[i] = 0.7;
    assert_int_equal(extrapolate(fields, 1, trust, WIDTH, HEIGHT, &tense, NULL), PASSEL_OK);
    for (int i = 0; i < WIDTH * HEIGHT; i++)
        assert_true(one[i] == 0);
    trust[3 * WIDTH + 50] = trust[3 * WIDTH + 51] = trust[4 * WIDTH + 50] = 0.3;
    for (int i = 0; i < WIDTH * HEIGHT; i++) {
        one[i] = 0.7;
        two[i] = -3;
    }
    assert_int_equal(extrapolate(fields, 2, trust, WIDTH, HEIGHT, &tense, NULL), PASSEL_OK);
    for (int i = 0; i < WIDTH * HEIGHT; i++) {
        assert_float_equal(one[i], 0.7, 1e-6);
        assert_float_equal(two[i], -3, 1e-6);
    }
}

static enum passel_status small(void *data)
{
    double field[100] = { 1 }, trust[100] = { 1 }, *fields[1] = { field };
    (void)data;
    return extrapolate(fields, 1, trust, 10, 10, &tense, NULL);
}

static void test_no_memory(void **state)
{
    (void)state;
    assert_int_equal(fail_memory_each(small, NULL), 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_least_squares), cmocka_unit_test(test_levels_out), cmocka_unit_test(test_smallest),
        cmocka_unit_test(test_stretch),       cmocka_unit_test(test_constant),   cmocka_unit_test(test_no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
