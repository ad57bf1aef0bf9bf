/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The steps of a look, against their formulas in double; what they leave alone; grain against the picture it is like.
 * The color decision list: American Society of Cinematographers, "ASC Color Decision List Transfer Functions and
 * Interchange Syntax", version 1.2 (2009): (in · slope + offset) ^ power, then saturation about Rec. 709 luma.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "kinds/kinds.h"
#include "numerics/aperture.h"
#include "numerics/noise_model.h"
#include "numerics/seeded.h"
#include "pattern.h"
#include "stage.h"

#define SIDE 40

static const struct rect frame = { 0, 0, SIDE, SIDE };

/* Makes `seen` with these lines from a picture whose display window is the frame. */
static struct picture look_at_frame(const char *lines, const struct picture *plate, unsigned planes, int32_t at)
{
    static const struct kind *const kinds[] = { &kind_look, NULL };
    const struct stage_input inputs[] = { { "plate", *plate, frame } };
    struct stage stage;
    char text[512];
    (void)snprintf(text, sizeof text,
                   "shot s\n  frames 1-3\n  size 40x40\nplate = flat\n  colour 1 1 1\nseen = look plate\n%s", lines);
    stage_init(&stage, text, kinds);
    stage.inputs = inputs;
    stage.input_count = 1;
    struct picture out = stage_picture(&stage, "seen", at, planes);
    stage_release(&stage);
    return out;
}

static struct picture look(const char *lines, const struct picture *plate, unsigned planes)
{
    return look_at_frame(lines, plate, planes, 1);
}

/* Noise, premultiplied by a noisy alpha that is 0 in one corner. */
static struct picture noisy(void)
{
    struct picture picture = pattern_picture(frame, HAS_RGBA, 5);
    for (int32_t y = 0; y < SIDE; y++) {
        float *alpha = picture_row(&picture, PLANE_A, y);
        for (int32_t x = 0; x < SIDE; x++) {
            if (x < 5 && y < 5)
                alpha[x] = 0;
            for (int c = 0; c < 3; c++)
                picture_row(&picture, (enum plane)c, y)[x] *= alpha[x];
        }
    }
    return picture;
}

static struct picture even(float light)
{
    struct picture picture;
    assert_int_equal(picture_new(&picture, frame, HAS_RGB, NULL), PASSEL_OK);
    for (int c = 0; c < 3; c++)
        picture_fill(&picture, (enum plane)c, frame, light);
    return picture;
}

static struct picture one_point(int32_t x, int32_t y, float light)
{
    struct picture picture = even(0);
    for (int c = 0; c < 3; c++)
        picture_row(&picture, (enum plane)c, y)[x] = light;
    return picture;
}

static double sum_of(const struct picture *picture, enum plane plane)
{
    double sum = 0;
    for (int32_t y = picture->area.y0; y < picture->area.y1; y++)
        for (int32_t x = 0; x < rect_width(picture->area); x++)
            sum += (double)picture_row(picture, plane, y)[x];
    return sum;
}

static void light_is_multiplied(void **state)
{
    (void)state;
    struct picture plate = noisy();
    struct picture out = look("  exposure 1 stops\n  balance 1 0.5 3\n", &plate, HAS_RGBA);
    for (int32_t y = 0; y < SIDE; y++) {
        for (int32_t x = 0; x < SIDE; x++) {
            const float gains[3] = { 2, 1, 6 };
            for (int c = 0; c < 3; c++)
                assert_float_equal(pattern_at(&out, (enum plane)c, x, y),
                                   gains[c] * pattern_at(&plate, (enum plane)c, x, y), 1e-6);
            assert_true(pattern_at(&out, PLANE_A, x, y) == pattern_at(&plate, PLANE_A, x, y));
        }
    }
    picture_release(&out);
    picture_release(&plate);
}

static void cdl_follows_its_definition(void **state)
{
    (void)state;
    const double slope[3] = { 1.2, 0.9, 0.8 }, offset[3] = { 0.02, -0.05, 0.1 }, power[3] = { 0.8, 1, 1.4 };
    struct picture plate = noisy();
    struct picture out =
        look("  cdl slope 1.2 0.9 0.8 offset 0.02 -0.05 0.1 power 0.8 1 1.4 saturation 70%\n", &plate, HAS_RGBA);
    for (int32_t y = 0; y < SIDE; y++) {
        for (int32_t x = 0; x < SIDE; x++) {
            const double alpha = (double)pattern_at(&plate, PLANE_A, x, y), by = alpha > 0 ? alpha : 1;
            double v[3];
            for (int c = 0; c < 3; c++) {
                v[c] = (double)pattern_at(&plate, (enum plane)c, x, y) / by * slope[c] + (alpha > 0 ? offset[c] : 0);
                if (c != 1)
                    v[c] = pow(v[c] > 0 ? v[c] : 0, power[c]);
            }
            const double luma = 0.2126 * v[0] + 0.7152 * v[1] + 0.0722 * v[2];
            for (int c = 0; c < 3; c++)
                assert_float_equal(pattern_at(&out, (enum plane)c, x, y),
                                   (float)((alpha > 0 ? alpha : 1) * (luma + 0.7 * (v[c] - luma))), 2e-6F);
        }
    }
    picture_release(&out);
    picture_release(&plate);
}

