/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The open shutter of `place` through the whole engine, beside answers worked out by hand: a box that moves leaves a
 * ramp, a turning line an arc, and what stands still is as sharp as ever.
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

#define WIDTH 96
#define HEIGHT 64

static void make(const char *blocks, int32_t frame, struct passel_picture *picture)
{
    char text[2048], path[1024], *messages = NULL;
    struct scratch scratch;
    struct passel_recipe *recipe;
    struct passel_error error = { 0 };
    scratch_init(&scratch);
    const int length = snprintf(text, sizeof text,
                                "shot move\n  frames 1001-1020\n  size %dx%d\n"
                                "card = flat\n  colour 1 0.5 0.25\n%s",
                                WIDTH, HEIGHT, blocks);
    scratch_write(&scratch, "move.passel", text, (size_t)length);
    *picture = (struct passel_picture){ 0 };
    if (passel_recipe_load(scratch_path(&scratch, "move.passel", path), NULL, 0, &recipe, &messages, &error) !=
        PASSEL_OK)
        fail_msg("%s", messages != NULL ? messages : error.text);
    if (passel_picture_make(recipe, "moved", frame, 1, 2, picture, &error) != PASSEL_OK)
        fail_msg("%s", error.text);
    passel_recipe_free(recipe);
    scratch_release(&scratch);
}

static double at(const struct passel_picture *picture, int plane, int x, int y)
{
    return (double)picture->plane[plane][y * WIDTH + x];
}

/* ∫ of the share of [x, x+1) that lies right of an edge, over edges from 0 to e. */
static double ramp_integral(double x, double e)
{
    const double f = fmin(fmax(e - x, 0), 1), beyond = fmax(e - x - 1, 0);
    return e - (f * f / 2 + beyond); /* the edge hides what is left of it */
}

/* The mean share of pixel x right of an edge that runs from a to b. */
static double right_of(double x, double a, double b)
{
    return (ramp_integral(x, b) - ramp_integral(x, a)) / (b - a);
}

/* A box from 20 to 50 at frame 1010, 12 px a frame, open for half a frame: its sides run 6 px about there. */
static void a_box_leaves_a_ramp(void **state)
{
    static const char *const filters[] = { "nearest", "linear", "mitchell", "lanczos", "spline" };
    (void)state;
    for (int f = 0; f < 5; f++) {
        char blocks[400];
        struct passel_picture picture;
        double worst = 0;
        (void)snprintf(blocks, sizeof blocks,
                       "moved = place card\n  crop 20 16 46 16 px\n  move [1000 -120 0, 1020 120 0] px\n"
                       "  filter %s\n  shutter 180 deg\n",
                       filters[f]);
        make(blocks, 1010, &picture);
        for (int x = 0; x < WIDTH; x++) {
            const double truth = right_of(x, 17, 23) - right_of(x, 47, 53);
            worst = fmax(worst, fabs(at(&picture, 3, x, 30) - truth));
            assert_true(fabs(at(&picture, 1, x, 30) - 0.5 * at(&picture, 3, x, 30)) < 2e-4); /* no fringe */
            assert_true(at(&picture, 3, x, 15) == 0 && at(&picture, 3, x, 48) == 0);
        }
        print_message("%s: worst %.4f\n", filters[f], worst);
        assert_true(worst < 0.01);
        passel_picture_release(&picture);
    }
}

/* The picture's own border, sub-pixel steps and a curve that bends: positions t² at the moments, not on a line. */
static void the_border_follows_the_curve(void **state)
{
    static const char blocks[] = "moved = place card\n  move [1000 -80 0, 1010 0 0 hold, 1011 40 0] px\n"
                                 "  shutter 360 deg\n";
    struct passel_picture picture;
    (void)state;
    make(blocks, 1010, &picture); /* half the time it comes from -4 px, half the time it stands at 0 */
    for (int x = 0; x < WIDTH; x++) {
        const double truth = 1 - 0.5 * right_of(x, WIDTH - 4, WIDTH);
        if (fabs(at(&picture, 3, x, 10) - truth) > 0.05)
            fail_msg("pixel %d: %.4f, where %.4f is expected", x, at(&picture, 3, x, 10), truth);
    }
    passel_picture_release(&picture);
}

