/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Keys over frames. A smooth part is a monotone cubic: at each key that touches one, the slope is chosen so that the
 * curve goes on as its other side does – level beside a hold and beyond the ends (ends hold), along a straight part, or
 * with the slope that suits two smooth parts – and never so steep that it would swing beyond its keys.
 */
#include <math.h>

#include "language/generators.h"
#include "language/parser.h"
#include "numerics/curve.h"

static double number_of(const struct track *track, int key, int component)
{
    return track->numbers[(size_t)key * (size_t)track->width + (size_t)component];
}

/* Rise per frame from `key` to the next one. */
static double secant(const struct track *track, int key, int component)
{
    const double width = track->frames[key + 1] - track->frames[key];
    return (number_of(track, key + 1, component) - number_of(track, key, component)) / width;
}

static bool leaves(const struct track *track, int key, enum leaving how)
{
    return key >= 0 && key + 1 < track->count && track->leave[key] == how;
}

static double slope_at(const struct track *track, int key, int component)
{
    const bool smooth_before = leaves(track, key - 1, LEAVE_SMOOTH), smooth_after = leaves(track, key, LEAVE_SMOOTH);
    if (smooth_before && smooth_after)
        return curve_slope(secant(track, key - 1, component), track->frames[key] - track->frames[key - 1],
                           secant(track, key, component), track->frames[key + 1] - track->frames[key]);
    if (smooth_after && leaves(track, key - 1, LEAVE_LINEAR))
        return curve_slope_limit(secant(track, key - 1, component), secant(track, key, component));
    if (smooth_before && leaves(track, key, LEAVE_LINEAR))
        return curve_slope_limit(secant(track, key, component), secant(track, key - 1, component));
    return 0;
}

void track_slopes(const struct track *track, double *slopes)
{
    for (int key = 0; key < track->count; key++)
        for (int i = 0; i < track->width; i++)
            slopes[(size_t)key * (size_t)track->width + (size_t)i] = slope_at(track, key, i);
}

struct track *track_make(struct parser *parser, int count, int width, const double *frames, const double *numbers,
                         const enum leaving *leave)
{
    struct track *track = parser_array(parser, 1, sizeof *track);
    double *slopes = parser_array(parser, (size_t)count * (size_t)width, sizeof *slopes);
    if (track == NULL || slopes == NULL)
        return NULL;
    *track = (struct track){
        .count = count, .width = width, .frames = frames, .numbers = numbers, .leave = leave, .slopes = slopes
    };
    track_slopes(track, slopes);
    return track;
}

/* The last key at or before `frame`, which lies within the keys. */
static int key_before(const struct track *track, double frame)
{
    int low = 0, high = track->count - 1;
    while (low < high) {
        const int middle = low + (high - low + 1) / 2;
        if (track->frames[middle] <= frame)
            low = middle;
        else
            high = middle - 1;
    }
    return low;
}

double track_keys_at(const struct track *track, int component, double frame)
{
    if (component >= track->width)
        component = track->width - 1;
    if (!(frame > track->frames[0]))
        return number_of(track, 0, component);
    const int key = key_before(track, frame);
    const double a = number_of(track, key, component);
    if (key == track->count - 1 || track->leave[key] == LEAVE_HOLD)
        return a;
    const double b = number_of(track, key + 1, component);
    const double width = track->frames[key + 1] - track->frames[key];
    const double t = (frame - track->frames[key]) / width;
    if (track->leave[key] == LEAVE_LINEAR)
        return fmin(fmax(a * (1 - t) + b * t, fmin(a, b)), fmax(a, b));
    const double *slopes = track->slopes + (size_t)key * (size_t)track->width + (size_t)component;
    return curve_cubic(a, slopes[0], b, slopes[track->width], width, t);
}

double track_at(const struct track *track, int component, double frame)
{
    const double keys = track_keys_at(track, component, frame);
    return track->generators != NULL ? generators_at(track->generators, keys, frame) : keys;
}
