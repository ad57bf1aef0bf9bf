/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The measures of a survey one by one, the table of limits, and its page in the manual.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "base/file.h"
#include "base/memory.h"
#include "kinds/shot.h"
#include "survey/gauge_run.h"
#include "survey/survey.h"
#include "survey/survey_track.h"

enum { WIDTH = 128, HEIGHT = 96 };

/* Near enough to a normal deviate of deviation 1; repeatable (LCG of Numerical Recipes). */
static float deviate(uint32_t *seed)
{
    double sum = -6;
    for (int i = 0; i < 12; i++) {
        *seed = *seed * 1664525u + 1013904223u;
        sum += *seed / 4294967296.0;
    }
    return (float)sum;
}

/* Stripes of several sines on grey, softened `soft` times by 1 2 1, with noise of deviation `noise`. */
static float stripe(int32_t x, int soft)
{
    static const double periods[] = { 2.7, 3.9, 5.3, 9.1, 17 };
    double value = 0.3;
    for (size_t i = 0; i < sizeof periods / sizeof *periods; i++) {
        const double turn = 2 * 3.14159265358979 / periods[i];
        /* 1 2 1 over 4 multiplies a sine by (1 + cos) / 2. */
        value += 0.04 * pow((1 + cos(turn)) / 2, soft) * sin(turn * x);
    }
    return (float)value;
}

static struct picture stripes(int soft, float noise, uint32_t seed)
{
    struct picture picture;
    assert_int_equal(picture_new(&picture, rect_of(0, 0, WIDTH, HEIGHT), HAS_RGB, NULL), PASSEL_OK);
    for (int32_t y = 0; y < HEIGHT; y++) {
        for (int32_t x = 0; x < WIDTH; x++) {
            for (int c = 0; c < 3; c++)
                picture_row(&picture, (enum plane)c, y)[x] = stripe(x, soft) + noise * deviate(&seed);
        }
    }
    return picture;
}

static double focus_of(const struct picture *pass, struct noise noise, const struct picture *lock,
                       float regions[FOCUS_REGIONS])
{
    const struct noise lock_noise = { 0, 1e-6F };
    struct detail_map a, b;
    assert_int_equal(gauge_detail(pass, &a, NULL), PASSEL_OK);
    assert_int_equal(gauge_detail(lock, &b, NULL), PASSEL_OK);
    const double focus = gauge_focus(&a, &noise, &b, &lock_noise, regions);
    detail_map_release(&a);
    detail_map_release(&b);
    return focus;
}

static void focus_is_a_ratio(void **state)
{
    const struct noise noise = { 0, 1e-6F };
    float regions[FOCUS_REGIONS];
    struct picture sharp = stripes(0, 1e-3F, 1), again = stripes(0, 1e-3F, 2), soft = stripes(3, 1e-3F, 3);
    (void)state;
    assert_true(fabs(focus_of(&again, noise, &sharp, regions) - 1) < 0.03);
    assert_true(focus_of(&soft, noise, &sharp, regions) < 0.75);
    /* Twice the light is no change of focus. */
    for (size_t i = 0; i < again.stride * HEIGHT; i++)
        again.plane[PLANE_G][i] *= 2;
    const struct noise brighter = { 0, 4e-6F };
    assert_true(fabs(focus_of(&again, brighter, &sharp, regions) - 1) < 0.03);
    picture_release(&sharp);
    picture_release(&again);
    picture_release(&soft);
}

/* Soft on the right alone: the regions tell. */
static void focus_of_regions(void **state)
{
    const struct noise noise = { 0, 1e-6F };
    enum { ACROSS = 384, DOWN = 288 };
    float regions[FOCUS_REGIONS];
    struct picture pictures[2];
    uint32_t seed = 9;
    (void)state;
    for (int i = 0; i < 2; i++) {
        assert_int_equal(picture_new(&pictures[i], rect_of(0, 0, ACROSS, DOWN), HAS_RGB, NULL), PASSEL_OK);
        for (int32_t y = 0; y < DOWN; y++) {
            for (int32_t x = 0; x < ACROSS; x++)
                picture_row(&pictures[i], PLANE_G, y)[x] =
                    stripe(x, i == 0 && x >= ACROSS / 2 ? 3 : 0) + 1e-3F * deviate(&seed);
        }
    }
    (void)focus_of(&pictures[0], noise, &pictures[1], regions);
    for (int i = 0; i < FOCUS_REGIONS; i++)
        assert_true(i % FOCUS_ACROSS < FOCUS_ACROSS / 2 ? fabsf(regions[i] - 1) < 0.05F
                                                        : regions[i] > 0 && regions[i] < 0.75F);
    picture_release(&pictures[0]);
    picture_release(&pictures[1]);
}

