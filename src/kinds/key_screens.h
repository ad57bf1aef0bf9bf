/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What a key knows of its screens before the first pixel: the light of each, clean of noise, as its take sees it, and
 * how noisy each take is. Found once per block from the empties and a few frames of the shot.
 */
#ifndef KINDS_KEY_SCREENS_H
#define KINDS_KEY_SCREENS_H

#include "kinds/key_faults.h"
#include "kinds/kind.h"
#include "numerics/noise_model.h"

#define SCREEN_LIMIT 16

/* One take: what is filmed, and its empty. */
struct take_names {
    const struct value *on;
    const struct value *empty; /* or NULL: the screen is estimated from the take itself */
};

/* What both keys keep of their settings, so that the analysis can serve both. */
struct takes {
    int count;
    struct take_names take[SCREEN_LIMIT];
    bool trust_levels;
    bool trust_empties; /* no analysis: the empties are used as they are */
    bool has_colour;
    float colour[3]; /* `colour R G B` of a single screen */
};

struct screen {
    struct picture field; /* R, G, B of the bare screen at the take's level */
    struct noise noise[3];       /* of the take */
    struct noise empty_noise[3]; /* of the empty, before it was freed of it; without one, the take's */
    float level[3]; /* take / empty where the screen is bare: what the empty was multiplied by; 1 without empty */
    int bare_cells; /* how many cells of the take were seen bare */
};

struct screens {
    int count;
    struct faults faults[SCREEN_LIMIT]; /* of the takes; when there are several, clipping alone */
    struct screen screen[SCREEN_LIMIT];
};

/* The descriptor's analysis: at.self is, or begins with, a struct takes; the result is a struct screens. */
extern const struct analysis screens_analysis;

/* `count` pixels from x0 of a row that is there from `first` to before `last` and held beyond. Points into it, or to
 * `spare` where that does not do. */
const float *held_row(const float *row, int32_t first, int32_t last, int32_t x0, int32_t count, float *spare);

/* The field's row: [i] is plane c of the screen at pixel (x0 + i, y); outside the field its edge is held. Points into
 * the field, or to `spare` (count floats) where that does not do. */
const float *screen_row(const struct screen *screen, int c, int32_t x0, int32_t y, int32_t count, float *spare);

/* Refuses takes whose display windows differ, at the setting that names them. */
enum passel_status takes_check(const struct recipe *recipe, const struct picture_info *first,
                               const struct picture_info *other, const struct value *value, struct passel_error *error);

#endif
