/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The kinds `time` and `take` by hand: what they ask for, bits that are copied, weights against double, failing memory;
 * and gains of even light.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "base/memory.h"
#include "fail_memory.h"
#include "kinds/even_light.h"
#include "kinds/kinds.h"
#include "kinds/time_between.h"
#include "pattern.h"
#include "stage.h"

#define SHOT "shot storm\n  frames 1001-1010\n  size 40x21\nsign = flat\n  colour 0 0 0\nlamp = flat\n  colour 0 0 0\n"

static const struct kind *const kinds[] = { &kind_time, &kind_take, NULL };
static const struct rect window = { 0, 0, 40, 21 };

struct set {
    struct stage stage;
    struct stage_input inputs[2];
};

static void set_init(struct set *set, const char *text)
{
    set->inputs[0] = (struct stage_input){ "sign", pattern_picture(window, HAS_RGBA, 1), window };
    set->inputs[1] =
        (struct stage_input){ "lamp", pattern_picture((struct rect){ 3, -2, 30, 15 }, HAS_RGB, 2), window };
    stage_init(&set->stage, text, kinds);
    set->stage.inputs = set->inputs;
    set->stage.input_count = 2;
}

static void set_release(struct set *set)
{
    stage_release(&set->stage);
    for (int i = 0; i < 2; i++)
        picture_release(&set->inputs[i].picture);
}

static void assert_copied(struct set *set, const char *block, int32_t frame, int input, const char *asked)
{
    struct picture made = stage_picture(&set->stage, block, frame, HAS_RGB);
    assert_string_equal(set->stage.asked, asked);
    for (int p = PLANE_R; p <= PLANE_B; p++)
        pattern_assert_same(&made, &set->inputs[input].picture, (enum plane)p);
    picture_release(&made);
}

/* A whole position asks for one frame and copies its bits; one in between asks for two. */
static void test_asks(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, SHOT "slow = time sign\n  use 1-2 then 7-8\n  speed 50%\n  between blend\n  beyond freeze\n"
                        "mixed = time sign\n  use 1-4 then 11-14\n  dissolve 2 frames\n  speed 50%\n  between blend\n"
                        "  beyond freeze\n");
    assert_copied(&set, "slow", 1001, 0, "sign:*");
    assert_copied(&set, "slow", 1004, 0, "sign:*"); /* between the last frame of a part and the cut */
    assert_copied(&set, "slow", 1010, 0, "sign:*");
    struct picture made = stage_picture(&set.stage, "slow", 1002, HAS_RGBA);
    assert_string_equal(set.stage.asked, "sign:* sign:*");
    picture_release(&made);
    made = stage_picture(&set.stage, "mixed", 1006, HAS_RGBA); /* 2.5: in the dissolve and between frames of both */
    assert_string_equal(set.stage.asked, "sign:* sign:* sign:* sign:*");
    /* All inputs are the same picture here: weights that sum to 1 give it back to within one rounding. */
    for (int32_t y = 0; y < 21; y++) {
        for (int32_t x = 0; x < 40; x++) {
            const double is = (double)pattern_at(&made, PLANE_G, x, y);
            const double was = (double)pattern_at(&set.inputs[0].picture, PLANE_G, x, y);
            assert_true(fabs(is - was) <= was * 0x1p-23);
        }
    }
    picture_release(&made);
    set_release(&set);
}

static void test_take(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, SHOT "both = take sign until 1004 then lamp until 1006 then sign\n");
    assert_copied(&set, "both", 1004, 0, "sign:*");
    assert_copied(&set, "both", 1005, 1, "lamp:*");
    assert_copied(&set, "both", 1006, 1, "lamp:*");
    assert_copied(&set, "both", 1007, 0, "sign:*");
    set_release(&set);
}

static void test_no_memory(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, SHOT "slow = time sign\n  use 1-3\n  start 1000\n  speed 25%\n  between blend\n"
                        "both = take sign until 1004 then lamp\n");
    stage_survives_no_memory(&set.stage, "slow", HAS_RGBA);
    stage_survives_no_memory(&set.stage, "both", HAS_RGBA);
    set_release(&set);
}

/* ---- even light -------------------------------------------------------------------------------------------------- */

enum { COLUMNS = 12, ROWS = 9, OTHERS = 7 };

/* Light of a wall, brighter by `gain`; in frame `n` a subject hides a column of cells. */
static void light_fill(struct picture *light, double gain, int n)
{
    for (int32_t y = 0; y < ROWS; y++) {
        for (int32_t x = 0; x < COLUMNS; x++)
            picture_row(light, PLANE_A, y)[x] = (float)(x == n ? 4.0 : gain * (0.2 + pattern_noise(3, x, y)));
    }
}

struct even {
    struct light_grid grid;
    struct picture light, others[OTHERS];
    enum even_light mode;
    double wanted;
};

static void even_init(struct even *even, enum even_light mode)
{
    static const double gains[OTHERS] = { 1.05, 0.97, 1.1, 0.92, 1, 0.99, 1.03 };
    const struct rect cells = { 0, 0, COLUMNS, ROWS };
    double sum = 0;
    *even = (struct even){ .grid = { .display = rect_of(0, 0, COLUMNS * 16, ROWS * 16),
                                     .cell_width = 16,
                                     .cell_height = 16,
                                     .columns = COLUMNS,
                                     .rows = ROWS },
                           .mode = mode };
    assert_int_equal(picture_new(&even->light, cells, HAS_A, NULL), PASSEL_OK);
    light_fill(&even->light, 0.8, 8);
    for (int i = 0; i < OTHERS; i++) {
        assert_int_equal(picture_new(&even->others[i], cells, HAS_A, NULL), PASSEL_OK);
        light_fill(&even->others[i], gains[i], i);
        /* A Hann window, whose shares sum to 1. */
        sum += (1 - cos(2 * 3.14159265358979323846 * (i + 1) / (OTHERS + 1))) / (OTHERS + 1) * log(gains[i]);
    }
    even->wanted = exp(sum) / 0.8;
}

