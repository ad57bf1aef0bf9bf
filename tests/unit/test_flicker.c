/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Flicker: its size, its spectrum against a plain Fourier sum, and that it follows from seed and frame alone.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "kinds/kinds.h"
#include "language/recipe.h"
#include "numerics/flicker.h"
#include "stage.h"

#define PI 3.141592653589793

static void has_its_size(void **state)
{
    (void)state;
    double sum = 0, squares = 0, most = 0;
    const int count = 400 * 64;
    for (uint64_t seed = 0; seed < 400; seed++) {
        const struct flicker flicker = { .seed = seed, .fastest = 1 };
        for (int i = 0; i < 64; i++) {
            const double unrest = flicker_at(&flicker, 1001 + i * 3.25);
            sum += unrest;
            squares += unrest * unrest;
            most = fmax(most, fabs(unrest));
        }
    }
    assert_true(fabs(sum / count) < 0.05);
    assert_true(fabs(sqrt(squares / count) - 1) < 0.03);
    assert_true(most <= FLICKER_MOST);
}

/* Mean power of 200 seeds in the band of frequencies k, k+1, … 2k-1 of 128 frames. */
static double band_power(int k)
{
    double power = 0;
    for (uint64_t seed = 0; seed < 200; seed++) {
        const struct flicker flicker = { .seed = seed, .fastest = 1 };
        for (int wave = k; wave < 2 * k; wave++) {
            double real = 0, imaginary = 0;
            for (int i = 0; i < 128; i++) {
                const double unrest = flicker_at(&flicker, i), turn = 2 * PI * wave * i / 128;
                real += unrest * cos(turn);
                imaginary += unrest * sin(turn);
            }
            power += real * real + imaginary * imaginary;
        }
    }
    return power / 200;
}

/* 1/f: the same power in every octave, but that the topmost octave has no quicker one to add to it; white noise
 * would differ by 16. */
static void has_as_much_in_every_octave(void **state)
{
    (void)state;
    double least = INFINITY, most = 0;
    for (int k = 2; k <= 32; k *= 2) {
        const double power = band_power(k);
        least = fmin(least, power);
        most = fmax(most, power);
    }
    if (!(most < 2.5 * least))
        fail_msg("%g to %g", least, most);
}

static void is_slower_at_wish(void **state)
{
    (void)state;
    const struct flicker quick = { .seed = 3, .fastest = 1 }, slow = { .seed = 3, .fastest = 4 };
    const struct flicker other = { .seed = 4, .fastest = 1 };
    int alike = 0;
    for (int i = -200; i < 200; i++) {
        assert_true(flicker_at(&quick, i * 0.5) == flicker_at(&slow, i * 2.0));
        alike += flicker_at(&quick, i) == flicker_at(&other, i);
    }
    assert_int_equal(alike, 0);
}

/* 6 % and 0.3 stops as a curve gives them. */
static void is_a_curve(void **state)
{
    (void)state;
    static const struct kind *const kinds[] = { &kind_curve, NULL };
    struct stage stage;
    stage_init(&stage,
               "shot storm\n  frames 1001-1048\n  size 8x8\n"
               "share = curve\n  flicker by 6% seed 8\nstops = curve\n  flicker 0.3 stops seed 8 every 2 frames\n",
               kinds);
    const struct flicker one = { .seed = 8, .fastest = 1 }, two = { .seed = 8, .fastest = 2 };
    for (double frame = 1001; frame < 1049; frame += 0.5) {
        const double share = track_at(recipe_block(stage.recipe, "share")->track, 0, frame);
        const double stops = track_at(recipe_block(stage.recipe, "stops")->track, 0, frame);
        assert_true(fabs(share - (1 + 0.06 * flicker_at(&one, frame))) < 1e-14);
        assert_true(fabs(log2(stops) - 0.3 * flicker_at(&two, frame)) < 1e-13);
    }
    stage_release(&stage);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(has_its_size),
        cmocka_unit_test(has_as_much_in_every_octave),
        cmocka_unit_test(is_slower_at_wish),
        cmocka_unit_test(is_a_curve),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
