/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/* Encodings against the standards' values and against the C library in double. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "picture/encoding.h"
#include "picture/function.h"

static const struct {
    const char *name; /* in the table */
    struct encoding encoding;
} curves[] = {
    { "sRGB", { ENCODING_SRGB, 0 } },
    { "Rec709_OETF", { ENCODING_REC709, 0 } },
    { "BT1886_Lw1_Lb0", { ENCODING_BT1886, 0 } },
    { "gamma2.2", { ENCODING_GAMMA, 2.2 } },
    { "gamma2.6", { ENCODING_GAMMA, 2.6 } },
};
#define CURVES (sizeof curves / sizeof curves[0])

static float light_of(struct encoding encoding, double code)
{
    float sample = (float)code;
    encoding_undo(encoding, &sample, 1);
    return sample;
}

static float code_of(struct encoding encoding, double light)
{
    float sample = (float)light;
    encoding_apply(encoding, &sample, 1);
    return sample;
}

static struct encoding encoding_of_row(const char *line, size_t length)
{
    for (size_t i = 0; i < CURVES; i++)
        if (strlen(curves[i].name) == length && strncmp(curves[i].name, line, length) == 0)
            return curves[i].encoding;
    fail_msg("the table has a curve that is not tested: %.*s", (int)length, line);
    return curves[0].encoding;
}

/* Tolerances: code 4e-6 absolute; light 5e-5 relative, the denominator at least 1e-3. */
static void test_published(void **state)
{
    (void)state;
    FILE *file = fopen(PASSEL_SOURCE_DIR "/tests/reference/picture_transfer.csv", "r");
    assert_non_null(file);
    char line[512];
    int rows = 0;
    while (fgets(line, sizeof line, file) != NULL) {
        double code, light;
        const size_t name = strcspn(line, ",");
        if (line[0] == '#' || sscanf(line + name, ",%lf,%lf", &code, &light) != 2)
            continue;
        const struct encoding encoding = encoding_of_row(line, name);
        assert_true(fabs(code_of(encoding, light) - code) < 4e-6);
        assert_true(fabs(light_of(encoding, code) - light) / fmax(light, 1e-3) < 5e-5);
        rows++;
    }
    fclose(file);
    assert_int_equal(rows, 43);
}

static void test_ends_and_mirror(void **state)
{
    (void)state;
    for (size_t i = 0; i < CURVES; i++) {
        const struct encoding e = curves[i].encoding;
        assert_true(light_of(e, 0) == 0 && code_of(e, 0) == 0);
        assert_true(light_of(e, 1) == 1 && code_of(e, 1) == 1);
        for (double x = 1e-6; x < 100; x *= 1.37) {
            assert_true(light_of(e, -x) == -light_of(e, x));
            assert_true(code_of(e, -x) == -code_of(e, x));
        }
    }
}

static void test_round_trip_of_16_bit_codes(void **state)
{
    (void)state;
    for (size_t i = 0; i < CURVES; i++)
        for (int code = 0; code < 65536; code += 7) {
            const double v = code / 65535.0;
            /* the constants of Rec.709 leave a gap at the break: BT.709-6 item 1.2 */
            if (curves[i].encoding.curve == ENCODING_REC709 && v > 0.0809 && v < 0.0813)
                continue;
            assert_true(fabs(code_of(curves[i].encoding, light_of(curves[i].encoding, v)) - v) < 4e-7);
        }
}

/* A block of neighbouring floats from `from` on must not fall. */
static void check_rising(struct encoding encoding, float from,
                         void (*convert)(struct encoding encoding, float *samples, size_t count))
{
    static float samples[20000];
    const size_t count = sizeof samples / sizeof samples[0];
    for (size_t i = 0; i < count; i++, from = nextafterf(from, INFINITY))
        samples[i] = from;
    convert(encoding, samples, count);
    for (size_t i = 1; i < count; i++)
        assert_true(samples[i] >= samples[i - 1]);
}

static void test_rising(void **state)
{
    (void)state;
    const float starts[] = { 1e-30f,   0.00312f, 0.0179f,  0.0404f,  0.0809f,
                             0.24999f, 0.70707f, 0.99999f, 1.41417f, 63.999f };
    for (size_t i = 0; i < CURVES; i++)
        for (size_t k = 0; k < sizeof starts / sizeof starts[0]; k++) {
            check_rising(curves[i].encoding, starts[k], encoding_undo);
            check_rising(curves[i].encoding, starts[k], encoding_apply);
        }
}

