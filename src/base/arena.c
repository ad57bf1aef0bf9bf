/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * An arena is a list of zeroed blocks; the newest is filled from its start. What does not fit begins a new block.
 */
#include "base/arena.h"

#include "base/memory.h"

#include <stdint.h>
#include <string.h>

#define ARENA_FIRST ((size_t)4096)
#define ARENA_LARGEST ((size_t)1 << 18)

struct arena_block {
    struct arena_block *older;
    size_t used; /* bytes handed out of `room` */
    size_t room;
    max_align_t bytes[];
};

void arena_init(struct arena *arena)
{
    arena->last = NULL;
}

/* Adds a block with room for `size` bytes; blocks double so that their number stays small. */
static struct arena_block *add_block(struct arena *arena, size_t size)
{
    size_t room = ARENA_FIRST;
    if (arena->last != NULL && arena->last->room < ARENA_LARGEST)
        room = 2 * arena->last->room;
    else if (arena->last != NULL)
        room = ARENA_LARGEST;
    if (room < size)
        room = size;
    if (room > SIZE_MAX - sizeof(struct arena_block))
        return NULL;
    struct arena_block *block = memory_zeros(1, sizeof(struct arena_block) + room);
    if (block == NULL)
        return NULL;
    block->room = room;
    block->older = arena->last;
    arena->last = block;
    return block;
}

void *arena_take(struct arena *arena, size_t size)
{
    const size_t unit = sizeof(max_align_t);
    if (size > SIZE_MAX - unit)
        return NULL;
    /* At least one unit, so that two allocations never share an address. */
    const size_t rounded = size == 0 ? unit : (size + unit - 1) / unit * unit;
    struct arena_block *block = arena->last;
    if (block == NULL || block->room - block->used < rounded)
        block = add_block(arena, rounded);
    if (block == NULL)
        return NULL;
    void *taken = (char *)block->bytes + block->used;
    block->used += rounded;
    return taken;
}

void *arena_array(struct arena *arena, size_t count, size_t size)
{
    size_t bytes;
    return size_multiply(count, size, &bytes) ? arena_take(arena, bytes) : NULL;
}

char *arena_text(struct arena *arena, const char *text, size_t length)
{
    if (length == SIZE_MAX)
        return NULL;
    char *copy = arena_take(arena, length + 1);
    if (copy != NULL && length > 0)
        memcpy(copy, text, length);
    return copy;
}

void arena_release(struct arena *arena)
{
    while (arena->last != NULL) {
        struct arena_block *block = arena->last;
        arena->last = block->older;
        memory_free(block);
    }
}
