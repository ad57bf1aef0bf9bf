/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "engine/scratch.h"

#include <stdint.h>

#include "base/error.h"
#include "base/memory.h"

#define BLOCK_SIZE ((size_t)4 << 20)

struct scratch_block {
    unsigned char *bytes;
    size_t size, used;
};

static struct scratch_block *add_block(struct scratch *scratch, size_t size)
{
    if (scratch->count == scratch->room) {
        const int room = scratch->room == 0 ? 8 : scratch->room * 2;
        struct scratch_block **blocks =
            memory_grow(scratch->blocks, (size_t)scratch->room, (size_t)room, sizeof *blocks);
        if (blocks == NULL)
            return NULL;
        scratch->blocks = blocks;
        scratch->room = room;
    }
    struct scratch_block *block = memory_zeros(1, sizeof *block);
    if (block == NULL)
        return NULL;
    block->size = size > BLOCK_SIZE ? size : BLOCK_SIZE;
    block->bytes = memory_new(block->size);
    if (block->bytes == NULL) {
        memory_free(block);
        return NULL;
    }
    scratch->blocks[scratch->count++] = block;
    return block;
}

void *scratch_take(struct scratch *scratch, size_t size)
{
    if (size > SIZE_MAX - 64)
        return NULL;
    size = (size + 63) / 64 * 64;
    for (; scratch->current < scratch->count; scratch->current++) {
        struct scratch_block *block = scratch->blocks[scratch->current];
        if (block->size - block->used >= size) {
            void *taken = block->bytes + block->used;
            block->used += size;
            return taken;
        }
    }
    struct scratch_block *block = add_block(scratch, size);
    if (block == NULL)
        return NULL;
    scratch->current = scratch->count - 1;
    block->used = size;
    return block->bytes;
}

enum passel_status scratch_picture(struct scratch *scratch, struct picture *picture, struct rect area, unsigned planes,
                                   struct passel_error *error)
{
    *picture = (struct picture){ .area = area };
    if (rect_empty(area) || planes == 0)
        return PASSEL_OK;
    const size_t width = (size_t)rect_width(area), height = (size_t)rect_height(area);
    picture->stride = (width + 15) / 16 * 16;
    size_t samples, bytes;
    if (!size_multiply(picture->stride, height, &samples) || !size_multiply(samples, sizeof(float), &bytes))
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int p = 0; p < PLANE_COUNT; p++) {
        if ((planes & 1u << p) == 0)
            continue;
        picture->plane[p] = scratch_take(scratch, bytes);
        if (picture->plane[p] == NULL)
            return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    }
    return PASSEL_OK;
}

void scratch_reset(struct scratch *scratch)
{
    for (int i = 0; i < scratch->count; i++)
        scratch->blocks[i]->used = 0;
    scratch->current = 0;
}

void scratch_let_go(struct scratch *scratch)
{
    for (int i = 0; i < scratch->count; i++) {
        memory_free(scratch->blocks[i]->bytes);
        memory_free(scratch->blocks[i]);
    }
    memory_free(scratch->blocks);
    arena_release(&scratch->arena);
    *scratch = (struct scratch){ 0 };
}
