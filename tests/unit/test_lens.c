/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The kind `lens` against the formula itself: r' = r (1 + k1 r² + k2 r⁴), its inverse found here by bisection.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include <cmocka.h>

#include "kinds/kinds.h"
#include "picture/lens.h"
#include "stage.h"

#define WIDTH 96
#define HEIGHT 64

static const struct rect frame = { 0, 0, WIDTH, HEIGHT };

static double bent_radius(double k1, double k2, double r)
{
    return r * (1 + k1 * r * r + k2 * r * r * r * r);
}

/* Where an output position comes from, in pixels. */
static void truth(double k1, double k2, bool straighten, double x, double y, double *u, double *v)
{
    const double unit = sqrt(WIDTH * WIDTH + HEIGHT * HEIGHT) / 2, dx = x - WIDTH / 2.0, dy = y - HEIGHT / 2.0;
    const double r = sqrt(dx * dx + dy * dy) / unit;
    double low = 0, high = 3, to = bent_radius(k1, k2, r);
    for (int i = 0; i < 60 && !straighten; i++) {
        to = (low + high) / 2;
        if (bent_radius(k1, k2, to) < r)
            low = to;
        else
            high = to;
    }
    *u = WIDTH / 2.0 + (r > 0 ? to / r : 1) * dx;
    *v = HEIGHT / 2.0 + (r > 0 ? to / r : 1) * dy;
}

static double wave(double x, double y)
{
    return 0.5 + 0.25 * sin(0.5 * x + 0.2 * y) + 0.2 * cos(0.3 * y - 0.25 * x);
}

static struct picture waves(void)
{
    struct picture picture;
    assert_int_equal(picture_new(&picture, frame, HAS_RGB, NULL), PASSEL_OK);
    for (int32_t y = 0; y < HEIGHT; y++)
        for (int32_t x = 0; x < WIDTH; x++)
            for (int p = PLANE_R; p <= PLANE_B; p++)
                picture_row(&picture, (enum plane)p, y)[x] = (float)(wave(x + 0.5, y + 0.5) * (1 + p));
    return picture;
}

/* Makes `bent` of a recipe whose radial line this is. */
static struct picture made(const char *radial, const struct picture *plate)
{
    static const struct kind *const kinds[] = { &kind_lens, NULL };
    const struct stage_input inputs[] = { { "plate", *plate, frame } };
    struct stage stage;
    char text[256];
    (void)snprintf(text, sizeof text,
                   "shot s\n  frames 1\n  size 96x64\nplate = flat\n  colour 1 1 1\nbent = lens plate\n  radial %s\n",
                   radial);
    stage_init(&stage, text, kinds);
    stage.inputs = inputs;
    stage.input_count = 1;
    struct picture out = stage_picture(&stage, "bent", 1, HAS_RGBA);
    stage_release(&stage);
    return out;
}

static void follows_the_formula(double k1, double k2, bool straighten)
{
    struct picture plate = waves();
    char radial[64];
    double worst = 0;
    int whole = 0;
    (void)snprintf(radial, sizeof radial, "%g %g %s", k1, k2, straighten ? "straighten" : "bend");
    struct picture out = made(radial, &plate);
    for (int32_t y = 0; y < HEIGHT; y++)
        for (int32_t x = 0; x < WIDTH; x++) {
            double u, v;
            truth(k1, k2, straighten, x + 0.5, y + 0.5, &u, &v);
            const float a = picture_row(&out, PLANE_A, y)[x];
            const bool deep = u > 4 && v > 4 && u < WIDTH - 4 && v < HEIGHT - 4;
            const bool away = u < -1.5 || v < -1.5 || u > WIDTH + 1.5 || v > HEIGHT + 1.5;
            assert_true(a >= 0 && a <= 1.00001F);
            if (away)
                assert_true(a == 0 && picture_row(&out, PLANE_G, y)[x] == 0);
            if (!deep)
                continue;
            whole++;
            assert_true(fabsf(a - 1) < 1e-5F);
            worst = fmax(worst, fabs((double)picture_row(&out, PLANE_R, y)[x] - wave(u, v)));
            assert_true(fabsf(picture_row(&out, PLANE_B, y)[x] - 3 * picture_row(&out, PLANE_R, y)[x]) < 1e-4F);
        }
    print_message("k1 %g k2 %g %s: worst %.5f over %d pixels\n", k1, k2, straighten ? "straighten" : "bend", worst,
                  whole);
    assert_true(whole > WIDTH * HEIGHT / 3);
    assert_true(worst < 0.004); /* the Lanczos kernel itself, on these waves */
    picture_release(&plate);
    picture_release(&out);
}

static void bends_and_straightens(void **state)
{
    static const double lenses[][2] = { { 0, 0 }, { -0.12, 0.02 }, { 0.08, -0.01 }, { -0.05, 0 }, { 0.15, 0.05 } };
    (void)state;
    for (int i = 0; i < 5; i++) {
        follows_the_formula(lenses[i][0], lenses[i][1], false);
        follows_the_formula(lenses[i][0], lenses[i][1], true);
    }
}

/* The table against the formula, far finer than pixels show. */
static void the_table_is_exact(void **state)
{
    const double unit = sqrt(WIDTH * WIDTH + HEIGHT * HEIGHT) / 2;
    double worst = 0;
    (void)state;
    for (int way = 0; way < 2; way++) {
        struct lens lens;
        lens_init(&lens, -0.15, 0.03, WIDTH / 2.0, HEIGHT / 2.0, unit, way == 1, unit + 1);
        for (int i = 0; i < 4000; i++) {
            const double x = WIDTH * ((i * 0.618) - floor(i * 0.618)), y = HEIGHT * ((i * 0.414) - floor(i * 0.414));
            double u, v, a, b;
            assert_true(lens_point(&lens, x, y, &u, &v));
            truth(-0.15, 0.03, way == 1, x, y, &a, &b);
            worst = fmax(worst, fmax(fabs(u - a), fabs(v - b)));
        }
    }
    assert_true(worst < 1e-4);
}

/* Where a strong barrel would fold the picture over itself there is nothing. */
static void beyond_the_fold_is_nothing(void **state)
{
    struct lens lens;
    double u, v;
    (void)state;
    lens_init(&lens, -0.8, 0, 50, 50, 50, false, 80);
    assert_true(lens.farthest < 50);
    assert_true(lens_point(&lens, 50 + 0.9 * lens.farthest, 50, &u, &v));
    assert_false(lens_point(&lens, 50 + 1.01 * lens.farthest, 50, &u, &v));
    assert_true(isfinite(u) && isfinite(v));
}

/* No pixel outside of what was asked for is read: stage delivers just that, and a sanitizer would see. */
static void memory_may_fail(void **state)
{
    static const struct kind *const kinds[] = { &kind_lens, NULL };
    struct picture plate = waves();
    const struct stage_input inputs[] = { { "plate", plate, frame } };
    struct stage stage;
    (void)state;
    stage_init(&stage,
               "shot s\n  frames 1\n  size 96x64\nplate = flat\n  colour 1 1 1\nbent = lens plate\n"
               "  radial -0.1 0\n  about 30 20 px\n",
               kinds);
    stage.inputs = inputs;
    stage.input_count = 1;
    stage_survives_no_memory(&stage, "bent", HAS_RGBA);
    stage_release(&stage);
    picture_release(&plate);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(bends_and_straightens),
        cmocka_unit_test(the_table_is_exact),
        cmocka_unit_test(beyond_the_fold_is_nothing),
        cmocka_unit_test(memory_may_fail),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
