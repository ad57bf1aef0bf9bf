/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Half floats: every half there is, the rule of rounding at every border between two of them, published values, and
 * the same bits from every variant.
 */
#include "picture/half.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

enum { HALVES = 1 << 16, INFINITE = 0x7c00, LARGEST = 0x7bff };

static uint32_t bits_of(float value)
{
    uint32_t bits;
    memcpy(&bits, &value, sizeof bits);
    return bits;
}

/* The value of a half from its three fields, in double. */
static double meaning(uint16_t half)
{
    const int exponent = half >> 10 & 31, fraction = half & 0x3ff;
    const double sign = (half & 0x8000) != 0 ? -1.0 : 1.0;
    if (exponent == 31)
        return fraction != 0 ? (double)NAN : sign * (double)INFINITY;
    return sign * (exponent == 0 ? ldexp(fraction, -24) : ldexp(1024 + fraction, exponent - 25));
}

static uint16_t narrowed(const struct half_variant *variant, float value)
{
    float values[16];
    uint16_t halves[16];
    for (int i = 0; i < 16; i++)
        values[i] = value;
    variant->from_float(values, halves, 16);
    for (int i = 1; i < 16; i++)
        assert_int_equal(halves[i], halves[0]);
    variant->from_float(values, halves + 15, 1);
    assert_int_equal(halves[15], halves[0]);
    return halves[0];
}

static void every_half_has_its_value(void **state)
{
    static uint16_t halves[HALVES];
    static float floats[HALVES];
    const struct half_variant *variants[2];
    const int count = half_variants(variants);
    (void)state;
    for (int i = 0; i < HALVES; i++)
        halves[i] = (uint16_t)i;
    for (int v = 0; v < count; v++) {
        assert_true(variants[v]->to_float(halves, floats, HALVES));
        for (int i = 0; i < HALVES; i++) {
            const double expected = meaning((uint16_t)i);
            if (isnan(expected))
                assert_true(isnan(floats[i]));
            else
                assert_true((double)floats[i] == expected && !signbit(floats[i]) == !signbit(expected));
        }
    }
}

static void every_finite_half_comes_back(void **state)
{
    const struct half_variant *variants[2];
    const int count = half_variants(variants);
    (void)state;
    for (int v = 0; v < count; v++)
        for (int i = 0; i < HALVES; i++)
            if ((i & 0x7fff) < INFINITE)
                assert_int_equal(narrowed(variants[v], (float)meaning((uint16_t)i)), i);
}

/* Between two neighbours: below the middle down, above it up, in the middle to the even one. */
static void rounding_goes_to_the_nearest_even(void **state)
{
    const struct half_variant *variants[2];
    const int count = half_variants(variants);
    (void)state;
    for (int v = 0; v < count; v++)
        for (int i = 0; i < LARGEST; i++) {
            const float middle = (float)((meaning((uint16_t)i) + meaning((uint16_t)(i + 1))) / 2.0);
            const int even = i % 2 == 0 ? i : i + 1;
            assert_int_equal(narrowed(variants[v], middle), even);
            assert_int_equal(narrowed(variants[v], -middle), even | 0x8000);
            assert_int_equal(narrowed(variants[v], nextafterf(middle, 0.0f)), i);
            assert_int_equal(narrowed(variants[v], nextafterf(middle, 1e9f)), i + 1);
        }
}

static void what_is_no_half_is_held(void **state)
{
    static const struct {
        float value;
        uint16_t half;
    } rows[] = {
        { 65504.0f, 0x7bff },  { 65519.0f, 0x7bff },  { 65520.0f, 0x7bff }, { 1e30f, 0x7bff }, { INFINITY, 0x7bff },
        { -65520.0f, 0xfbff }, { -INFINITY, 0xfbff }, { NAN, 0x0000 },      { -NAN, 0x0000 },  { 1e-30f, 0x0000 },
        { -1e-30f, 0x8000 },   { 0x1p-149f, 0x0000 }, { 0x1p-25f, 0x0000 }, { 0x1.8p-25f, 1 }, { -0.0f, 0x8000 },
    };
    const struct half_variant *variants[2];
    const int count = half_variants(variants);
    (void)state;
    for (int v = 0; v < count; v++)
        for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
            assert_int_equal(narrowed(variants[v], rows[i].value), rows[i].half);
}

