/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * key luma: levels and knees against their definition, and elements laid before black found again.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "kinds/kinds.h"
#include "pattern.h"
#include "stage.h"

#define TEXT                                                                                                           \
    "shot storm\n  frames 1001-1010\n  size 40x21\n"                                                                   \
    "fire = flat\n  colour 0 0 0\n"

static const struct kind *const kinds[] = { &kind_key_luma, NULL };
static const struct rect window = { 0, 0, 40, 21 };

struct set {
    struct stage stage;
    struct stage_input input;
};

static void set_init(struct set *set, const char *text)
{
    set->input = (struct stage_input){ "fire", pattern_picture(rect_of(-3, 1, 38, 21), HAS_RGB, 5), window };
    stage_init(&set->stage, text, kinds);
    set->stage.inputs = &set->input;
    set->stage.input_count = 1;
}

static void set_release(struct set *set)
{
    stage_release(&set->stage);
    picture_release(&set->input.picture);
}

static double at(const struct picture *picture, int p, int32_t x, int32_t y)
{
    return (double)pattern_at(picture, (enum plane)p, x, y);
}

/* The integral of a slope that rises over the toe, stays, and falls over the shoulder: by many small steps. */
static double rounded(double t, double toe, double shoulder)
{
    enum { STEPS = 20000 };
    double part = 0, whole = 0;
    for (int i = 0; i < STEPS; i++) {
        const double u = (i + 0.5) / STEPS;
        const double slope = u < toe ? u / toe : 1 - u < shoulder ? (1 - u) / shoulder : 1;
        whole += slope;
        part += u < t ? slope : 0;
    }
    return part / whole;
}

static double ramp(double v, double from, double to)
{
    return fmin(fmax((v - from) / (to - from), 0), 1);
}

static void without_settings_the_colour_stays(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, TEXT "flame = key luma fire\n");
    for (int32_t y = 1; y < 21; y++) /* light above 1 */
        picture_row(&set.input.picture, PLANE_G, y)[3] = 4.0F;
    struct picture out = stage_picture(&set.stage, "flame", 1001, HAS_RGBA);
    assert_string_equal(set.stage.asked, "fire:RGB");
    for (int32_t y = 1; y < 21; y++) {
        for (int32_t x = -3; x < 38; x++) {
            double most = 0;
            for (int c = 0; c < 3; c++) {
                most = fmax(most, at(&set.input.picture, c, x, y));
                assert_true(at(&out, c, x, y) == at(&set.input.picture, c, x, y));
            }
            assert_true(fabs(at(&out, PLANE_A, x, y) - fmin(most, 1)) < 1e-6);
        }
    }
    picture_release(&out);
    set_release(&set);
}

static void knees_are_round(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, TEXT "flame = key luma fire\n  levels 0.2 0.9\n  knees 30% 50%\n  by mean\n  colour cut\n");
    struct picture out = stage_picture(&set.stage, "flame", 1001, HAS_RGBA);
    for (int32_t x = -3; x < 38; x++) {
        const double r = at(&set.input.picture, 0, x, 9), g = at(&set.input.picture, 1, x, 9),
                     b = at(&set.input.picture, 2, x, 9);
        const double alpha = rounded(ramp((r + g + b) / 3, 0.2, 0.9), 0.3, 0.5);
        assert_true(fabs(at(&out, PLANE_A, x, 9) - alpha) < 2e-4);
        assert_true(fabs(at(&out, PLANE_G, x, 9) - alpha * g) < 2e-4);
    }
    picture_release(&out);
    set_release(&set);
}

/* Luminance of Rec. 709: 0.2126 0.7152 0.0722 (source: ITU-R BT.709-6). Falling levels: dark is opaque. */
static void dark_things_before_white(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, TEXT "bird = key luma fire\n  levels [1001 0.8 0.3, 1003 0.6 0.1]\n  by luminance\n");
    struct picture out = stage_picture(&set.stage, "bird", 1002, HAS_RGBA);
    for (int32_t x = -3; x < 38; x++) {
        const double r = at(&set.input.picture, 0, x, 4), g = at(&set.input.picture, 1, x, 4),
                     b = at(&set.input.picture, 2, x, 4);
        const double light = 0.2126 * r + 0.7152 * g + 0.0722 * b, alpha = ramp(light, 0.7, 0.2);
        assert_true(fabs(at(&out, PLANE_A, x, 4) - alpha) < 2e-4);
        assert_true(fabs(at(&out, PLANE_R, x, 4) - r * fmin(fmax(light - (1 - alpha) * 0.7, 0) / light, 1)) < 4e-4);
    }
    picture_release(&out);
    set_release(&set);
}

/* Grey smoke of any alpha, white where solid, before a black that is really 0.05: found again in alpha and colour. */
static void smoke_is_found_again(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, TEXT "smoke = key luma fire\n  levels 0.05 1\n");
    for (int32_t y = 1; y < 21; y++) {
        for (int32_t x = -3; x < 38; x++) {
            const float alpha = (float)(x + 3) / 40;
            for (int c = 0; c < 3; c++)
                picture_row(&set.input.picture, (enum plane)c, y)[x + 3] = alpha + (1 - alpha) * 0.05F;
        }
    }
    struct picture out = stage_picture(&set.stage, "smoke", 1001, HAS_RGBA);
    for (int32_t x = -3; x < 38; x++) {
        const double alpha = (x + 3) / 40.0;
        assert_true(fabs(at(&out, PLANE_A, x, 7) - alpha) < 1e-6);
        assert_true(fabs(at(&out, PLANE_R, x, 7) - alpha) < 1e-6);
    }
    picture_release(&out);
    set_release(&set);
}

static void refuses_knees_that_overlap(void **state)
{
    (void)state;
    struct set set;
    struct picture out;
    struct picture_info info;
    struct passel_error error;
    set_init(&set, TEXT "flame = key luma fire\n  knees 70% 40%\n");
    assert_int_equal(stage_make(&set.stage, "flame", 1001, 1, HAS_A, 64, &out, &info, &error), PASSEL_BAD_RECIPE);
    assert_non_null(strstr(error.text, "test.passel:7:9"));
    set_release(&set);
}

static void survives_no_memory(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, TEXT "flame = key luma fire\n  levels 0.1 0.9\n");
    stage_survives_no_memory(&set.stage, "flame", HAS_RGBA);
    set_release(&set);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(without_settings_the_colour_stays), cmocka_unit_test(knees_are_round),
        cmocka_unit_test(dark_things_before_white),          cmocka_unit_test(smoke_is_found_again),
        cmocka_unit_test(refuses_knees_that_overlap),        cmocka_unit_test(survives_no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
