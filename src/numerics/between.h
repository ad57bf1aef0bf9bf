/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Smaller and larger of two numbers for pixel loops: fminf and fmaxf are calls, because of what they promise about NaN,
 * and keep loops from vectorising. There are no NaNs in pictures.
 */
#ifndef NUMERICS_BETWEEN_H
#define NUMERICS_BETWEEN_H

#include <stdint.h>

static inline float smaller(float a, float b)
{
    return a < b ? a : b;
}

static inline float larger(float a, float b)
{
    return a > b ? a : b;
}

/* `value`, kept within least … most. */
static inline float between(float value, float least, float most)
{
    return value < least ? least : value > most ? most : value;
}

/* The same for places in a picture. */
static inline int32_t place_between(int32_t place, int32_t least, int32_t most)
{
    return place < least ? least : place > most ? most : place;
}

/* The nearest of the places 0 … count - 1. */
static inline int32_t place_held(int32_t place, int32_t count)
{
    return place_between(place, 0, count - 1);
}

#endif
