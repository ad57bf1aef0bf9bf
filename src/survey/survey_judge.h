/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#ifndef SURVEY_SURVEY_JUDGE_H
#define SURVEY_SURVEY_JUDGE_H

#include "survey/survey.h"

/* Holds all that was measured against the limits, and the passes against each other; sorts the findings. */
enum passel_status judge_all(struct survey *survey, struct passel_error *error);
/* The places that stand out in so many passes that they are the sensor's; at most `most`. Returns how many. */
int find_dead(const struct survey *survey, struct spot *places, int most);

#endif
