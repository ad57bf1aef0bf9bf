/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * key_level and key_bare: what a key finds out of bare screen, when most of the frame is smoke and subject.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>

#include "base/memory.h"
#include "key_scene.h"
#include "kinds/key_bare.h"
#include "kinds/key_level.h"

#define SIDE 16
#define ACROSS 40
#define DOWN 24

static const struct noise noise[3] = { { 2e-5F, 1e-6F }, { 2e-5F, 1e-6F }, { 2e-5F, 1e-6F } };
static const double colours[2][3] = { { 0.08, 0.55, 0.12 }, { 0.06, 0.14, 0.52 } };
static const double smoke[3] = { 0.5, 0.49, 0.47 };

/* How dense the smoke is in a cell: a plume down the middle, thinning outwards; the lower third is subject. */
static double smoke_at(int32_t i)
{
    const double far = fabs(i - ACROSS * 0.5) / 9;
    return far < 1 ? 0.5 * (1 - far) : 0;
}

static double fall_at(int32_t i, int32_t j, int take)
{
    const double x = (double)i / ACROSS - 0.4 - 0.2 * take, y = (double)j / DOWN - 0.5;
    return exp2(-0.9 * (x * x + y * y));
}

static bool is_subject(int32_t j)
{
    return j >= DOWN * 2 / 3;
}

/* The cells of a take as cells_measure would leave them. */
static struct cells cells_of(int take, double level, struct dice *dice)
{
    struct cells cells;
    assert_int_equal(cells_new(&cells, rect_of(0, 0, ACROSS * SIDE, DOWN * SIDE), SIDE, 3, NULL), PASSEL_OK);
    for (int32_t j = 0; j < DOWN; j++) {
        for (int32_t i = 0; i < ACROSS; i++) {
            const double alpha = smoke_at(i), paint = 0.1 + 0.3 * dice_uniform(dice);
            for (int c = 0; c < 3; c++) {
                const double screen = level * fall_at(i, j, take) * colours[take][c];
                const double light = is_subject(j) ? paint : alpha * smoke[c] + (1 - alpha) * screen;
                const double sigma = sqrt((double)noise_variance(noise[c], (float)light));
                cells.value[c][j * ACROSS + i] = (float)(light + (double)CELL_NOISE * sigma * dice_gauss(dice));
                cells.spread[c][j * ACROSS + i] = (float)(0.6745 * sigma);
            }
            cells.weight[j * ACROSS + i] = 1;
        }
    }
    return cells;
}

static struct picture empty_of(int take)
{
    struct picture empty;
    assert_int_equal(picture_new(&empty, rect_of(0, 0, ACROSS * SIDE, DOWN * SIDE), HAS_RGB, NULL), PASSEL_OK);
    for (int c = 0; c < 3; c++) {
        for (int32_t y = 0; y < DOWN * SIDE; y++) {
            for (int32_t x = 0; x < ACROSS * SIDE; x++)
                picture_row(&empty, (enum plane)c, y)[x] =
                    (float)(fall_at(x / SIDE, y / SIDE, take) * colours[take][c]);
        }
    }
    return empty;
}

/* The bug: smoke that is about as bright as the screen in its main channel, and several times as bright in the others,
 * drew those channels' levels away, until hardly a cell agreed; a take lit like its empty came out 25 % brighter. */
static void test_level_in_smoke(void **state)
{
    (void)state;
    for (int take = 0; take < 2; take++) {
        for (int k = 0; k < 3; k++) {
            struct dice dice = { (uint64_t)(11 + take) };
            const double level = 0.97 + 0.03 * k;
            struct cells cells = cells_of(take, level, &dice);
            struct picture empty = empty_of(take);
            float found[3];
            int bare;
            assert_int_equal(level_find(&empty, noise, &cells, 1, found, &bare, NULL), PASSEL_OK);
            for (int c = 0; c < 3; c++)
                assert_float_equal(found[c], level, 0.002);
            assert_true(bare > ACROSS * DOWN / 4);
            cells_release(&cells);
            picture_release(&empty);
        }
    }
}

/* Smoke is smooth, and thin smoke hardly changes the screen's light; but it changes its colour. */
static void test_smoke_is_not_bare(void **state)
{
    struct dice dice = { 5 };
    struct cells takes[2] = { cells_of(0, 1, &dice), cells_of(1, 1, &dice) };
    struct bare_view view = { .takes = { &takes[0], &takes[1] }, .noise = { noise, noise }, .count = 2 };
    int bare, right = 0, all = 0;
    (void)state;
    view.score = memory_zeros(ACROSS * DOWN, sizeof(float));
    for (int i = 0; i < ACROSS * DOWN; i++) {
        for (int c = 0; c < 3; c++)
            view.score[i] += fabsf(takes[0].value[c][i] - takes[1].value[c][i]);
    }
    assert_int_equal(bare_select(&view, &bare, NULL), PASSEL_OK);
    for (int32_t j = 0; j < DOWN; j++) {
        for (int32_t i = 0; i < ACROSS; i++) {
            const float weight = takes[0].weight[j * ACROSS + i];
            if (is_subject(j) || smoke_at(i) > 0.02)
                assert_float_equal(weight, 0, 0);
            else if (smoke_at(i) <= 0) {
                all++;
                right += weight > 0;
            }
        }
    }
    print_message("%d of %d bare cells are known as such\n", right, all);
    assert_true(right > 0.97 * all);
    memory_free(view.score);
    for (int i = 0; i < 2; i++)
        cells_release(&takes[i]);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_level_in_smoke),
        cmocka_unit_test(test_smoke_is_not_bare),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