/* Source: computed with numpy 1.24 and with the half type of OpenEXR 3.1, which agree. */
static void published_values_hold(void **state)
{
    static const struct {
        float value;
        uint16_t half;
        double meaning;
    } rows[] = {
        { 0.0f, 0x0000, 0.0 },
        { 1.0f, 0x3c00, 1.0 },
        { -1.0f, 0xbc00, -1.0 },
        { 0.18f, 0x31c3, 0.1800537109375 },
        { 0.1f, 0x2e66, 0.0999755859375 },
        { 0.5f, 0x3800, 0.5 },
        { 2.0f, 0x4000, 2.0 },
        { 6.103515625e-05f, 0x0400, 6.103515625e-05 },
        { 6.097555160522461e-05f, 0x03ff, 6.097555160522461e-05 },
        { 5.960464477539063e-08f, 0x0001, 5.960464477539063e-08 },
        { 2.98e-08f, 0x0000, 0.0 },
        { 0.3333333333333333f, 0x3555, 0.333251953125 },
        { 1000.1f, 0x63d0, 1000.0 },
        { 2049.0f, 0x6800, 2048.0 },
        { 2051.0f, 0x6802, 2052.0 },
        { 1e-08f, 0x0000, 0.0 },
    };
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        uint16_t half;
        float back;
        half_from_float(&rows[i].value, &half, 1);
        assert_int_equal(half, rows[i].half);
        assert_false(half_to_float(&half, &back, 1));
        assert_true((double)back == rows[i].meaning);
    }
}

static void variants_give_the_same_bits(void **state)
{
    enum { COUNT = 4099 };
    static float values[COUNT], first[COUNT], other[COUNT];
    static uint16_t halves[2][COUNT];
    const struct half_variant *variants[2];
    const int count = half_variants(variants);
    uint32_t seed = 12345;
    (void)state;
    for (int round = 0; round < 500; round++) {
        for (int i = 0; i < COUNT; i++) {
            seed = seed * 1664525u + 1013904223u;
            memcpy(&values[i], &seed, sizeof seed);
        }
        variants[0]->from_float(values, halves[0], COUNT);
        variants[count - 1]->from_float(values, halves[1], COUNT);
        assert_memory_equal(halves[0], halves[1], sizeof halves[0]);
    }
    for (int i = 0; i < HALVES; i += COUNT) {
        for (int k = 0; k < COUNT; k++)
            halves[0][k] = (uint16_t)(i + k);
        variants[0]->to_float(halves[0], first, COUNT);
        variants[count - 1]->to_float(halves[0], other, COUNT);
        for (int k = 0; k < COUNT; k++)
            assert_int_equal(bits_of(first[k]), bits_of(other[k]));
    }
}

/* Wherever it stands in a row, of whatever length and alignment, one value that is not finite is seen. */
static void one_odd_value_is_seen(void **state)
{
    static const uint16_t odd[] = { 0x7c00, 0xfc00, 0x7e00, 0x7c01, 0xffff };
    const struct half_variant *variants[2];
    const int count = half_variants(variants);
    unsigned char bytes[2 * 40 + 1];
    float floats[40];
    (void)state;
    for (int v = 0; v < count; v++)
        for (size_t length = 0; length < 40; length++) {
            for (size_t i = 0; i < length; i++)
                memcpy(bytes + 1 + 2 * i, &(uint16_t){ 0x7bff }, 2);
            assert_false(variants[v]->to_float(bytes + 1, floats, length));
            for (size_t i = 0; i < length; i++) {
                memcpy(bytes + 1 + 2 * i, &odd[(i + length) % 5], 2);
                assert_true(variants[v]->to_float(bytes + 1, floats, length));
                memcpy(bytes + 1 + 2 * i, &(uint16_t){ 0xfbff }, 2);
            }
        }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_half_has_its_value),
        cmocka_unit_test(every_finite_half_comes_back),
        cmocka_unit_test(rounding_goes_to_the_nearest_even),
        cmocka_unit_test(what_is_no_half_is_held),
        cmocka_unit_test(published_values_hold),
        cmocka_unit_test(variants_give_the_same_bits),
        cmocka_unit_test(one_odd_value_is_seen),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
