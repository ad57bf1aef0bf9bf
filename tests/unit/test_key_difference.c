/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * key difference: a keeper before an uneven, marked set, with noise and with a shadow, against the truth and against
 * the plain difference with a threshold.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "key_scene.h"
#include "kinds/kinds.h"
#include "pattern.h"
#include "stage.h"

enum { WIDTH = 320, HEIGHT = 240 };

#define TEXT                                                                                                           \
    "shot storm\n  frames 1001-1002\n  size 320x240\n"                                                                 \
    "take = flat\n  colour 0 0 0\n"                                                                                    \
    "clean = flat\n  colour 0 0 0\n"                                                                                   \
    "rods = flat\n  colour 0 0 0\n"

static const struct kind *const kinds[] = { &kind_key_difference, NULL };
static const double wall[3] = { 0.30, 0.26, 0.20 };
static const struct camera camera = { 1.2e-4, 1e-5 };

struct set {
    struct stage stage;
    struct picture truth;
    struct stage_input inputs[3];
};

static double at(const struct picture *picture, int p, int32_t x, int32_t y)
{
    return (double)pattern_at(picture, (enum plane)p, x, y);
}

/* Light that a soft shadow below the keeper's arm leaves on the set. */
static double shade(int32_t x, int32_t y)
{
    const double d = hypot(x - 60.0, (y - 190.0) * 1.5);
    return d > 50 ? 1 : d < 30 ? 0.6 : 0.6 + 0.4 * (d - 30) / 20;
}

static void set_init_with(struct set *set, const char *text, bool shadow, double level, struct camera empty_camera)
{
    struct dice dice = { 7 };
    struct picture screen = scene_screen(WIDTH, HEIGHT, wall, 0.3, true);
    const struct rect window = rect_of(0, 0, WIDTH, HEIGHT);
    set->truth = scene_keeper(WIDTH, HEIGHT);
    struct picture clean = scene_take(NULL, &screen, 1);
    for (int c = 0; c < 3 && shadow; c++) {
        for (int32_t y = 0; y < HEIGHT; y++) {
            for (int32_t x = 0; x < WIDTH; x++)
                picture_row(&screen, (enum plane)c, y)[x] *= (float)shade(x, y);
        }
    }
    struct picture take = scene_take(&set->truth, &screen, level);
    scene_add_noise(&clean, empty_camera, &dice);
    scene_add_noise(&take, camera, &dice);
    set->inputs[0] = (struct stage_input){ "take", take, window };
    set->inputs[1] = (struct stage_input){ "clean", clean, window };
    set->inputs[2] = (struct stage_input){ "rods", pattern_picture(window, HAS_A, 3), window };
    picture_fill(&set->inputs[2].picture, PLANE_A, window, 0);
    picture_fill(&set->inputs[2].picture, PLANE_A, rect_of(0, 0, WIDTH, 40), 1);
    picture_release(&screen);
    stage_init(&set->stage, text, kinds);
    set->stage.inputs = set->inputs;
    set->stage.input_count = 3;
}

static void set_init(struct set *set, const char *text, bool shadow, double level)
{
    set_init_with(set, text, shadow, level, camera);
}

static void set_release(struct set *set)
{
    stage_release(&set->stage);
    picture_release(&set->truth);
    for (int i = 0; i < 3; i++)
        picture_release(&set->inputs[i].picture);
}

static struct picture cut(struct set *set, const char *name, unsigned planes)
{
    struct picture out;
    struct picture_info info;
    struct passel_error error = { PASSEL_OK, "" };
    if (stage_make(&set->stage, name, 1001, 1, planes, 1 << 20, &out, &info, &error) != PASSEL_OK)
        fail_msg("%s", error.text);
    return out;
}

/* Mean squared error of alpha: of all, and where the truth is bare, soft and solid. */
struct score {
    double all, bare, soft, solid;
};

