/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Whether two recipes mean the same, wherever things stand in their texts.
 */
#ifndef TESTS_RECIPE_SAME_H
#define TESTS_RECIPE_SAME_H

#include "language/recipe.h"

/* NULL when both mean the same, else a word for the first thing in which they differ. */
const char *recipe_difference(const struct recipe *a, const struct recipe *b);

#endif
