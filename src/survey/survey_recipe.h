/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#ifndef SURVEY_SURVEY_RECIPE_H
#define SURVEY_SURVEY_RECIPE_H

#include "language/recipe.h"
#include "survey/clips.h"

/* The passes of a recipe as clips below its folder, in its order, and their blocks' names in *labels (for memory_free;
 * the names are the recipe's). A pass without files becomes a clip without frames. For clip_list_release. */
enum passel_status clips_of_recipe(const struct recipe *recipe, struct clip_list *list, const char ***labels,
                                   struct passel_error *error);

#endif
