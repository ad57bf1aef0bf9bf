/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The sums of `passel plan` against worked examples of their sources, and against plain numeric versions where a source
 * has only a formula.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "survey/sums.h"
#include "survey/units.h"

#define PI 3.14159265358979323846

static void near(double got, double wanted, double within)
{
    if (!(fabs(got - wanted) <= within))
        fail_msg("%.9g instead of %.9g", got, wanted);
}

/* Source: VES Handbook, appendix A "Miniatures". */
static void rates_of_the_handbook(void **state)
{
    (void)state;
    near(sum_camera_rate(24, 4), 48, 1e-9);
    near(sum_camera_rate(24, 16), 96, 1e-9);
    near(sum_camera_rate(24, 6), 58.8, 0.02);
    near(sum_stops(24, 96), 2, 1e-12);
}

/* Same source: 36 mph at 1:6, filmed at 2.5 times the rate. */
static void speeds_of_the_handbook(void **state)
{
    double speed;
    (void)state;
    assert_true(quantity_read("36mph", speed_units, 1, &speed));
    near(sum_set_speed(speed, 6, 24, 60) / 0.3048, 22, 1e-9);
    near(sum_set_speed(speed, 6, 24, sum_camera_rate(24, 6)), speed / sqrt(6), 1e-9);
}

static void f_numbers(void **state)
{
    (void)state;
    near(sum_f_number(2.8, 8), 22.4, 1e-12);
    near(sum_engraved(sum_f_number(2.8, 8)), 22, 0);
    near(sum_engraved(1), 1, 0);
    near(sum_engraved(5.7), 5.6, 0);
    near(sum_exposure(24, 180), 1.0 / 48, 1e-15);
    near(sum_airy(22) * 1e6, 29.5, 0.1);
}

/* Where does a thin lens image a point, and how wide is its cone at the sensor? From 1/f = 1/d + 1/d'. */
static double plain_blur(double lens, double stop, double focus, double distance)
{
    const double sensor = 1 / (1 / lens - 1 / focus), image = 1 / (1 / lens - 1 / distance);
    return lens / stop * fabs(sensor - image) / image;
}

static void sharpness_by_the_thin_lens(void **state)
{
    const double lens = 0.05, stop = 8, blur = 25e-6;
    const struct sharp_range sharp = sum_sharp(lens, stop, 1.2, blur);
    (void)state;
    near(plain_blur(lens, stop, 1.2, sharp.nearest), blur, 1e-12);
    near(plain_blur(lens, stop, 1.2, sharp.farthest), blur, 1e-12);
    near(plain_blur(lens, stop, sharp.hyperfocal, 1e12), blur, 1e-12);
    assert_true(isinf(sum_sharp(lens, stop, sharp.hyperfocal * 1.01, blur).farthest));
    near(sum_blur(lens, stop, 1.5, 4), plain_blur(lens, stop, 1.5, 4), 1e-12);
}

/* The scene of scale 1:m at f-number N·m has the blur discs of the full-size one at N, for far smaller lenses than
 * distances. */
static void scaled_depth_of_field(void **state)
{
    const double full = sum_blur(0.035, 2.8, 80, 160);
    (void)state;
    near(sum_blur(0.035, sum_f_number(2.8, 8), 10, 20) / full, 1, 0.005);
}

static void framing(void **state)
{
    const double field = sum_field(0.0249, 0.035, 3);
    (void)state;
    /* Image distance over object distance, from the lens equation. */
    near(field, 0.0249 * 3 / (1 / (1 / 0.035 - 1 / 3.0)), 1e-12);
    near(sum_lens_to_fill(0.0249, field, 3), 0.035, 1e-12);
    near(sum_distance_to_fill(0.0249, 0.035, field), 3, 1e-12);
}

/* The view factor, summed over small pieces of the screen: cos² / (π r²). */
static double plain_share(double width, double height, double distance)
{
    const int n = 400;
    double sum = 0;
    for (int i = 0; i < n; i++)
        for (int k = 0; k < n; k++) {
            const double x = width * ((i + 0.5) / n - 0.5), y = height * ((k + 0.5) / n - 0.5);
            const double r2 = x * x + y * y + distance * distance;
            sum += distance * distance / (r2 * r2);
        }
    return sum * width / n * height / n / PI;
}

static void spill(void **state)
{
    (void)state;
    near(sum_screen_share(3, 2, 1.5), plain_share(3, 2, 1.5), 1e-4);
    near(sum_screen_share(3, 2, 4.6), plain_share(3, 2, 4.6), 1e-5);
    near(sum_screen_share(1e6, 1e6, 1), 1, 1e-5);
}

