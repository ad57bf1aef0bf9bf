/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Gaussian blur against published taps and a direct convolution in double.
 */
#include "numerics/blur.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "pattern.h"

/* source: computed with scipy 1.10 */
static void weights_are_the_published_ones(void **state)
{
    (void)state;
    static const double half[] = { 0.78657073, 0.10645077, 0.00026387 };
    static const double one[] = { 0.39905028, 0.24203623, 0.05400558, 0.00443305 };
    static const double two[] = { 0.19967563, 0.17621312, 0.12110939, 0.06482519, 0.02702316, 0.00877313, 0.00221820 };
    double weights[8];
    assert_int_equal(blur_radius(0.5), 2);
    blur_weights(0.5, weights);
    for (int i = 0; i <= 2; i++)
        assert_true(fabs(weights[i] - half[i]) < 6e-9);
    assert_int_equal(blur_radius(1), 3);
    blur_weights(1, weights);
    for (int i = 0; i <= 3; i++)
        assert_true(fabs(weights[i] - one[i]) < 6e-9);
    assert_int_equal(blur_radius(2), 6);
    blur_weights(2, weights);
    for (int i = 0; i <= 6; i++)
        assert_true(fabs(weights[i] - two[i]) < 6e-9);
    assert_int_equal(blur_radius(0), 0);
    assert_int_equal(blur_radius(-1), 0);
}

static int32_t held(int32_t v, int32_t least, int32_t most)
{
    return v < least ? least : v > most ? most : v;
}

/* Both directions at once, as a sum over the square. */
static double convolved(const struct picture *in, int32_t x, int32_t y, double sigma)
{
    const int radius = (int)ceil(3 * sigma);
    double sum = 0, weights = 0;
    for (int v = -radius; v <= radius; v++) {
        for (int u = -radius; u <= radius; u++) {
            const double w = exp(-(u * u + v * v) / (2 * sigma * sigma));
            const int32_t sx = held(x + u, in->area.x0, in->area.x1 - 1);
            sum += w * (double)picture_row(in, PLANE_A, held(y + v, in->area.y0, in->area.y1 - 1))[sx - in->area.x0];
            weights += w;
        }
    }
    return sum / weights;
}

static void blur(const struct picture *out, const struct picture *in, double sigma)
{
    struct arena scratch;
    arena_init(&scratch);
    assert_int_equal(blur_plane(out, in, PLANE_A, sigma, &scratch, NULL), PASSEL_OK);
    arena_release(&scratch);
}

static void equals_the_direct_convolution(void **state)
{
    (void)state;
    static const double sigmas[] = { 0.2, 0.5, 0.7, 1, 2.3, 6 };
    struct picture in = pattern_picture(rect_of(-3, 5, 38, 34), HAS_A, 1);
    for (size_t i = 0; i < sizeof sigmas / sizeof *sigmas; i++) {
        struct picture out = pattern_picture(in.area, HAS_A, 2);
        blur(&out, &in, sigmas[i]);
        for (int32_t y = in.area.y0; y < in.area.y1; y++) {
            for (int32_t x = in.area.x0; x < in.area.x1; x++)
                assert_true(fabs(pattern_at(&out, PLANE_A, x, y) - convolved(&in, x, y, sigmas[i])) < 1e-6);
        }
        picture_release(&out);
    }
    picture_release(&in);
}

static void nothing_to_do_copies_bits(void **state)
{
    (void)state;
    struct picture in = pattern_picture(rect_of(0, 0, 9, 7), HAS_A, 3);
    struct picture out = pattern_picture(rect_of(2, 1, 8, 7), HAS_A, 4);
    blur(&out, &in, 0);
    for (int32_t y = 1; y < 7; y++) {
        for (int32_t x = 2; x < 8; x++)
            assert_true(pattern_at(&out, PLANE_A, x, y) == pattern_at(&in, PLANE_A, x, y));
    }
    picture_release(&in);
    picture_release(&out);
}

/* Every tile, from no more input than it needs, has the bits of the whole. */
static void tiles_fit_together(void **state)
{
    (void)state;
    const struct rect area = rect_of(0, 0, 61, 47);
    struct picture in = pattern_picture(area, HAS_A, 5);
    struct picture whole = pattern_picture(area, HAS_A, 6);
    const double sigma = 2.3;
    blur(&whole, &in, sigma);
    for (int32_t y = 0; y < area.y1; y += 11) {
        for (int32_t x = 0; x < area.x1; x += 13) {
            const struct rect tile = rect_cut(rect_of(x, y, x + 13, y + 11), area);
            const struct picture near =
                picture_part(&in, rect_cut(rect_grow(tile, blur_radius(sigma), blur_radius(sigma)), area));
            struct picture out = pattern_picture(tile, HAS_A, 7);
            blur(&out, &near, sigma);
            pattern_assert_same(&out, &whole, PLANE_A);
            picture_release(&out);
        }
    }
    picture_release(&in);
    picture_release(&whole);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(weights_are_the_published_ones),
        cmocka_unit_test(equals_the_direct_convolution),
        cmocka_unit_test(nothing_to_do_copies_bits),
        cmocka_unit_test(tiles_fit_together),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
