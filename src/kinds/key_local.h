/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What colours stand near by: the mean and the spread of the solid pixels around, on a grid of small cells. From them
 * comes the best linear measure of alpha at a place: how far a pixel has gone from the screen's colour towards theirs.
 * Where a pixel does not look like them (smoke before a wall), it is taken for something grey.
 */
#ifndef KINDS_KEY_LOCAL_H
#define KINDS_KEY_LOCAL_H

#include <passel/error.h>

#include "base/arena.h"
#include "kinds/key_screens.h"

#define LOCAL_CELL 4   /* pixels; cells are aligned with the picture's origin */
#define LOCAL_REACH 32 /* pixels around a fill that it must see */

enum { LOCAL_MEASURE = 0, LOCAL_GREY = 3, LOCAL_MEAN = 6, LOCAL_SPREAD = 9, LOCAL_SHARE = 15, LOCAL_COUNT = 16 };

/* What is known at a place. */
struct local_values {
    float v[LOCAL_COUNT]; /* from LOCAL_MEASURE: alpha = sum v (screen - pixel), as for the colours near by; from
                             LOCAL_GREY: as for greys; then mean and spread (rr rg rb gg gb bb) of the colours near by,
                             and the share of the surroundings that is solid */
};

struct local {
    struct rect cells; /* in cells */
    struct local_values *values;
    const struct screen *screen;
    float bright; /* the screen's brightest channel, on the whole: colours are judged beside it */
};

/* Learns around `want` (pixels) from `take`; plane A of `solid` holds how surely a pixel shows no screen, 0 … 1. Both
 * cover want grown by LOCAL_REACH, cut to the take's data window. Memory from `scratch`. Bits do not depend on `want`.
 */
enum passel_status local_learn(struct local *local, struct rect want, const struct picture *take,
                               const struct picture *solid, const struct screen *screen, float bright,
                               struct arena *scratch, struct passel_error *error);

/* Alpha of a pixel before the screen's colour `field` there; about 0 … 1, noise and all. */
float local_alpha(const struct local *local, int32_t x, int32_t y, const float pixel[3], const float field[3]);

#endif
