/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Continues values on a grid past where they are known: value and slope go on smoothly, then level out.
 */
#ifndef NUMERICS_EXTRAPOLATE_H
#define NUMERICS_EXTRAPOLATE_H

#include <passel/error.h>
#include <stdint.h>

/* What a field costs, per grid step. */
struct extrapolate_law {
    double bend;                 /* of f_xx² + 2 f_xy² + f_yy²; 0: a membrane, whose slope does not go on */
    double slope;                /* of |grad f|²; above 0 */
    double stretch_x, stretch_y; /* times as dear is a slope in that direction; 1, 1: the same in all. Dear ones are
                                    evened out, cheap ones go on as they are */
};

/* Each of the `count` fields (height * width, row-major) holds values and becomes the f that makes
 *   Σ trust (f - value)² + bend Σ (f_xx² + 2 f_xy² + f_yy²) + slope Σ |grad f|²
 * smallest, x and y measured in stretched steps: a thin plate under tension. Beyond a straight border it goes on as
 * v + s length (1 - exp(-x / length)), v and s being value and slope there and length = sqrt(bend / slope). trust ≥ 0,
 * and 0 where nothing is known (the value is then not read). Without any trust the fields become 0. A direct solution,
 * in double and in a fixed order; it costs about width * height * (2 min(width, height))² multiplications, a quarter of
 * that without bending. */
enum passel_status extrapolate(double *const *fields, int count, const double *trust, int32_t width, int32_t height,
                               const struct extrapolate_law *law, struct passel_error *error);

#endif