static struct score score_of(const struct picture *alpha, const struct picture *truth)
{
    double sum[3] = { 0 }, count[3] = { 0 };
    for (int32_t y = 0; y < HEIGHT; y++) {
        for (int32_t x = 0; x < WIDTH; x++) {
            const double a = at(truth, PLANE_A, x, y), d = at(alpha, PLANE_A, x, y) - a;
            const int part = a < 1.0 / 512 ? 0 : a < 1 - 1.0 / 512 ? 1 : 2;
            sum[part] += d * d;
            count[part]++;
        }
    }
    return (struct score){ (sum[0] + sum[1] + sum[2]) / (count[0] + count[1] + count[2]), sum[0] / count[0],
                           sum[1] / count[1], sum[2] / count[2] };
}

/* The plain way: the length of the difference, stretched between two thresholds tuned on the truth. */
static struct score plain_score(const struct set *set)
{
    struct picture alpha = pattern_picture(rect_of(0, 0, WIDTH, HEIGHT), HAS_A, 1);
    struct score best = { .all = 1 };
    for (double from = 0.01; from < 0.1; from += 0.01) {
        for (double to = from + 0.01; to < 0.4; to += 0.02) {
            for (int32_t y = 0; y < HEIGHT; y++) {
                for (int32_t x = 0; x < WIDTH; x++) {
                    double d = 0;
                    for (int c = 0; c < 3; c++)
                        d += pow(at(&set->inputs[0].picture, c, x, y) - at(&set->inputs[1].picture, c, x, y), 2);
                    picture_row(&alpha, PLANE_A, y)[x] = (float)fmin(fmax((sqrt(d) - from) / (to - from), 0), 1);
                }
            }
            const struct score score = score_of(&alpha, &set->truth);
            best = score.all < best.all ? score : best;
        }
    }
    picture_release(&alpha);
    return best;
}

/* Measured: 1.2e-3 against 3.1e-3 of the plain difference whose thresholds were tuned on the truth. */
static void finds_the_keeper(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, TEXT "keeper = key difference take empty clean\n", false, 1);
    struct picture out = cut(&set, "keeper", HAS_RGBA);
    const struct score own = score_of(&out, &set.truth), plain = plain_score(&set);
    print_message("alpha MSE %.2e (soft %.2e), plain %.2e (soft %.2e)\n", own.all, own.soft, plain.all, plain.soft);
    assert_true(own.all < plain.all / 2 && own.soft < plain.soft / 2 && own.solid < plain.solid);
    assert_true(own.bare < 2e-4);
    /* Solid parts are the take itself; the lamp is brighter than 1. */
    for (int c = 0; c < 3; c++)
        assert_true(at(&out, c, 240, 180) == at(&set.inputs[0].picture, c, 240, 180));
    picture_release(&out);
    set_release(&set);
}

/* An empty that is the mean of sixteen frames: the take's own grain is no difference. */
static void an_averaged_empty_is_as_good(void **state)
{
    (void)state;
    struct set set;
    const struct camera mean = { camera.gain / 16, camera.floor / 16 };
    set_init_with(&set, TEXT "keeper = key difference take empty clean\n", false, 1, mean);
    struct picture out = cut(&set, "keeper", HAS_RGBA);
    const struct score own = score_of(&out, &set.truth);
    print_message("alpha MSE %.2e (bare %.2e)\n", own.all, own.bare);
    assert_true(own.all < 1.3e-3 && own.bare < 2e-4);
    picture_release(&out);
    set_release(&set);
}

/* Mean of the plane over bare pixels of the shadow's middle. */
static double in_shadow(const struct set *set, const struct picture *picture)
{
    double sum = 0;
    int count = 0;
    for (int32_t y = 180; y < 200; y++) {
        for (int32_t x = 40; x < 70; x++) {
            if (at(&set->truth, PLANE_A, x, y) > 0)
                continue;
            sum += at(picture, PLANE_A, x, y);
            count++;
        }
    }
    return sum / count;
}

/* The take is lit 4 % brighter than the empty, too. */
static void a_shadow_is_no_keeper(void **state)
{
    (void)state;
    struct set set;
    set_init(&set,
             TEXT "keeper = key difference take empty clean\n"
                  "both = key difference take empty clean\n  shadows in\n"
                  "deep = key difference take empty clean\n  darkest 80%\n",
             true, 1.04);
    struct picture out = cut(&set, "keeper", HAS_RGBA), both = cut(&set, "both", HAS_A),
                   deep = cut(&set, "deep", HAS_A);
    assert_true(score_of(&out, &set.truth).all < 3e-3);
    assert_true(in_shadow(&set, &out) < 0.001);
    assert_true(in_shadow(&set, &both) > 0.999);
    assert_true(in_shadow(&set, &deep) > 0.999);
    picture_release(&both);
    picture_release(&deep);
    picture_release(&out);
    set_release(&set);
}

