/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What colours stand near by: the mean and the spread of the solid pixels around, on a grid of small cells. From them
 * comes the best linear measure of alpha at a place: how far a pixel has gone from the screen's colour towards theirs.
 */
#ifndef KINDS_KEY_LOCAL_H
#define KINDS_KEY_LOCAL_H

#include <passel/error.h>

#include "base/arena.h"
#include "kinds/key_screens.h"

#define LOCAL_CELL 4   /* pixels; cells are aligned with the picture's origin */
#define LOCAL_REACH 32 /* pixels around a fill that it must see */

struct local {
    struct rect cells; /* in cells */
    float *measure[3]; /* alpha = Σ measure (screen - pixel) */
    float *trust;      /* 0 … 1: how much solid stands near */
};

/* Learns around `want` (pixels) from `take`; `solid` holds 1 where a pixel surely shows no screen, in its plane A. Both
 * cover want grown by LOCAL_REACH, cut to the take's data window. Memory from `scratch`. Bits do not depend on `want`.
 */
enum passel_status local_learn(struct local *local, struct rect want, const struct picture *take,
                               const struct picture *solid, const struct screen *screen, struct arena *scratch,
                               struct passel_error *error);

/* Measures and trust along a row, linear between cell centres. */
void local_row(const struct local *local, int32_t x0, int32_t y, int32_t count, float *measure[3], float *trust);

#endif
