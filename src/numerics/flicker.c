/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "numerics/flicker.h"

#include <math.h>

#include "numerics/seeded.h"

enum { OCTAVES = 7 }; /* the slowest is 64 times slower than the fastest */

#define SQRT3 1.7320508075688772 /* an even number in -1 … 1 has the variance 1/3 */

/* One octave at `x`, where whole numbers are its free values: variance 1 everywhere, since the two shares of the
 * values on either side are divided by the root of the sum of their squares. */
static double octave_at(uint64_t seed, int octave, double x)
{
    const double whole = floor(x), t = x - whole;
    const double share = t * t * (3 - 2 * t);
    const double a = 2 * seeded_share(seed, (uint64_t)octave, (int64_t)whole) - 1;
    const double b = 2 * seeded_share(seed, (uint64_t)octave, (int64_t)whole + 1) - 1;
    return SQRT3 * (a * (1 - share) + b * share) / sqrt(share * share + (1 - share) * (1 - share));
}

double flicker_at(const struct flicker *flicker, double frame)
{
    double sum = 0, span = flicker->fastest;
    for (int octave = 0; octave < OCTAVES; octave++, span *= 2) {
        /* Octaves turn at different places, or every 64th frame would be the free value of all. */
        const double shift = octave == 0 ? 0 : seeded_share(flicker->seed, OCTAVES, octave);
        sum += octave_at(flicker->seed, octave, frame / span + shift);
    }
    return fmin(fmax(sum / sqrt(OCTAVES), -FLICKER_MOST), FLICKER_MOST);
}
