/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The least or the largest value under a disc of any radius, for mattes that are choked or spread by fractions of a
 * pixel.
 *
 * The plane is taken as the surface that runs linearly between pixel centres (bilinear). Every level line of it is
 * moved by `radius`, measured at right angles, so a soft edge keeps its profile and a thin hair fades instead of
 * breaking: this is the exact Euclidean offset of the 50 % line and of all other lines at once. The rim of the disc is
 * looked at in so many places that the offset is right within 0.016 pixel. In flat parts values stay as they are, to
 * the bit.
 */
#ifndef NUMERICS_DISC_H
#define NUMERICS_DISC_H

#include <passel/error.h>

#include "base/arena.h"
#include "picture/picture.h"

enum disc_side { DISC_LEAST, DISC_LARGEST };

#define DISC_RADIUS_LIMIT 1000.0

/* How many pixels the disc reaches: ⌈radius⌉; 0 when radius ≤ 0. */
int disc_reach(double radius);

/* Filters plane `plane` of `in` into the same plane of `out` (another memory). Where in->area ends, its edge is held:
 * it must be out->area grown by disc_reach, or end at the true border. radius: 0 … DISC_RADIUS_LIMIT; 0 copies. The
 * result at a pixel depends on its neighbourhood alone. PASSEL_NO_MEMORY when scratch is out. */
enum passel_status disc_plane(const struct picture *out, const struct picture *in, enum plane plane,
                              enum disc_side side, double radius, struct arena *scratch, struct passel_error *error);

#endif
