/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Which frames a clip shows: published positions and weights, cuts, dissolves, ends; speeds against sums of small
 * steps.
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
#include "kinds/time_clip.h"

static FILE *open_reference(const char *name)
{
    char path[1024];
    snprintf(path, sizeof path, "%s/tests/reference/%s", PASSEL_SOURCE_DIR, name);
    FILE *file = fopen(path, "r");
    assert_non_null(file);
    return file;
}

/* The one moment of a clip that must show something. */
static struct clip_moment moment_at(const struct clip *clip, double position, bool whole_frames)
{
    struct clip_moment moments[2];
    int count;
    assert_int_equal(clip_at(clip, position, whole_frames, moments, &count), CLIP_SHOWS);
    assert_int_equal(count, 1);
    assert_true(moments[0].weight == 1);
    return moments[0];
}

/* The table's `nearest` column rounds a half up; Passel rounds it down, so that row says one less. */
static void test_published_positions(void **state)
{
    (void)state;
    FILE *file = open_reference("time_retime.csv");
    const struct clip clip = { .origin = 1001 };
    char line[256];
    int rows = 0;
    while (fgets(line, sizeof line, file) != NULL) {
        double speed, frame, position, floor_frame, weight, nearest;
        const char *numbers = strchr(line, ',');
        if (numbers == NULL || sscanf(numbers, ",%lf,%lf,%lf,%lf,%lf,%lf", &speed, &frame, &position, &floor_frame,
                                      &weight, &nearest) != 6)
            continue;
        const struct value_spec spec = { .type = VALUE_NUMBER };
        const struct value value = { .spec = &spec, .count = 1, .numbers = &speed };
        const double way = clip_distance(&value, 1001, frame);
        assert_true(fabs(1001 + way - position) < 1e-6);
        const struct clip_moment between = moment_at(&clip, way, false);
        assert_true(between.frame == (int32_t)floor_frame);
        assert_true(fabs(between.next_share - weight) < 1e-6);
        assert_true((weight == 0) == (between.next_share == 0));
        assert_int_equal(between.next, between.frame + (weight > 0));
        assert_true(moment_at(&clip, way, true).frame == (int32_t)nearest - (weight == 0.5));
        rows++;
    }
    fclose(file);
    assert_int_equal(rows, 28);
}

static void test_published_ramp(void **state)
{
    (void)state;
    FILE *file = open_reference("time_ramp.csv");
    const double frames[] = { 0, 24 }, speeds[] = { 1, 0.25 }, slopes[] = { 0, 0 };
    const enum leaving leave[] = { LEAVE_LINEAR, LEAVE_LINEAR };
    const struct track track = {
        .count = 2, .width = 1, .frames = frames, .numbers = speeds, .leave = leave, .slopes = slopes
    };
    const struct value_spec spec = { .type = VALUE_NUMBER };
    const struct value value = { .spec = &spec, .count = 1, .track = &track };
    char line[256];
    int rows = 0;
    while (fgets(line, sizeof line, file) != NULL) {
        double frame, position;
        if (sscanf(line, "%lf,%lf", &frame, &position) != 2)
            continue;
        assert_true(fabs(clip_distance(&value, 0, frame) - position) < 1e-12);
        rows++;
    }
    fclose(file);
    assert_int_equal(rows, 7);
    /* Backwards is the same way back, and behind the keys the last speed goes on. */
    assert_true(fabs(clip_distance(&value, 20, 4) + (13.75 - 3.75)) < 1e-12);
    assert_true(fabs(clip_distance(&value, 0, 32) - (15 + 8 * 0.25)) < 1e-12);
}

