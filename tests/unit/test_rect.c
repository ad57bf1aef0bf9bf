/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/* Rectangle algebra: each operation against the set of pixels it stands for. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "picture/rect.h"

#define SMALL 4 /* all rectangles with coordinates 0 … SMALL-1 are tried */

static bool has(struct rect r, int x, int y)
{
    return x >= r.x0 && x < r.x1 && y >= r.y0 && y < r.y1;
}

/* Calls `check` with every pair of small rectangles, empty and inverted ones included. */
static void every_pair(void (*check)(struct rect a, struct rect b))
{
    const int count = SMALL * SMALL * SMALL * SMALL;
    for (int i = 0; i < count; i++)
        for (int j = 0; j < count; j++)
            check(rect_of(i % SMALL, i / SMALL % SMALL, i / 16 % SMALL, i / 64),
                  rect_of(j % SMALL, j / SMALL % SMALL, j / 16 % SMALL, j / 64));
}

static void check_cut(struct rect a, struct rect b)
{
    const struct rect cut = rect_cut(a, b);
    for (int y = 0; y < SMALL; y++)
        for (int x = 0; x < SMALL; x++)
            assert_int_equal(has(cut, x, y), has(a, x, y) && has(b, x, y));
    if (rect_empty(cut))
        assert_true(cut.x0 == 0 && cut.y0 == 0 && cut.x1 == 0 && cut.y1 == 0);
}

static void check_join(struct rect a, struct rect b)
{
    const struct rect join = rect_join(a, b);
    assert_true(rect_holds(join, a) && rect_holds(join, b));
    if (rect_empty(a))
        assert_true(rect_same(join, b));
    else if (!rect_empty(b))
        for (int side = 0; side < 4; side++) { /* no side can be moved in */
            struct rect smaller = join;
            smaller.x0 += side == 0;
            smaller.y0 += side == 1;
            smaller.x1 -= side == 2;
            smaller.y1 -= side == 3;
            assert_false(rect_holds(smaller, a) && rect_holds(smaller, b));
        }
}

static void check_holds(struct rect a, struct rect b)
{
    bool all = true, same = true;
    for (int y = 0; y < SMALL; y++)
        for (int x = 0; x < SMALL; x++) {
            all = all && (!has(b, x, y) || has(a, x, y));
            same = same && has(a, x, y) == has(b, x, y);
        }
    assert_int_equal(rect_holds(a, b), all);
    assert_int_equal(rect_same(a, b), same);
}

static void test_cut(void **state)
{
    (void)state;
    every_pair(check_cut);
}

static void test_join(void **state)
{
    (void)state;
    every_pair(check_join);
}

static void test_holds_and_same(void **state)
{
    (void)state;
    every_pair(check_holds);
}

static void test_size(void **state)
{
    (void)state;
    assert_int_equal(rect_width(rect_of(-3, 1, 5, 2)), 8);
    assert_int_equal(rect_height(rect_of(-3, 1, 5, 2)), 1);
    assert_int_equal(rect_width(rect_of(-3, 2, 5, 2)), 0);
    assert_int_equal(rect_height(rect_of(5, 0, 5, 9)), 0);
    assert_int_equal(rect_width(rect_of(-RECT_LIMIT, 0, RECT_LIMIT, 1)), 2 * RECT_LIMIT);
}

static void test_grow_and_shift(void **state)
{
    (void)state;
    assert_true(rect_same(rect_grow(rect_of(0, 0, 2, 2), 1, 3), rect_of(-1, -3, 3, 5)));
    assert_true(rect_empty(rect_grow(rect_of(0, 0, 0, 2), 9, 9)));
    assert_true(rect_empty(rect_grow(rect_of(0, 0, 4, 4), -2, 0)));
    const struct rect most = rect_grow(rect_of(0, 0, 2, 2), INT32_MAX, INT32_MAX);
    assert_true(rect_same(most, rect_of(-RECT_LIMIT, -RECT_LIMIT, RECT_LIMIT, RECT_LIMIT)));
    assert_true(rect_same(rect_shift(rect_of(1, 2, 3, 4), -5, 6), rect_of(-4, 8, -2, 10)));
    assert_true(rect_empty(rect_shift(rect_of(0, 0, 2, 2), INT32_MAX, 0)));
}

static void test_reduce(void **state)
{
    (void)state;
    for (int scale = 1; scale <= 4; scale++)
        for (int x0 = -9; x0 < 9; x0++)
            for (int x1 = x0 + 1; x1 <= 10; x1++) {
                const struct rect r = rect_reduce(rect_of(x0, 0, x1, 1), scale);
                assert_true(r.x0 * scale <= x0 && (r.x0 + 1) * scale > x0);
                assert_true(r.x1 * scale >= x1 && (r.x1 - 1) * scale < x1);
                assert_true(r.y0 == 0 && r.y1 == 1);
            }
    assert_true(rect_empty(rect_reduce(rect_of(3, 3, 3, 9), 2)));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_cut),  cmocka_unit_test(test_join),           cmocka_unit_test(test_holds_and_same),
        cmocka_unit_test(test_size), cmocka_unit_test(test_grow_and_shift), cmocka_unit_test(test_reduce),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
