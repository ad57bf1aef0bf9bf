/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The unrest of a flame or a worn lamp: 1/f noise over frames, as much in every octave of speed. It follows from the
 * seed and the frame alone.
 *
 * Source: R. F. Voss, J. Clarke, "1/f noise in music", J. Acoust. Soc. Am. 63 (1978), and M. Gardner, "White and brown
 * music", Scientific American 238 (April 1978): a sum of chance numbers that are drawn anew every 1, 2, 4, 8 … frames
 * has such a spectrum.
 */
#ifndef NUMERICS_FLICKER_H
#define NUMERICS_FLICKER_H

#include <stdint.h>

struct flicker {
    uint64_t seed;
    double fastest; /* frames from one free value to the next, > 0 */
};

/* flicker_at never leaves -FLICKER_MOST … FLICKER_MOST. */
#define FLICKER_MOST 2.5

/* The unrest at a frame (fractions too): mean 0, standard deviation 1 over many seeds and frames. */
double flicker_at(const struct flicker *flicker, double frame);

#endif
