/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Lays pieces of a coarse picture into its gaps: every cell of a gap is told from how far away its content comes.
 * Neighbours mostly come from equally far, so whole pieces are laid; where two pieces meet, they are alike.
 */
#ifndef NUMERICS_PATCH_MATCH_H
#define NUMERICS_PATCH_MATCH_H

#include <passel/error.h>
#include <stdbool.h>
#include <stdint.h>

#define PATCH_PLANES 3

struct patch_grid {
    int32_t width, height;
    float *plane[PATCH_PLANES]; /* row-major; cells that are not known are filled on the way */
    const bool *known;          /* plane has a value that is to be met */
    const bool *source;         /* a piece may be taken from there */
    const bool *open;           /* to be filled; may be known, too (the seam) */
    const float *doubt; /* ≥ 0: how little a source suits for another reason; 1 counts as a standard deviation */
};

/* How far away: the content of (x, y) is that of (x + dx, y + dy); 0, 0: nothing was found. */
struct patch_from {
    int32_t dx, dy;
};

/* Fills from[width * height]. Pieces come from at least `least` cells away, in x or y, so that no repeat is seen beside
 * what it repeats. After the statistics of patch offsets (He and Sun 2012), with offsets sought where the gap begins.
 */
enum passel_status patch_match(const struct patch_grid *grid, int32_t least, struct patch_from *from,
                               struct passel_error *error);

#endif