static enum passel_status even_make(void *data)
{
    const struct even *even = data;
    struct gain_field field;
    const enum passel_status status =
        even_light_gain(&even->grid, even->mode, &even->light, even->others, OTHERS, &field, NULL);
    memory_free(field.gain);
    return status;
}

static void test_gains(void **state)
{
    (void)state;
    for (int mode = EVEN_WHOLE; mode <= EVEN_BANDS; mode++) {
        struct even even;
        struct gain_field field;
        even_init(&even, (enum even_light)mode);
        assert_int_equal(even_light_gain(&even.grid, even.mode, &even.light, even.others, OTHERS, &field, NULL),
                         PASSEL_OK);
        float row[200];
        for (int32_t y = -3; y < ROWS * 16 + 3; y++) {
            for (int i = 0; i < 200; i++)
                row[i] = 1;
            gain_field_row(&field, -4, y, 200, row);
            for (int i = 0; i < 200; i++)
                assert_true(fabs((double)row[i] / even.wanted - 1) < 1e-3);
        }
        memory_free(field.gain);
        assert_true(fail_memory_each(even_make, &even) > 5);
        picture_release(&even.light);
        for (int i = 0; i < OTHERS; i++)
            picture_release(&even.others[i]);
    }
}

/* Nothing to see, nothing to change. */
static void test_darkness(void **state)
{
    (void)state;
    struct even even;
    struct gain_field field;
    even_init(&even, EVEN_BANDS);
    picture_fill(&even.light, PLANE_A, even.light.area, 0);
    for (int i = 0; i < OTHERS; i++)
        picture_fill(&even.others[i], PLANE_A, even.light.area, 0);
    assert_int_equal(even_light_gain(&even.grid, even.mode, &even.light, even.others, OTHERS, &field, NULL), PASSEL_OK);
    for (int i = 0; i < field.columns * field.rows; i++)
        assert_true(field.gain[i] == 1);
    memory_free(field.gain);
    picture_release(&even.light);
    for (int i = 0; i < OTHERS; i++)
        picture_release(&even.others[i]);
}

/* ---- in-betweens ------------------------------------------------------------------------------------------------- */

/* A soft square on black goes 8 pixels to the right: half way it is 4 further, and nothing is where it was. */
static void square_fill(struct picture *frame, double left)
{
    for (int32_t y = 0; y < 48; y++) {
        for (int32_t x = 0; x < 64; x++) {
            const double inside = fmin(fmin(x - left, left + 18 - x), fmin(y - 14.0, 32.0 - y));
            const double tone = 0.5 + 0.3 * sin((x - left) * 0.3) * cos(y * 0.5);
            for (int p = PLANE_R; p <= PLANE_B; p++)
                picture_row(frame, (enum plane)p, y)[x] = (float)(tone * fmin(fmax(inside, 0), 1));
        }
    }
}

static enum passel_status motion_make(void *data)
{
    const struct picture *frames = data;
    const struct picture_info infos[2] = { { .data = frames[0].area }, { .data = frames[1].area } };
    struct motion *motion;
    const enum passel_status status = motion_find(frames, infos, NULL, &motion, NULL);
    motion_free(motion);
    return status;
}

static void test_between(void **state)
{
    (void)state;
    const struct rect area = { 0, 0, 64, 48 };
    const struct picture_info infos[2] = { { .data = area }, { .data = area } };
    struct picture frames[2], made, truth;
    struct motion *motion;
    for (int i = 0; i < 2; i++) {
        assert_int_equal(picture_new(&frames[i], area, HAS_RGB, NULL), PASSEL_OK);
        square_fill(&frames[i], 16 + 8 * i);
    }
    assert_int_equal(picture_new(&made, area, HAS_RGB, NULL), PASSEL_OK);
    assert_int_equal(picture_new(&truth, area, HAS_RGB, NULL), PASSEL_OK);
    square_fill(&truth, 20);
    assert_int_equal(motion_find(frames, infos, NULL, &motion, NULL), PASSEL_OK);
    assert_true(motion_bytes(motion) > 64 * 48 * 8 * sizeof(float));
    motion_between(motion, frames, NULL, 0.5, &made);
    double flow = 0, blend = 0;
    for (int32_t y = 0; y < 48; y++) {
        for (int32_t x = 0; x < 64; x++) {
            const double is = (double)pattern_at(&truth, PLANE_R, x, y);
            const double mean =
                0.5 * ((double)pattern_at(&frames[0], PLANE_R, x, y) + (double)pattern_at(&frames[1], PLANE_R, x, y));
            flow += pow((double)pattern_at(&made, PLANE_R, x, y) - is, 2);
            blend += pow(mean - is, 2);
        }
    }
    assert_true(flow < 0.02 * blend);
    motion_free(motion);
    assert_true(fail_memory_each(motion_make, frames) > 10);
    picture_release(&frames[0]);
    picture_release(&frames[1]);
    picture_release(&made);
    picture_release(&truth);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_asks),  cmocka_unit_test(test_take),     cmocka_unit_test(test_no_memory),
        cmocka_unit_test(test_gains), cmocka_unit_test(test_darkness), cmocka_unit_test(test_between),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
