/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What a file says of its colour, and ICC profiles brought down to that: one curve and one set of primaries.
 */
#ifndef MEDIA_ICC_H
#define MEDIA_ICC_H

#include <stdbool.h>
#include <stddef.h>

#include "media/media.h"

struct colour_claim {
    bool has_encoding;
    struct encoding encoding;
    bool has_primaries;
    struct primaries primaries;
};

/* Reads a profile of matrix and curves (RGB) or of one curve (grey). False when it is damaged, built of tables, or has
 * a curve that no encoding matches within 0.0005 of linear light; `why` then says which, in a few words. */
bool icc_reduce(const void *profile, size_t size, struct colour_claim *claim, const char **why);

#endif
