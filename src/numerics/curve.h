/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Smooth curves through given points that never swing beyond them.
 */
#ifndef NUMERICS_CURVE_H
#define NUMERICS_CURVE_H

/*
 * The slope of a monotone curve at a point between two spans: `before` and `after` are the secants (rise per unit) of
 * the spans on either side and `width_before`, `width_after` (> 0) their widths. The answer has the sign of both, is 0
 * at a turning point, and is at most three times the flatter secant.
 *
 * Source: F. N. Fritsch and J. Butland, "A method for constructing local monotone piecewise cubic interpolants",
 * SIAM J. Sci. Stat. Comput. 5 (1984): the weighted harmonic mean of the two secants.
 */
double curve_slope(double before, double width_before, double after, double width_after);

/* `slope` brought into the range that keeps a span with this secant monotone: 0 … 3 · secant. */
double curve_slope_limit(double slope, double secant);

/*
 * The cubic that leaves `a` with slope `slope_a` and reaches `b` with `slope_b` over a span of `width`, at the part
 * `t` (0 … 1) of the span. The answer never leaves the range between a and b.
 */
double curve_cubic(double a, double slope_a, double b, double slope_b, double width, double t);

#endif
