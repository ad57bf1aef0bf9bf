/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Light sums against the formula in double, the rules of what is asked for, and the refusals.
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
#include "pattern.h"
#include "stage.h"

#define SHOT "shot storm\n  frames 1001-1010\n  size 40x21\n"
#define PASSES                                                                                                         \
    "dark = flat\n  colour 0 0 0\n"                                                                                    \
    "moon = flat\n  colour 0 0 0\n"                                                                                    \
    "lamp = flat\n  colour 0 0 0\n"                                                                                    \
    "bolt = flat\n  colour 0 0 0\n"

static const struct kind *const kinds[] = { &kind_lights, &kind_curve, NULL };
static const struct rect window = { 0, 0, 40, 21 };

struct set {
    struct stage stage;
    struct stage_input inputs[4];
};

/* dark, moon (with alpha), lamp (with alpha, cut to a part), bolt; noise from a little below 0 to above 1. */
static void set_init(struct set *set, const char *text)
{
    static const char *const names[] = { "dark", "moon", "lamp", "bolt" };
    static const unsigned planes[] = { HAS_RGB, HAS_RGBA, HAS_RGBA, HAS_RGB };
    static const struct rect lamp = { 5, -3, 33, 18 };
    for (int i = 0; i < 4; i++) {
        const struct rect area = i == 2 ? lamp : window;
        set->inputs[i] = (struct stage_input){ names[i], pattern_picture(area, planes[i], (uint32_t)i + 1), window };
        for (int p = PLANE_R; p <= PLANE_B; p++) {
            for (int32_t y = area.y0; y < area.y1; y++) {
                float *row = picture_row(&set->inputs[i].picture, (enum plane)p, y);
                for (int32_t x = 0; x < rect_width(area); x++)
                    row[x] = row[x] * 1.6f - 0.1f;
            }
        }
    }
    stage_init(&set->stage, text, kinds);
    set->stage.inputs = set->inputs;
    set->stage.input_count = 4;
}

static void set_release(struct set *set)
{
    stage_release(&set->stage);
    for (int i = 0; i < 4; i++)
        picture_release(&set->inputs[i].picture);
}

static double input_at(const struct set *set, int i, enum plane plane, int32_t x, int32_t y)
{
    const struct picture *picture = &set->inputs[i].picture;
    const struct rect area = picture->area;
    if (x < area.x0 || x >= area.x1 || y < area.y0 || y >= area.y1)
        return 0;
    return picture->plane[plane] == NULL ? 1 : (double)pattern_at(picture, plane, x, y);
}

/* ambient · kept + Σ weight (pass − ambient), as the design writes it; the order of the inputs reversed. */
static void assert_sum(const struct set *set, const struct picture *out, double kept, const double weights[4][3])
{
    for (int p = PLANE_R; p <= PLANE_B; p++) {
        for (int32_t y = out->area.y0; y < out->area.y1; y++) {
            for (int32_t x = out->area.x0; x < out->area.x1; x++) {
                const double dark = input_at(set, 0, (enum plane)p, x, y);
                double sum = kept * dark, size = fabs(sum);
                for (int i = 3; i > 0; i--) {
                    const double part = weights[i][p] * (input_at(set, i, (enum plane)p, x, y) - dark);
                    sum += part;
                    size += fabs(part);
                }
                const double made = (double)pattern_at(out, (enum plane)p, x, y);
                /* Half a step of float for the one rounding, and a trace of double. */
                assert_true(fabs(made - sum) <= fabs(sum) * 0x1p-24 + size * 1e-14 + 1e-40);
            }
        }
    }
}

static void sums_light(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, SHOT PASSES "strike = curve\n  1001 0.25\n  1003 0.75\n"
                               "night = lights\n  ambient dark\n  light moon -1.5 stops tint 0.75 0.85 1\n"
                               "  light lamp +1 stops\n  light bolt gain strike\n");
    struct picture out = stage_picture(&set.stage, "night", 1002, HAS_RGBA);
    const double moon = 0.35355339059327376;
    const double weights[4][3] = { { 0 }, { moon * 0.75, moon * 0.85, moon }, { 2, 2, 2 }, { 0.5, 0.5, 0.5 } };
    assert_true(rect_same(out.area, rect_of(0, -3, 40, 21)));
    assert_sum(&set, &out, 1, weights);
    for (int32_t y = out.area.y0; y < out.area.y1; y++) {
        for (int32_t x = 0; x < 40; x++) {
            double most = 0;
            for (int i = 0; i < 4; i++)
                most = fmax(most, input_at(&set, i, PLANE_A, x, y));
            assert_true((double)pattern_at(&out, PLANE_A, x, y) == most);
        }
    }
    assert_string_equal(set.stage.asked, "moon:* dark:* lamp:* bolt:*");
    picture_release(&out);
    set_release(&set);
}

static void one_pass_alone_is_itself(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, SHOT PASSES "night = lights\n  light moon\n");
    struct picture out = stage_picture(&set.stage, "night", 1001, HAS_RGBA);
    for (int p = 0; p < PLANE_COUNT; p++)
        pattern_assert_same(&out, &set.inputs[1].picture, (enum plane)p);
    picture_release(&out);
    set_release(&set);
}

