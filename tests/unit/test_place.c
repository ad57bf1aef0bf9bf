/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/* The kind `place`: its transform, windows and crops, from recipes as they are written. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/memory.h"
#include "kinds/kinds.h"
#include "numerics/flicker.h"
#include "pattern.h"

/* A block of the kind, alone with its input. */
struct scene {
    struct recipe *recipe;
    struct arena arena;
    struct picture_info input;
    struct at at;
};

static void scene_parse(struct scene *scene, const char *steps)
{
    static const struct schema *const schemas[] = { &kind_curve.schema, &kind_flat.schema, &kind_place.schema, NULL };
    char text[2048];
    struct text messages = { NULL, 0, 0, false };
    struct passel_error error;
    snprintf(text, sizeof text, "sign = flat\n  colour 1 1 1\nslide = curve\n  1001 0\n  1011 20\nput = place sign\n%s",
             steps);
    memset(scene, 0, sizeof *scene);
    if (recipe_parse("test.passel", text, strlen(text), schemas, NULL, 0, &scene->recipe, &messages, &error) !=
        PASSEL_OK)
        fail_msg("%s", messages.bytes);
    text_release(&messages);
}

static enum passel_status scene_make(struct scene *scene, struct passel_error *error)
{
    void *self = NULL;
    const struct block *block = recipe_block(scene->recipe, "put");
    scene->input = (struct picture_info){ .display = rect_of(0, 0, 200, 100),
                                          .data = rect_of(0, 0, 200, 100),
                                          .planes = HAS_RGB,
                                          .chunk_rows = 16,
                                          .pixel_aspect = 1 };
    scene->at = (struct at){ .block = block, .recipe = scene->recipe, .frame = 1001, .scale = 1, .ask_count = 1 };
    const enum passel_status status = kind_place.make(block, scene->recipe, NULL, &scene->arena, &self, error);
    scene->at.self = self;
    scene->at.inputs = &scene->input;
    return status;
}

static void scene_open(struct scene *scene, const char *steps)
{
    struct passel_error error;
    scene_parse(scene, steps);
    if (scene_make(scene, &error) != PASSEL_OK)
        fail_msg("%s", error.text);
}

static void scene_close(struct scene *scene)
{
    arena_release(&scene->arena);
    recipe_free(scene->recipe);
}

static struct transform transform_of(struct scene *scene, enum filter *filter, bool *ends_chain)
{
    struct transform t;
    struct passel_error error;
    if (kind_place.transform(&scene->at, &t, filter, ends_chain, &error) != PASSEL_OK)
        fail_msg("%s", error.text);
    return t;
}

/* The input's point (x, y) must be seen at (to_x, to_y). */
static void check_goes(const char *steps, double x, double y, double to_x, double to_y)
{
    struct scene scene;
    enum filter filter;
    bool ends_chain;
    double in_x, in_y;
    scene_open(&scene, steps);
    const struct transform t = transform_of(&scene, &filter, &ends_chain);
    transform_point(&t, to_x, to_y, &in_x, &in_y);
    if (fabs(in_x - x) > 1e-9 || fabs(in_y - y) > 1e-9)
        fail_msg("%s: (%g, %g) is seen from (%.9g, %.9g)", steps, to_x, to_y, in_x, in_y);
    scene_close(&scene);
}

static void test_steps(void **state)
{
    (void)state;
    check_goes("", 12, 7, 12, 7);
    check_goes("  move 10 -4 px\n", 12, 7, 22, 3);
    check_goes("  turn 90 deg\n", 110, 50, 100, 60); /* right of the centre goes below it: clockwise */
    check_goes("  turn -90 deg\n", 110, 50, 100, 40);
    check_goes("  size 200%\n", 110, 60, 120, 70);
    check_goes("  size 200% 50%\n", 110, 60, 120, 55);
    check_goes("  about 0 0 px\n  size 50%\n", 110, 60, 55, 30);
    check_goes("  about 10 10 px\n  turn 180 deg\n", 12, 11, 8, 9);
}

static void test_steps_apply_from_the_top_down(void **state)
{
    (void)state;
    check_goes("  move 10 0 px\n  size 200%\n", 110, 50, 140, 50); /* 120 is 20 right of the centre, then 40 */
    check_goes("  size 200%\n  move 10 0 px\n", 110, 50, 130, 50);
    /* `about` holds below it only */
    check_goes("  size 200%\n  about 0 0 px\n  size 50%\n", 110, 60, 60, 35);
    check_goes("  about 0 0 px\n  turn 90 deg\n  about 5 5 px\n  turn 90 deg\n", 3, 0, 7, 0);
}

