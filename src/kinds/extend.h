/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * extend, shared by its files: the settings, where everything lies, and what the analysis finds.
 */
#ifndef KINDS_EXTEND_H
#define KINDS_EXTEND_H

#include <math.h>

#include "kinds/extend_level.h"
#include "kinds/kind.h"
#include "numerics/grain.h"

/* Light as it is continued and corrected: a glow that falls off by ratios is nearly straight in fourth roots, and light
 * stays positive. Below 0 is 0. */
static inline float fourth_root(float light)
{
    return sqrtf(sqrtf(light > 0 ? light : 0));
}

static inline float fourth_power(float root)
{
    return root > 0 ? root * root * (root * root) : 0;
}

enum extend_by { BY_EDGE, BY_MIRROR, BY_GRADIENT, BY_TEXTURE, BY_PLATE };
enum keep_word { KEEP_TOP, KEEP_MIDDLE, KEEP_BOTTOM, KEEP_LEFT, KEEP_CENTRE, KEEP_RIGHT, KEEP_COUNT };

struct extend {
    const struct value *plate;
    const struct value *to;    /* or NULL: as large as the plate */
    const struct value *at;    /* keep X Y px, or NULL */
    const struct value *hole;  /* fill SHAPE, or NULL */
    const struct value *other; /* by plate NAME, or NULL */
    const struct value *seam;  /* or NULL */
    struct span by_where;
    enum keep_word down, across;
    enum extend_by by;
    bool grain;
};

/* Pictures of its own, not for recipes: the light of the plate, and of the other plate, cell by cell. */
enum { PICTURE_LEVEL = -1, PICTURE_OTHER_LEVEL = -2 };

/* Where everything lies at this scale, in the output's coordinates: the frame and the plate's own pixels in it. */
struct windows {
    struct rect target, plate;
    int32_t dx, dy; /* output = plate's + this */
};

enum passel_status windows_find(const struct at *at, const struct picture_info *input, struct windows *windows,
                                struct passel_error *error);
/* output = other plate's + this. */
enum passel_status other_shift(const struct at *at, const struct picture_info *plate, const struct picture_info *other,
                               int32_t *dx, int32_t *dy, struct passel_error *error);

/* Pixels that new light reaches into the plate, at this scale. */
float extend_seam(const struct at *at);
/* How much of the plate shows at a pixel of it: 0 at an edge that is carried on … 1 from `seam` pixels on. */
float plate_share(const struct windows *windows, int32_t x, int32_t y, float seam);

/* What the analysis of all methods but `edge` and `mirror` finds: the light that is put where the plate has none, once
 * for all frames. */
struct solution {
    struct windows windows;
    bool empty;           /* no frame that was looked at had pixels */
    struct picture light; /* over the target: R, G, B, and A when the plate is not opaque. With `corrects`: to be added
                             to the other plate, times other_gain */
    bool corrects;
    float other_gain[3];
    struct grain grain;
    float grain_share;          /* how much of it is laid onto the light */
    struct level_reference own; /* the plate's light near the border, of which `light` is the continuation */
    struct level_reference other;
};

extern const struct analysis extend_analysis;

/* The strip of `by gradient`, `texture` and `plate`; in[i] as asked for. */
enum passel_status extend_fill_solved(const struct at *at, const struct picture *in, const struct picture *out,
                                      struct arena *scratch, struct passel_error *error);

/* Which ask is which; -1: not there. */
struct extend_asks {
    int plate, level, hole, other, other_level;
};
struct extend_asks extend_asks_of(const struct extend *extend, int picture);

#endif
