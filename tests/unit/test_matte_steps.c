/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The matte steps that look at curves, at the whole matte, at other frames and at a guide.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "key_scene.h"
#include "kinds/kinds.h"
#include "numerics/components.h"
#include "pattern.h"
#include "stage.h"

#define TEXT                                                                                                           \
    "shot storm\n  frames 1001-1005\n  size 60x45\n"                                                                   \
    "cut = flat\n  colour 0 0 0\n"                                                                                     \
    "hold = flat\n  colour 0 0 0\n"                                                                                    \
    "plate = flat\n  colour 0 0 0\n"

enum { WIDTH = 60, HEIGHT = 45, INPUTS = 7 };

static const struct kind *const kinds[] = { &kind_matte, NULL };
static const struct rect window = { 0, 0, WIDTH, HEIGHT };

struct set {
    struct stage stage;
    struct stage_input inputs[INPUTS];
};

/* cut at five frames, hold and plate at all; noise all of them. */
static void set_init(struct set *set, const char *text)
{
    static const char *const names[INPUTS] = { "cut@1001", "cut@1002", "cut@1003", "cut@1004",
                                               "cut@1005", "hold",     "plate" };
    for (int i = 0; i < INPUTS; i++)
        set->inputs[i] =
            (struct stage_input){ names[i], pattern_picture(window, i < 6 ? HAS_A : HAS_RGB, (uint32_t)i + 1), window };
    stage_init(&set->stage, text, kinds);
    set->stage.inputs = set->inputs;
    set->stage.input_count = INPUTS;
}

static void set_release(struct set *set)
{
    stage_release(&set->stage);
    for (int i = 0; i < INPUTS; i++)
        picture_release(&set->inputs[i].picture);
}

static double at(const struct picture *picture, int32_t x, int32_t y)
{
    return (double)pattern_at(picture, PLANE_A, x, y);
}

/* ---- response ---------------------------------------------------------------------------------------------------- */

static double between(double v, double x0, double y0, double x1, double y1)
{
    return y0 + (y1 - y0) * (v - x0) / (x1 - x0);
}

static void response_goes_through_its_points(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, TEXT "edge = matte cut\n  response [1001 0.1 0 0.3 0.1 0.9 1, 1003 0.1 0 0.5 0.3 0.9 1]\n"
                        "round = matte cut\n  response 0.1 0 0.4 0.2 0.9 1 smooth\n"
                        "same = matte cut\n  response 0 0 0.7 0.7 1 1 smooth\n");
    struct picture *cut = &set.inputs[1].picture;
    for (int32_t x = 0; x < WIDTH; x++)
        picture_row(cut, PLANE_A, 7)[x] = (float)(x - 5) / 50;
    struct picture edge = stage_picture(&set.stage, "edge", 1002, HAS_A);
    struct picture round = stage_picture(&set.stage, "round", 1002, HAS_A);
    struct picture same = stage_picture(&set.stage, "same", 1002, HAS_A);
    for (int32_t x = 0; x < WIDTH; x++) {
        const double v = (x - 5) / 50.0;
        const double line = v < 0.1   ? 0
                            : v < 0.4 ? between(v, 0.1, 0, 0.4, 0.2)
                            : v < 0.9 ? between(v, 0.4, 0.2, 0.9, 1)
                                      : 1;
        assert_true(fabs(at(&edge, x, 7) - line) < 1e-6);
        assert_true(fabs(at(&same, x, 7) - fmin(fmax(v, 0), 1)) < 1e-6);
        assert_true(fabs(at(&round, x, 7) - line) < 0.1);
        if (x > 0)
            assert_true(at(&round, x, 7) >= at(&round, x - 1, 7));
    }
    assert_true(fabs(at(&round, 25, 7) - 0.2) < 1e-6); /* 0.4 in */
    /* No corner: the slopes to either side of the middle point are alike. */
    assert_true(fabs((at(&round, 26, 7) - at(&round, 25, 7)) - (at(&round, 25, 7) - at(&round, 24, 7))) < 0.004);
    picture_release(&edge);
    picture_release(&round);
    picture_release(&same);
    set_release(&set);
}

