/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What the steps of a matte do to its plane, one at a time.
 */
#ifndef KINDS_MATTE_STEPS_H
#define KINDS_MATTE_STEPS_H

#include <stdbool.h>

#include "base/arena.h"
#include "picture/picture.h"

enum matte_action {
    MATTE_FLOOR,
    MATTE_CEILING,
    MATTE_RESPONSE,
    MATTE_INVERT,
    MATTE_CHOKE,
    MATTE_SPREAD,
    MATTE_SOFTEN,
    MATTE_RIM,
    MATTE_HOLES,
    MATTE_SPECKS,
    MATTE_STEADY,
    MATTE_RESOLVE,
    MATTE_MINUS,
    MATTE_UNION,
    MATTE_WITHIN
};

#define RESPONSE_POINTS 16

/* A curve through points whose `in` rise. */
struct response {
    int count;
    bool smooth;
    double in[RESPONSE_POINTS], out[RESPONSE_POINTS], slope[RESPONSE_POINTS];
};

/* A step at one frame. */
struct matte_step {
    enum matte_action action;
    float floor, ceiling;
    double pixels;
    struct response response;
    int ask;             /* the second matte; 0: none (0 is the first matte) */
    int32_t reach;       /* how far it looks */
    int32_t reach_after; /* how far the steps behind it look, summed */
};

/* True when the step must see the whole matte. */
bool matte_step_whole(enum matte_action action);
/* How far a step that does not looks around. */
int32_t matte_step_reach(enum matte_action action, double pixels);

/* Fills in the slopes; in, out, count and smooth are set. */
void response_prepare(struct response *response);

/* Does one step: *matte is changed, or replaced by a new picture of `area` (memory from `scratch`), which is smaller by
 * the step's reach. `other`: the second matte, covering *matte; for `resolve` the guide, R G B of the same area. */
enum passel_status matte_step_run(const struct matte_step *step, struct rect area, struct picture *matte,
                                  const struct picture *other, struct arena *scratch, struct passel_error *error);

#endif
