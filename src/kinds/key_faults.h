/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What may be wrong with a take before one screen, measured while the screen is learnt, and told as a warning.
 */
#ifndef KINDS_KEY_FAULTS_H
#define KINDS_KEY_FAULTS_H

#include <stdbool.h>

#include "base/text.h"
#include "kinds/kind.h"
#include "numerics/cells.h"

struct faults {
    float clipped; /* share of the take where the screen's brightest channel stands at one value, without noise */
    float clip_level;
    int channel;       /* the screen's brightest */
    float see_through; /* share of what stands before the screen that has the screen's hue, thinned */
    float level;       /* take / empty, in the screen's brightest channel; 1 without empty */
    bool unlike;       /* nowhere does the take look like its empty */
};

/* From the cells of a take, as they were measured: sets channel, clipped and clip_level. */
void faults_clipped(const struct cells *look, struct faults *faults);
/* From the same cells; their spread holds the screen there, and those with weight are bare. */
void faults_see_through(const struct cells *look, struct faults *faults);
/* One line for each fault that matters. `empty` may be NULL. */
void faults_tell(const struct faults *faults, const char *block, const char *take, const char *empty,
                 struct text *notes);

/* A kind's `open` and `close`; in between `faults_note`, from any thread, has them told when the frame is done: at
 * those frames of the shot that were looked at, since all frames have the same to say. `empty` may be NULL. */
enum passel_status faults_open(const struct at *at, const struct value *take, const struct value *empty, void **state,
                               struct passel_error *error);
void faults_close(void *state, struct text *notes);
/* True at the frames whose looks the screens were found from: what holds for all of the shot is told there alone. */
bool faults_looked_at(const struct at *at);
void faults_note(const struct at *at, const struct faults *faults);

#define FAULTS_LOOKS 3 /* frames looked at */

#endif