static void no_detail_no_focus(void **state)
{
    const struct noise noise = { 0, 1e-6F };
    float regions[FOCUS_REGIONS];
    struct picture flat;
    (void)state;
    assert_int_equal(picture_new(&flat, rect_of(0, 0, WIDTH, HEIGHT), HAS_RGB, NULL), PASSEL_OK);
    for (int c = 0; c < 3; c++)
        picture_fill(&flat, (enum plane)c, flat.area, 0.2F);
    assert_true(focus_of(&flat, noise, &flat, regions) < 0);
    picture_release(&flat);
}

/* Waves of many lengths and directions, so that the picture is nowhere like itself. */
static float texture(double x, double y)
{
    double value = 0.3;
    for (int k = 0; k < 40; k++) {
        const double turn = 2.399963 * k, length = 5 * pow(1.07, k);
        value += 0.012 * sin(6.283185 * (x * cos(turn) + y * sin(turn)) / length + 1.7 * k * k);
    }
    return (float)value;
}

/* It moves by parts of a pixel and by several, and gets brighter; in a quarter of it something else moves the other
 * way. */
static void tracks_follow_the_picture(void **state)
{
    static const double moves[][2] = { { 0, 0 },     { 0.13, -0.08 }, { -0.5, 0.5 },
                                       { 1.6, 0.3 }, { -4.2, 2.7 },   { 11, -6.5 } };
    enum { ACROSS = 240, DOWN = 136 };
    float *fixed = calloc(ACROSS * DOWN, sizeof *fixed), *moved = calloc(ACROSS * DOWN, sizeof *moved);
    uint32_t seed = 11;
    (void)state;
    assert_true(fixed != NULL && moved != NULL);
    for (size_t k = 0; k < sizeof moves / sizeof *moves; k++) {
        double dx, dy;
        for (int y = 0; y < DOWN; y++) {
            for (int x = 0; x < ACROSS; x++) {
                const bool other = x < ACROSS / 2 && y < DOWN / 2;
                const double sign = other ? -1 : 1;
                fixed[y * ACROSS + x] = texture(x, y) + 0.002F * deviate(&seed);
                moved[y * ACROSS + x] =
                    1.2F * texture(x - sign * moves[k][0], y - sign * moves[k][1]) + 0.002F * deviate(&seed);
            }
        }
        assert_true(track_shift(fixed, moved, ACROSS, DOWN, &dx, &dy));
        if (!(fabs(dx - moves[k][0]) < 0.03 && fabs(dy - moves[k][1]) < 0.03))
            fail_msg("%g %g was measured as %g %g", moves[k][0], moves[k][1], dx, dy);
    }
    memset(fixed, 0, ACROSS * DOWN * sizeof *fixed);
    assert_false(track_shift(fixed, fixed, ACROSS, DOWN, &(double){ 0 }, &(double){ 0 }));
    free(fixed);
    free(moved);
}

static void spots_stand_out(void **state)
{
    const struct noise noise[3] = { { 0, 1e-6F }, { 0, 1e-6F }, { 0, 1e-6F } };
    struct picture picture = stripes(0, 1e-3F, 4);
    struct spot spots[SPOTS_MOST];
    (void)state;
    assert_int_equal(gauge_spots(&picture, noise, spots), 0);
    picture_row(&picture, PLANE_B, 40)[70] = 0.9F;
    picture_row(&picture, PLANE_R, 20)[11] = 0;
    assert_int_equal(gauge_spots(&picture, noise, spots), 2);
    assert_true(spots[0].x == 11 && spots[0].y == 20 && spots[1].x == 70 && spots[1].y == 40);
    picture_release(&picture);
}

static struct frame_gauge gauge_of(const struct reading *reading)
{
    struct gauge_run run;
    struct look small = { 0 };
    struct frame_gauge gauge;
    assert_int_equal(gauge_begin(reading, &small, &run, NULL), PASSEL_OK);
    gauge_rows(&run, &reading->picture);
    gauge_end(&run, reading, &gauge, &small);
    assert_int_equal(small.across, WIDTH);
    look_release(&small);
    return gauge;
}

static void clipping_is_a_plateau(void **state)
{
    struct reading reading = { .picture = stripes(0, 0.01F, 5), .width = WIDTH, .height = HEIGHT };
    (void)state;
    struct frame_gauge gauge = gauge_of(&reading);
    assert_true(gauge.clipped[PLANE_G] == 0 && gauge.crushed[PLANE_G] == 0);
    size_t above = 0;
    for (size_t y = 0; y < HEIGHT; y++) {
        for (size_t x = 0; x < WIDTH; x++) {
            float *value = &reading.picture.plane[PLANE_G][y * reading.picture.stride + x];
            above += *value >= 0.34F;
            *value = fminf(*value, 0.34F);
        }
    }
    gauge = gauge_of(&reading);
    assert_true(fabs((double)gauge.clipped[PLANE_G] * WIDTH * HEIGHT - (double)above) < 0.03 * (double)above);
    picture_release(&reading.picture);
}

