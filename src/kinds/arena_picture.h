/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Pictures from the scratch memory of a fill.
 */
#ifndef KINDS_ARENA_PICTURE_H
#define KINDS_ARENA_PICTURE_H

#include "base/arena.h"
#include "picture/picture.h"

/* The planes of set `planes` over `area`, all zero; they end with the arena. */
enum passel_status arena_picture(struct arena *scratch, struct rect area, unsigned planes, struct picture *picture,
                                 struct passel_error *error);

/* A row of `count` floats; NULL when memory is out. */
float *arena_row(struct arena *scratch, int32_t count);

#endif
