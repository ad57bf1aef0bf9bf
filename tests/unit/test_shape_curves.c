/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Shapes with curved outlines, from drawings, and with an open shutter.
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
#include "numerics/polygon.h"
#include "pattern.h"
#include "scratch.h"
#include "stage.h"

#define SHOT "shot storm\n  frames 1001-1010\n  size 40x21\n"

static const struct kind *const kinds[] = { &kind_shape, NULL };

static double at(const struct picture *picture, int32_t x, int32_t y)
{
    const struct rect area = picture->area;
    if (x < area.x0 || x >= area.x1 || y < area.y0 || y >= area.y1)
        return 0;
    return (double)pattern_at(picture, PLANE_A, x, y);
}

/* ---- curves ------------------------------------------------------------------------------------------------------ */

enum { FINE = 4000 };

/* Many points of a chain of cubic parts, each by halving between its handles. */
static int fine_points(const double *numbers, int parts, double *points)
{
    int count = 0;
    for (int k = 0; k < parts; k++) {
        for (int i = 0; i < FINE; i++, count++) {
            double p[4][2];
            const double t = (double)i / FINE;
            for (int n = 0; n < 4; n++)
                memcpy(p[n], &numbers[(6 * k + 2 * n) % (6 * parts)], sizeof p[n]);
            for (int level = 3; level > 0; level--) {
                for (int n = 0; n < level; n++) {
                    p[n][0] += t * (p[n + 1][0] - p[n][0]);
                    p[n][1] += t * (p[n + 1][1] - p[n][1]);
                }
            }
            memcpy(&points[2 * (size_t)count], p[0], sizeof p[0]);
        }
    }
    return count;
}

static void compare_with(const struct picture *out, const double *numbers, int parts)
{
    static double points[2 * 8 * FINE];
    const struct polygon fine = { .count = fine_points(numbers, parts, points), .points = points };
    double most = 0;
    for (int32_t y = 0; y < 21; y++) {
        double cover[41];
        polygon_cover(&fine, y, 0, 40, cover);
        for (int32_t x = 0; x < 40; x++)
            most = fmax(most, fabs(at(out, x, y) - cover[x]));
    }
    assert_true(most < 1.0 / 512);
}

static void curves_are_right_to_a_part_in_512(void **state)
{
    (void)state;
    struct stage stage;
    stage_init(&stage,
               SHOT "drop = shape\n  bezier 20.3 2.1 30 4 35 12 28 17 20 22 -4 12.5 8 10.2 14 8 11 1.5 px\n"
                    "round = shape\n  spline 5 5 18.5 2 33 7 30 18 10.25 16 px\n",
               kinds);
    static const double drop[] = { 20.3, 2.1, 30, 4, 35, 12, 28, 17, 20, 22, -4, 12.5, 8, 10.2, 14, 8, 11, 1.5 };
    struct picture out = stage_picture(&stage, "drop", 1001, HAS_A);
    compare_with(&out, drop, 3);
    picture_release(&out);
    static const double through[5][2] = { { 5, 5 }, { 18.5, 2 }, { 33, 7 }, { 30, 18 }, { 10.25, 16 } };
    double parts[30];
    for (int k = 0; k < 5; k++) {
        const double *a = through[(k + 4) % 5], *b = through[k], *c = through[(k + 1) % 5], *d = through[(k + 2) % 5];
        for (int i = 0; i < 2; i++) {
            parts[6 * k + i] = b[i];
            parts[6 * k + 2 + i] = b[i] + (c[i] - a[i]) / 6; /* a third of half the way from a to c */
            parts[6 * k + 4 + i] = c[i] - (d[i] - b[i]) / 6;
        }
    }
    out = stage_picture(&stage, "round", 1001, HAS_A);
    compare_with(&out, parts, 5);
    picture_release(&out);
    stage_release(&stage);
}

/* ---- drawings ---------------------------------------------------------------------------------------------------- */

/* A page of 80 x 42 for a frame of 40 x 21: drawn on a picture of twice the size. */
#define DRAWING                                                                                                        \
    "<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 80 42'><g transform='translate(4 4)'>"                       \
    "<path id='open' d='M0 0H20V20H0Z'/><path id='wide' d='M8 4H48V24H8Z'/></g>"                                       \
    "<path id='round' d='M0 0H20C20 9 9 20 0 20Z'/>"                                                                   \
    "<path id='ring' fill-rule='evenodd' d='M4 4H36V36H4ZM12 12H28V28H12Z'/></svg>"

struct drawn {
    struct scratch scratch;
    struct stage stage;
};