/* The light of a small thing is spread, not lost, in a turn as in a move. */
static void light_is_spread_not_lost(void **state)
{
    static const char still[] = "moved = place card\n  crop 60 30 32 30 px\n  about 48 32 px\n  turn 9 deg\n";
    static const char turning[] = "moved = place card\n  crop 60 30 32 30 px\n  about 48 32 px\n"
                                  "  turn [1001 0, 1019 180] deg\n  shutter 720 deg\n";
    struct passel_picture one, two;
    double sum[2] = { 0, 0 }, most = 0;
    (void)state;
    make(still, 1010, &one);
    make(turning, 1010, &two);
    for (int i = 0; i < WIDTH * HEIGHT; i++) {
        sum[0] += (double)one.plane[0][i];
        sum[1] += (double)two.plane[0][i];
        most = fmax(most, (double)two.plane[0][i]);
    }
    print_message("light %.4f, turning %.4f, brightest %.3f\n", sum[0], sum[1], most);
    assert_true(fabs(sum[1] / sum[0] - 1) < 2e-3);
    assert_true(most < 0.9);
    passel_picture_release(&one);
    passel_picture_release(&two);
}

static bool same(const struct passel_picture *one, const struct passel_picture *two)
{
    for (int p = 0; p < 4; p++)
        if (memcmp(one->plane[p], two->plane[p], sizeof(float) * WIDTH * HEIGHT) != 0)
            return false;
    return true;
}

static void what_stands_still_keeps_its_bits(void **state)
{
    static const char *const ends[] = { "", "  shutter 180 deg\n", "  shutter [1001 0, 1020 360] deg\n" };
    struct passel_picture picture[3];
    (void)state;
    for (int i = 0; i < 3; i++) {
        char blocks[400];
        (void)snprintf(blocks, sizeof blocks,
                       "moved = place card\n  crop 20 16 46 16 px soft 3 px\n"
                       "  move [1001 0 0, 1005 3.25 2, 1020 3.25 2] px\n%s",
                       ends[i]);
        make(blocks, 1012, &picture[i]);
    }
    assert_true(same(&picture[0], &picture[1]) && same(&picture[0], &picture[2]));
    for (int i = 0; i < 3; i++)
        passel_picture_release(&picture[i]);
}

/* What lies above a smeared picture in a chain takes it as it is: the same as over a picture that is no step. */
static void a_step_above_takes_the_smeared_picture(void **state)
{
    static const char smeared[] = "sweep = place card\n  crop 20 16 46 16 px\n"
                                  "  move [1000 -120 0, 1020 120 0] px\n  shutter 180 deg\n";
    char joined[500], apart[500];
    struct passel_picture one, two;
    (void)state;
    (void)snprintf(joined, sizeof joined, "%smoved = place sweep\n  move 4 -3 px\n", smeared);
    (void)snprintf(apart, sizeof apart, "%slaid = stack\n  layer sweep\nmoved = place laid\n  move 4 -3 px\n", smeared);
    make(joined, 1010, &one);
    make(apart, 1010, &two);
    assert_true(same(&one, &two));
    assert_true(at(&one, 3, 24, 20) > 0.3 && at(&one, 3, 24, 20) < 0.7); /* the ramp from 17 to 23, 4 px further on */
    passel_picture_release(&one);
    passel_picture_release(&two);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_box_leaves_a_ramp),
        cmocka_unit_test(the_border_follows_the_curve),
        cmocka_unit_test(light_is_spread_not_lost),
        cmocka_unit_test(what_stands_still_keeps_its_bits),
        cmocka_unit_test(a_step_above_takes_the_smeared_picture),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
