/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * All of Passel's own allocations pass through these functions, so that a test can put itself between (at link
 * time, with the linker's --wrap) and fail the n-th call or count what was not given back.
 */
#ifndef BASE_MEMORY_H
#define BASE_MEMORY_H

#include <stdbool.h>
#include <stddef.h>

/* `size` bytes aligned to 64, contents undefined; NULL when there are none. Size 0 gives a valid block. */
void *memory_new(size_t size);

/* As memory_new for `count` elements of `size` bytes, all zero; NULL also when the product overflows. */
void *memory_zeros(size_t count, size_t size);

/* A block of `count` elements of `size` bytes that starts with the contents of `old` (its `old_count` elements).
 * On NULL the old block is untouched and still the caller's. */
void *memory_grow(void *old, size_t old_count, size_t count, size_t size);

/* Gives a block back. NULL is fine. */
void memory_free(void *block);

/* a * b into *product; false when it does not fit. */
bool size_multiply(size_t a, size_t b, size_t *product);

#endif