static void cdl_works_on_codes(void **state)
{
    (void)state;
    struct picture plate = even(0.2F);
    struct picture out = look("  cdl slope 0.5 0.5 0.5 encoding srgb\n", &plate, HAS_RGB);
    const double code = 1.055 * pow(0.2, 1 / 2.4) - 0.055, half = code / 2; /* IEC 61966-2-1 */
    assert_float_equal(pattern_at(&out, PLANE_G, 7, 9), pow((half + 0.055) / 1.055, 2.4), 1e-6);
    picture_release(&out);
    picture_release(&plate);
}

/* Luminance of Rec. 709 primaries: 0.2126 0.7152 0.0722 (SMPTE RP 177). */
static void saturation_keeps_luminance(void **state)
{
    (void)state;
    struct picture plate = noisy();
    struct picture grey = look("  saturation 0%\n", &plate, HAS_RGBA);
    struct picture full = look("  saturation 160%\n", &plate, HAS_RGBA);
    for (int32_t y = 0; y < SIDE; y++) {
        for (int32_t x = 0; x < SIDE; x++) {
            const double luminance = 0.2126 * (double)pattern_at(&plate, PLANE_R, x, y) +
                                     0.7152 * (double)pattern_at(&plate, PLANE_G, x, y) +
                                     0.0722 * (double)pattern_at(&plate, PLANE_B, x, y);
            double after = 0;
            for (int c = 0; c < 3; c++)
                assert_float_equal(pattern_at(&grey, (enum plane)c, x, y), luminance, 1e-4);
            after = 0.2126 * (double)pattern_at(&full, PLANE_R, x, y) +
                    0.7152 * (double)pattern_at(&full, PLANE_G, x, y) +
                    0.0722 * (double)pattern_at(&full, PLANE_B, x, y);
            assert_float_equal(after, luminance, 1e-4);
        }
    }
    picture_release(&full);
    picture_release(&grey);
    picture_release(&plate);
}

static void a_veil_lies_where_something_is(void **state)
{
    (void)state;
    struct picture plate = noisy();
    struct picture out = look("  veil 25% colour 0.4 0.5 0.6\n", &plate, HAS_RGBA);
    for (int32_t y = 0; y < SIDE; y++) {
        for (int32_t x = 0; x < SIDE; x++) {
            const double alpha = (double)pattern_at(&plate, PLANE_A, x, y);
            for (int c = 0; c < 3; c++)
                assert_float_equal(
                    pattern_at(&out, (enum plane)c, x, y),
                    (float)(0.75 * (double)pattern_at(&plate, (enum plane)c, x, y) + 0.25 * (0.4 + 0.1 * c) * alpha),
                    1e-6F);
        }
    }
    picture_release(&out);
    picture_release(&plate);
}

static void a_vignette_darkens_the_corners(void **state)
{
    (void)state;
    struct picture plate = even(1);
    struct picture out = look("  vignette 2 stops from 25%\n", &plate, HAS_RGB);
    for (int32_t y = 0; y < SIDE; y++) {
        for (int32_t x = 0; x < SIDE; x++) {
            const double r = hypot(x + 0.5 - 20, y + 0.5 - 20) / hypot(20, 20), way = fmax(0, (r - 0.25) / 0.75);
            assert_float_equal(pattern_at(&out, PLANE_B, x, y), exp2(-2 * way * way), 1e-6);
        }
    }
    picture_release(&out);
    picture_release(&plate);
}

/* Light is spread, not made; alpha goes with it; the frame's border does not darken. */
static void softening_keeps_light(void **state)
{
    static const char *const ways[] = { "  blur 2.5 px\n", "  defocus 4.3 px\n" };
    (void)state;
    for (int i = 0; i < 2; i++) {
        struct picture plate = one_point(20, 19, 100), full = even(0.7F);
        struct picture out = look(ways[i], &plate, HAS_RGBA), flat = look(ways[i], &full, HAS_RGB);
        assert_float_equal(sum_of(&out, PLANE_G), 100, 1e-3);
        assert_float_equal(pattern_at(&out, PLANE_A, 0, 0), 1, 1e-6);
        for (int32_t y = 0; y < SIDE; y++)
            for (int32_t x = 0; x < SIDE; x++)
                assert_float_equal(pattern_at(&flat, PLANE_R, x, y), 0.7, 1e-6);
        picture_release(&flat);
        picture_release(&out);
        picture_release(&full);
        picture_release(&plate);
    }
}

