/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The solvers behind `passel fit`: against the conditions that define their answers, and on rows made of known lights.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "fail_memory.h"
#include "numerics/fit_lights.h"
#include "numerics/fit_solve.h"
#include "numerics/seeded.h"

enum { MOST = 12 };

static double chance(uint64_t seed, int64_t place)
{
    return 2 * seeded_share(seed, 0, place) - 1;
}

/* Near enough to a normal distribution. */
static double noise(uint64_t seed, int64_t place)
{
    double sum = 0;
    for (int i = 0; i < 12; i++)
        sum += seeded_share(seed, 1, place * 12 + i);
    return sum - 6;
}

/* X' X and X' y of random X (3 n rows) and y. */
static void make_equations(uint64_t seed, int n, double *matrix, double *right)
{
    memset(matrix, 0, (size_t)(n * n) * sizeof *matrix);
    memset(right, 0, (size_t)n * sizeof *right);
    for (int row = 0; row < 3 * n; row++) {
        double x[MOST];
        for (int i = 0; i < n; i++)
            x[i] = chance(seed, row * MOST + i) + 0.4;
        for (int i = 0; i < n; i++) {
            for (int k = 0; k < n; k++)
                matrix[i * n + k] += x[i] * x[k];
            right[i] += x[i] * chance(seed + 1000, row);
        }
    }
}

/* Karush, Kuhn, Tucker: nothing is negative; where x is positive the slope is 0, elsewhere it does not fall. */
static void assert_best(const double *matrix, const double *right, int n, const double *x)
{
    for (int i = 0; i < n; i++) {
        double slope = -right[i];
        for (int k = 0; k < n; k++)
            slope += matrix[i * n + k] * x[k];
        assert_true(x[i] >= 0);
        assert_true(slope >= -1e-9);
        assert_true(x[i] == 0 || fabs(slope) < 1e-9);
    }
}

static void solves_without_negatives(void **state)
{
    (void)state;
    int zeros = 0;
    for (uint64_t seed = 0; seed < 300; seed++) {
        const int n = 1 + (int)(seed % MOST);
        double matrix[MOST * MOST], right[MOST], x[MOST], work[MOST * (MOST + 3)];
        make_equations(seed, n, matrix, right);
        fit_nonnegative(matrix, right, n, x, work);
        assert_best(matrix, right, n, x);
        for (int i = 0; i < n; i++)
            zeros += x[i] == 0;
    }
    assert_true(zeros > 300);
}

/* One unknown stands there twice: the sum is right, and nothing breaks. */
static void bears_what_is_open(void **state)
{
    (void)state;
    const double matrix[9] = { 2, 2, 1, 2, 2, 1, 1, 1, 3 }, right[3] = { 5, 5, 6.5 };
    double x[3], inverse[9], work[18];
    bool active[3] = { true, true, true };
    fit_nonnegative(matrix, right, 3, x, work);
    assert_true(fabs(x[0] + x[1] - 1.7) < 1e-12);
    assert_true(fabs(x[2] - 1.6) < 1e-12);
    fit_inverse(matrix, active, 3, inverse, work);
    assert_true(active[0] && !active[1] && active[2]);
}

static void inverts_and_turns(void **state)
{
    (void)state;
    for (uint64_t seed = 0; seed < 50; seed++) {
        const int n = 1 + (int)(seed % MOST);
        double matrix[MOST * MOST], right[MOST], inverse[MOST * MOST], work[MOST * (MOST + 3)];
        double turned[MOST * MOST], values[MOST], vectors[MOST * MOST];
        bool active[MOST];
        make_equations(seed, n, matrix, right);
        for (int i = 0; i < n; i++)
            active[i] = true;
        fit_inverse(matrix, active, n, inverse, work);
        memcpy(turned, matrix, sizeof turned);
        fit_eigen(turned, n, values, vectors);
        for (int i = 0; i < n; i++) {
            for (int k = 0; k < n; k++) {
                double one = 0, own = 0;
                for (int m = 0; m < n; m++) {
                    one += matrix[i * n + m] * inverse[m * n + k];
                    own += vectors[i * n + m] * values[m] * vectors[k * n + m];
                }
                assert_true(fabs(one - (i == k)) < 1e-8);
                assert_true(fabs(own - matrix[i * n + k]) < 1e-9);
            }
        }
    }
}

/* ---- rows -------------------------------------------------------------------------------------------------------- */

enum { LIGHTS = 3, ROWS = 6000, WIDE = 2 * (LIGHTS + 1) };

static const double gains[LIGHTS] = { 0.5, 2, 0.125 };

struct scene {
    double sigma;  /* of the noise of every half */
    int strangers; /* of a hundred rows: the wanted light is another there */
    double clip;   /* no wanted light above this; 0: all */
    bool same;     /* the second light is another take of the first */
};

