/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The middle one of a few values.
 */
#ifndef NUMERICS_MIDDLE_H
#define NUMERICS_MIDDLE_H

/* The value with index count / 2 in rising order; the values are put in that order. For a few dozen. */
static inline float middle_of_few(float *values, int count)
{
    for (int i = 1; i < count; i++) {
        const float value = values[i];
        int k = i;
        for (; k > 0 && values[k - 1] > value; k--)
            values[k] = values[k - 1];
        values[k] = value;
    }
    return values[count / 2];
}

#endif
