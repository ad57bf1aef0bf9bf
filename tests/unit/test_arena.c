/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The arena: zeroed, aligned, apart, and all given back.
 */
#include "base/arena.h"

#include "fail_memory.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

static void empty_arena_owns_nothing(void **state)
{
    (void)state;
    const long before = fail_memory_open();
    struct arena arena = { NULL };
    arena_release(&arena);
    arena_init(&arena);
    arena_release(&arena);
    arena_release(&arena);
    assert_int_equal(fail_memory_open(), before);
}

/* Every allocation is filled with its own number; nothing may have changed at the end. */
static void allocations_do_not_touch(void **state)
{
    (void)state;
    enum { COUNT = 3000 };
    static unsigned char *taken[COUNT];
    static size_t sizes[COUNT];
    struct arena arena;
    arena_init(&arena);
    for (size_t i = 0; i < COUNT; i++) {
        sizes[i] = i % 97 == 0 ? 20000 + i * 13 : i % 151;
        taken[i] = arena_take(&arena, sizes[i]);
        assert_non_null(taken[i]);
        assert_int_equal((uintptr_t)taken[i] % _Alignof(max_align_t), 0);
        for (size_t at = 0; at < sizes[i]; at++)
            if (taken[i][at] != 0)
                fail_msg("allocation %zu is not zero at %zu", i, at);
        memset(taken[i], (int)(i % 255 + 1), sizes[i]);
    }
    for (size_t i = 0; i < COUNT; i++)
        for (size_t at = 0; at < sizes[i]; at++)
            if (taken[i][at] != i % 255 + 1)
                fail_msg("allocation %zu was overwritten", i);
    arena_release(&arena);
    assert_null(arena.last);
}

static void empty_allocations_differ(void **state)
{
    (void)state;
    struct arena arena = { NULL };
    const void *a = arena_take(&arena, 0), *b = arena_take(&arena, 0);
    assert_non_null(a);
    assert_non_null(b);
    assert_ptr_not_equal(a, b);
    arena_release(&arena);
}

static void text_is_copied_and_ended(void **state)
{
    (void)state;
    struct arena arena = { NULL };
    const char source[] = { 'm', 'o', 'o', 'n', 'x' };
    const char *copy = arena_text(&arena, source, 4);
    assert_string_equal(copy, "moon");
    assert_string_equal(arena_text(&arena, NULL, 0), "");
    arena_release(&arena);
}

static void few_blocks_for_many_allocations(void **state)
{
    (void)state;
    const long before = fail_memory_open();
    struct arena arena = { NULL };
    for (int i = 0; i < 100000; i++)
        assert_non_null(arena_take(&arena, 16));
    assert_true(fail_memory_open() - before < 20);
    arena_release(&arena);
    assert_int_equal(fail_memory_open(), before);
}

static void sizes_that_do_not_fit_are_refused(void **state)
{
    (void)state;
    struct arena arena = { NULL };
    assert_null(arena_take(&arena, SIZE_MAX));
    assert_null(arena_take(&arena, SIZE_MAX - 64));
    assert_null(arena_array(&arena, SIZE_MAX / 2, 4));
    assert_null(arena_text(&arena, "", SIZE_MAX));
    assert_non_null(arena_array(&arena, 3, 5));
    arena_release(&arena);
}

static enum passel_status fill_some(void *data)
{
    (void)data;
    struct arena arena = { NULL };
    enum passel_status status = PASSEL_OK;
    for (int i = 0; i < 40; i++)
        if (arena_array(&arena, 100, 9) == NULL || arena_text(&arena, "lamp", 4) == NULL)
            status = PASSEL_NO_MEMORY;
    arena_release(&arena);
    return status;
}

static void failing_memory_leaves_a_sound_arena(void **state)
{
    (void)state;
    assert_true(fail_memory_each(fill_some, NULL) > 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(empty_arena_owns_nothing),
        cmocka_unit_test(allocations_do_not_touch),
        cmocka_unit_test(empty_allocations_differ),
        cmocka_unit_test(text_is_copied_and_ended),
        cmocka_unit_test(few_blocks_for_many_allocations),
        cmocka_unit_test(sizes_that_do_not_fit_are_refused),
        cmocka_unit_test(failing_memory_leaves_a_sound_arena),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
