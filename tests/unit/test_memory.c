/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Blocks of memory, and the helper that fails them.
 */
#include "base/memory.h"

#include "fail_memory.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

static void blocks_are_aligned(void **state)
{
    (void)state;
    static const size_t sizes[] = { 0, 1, 63, 64, 65, 4096, 100001, 5000000 };
    for (size_t i = 0; i < sizeof sizes / sizeof *sizes; i++) {
        unsigned char *block = memory_new(sizes[i]);
        assert_non_null(block);
        assert_int_equal((uintptr_t)block % 64, 0);
        memset(block, 0xA5, sizes[i]);
        memory_free(block);
    }
}

static void zeros_are_zero_at_every_size(void **state)
{
    (void)state;
    static const size_t sizes[] = { 0, 1, 100, 65536, 1048575, 1048576, 1048577, 1052671, 3000001 };
    for (size_t i = 0; i < sizeof sizes / sizeof *sizes; i++) {
        /* Dirty blocks of the same size go back first, so that the allocator has them at hand. */
        unsigned char *dirty = memory_new(sizes[i]);
        assert_non_null(dirty);
        memset(dirty, 0xFF, sizes[i]);
        memory_free(dirty);
        unsigned char *block = memory_zeros(sizes[i], 1);
        assert_non_null(block);
        assert_int_equal((uintptr_t)block % 64, 0);
        size_t wrong = 0;
        for (size_t at = 0; at < sizes[i]; at++)
            wrong += block[at] != 0;
        assert_int_equal(wrong, 0);
        memory_free(block);
    }
}

/* Pages of this process that are in memory. */
static long resident_pages(void)
{
    long all = 0, resident = 0;
    FILE *file = fopen("/proc/self/statm", "r");
    assert_non_null(file);
    assert_int_equal(fscanf(file, "%ld %ld", &all, &resident), 2);
    fclose(file);
    return resident;
}

static void big_zeros_cost_nothing_untouched(void **state)
{
    (void)state;
    const long before = resident_pages();
    void *block = memory_zeros((size_t)1 << 28, 1);
    assert_non_null(block);
    /* 256 MiB are 65536 pages of 4 KiB; a few may come and go for other reasons. */
    assert_true(resident_pages() - before < 16384);
    memory_free(block);
}

static void sizes_that_do_not_fit_are_refused(void **state)
{
    (void)state;
    size_t product = 0;
    assert_true(size_multiply(SIZE_MAX, 1, &product));
    assert_true(product == SIZE_MAX);
    assert_true(size_multiply(0, SIZE_MAX, &product));
    assert_int_equal(product, 0);
    assert_true(size_multiply(SIZE_MAX, 0, &product));
    assert_false(size_multiply(SIZE_MAX / 2 + 1, 2, &product));
    assert_true(size_multiply(SIZE_MAX / 2, 2, &product));
    assert_null(memory_zeros(SIZE_MAX / 2, 3));
    assert_null(memory_grow(NULL, 0, SIZE_MAX / 2, 3));
}

static void grow_keeps_what_was_there(void **state)
{
    (void)state;
    int *list = memory_grow(NULL, 0, 3, sizeof *list);
    assert_non_null(list);
    for (int i = 0; i < 3; i++)
        list[i] = i + 1;
    list = memory_grow(list, 3, 1000, sizeof *list);
    assert_non_null(list);
    assert_int_equal((uintptr_t)list % 64, 0);
    assert_int_equal(list[0] * 100 + list[1] * 10 + list[2], 123);
    list = memory_grow(list, 1000, 2, sizeof *list);
    assert_non_null(list);
    assert_int_equal(list[0] * 10 + list[1], 12);
    memory_free(list);
}

static void grow_that_fails_leaves_the_old_block(void **state)
{
    (void)state;
    int *list = memory_zeros(3, sizeof *list);
    assert_non_null(list);
    list[2] = 7;
    fail_memory_at(1, false);
    assert_null(memory_grow(list, 3, 6, sizeof *list));
    assert_true(fail_memory_hit());
    assert_null(memory_grow(list, 3, SIZE_MAX / 2, sizeof *list));
    assert_int_equal(list[2], 7);
    memory_free(list);
}

static void free_takes_null(void **state)
{
    (void)state;
    memory_free(NULL);
}

static void helper_counts_and_fails(void **state)
{
    (void)state;
    const long before = fail_memory_open();
    fail_memory_at(2, false);
    void *first = memory_new(1), *second = memory_new(1), *third = memory_zeros(1, 1);
    assert_true(first != NULL && second == NULL && third != NULL);
    assert_int_equal(fail_memory_open() - before, 2);
    fail_memory_at(1, true);
    assert_null(memory_new(1));
    assert_null(memory_grow(NULL, 0, 1, 1));
    assert_null(memory_zeros(1, 1));
    fail_memory_never();
    first = memory_grow(first, 1, 2, 1);
    assert_int_equal(fail_memory_open() - before, 2);
    memory_free(first);
    memory_free(third);
    assert_int_equal(fail_memory_open(), before);
}

static enum passel_status take_three(void *data)
{
    (void)data;
    void *blocks[3];
    int count = 0;
    while (count < 3 && (blocks[count] = memory_new(8)) != NULL)
        count++;
    for (int i = 0; i < count; i++)
        memory_free(blocks[i]);
    return count == 3 ? PASSEL_OK : PASSEL_NO_MEMORY;
}

static void helper_walks_every_call(void **state)
{
    (void)state;
    assert_int_equal(fail_memory_each(take_three, NULL), 3);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(blocks_are_aligned),
        cmocka_unit_test(zeros_are_zero_at_every_size),
        cmocka_unit_test(big_zeros_cost_nothing_untouched),
        cmocka_unit_test(sizes_that_do_not_fit_are_refused),
        cmocka_unit_test(grow_keeps_what_was_there),
        cmocka_unit_test(grow_that_fails_leaves_the_old_block),
        cmocka_unit_test(free_takes_null),
        cmocka_unit_test(helper_counts_and_fails),
        cmocka_unit_test(helper_walks_every_call),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