/* A grid of period p, sampled: the strongest frequency that is left is what the sum says. */
static void beats(void **state)
{
    const double pitch = 1.07;
    const int n = 4096;
    int best = 0;
    double most = 0;
    (void)state;
    for (int k = 1; k <= n / 2; k++) {
        double re = 0, im = 0;
        for (int i = 0; i < n; i++) {
            const double value = cos(2 * PI * i / pitch);
            re += value * cos(2 * PI * k * i / n);
            im += value * sin(2 * PI * k * i / n);
        }
        if (re * re + im * im > most) {
            most = re * re + im * im;
            best = k;
        }
    }
    near(sum_beat(pitch), (double)n / best, 0.1);
    assert_true(isinf(sum_beat(1)));
    assert_true(isinf(sum_beat(0.5)));
    near(sum_beat(1.5), 3, 1e-9);
    near(sum_pitch(2.6e-3, 0.05, 4, 0.0249, 1920), 2.6e-3 / sum_field(0.0249, 0.05, 4) * 1920, 1e-12);
    near(sum_blur_to_hide(1), 1.2197, 1e-4);
}

/* 24 a second on 50 Hz mains: 172.8 degrees, the angle that cameras are set to there; 144 on 60 Hz. */
static void steady_shutters(void **state)
{
    (void)state;
    near(sum_safe_angle(24, 100, 2), 172.8, 1e-9);
    near(sum_safe_angle(24, 120, 2), 144, 1e-9);
    near(sum_safe_angle(25, 100, 4), 360, 1e-9);
    near(sum_safe_angle(25, 100, 5), 0, 0);
    assert_true(sum_in_step(25, 100));
    assert_true(sum_in_step(24, 120));
    assert_false(sum_in_step(24, 100));
    assert_false(sum_in_step(200, 100));
    near(sum_swing_left(100, sum_exposure(24, 172.8)), 0, 1e-12);
    near(sum_swing_left(100, 0), 1, 0);
}

/* Flashes counted one by one, for openings all over the beat. */
static void strobes(void **state)
{
    static const double frequencies[] = { 10, 30, 48, 120, 200 };
    (void)state;
    for (size_t f = 0; f < sizeof frequencies / sizeof *frequencies; f++) {
        const double exposure = sum_exposure(24, 180), period = 1 / frequencies[f];
        int fewest = 1000, most = 0;
        for (int k = 0; k < 1000; k++) {
            const double open = period * (k + 0.5) / 1000;
            int count = 0;
            for (int n = 0; n * period < open + exposure; n++)
                count += n * period >= open;
            fewest = count < fewest ? count : fewest;
            most = count > most ? count : most;
        }
        const struct flash_count flashes = sum_flashes(frequencies[f], exposure);
        near(flashes.fewest, fewest, 0);
        near(flashes.most, most, 0);
    }
}

/* The mean of a sine over the exposure, summed; the largest over all phases. */
static void swing_left(void **state)
{
    const double frequency = 100, exposure = sum_exposure(24, 90);
    double re = 0, im = 0;
    (void)state;
    for (int i = 0; i < 100000; i++) {
        const double t = exposure * (i + 0.5) / 100000;
        re += cos(2 * PI * frequency * t) / 100000;
        im += sin(2 * PI * frequency * t) / 100000;
    }
    near(sum_swing_left(frequency, exposure), sqrt(re * re + im * im), 1e-9);
}

static void lengths_and_speeds(void **state)
{
    static const struct {
        const char *text;
        double value;
    } good[] = { { "35", 0.035 },   { "35mm", 0.035 }, { "120 cm", 1.2 }, { "4ft", 1.2192 },
                 { "1in", 0.0254 }, { "25um", 25e-6 }, { "2m", 2 },       { "0.5km", 500 } };
    static const char *const bad[] = { "", "m", "-2m", "0", "2 yards", "nan", "inf", "2mm " };
    char text[QUANTITY_TEXT];
    double value;
    (void)state;
    for (size_t i = 0; i < sizeof good / sizeof *good; i++) {
        assert_true(quantity_read(good[i].text, length_units, 1e-3, &value));
        near(value, good[i].value, 1e-12);
    }
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        assert_false(quantity_read(bad[i], length_units, 1e-3, &value));
    assert_string_equal(length_text(1.2192, text), "1.219 m (4 ft 0.0 in)");
    assert_string_equal(length_text(3.6575, text), "3.658 m (12 ft 0.0 in)");
    assert_string_equal(length_text(0.035, text), "35 mm (1.38 in)");
    assert_string_equal(length_text(25e-6, text), "25 um (0.00098 in)");
    assert_string_equal(length_text(INFINITY, text), "infinity");
    assert_string_equal(speed_text(0.3048, text), "0.305 m/s (1 ft/s)");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(rates_of_the_handbook),
        cmocka_unit_test(speeds_of_the_handbook),
        cmocka_unit_test(f_numbers),
        cmocka_unit_test(sharpness_by_the_thin_lens),
        cmocka_unit_test(scaled_depth_of_field),
        cmocka_unit_test(framing),
        cmocka_unit_test(spill),
        cmocka_unit_test(beats),
        cmocka_unit_test(steady_shutters),
        cmocka_unit_test(strobes),
        cmocka_unit_test(swing_left),
        cmocka_unit_test(lengths_and_speeds),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
