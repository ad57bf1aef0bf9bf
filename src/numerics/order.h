/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Values in rising order, and the middle one of a few.
 */
#ifndef NUMERICS_ORDER_H
#define NUMERICS_ORDER_H

/* For qsort. */
static inline int rising_floats(const void *a, const void *b)
{
    const float x = *(const float *)a, y = *(const float *)b;
    return (x > y) - (x < y);
}

static inline int rising_doubles(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

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
