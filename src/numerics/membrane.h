/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A membrane spanned between known values: Laplace's equation. It is what carries the difference of two pictures from
 * their common border into the part that one of them fills, so that the gradients of the filler stay as they are.
 */
#ifndef NUMERICS_MEMBRANE_H
#define NUMERICS_MEMBRANE_H

#include <passel/error.h>
#include <stdint.h>

/* In each of the `count` planes (height * width, row-major), values of weight 0 become those of a membrane through the
 * values of weight > 0, which stay as they are; at the edge of the grid it is free. `pull` ≥ 0 draws it to 0: it dies
 * away over about 1 / sqrt(pull) grid steps. Without any known value the planes become 0. Solved from coarse to fine
 * (Gauss-Seidel, in a fixed order); a wave as long as a few steps is right to 1 %, longer ones to 0.3 %. */
enum passel_status membrane_fill(float *const *planes, int count, const float *weight, int32_t width, int32_t height,
                                 float pull, struct passel_error *error);

#endif
