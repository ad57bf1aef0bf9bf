/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * An arena: many small allocations with one common end. Not shared between threads.
 */
#ifndef BASE_ARENA_H
#define BASE_ARENA_H

#include <stddef.h>

struct arena {
    struct arena_block *last; /* the block that is being filled, linked to the older ones */
};

/* An empty arena owns nothing: { NULL } is valid and needs no call. */
void arena_init(struct arena *arena);

/* `size` zeroed bytes, aligned for any type, valid until arena_release; NULL when memory is out. */
void *arena_take(struct arena *arena, size_t size);

/* As arena_take for `count` elements; NULL also when the product overflows. */
void *arena_array(struct arena *arena, size_t count, size_t size);

/* A NUL-terminated copy of the `length` bytes at `text`; NULL when memory is out. */
char *arena_text(struct arena *arena, const char *text, size_t length);

/* Gives everything back and leaves an empty arena. */
void arena_release(struct arena *arena);

#endif