/* `line` holds %s for the drawing's path. */
static void drawn_init(struct drawn *drawn, const char *text)
{
    char path[1024], recipe[4096];
    scratch_init(&drawn->scratch);
    scratch_write(&drawn->scratch, "gate.svg", DRAWING, strlen(DRAWING));
    (void)scratch_path(&drawn->scratch, "gate.svg", path);
    recipe[0] = '\0';
    for (const char *hole; (hole = strstr(text, "FILE")) != NULL; text = hole + 4)
        (void)snprintf(recipe + strlen(recipe), sizeof recipe - strlen(recipe), "%.*s%s", (int)(hole - text), text,
                       path);
    (void)snprintf(recipe + strlen(recipe), sizeof recipe - strlen(recipe), "%s", text);
    stage_init(&drawn->stage, recipe, kinds);
}

static void drawn_release(struct drawn *drawn)
{
    stage_release(&drawn->stage);
    scratch_release(&drawn->scratch);
}

/* The part of pixel v that lies in lo … hi. */
static double part(double lo, double hi, int v)
{
    return fmax(0, fmin(hi, v + 1) - fmax(lo, v));
}

static void assert_box(const struct picture *out, double x0, double y0, double x1, double y1)
{
    for (int32_t y = 0; y < 21; y++) {
        for (int32_t x = 0; x < 40; x++)
            assert_true(fabs(at(out, x, y) - part(x0, x1, x) * part(y0, y1, y)) < 1e-6);
    }
}

static void drawings_are_eased_over_frames(void **state)
{
    (void)state;
    struct drawn drawn;
    drawn_init(&drawn, SHOT "gate = shape\n  svg FILE id open at 1002\n  svg FILE id wide at 1004 smooth\n"
                            "  svg FILE id open at 1008\n"
                            "still = shape\n  svg FILE id wide\n  polygon 0 18 1 18 1 21 0 21 px\n");
    /* The smooth way back sets out level, since the way there was straight and rising, and ends level: at a quarter
     * 27/32 is left, in the middle a half. */
    static const double shares[][2] = { { 1001, 0 },         { 1002, 0 },   { 1003, 0.5 },      { 1004, 1 },
                                        { 1005, 27 / 32.0 }, { 1006, 0.5 }, { 1007, 5 / 32.0 }, { 1010, 0 } };
    for (size_t i = 0; i < sizeof shares / sizeof *shares; i++) {
        struct picture out = stage_picture(&drawn.stage, "gate", (int32_t)shares[i][0], HAS_A);
        const double s = shares[i][1];
        assert_box(&out, 2 + 4 * s, 2 + 2 * s, 12 + 14 * s, 12 + 2 * s);
        picture_release(&out);
    }
    struct picture half, out = stage_picture(&drawn.stage, "still", 1001, HAS_A);
    struct picture_info info;
    for (int32_t x = 0; x < 40; x++)
        assert_true(fabs(at(&out, x, 8) - part(6, 26, x)) < 1e-6);
    assert_true(at(&out, 0, 20) == 1);
    picture_release(&out);
    assert_int_equal(stage_make(&drawn.stage, "still", 1001, 2, HAS_A, 64, &half, &info, NULL), PASSEL_OK);
    for (int32_t x = 0; x < 20; x++)
        assert_true(fabs(at(&half, x, 4) - part(3, 13, x)) < 1e-6);
    picture_release(&half);
    drawn_release(&drawn);
}

/* A ring is a ring with its feather, too: it follows the distance from both outlines. */
static void a_ring_has_a_hole(void **state)
{
    (void)state;
    struct drawn drawn;
    drawn_init(&drawn, SHOT "ring = shape\n  svg FILE id ring\n"
                            "soft = shape\n  svg FILE id ring\n  feather 2 px inside\n");
    struct picture out = stage_picture(&drawn.stage, "ring", 1001, HAS_A);
    for (int32_t x = 0; x < 40; x++) {
        assert_true(fabs(at(&out, x, 10) - (part(2, 18, x) - part(6, 14, x))) < 1e-6);
        assert_true(fabs(at(&out, x, 4) - part(2, 18, x)) < 1e-6);
    }
    picture_release(&out);
    out = stage_picture(&drawn.stage, "soft", 1001, HAS_A);
    for (int32_t x = 0; x < 20; x++) {
        const double d = fmin(x + 0.5 - 2, 6 - x - 0.5), t = fmin(fmax(d / 2, 0), 1);
        if (x < 10)
            assert_true(fabs(at(&out, x, 10) - t * t * (3 - 2 * t)) < 1e-6);
    }
    picture_release(&out);
    drawn_release(&drawn);
}