static void test_whole_pixels_stay_exact(void **state)
{
    (void)state;
    struct scene scene;
    enum filter filter;
    bool ends_chain;
    int32_t dx, dy;
    scene_open(&scene, "  turn 90 deg\n  turn 270 deg\n  size 100%\n  move 3 -2 px\n");
    const struct transform t = transform_of(&scene, &filter, &ends_chain);
    assert_true(transform_is_shift(&t, &dx, &dy));
    assert_true(dx == -3 && dy == 2);
    assert_true(filter == FILTER_SPLINE && !ends_chain);
    scene_close(&scene);
}

static void test_pin(void **state)
{
    (void)state;
    const char *pin = "  pin 20 10 150 22 140 90 35 70 px\n";
    check_goes(pin, 0, 0, 20, 10);
    check_goes(pin, 200, 0, 150, 22);
    check_goes(pin, 200, 100, 140, 90);
    check_goes(pin, 0, 100, 35, 70);
    /* the diagonals of a plane in perspective still cross in its middle */
    const double ax = 20, ay = 10, bx = 140, by = 90, cx = 150, cy = 22, dx = 35, dy = 70;
    const double cross = (bx - ax) * (dy - cy) - (by - ay) * (dx - cx);
    const double share = ((cx - ax) * (dy - cy) - (cy - ay) * (dx - cx)) / cross;
    check_goes(pin, 100, 50, ax + share * (bx - ax), ay + share * (by - ay));
    check_goes("  pin 10 5 210 5 210 105 10 105 px\n", 40, 60, 50, 65);
    check_goes("  pin 200 0 0 0 0 100 200 100 px\n", 40, 60, 160, 60); /* seen in a mirror */
}

static void check_bad_pin(const char *steps)
{
    struct scene scene;
    struct passel_error error = { .status = PASSEL_OK };
    struct transform t;
    enum filter filter;
    bool ends_chain;
    scene_parse(&scene, steps);
    assert_int_equal(scene_make(&scene, &error), PASSEL_OK);
    assert_int_equal(kind_place.transform(&scene.at, &t, &filter, &ends_chain, &error), PASSEL_BAD_RECIPE);
    assert_non_null(strstr(error.text, "test.passel:7:"));
    assert_non_null(strstr(error.text, "top left"));
    scene_close(&scene);
}

static void test_impossible_pins(void **state)
{
    (void)state;
    check_bad_pin("  pin 0 0 100 0 0 100 100 100 px\n"); /* crossed */
    check_bad_pin("  pin 0 0 100 0 10 10 0 100 px\n");   /* a dent */
    check_bad_pin("  pin 0 0 10 10 20 20 30 30 px\n");   /* a line */
    check_bad_pin("  pin 5 5 5 5 5 5 5 5 px\n");         /* a point */
}

static void test_keys_curves_and_scale(void **state)
{
    (void)state;
    struct scene scene;
    enum filter filter;
    bool ends_chain;
    scene_open(&scene, "  move [1001 0 0, 1011 40 8] px\n  turn slide\n  filter lanczos\n");
    for (int scale = 1; scale <= 4; scale *= 2) {
        scene.at.frame = 1006;
        scene.at.scale = scale;
        scene.input.display = rect_of(0, 0, 200 / scale, 100 / scale);
        const struct transform t = transform_of(&scene, &filter, &ends_chain);
        const double angle = 10 * acos(-1) / 180; /* the curve is half way up */
        double x, y;
        const double out_x = (100 + cos(angle) * 30 - sin(angle) * 14) / scale;
        const double out_y = (50 + sin(angle) * 30 + cos(angle) * 14) / scale;
        transform_point(&t, out_x, out_y, &x, &y);
        assert_true(fabs(x - 110.0 / scale) < 1e-9 && fabs(y - 60.0 / scale) < 1e-9);
        assert_int_equal(filter, FILTER_LANCZOS);
    }
    scene_close(&scene);
}

static struct picture_info info_of(struct scene *scene)
{
    struct picture_info info;
    struct passel_error error;
    if (kind_place.info(&scene->at, &info, &error) != PASSEL_OK)
        fail_msg("%s", error.text);
    return info;
}