/* Smooth and held keys against a sum of a million small steps. */
static void test_curves_are_integrated(void **state)
{
    (void)state;
    static const char text[] = "shot s\n  frames 1-40\n  size 4x4\nslow = curve\n  3 1 smooth\n  9 0.2 smooth\n"
                               "  14 0.9 hold\n  20 -0.5 linear\n  30 2\n";
    const struct schema *const schemas[] = { &kind_shot.schema, &kind_curve.schema, NULL };
    struct recipe *recipe;
    assert_int_equal(recipe_parse("t.passel", text, strlen(text), schemas, NULL, 0, &recipe, NULL, NULL), PASSEL_OK);
    const struct value_spec spec = { .type = VALUE_NUMBER };
    const struct value value = { .spec = &spec, .count = 1, .curve = recipe_block(recipe, "slow") };
    enum { STEPS = 1000000 };
    const double ends[][2] = { { 1, 40 }, { 4.5, 8 }, { 12, 21 }, { 16, 19 } };
    for (size_t i = 0; i < sizeof ends / sizeof *ends; i++) {
        const double width = (ends[i][1] - ends[i][0]) / STEPS;
        double sum = 0;
        for (int k = 0; k < STEPS; k++)
            sum += width * value_at(&value, 0, ends[i][0] + (k + 0.5) * width, 1);
        assert_true(fabs(clip_distance(&value, ends[i][0], ends[i][1]) - sum) < 1e-4);
        assert_true(clip_distance(&value, ends[i][1], ends[i][0]) == -clip_distance(&value, ends[i][0], ends[i][1]));
    }
    recipe_free(recipe);
}

static void test_cuts_are_not_crossed(void **state)
{
    (void)state;
    const struct clip_part parts[] = { { 1, 3 }, { 13, 11 }, { 7, 7 } };
    const struct clip clip = { .parts = parts, .count = 3 };
    assert_int_equal(clip_length(&clip), 7);
    static const struct {
        double position;
        int32_t frame, next;
        double share;
        int32_t nearest;
    } rows[] = {
        { 0, 1, 1, 0, 1 },           { 0.5, 1, 2, 0.5, 1 },    { 1.75, 2, 3, 0.75, 3 }, { 2, 3, 3, 0, 3 },
        { 2.25, 3, 3, 0, 3 },        { 2.75, 3, 3, 0, 13 },    { 3, 13, 13, 0, 13 },    { 3.25, 13, 12, 0.25, 13 },
        { 4.75, 12, 11, 0.75, 11 },  { 5.5, 11, 11, 0, 11 },   { 6, 7, 7, 0, 7 },       { 6.875, 7, 7, 0, 7 },
        { 3 - 1e-9, 13, 13, 0, 13 }, { 1 + 1e-9, 2, 2, 0, 2 },
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        const struct clip_moment moment = moment_at(&clip, rows[i].position, false);
        assert_int_equal(moment.frame, rows[i].frame);
        assert_int_equal(moment.next, rows[i].next);
        assert_true(moment.next_share == rows[i].share);
        assert_int_equal(moment_at(&clip, rows[i].position, true).frame, rows[i].nearest);
    }
}

