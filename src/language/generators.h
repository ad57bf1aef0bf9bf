/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What a curve holds besides keys: strikes, which are added to it, and flickers, which multiply it.
 */
#ifndef LANGUAGE_GENERATORS_H
#define LANGUAGE_GENERATORS_H

#include "numerics/flicker.h"
#include "numerics/strike.h"

struct lamp_flicker {
    struct flicker noise;
    double stops; /* standard deviation as a power of two, or 0 */
    double share; /* standard deviation as a plain share, or 0 */
};

struct generators {
    int strike_count, flicker_count;
    const struct strike *strikes;
    const struct lamp_flicker *flickers;
};

/* The curve at `frame` when its keys alone give `keys`. */
double generators_at(const struct generators *generators, double keys, double frame);

/* The same without flicker. */
double generators_steady(const struct generators *generators, double keys, double frame);

/* The least and the largest factor that the flickers can give. */
void generators_swing(const struct generators *generators, double *least, double *most);

#endif
