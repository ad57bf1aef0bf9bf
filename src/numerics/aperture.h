/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What a round aperture out of focus does to one plane: every point becomes an even disc. Direct sums over the disc's
 * rows, so that the result at a pixel depends on its neighbourhood alone.
 */
#ifndef NUMERICS_APERTURE_H
#define NUMERICS_APERTURE_H

#include <passel/error.h>

#include "base/arena.h"
#include "picture/picture.h"

#define APERTURE_RADIUS_LIMIT 64.0

/* How many pixels a disc of this radius reaches; 0 when radius ≤ 0. */
int aperture_reach(double radius);

/* Lays a disc of `radius` pixels (0 … APERTURE_RADIUS_LIMIT; its rim anti-aliased over one pixel; its weights sum to 1)
 * over plane `plane` of `in` into the same plane of `out` (another memory). Where in->area ends, its edge is held: it
 * must be out->area grown by the reach, or end at the true border. radius 0 copies. Cost per pixel: about
 * pi radius² additions. PASSEL_NO_MEMORY when scratch is out. */
enum passel_status aperture_plane(const struct picture *out, const struct picture *in, enum plane plane, double radius,
                                  struct arena *scratch, struct passel_error *error);

#endif
