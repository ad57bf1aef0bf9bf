/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The grain of a plate: how strong it is at each level of light, how far it is alike in neighbouring pixels and in the
 * three colours; and new grain of that kind.
 */
#ifndef NUMERICS_GRAIN_H
#define NUMERICS_GRAIN_H

#include <passel/error.h>
#include <stdint.h>

#include "numerics/noise_model.h"

#define GRAIN_LEVELS 8

/* At a level of light, how many times the variance is what the noise model says. */
struct grain_level {
    float level, times;
};

struct grain {
    struct noise noise[3]; /* what a pixel varies by, as the finest detail tells: white grain of that look */
    struct grain_level levels[3][GRAIN_LEVELS]; /* rising; a processed picture does not follow the model */
    int level_count[3];
    float across[3], down[3]; /* neighbours' share b: grain is white noise through b, 1, b over sqrt(1 + 2 b²) */
    float strength[3];        /* of such grain that looks as strong in the finest detail as white grain of strength 1 */
    float common;             /* share of the grain's variance that is the same in R, G and B */
};

/* Measures grain in R, G, B of a picture, in `count` parts of it, which lie in its area. `known`, when it is not NULL,
 * is 0 where the picture does not count (plane A; covers the parts). What is too small or too lively for it has white
 * grain of the variance found. */
enum passel_status grain_measure(struct grain *grain, const struct picture *picture, const struct picture *known,
                                 const struct rect *parts, int count, struct passel_error *error);

/* Grain of a row, to be added: out[c][i] belongs to pixel (x0 + i, y), whose light without grain is light[c][i]. NULL
 * planes are left out. `room` holds 4 * 3 * (count + 2) floats. The same for the same seed and place. */
void grain_row(const struct grain *grain, uint64_t seed, int32_t x0, int32_t y, int32_t count,
               const float *const light[3], float *const out[3], float *room);

#endif