static float *make_rows(const struct scene *scene)
{
    float *halves = malloc((size_t)ROWS * WIDE * sizeof *halves);
    assert_non_null(halves);
    for (int row = 0; row < ROWS; row++) {
        for (int half = 0; half < 2; half++) {
            double wanted = 0;
            for (int i = 0; i < LIGHTS; i++) {
                const int source = scene->same && i == 1 ? 0 : i;
                const double own = chance((uint64_t)source + 1, row);
                const double light = own * own * own * own + 0.02 * (1 + chance((uint64_t)source + 50, row * 2 + half));
                wanted += gains[i] * light;
                halves[row * WIDE + 2 * i + half] =
                    (float)(light + scene->sigma * noise((uint64_t)i + 10, row * 2 + half));
            }
            if (scene->clip > 0)
                wanted = fmin(wanted, scene->clip);
            if (row % 100 < scene->strangers)
                wanted = 1.5 + 0.2 * chance(99, row);
            halves[row * WIDE + 2 * LIGHTS + half] = (float)(wanted + scene->sigma * noise(20, row * 2 + half));
        }
    }
    return halves;
}

static enum passel_status fit_scene(const struct scene *scene, struct fit_result *result)
{
    float *halves = make_rows(scene);
    const double variance = scene->sigma * scene->sigma / 2;
    const struct fit_noise floors[LIGHTS + 1] = { { 0, variance }, { 0, variance }, { 0, variance }, { 0, variance } };
    const struct fit_rows rows = {
        .lights = LIGHTS, .count = ROWS, .halves = halves, .noise = floors, .per_noise = ROWS
    };
    const enum passel_status status = fit_lights(&rows, result, NULL);
    free(halves);
    return status;
}

/* Found within four of the standard deviations that are claimed, and those are no fantasy. */
static void finds_gains_in_noise(void **state)
{
    (void)state;
    static const double sigmas[] = { 0.001, 0.01, 0.1 };
    for (int k = 0; k < 3; k++) {
        struct fit_result result;
        assert_int_equal(fit_scene(&(struct scene){ .sigma = sigmas[k] }, &result), PASSEL_OK);
        for (int i = 0; i < LIGHTS; i++) {
            assert_true(fabs(result.found[i].gain - gains[i]) < 4 * result.found[i].sigma);
            assert_true(result.found[i].sigma < 0.5 * sigmas[k] && result.found[i].sigma > 0.01 * sigmas[k]);
        }
        assert_int_equal(result.group_count, 0);
        assert_true(result.believed > ROWS * 99 / 100);
        fit_result_release(&result);
    }
}

static void finds_gains_without_noise(void **state)
{
    (void)state;
    struct fit_result result;
    assert_int_equal(fit_scene(&(struct scene){ .sigma = 0 }, &result), PASSEL_OK);
    for (int i = 0; i < LIGHTS; i++)
        assert_true(fabs(result.found[i].gain - gains[i]) < 1e-6);
    assert_true(result.r2 > 0.999999999);
    fit_result_release(&result);
}

/* Rows that are clipped by less than their noise stay among the believed and cost some thousandths of a stop. */
static void does_not_believe_strangers(void **state)
{
    (void)state;
    struct fit_result result;
    assert_int_equal(fit_scene(&(struct scene){ .sigma = 0.005, .strangers = 20, .clip = 1.5 }, &result), PASSEL_OK);
    for (int i = 0; i < LIGHTS; i++)
        assert_true(fabs(log2(result.found[i].gain / gains[i])) < 0.01);
    assert_true(result.believed < ROWS * 81 / 100);
    fit_result_release(&result);
}

static void names_lights_that_are_one(void **state)
{
    (void)state;
    struct fit_result result;
    assert_int_equal(fit_scene(&(struct scene){ .sigma = 0.005, .same = true }, &result), PASSEL_OK);
    assert_int_equal(result.group_count, 1);
    assert_true(result.groups[0] && result.groups[1] && !result.groups[2]);
    assert_true(fabs(result.found[0].gain + result.found[1].gain - 2.5) < 0.02);
    assert_true(fabs(result.found[2].gain - gains[2]) < 4 * result.found[2].sigma);
    fit_result_release(&result);
}

static void refuses_too_little(void **state)
{
    (void)state;
    static const float halves[3 * WIDE] = { 0 };
    static const struct fit_noise floors[LIGHTS + 1] = { { 0, 1e-9 } };
    const struct fit_rows rows = { .lights = LIGHTS, .count = 3, .halves = halves, .noise = floors, .per_noise = 3 };
    struct fit_result result;
    assert_int_equal(fit_lights(&rows, &result, NULL), PASSEL_BAD_PICTURE);
}

static enum passel_status fit_once(void *data)
{
    struct fit_result result;
    const enum passel_status status = fit_lights(data, &result, NULL);
    fit_result_release(&result);
    return status;
}

static void survives_no_memory(void **state)
{
    (void)state;
    float *halves = make_rows(&(struct scene){ .sigma = 0.01 });
    static const struct fit_noise floors[LIGHTS + 1] = { { 0, 5e-5 }, { 0, 5e-5 }, { 0, 5e-5 }, { 0, 5e-5 } };
    struct fit_rows rows = { .lights = LIGHTS, .count = 300, .halves = halves, .noise = floors, .per_noise = 300 };
    assert_true(fail_memory_each(fit_once, &rows) > 5);
    free(halves);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(solves_without_negatives),  cmocka_unit_test(bears_what_is_open),
        cmocka_unit_test(inverts_and_turns),         cmocka_unit_test(finds_gains_in_noise),
        cmocka_unit_test(finds_gains_without_noise), cmocka_unit_test(does_not_believe_strangers),
        cmocka_unit_test(names_lights_that_are_one), cmocka_unit_test(refuses_too_little),
        cmocka_unit_test(survives_no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
