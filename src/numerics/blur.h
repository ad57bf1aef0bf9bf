/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Gaussian blur of one plane by direct convolution: sampled Gaussian, cut at ⌈3 sigma⌉ pixels and normalised. The
 * result at a pixel depends on its neighbourhood alone, so strips and tiles fit together bit by bit.
 */
#ifndef NUMERICS_BLUR_H
#define NUMERICS_BLUR_H

#include <passel/error.h>

#include "base/arena.h"
#include "picture/picture.h"

#define BLUR_SIGMA_LIMIT 500.0

/* How many pixels the blur reaches: ⌈3 sigma⌉; 0 when sigma ≤ 0. */
int blur_radius(double sigma);

/* The weights at 0 … blur_radius(sigma), `weights` holding one more than that; the two-sided sum is 1. */
void blur_weights(double sigma, double *weights);

/* Blurs plane `plane` of `in` into the same plane of `out` (another memory). Where in->area ends, its edge is held: it
 * must be out->area grown by the radius, or end at the true border. sigma: 0 … BLUR_SIGMA_LIMIT; 0 copies. Cost per
 * pixel: 2 radius + 2 multiplications. PASSEL_NO_MEMORY when scratch is out. */
enum passel_status blur_plane(const struct picture *out, const struct picture *in, enum plane plane, double sigma,
                              struct arena *scratch, struct passel_error *error);

#endif
