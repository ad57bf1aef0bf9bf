/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Taylor series on a range where they converge quickly, after a reduction that is exact.
 */
#include "numerics/elementary.h"

#include <math.h>

static const double ln_2 = 0.69314718055994530942;
static const double radians_per_degree = 0.017453292519943295769;

double power_of_two(double x)
{
    if (x < -1000)
        return 0;
    const double whole = floor(fmin(x, 1000) + 0.5);
    const double y = (fmin(x, 1000) - whole) * ln_2;
    double sum = 1;
    for (int k = 18; k > 0; k--)
        sum = 1 + sum * y / k;
    return ldexp(sum, (int)whole);
}

/* cos and sin for |degrees| ≤ 45. */
static void series(double degrees, double *cosine, double *sine)
{
    const double x = degrees * radians_per_degree;
    double c = 1, s = 1;
    for (int k = 18; k > 0; k -= 2) {
        c = 1 - c * x * x / (k * (k - 1));
        s = 1 - s * x * x / (k * (k + 1));
    }
    *cosine = c;
    *sine = s * x;
}

void direction_of(double degrees, double *cosine, double *sine)
{
    const double turn = fmod(degrees, 360);
    const double quarters = floor(turn / 90 + 0.5);
    double c, s;
    series(turn - 90 * quarters, &c, &s);
    switch (((int)quarters % 4 + 4) % 4) {
    case 0:
        *cosine = c, *sine = s;
        break;
    case 1:
        *cosine = -s, *sine = c;
        break;
    case 2:
        *cosine = -c, *sine = -s;
        break;
    default:
        *cosine = s, *sine = -c;
        break;
    }
}
