/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Monotone cubic pieces.
 *
 * Why slopes of 0 … 3 secants are enough: write a piece as a + (b - a) · s(t) with s(0) = 0, s(1) = 1 and end slopes p
 * and q in units of the secant. s' is a quadratic with the Bernstein coefficients p, c, q; its integral
 * (p + c + q) / 3 is 1, so c = 3 - p - q. With p, q ≥ 0 it is negative nowhere when c ≥ -√(p q), that is
 * u² + v² - u v ≤ 3 with u = √p, v = √q. The left side is convex, so over the square 0 … √3 it is largest in a corner,
 * and there it is 0 or 3.
 */
#include "numerics/curve.h"

#include <math.h>

double curve_slope(double before, double width_before, double after, double width_after)
{
    if (!((before > 0 && after > 0) || (before < 0 && after < 0)))
        return 0;
    const double weight_before = width_before + 2 * width_after;
    const double weight_after = 2 * width_before + width_after;
    return (weight_before + weight_after) / (weight_before / before + weight_after / after);
}

double curve_slope_limit(double slope, double secant)
{
    if (!((slope > 0 && secant > 0) || (slope < 0 && secant < 0)))
        return 0;
    return fabs(slope) > 3 * fabs(secant) ? 3 * secant : slope;
}

double curve_cubic(double a, double slope_a, double b, double slope_b, double width, double t)
{
    const double rest = 1 - t;
    const double from_a = rest * rest * (1 + 2 * t);
    const double from_b = t * t * (1 + 2 * rest);
    const double bend = rest * t * width * (rest * slope_a - t * slope_b);
    /* The clamp takes away the last digit's rounding, and the NaN that slopes of huge numbers could give. */
    return fmin(fmax(from_a * a + from_b * b + bend, fmin(a, b)), fmax(a, b));
}
