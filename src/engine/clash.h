/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Outputs that would be written over what must stay: another output, or a pass that the recipe reads. A pass of another
 * frame counts as well, since it would be gone before its turn.
 */
#ifndef ENGINE_CLASH_H
#define ENGINE_CLASH_H

#include "engine/graph.h"

/* Looks at one output of a graph whose blocks have been made, at every frame of the shot. */
enum passel_status clash_find(const struct graph *graph, const struct output *output, struct passel_error *error);

#endif