/* ---- rim --------------------------------------------------------------------------------------------------------- */

static void rim_is_a_band(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, TEXT "edge = matte cut\n  rim 5 px\n");
    struct picture *cut = &set.inputs[0].picture;
    picture_fill(cut, PLANE_A, window, 0);
    picture_fill(cut, PLANE_A, rect_of(0, 0, 30, HEIGHT), 1);
    struct picture out = stage_picture(&set.stage, "edge", 1001, HAS_A);
    for (int32_t y = 0; y < HEIGHT; y++) {
        double sum = 0;
        for (int32_t x = 0; x < WIDTH; x++) {
            sum += at(&out, x, y);
            if (x < 26 || x > 33)
                assert_true(at(&out, x, y) == 0);
        }
        /* A hard edge is one pixel wide between the centres: the band is that much wider at its foot. */
        assert_true(fabs(sum - 5) < 0.01);
        assert_true(at(&out, 29, y) == 1 && at(&out, 30, y) == 1);
    }
    picture_release(&out);
    set_release(&set);
}

/* ---- the whole matte --------------------------------------------------------------------------------------------- */

/* In a row of steps the whole matte is what the steps before it make; the ones behind it go on with that. */
static void holes_and_specks_in_a_row_of_steps(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, TEXT "ready = matte cut\n  soften 1.5 px\n  minus hold\n  floor 20% ceiling 45%\n"
                        "closed = matte cut\n  soften 1.5 px\n  minus hold\n  floor 20% ceiling 45%\n"
                        "  holes 5 px\n  specks 4 px\n"
                        "more = matte cut\n  soften 1.5 px\n  minus hold\n  floor 20% ceiling 45%\n"
                        "  holes 5 px\n  specks 4 px\n  choke 0.6 px\n  union hold\n"
                        "small = matte cut\n  holes 10 px\n");
    struct picture ready = stage_picture(&set.stage, "ready", 1001, HAS_A);
    struct picture closed = stage_picture(&set.stage, "closed", 1001, HAS_A);
    struct picture more = stage_picture(&set.stage, "more", 1001, HAS_A);
    assert_string_equal(set.stage.asked, "cut:A hold:A hold:A");
    double changed = 0;
    for (int32_t y = 0; y < HEIGHT; y++) {
        for (int32_t x = 0; x < WIDTH; x++)
            changed += at(&ready, x, y) != at(&closed, x, y);
    }
    assert_true(changed > 20);
    assert_int_equal(components_fill_holes(&ready, PLANE_A, 5, NULL), PASSEL_OK);
    assert_int_equal(components_drop_specks(&ready, PLANE_A, 4, NULL), PASSEL_OK);
    pattern_assert_same(&closed, &ready, PLANE_A);
    /* The same again, from the closed matte. */
    struct set next;
    set_init(&next, TEXT "more = matte cut\n  choke 0.6 px\n  union hold\n");
    picture_copy(&next.inputs[0].picture, &closed);
    struct picture again = stage_picture(&next.stage, "more", 1001, HAS_A);
    pattern_assert_same(&more, &again, PLANE_A);
    set_release(&next);
    picture_release(&again);
    picture_release(&more);
    /* At half size 10 px are 5. */
    struct picture half;
    struct picture_info info;
    picture_copy(&set.inputs[0].picture, &closed);
    assert_int_equal(stage_make(&set.stage, "small", 1001, 2, HAS_A, 64, &half, &info, NULL), PASSEL_OK);
    assert_int_equal(components_fill_holes(&closed, PLANE_A, 5, NULL), PASSEL_OK);
    pattern_assert_same(&half, &closed, PLANE_A);
    picture_release(&half);
    picture_release(&ready);
    picture_release(&closed);
    set_release(&set);
}

/* ---- steady ------------------------------------------------------------------------------------------------------ */

/* Alpha of a soft disc. */
static double disc_at(double x, double y, double cx, double cy)
{
    return fmin(fmax(8.5 - hypot(x + 0.5 - cx, y + 0.5 - cy), 0) / 3, 1);
}

