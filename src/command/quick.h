/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Quick pictures: a recipe's outputs small, as PNG through the view curve, in a folder `quick` beside the finished
 * frames.
 */
#ifndef COMMAND_QUICK_H
#define COMMAND_QUICK_H

#include <passel/passel.h>

#include "engine/graph.h"

/* "full", "half", "quarter" → 1, 2, 4; 0 for any other word. */
int quick_size(const char *word);
/* The size that leaves a shot between 480 and 960 pixels wide, as far as 1, 2 and 4 go. */
int quick_size_for(int32_t width);
const char *quick_size_name(int scale);

/* The recipe as previews. `scale` 0: quick_size_for. */
enum passel_status quick_graph(const struct passel_recipe *recipe, int scale, struct graph **graph,
                               struct passel_error *error);

#endif