static void test_beyond(void **state)
{
    (void)state;
    const struct clip_part part = { 1, 4 };
    struct clip clip = { .parts = &part, .count = 1, .beyond = CLIP_REPEAT };
    struct clip_moment moments[2];
    int count;
    assert_int_equal(moment_at(&clip, 4, false).frame, 1);
    assert_int_equal(moment_at(&clip, -1, false).frame, 4);
    assert_int_equal(moment_at(&clip, -3.75, false).frame, 1);
    assert_true(moment_at(&clip, -3.75, false).next_share == 0.25);
    assert_true(moment_at(&clip, 3.5, false).next_share == 0); /* the joint of a loop is a cut */
    assert_int_equal(moment_at(&clip, 4000000001.0, false).frame, 2);
    clip.beyond = CLIP_TO_AND_FRO;
    static const int32_t to_and_fro[] = { 1, 2, 3, 4, 3, 2, 1, 2 };
    for (int i = 0; i < 8; i++) {
        assert_int_equal(moment_at(&clip, i, false).frame, to_and_fro[i]);
        assert_int_equal(moment_at(&clip, -i, false).frame, to_and_fro[i]);
    }
    assert_int_equal(moment_at(&clip, 3.25, false).frame, 3);
    assert_true(moment_at(&clip, 3.25, false).next_share == 0.75);
    clip.beyond = CLIP_FREEZE;
    assert_int_equal(moment_at(&clip, -0.5, false).frame, 1);
    assert_int_equal(moment_at(&clip, 9, false).frame, 4);
    assert_int_equal(moment_at(&clip, 3.75, false).frame, 4);
    clip.beyond = CLIP_NOTHING;
    assert_int_equal(clip_at(&clip, 4, false, moments, &count), CLIP_SHOWS_NOTHING);
    assert_int_equal(clip_at(&clip, -0.25, true, moments, &count), CLIP_SHOWS_NOTHING);
    assert_int_equal(moment_at(&clip, 3.75, true).frame, 4);
    clip.beyond = CLIP_ERROR;
    assert_int_equal(clip_at(&clip, 4, false, moments, &count), CLIP_RUNS_OFF);
    assert_int_equal(clip_at(&clip, -0.25, false, moments, &count), CLIP_RUNS_OFF);
    assert_int_equal(clip_at(&clip, HUGE_VAL, false, moments, &count), CLIP_RUNS_OFF);
    assert_int_equal(clip_at(&clip, NAN, false, moments, &count), CLIP_RUNS_OFF);
    const struct clip endless = { .origin = 1001 };
    assert_int_equal(moment_at(&endless, -5.25, false).frame, 995);
    assert_true(moment_at(&endless, -5.25, false).next_share == 0.75);
    assert_int_equal(clip_at(&endless, 3e9, false, moments, &count), CLIP_RUNS_OFF);
}

/* Weights of both parts: (j + 1) / (N + 1) at the later part's frame j; in between they go in a straight line. */
static void test_dissolve(void **state)
{
    (void)state;
    const struct clip_part parts[] = { { 1, 10 }, { 21, 30 }, { 50, 44 } };
    const struct clip clip = { .parts = parts, .count = 3, .dissolve = 3 };
    struct clip_moment moments[2];
    int count;
    assert_int_equal(clip_length(&clip), 10 + 10 + 7 - 2 * 3);
    for (int j = 0; j < 3; j++) {
        assert_int_equal(clip_at(&clip, 7 + j, false, moments, &count), CLIP_SHOWS);
        assert_int_equal(count, 2);
        assert_int_equal(moments[0].frame, 8 + j);
        assert_int_equal(moments[1].frame, 21 + j);
        assert_true(moments[0].weight == (3 - j) / 4.0 && moments[1].weight == (j + 1) / 4.0);
    }
    assert_int_equal(moment_at(&clip, 6, false).frame, 7);
    assert_int_equal(moment_at(&clip, 10, false).frame, 24);
    /* Half way into the first mixed frame the later part is not there yet: its first frame stands. */
    assert_int_equal(clip_at(&clip, 6.5, false, moments, &count), CLIP_SHOWS);
    assert_int_equal(count, 2);
    assert_true(moments[0].frame == 7 && moments[0].next_share == 0.5 && moments[0].weight == 0.875);
    assert_true(moments[1].frame == 21 && moments[1].next_share == 0 && moments[1].weight == 0.125);
    for (double position = 0; position < 21; position += 0.125) {
        double sum = 0;
        assert_int_equal(clip_at(&clip, position, false, moments, &count), CLIP_SHOWS);
        for (int i = 0; i < count; i++) {
            assert_true(moments[i].weight > 0 && moments[i].next_share >= 0 && moments[i].next_share < 1);
            sum += moments[i].weight;
        }
        assert_true(sum == 1);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_published_positions),
        cmocka_unit_test(test_published_ramp),
        cmocka_unit_test(test_curves_are_integrated),
        cmocka_unit_test(test_cuts_are_not_crossed),
        cmocka_unit_test(test_beyond),
        cmocka_unit_test(test_dissolve),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
