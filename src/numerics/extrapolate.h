/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Continues values on a grid past where they are known: value and slope go on smoothly, then fade to zero.
 */
#ifndef NUMERICS_EXTRAPOLATE_H
#define NUMERICS_EXTRAPOLATE_H

#include <passel/error.h>
#include <stdint.h>

/* values[height * width], row-major, becomes the f that makes
 *   Σ trust (f - values)² + Σ (f_xx² + 2 f_xy² + f_yy²) + 2 / length² Σ |grad f|² + 1 / length⁴ Σ f²
 * smallest: a bent plate on springs, which far from what is known falls off as (a + b x) exp(-x / length). Lengths are
 * in grid steps; trust ≥ 0, 0 where nothing is known. Conjugate gradients from f = 0, at most EXTRAPOLATE_STEPS, in
 * double and in a fixed order. length ≥ 1. */
enum passel_status extrapolate(double *values, const double *trust, int32_t width, int32_t height, double length,
                               struct passel_error *error);

#define EXTRAPOLATE_STEPS 400

#endif
