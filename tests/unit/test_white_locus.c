/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Colour temperatures against published chromaticities, and the factors that lights make of them.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "numerics/white_locus.h"

/* Source: CIE 15:2004, table T.3, illuminants A, D50, D55, D65 and D75 at their correlated temperatures. A is what
 * Planck's law gives with the constant of its day (2848 K then, 2856 K now). */
static void meets_the_illuminants(void **state)
{
    (void)state;
    static const struct {
        double kelvin, x, y, slack;
    } known[] = {
        { 2856, 0.44758, 0.40745, 4e-4 }, { 5003, 0.34567, 0.35851, 1e-4 }, { 5503, 0.33243, 0.34744, 2e-4 },
        { 6504, 0.31272, 0.32903, 1e-4 }, { 7504, 0.29903, 0.31488, 2e-4 },
    };
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
        double xy[2];
        white_locus(known[i].kelvin, xy);
        assert_true(fabs(xy[0] - known[i].x) < known[i].slack);
        assert_true(fabs(xy[1] - known[i].y) < known[i].slack);
    }
}

static void white_is_white(void **state)
{
    (void)state;
    double rgb[3];
    white_locus_rgb(6504, primaries_named("rec709"), rgb);
    for (int c = 0; c < 3; c++)
        assert_true(fabs(rgb[c] - 1) < 1e-3);
}

/* From candle to sky: less red and more blue all the way, luminance 1 as long as nothing is cut off, no steps. */
static void goes_from_warm_to_cold(void **state)
{
    (void)state;
    static const char *const names[] = { "rec709", "rec2020", "acescg" };
    for (int i = 0; i < 3; i++) {
        const struct primaries *primaries = primaries_named(names[i]);
        double weights[3], before[3] = { 0 };
        primaries_luminance(primaries, weights);
        for (int kelvin = 1000; kelvin <= 25000; kelvin += 10) {
            double rgb[3];
            white_locus_rgb(kelvin, primaries, rgb);
            const double sum = weights[0] * rgb[0] + weights[1] * rgb[1] + weights[2] * rgb[2];
            assert_true(fabs(sum - 1) < 1e-9 || rgb[2] == 0);
            assert_true(kelvin == 1000 || (rgb[0] <= before[0] && rgb[2] >= before[2]));
            assert_true(kelvin == 1000 || fabs(rgb[2] - before[2]) < 0.005);
            for (int c = 0; c < 3; c++)
                before[c] = rgb[c];
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(meets_the_illuminants),
        cmocka_unit_test(white_is_white),
        cmocka_unit_test(goes_from_warm_to_cold),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
