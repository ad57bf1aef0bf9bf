/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Allocation with the alignment that wide loads like, and overflow-checked sizes.
 */
#define _DEFAULT_SOURCE /* madvise */
#include "base/memory.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>

#define MEMORY_ALIGN 64
/* From this size on, zeroing is left to the system: untouched pages then cost nothing. */
#define MEMORY_LAZY ((size_t)1 << 20)
#define MEMORY_PAGE ((size_t)4096)

bool size_multiply(size_t a, size_t b, size_t *product)
{
    if (b != 0 && a > SIZE_MAX / b)
        return false;
    *product = a * b;
    return true;
}

static void *aligned_block(size_t size, size_t align)
{
    void *block = NULL;
    /* No object is larger, and checkers of memory stop the program when asked for more. */
    if (size > PTRDIFF_MAX)
        return NULL;
    /* Unlike aligned_alloc, posix_memalign takes any size, so checkers see the true end of the block. */
    return posix_memalign(&block, align, size > 0 ? size : 1) == 0 ? block : NULL;
}

void *memory_new(size_t size)
{
    return aligned_block(size, MEMORY_ALIGN);
}

/* Zeroes a page-aligned block. Whole pages of private memory that are given up read as zero when touched again. */
static void zero_pages(void *block, size_t size)
{
    const size_t whole = size - size % MEMORY_PAGE;
    if (madvise(block, whole, MADV_DONTNEED) != 0)
        memset(block, 0, whole);
    memset((char *)block + whole, 0, size - whole);
}

void *memory_zeros(size_t count, size_t size)
{
    size_t bytes;
    if (!size_multiply(count, size, &bytes))
        return NULL;
    const bool lazy = bytes >= MEMORY_LAZY;
    void *block = aligned_block(bytes, lazy ? MEMORY_PAGE : MEMORY_ALIGN);
    if (block == NULL)
        return NULL;
    if (lazy)
        zero_pages(block, bytes);
    else
        memset(block, 0, bytes);
    return block;
}

void *memory_grow(void *old, size_t old_count, size_t count, size_t size)
{
    size_t bytes;
    if (!size_multiply(count, size, &bytes))
        return NULL;
    void *block = memory_new(bytes);
    if (block == NULL)
        return NULL;
    const size_t kept = old_count < count ? old_count : count;
    if (kept > 0)
        memcpy(block, old, kept * size);
    memory_free(old);
    return block;
}

void memory_free(void *block)
{
    free(block);
}