/* A light that rises by 3 % a frame, with an independent change of 5 %; a quarter of the tiles does what it likes. */
static void flicker_is_the_change(void **state)
{
    enum { COUNT = 200 };
    struct frame_gauge *frames = calloc(COUNT, sizeof *frames);
    uint32_t seed = 6;
    (void)state;
    assert_non_null(frames);
    for (int i = 0; i < COUNT; i++) {
        const float change = expf(0.05F * deviate(&seed));
        frames[i].width = WIDTH;
        frames[i].height = HEIGHT;
        for (int t = 0; t < TILES; t++)
            frames[i].tiles[t] = t % 4 == 0 ? 0.1F * expf(deviate(&seed)) : 0.05F * powf(1.03F, (float)i) * change;
    }
    assert_true(fabs(gauge_flicker(frames, COUNT) - 0.05) < 0.008);
    for (int i = 0; i < COUNT; i++) {
        for (int t = 0; t < TILES; t++)
            frames[i].tiles[t] = 0.05F * powf(1.03F, (float)i);
    }
    assert_true(gauge_flicker(frames, COUNT) < 1e-4);
    assert_true(gauge_flicker(frames, 3) < 0);
    free(frames);
}

/* Rows of tiles that change by 3 % each for itself, beside a flicker of 5 % of the whole. */
static void bands_are_rows_that_change(void **state)
{
    enum { COUNT = 100 };
    struct frame_gauge *frames = calloc(COUNT, sizeof *frames);
    uint32_t seed = 8;
    (void)state;
    assert_non_null(frames);
    for (int banded = 0; banded < 2; banded++) {
        for (int i = 0; i < COUNT; i++) {
            const float whole = 0.05F * expf(0.05F * deviate(&seed));
            frames[i].width = WIDTH;
            frames[i].height = HEIGHT;
            for (int y = 0; y < TILES_DOWN; y++) {
                const float row = banded ? expf(0.03F * deviate(&seed)) : 1;
                for (int x = 0; x < TILES_ACROSS; x++)
                    frames[i].tiles[y * TILES_ACROSS + x] = whole * row;
            }
        }
        const double bands = gauge_bands(frames, COUNT);
        assert_true(banded ? fabs(bands - 0.03) < 0.005 : bands < 1e-4);
    }
    assert_true(gauge_bands(frames, 2) < 0);
    free(frames);
}

static void limits_change_by_name(void **state)
{
    struct limit limits[LIMIT_COUNT];
    static const char *const bad[] = {
        "bump", "bump=", "bump=1", "bump=1,", "bump=1,x", "lump=1,2", "bump=-1,2", "=1,2"
    };
    (void)state;
    memcpy(limits, limit_table, sizeof limits);
    assert_true(limits_change(limits, "bump=0.3,1"));
    assert_true(limits[LIMIT_BUMP].care == 0.3 && limits[LIMIT_BUMP].shoot == 1);
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        assert_false(limits_change(limits, bad[i]));
    for (int i = 0; i < LIMIT_COUNT; i++) {
        assert_non_null(limit_table[i].name);
        assert_true(strlen(limit_table[i].source) > 5 && strlen(limit_table[i].advice) > 5);
        assert_true(limit_table[i].below ? limit_table[i].shoot < limit_table[i].care
                                         : limit_table[i].shoot >= limit_table[i].care);
    }
}

static void the_shot_block_has_the_names(void **state)
{
    (void)state;
    for (int i = 0; i < LIMIT_COUNT; i++) {
        assert_non_null(limit_choices[i].word);
        assert_string_equal(limit_choices[i].word, limit_table[i].name);
    }
    assert_null(limit_choices[LIMIT_COUNT].word);
}

static void the_manual_has_the_table(void **state)
{
    struct text table = { 0 };
    char *page;
    size_t size;
    (void)state;
    limits_markdown(&table);
    assert_int_equal(file_read(PASSEL_SOURCE_DIR "/docs/survey.md", 1 << 20, &page, &size, NULL), PASSEL_OK);
    assert_non_null(strstr(page, table.bytes));
    memory_free(page);
    text_release(&table);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(focus_is_a_ratio),         cmocka_unit_test(no_detail_no_focus),
        cmocka_unit_test(focus_of_regions),         cmocka_unit_test(tracks_follow_the_picture),
        cmocka_unit_test(spots_stand_out),          cmocka_unit_test(clipping_is_a_plateau),
        cmocka_unit_test(flicker_is_the_change),    cmocka_unit_test(bands_are_rows_that_change),
        cmocka_unit_test(limits_change_by_name),    cmocka_unit_test(the_shot_block_has_the_names),
        cmocka_unit_test(the_manual_has_the_table),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
