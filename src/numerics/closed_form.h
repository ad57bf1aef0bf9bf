/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Alpha where it is not known, from a picture and the alpha around: closed-form matting (A. Levin, D. Lischinski,
 * Y. Weiss, "A closed-form solution to natural image matting", PAMI 30, 2008). In every window of 3 x 3 pixels alpha is
 * taken for an affine function of colour, as it is where foreground and background each have colours along a line.
 *
 * The least squares problem is solved by conjugate gradients, preconditioned with a multigrid cycle on halved pictures
 * (P. G. Lee, Y. Wu, "Scalable matting: a sub-linear approach", 2014, has such grids), so that the cost is nearly
 * linear in the number of unknown pixels. All sums run in a fixed order: same planes, same bits.
 */
#ifndef NUMERICS_CLOSED_FORM_H
#define NUMERICS_CLOSED_FORM_H

#include <passel/error.h>
#include <stdint.h>

#include "picture/picture.h"

/*
 * Replaces plane A of `matte` where `unknown` (one byte a pixel, rows of the matte's width) is not 0, and keeps it
 * elsewhere. `guide` has R, G and B over the same area. `epsilon` is the variance of colour in a window, times 9, below
 * which colour says nothing: 1e-7 to 1e-5 for clean pictures. Results are held inside 0 … 1. *steps, when not NULL, is
 * how many steps were taken.
 */
enum passel_status closed_form_solve(const struct picture *matte, const struct picture *guide, const uint8_t *unknown,
                                     float epsilon, int *steps, struct passel_error *error);

/* out = L a for the whole area, L being the matting Laplacian of the guide; plane A of both. */
enum passel_status closed_form_apply(const struct picture *out, const struct picture *a, const struct picture *guide,
                                     float epsilon, struct passel_error *error);

#endif
