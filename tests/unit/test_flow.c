/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Optical flow of pictures whose motion is known: shifts, a turn, a disc before a still wall; sizes down to one pixel.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "fail_memory.h"
#include "numerics/flow.h"

enum { WIDTH = 120, HEIGHT = 90 };

/* A texture with coarse and fine parts, defined everywhere. */
static double texture(double x, double y)
{
    return 0.5 + 0.12 * sin(x * 0.31 + 0.7 * sin(y * 0.23)) + 0.1 * sin(y * 0.42 + sin(x * 0.17)) +
           0.08 * sin(x * 0.09 - y * 0.13) + 0.05 * sin(x * 0.9 + y * 0.7);
}

typedef void motion_of(double x, double y, double *u, double *v);

static void shift(double x, double y, double *u, double *v)
{
    (void)x;
    (void)y;
    *u = 5.25;
    *v = -3.5;
}

static void turn(double x, double y, double *u, double *v)
{
    const double c = cos(0.06), s = sin(0.06), px = x - 50, py = y - 40;
    *u = c * px - s * py - px;
    *v = s * px + c * py - py;
}

/* Frame a is the texture where each pixel of it comes from; b is the texture itself. */
static void film(motion_of *motion, float *a, float *b)
{
    for (int y = 0; y < HEIGHT; y++) {
        for (int x = 0; x < WIDTH; x++) {
            double u, v;
            motion(x, y, &u, &v);
            a[y * WIDTH + x] = (float)texture(x + u, y + v);
            b[y * WIDTH + x] = (float)texture(x, y);
        }
    }
}

/* Mean distance between found and true motion, away from the border. */
static double endpoint_error(const struct flow *flow, motion_of *motion)
{
    double sum = 0;
    int count = 0;
    for (int y = 12; y < HEIGHT - 12; y++) {
        for (int x = 12; x < WIDTH - 12; x++, count++) {
            double u, v;
            motion(x, y, &u, &v);
            sum += hypot((double)flow->u[y * WIDTH + x] - u, (double)flow->v[y * WIDTH + x] - v);
        }
    }
    return sum / count;
}

static void assert_finds(motion_of *motion, double limit)
{
    static float a[WIDTH * HEIGHT], b[WIDTH * HEIGHT];
    struct flow there, back;
    film(motion, a, b);
    assert_int_equal(flow_find(a, b, WIDTH, HEIGHT, &there, &back, NULL), PASSEL_OK);
    assert_true(endpoint_error(&there, motion) < limit);
    /* The way back from where a pixel went ends where it began. */
    double miss = 0;
    for (int y = 20; y < HEIGHT - 20; y++) {
        for (int x = 20; x < WIDTH - 20; x++) {
            const float u = there.u[y * WIDTH + x], v = there.v[y * WIDTH + x];
            miss += hypot((double)(u + plane_linear(back.u, WIDTH, HEIGHT, (float)x + u, (float)y + v)),
                          (double)(v + plane_linear(back.v, WIDTH, HEIGHT, (float)x + u, (float)y + v)));
        }
    }
    assert_true(miss / ((WIDTH - 40) * (HEIGHT - 40)) < limit);
    flow_release(&there);
    flow_release(&back);
}

static void test_shift(void **state)
{
    (void)state;
    assert_finds(shift, 0.05);
}

static void test_turn(void **state)
{
    (void)state;
    assert_finds(turn, 0.05);
}

/* A disc of 24 pixels goes 7 to the right before a wall that stands still. */
static void test_disc_before_a_wall(void **state)
{
    (void)state;
    static float a[WIDTH * HEIGHT], b[WIDTH * HEIGHT];
    struct flow there, back;
    for (int i = 0; i < WIDTH * HEIGHT; i++) {
        const int x = i % WIDTH, y = i / WIDTH;
        a[i] = b[i] = (float)texture(x, y);
        if (hypot(x - 45, y - 45) < 24)
            a[i] = (float)(0.3 + texture(y * 1.3 + 50, x * 1.3));
        if (hypot(x - 52, y - 45) < 24)
            b[i] = (float)(0.3 + texture(y * 1.3 + 50, (x - 7) * 1.3));
    }
    assert_int_equal(flow_find(a, b, WIDTH, HEIGHT, &there, &back, NULL), PASSEL_OK);
    double inside = 0, outside = 0;
    int inside_count = 0, outside_count = 0;
    for (int i = 0; i < WIDTH * HEIGHT; i++) {
        const int x = i % WIDTH, y = i / WIDTH;
        const double u = (double)there.u[i], v = (double)there.v[i];
        if (hypot(x - 45, y - 45) < 20) {
            inside += hypot(u - 7, v);
            inside_count++;
        } else if (hypot(x - 45, y - 45) > 30 && hypot(x - 52, y - 45) > 30) {
            outside += hypot(u, v);
            outside_count++;
        }
    }
    assert_true(inside / inside_count < 0.2);
    assert_true(outside / outside_count < 0.1);
    flow_release(&there);
    flow_release(&back);
}

