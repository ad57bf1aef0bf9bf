/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Holes and specks of a matte: parts that hang together and are small.
 */
#ifndef NUMERICS_COMPONENTS_H
#define NUMERICS_COMPONENTS_H

#include <passel/error.h>

#include "picture/picture.h"

/* Sides of a picture, at most; parts are counted in 16 bits. */
#define COMPONENTS_SIDE 65536

/*
 * Fills holes of plane `plane`, in place. A hole at level t, 0.5 < t ≤ 1, is a part of the pixels below t that hang
 * together by their sides, that does not touch the edge of the picture (it might go on there), and that is less than
 * `across` pixels wide and high. Every pixel is raised to the highest t at which it lies in a hole; all others keep
 * their bits. So a soft hole is filled up to its rim, whatever its depth, and no threshold cuts it.
 *
 * One pass over the pixels in the order of their values with a union-find (M. H. F. Wilkinson, J. B. T. M. Roerdink,
 * "Fast morphological attribute operations using Tarjan's union-find algorithm", ISMM 2000): the cost grows with the
 * number of pixels, not with `across`.
 */
enum passel_status components_fill_holes(const struct picture *picture, enum plane plane, double across,
                                         struct passel_error *error);

/* The same for what is above t, 0 ≤ t < 0.5, hangs together by sides and corners, and is lowered: a wire that goes up
 * askew is one thing, and what it fences off are two. */
enum passel_status components_drop_specks(const struct picture *picture, enum plane plane, double across,
                                          struct passel_error *error);

#endif
