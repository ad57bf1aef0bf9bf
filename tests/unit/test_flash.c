/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The flash limits, sentence by sentence (W3C, WCAG 2.2, success criterion 2.3.1 and its general flash and red flash
 * thresholds; Recommendation ITU-R BT.1702): of every pair of sequences on either side of a limit only one is warned
 * of.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include <passel/passel.h>

#include "numerics/flash_limits.h"
#include "scratch.h"

enum { CELLS = 100 };

/* A square wave: `changes` changes, `apart` frames from one to the next, in the first `cells` cells. */
struct wave {
    struct flash_cell dark, light;
    double rate;
    int changes, cells;
    double apart;
    int ramp;        /* frames that a change takes; 0 and 1: one */
    double wavering; /* added to every other frame */
};

static struct flash_cell grey(double light)
{
    return (struct flash_cell){ (float)light, (float)light, (float)light };
}

static float mixed(float a, float b, double share)
{
    return (float)(a * (1 - share) + b * share);
}

/* How far the wave is from dark to light at a frame; it begins to change at frame 10. */
static double phase(const struct wave *wave, int frame)
{
    const double t = (frame - 10) / wave->apart;
    if (t < 0)
        return 0;
    const int change = (int)floor(t + 1e-9) < wave->changes ? (int)floor(t + 1e-9) : wave->changes - 1;
    const double into = frame - 10 - change * wave->apart + 1, ramp = wave->ramp > 1 ? wave->ramp : 1;
    const double share = fmin(into / ramp, 1);
    return change % 2 == 0 ? share : 1 - share;
}

/* Bit 0: warned of general flashes, bit 1: of red ones. */
static unsigned judged(const struct wave *wave)
{
    struct flash_judge *judge;
    unsigned kinds = 0;
    int count;
    assert_int_equal(flash_judge_new(CELLS, wave->rate, FLASH_AREA, &judge, NULL), PASSEL_OK);
    for (int frame = 0; frame < 10 + (int)(wave->changes * wave->apart) + 5; frame++) {
        struct flash_cell cells[CELLS];
        const double share = phase(wave, frame);
        for (int i = 0; i < CELLS; i++) {
            const double part = i < wave->cells ? share : 0;
            const float waver = (float)(frame % 2 * wave->wavering);
            cells[i] = (struct flash_cell){ mixed(wave->dark.red, wave->light.red, part) + waver,
                                            mixed(wave->dark.green, wave->light.green, part) + waver,
                                            mixed(wave->dark.blue, wave->light.blue, part) + waver };
        }
        assert_int_equal(flash_judge_frame(judge, 1001 + frame, cells, NULL), PASSEL_OK);
    }
    const struct flash_stretch *stretches = flash_judge_stretches(judge, &count);
    for (int i = 0; i < count; i++) {
        kinds |= 1u << stretches[i].kind;
        assert_true(stretches[i].first == 1011 && stretches[i].last > 1011 + 7 * wave->apart - 1);
        assert_true(fabs(stretches[i].share - wave->cells / 100.0) < 1e-9);
    }
    flash_judge_free(judge);
    return kinds;
}

static struct wave storm(void)
{
    return (struct wave){ .dark = grey(0.1), .light = grey(0.9), .rate = 24, .changes = 8, .apart = 3, .cells = 100 };
}

/* "more than three general flashes within any one-second period" */
static void three_flashes_are_not_too_many(void **state)
{
    (void)state;
    static const double rates[] = { 24000 / 1001.0, 24, 25, 50, 60 };
    for (size_t i = 0; i < sizeof rates / sizeof rates[0]; i++) {
        struct wave wave = storm();
        wave.rate = rates[i];
        wave.apart = floor(rates[i] / 8);
        assert_int_equal(judged(&wave), 1);
        wave.changes = 7; /* three flashes and a half */
        assert_int_equal(judged(&wave), 0);
        wave.changes = 40; /* for seconds, at three flashes a second */
        wave.apart = ceil(rates[i] / 6);
        assert_int_equal(judged(&wave), 0);
        wave.apart = 1; /* every frame another */
        assert_int_equal(judged(&wave), 1);
    }
}

/* "opposing changes in relative luminance of 10% or more of the maximum relative luminance where the relative luminance
 * of the darker image is below 0.80" */
static void small_or_bright_changes_do_no_harm(void **state)
{
    (void)state;
    struct wave wave = storm();
    wave.dark = grey(0.5);
    wave.light = grey(0.6);
    assert_int_equal(judged(&wave), 1);
    wave.light = grey(0.599);
    assert_int_equal(judged(&wave), 0);
    wave.dark = grey(0.79);
    wave.light = grey(1);
    assert_int_equal(judged(&wave), 1);
    wave.dark = grey(0.8);
    assert_int_equal(judged(&wave), 0);
    /* Relative luminance: a blue of 1 is as bright as a grey of 0.07, a green of 1 as one of 0.72. */
    wave.dark = grey(0);
    wave.light = (struct flash_cell){ 0, 0, 1 };
    assert_int_equal(judged(&wave), 0);
    wave.light = (struct flash_cell){ 0, 1, 0 };
    assert_int_equal(judged(&wave), 1);
}

/* "the combined area of flashes occurring concurrently occupies … more than one quarter" */
static void a_quarter_of_the_picture_may(void **state)
{
    (void)state;
    struct wave wave = storm();
    wave.cells = 25;
    assert_int_equal(judged(&wave), 0);
    wave.cells = 26;
    assert_int_equal(judged(&wave), 1);
}