/* At gain 1 the ambient has the weight 0 and is not asked for; at gain 0 the light. */
static void weight_zero_is_not_asked_for(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, SHOT PASSES "night = lights\n  ambient dark\n  light lamp gain [1001 0, 1003 1]\n"
                               "off = lights\n  ambient dark\n  light moon off\n  light lamp\n  light bolt +1 stops\n"
                               "solo = lights\n  ambient dark off\n  light moon\n  light lamp 2 stops solo\n"
                               "out = lights\n  light moon off\n");
    struct picture out = stage_picture(&set.stage, "night", 1001, HAS_RGB);
    assert_string_equal(set.stage.asked, "dark:*");
    for (int p = 0; p < PLANE_A; p++)
        pattern_assert_same(&out, &set.inputs[0].picture, (enum plane)p);
    picture_release(&out);
    out = stage_picture(&set.stage, "night", 1003, HAS_RGB);
    assert_string_equal(set.stage.asked, "lamp:*");
    picture_release(&out);
    out = stage_picture(&set.stage, "off", 1001, HAS_RGB);
    assert_string_equal(set.stage.asked, "lamp:* dark:* bolt:*");
    assert_sum(&set, &out, 1, (const double[4][3]){ { 0 }, { 0 }, { 1, 1, 1 }, { 2, 2, 2 } });
    picture_release(&out);
    out = stage_picture(&set.stage, "solo", 1001, HAS_RGB);
    assert_string_equal(set.stage.asked, "lamp:* dark:*");
    assert_sum(&set, &out, 0, (const double[4][3]){ { 0 }, { 0 }, { 4, 4, 4 }, { 0 } });
    picture_release(&out);
    out = stage_picture(&set.stage, "out", 1001, HAS_RGB);
    assert_string_equal(set.stage.asked, "");
    assert_true(rect_empty(out.area));
    picture_release(&out);
    set_release(&set);
}

/* The lamp was left on while the bolt was filmed, and moon and lamp while … : passes within passes. */
static void a_pass_may_be_part_of_another(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, SHOT PASSES "one = lights\n  ambient dark\n  light moon\n  light bolt 1 stops minus lamp\n"
                               "two = lights\n  ambient dark\n  light bolt gain 2 minus lamp minus moon tint 1 2 4\n"
                               "bare = lights\n  light moon gain 3\n  light bolt gain 2 minus moon\n"
                               "gone = lights\n  light moon gain 2\n  light bolt gain 2 minus moon\n");
    struct picture out = stage_picture(&set.stage, "one", 1001, HAS_RGB);
    /* dark + (moon - dark) + 2 (bolt - lamp) */
    assert_string_equal(set.stage.asked, "moon:* bolt:* lamp:*");
    assert_sum(&set, &out, 1, (const double[4][3]){ { 0 }, { 1, 1, 1 }, { -2, -2, -2 }, { 2, 2, 2 } });
    picture_release(&out);
    out = stage_picture(&set.stage, "two", 1001, HAS_RGB);
    assert_sum(&set, &out, 1, (const double[4][3]){ { 0 }, { -2, -4, -8 }, { -2, -4, -8 }, { 2, 4, 8 } });
    picture_release(&out);
    out = stage_picture(&set.stage, "bare", 1001, HAS_RGB);
    assert_string_equal(set.stage.asked, "moon:* bolt:*");
    for (int32_t x = 0; x < 40; x++)
        assert_true(fabs((double)pattern_at(&out, PLANE_G, x, 3) -
                         (input_at(&set, 1, PLANE_G, x, 3) + 2 * input_at(&set, 3, PLANE_G, x, 3))) < 1e-6);
    picture_release(&out);
    out = stage_picture(&set.stage, "gone", 1001, HAS_RGB);
    assert_string_equal(set.stage.asked, "bolt:*");
    picture_release(&out);
    set_release(&set);
}

/* Lights behind mattes: moon's and lamp's alpha serve as such. */
static void a_matte_says_where(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, SHOT PASSES "night = lights\n  ambient dark\n  light bolt gain 2 matte moon\n  light lamp gain 3\n"
                               "  light moon matte moon tint 1 0.5 0.25\n  light bolt matte lamp\n");
    struct picture out = stage_picture(&set.stage, "night", 1001, HAS_RGB);
    assert_string_equal(set.stage.asked, "lamp:* dark:* bolt:* moon:* moon:A lamp:A");
    for (int p = PLANE_R; p <= PLANE_B; p++) {
        for (int32_t y = out.area.y0; y < out.area.y1; y++) {
            for (int32_t x = out.area.x0; x < out.area.x1; x++) {
                const enum plane c = (enum plane)p;
                const double dark = input_at(&set, 0, c, x, y), bolt = input_at(&set, 3, c, x, y) - dark;
                const double moon = input_at(&set, 1, c, x, y) - dark, lamp = input_at(&set, 2, c, x, y) - dark;
                const double right = fmin(fmax(input_at(&set, 1, PLANE_A, x, y), 0), 1);
                const double left = fmin(fmax(input_at(&set, 2, PLANE_A, x, y), 0), 1);
                const double tint = p == PLANE_R ? 1 : p == PLANE_G ? 0.5 : 0.25;
                const double sum = dark + 3 * lamp + right * (2 * bolt + tint * moon) + left * bolt;
                assert_true(fabs((double)pattern_at(&out, c, x, y) - sum) <= fabs(sum) * 0x1p-24 + 1e-13);
            }
        }
    }
    picture_release(&out);
    set_release(&set);
}

