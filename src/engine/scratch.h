/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * One thread's memory for strips: taken piece by piece, given back all at once, kept for the next strip.
 */
#ifndef ENGINE_SCRATCH_H
#define ENGINE_SCRATCH_H

#include <passel/error.h>
#include <stddef.h>

#include "base/arena.h"
#include "picture/picture.h"

struct scratch {
    struct scratch_block **blocks;
    int count, room;
    int current;
    struct arena arena; /* what kinds get; released with every fill */
};

/* `size` bytes aligned to 64, contents undefined, valid until scratch_reset; NULL when memory is out. */
void *scratch_take(struct scratch *scratch, size_t size);
/* As picture_new, from scratch; owns nothing. */
enum passel_status scratch_picture(struct scratch *scratch, struct picture *picture, struct rect area, unsigned planes,
                                   struct passel_error *error);
void scratch_reset(struct scratch *scratch);
void scratch_let_go(struct scratch *scratch);

#endif