/* Where the data ends inside the frame, the blur runs out over it. */
static void a_blur_leaves_the_data(void **state)
{
    (void)state;
    const struct rect part = { 12, 12, 28, 28 };
    struct picture plate;
    assert_int_equal(picture_new(&plate, part, HAS_RGBA, NULL), PASSEL_OK);
    for (int p = 0; p < PLANE_COUNT; p++)
        picture_fill(&plate, (enum plane)p, part, 1);
    struct picture out = look("  blur 1.5 px\n", &plate, HAS_RGBA);
    assert_int_equal(rect_width(out.area), SIDE);
    assert_float_equal(sum_of(&out, PLANE_A), 256, 1e-3);
    assert_float_equal(pattern_at(&out, PLANE_A, 12, 20) + pattern_at(&out, PLANE_A, 11, 20), 1, 1e-5);
    for (int32_t x = 0; x < SIDE; x++)
        assert_true(pattern_at(&out, PLANE_R, x, 20) == pattern_at(&out, PLANE_A, x, 20));
    picture_release(&out);
    picture_release(&plate);
}

static void a_disc_is_even_and_round(void **state)
{
    (void)state;
    const double radius = 6.4;
    struct picture plate = one_point(20, 20, 1);
    struct picture out = look("  defocus 6.4 px\n", &plate, HAS_RGB);
    const double level = (double)pattern_at(&out, PLANE_R, 20, 20);
    assert_true(fabs(level * 3.14159265358979 * radius * radius - 1) < 0.01);
    for (int32_t y = 0; y < SIDE; y++) {
        for (int32_t x = 0; x < SIDE; x++) {
            const double r = hypot(x - 20, y - 20), value = (double)pattern_at(&out, PLANE_R, x, y);
            if (r < radius - 0.5)
                assert_float_equal(value, level, 1e-7);
            else if (r > radius + 0.5)
                assert_true(value == 0);
            else
                assert_true(value >= 0 && value <= level);
        }
    }
    assert_int_equal(aperture_reach(radius), 6);
    picture_release(&out);
    picture_release(&plate);
}

static void sharpening_undoes_a_blur(void **state)
{
    (void)state;
    struct picture edge = even(0.2F);
    for (int32_t y = 0; y < SIDE; y++)
        for (int32_t x = 20; x < SIDE; x++)
            picture_row(&edge, PLANE_G, y)[x] = 0.8F;
    struct picture soft = look("  blur 1 px\n", &edge, HAS_RGB);
    struct picture out = look("  blur 1 px\n  sharpen 100% radius 1 px\n", &edge, HAS_RGB);
    const float before = pattern_at(&soft, PLANE_G, 20, 9) - pattern_at(&soft, PLANE_G, 19, 9);
    const float after = pattern_at(&out, PLANE_G, 20, 9) - pattern_at(&out, PLANE_G, 19, 9);
    assert_true(after > 1.25F * before && after < 0.6F);
    assert_float_equal(pattern_at(&out, PLANE_G, 5, 9), 0.2, 1e-6);
    assert_float_equal(sum_of(&out, PLANE_G), sum_of(&edge, PLANE_G), 1e-3);
    picture_release(&out);
    picture_release(&soft);
    picture_release(&edge);
}

static void only_what_is_bright_glows(void **state)
{
    (void)state;
    struct picture dim = even(0.9F), lamp = one_point(20, 20, 11);
    struct picture same = look("  glow 3 px\n", &dim, HAS_RGB);
    struct picture out = look("  glow 3 px above 1 strength 30%\n", &lamp, HAS_RGB);
    pattern_assert_same(&same, &dim, PLANE_G);
    assert_float_equal(sum_of(&out, PLANE_G), 11 + 0.3 * 10, 1e-3);
    picture_release(&out);
    picture_release(&same);
    picture_release(&lamp);
    picture_release(&dim);
}

