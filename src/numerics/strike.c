/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "numerics/strike.h"

#include <math.h>

#include "numerics/seeded.h"
#include "picture/function.h"

enum series { SERIES_GAP, SERIES_SIZE };

/* The gaps behind the strokes are cut from the length in chance shares, the last one longer: the afterglow. */
void strike_make(struct strike *strike, uint64_t seed)
{
    double shares[STROKES_MOST], sum = 0;
    for (int i = 0; i < strike->count; i++) {
        shares[i] = 0.3 + seeded_share(seed, SERIES_GAP, i) + (i == strike->count - 1 ? 0.7 : 0);
        sum += shares[i];
    }
    double end = 0;
    strike->stroke_at[0] = 0;
    strike->stroke_size[0] = 1;
    for (int i = 1; i < strike->count; i++) {
        end += shares[i - 1] / sum * strike->length;
        const double earliest = strike->stroke_at[i - 1] + STROKE_GAP;
        const double latest = floor(strike->length - STROKE_GAP * (strike->count - i));
        strike->stroke_at[i] = fmin(fmax(floor(end + 0.5), earliest), latest);
        strike->stroke_size[i] = 0.3 + 0.5 * seeded_share(seed, SERIES_SIZE, i);
    }
}

/* Light of a stroke `t` frames behind its peak: halves every eighth of the time it has left to the end of the
 * discharge, but at least twice as fast as frames pass; shifted so that it is 0 at the end. */
static double decay(double t, double left)
{
    const double half = fmax(left / 8, 0.5);
    const double rest = function_exp2(-left / half);
    return fmax((function_exp2(-t / half) - rest) / (1 - rest), 0);
}

static double stroke_at(const struct strike *strike, int i, double t)
{
    if (t >= 0)
        return decay(t, strike->length - strike->stroke_at[i]);
    const double rise = i == 0 ? strike->rise : 1;
    return fmax(1 + t / rise, 0);
}

/* The strokes share one channel: it shines as the brightest of them does. */
double strike_at(const struct strike *strike, double frame)
{
    const double t = frame - strike->at;
    double most = 0;
    if (t >= strike->length)
        return 0;
    for (int i = 0; i < strike->count; i++)
        most = fmax(most, strike->stroke_size[i] * stroke_at(strike, i, t - strike->stroke_at[i]));
    return strike->peak * most;
}