static void check_windows(const char *steps, struct rect data)
{
    struct scene scene;
    scene_open(&scene, steps);
    const struct picture_info info = info_of(&scene);
    if (!rect_same(info.data, data))
        fail_msg("%s: data window %d %d %d %d", steps, info.data.x0, info.data.y0, info.data.x1, info.data.y1);
    assert_true(rect_same(info.display, rect_of(0, 0, 200, 100)));
    assert_int_equal(info.planes, HAS_RGBA); /* what a move lays bare is transparent */
    assert_false(info.whole);
    scene_close(&scene);
}

static void test_windows(void **state)
{
    (void)state;
    check_windows("", rect_of(0, 0, 200, 100));
    check_windows("  move 5 -3 px\n", rect_of(5, -3, 205, 97));
    check_windows("  move 0.5 0 px\n", rect_of(0, 0, 201, 100));
    check_windows("  size 50%\n", rect_of(50, 25, 150, 75));
    check_windows("  turn 90 deg\n", rect_of(50, -50, 150, 150));
    check_windows("  crop 10 20 30 40 px\n", rect_of(10, 20, 170, 60));
    check_windows("  crop 10 20 30 40 px\n  move 5 5 px\n", rect_of(15, 25, 175, 65));
    check_windows("  move 5 5 px\n  crop 10 20 30 40 px\n", rect_of(10, 20, 170, 60));
    check_windows("  crop 10.5 20 30 40 px\n", rect_of(10, 20, 170, 60));
    check_windows("  crop -10 0 0 0 px\n", rect_of(0, 0, 200, 100));
    check_windows("  crop 0 0 60 0 px\n  size 50%\n", rect_of(50, 25, 120, 75));
    check_windows("  crop 120 0 120 0 px\n", rect_of(0, 0, 0, 0));
}

/* The value of a white opaque picture behind the crops, at one pixel. */
static double cropped(const char *steps, int32_t x, int32_t y)
{
    struct scene scene;
    enum filter filter;
    bool ends_chain;
    struct passel_error error;
    struct picture in, out;
    struct arena scratch = { NULL };
    scene_open(&scene, steps);
    transform_of(&scene, &filter, &ends_chain);
    assert_true(ends_chain);
    const struct picture_info info = info_of(&scene);
    scene.at.info = &info;
    assert_int_equal(picture_new(&in, rect_of(x - 1, y - 1, x + 2, y + 2), HAS_R | HAS_A, &error), PASSEL_OK);
    assert_int_equal(picture_new(&out, in.area, HAS_R | HAS_A, &error), PASSEL_OK);
    picture_fill(&in, PLANE_R, in.area, 1);
    picture_fill(&in, PLANE_A, in.area, 1);
    assert_int_equal(kind_place.fill(&scene.at, &in, &out, &scratch, &error), PASSEL_OK);
    const double value = pattern_at(&out, PLANE_A, x, y);
    assert_true(pattern_at(&out, PLANE_R, x, y) == pattern_at(&out, PLANE_A, x, y));
    arena_release(&scratch);
    picture_release(&in);
    picture_release(&out);
    scene_close(&scene);
    return value;
}

static void test_crop(void **state)
{
    (void)state;
    assert_true(cropped("  crop 10 20 30 40 px\n", 10, 20) == 1);
    assert_true(cropped("  crop 10 20 30 40 px\n", 9, 20) == 0);
    assert_true(cropped("  crop 10 20 30 40 px\n", 169, 59) == 1);
    assert_true(cropped("  crop 10 20 30 40 px\n", 170, 59) == 0);
    assert_true(fabs(cropped("  crop 10.25 0 0 0 px\n", 10, 50) - 0.75) < 1e-6);
    /* turned along with the picture: its left side is now above */
    assert_true(cropped("  crop 10 0 0 0 px\n  turn 90 deg\n", 100, -45) == 0);
    assert_true(cropped("  crop 10 0 0 0 px\n  turn 90 deg\n", 100, -35) == 1);
    /* two crops: what both leave */
    assert_true(cropped("  crop 10 0 0 0 px\n  crop 0 30 0 0 px\n", 50, 29) == 0);
    assert_true(cropped("  crop 10 0 0 0 px\n  crop 0 30 0 0 px\n", 9, 50) == 0);
    assert_true(cropped("  crop 10 0 0 0 px\n  crop 0 30 0 0 px\n", 50, 50) == 1);
}

