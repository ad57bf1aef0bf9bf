/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Geometry of a picture: a transform of the plane and one resampling through it.
 */
#ifndef PICTURE_GEOMETRY_H
#define PICTURE_GEOMETRY_H

#include <passel/error.h>
#include <stdbool.h>

#include "picture/picture.h"

enum filter { FILTER_NEAREST, FILTER_LINEAR, FILTER_MITCHELL, FILTER_LANCZOS, FILTER_SPLINE };

/* m maps an output position (column vector x, y, 1; pixels, pixel centres at half-integers) to the input position,
 * row-major, up to scale (a homography; an affine map has 0 0 1 in the last row). */
struct transform {
    double m[9];
};

struct transform transform_identity(void);
/* First `a` then `b`, seen from output to input: x_in = b(a(x_out)). */
struct transform transform_chain(struct transform a, struct transform b);
bool transform_invert(struct transform t, struct transform *inverse); /* false when singular */
void transform_point(const struct transform *t, double x, double y, double *in_x, double *in_y);
/* True (and the amount) when t only moves by whole pixels: x_in = x_out + *dx. */
bool transform_is_shift(const struct transform *t, int32_t *dx, int32_t *dy);

/* t itself, or a hair beside it (1e-8 pixels) when it moves by whole pixels: so that it is resampled, not copied. */
struct transform transform_resampled(struct transform t);

/* Where `input` comes to lie, outward to whole pixels: outside of it no pixel is covered, whatever the filter. */
struct rect transform_reach_out(const struct transform *t, enum filter filter, struct rect input);
/* Which input pixels resampling needs to fill `output`. */
struct rect transform_reach_in(const struct transform *t, enum filter filter, struct rect output);
/* The part of `data` that stands in for `reach` when edges hold: reach cut to data, and at least the nearest edge. */
struct rect reach_held(struct rect reach, struct rect data);

/* True when resampling by t reads spline coefficients (spline_prepare): FILTER_SPLINE, and not a whole-pixel move. */
bool transform_wants_spline(const struct transform *t, enum filter filter);

/* Replaces the planes of a whole picture by their quintic B-spline coefficients (recursive prefilter; the picture is
 * mirrored at its border, so that the edge pixel repeats). For FILTER_SPLINE, once per picture. */
enum passel_status spline_prepare(const struct picture *picture, struct passel_error *error);

/* Fills `out` from `in` through t. `in` holds what transform_reach_in says, cut to `data` (the input's data window),
 * with `hold` what reach_held says; when transform_wants_spline, `in` holds the coefficients (spline_prepare) of all
 * of `data`. A plane A that `in` lacks counts as 1, a missing colour as 0.
 * With `hold` positions outside `data` take its nearest edge pixel; else they are transparent: colour and alpha are
 * multiplied by the exact share of the output pixel that `data` covers (premultiplied: no fringe).
 * Where t makes the picture smaller, the filter is widened (area support) in proportion: along the axes of the
 * reduction, up to 64 times (4096 times when rows stay rows). FILTER_NEAREST takes one pixel and never mixes.
 * Whole-pixel moves copy bits. */
enum passel_status picture_resample(const struct picture *out, const struct picture *in, struct rect data, bool hold,
                                    const struct transform *t, enum filter filter, struct passel_error *error);

/* After a resampling by FILTER_SPLINE from coefficients: where one of 0.9 and more lies within seven pixels of a
 * position and is more than four times as bright as the pixels around it, the value is kept within the range of these
 * and what their bend allows. Colours only, and only where alpha is 1; less and less as the picture gets smaller, and
 * not at all from half size on. */
enum passel_status picture_limit_ringing(const struct picture *out, const struct picture *in, struct rect data,
                                         const struct transform *t, struct passel_error *error);

#endif
