/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/* Pictures in memory: allocation, views, filling and copying. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "fail_memory.h"
#include "picture/picture.h"

static struct picture made(struct rect area, unsigned planes)
{
    struct picture picture;
    struct passel_error error;
    assert_int_equal(picture_new(&picture, area, planes, &error), PASSEL_OK);
    return picture;
}

/* Every pixel its own number, by plane and place. */
static float number_at(int plane, int32_t x, int32_t y)
{
    return (float)(plane * 10000 + (y + 50) * 100 + x + 50);
}

static void number_all(const struct picture *picture)
{
    for (int p = 0; p < PLANE_COUNT; p++)
        for (int32_t y = picture->area.y0; picture->plane[p] != NULL && y < picture->area.y1; y++)
            for (int32_t x = picture->area.x0; x < picture->area.x1; x++)
                picture_row(picture, (enum plane)p, y)[x - picture->area.x0] = number_at(p, x, y);
}

static void test_new(void **state)
{
    (void)state;
    struct picture picture = made(rect_of(-3, -2, 14, 5), HAS_RGB);
    assert_int_equal(picture_planes(&picture), HAS_RGB);
    assert_null(picture.plane[PLANE_A]);
    assert_int_equal(picture.stride, 32); /* 17 pixels padded to a multiple of 16 */
    assert_int_equal(picture_bytes(picture.area, HAS_RGB), 32 * 7 * 3 * sizeof(float));
    for (int p = 0; p < 3; p++)
        assert_int_equal((uintptr_t)picture.plane[p] % 64, 0);
    number_all(&picture); /* the last sample of every plane is inside the block: the sanitizer watches */
    assert_true(picture_row(&picture, PLANE_B, 4)[16] == number_at(PLANE_B, 13, 4));
    picture_release(&picture);
    assert_null(picture.owned);
    picture_release(&picture);
}

static void test_nothing_and_no_memory(void **state)
{
    (void)state;
    struct picture picture = made(rect_of(0, 0, 0, 0), HAS_RGBA);
    picture_release(&picture);
    assert_int_equal(picture_bytes(rect_of(0, 5, 9, 5), HAS_RGBA), 0);

    struct passel_error error;
    fail_memory_at(1, false);
    assert_int_equal(picture_new(&picture, rect_of(0, 0, 9, 9), HAS_RGBA, &error), PASSEL_NO_MEMORY);
    fail_memory_never();
    assert_int_equal(error.status, PASSEL_NO_MEMORY);
    assert_null(picture.owned);
    assert_int_equal(picture_planes(&picture), 0);
}

static void test_part(void **state)
{
    (void)state;
    struct picture picture = made(rect_of(-4, 3, 20, 9), HAS_R | HAS_A);
    number_all(&picture);
    struct picture part = picture_part(&picture, rect_of(1, 5, 7, 8));
    assert_null(part.owned);
    assert_null(part.plane[PLANE_G]);
    assert_true(picture_row(&part, PLANE_A, 7)[2] == number_at(PLANE_A, 3, 7));
    assert_true(picture_row(&part, PLANE_R, 5)[0] == number_at(PLANE_R, 1, 5));
    picture_release(&part); /* owns nothing, gives nothing back */
    picture_release(&picture);
}

static void test_fill(void **state)
{
    (void)state;
    struct picture picture = made(rect_of(0, 0, 6, 5), HAS_R | HAS_G);
    number_all(&picture);
    const struct rect where = rect_of(4, -3, 99, 2);
    picture_fill(&picture, PLANE_G, where, -1);
    picture_fill(&picture, PLANE_B, where, -1); /* not there: nothing happens */
    for (int32_t y = 0; y < 5; y++)
        for (int32_t x = 0; x < 6; x++) {
            const float expected = x >= 4 && y < 2 ? -1 : number_at(PLANE_G, x, y);
            assert_true(picture_row(&picture, PLANE_G, y)[x] == expected);
            assert_true(picture_row(&picture, PLANE_R, y)[x] == number_at(PLANE_R, x, y));
        }
    picture_release(&picture);
}

static void test_copy(void **state)
{
    (void)state;
    struct picture from = made(rect_of(2, 1, 9, 6), HAS_RGBA);
    struct picture to = made(rect_of(0, 0, 5, 4), HAS_G | HAS_A);
    number_all(&from);
    picture_fill(&to, PLANE_G, to.area, 7);
    picture_fill(&to, PLANE_A, to.area, 7);
    picture_copy(&to, &from);
    for (int32_t y = 0; y < 4; y++)
        for (int32_t x = 0; x < 5; x++) {
            const bool both = x >= 2 && y >= 1;
            assert_true(picture_row(&to, PLANE_G, y)[x] == (both ? number_at(PLANE_G, x, y) : 7));
            assert_true(picture_row(&to, PLANE_A, y)[x] == (both ? number_at(PLANE_A, x, y) : 7));
        }
    picture_release(&to);
    picture_release(&from);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_new),  cmocka_unit_test(test_nothing_and_no_memory),
        cmocka_unit_test(test_part), cmocka_unit_test(test_fill),
        cmocka_unit_test(test_copy),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
