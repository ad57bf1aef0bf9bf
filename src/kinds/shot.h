/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The shot block as kinds and engine read it.
 */
#ifndef KINDS_SHOT_H
#define KINDS_SHOT_H

#include "kinds/kind.h"

/* The words for primaries, wherever a setting offers them. */
extern const struct choice primaries_choices[];

/* What a survey can hold passes against (survey/limits.h has the same names in the same order). */
extern const struct choice limit_choices[];

struct shot_limit {
    const char *name;
    double care, shoot;
};

/* The `limit` lines of the shot block in their order, at most `most` of them; returns how many. */
int shot_limits(const struct recipe *recipe, struct shot_limit *limits, int most);

/* Reads the recipe's shot block; PASSEL_BAD_RECIPE when it has none. The frames belong to the recipe. */
enum passel_status shot_read(const struct recipe *recipe, struct shot *shot, struct passel_error *error);

/* A rate as it is written, exactly: 23.976 and its like are short for n * 1000 / 1001. */
void rate_exact(double rate, int32_t *num, int32_t *den);

/* Analyses look at up to `most` frames, spread evenly over the shot and fixed by it: how many, and the k-th of them. */
int shot_looks(const struct shot *shot, int most);
int32_t shot_look(const struct shot *shot, int most, int k);

/* The shot's display window at `scale`. */
struct rect shot_window(const struct shot *shot, int scale);

#endif
