/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Registration's view of two pictures: a pyramid, and tiles that are compared.
 */
#ifndef NUMERICS_REGISTER_LEVEL_H
#define NUMERICS_REGISTER_LEVEL_H

#include <passel/error.h>
#include <stdbool.h>

#include "picture/geometry.h"

#define REGISTER_LEVELS 12

/* Both pictures at one size, from (0, 0): their light, smoothed, in plane R. */
struct register_level {
    double scale;         /* one pixel here is so many full ones */
    struct picture fixed; /* plane A: what counts, when a shape was given */
    struct picture moved;
    struct picture spline; /* of `moved` */
    struct picture warped; /* room for `moved` as it comes to lie on `fixed` */
};

struct register_pyramid {
    struct rect fixed, moved;                      /* the full areas */
    struct register_level levels[REGISTER_LEVELS]; /* the finest first */
    int count;
};

/* What one tile says: `score` is Σ -log2(1 - correlation²) over its directions. To first order, moving the map by
 * (dx, dy) full pixels changes what the tile explains by g·d - d·H·d/2. */
struct register_tile {
    float x, y; /* its centre in `fixed`, full pixels */
    float weight;
    float gx, gy, hxx, hxy, hyy;
    float score, agreement;
};

enum passel_status register_pyramid_new(const struct picture *fixed, const struct picture *moved,
                                        const struct picture *where, struct register_pyramid *pyramid,
                                        struct passel_error *error);
void register_pyramid_release(struct register_pyramid *pyramid);

/* Most tiles that a level has. */
int register_tile_room(const struct register_level *level);

/* Lays the level's `moved` on `fixed` by `map` (in full pixels). */
enum passel_status register_warp(const struct register_pyramid *pyramid, int level, const struct transform *map,
                                 struct passel_error *error);

/* How tiles are taken. */
struct register_view {
    const struct picture *moved; /* of the level: `warped`, or `moved` itself */
    const struct transform *map; /* with `warped`: what made it, so that what is outside is left out; else NULL */
    int32_t dx, dy;              /* added to positions in `moved` */
    int every;                   /* every n-th tile across and down */
    bool scores;                 /* score and agreement are all that is wanted */
};
/* Compares; returns how many tiles had something to say. */
int register_measure(const struct register_pyramid *pyramid, int level, const struct register_view *view,
                     struct register_tile *tiles);

#endif