static void test_soft_crop(void **state)
{
    (void)state;
    const char *soft = "  crop 10 0 0 0 px soft 8 px\n";
    assert_true(cropped(soft, 9, 50) == 0);
    assert_true(fabs(cropped(soft, 10, 50) - 0.5 / 8) < 1e-6);
    assert_true(fabs(cropped(soft, 13, 50) - 3.5 / 8) < 1e-6);
    assert_true(cropped(soft, 18, 50) == 1);
    assert_true(fabs(cropped(soft, 13, 2) - 3.5 / 8 * 2.5 / 8) < 1e-6);
}

/* How far a hand moves the middle of the frame, and turns it (degrees), at a frame. */
static void hand_at(const char *steps, int32_t frame, double *x, double *y, double *turn)
{
    struct scene scene;
    enum filter filter;
    bool ends_chain;
    double u, v, right_x, right_y;
    scene_open(&scene, steps);
    scene.at.frame = frame;
    assert_true(kind_place.by_frame(&scene.at));
    const struct transform t = transform_of(&scene, &filter, &ends_chain);
    assert_false(ends_chain);
    transform_point(&t, 100, 50, &u, &v);
    transform_point(&t, 200, 50, &right_x, &right_y);
    *turn = -atan2(right_y - v, right_x - u) * 57.29577951308232;
    *x = 100 - u;
    *y = 50 - v;
    scene_close(&scene);
}

/* Over many frames the unrest has the deviation asked for, within its bounds, and is slow for the most part. */
static void test_handheld(void **state)
{
    static const char steps[] = "  handheld 3 px turn 0.4 deg every 8 frames seed 5\n";
    enum { FRAMES = 4000 };
    double squares[3] = { 0, 0, 0 }, steps_between = 0, last[3], now[3];
    (void)state;
    for (int i = 0; i < FRAMES; i++) {
        hand_at(steps, 1001 + i, &now[0], &now[1], &now[2]);
        assert_true(fabs(now[2]) <= 0.4 * FLICKER_MOST + 1e-9);
        for (int k = 0; k < 3; k++)
            squares[k] += now[k] * now[k];
        if (i > 0)
            steps_between += (now[0] - last[0]) * (now[0] - last[0]);
        memcpy(last, now, sizeof last);
    }
    assert_true(fabs(sqrt(squares[0] / FRAMES) - 3) < 0.6);
    assert_true(fabs(sqrt(squares[1] / FRAMES) - 3) < 0.6);
    assert_true(fabs(sqrt(squares[2] / FRAMES) - 0.4) < 0.08);
    assert_true(sqrt(steps_between / FRAMES) < 1); /* of unrest without memory it would be 4.2 */
}

/* The same seed and frame give the same; another seed something else; without it nothing hangs on the frame. */
static void test_handheld_is_chosen_by_its_seed(void **state)
{
    double a[3], b[3], c[3];
    struct scene scene;
    (void)state;
    hand_at("  handheld 3 px\n", 1017, &a[0], &a[1], &a[2]);
    hand_at("  handheld 3 px seed 1 every 6 frames\n", 1017, &b[0], &b[1], &b[2]);
    hand_at("  handheld 3 px seed 2\n", 1017, &c[0], &c[1], &c[2]);
    assert_memory_equal(a, b, sizeof a);
    assert_true(a[0] != c[0] && a[1] != c[1] && a[0] != a[1]);
    assert_true(a[2] == 0);
    scene_open(&scene, "  turn 3 deg\n");
    assert_false(kind_place.by_frame(&scene.at));
    scene_close(&scene);
}

static void test_asks(void **state)
{
    (void)state;
    struct scene scene;
    struct ask_list list = { 0 };
    scene_open(&scene, "");
    scene.at.frame = 1007;
    assert_int_equal(kind_place.asks(&scene.at, &list, NULL), PASSEL_OK);
    assert_int_equal(list.count, 1);
    assert_ptr_equal(list.asks[0].block, recipe_block(scene.recipe, "sign"));
    assert_true(list.asks[0].frame == 1007 && list.asks[0].border == BORDER_CLEAR);
    memory_free(list.asks);
    scene_close(&scene);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_steps),
        cmocka_unit_test(test_steps_apply_from_the_top_down),
        cmocka_unit_test(test_whole_pixels_stay_exact),
        cmocka_unit_test(test_pin),
        cmocka_unit_test(test_impossible_pins),
        cmocka_unit_test(test_keys_curves_and_scale),
        cmocka_unit_test(test_windows),
        cmocka_unit_test(test_crop),
        cmocka_unit_test(test_soft_crop),
        cmocka_unit_test(test_handheld),
        cmocka_unit_test(test_handheld_is_chosen_by_its_seed),
        cmocka_unit_test(test_asks),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
