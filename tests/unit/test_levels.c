/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What a page shows of each frame: its levels, and where it is clipped.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "survey/gauge_run.h"
#include "survey/survey.h"

static struct reading reading_of(int32_t width, int32_t height)
{
    struct reading reading = { .width = width, .height = height };
    assert_int_equal(picture_new(&reading.picture, rect_of(0, 0, width, height), HAS_RGB, NULL), PASSEL_OK);
    return reading;
}

/* All rows of a reading, so many at a time. */
static struct frame_gauge gauge_of(const struct reading *reading, int32_t at_once)
{
    struct gauge_run run;
    struct look small = { 0 };
    struct frame_gauge gauge = { 0 };
    const struct rect area = reading->picture.area;
    assert_int_equal(gauge_begin(reading, &small, &run, NULL), PASSEL_OK);
    for (int32_t y = area.y0; y < area.y1; y += at_once) {
        const struct picture rows = picture_part(
            &reading->picture, rect_of(area.x0, y, area.x1, y + at_once < area.y1 ? y + at_once : area.y1));
        gauge_rows(&run, &rows);
    }
    gauge_end(&run, reading, &gauge, &small);
    look_release(&small);
    return gauge;
}

/* A grey whose logarithm rises evenly over ten doublings from left to right: its quantiles are known. */
static void levels_of_a_known_spread(void **state)
{
    static const int32_t widths[] = { 64, 333, 1920 };
    (void)state;
    for (int i = 0; i < 3; i++) {
        struct reading reading = reading_of(widths[i], 300);
        for (int c = 0; c < 3; c++) {
            for (int32_t y = 0; y < 300; y++) {
                for (int32_t x = 0; x < widths[i]; x++)
                    picture_row(&reading.picture, (enum plane)c, y)[x] =
                        exp2f(10 * ((float)x + 0.5F) / (float)widths[i] - 8);
            }
        }
        const struct frame_gauge gauge = gauge_of(&reading, 7);
        static const double shares[] = { 0.01, 0.5, 0.99 };
        for (int k = 0; k < 3; k++)
            assert_true(fabs(log2((double)gauge.levels[k]) - (10 * shares[k] - 8)) < 10.0 / widths[i] + 0.05);
        picture_release(&reading.picture);
    }
}

static void levels_of_ends(void **state)
{
    struct reading reading = reading_of(40, 30);
    (void)state;
    for (int c = 0; c < 3; c++)
        picture_fill(&reading.picture, (enum plane)c, reading.picture.area, -0.5F);
    struct frame_gauge gauge = gauge_of(&reading, 30);
    assert_true(gauge.levels[2] >= 0 && gauge.levels[2] < 1e-5F);
    for (int c = 0; c < 3; c++)
        picture_fill(&reading.picture, (enum plane)c, reading.picture.area, 65504);
    gauge = gauge_of(&reading, 30);
    assert_true(gauge.levels[0] > 6e4F && gauge.levels[2] < 66000);
    picture_release(&reading.picture);
}

/* A quarter of one tile and the whole of another stand at the top, in two channels; the third one only rises. */
static void clipped_places(void **state)
{
    struct reading reading = reading_of(10 * TILES_ACROSS, 10 * TILES_DOWN);
    (void)state;
    for (int c = 0; c < 3; c++)
        picture_fill(&reading.picture, (enum plane)c, reading.picture.area, 0.25F);
    for (int32_t x = 0; x < 10 * TILES_ACROSS; x++)
        picture_fill(&reading.picture, PLANE_G, rect_of(x, 0, x + 1, 10 * TILES_DOWN), (float)x);
    picture_fill(&reading.picture, PLANE_R, rect_of(50, 20, 55, 25), 1);
    picture_fill(&reading.picture, PLANE_B, rect_of(100, 40, 110, 50), 2);
    const struct frame_gauge gauge = gauge_of(&reading, 16);
    for (int i = 0; i < TILES; i++)
        assert_int_equal(gauge.at_top[i], i == 2 * TILES_ACROSS + 5 ? 64 : i == 4 * TILES_ACROSS + 10 ? 255 : 0);
    picture_release(&reading.picture);
}

/* One bright frame among even ones is brighter than its neighbours by what it is, and they are darker by half of it. */
static void steps_point_at_the_frame(void **state)
{
    struct frame_gauge frames[7] = { 0 };
    (void)state;
    for (int i = 0; i < 7; i++) {
        for (int t = 0; t < TILES; t++)
            frames[i].tiles[t] = i == 3 ? 0.22F : 0.2F;
    }
    assert_true(fabs(gauge_step(frames, 7, 3) - log(1.1)) < 1e-5);
    assert_true(fabs(gauge_step(frames, 7, 2) + log(1.1) / 2) < 1e-5);
    assert_true(gauge_step(frames, 7, 0) == 0 && gauge_step(frames, 7, 6) == 0);
    frames[4].status = PASSEL_BAD_FILE;
    assert_true(gauge_step(frames, 7, 3) == 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(levels_of_a_known_spread),
        cmocka_unit_test(levels_of_ends),
        cmocka_unit_test(clipped_places),
        cmocka_unit_test(steps_point_at_the_frame),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
