/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What is found, in words: the same in text and on a page.
 */
#ifndef SURVEY_SURVEY_WORDS_H
#define SURVEY_SURVEY_WORDS_H

#include "survey/survey.h"

/* "stands ", 0.79, " px off its other screen": the number between the words has so many decimals; -1: there is none. */
struct finding_words {
    const char *before, *after;
    int decimals;
};
struct finding_words finding_words(const struct finding *finding);

/* The limit that it went beyond; 0 for what is wrong at all. */
double finding_limit(const struct survey *survey, const struct finding *finding);

/* The worst that is said of a pass. */
enum severity pass_severity(const struct survey *survey, int pass);
/* How many passes are as bad as this, and no worse. */
int count_passes(const struct survey *survey, enum severity severity);

/* The whole verdict: "All passes are good", "Shoot 2 passes again". */
void verdict_words(const struct survey *survey, struct text *text);

#endif