/* Noise of variance 0.0004 · light + 0.00001 on a ramp. */
static struct picture grainy(struct rect area)
{
    struct picture picture;
    assert_int_equal(picture_new(&picture, area, HAS_RGB, NULL), PASSEL_OK);
    for (int32_t y = 0; y < area.y1; y++) {
        for (int32_t x = 0; x < area.x1; x++) {
            for (int c = 0; c < 3; c++) {
                const double light = 0.1 + 0.8 * x / area.x1;
                double chance = -6;
                for (int k = 0; k < 12; k++)
                    chance += seeded_share((uint64_t)(7 + 3 * k + c), (uint64_t)y, x);
                picture_row(&picture, (enum plane)c, y)[x] = (float)(light + chance * sqrt(0.0004 * light + 0.00001));
            }
        }
    }
    return picture;
}

static double variance_of(const struct picture *picture, enum plane plane, int32_t x0, int32_t x1)
{
    double sum = 0, squares = 0, count = 0;
    for (int32_t y = 0; y < rect_height(picture->area); y++) {
        for (int32_t x = x0; x < x1; x++) {
            const double v = (double)picture_row(picture, plane, y)[x];
            sum += v;
            squares += v * v;
            count++;
        }
    }
    return squares / count - sum / count * (sum / count);
}

static void grain_is_like_the_other(void **state)
{
    static const struct kind *const kinds[] = { &kind_look, NULL };
    const struct rect large = { 0, 0, 256, 256 };
    (void)state;
    struct picture like = grainy(large), plate;
    assert_int_equal(picture_new(&plate, large, HAS_RGB, NULL), PASSEL_OK);
    for (int c = 0; c < 3; c++) {
        picture_fill(&plate, (enum plane)c, rect_of(0, 0, 128, 256), 0.25F);
        picture_fill(&plate, (enum plane)c, rect_of(128, 0, 256, 256), 0.75F);
    }
    const struct stage_input inputs[] = { { "moon", like, large }, { "plate", plate, large } };
    struct stage stage;
    stage_init(&stage,
               "shot s\n  frames 1-3\n  size 256x256\nplate = flat\n  colour 1 1 1\nmoon = flat\n  colour 1 1 1\n"
               "seen = look plate\n  grain like moon\n",
               kinds);
    stage.inputs = inputs;
    stage.input_count = 2;
    struct picture out = stage_picture(&stage, "seen", 2, HAS_RGB), later = stage_picture(&stage, "seen", 3, HAS_RGB);
    const double dark = variance_of(&out, PLANE_G, 4, 124), light = variance_of(&out, PLANE_G, 132, 252);
    print_message("variance of the grain over the model's: %.3f in the dark, %.3f in the light\n",
                  dark / (0.0004 * 0.25 + 0.00001), light / (0.0004 * 0.75 + 0.00001));
    assert_true(fabs(dark / (0.0004 * 0.25 + 0.00001) - 1) < 0.15);
    assert_true(fabs(light / (0.0004 * 0.75 + 0.00001) - 1) < 0.15);
    assert_true(memcmp(picture_row(&out, PLANE_G, 9), picture_row(&later, PLANE_G, 9), 256 * sizeof(float)) != 0);
    picture_release(&later);
    picture_release(&out);
    stage_survives_no_memory(&stage, "seen", HAS_RGB);
    stage_release(&stage);
    picture_release(&plate);
    picture_release(&like);
}

static void memory_may_be_out(void **state)
{
    static const struct kind *const kinds[] = { &kind_look, NULL };
    (void)state;
    struct picture plate = noisy();
    const struct stage_input inputs[] = { { "plate", plate, frame } };
    struct stage stage;
    stage_init(&stage,
               "shot s\n  frames 1\n  size 40x40\nplate = flat\n  colour 1 1 1\nseen = look plate\n  blur 1 px\n"
               "  defocus 2 px\n  sharpen 20%\n  glow 2 px\n  saturation 80%\n",
               kinds);
    stage.inputs = inputs;
    stage.input_count = 1;
    stage_survives_no_memory(&stage, "seen", HAS_RGBA);
    stage_release(&stage);
    picture_release(&plate);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(light_is_multiplied),
        cmocka_unit_test(cdl_follows_its_definition),
        cmocka_unit_test(cdl_works_on_codes),
        cmocka_unit_test(saturation_keeps_luminance),
        cmocka_unit_test(a_veil_lies_where_something_is),
        cmocka_unit_test(a_vignette_darkens_the_corners),
        cmocka_unit_test(softening_keeps_light),
        cmocka_unit_test(a_blur_leaves_the_data),
        cmocka_unit_test(a_disc_is_even_and_round),
        cmocka_unit_test(sharpening_undoes_a_blur),
        cmocka_unit_test(only_what_is_bright_glows),
        cmocka_unit_test(grain_is_like_the_other),
        cmocka_unit_test(memory_may_be_out),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
