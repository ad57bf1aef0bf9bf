/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Strikes: their shape, that they follow from seed and frame alone, and the lines of a curve that make them.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "kinds/kinds.h"
#include "language/recipe.h"
#include "numerics/seeded.h"
#include "numerics/strike.h"
#include "stage.h"

/* Computed in Python's whole numbers from the two formulas in seeded.c. */
static void chance_is_what_it_was(void **state)
{
    (void)state;
    assert_true(seeded_share(1, 0, 0) == 0.039922651441566814);
    assert_true(seeded_share(7, 3, -5) == 0.8357983916740649);
    assert_true(seeded_share(999999, 6, (int64_t)1 << 40) == 0.5957987536683977);
}

static void keeps_its_shape(void **state)
{
    (void)state;
    for (int count = 1; count <= STROKES_MOST; count++) {
        for (uint64_t seed = 0; seed < 200; seed++) {
            struct strike strike = {
                .at = 1010, .peak = 3, .length = 2 * count + (double)(seed % 30), .rise = 1.5, .count = count
            };
            strike_make(&strike, seed);
            assert_true(strike_at(&strike, 1010) == 3);
            assert_true(strike_at(&strike, 1008.5) == 0);
            assert_true(strike_at(&strike, 1009.25) == 1.5);
            assert_true(strike_at(&strike, 1010 + strike.length) == 0);
            assert_true(strike_at(&strike, 2000) == 0 && strike_at(&strike, -5) == 0);
            for (double frame = 1005; frame < 1080; frame += 0.25)
                assert_true(strike_at(&strike, frame) >= 0 && strike_at(&strike, frame) <= 3);
            for (int i = 1; i < count; i++) {
                const double at = 1010 + strike.stroke_at[i];
                assert_true(strike.stroke_at[i] - strike.stroke_at[i - 1] >= STROKE_GAP);
                assert_true(strike.stroke_at[i] + STROKE_GAP <= strike.length);
                assert_true(strike.stroke_at[i] == floor(strike.stroke_at[i]));
                assert_true(strike.stroke_size[i] >= 0.3 && strike.stroke_size[i] < 0.8);
                assert_true(strike_at(&strike, at) >= 3 * strike.stroke_size[i]);
            }
        }
    }
}

/* Most re-strikes are seen: the frame before is darker. */
static void strikes_again(void **state)
{
    (void)state;
    int seen = 0, all = 0;
    for (uint64_t seed = 1; seed <= 100; seed++) {
        struct strike strike = { .at = 10, .peak = 1, .length = 14, .rise = 1, .count = 3 };
        strike_make(&strike, seed);
        for (int i = 1; i < 3; i++, all++)
            seen += strike_at(&strike, 10 + strike.stroke_at[i]) > strike_at(&strike, 9 + strike.stroke_at[i]) * 1.05;
    }
    assert_true(seen * 10 >= all * 8);
}

static double number(const struct stage *stage, const char *curve, double frame)
{
    return track_at(recipe_block(stage->recipe, curve)->track, 0, frame);
}

#define SHOT "shot storm\n  frames 1001-1048\n  size 8x8\n"
static const struct kind *const kinds[] = { &kind_curve, &kind_lights, NULL };

/* Keys, several strikes and a flicker in one curve: added, added, multiplied. */
static void joins_keys_strikes_and_flickers(void **state)
{
    (void)state;
    struct stage stage;
    stage_init(&stage,
               SHOT "keys = curve\n  1001 1\n  1041 5\n"
                    "one = curve\n  strike at 1010 seed 5\n"
                    "two = curve\n  strike at 1012.5 peak 0.5 over 20 frames strokes 4 rise 2 frames seed 9\n"
                    "unrest = curve\n  flicker 0.25 stops seed 4\n"
                    "all = curve\n  1001 1\n  strike at 1010 seed 5\n  1041 5\n  flicker 0.25 stops seed 4\n"
                    "  strike at 1012.5 peak 0.5 over 20 frames strokes 4 rise 2 frames seed 9\n"
                    "again = curve\n  strike at 1020 seed 5\n"
                    "plain = curve\n  strike at 1010\n  strike at 1030\n",
               kinds);
    bool alike = true;
    for (double frame = 990; frame < 1060; frame += 0.5) {
        const double sum = number(&stage, "keys", frame) + number(&stage, "one", frame) + number(&stage, "two", frame);
        assert_true(fabs(number(&stage, "all", frame) - sum * number(&stage, "unrest", frame)) < 1e-12);
        assert_true(number(&stage, "again", frame + 10) == number(&stage, "one", frame));
        if (frame >= 1009 && frame < 1022)
            alike = alike && number(&stage, "plain", frame) == number(&stage, "plain", frame + 20);
    }
    assert_true(number(&stage, "two", 1012.5) == 0.5);
    assert_false(alike);
    stage_release(&stage);
}

static void refused(const char *lines, const char *message)
{
    static const struct schema *const schemas[] = { &kind_shot.schema, &kind_curve.schema, &kind_lights.schema,
                                                    &kind_flat.schema, &kind_stack.schema, NULL };
    struct recipe *recipe;
    struct text messages = { 0 };
    struct passel_error error;
    assert_int_equal(recipe_parse("test.passel", lines, strlen(lines), schemas, NULL, 0, &recipe, &messages, &error),
                     PASSEL_BAD_RECIPE);
    if (strstr(messages.bytes, message) == NULL)
        fail_msg("%s", messages.bytes);
    text_release(&messages);
}

static void says_what_is_wrong(void **state)
{
    (void)state;
    refused("c = curve\n", "test.passel:1:1: error: this 'curve' block needs a line");
    refused("c = curve\n  strike\n", "test.passel:2:3: error: expected the frame of the strike: strike at 1010");
    refused("c = curve\n  strike at 1010 over 6 frames strokes 4\n",
            "test.passel:2:18: error: 4 strokes take at least 8 frames, this strike lasts 6");
    refused("c = curve\n  strike at 1010 strokes 7\n", "test.passel:2:18: error: 7 strokes take at least 14 frames");
    refused("c = curve\n  flicker seed 3\n", "test.passel:2:3: error: expected how strong the flicker is");
    refused("c = curve\n  flicker 0.3 stops by 6%\n", "in one way");
    refused("c = curve\n  1001 1\n  flicker by 60%\n", "test.passel:3:14: error:");
    refused("c = curve\n  1001 0.5\n  strike at 1010 peak -1\n", "test.passel:3:23: error:");
    refused("p = flat\n  colour 1 1 1\nc = curve\n  1001 0.5\n  strike at 1010 peak 0.75\n"
            "s = stack\n  layer p opacity c\n",
            "test.passel:7:19: error: the curve 'c' is 1.25 at frame 1010; here at most 1 is allowed");
    refused("p = flat\n  colour 1 1 1\nc = curve\n  1001 0.5\n  flicker by 40%\n  flicker 1 stops\n"
            "s = stack\n  layer p opacity c\n",
            "the curve 'c' can be 5.65685424949238 at frame 1001; here at most 1 is allowed");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(chance_is_what_it_was), cmocka_unit_test(keeps_its_shape),
        cmocka_unit_test(strikes_again),         cmocka_unit_test(joins_keys_strikes_and_flickers),
        cmocka_unit_test(says_what_is_wrong),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