/* A sample's result must not depend on its neighbours or on where it stands in the run. */
static void test_any_run_length(void **state)
{
    (void)state;
    static float all[1000], piece[1000];
    for (int i = 0; i < 1000; i++)
        all[i] = piece[i] = (float)(i - 100) / 800;
    encoding_undo(curves[0].encoding, all, 1000);
    for (size_t i = 0, length = 1; i < 1000; i += length, length = length % 37 + 1)
        encoding_undo(curves[0].encoding, piece + i, length < 1000 - i ? length : 1000 - i);
    assert_memory_equal(all, piece, sizeof all);
}

static void test_same_and_names(void **state)
{
    (void)state;
    const struct encoding a = { ENCODING_GAMMA, 2.2 }, b = { ENCODING_GAMMA, 2.4 };
    const struct encoding c = { ENCODING_SRGB, 1 }, d = { ENCODING_SRGB, 2 };
    assert_true(encoding_same(a, a) && !encoding_same(a, b) && encoding_same(c, d) && !encoding_same(a, c));
    assert_string_equal(encoding_name(ENCODING_BT1886), "bt1886");
    assert_string_equal(encoding_name(ENCODING_LINEAR), "linear");
    float untouched[2] = { -3.5f, 70000 };
    encoding_undo((struct encoding){ ENCODING_LINEAR, 0 }, untouched, 2);
    encoding_apply((struct encoding){ ENCODING_LINEAR, 0 }, untouched, 2);
    assert_true(untouched[0] == -3.5f && untouched[1] == 70000);
}

static void test_log2_and_exp2(void **state)
{
    (void)state;
    for (double x = 1e-6; x < 1e6; x *= 1.003)
        assert_true(fabs(function_log2(x) - log2(x)) <= 1e-14 * fmax(1, fabs(log2(x))));
    for (double x = -32; x < 32; x += 0.0037)
        assert_true(fabs(function_exp2(x) / exp2(x) - 1) < 2e-14);
    for (int n = -100; n <= 100; n++) {
        assert_true(function_exp2(n) == ldexp(1, n));
        assert_true(function_log2(ldexp(1, n)) == n);
    }
    assert_true(function_exp2(-2000) == 0 && isinf(function_exp2(2000)) && function_exp2(-1e9) == 0);
    assert_true(function_exp2(0.5 * function_log2(0)) == 0);
}

static void test_sine_of_half_turns(void **state)
{
    (void)state;
    const double pi = acos(-1);
    for (double x = -2; x < 2; x += 0.00097) {
        assert_true(fabs(function_sinpi(x) - sin(pi * x)) < 1e-14);
        assert_true(fabs(function_cospi(x) - cos(pi * x)) < 1e-14);
    }
    for (int quarter = -9; quarter <= 9; quarter++) {
        const int phase = (quarter % 4 + 4) % 4;
        assert_true(function_sinpi(quarter * 0.5) == (phase == 1 ? 1 : phase == 3 ? -1 : 0));
        assert_true(function_cospi(quarter * 0.5) == (phase == 0 ? 1 : phase == 2 ? -1 : 0));
    }
}

static void test_power(void **state)
{
    (void)state;
    const double exponents[] = { 2.4, 1 / 2.4, 0.45, 1 / 0.45, 3, 0.1 };
    for (size_t k = 0; k < sizeof exponents / sizeof exponents[0]; k++)
        for (double x = 1e-12; x < 1e9; x *= 1.0009) {
            float sample = (float)x;
            const double exact = pow(sample, exponents[k]);
            function_power(&sample, 1, exponents[k]);
            const float above = nextafterf((float)exact, INFINITY);
            assert_true(fabs(sample - exact) <= 0.5001 * (above - (float)exact));
        }
    float special[] = { 0, -0.0f, -3, 1e-40f, INFINITY, NAN, 3e38f };
    function_power(special, 7, 1 / 2.4);
    assert_true(special[0] == 0 && special[1] == 0 && special[2] == 0);
    assert_true(fabs(special[3] / pow(1e-40f, 1 / 2.4) - 1) < 1e-6);
    assert_true(isinf(special[4]) && isnan(special[5]) && special[6] > 1e16f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_published),
        cmocka_unit_test(test_ends_and_mirror),
        cmocka_unit_test(test_round_trip_of_16_bit_codes),
        cmocka_unit_test(test_rising),
        cmocka_unit_test(test_any_run_length),
        cmocka_unit_test(test_same_and_names),
        cmocka_unit_test(test_log2_and_exp2),
        cmocka_unit_test(test_sine_of_half_turns),
        cmocka_unit_test(test_power),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
