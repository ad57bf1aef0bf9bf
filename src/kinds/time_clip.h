/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Which frames a clip shows at a moment: cuts, dissolves, what lies beyond its ends, and the way from shot frames to
 * moments. Knows nothing of pictures.
 */
#ifndef KINDS_TIME_CLIP_H
#define KINDS_TIME_CLIP_H

#include <stdbool.h>
#include <stdint.h>

#include "language/recipe.h"

enum clip_beyond { CLIP_ERROR, CLIP_FREEZE, CLIP_NOTHING, CLIP_REPEAT, CLIP_TO_AND_FRO };

/* Frames `first` … `last` of what is read, in the order they are shown: backwards when last < first. */
struct clip_part {
    int32_t first, last;
};

/* Parts joined one behind the other, their frames numbered from 0; neighbours share `dissolve` frames. Without parts
 * the clip has no ends: position 0 is frame `origin` of what is read. */
struct clip {
    const struct clip_part *parts;
    int count;
    int32_t dissolve;
    int32_t origin;
    enum clip_beyond beyond;
};

/* Two neighbouring frames of one part, or a single one (next_share is 0 and next == frame). */
struct clip_moment {
    int32_t frame, next;
    double next_share; /* 0 ≤ … < 1: how far the moment lies towards `next` */
    double weight;     /* of this part; the weights of all moments sum to 1 */
    int part;          /* its number; 0 without parts */
};

enum clip_answer { CLIP_SHOWS, CLIP_SHOWS_NOTHING, CLIP_RUNS_OFF };

int32_t clip_part_length(struct clip_part part);
/* Frames of all parts together, dissolves taken off. */
int64_t clip_length(const struct clip *clip);

/*
 * What is seen at `position`. With `whole_frames` it is rounded to the nearest frame, a half down; else a position
 * between two frames of a part lies between these, and one between the last frame of a part and a cut (or the end)
 * shows the last. In a dissolve of N frames the later part has the weight (j + 1) / (N + 1) at its j-th frame.
 * Positions within 1e-7 of a frame are that frame. At most two moments, none of weight 0.
 * CLIP_RUNS_OFF: outside the clip with CLIP_ERROR, or outside what a frame number can be.
 */
enum clip_answer clip_at(const struct clip *clip, double position, bool whole_frames, struct clip_moment moments[2],
                         int *count);

/* The integral of a speed (a VALUE_NUMBER) over shot frames, from `start` to `frame`; negative before `start`. Exact
 * for keys that are linear, smooth or held, but for rounding. */
double clip_distance(const struct value *speed, double start, double frame);

#endif
