/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The passes before screens: measured, judged, told.
 */
#ifndef SURVEY_SURVEY_SCREENS_H
#define SURVEY_SURVEY_SCREENS_H

#include "survey/survey.h"

/* Measures every subject before its screen, or both of its screens together. Their small pictures must be there. */
enum passel_status survey_screens(struct survey *survey, struct passel_error *error);
/* Holds what was measured of a pass against the limits. */
void judge_subject(struct survey *survey, int index);

/* Which screen keys which piece of a subject. */
void screens_text(const struct survey *survey, struct text *text);
void screens_json(const struct survey *survey, struct text *text);
/* "the green at the lower middle": what has nearly the hue of the screen it is not keyed from. */
void piece_words(const struct survey *survey, const struct screen_choice *choice, const struct screen_piece *piece,
                 struct text *text);

#endif
