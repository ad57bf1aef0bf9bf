/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A map of the plane told by where the four corners of a rectangle go.
 */
#ifndef KINDS_CORNERS_H
#define KINDS_CORNERS_H

#include <stdbool.h>

#include "numerics/register.h"
#include "picture/geometry.h"

/* The map of the unit square (0 0, 1 0, 1 1, 0 1) onto four corners (Heckbert 1989). False unless they are convex. */
bool square_to_corners(const double corner[8], struct transform *t);

/* Where the corners of `window` go: top left, top right, bottom right, bottom left. */
void corners_of_map(const struct transform *map, struct rect window, double corner[8]);
/* The map of a model that comes nearest to bringing the corners of `window` there. False unless they are convex. */
bool map_of_corners(const double corner[8], struct rect window, enum register_model model, struct transform *map);

#endif
