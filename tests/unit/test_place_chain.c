/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Chains of `place` through the whole engine: blocks that stand one upon another are one transform and one resampling,
 * so steps that undo each other, or add up to whole pixels, give back the very bits. Where a chain is broken they do
 * not: the second resampling shows.
 */
#include <math.h>
#include <passel/passel.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "scratch.h"

#define WIDTH 80
#define HEIGHT 60

/* Spots with hard edges: any resampling softens them. */
#define SPOTS                                                                                                          \
    "shot chain\n  frames 1\n  size 80x60\n"                                                                           \
    "spots = shape\n  ellipse 30 30 9 6 px\n  ellipse 52 24 3 11 px\n  polygon 20 8 26 8 23 16 px\n"

static void make(const char *blocks, const char *name, struct passel_picture *picture)
{
    char text[2048], path[1024], *messages = NULL;
    struct scratch scratch;
    struct passel_recipe *recipe;
    struct passel_error error = { 0 };
    scratch_init(&scratch);
    const int length = snprintf(text, sizeof text, SPOTS "%s", blocks);
    scratch_write(&scratch, "chain.passel", text, (size_t)length);
    *picture = (struct passel_picture){ 0 };
    if (passel_recipe_load(scratch_path(&scratch, "chain.passel", path), NULL, 0, &recipe, &messages, &error) !=
        PASSEL_OK)
        fail_msg("%s", messages != NULL ? messages : error.text);
    if (passel_picture_make(recipe, name, 1, 1, 2, picture, &error) != PASSEL_OK)
        fail_msg("%s", error.text);
    passel_recipe_free(recipe);
    scratch_release(&scratch);
}

/* The largest difference of the alpha at (x, y) from that of the spots at (x - dx, y - dy), away from the border. */
static double off(const char *blocks, int dx, int dy)
{
    struct passel_picture spots, moved;
    double worst = 0;
    make(blocks, "spots", &spots);
    make(blocks, "moved", &moved);
    for (int y = 5; y < HEIGHT - 5; y++)
        for (int x = 5; x < WIDTH - 5; x++)
            worst = fmax(worst, fabs((double)moved.plane[3][y * WIDTH + x] -
                                     (double)spots.plane[3][(y - dy) * WIDTH + (x - dx)]));
    passel_picture_release(&spots);
    passel_picture_release(&moved);
    return worst;
}

static void parts_of_a_pixel_add_up(void **state)
{
    (void)state;
    assert_true(off("a = place spots\n  move 0.375 -1.5 px\nmoved = place a\n  move 1.625 2.5 px\n", 2, 1) == 0);
}

static void steps_that_undo_each_other_leave_no_trace(void **state)
{
    (void)state;
    assert_true(off("a = place spots\n  turn 17 deg\n  size 130%\nb = place a\n  size 76.9230769230769231%\n"
                    "moved = place b\n  turn -17 deg\n",
                    0, 0) == 0);
}

/* What breaks a chain: a crop, and a picture that is no step. */
static void a_broken_chain_shows(void **state)
{
    (void)state;
    assert_true(off("a = place spots\n  move 0.5 0.5 px\n  crop 0 0 0 0 px\nmoved = place a\n  move 0.5 0.5 px\n", 1,
                    1) > 0.01);
    assert_true(off("a = place spots\n  move 0.5 0.5 px\nb = stack\n  layer a\nmoved = place b\n  move 0.5 0.5 px\n", 1,
                    1) > 0.01);
}

/* The last block's filter is that of the one resampling. */
static void the_last_filter_counts(void **state)
{
    struct passel_picture one, two;
    (void)state;
    make("a = place spots\n  turn 9 deg\n  filter linear\nmoved = place a\n  move 0.25 3 px\n  filter mitchell\n",
         "moved", &one);
    make("moved = place spots\n  turn 9 deg\n  move 0.25 3 px\n  filter mitchell\n", "moved", &two);
    for (int i = 0; i < WIDTH * HEIGHT; i++)
        assert_true(fabsf(one.plane[3][i] - two.plane[3][i]) < 1e-6F);
    passel_picture_release(&one);
    passel_picture_release(&two);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(parts_of_a_pixel_add_up),
        cmocka_unit_test(steps_that_undo_each_other_leave_no_trace),
        cmocka_unit_test(a_broken_chain_shows),
        cmocka_unit_test(the_last_filter_counts),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
