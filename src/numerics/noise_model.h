/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * How noisy a camera's pictures are: the variance of a pixel grows with its light, var = gain · level + floor (photon
 * noise and read noise; Foi, Trimeche, Katkovnik, Egiazarian 2008). Measured from the pictures themselves, in blocks
 * that hold nothing but noise and a slope; texture makes a block look noisier, so the quiet ones are believed.
 */
#ifndef NUMERICS_NOISE_MODEL_H
#define NUMERICS_NOISE_MODEL_H

#include <passel/error.h>
#include <stddef.h>

#include "picture/picture.h"

struct noise {
    float gain, floor; /* both ≥ 0; floor is never below NOISE_FLOOR_LEAST */
};

#define NOISE_FLOOR_LEAST 1e-9F

struct noise_block;

/* Blocks gathered from one or several pictures of one camera. Zeroed is empty. */
struct noise_samples {
    struct noise_block *blocks;
    size_t count, room;
};

/* Adds the blocks of a plane (area at least 16x16 to add any). */
enum passel_status noise_gather(struct noise_samples *samples, const struct picture *picture, enum plane plane,
                                struct passel_error *error);
/* Adds all of `more`. */
enum passel_status noise_join(struct noise_samples *samples, const struct noise_samples *more,
                              struct passel_error *error);
/* The model that fits them; sorts the samples. Without a usable block: gain 0 and the least floor. */
struct noise noise_fit(struct noise_samples *samples);
/* The middle one of the levels of samples that have been fitted; there must be some. */
float noise_level(const struct noise_samples *samples);
void noise_samples_release(struct noise_samples *samples);

/* Variance at a level of light. */
static inline float noise_variance(struct noise noise, float level)
{
    return noise.gain * (level > 0 ? level : 0) + noise.floor;
}

#endif