/* A post of one tone, 11 pixels wide, stands before what moves by (12, 1). */
static void test_post_before_what_moves(void **state)
{
    (void)state;
    static float a[WIDTH * HEIGHT], b[WIDTH * HEIGHT];
    struct flow there, back;
    for (int i = 0; i < WIDTH * HEIGHT; i++) {
        const int x = i % WIDTH, y = i / WIDTH;
        const bool post = x >= 60 && x < 71;
        a[i] = post ? 0.2f : (float)texture(0.5 * (x + 12), y + 1);
        b[i] = post ? 0.2f : (float)texture(0.5 * x, y);
    }
    assert_int_equal(flow_find(a, b, WIDTH, HEIGHT, &there, &back, NULL), PASSEL_OK);
    double still = 0, moves = 0;
    int still_count = 0, moves_count = 0;
    for (int i = 0; i < WIDTH * HEIGHT; i++) {
        const int x = i % WIDTH, y = i / WIDTH;
        const double u = (double)there.u[i], v = (double)there.v[i];
        if (y < 12 || y >= HEIGHT - 12)
            continue;
        if (x >= 62 && x < 69) {
            still += hypot(u, v);
            still_count++;
        } else if ((x > 12 && x < 40) || (x > 80 && x < WIDTH - 30)) {
            moves += hypot(u - 12, v - 1);
            moves_count++;
        }
    }
    assert_true(still / still_count < 3); /* a quarter of the motion around it */
    assert_true(moves / moves_count < 0.1);
    flow_release(&there);
    flow_release(&back);
}

/* What shows nothing but the noise of a sensor stands still. */
static void test_noise_is_no_motion(void **state)
{
    (void)state;
    static float a[WIDTH * HEIGHT], b[WIDTH * HEIGHT];
    struct flow there, back;
    uint32_t seed = 1;
    for (int i = 0; i < 2 * WIDTH * HEIGHT; i++) {
        seed = seed * 1664525u + 1013904223u;
        (i % 2 == 0 ? a : b)[i / 2] = 0.05f + 0.01f * (float)(seed >> 8) / 16777216.0f;
    }
    assert_int_equal(flow_find(a, b, WIDTH, HEIGHT, &there, &back, NULL), PASSEL_OK);
    double sum = 0;
    for (int i = 0; i < WIDTH * HEIGHT; i++)
        sum += hypot((double)there.u[i], (double)there.v[i]);
    assert_true(sum / (WIDTH * HEIGHT) < 0.01);
    flow_release(&there);
    flow_release(&back);
}

/* Every size works, each plane in memory of just its size; equal planes do not move. */
static void test_small_sizes(void **state)
{
    (void)state;
    static const int32_t sizes[][2] = { { 1, 1 }, { 1, 40 }, { 40, 1 }, { 2, 3 }, { 7, 5 }, { 33, 9 }, { 64, 17 } };
    for (size_t i = 0; i < sizeof sizes / sizeof *sizes; i++) {
        const int32_t w = sizes[i][0], h = sizes[i][1];
        float *a = malloc((size_t)(w * h) * sizeof *a);
        struct flow there, back;
        assert_non_null(a);
        for (int k = 0; k < w * h; k++)
            a[k] = (float)texture(k % w, k / w);
        assert_int_equal(flow_find(a, a, w, h, &there, &back, NULL), PASSEL_OK);
        for (int k = 0; k < w * h; k++)
            assert_true(there.u[k] == 0 && there.v[k] == 0 && back.u[k] == 0 && back.v[k] == 0);
        flow_release(&there);
        flow_release(&back);
        free(a);
    }
}

static enum passel_status find_and_drop(void *data)
{
    const float *planes = data;
    struct flow there, back;
    const enum passel_status status = flow_find(planes, planes + 40 * 36, 40, 36, &there, &back, NULL);
    flow_release(&there);
    flow_release(&back);
    return status;
}

static void test_no_memory(void **state)
{
    (void)state;
    static float planes[2 * 40 * 36];
    for (int i = 0; i < 2 * 40 * 36; i++)
        planes[i] = (float)texture(i % 40, i / 40);
    assert_true(fail_memory_each(find_and_drop, planes) > 10);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_shift),
        cmocka_unit_test(test_turn),
        cmocka_unit_test(test_disc_before_a_wall),
        cmocka_unit_test(test_post_before_what_moves),
        cmocka_unit_test(test_noise_is_no_motion),
        cmocka_unit_test(test_small_sizes),
        cmocka_unit_test(test_no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
