/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The spline's rings beside clipped highlights: gone in the dark, while soft valleys keep their depth, and edges
 * of alpha and all that is not near a highlight their bits; the same from any strip.
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
#include "picture/geometry.h"

enum { WIDTH = 64, HEIGHT = 48 };

typedef double light_of(double x, double y);

/* A clipped lamp of 3, with a corner, before a dark wall that is not even. */
static double lamp(double x, double y)
{
    return x > 20 && x < 34 && y > 14 && y < 30 ? 3 : 0.03 + 0.004 * sin(x * 0.4) * cos(y * 0.3);
}

/* Valleys down to 0 between hills of 1, ten pixels from one to the next. */
static double hills(double x, double y)
{
    return 0.25 * (1 + cos(acos(-1) * x / 5)) * (1 + cos(acos(-1) * y / 5));
}

/* The lamp in a picture whose highest light is below what counts as a highlight. */
static double dim(double x, double y)
{
    return lamp(x, y) * 0.06;
}

static struct picture film(light_of *light, unsigned planes)
{
    struct picture picture;
    assert_int_equal(picture_new(&picture, rect_of(0, 0, WIDTH, HEIGHT), planes, NULL), PASSEL_OK);
    for (int32_t y = 0; y < HEIGHT; y++)
        for (int32_t x = 0; x < WIDTH; x++) {
            picture_row(&picture, PLANE_G, y)[x] = (float)light(x + 0.5, y + 0.5);
            if (picture.plane[PLANE_A] != NULL)
                picture_row(&picture, PLANE_A, y)[x] = (float)(light(x + 0.5, y + 0.5) > 1);
        }
    assert_int_equal(spline_prepare(&picture, NULL), PASSEL_OK);
    return picture;
}

static struct transform moved_and_turned(void)
{
    const double c = cos(0.05), s = sin(0.05);
    return (struct transform){ { c, -s, 1.4, s, c, -1.3, 0, 0, 1 } };
}

static void place(const struct picture *out, const struct picture *in, const struct transform *t, bool limit)
{
    assert_int_equal(picture_resample(out, in, in->area, false, t, FILTER_SPLINE, NULL), PASSEL_OK);
    if (limit)
        assert_int_equal(picture_limit_ringing(out, in, in->area, t, NULL), PASSEL_OK);
}

static struct picture placed(light_of *light, unsigned planes, const struct transform *t, bool limit)
{
    struct picture in = film(light, planes), out;
    assert_int_equal(picture_new(&out, in.area, planes, NULL), PASSEL_OK);
    place(&out, &in, t, limit);
    picture_release(&in);
    return out;
}

/* How far below and above the wall's own range values on the wall lie; positions whose four pixels touch the lamp are
 * part of its edge, not of the wall. */
static void swing(const struct picture *out, const struct transform *t, double *below, double *above)
{
    *below = *above = 0;
    for (int32_t y = 0; y < HEIGHT; y++)
        for (int32_t x = 0; x < WIDTH; x++) {
            double px, py;
            transform_point(t, x + 0.5, y + 0.5, &px, &py);
            const bool near_lamp = px > 18.5 && px < 35.5 && py > 12.5 && py < 31.5;
            if (near_lamp || px < 2 || py < 2 || px > WIDTH - 2 || py > HEIGHT - 2)
                continue;
            const double value = (double)picture_row(out, PLANE_G, y)[x];
            *below = fmax(*below, 0.026 - value);
            *above = fmax(*above, value - 0.034);
        }
}

static void assert_no_rings(struct transform t)
{
    double below, above;
    struct picture rings = placed(lamp, HAS_G, &t, false), none = placed(lamp, HAS_G, &t, true);
    swing(&rings, &t, &below, &above);
    assert_true(below > 0.05 && above > 0.1); /* the rings are there to be taken off */
    swing(&none, &t, &below, &above);
    assert_true(below < 0.002 && above < 0.002);
    picture_release(&rings);
    picture_release(&none);
}

static void test_lamp_before_a_dark_wall(void **state)
{
    (void)state;
    assert_no_rings(moved_and_turned());
    assert_no_rings((struct transform){ { 1, 0, 0.5, 0, 1, -0.4, 0, 0, 1 } });    /* upright */
    assert_no_rings((struct transform){ { 0.8, 0, 3.2, 0, 0.8, 5.1, 0, 0, 1 } }); /* larger */
}

static void assert_same(light_of *light, unsigned planes, float limit)
{
    const struct transform t = moved_and_turned();
    struct picture free = placed(light, planes, &t, false), held = placed(light, planes, &t, true);
    for (int32_t y = 0; y < HEIGHT; y++)
        for (int32_t x = 0; x < WIDTH; x++) {
            const float difference = picture_row(&free, PLANE_G, y)[x] - picture_row(&held, PLANE_G, y)[x];
            assert_true(fabsf(difference) <= limit);
        }
    picture_release(&free);
    picture_release(&held);
}

static void test_what_is_soft_or_dim_stays(void **state)
{
    (void)state;
    assert_same(hills, HAS_G, 1e-4f);
    assert_same(dim, HAS_G, 0);
    assert_same(lamp, HAS_G | HAS_A, 0); /* an edge of alpha: colour and alpha must swing alike */
}

static void test_strips(void **state)
{
    (void)state;
    const struct transform t = moved_and_turned();
    struct picture in = film(lamp, HAS_G), whole = placed(lamp, HAS_G, &t, true);
    for (int32_t y = 0; y < HEIGHT; y += 5) {
        struct picture strip;
        const int32_t end = y + 5 < HEIGHT ? y + 5 : HEIGHT;
        assert_int_equal(picture_new(&strip, rect_of(7, y, 51, end), HAS_G, NULL), PASSEL_OK);
        place(&strip, &in, &t, true);
        for (int32_t row = y; row < end; row++)
            assert_memory_equal(picture_row(&strip, PLANE_G, row), picture_row(&whole, PLANE_G, row) + 7,
                                44 * sizeof(float));
        picture_release(&strip);
    }
    picture_release(&in);
    picture_release(&whole);
}

static enum passel_status try_limit(void *given)
{
    struct picture *pictures = given;
    const struct transform t = moved_and_turned();
    return picture_limit_ringing(&pictures[0], &pictures[1], pictures[1].area, &t, NULL);
}

static void test_no_memory(void **state)
{
    (void)state;
    struct picture pictures[2] = { film(lamp, HAS_G), film(lamp, HAS_G) };
    assert_int_equal(fail_memory_each(try_limit, pictures), 1);
    picture_release(&pictures[0]);
    picture_release(&pictures[1]);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_lamp_before_a_dark_wall),
        cmocka_unit_test(test_what_is_soft_or_dim_stays),
        cmocka_unit_test(test_strips),
        cmocka_unit_test(test_no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