/* Where no keeper is, the shadow's depth is that of the light; elsewhere there is none. */
static void the_shadow_is_a_picture(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, TEXT "keeper = key difference take empty clean\n", true, 1);
    set.stage.picture = 1;
    struct picture out = cut(&set, "keeper", HAS_A);
    double squares = 0, lit = 0;
    int count = 0;
    for (int32_t y = 20; y < HEIGHT; y++) {
        for (int32_t x = 5; x < 80; x++) {
            const double d = at(&out, PLANE_A, x, y) - (1 - shade(x, y));
            squares += d * d;
            lit += shade(x, y) == 1 ? at(&out, PLANE_A, x, y) : 0;
            count++;
        }
    }
    assert_true(sqrt(squares / count) < 0.02);
    assert_true(lit / count < 0.001);
    picture_release(&out);
    set_release(&set);
}

static void mattes_are_obeyed(void **state)
{
    (void)state;
    struct set set;
    set_init(&set,
             TEXT "keeper = key difference take empty clean\n"
                  "less = key difference take empty clean\n  garbage rods\n"
                  "more = key difference take empty clean\n  core rods\n",
             false, 1);
    struct picture out = cut(&set, "keeper", HAS_RGBA), less = cut(&set, "less", HAS_RGBA),
                   more = cut(&set, "more", HAS_RGBA);
    for (int32_t x = 0; x < WIDTH; x++) {
        assert_true(at(&less, PLANE_A, x, 39) == 0 && at(&less, PLANE_G, x, 39) == 0);
        assert_true(at(&more, PLANE_A, x, 39) == 1 &&
                    at(&more, PLANE_G, x, 39) == at(&set.inputs[0].picture, 1, x, 39));
        assert_true(at(&less, PLANE_A, x, 40) == at(&out, PLANE_A, x, 40));
        assert_true(at(&more, PLANE_G, x, 40) == at(&out, PLANE_G, x, 40));
    }
    picture_release(&out);
    picture_release(&less);
    picture_release(&more);
    set_release(&set);
}

static void tiles_are_the_whole(void **state)
{
    (void)state;
    struct set set;
    struct picture tiled;
    struct picture_info info;
    set_init(&set, TEXT "keeper = key difference take empty clean\n", true, 1);
    for (int picture = 0; picture < 2; picture++) {
        const unsigned planes = picture == 0 ? HAS_RGBA : HAS_A;
        set.stage.picture = picture;
        struct picture whole = cut(&set, "keeper", planes);
        assert_int_equal(stage_make(&set.stage, "keeper", 1001, 1, planes, 37, &tiled, &info, NULL), PASSEL_OK);
        for (int p = picture == 0 ? 0 : PLANE_A; p < PLANE_COUNT; p++)
            pattern_assert_same(&tiled, &whole, (enum plane)p);
        picture_release(&whole);
        picture_release(&tiled);
    }
    set_release(&set);
}

static void wants_an_empty(void **state)
{
    (void)state;
    struct set set;
    struct picture out;
    struct picture_info info;
    struct passel_error error;
    set_init(&set, TEXT "keeper = key difference take\n", false, 1);
    assert_int_equal(stage_make(&set.stage, "keeper", 1001, 1, HAS_A, 64, &out, &info, &error), PASSEL_BAD_RECIPE);
    assert_non_null(strstr(error.text, "keeper = key difference take  empty NAME"));
    set_release(&set);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(finds_the_keeper),      cmocka_unit_test(an_averaged_empty_is_as_good),
        cmocka_unit_test(a_shadow_is_no_keeper), cmocka_unit_test(the_shadow_is_a_picture),
        cmocka_unit_test(mattes_are_obeyed),     cmocka_unit_test(tiles_are_the_whole),
        cmocka_unit_test(wants_an_empty),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
