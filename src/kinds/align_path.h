/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * From what was found at several frames to one map.
 */
#ifndef KINDS_ALIGN_PATH_H
#define KINDS_ALIGN_PATH_H

#include "kinds/corners.h"

enum sight_state {
    SIGHT_NOTHING, /* one of the pictures has no pixels there */
    SIGHT_REFUSED,
    SIGHT_FOUND
};

/* One frame. */
struct sight {
    int32_t frame;
    enum sight_state state;
    double corner[8]; /* of the window */
    double expected;  /* pixels */
    double agreement;
    char reason[400]; /* of a refusal */
};

/* One map for all: the mean of those frames, by their certainty, that lie near the median. Returns how many there were
 * of the `*found` that were found at all; less than half of them: they do not belong together. */
int path_one(const struct sight *sights, int count, double corner[8], double *expected, int *found);

/* The drift at `frame`: a straight line through what was found around it, nearer frames counting more. The frame
 * itself must be among the found. */
void path_drift(const struct sight *sights, int count, int32_t frame, int half, double corner[8]);

#endif
