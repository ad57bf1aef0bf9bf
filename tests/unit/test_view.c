/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * view: colour over every ground, alpha, and its faults.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "kinds/kinds.h"
#include "pattern.h"
#include "stage.h"

#define TEXT                                                                                                           \
    "shot storm\n  frames 1001-1010\n  size 40x21\n"                                                                   \
    "cut = flat\n  colour 0 0 0\n"                                                                                     \
    "night = flat\n  colour 0 0 0\n"

static const struct kind *const kinds[] = { &kind_view, NULL };
static const struct rect window = { 0, 0, 40, 21 };

struct set {
    struct stage stage;
    struct stage_input inputs[2];
};

/* The cut-out's data are smaller than its frame on one side and larger on another; alphas leave 0 ... 1. */
static void set_init(struct set *set, const char *text)
{
    set->inputs[0] = (struct stage_input){ "cut", pattern_picture(rect_of(-3, 2, 30, 21), HAS_RGBA, 1), window };
    set->inputs[1] = (struct stage_input){ "night", pattern_picture(window, HAS_RGB, 2), window };
    for (int32_t y = 2; y < 21; y++) {
        float *row = picture_row(&set->inputs[0].picture, PLANE_A, y);
        for (int32_t x = 0; x < 33; x++)
            row[x] = row[x] * 1.4F - 0.2F;
    }
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

static double at(const struct picture *picture, int p, int32_t x, int32_t y)
{
    const struct rect area = picture->area;
    if (x < area.x0 || x >= area.x1 || y < area.y0 || y >= area.y1)
        return 0;
    return (double)pattern_at(picture, (enum plane)p, x, y);
}

static void over_every_ground(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        double ground[3], other;
    } grounds[] = {
        { TEXT "look = view cut\n", { 0.18, 0.18, 0.18 }, 1 },
        { TEXT "look = view cut\n  over black\n", { 0, 0, 0 }, 1 },
        { TEXT "look = view cut\n  over white\n", { 1, 1, 1 }, 1 },
        { TEXT "look = view cut\n  over red\n", { 0.8, 0.01, 0.01 }, 1 },
        { TEXT "look = view cut\n  over checker\n  squares 5 px\n", { 0.32, 0.32, 0.32 }, 0.25 },
    };
    for (size_t i = 0; i < sizeof grounds / sizeof *grounds; i++) {
        struct set set;
        set_init(&set, grounds[i].text);
        struct picture out = stage_picture(&set.stage, "look", 1001, HAS_RGB);
        assert_true(rect_same(out.area, rect_of(-3, 0, 40, 21)));
        for (int32_t y = 0; y < 21; y++) {
            for (int32_t x = -3; x < 40; x++) {
                const double a = fmin(fmax(at(&set.inputs[0].picture, PLANE_A, x, y), 0), 1);
                const double part = (x + 10) / 5 % 2 == y / 5 % 2 ? 1 : grounds[i].other;
                for (int c = 0; c < 3; c++)
                    assert_true(fabs(at(&out, c, x, y) - (at(&set.inputs[0].picture, c, x, y) +
                                                          (1 - a) * part * grounds[i].ground[c])) < 1e-6);
            }
        }
        picture_release(&out);
        set_release(&set);
    }
}

static void alpha_and_its_faults(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, TEXT "look = view cut\n  show alpha\nwrong = view cut\n  show faults\n");
    static const float alphas[] = { 0, 0.01F, 0.05F, 0.5F, 0.95F, 0.99F, 1 };
    memcpy(picture_row(&set.inputs[0].picture, PLANE_A, 5), alphas, sizeof alphas);
    struct picture look = stage_picture(&set.stage, "look", 1001, HAS_RGB);
    struct picture wrong = stage_picture(&set.stage, "wrong", 1001, HAS_RGB);
    assert_string_equal(set.stage.asked, "cut:A");
    for (int32_t x = -3; x < 40; x++) {
        for (int c = 0; c < 3; c++)
            assert_true(at(&look, c, x, 5) == fmin(fmax(at(&set.inputs[0].picture, PLANE_A, x, 5), 0), 1));
    }
    for (int i = 0; i < 7; i++) {
        const double r = at(&wrong, 0, i - 3, 5), b = at(&wrong, 2, i - 3, 5);
        if (i == 0 || i == 3 || i == 6)
            assert_true(r == (double)alphas[i] && b == r);
        else if (i < 3)
            assert_true(b > 0.2 && r == 0);
        else
            assert_true(r == 1 && b < 0.5);
    }
    picture_release(&look);
    picture_release(&wrong);
    set_release(&set);
}

/* Eight times as strong about middle grey, so that what is below 0 is seen. */
static void residual_about_grey(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, TEXT "rest = view cut\n  show residual\n");
    static const float values[] = { 0, 0.01F, -0.01F, -0.1F, 0.5F };
    memcpy(picture_row(&set.inputs[0].picture, PLANE_G, 5), values, sizeof values);
    struct picture rest = stage_picture(&set.stage, "rest", 1001, HAS_RGB);
    for (int i = 0; i < 5; i++)
        assert_true(fabs(at(&rest, 1, i - 3, 5) - fmax(0.18 + 8 * (double)values[i], 0)) < 1e-6);
    picture_release(&rest);
    set_release(&set);
}

static void colour_alone_has_no_alpha_to_show(void **state)
{
    (void)state;
    struct set set;
    struct picture out;
    struct picture_info info;
    struct passel_error error;
    set_init(&set, TEXT "look = view night\n  show alpha\nplain = view night\n");
    assert_int_equal(stage_make(&set.stage, "look", 1001, 1, HAS_RGB, 64, &out, &info, &error), PASSEL_BAD_RECIPE);
    assert_non_null(strstr(error.text, "key luma night"));
    out = stage_picture(&set.stage, "plain", 1001, HAS_RGB);
    for (int c = 0; c < 3; c++)
        pattern_assert_same(&out, &set.inputs[1].picture, (enum plane)c);
    picture_release(&out);
    set_release(&set);
}

static void survives_no_memory(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, TEXT "look = view cut\n  over checker\n");
    stage_survives_no_memory(&set.stage, "look", HAS_RGB);
    set_release(&set);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(over_every_ground),   cmocka_unit_test(alpha_and_its_faults),
        cmocka_unit_test(residual_about_grey), cmocka_unit_test(colour_alone_has_no_alpha_to_show),
        cmocka_unit_test(survives_no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