/* The disc at five frames, moving by (dx, dy), with noise where it is soft. */
static void disc_frames(struct set *set, double dx, double dy, double noise)
{
    struct dice dice = { 3 };
    for (int i = 0; i < 5; i++) {
        for (int32_t y = 0; y < HEIGHT; y++) {
            for (int32_t x = 0; x < WIDTH; x++) {
                const double a = disc_at(x, y, 28 + dx * (i - 2), 22 + dy * (i - 2));
                const double grain = a > 0 && a < 1 ? noise * dice_gauss(&dice) : 0;
                picture_row(&set->inputs[i].picture, PLANE_A, y)[x] = (float)(a + grain);
            }
        }
    }
}

/* Root of the mean squared error in the soft parts of the middle frame. */
static double disc_error(const struct picture *picture)
{
    double sum = 0;
    int count = 0;
    for (int32_t y = 0; y < HEIGHT; y++) {
        for (int32_t x = 0; x < WIDTH; x++) {
            const double a = disc_at(x, y, 28, 22), d = at(picture, x, y) - a;
            if (a > 0 && a < 1) {
                sum += d * d;
                count++;
            } else {
                assert_true(fabs(d) < 0.03);
            }
        }
    }
    return sqrt(sum / count);
}

/* The mean of five frames would have 1 / sqrt(5) = 0.45 of the noise. */
static void steady_averages_what_stands_and_what_moves(void **state)
{
    (void)state;
    static const double moves[][2] = { { 0, 0 }, { 3, 0 }, { -2, 3 } };
    for (size_t i = 0; i < sizeof moves / sizeof *moves; i++) {
        struct set set;
        set_init(&set, TEXT "calm = matte cut\n  steady 2 frames\n");
        disc_frames(&set, moves[i][0], moves[i][1], 0.03);
        const double before = disc_error(&set.inputs[2].picture);
        struct picture out = stage_picture(&set.stage, "calm", 1003, HAS_A);
        assert_string_equal(set.stage.asked, "cut:A cut:A cut:A cut:A cut:A");
        assert_true(disc_error(&out) < 0.62 * before);
        picture_release(&out);
        set_release(&set);
    }
}

/* Something that comes and goes, or turns, stays what it is in its frame. */
static void steady_smears_nothing(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, TEXT "calm = matte cut\n  steady 2 frames\n");
    disc_frames(&set, 0, 0, 0);
    picture_fill(&set.inputs[1].picture, PLANE_A, window, 0);
    picture_fill(&set.inputs[3].picture, PLANE_A, window, 1);
    picture_fill(&set.inputs[4].picture, PLANE_A, window, 0);
    struct picture out = stage_picture(&set.stage, "calm", 1003, HAS_A);
    for (int32_t y = 0; y < HEIGHT; y++) {
        for (int32_t x = 0; x < WIDTH; x++)
            assert_true(fabs(at(&out, x, y) - at(&set.inputs[2].picture, x, y)) < 0.03);
    }
    picture_release(&out);
    /* At the ends of the shot only the frames that are there; a frame alone is copied. */
    out = stage_picture(&set.stage, "calm", 1005, HAS_A);
    assert_string_equal(set.stage.asked, "cut:A cut:A cut:A");
    picture_release(&out);
    set_release(&set);
    set_init(&set, TEXT "calm = matte cut\n  steady 0 frames\n");
    out = stage_picture(&set.stage, "calm", 1002, HAS_A);
    pattern_assert_same(&out, &set.inputs[1].picture, PLANE_A);
    picture_release(&out);
    set_release(&set);
}

/* With a step that sees the whole matte behind it. */
static void steady_before_holes(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, TEXT "calm = matte cut\n  steady 1 frames\n  soften 1 px\n"
                        "both = matte cut\n  steady 1 frames\n  holes 4 px\n  soften 1 px\n");
    disc_frames(&set, 1, 0, 0.01);
    struct picture calm = stage_picture(&set.stage, "calm", 1003, HAS_A);
    for (int i = 0; i < 5; i++) /* one hole, which stands with the disc */
        picture_fill(&set.inputs[i].picture, PLANE_A, rect_of(26 + i, 21, 28 + i, 23), 0);
    struct picture both = stage_picture(&set.stage, "both", 1003, HAS_A);
    for (int32_t y = 0; y < HEIGHT; y++) {
        for (int32_t x = 0; x < WIDTH; x++)
            assert_true(fabs(at(&calm, x, y) - at(&both, x, y)) < 0.02);
    }
    picture_release(&calm);
    picture_release(&both);
    set_release(&set);
}