static void drawings_count_as_files_and_frames(void **state)
{
    (void)state;
    struct drawn drawn;
    drawn_init(&drawn, SHOT "gate = shape\n  svg FILE id open at 1002\n  svg FILE id wide at 1004\n"
                            "still = shape\n  svg FILE id wide\n"
                            "blur = shape\n  polygon [1001 0 0 4 0 4 4, 1003 9 0 13 0 13 4] px\n  shutter 90 deg\n");
    static const char *const names[] = { "gate", "still", "blur" };
    static const int files[] = { 2, 1, 0 };
    for (int i = 0; i < 3; i++) {
        struct arena arena;
        void *self = NULL;
        arena_init(&arena);
        const struct block *block = recipe_block(drawn.stage.recipe, names[i]);
        assert_int_equal(kind_shape.make(block, drawn.stage.recipe, &drawn.stage.shot, &arena, &self, NULL), PASSEL_OK);
        const struct at where = { .self = self, .block = block, .frame = 1003, .scale = 1 };
        for (int k = 0; k < files[i]; k++)
            assert_non_null(strstr(kind_shape.file(&where, k), "gate.svg"));
        assert_null(kind_shape.file(&where, files[i]));
        assert_true(kind_shape.by_frame(&where) == (i != 1));
        kind_shape.release(self);
        arena_release(&arena);
    }
    drawn_release(&drawn);
}

/* ---- shutter ----------------------------------------------------------------------------------------------------- */

/* A box that goes 8 pixels a frame, open for half a frame: its edges are ramps of 4 pixels. */
static void an_open_shutter_blurs_what_moves(void **state)
{
    (void)state;
    struct stage stage;
    stage_init(&stage,
               SHOT "box = shape\n  polygon [1001 0 2 10 2 10 9 0 9, 1003 16 2 26 2 26 9 16 9] px\n"
                    "  shutter 180 deg\n"
                    "still = shape\n  polygon 0 2 10 2 10 9 0 9 px\n  shutter 180 deg\n",
               kinds);
    struct picture out = stage_picture(&stage, "box", 1002, HAS_A);
    for (int32_t x = 0; x < 40; x++) {
        double sum = 0;
        for (int i = 0; i < 2000; i++) {
            const double left = 8 + 4 * ((i + 0.5) / 2000 - 0.5);
            sum += part(left, left + 10, x) / 2000;
        }
        assert_true(fabs(at(&out, x, 5) - sum) < 0.02);
    }
    picture_release(&out);
    out = stage_picture(&stage, "still", 1002, HAS_A);
    assert_box(&out, 0, 2, 10, 9);
    picture_release(&out);
    stage_release(&stage);
}

/* ---- mistakes ---------------------------------------------------------------------------------------------------- */

static void mistakes_are_told(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        enum passel_status status;
        const char *says;
    } wrong[] = {
        { SHOT "s = shape\n  bezier 1 2 3 4 5 6 7 8 9 10 11 12 13 14 px\n", PASSEL_BAD_RECIPE, "not 14 numbers" },
        { SHOT "s = shape\n  spline 1 2 3 4 5 6 7 px\n", PASSEL_BAD_RECIPE, "three points or more, not 7 numbers" },
        { SHOT "s = shape\n  svg nowhere.svg\n", PASSEL_NO_FILE, "test.passel:5:7" },
        { SHOT "s = shape\n  svg FILE id gone\n", PASSEL_BAD_FILE, "there are: open, wide, round, ring" },
        { SHOT "s = shape\n  svg FILE id open at 1001\n  svg FILE id ring at 1004\n", PASSEL_BAD_RECIPE,
          "has 8 points in 2 contours, the key before it 4 in 1" },
        { SHOT "s = shape\n  svg FILE id open at 1004\n  svg FILE id wide at 1004\n", PASSEL_BAD_RECIPE,
          "the frames of the drawings must rise, and 1004 follows 1004" },
    };
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        struct drawn drawn;
        struct picture out;
        struct picture_info info;
        struct passel_error error;
        drawn_init(&drawn, wrong[i].text);
        assert_int_equal(stage_make(&drawn.stage, "s", 1001, 1, HAS_A, 64, &out, &info, &error), wrong[i].status);
        if (strstr(error.text, wrong[i].says) == NULL)
            fail_msg("%s", error.text);
        drawn_release(&drawn);
    }
}

static void survives_no_memory(void **state)
{
    (void)state;
    struct drawn drawn;
    drawn_init(&drawn,
               SHOT "s = shape\n  svg FILE id open at 1001\n  svg FILE id wide at 1003\n  spline 1 1 9 2 5 8 px\n"
                    "  shutter 90 deg\n  feather 2 px\n");
    stage_survives_no_memory(&drawn.stage, "s", HAS_A);
    drawn_release(&drawn);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(curves_are_right_to_a_part_in_512),
        cmocka_unit_test(drawings_are_eased_over_frames),
        cmocka_unit_test(a_ring_has_a_hole),
        cmocka_unit_test(drawings_count_as_files_and_frames),
        cmocka_unit_test(an_open_shutter_blurs_what_moves),
        cmocka_unit_test(mistakes_are_told),
        cmocka_unit_test(survives_no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
