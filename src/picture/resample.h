/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What the ways of resampling share: the task, and which pixel stands in for one outside.
 */
#ifndef PICTURE_RESAMPLE_H
#define PICTURE_RESAMPLE_H

#include <stddef.h>

#include "picture/geometry.h"
#include "picture/kernel.h"

struct resampling {
    const struct picture *out, *in;
    struct rect data; /* the input's window */
    struct rect here; /* the part of it that is in memory */
    bool hold;
    const struct transform *t;
    enum filter filter;
    struct kernel kernel; /* unless FILTER_NEAREST */
};

/* Rows stay rows and columns columns: tables of weights for both. */
enum passel_status resample_upright(const struct resampling *task, struct passel_error *error);
/* Any transform, pixel by pixel. */
enum passel_status resample_turned(const struct resampling *task, struct passel_error *error);

/* Keeps a position from running so far from the window [first, end) that nothing changes any more; `pad` is how far
 * taps reach from it. With spline coefficients it stops at the outermost pixel's centre, where the edge's value is. */
double resample_clamp(const struct resampling *task, double position, int32_t first, int32_t end, double pad);

/* The pixel of [first, end) that stands in for pixel i: the nearest, or the mirrored one of spline coefficients. */
int32_t resample_stand_in(const struct resampling *task, int32_t i, int32_t first, int32_t end);

/* What a plane is worth that the input does not have. */
float resample_missing(int plane);

/* The pixel of [first, end) nearest to pixel i. */
static inline int32_t resample_inside(int32_t i, int32_t first, int32_t end)
{
    return i < first ? first : i >= end ? end - 1 : i;
}

/* The weighted sum of `count` samples, in four lanes, always in the same order. */
static inline float resample_dot(const float *weights, const float *samples, int count)
{
    float sum[4] = { 0, 0, 0, 0 };
    int i = 0;
    for (; i + 4 <= count; i += 4)
        for (int lane = 0; lane < 4; lane++)
            sum[lane] += weights[i + lane] * samples[i + lane];
    for (int lane = 0; i + lane < count; lane++)
        sum[lane] += weights[i + lane] * samples[i + lane];
    return (sum[0] + sum[2]) + (sum[1] + sum[3]);
}

#endif