/* ---- resolve ----------------------------------------------------------------------------------------------------- */

/* A soft disc of one colour before a field of another, and a matte of it that is hard and a little too small. */
static void resolve_finds_the_soft_edge(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, TEXT "fine = matte cut\n  resolve plate radius 4 px\n"
                        "soft = matte cut\n  soften 1.5 px\n  resolve plate\n  invert\n");
    for (int32_t y = 0; y < HEIGHT; y++) {
        for (int32_t x = 0; x < WIDTH; x++) {
            const double a = disc_at(x, y, 28, 22);
            picture_row(&set.inputs[2].picture, PLANE_A, y)[x] = a > 0.7 ? 1 : 0;
            for (int c = 0; c < 3; c++) {
                float *v = picture_row(&set.inputs[6].picture, (enum plane)c, y) + x;
                const double noise = 0.004 * ((double)*v - 0.5), behind = 0.3 + 0.003 * x, before = 0.7 - 0.2 * c;
                *v = (float)(a * before + (1 - a) * behind + noise);
            }
        }
    }
    const double before = disc_error(&set.inputs[2].picture);
    struct picture fine = stage_picture(&set.stage, "fine", 1003, HAS_A);
    assert_true(before > 0.3);
    assert_true(disc_error(&fine) < 0.03);
    struct picture soft = stage_picture(&set.stage, "soft", 1003, HAS_A);
    for (int32_t y = 0; y < HEIGHT; y++) {
        for (int32_t x = 0; x < WIDTH; x++)
            assert_true(fabs(1 - at(&soft, x, y) - at(&fine, x, y)) < 0.05);
    }
    picture_release(&fine);
    picture_release(&soft);
    set_release(&set);
}

/* ---- refusals ---------------------------------------------------------------------------------------------------- */

static void refuses_what_cannot_be(void **state)
{
    (void)state;
    static const char *const wrong[][2] = {
        { TEXT "edge = matte cut\n  invert\n  steady 2 frames\n", "test.passel:12:3: error: steady is the first step" },
        { TEXT "edge = matte cut\n  steady 1.5 frames\n", "expected a whole number of frames" },
        { TEXT "edge = matte cut\n  response 0 0 0.5 1 0.5 0\n", "IN must rise, and 0.5 follows 0.5" },
        { TEXT "edge = matte cut\n  response 0 0 0.5 1 0.7\n", "not 5 numbers" },
    };
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        struct set set;
        struct picture out;
        struct picture_info info;
        struct passel_error error;
        set_init(&set, wrong[i][0]);
        assert_int_equal(stage_make(&set.stage, "edge", 1001, 1, HAS_A, 64, &out, &info, &error), PASSEL_BAD_RECIPE);
        if (strstr(error.text, wrong[i][1]) == NULL)
            fail_msg("%s", error.text);
        set_release(&set);
    }
}

static void survives_no_memory(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, TEXT "edge = matte cut\n  steady 1 frames\n  rim 2 px\n  holes 4 px\n  specks 3 px\n"
                        "  resolve plate radius 1 px\n  soften 1 px\n");
    stage_survives_no_memory(&set.stage, "edge", HAS_A);
    set_release(&set);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(response_goes_through_its_points),
        cmocka_unit_test(rim_is_a_band),
        cmocka_unit_test(holes_and_specks_in_a_row_of_steps),
        cmocka_unit_test(steady_averages_what_stands_and_what_moves),
        cmocka_unit_test(steady_smears_nothing),
        cmocka_unit_test(steady_before_holes),
        cmocka_unit_test(resolve_finds_the_soft_edge),
        cmocka_unit_test(refuses_what_cannot_be),
        cmocka_unit_test(survives_no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
