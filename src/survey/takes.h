/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Takes of one pass, ranked by what a survey measures of each: frames lost, steadiness, focus, flicker, clipping.
 */
#ifndef SURVEY_TAKES_H
#define SURVEY_TAKES_H

#include "survey/survey.h"

enum take_measure { TAKE_LOST, TAKE_SHAKE, TAKE_FOCUS, TAKE_FLICKER, TAKE_CLIPPED, TAKE_MEASURES };

struct take_rank {
    int pass;                     /* index in the survey */
    double value[TAKE_MEASURES];  /* frames, px, share of the sharpest one's detail, %, % of area; -1: not measured */
    double behind[TAKE_MEASURES]; /* how far behind the best take, in limits; 0 within what can be measured */
    double cost;                  /* sum of that */
};

/* Fills `ranks` (one for each pass of the survey), the best first; equal ones in the order they were given. Returns how
 * many are best, that is, equal within what can be measured. */
int takes_rank(const struct survey *survey, struct take_rank *ranks);

void takes_text(const struct survey *survey, const struct take_rank *ranks, int best, struct text *text);
void takes_json(const struct survey *survey, const struct take_rank *ranks, int best, struct text *text);

/* A clip of what `place` names: a folder that holds one pass, a sequence ("moon.####.exr") or a file. For clips_add. */
enum passel_status take_clip(const char *place, struct clip_list *list, struct passel_error *error);

#endif
