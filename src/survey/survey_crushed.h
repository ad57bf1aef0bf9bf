/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Where passes that show the set, or a subject, are crushed.
 */
#ifndef SURVEY_SURVEY_CRUSHED_H
#define SURVEY_SURVEY_CRUSHED_H

#include "survey/survey.h"

/* Measures all passes: of lamps what any lamp lights, before screens the subject. */
enum passel_status survey_crushed(struct survey *survey, struct passel_error *error);
void judge_crushed(struct survey *survey, int index);

#endif
