/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What the steps of a look do to a picture, one at a time. Colours are premultiplied and scene-linear; alpha changes
 * where a step blurs and nowhere else.
 */
#ifndef KINDS_LOOK_STEPS_H
#define KINDS_LOOK_STEPS_H

#include <stdbool.h>

#include "base/arena.h"
#include "numerics/grain.h"
#include "picture/encoding.h"
#include "picture/picture.h"

enum look_action {
    LOOK_EXPOSURE,
    LOOK_BALANCE,
    LOOK_CDL,
    LOOK_SATURATION,
    LOOK_VEIL,
    LOOK_VIGNETTE,
    LOOK_BLUR,
    LOOK_DEFOCUS,
    LOOK_SHARPEN,
    LOOK_GLOW,
    LOOK_GRAIN
};

/* Slope, offset and power of each colour, then saturation, on the codes of an encoding. */
struct cdl {
    float slope[3], offset[3];
    double power[3];
    float saturation;
    struct encoding encoding;
};

/* A step at one frame. */
struct look_step {
    enum look_action action;
    float amount;     /* a share, or the darkening of a vignette in stops */
    float colour[3];  /* of a balance (an exposure, too) or a veil */
    float weights[3]; /* of luminance */
    double pixels;    /* of a blur, a defocus, a sharpening, a glow */
    float level;      /* light from which on things glow, or where a vignette begins, as a share of half the diagonal */
    struct cdl cdl;
    struct rect frame;         /* of a vignette */
    const struct grain *grain; /* of LOOK_GRAIN */
    uint64_t seed;
    int32_t reach;       /* how far it looks */
    int32_t reach_after; /* how far the steps behind it look, summed */
};

/* How far a step looks around. */
int32_t look_step_reach(enum look_action action, double pixels);

/* Does one step: *picture, which has R, G and B, is changed, or replaced by a new one of `area` (memory from
 * `scratch`), which is smaller by the step's reach or ends where *picture does. */
enum passel_status look_step_run(const struct look_step *step, struct rect area, struct picture *picture,
                                 struct arena *scratch, struct passel_error *error);

#endif
