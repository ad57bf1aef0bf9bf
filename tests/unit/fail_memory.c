/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The linker sends every call of memory_x from other files to __wrap_memory_x, and __real_memory_x to the true one.
 * Calls inside memory.c itself are not diverted, so each call from outside counts once.
 */
#include "fail_memory.h"

#include "base/memory.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static atomic_long calls_left = -1; /* calls before the one that fails; -1 when none does */
static atomic_bool failing_for_good;
static atomic_bool was_hit;
static atomic_long open_blocks;

void *__real_memory_new(size_t size);
void *__real_memory_zeros(size_t count, size_t size);
void *__real_memory_grow(void *old, size_t old_count, size_t count, size_t size);
void __real_memory_free(void *block);
void *__wrap_memory_new(size_t size);
void *__wrap_memory_zeros(size_t count, size_t size);
void *__wrap_memory_grow(void *old, size_t old_count, size_t count, size_t size);
void __wrap_memory_free(void *block);

/* True when this call is to fail. */
static bool fails_now(void)
{
    long left = atomic_load(&calls_left);
    while (left >= 0) {
        const long next = left > 0 ? left - 1 : atomic_load(&failing_for_good) ? 0 : -1;
        if (!atomic_compare_exchange_weak(&calls_left, &left, next))
            continue;
        if (left == 0)
            atomic_store(&was_hit, true);
        return left == 0;
    }
    return false;
}

static void *counted(void *block)
{
    if (block != NULL)
        atomic_fetch_add(&open_blocks, 1);
    return block;
}

void *__wrap_memory_new(size_t size)
{
    return fails_now() ? NULL : counted(__real_memory_new(size));
}

void *__wrap_memory_zeros(size_t count, size_t size)
{
    return fails_now() ? NULL : counted(__real_memory_zeros(count, size));
}

void *__wrap_memory_grow(void *old, size_t old_count, size_t count, size_t size)
{
    if (fails_now())
        return NULL;
    void *block = __real_memory_grow(old, old_count, count, size);
    /* The grown block takes the place of the old one. */
    return old == NULL ? counted(block) : block;
}

void __wrap_memory_free(void *block)
{
    if (block != NULL)
        atomic_fetch_sub(&open_blocks, 1);
    __real_memory_free(block);
}

void fail_memory_at(long n, bool for_good)
{
    atomic_store(&was_hit, false);
    atomic_store(&failing_for_good, for_good);
    atomic_store(&calls_left, n - 1);
}

void fail_memory_never(void)
{
    atomic_store(&calls_left, -1);
}

bool fail_memory_hit(void)
{
    return atomic_load(&was_hit);
}

long fail_memory_open(void)
{
    return atomic_load(&open_blocks);
}

/* One round of fail_memory_each; true when the attempt met a failing call. */
static bool attempt_with(fail_memory_attempt *attempt, void *data, long n, bool for_good)
{
    const long before = fail_memory_open();
    fail_memory_at(n, for_good);
    const enum passel_status status = attempt(data);
    fail_memory_never();
    const enum passel_status wanted = fail_memory_hit() ? PASSEL_NO_MEMORY : PASSEL_OK;
    if (status != wanted)
        fail_msg("allocation %ld failing: status %d instead of %d", n, (int)status, (int)wanted);
    if (fail_memory_open() != before)
        fail_msg("allocation %ld failing: %ld blocks left behind", n, fail_memory_open() - before);
    return fail_memory_hit();
}

long fail_memory_each(fail_memory_attempt *attempt, void *data)
{
    long n = 1;
    while (attempt_with(attempt, data, n, false))
        n++;
    for (long again = 1; attempt_with(attempt, data, again, true);)
        again++;
    return n - 1;
}