/* A change may take its time, and noise on the way does not hide it. */
static void slow_changes_count(void **state)
{
    (void)state;
    struct wave wave = storm();
    wave.ramp = 3;
    assert_int_equal(judged(&wave), 1);
    wave.wavering = 0.05;
    assert_int_equal(judged(&wave), 1);
    wave.changes = 6;
    assert_int_equal(judged(&wave), 0);
    wave.light = wave.dark;
    wave.changes = 8;
    assert_int_equal(judged(&wave), 0);
}

/* "a pair of opposing transitions involving a saturated red": R/(R+G+B) of 0.8 or more at either end, and a change of
 * (R - G - B) * 320 of more than 20. The reds here are too dark for a general flash. */
static void saturated_red_is_worse(void **state)
{
    (void)state;
    struct wave wave = storm();
    wave.dark = grey(0);
    wave.light = (struct flash_cell){ 0.4F, 0, 0 };
    assert_int_equal(judged(&wave), 2);
    wave.light = (struct flash_cell){ 0.3F, 0.0375F, 0.0375F };
    assert_int_equal(judged(&wave), 2);
    wave.light = (struct flash_cell){ 0.3F, 0.0425F, 0.0375F };
    assert_int_equal(judged(&wave), 0);
    wave.light = (struct flash_cell){ 0.064F, 0, 0 };
    assert_int_equal(judged(&wave), 2);
    wave.light = (struct flash_cell){ 0.0625F, 0, 0 };
    assert_int_equal(judged(&wave), 0);
    wave.dark = (struct flash_cell){ 0, 0.1F, 0.1F }; /* from red to something else */
    wave.light = (struct flash_cell){ 0.4F, 0, 0 };
    assert_int_equal(judged(&wave), 2);
    wave.light = (struct flash_cell){ 1, 0, 0 };
    wave.dark = grey(0);
    assert_int_equal(judged(&wave), 3);
    wave.changes = 7;
    assert_int_equal(judged(&wave), 0);
}

/* Frames that are not there end a sequence. */
static void a_gap_ends_a_sequence(void **state)
{
    (void)state;
    for (int32_t gap = 0; gap < 2; gap++) {
        struct flash_judge *judge;
        int count;
        assert_int_equal(flash_judge_new(1, 24, FLASH_AREA, &judge, NULL), PASSEL_OK);
        for (int32_t frame = 1; frame < 11; frame++) {
            const struct flash_cell cell = grey(frame % 2);
            assert_int_equal(flash_judge_frame(judge, frame < 6 ? frame : frame + gap, &cell, NULL), PASSEL_OK);
        }
        (void)flash_judge_stretches(judge, &count);
        assert_int_equal(count, gap == 0);
        flash_judge_free(judge);
    }
}

/* ---- in a render ------------------------------------------------------------------------------------------------- */

struct heard {
    int count;
    int32_t frame;
    char text[512];
};

static void hear(void *user, const struct passel_event *event)
{
    struct heard *heard = user;
    if (event->kind != PASSEL_WARNING)
        return;
    heard->count++;
    heard->frame = event->frame;
    snprintf(heard->text, sizeof heard->text, "%s", event->text);
}

/* Renders a lamp that goes on and off every `apart` frames, as two outputs of one picture and one of another. */
static struct heard render(int apart, int threads, const char *frames)
{
    struct scratch scratch;
    struct passel_recipe *recipe;
    struct heard heard = { 0 };
    char text[2048] = "shot storm\n  frames 1001-1048\n  size 256x144\nlamp = curve\n", path[1024];
    for (int i = 0; i * apart < 48; i++)
        snprintf(text + strlen(text), sizeof text - strlen(text), "  %d %d hold\n", 1001 + i * apart, i % 2);
    strcat(text, "white = flat\n  colour 4 4 4\nhalf = shape\n  polygon 0 0 128 0 128 144 0 144 px\n"
                 "part = shape\n  polygon 0 0 60 0 60 144 0 144 px\n"
                 "wide = stack\n  layer white matte half opacity lamp\n"
                 "small = stack\n  layer white matte part opacity lamp\n"
                 "output wide as a\n  file a.####.exr\noutput small as c\n  file c.####.png\n"
                 "output wide as b\n  file b.####.png\n");
    scratch_init(&scratch);
    scratch_write(&scratch, "storm.passel", text, strlen(text));
    assert_int_equal(passel_recipe_load(scratch_path(&scratch, "storm.passel", path), NULL, 0, &recipe, NULL, NULL),
                     PASSEL_OK);
    const struct passel_render_options options = {
        .threads = threads, .frames = frames, .event = hear, .user = &heard
    };
    assert_int_equal(passel_render(recipe, &options, NULL, NULL), PASSEL_OK);
    passel_recipe_free(recipe);
    scratch_release(&scratch);
    return heard;
}

static void a_render_warns_once(void **state)
{
    (void)state;
    for (int threads = 1; threads <= 4; threads += 3) {
        const struct heard heard = render(3, threads, NULL);
        assert_int_equal(heard.count, 1);
        assert_int_equal(heard.frame, 1004);
        assert_non_null(
            strstr(heard.text,
                   "wide flashes more than three times in a second over 50 % of the picture, frames 1004 to 1048"));
    }
    assert_int_equal(render(4, 2, NULL).count, 0);
    assert_int_equal(render(3, 2, "1001-1020").count, 0);
    assert_int_equal(render(3, 2, "1001-1048 every 2").count, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(three_flashes_are_not_too_many),
        cmocka_unit_test(small_or_bright_changes_do_no_harm),
        cmocka_unit_test(a_quarter_of_the_picture_may),
        cmocka_unit_test(slow_changes_count),
        cmocka_unit_test(saturated_red_is_worse),
        cmocka_unit_test(a_gap_ends_a_sequence),
        cmocka_unit_test(a_render_warns_once),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