static void refused(const char *block, const char *message)
{
    struct set set;
    struct picture out;
    struct picture_info info;
    struct passel_error error;
    char text[1024];
    snprintf(text, sizeof text, "%snight = lights\n%s", SHOT PASSES, block);
    set_init(&set, text);
    assert_int_equal(stage_make(&set.stage, "night", 1001, 1, HAS_RGB, 64, &out, &info, &error), PASSEL_BAD_RECIPE);
    if (strstr(error.text, message) == NULL)
        fail_msg("%s", error.text);
    set_release(&set);
}

static void refuses_what_cannot_be(void **state)
{
    (void)state;
    refused("  light moon matte bolt\n", "test.passel:13:20: error: expected a matte");
    refused("  light moon minus lamp black auto\n", "test.passel:13:25: error: a light has `minus` or `black`");
}

/* 64 lights in this and in the opposite order agree within the last bit. */
static void order_does_not_show(void **state)
{
    (void)state;
    char text[8192] = SHOT PASSES "up = lights\n  ambient dark\n";
    for (int i = 0; i < 64; i++)
        snprintf(text + strlen(text), sizeof text - strlen(text), "  light %s gain %g\n", i % 3 ? "moon" : "bolt",
                 i * 0.37 - 9);
    snprintf(text + strlen(text), sizeof text - strlen(text), "down = lights\n  ambient dark\n");
    for (int i = 63; i >= 0; i--)
        snprintf(text + strlen(text), sizeof text - strlen(text), "  light %s gain %g\n", i % 3 ? "moon" : "bolt",
                 i * 0.37 - 9);
    struct set set;
    set_init(&set, text);
    struct picture up = stage_picture(&set.stage, "up", 1001, HAS_RGB);
    struct picture down = stage_picture(&set.stage, "down", 1001, HAS_RGB);
    for (int32_t y = 0; y < 21; y++) {
        for (int32_t x = 0; x < 40; x++) {
            const float a = pattern_at(&up, PLANE_G, x, y), b = pattern_at(&down, PLANE_G, x, y);
            assert_true(fabsf(a - b) <= fabsf(a) * 0x1p-23f);
        }
    }
    picture_release(&up);
    picture_release(&down);
    set_release(&set);
}

static void refuses_other_sizes_with_both(void **state)
{
    (void)state;
    struct set set;
    struct picture out;
    struct picture_info info;
    struct passel_error error;
    set_init(&set, SHOT PASSES "night = lights\n  ambient dark\n  light moon 1 stops\n  light lamp\n");
    set.inputs[2].display = rect_of(0, 0, 20, 11);
    assert_int_equal(stage_make(&set.stage, "night", 1001, 1, HAS_RGB, 64, &out, &info, &error), PASSEL_BAD_RECIPE);
    assert_non_null(strstr(error.text, "test.passel:"));
    assert_non_null(strstr(error.text, "40x21"));
    assert_non_null(strstr(error.text, "20x11"));
    assert_non_null(strstr(error.text, "`lamp`"));
    set_release(&set);
}

static void refuses_stops_and_gain_together(void **state)
{
    (void)state;
    struct set set;
    struct picture out;
    struct picture_info info;
    struct passel_error error;
    set_init(&set, SHOT PASSES "night = lights\n  light moon 1 stops gain 2\n");
    assert_int_equal(stage_make(&set.stage, "night", 1001, 1, HAS_RGB, 64, &out, &info, &error), PASSEL_BAD_RECIPE);
    assert_non_null(strstr(error.text, "not both"));
    set_release(&set);
}

static void survives_no_memory(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, SHOT PASSES "night = lights\n  ambient dark\n  light moon 1 stops colour 3000 K matte lamp\n"
                               "  light bolt minus lamp\n");
    stage_survives_no_memory(&set.stage, "night", HAS_RGBA);
    set_release(&set);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(sums_light),
        cmocka_unit_test(one_pass_alone_is_itself),
        cmocka_unit_test(weight_zero_is_not_asked_for),
        cmocka_unit_test(a_pass_may_be_part_of_another),
        cmocka_unit_test(a_matte_says_where),
        cmocka_unit_test(refuses_what_cannot_be),
        cmocka_unit_test(order_does_not_show),
        cmocka_unit_test(refuses_other_sizes_with_both),
        cmocka_unit_test(refuses_stops_and_gain_together),
        cmocka_unit_test(survives_no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
