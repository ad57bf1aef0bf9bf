/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * One discharge of lightning: a first stroke, the brightest, and re-strikes through the same channel at chance times,
 * each with a steep rise and a decay. It follows from its numbers and the frame alone.
 *
 * Source: V. A. Rakov, M. A. Uman, "Lightning: Physics and Effects", Cambridge 2003, chapters 1 and 4: three to five
 * strokes in most discharges, some 60 ms apart in the (geometric) mean and scattered widely, later ones about half as
 * strong as the first, in all some 200 to 300 ms and longer with continuing current. Stretched here at wish: a
 * miniature is not in a hurry.
 */
#ifndef NUMERICS_STRIKE_H
#define NUMERICS_STRIKE_H

#include <stdint.h>

enum { STROKES_MOST = 16 };

/* Re-strikes stand at least this many frames behind the stroke before, so that there is a darker frame between. */
#define STROKE_GAP 2

struct strike {
    double at;                        /* the frame of the first peak */
    double peak;                      /* the largest value, reached there */
    double length;                    /* frames from the first peak until it is dark again, ≥ STROKE_GAP * count */
    double rise;                      /* frames from dark to the first peak, > 0 */
    int count;                        /* strokes, 1 … STROKES_MOST */
    double stroke_at[STROKES_MOST];   /* frames behind the first peak, whole, rising from 0 */
    double stroke_size[STROKES_MOST]; /* shares of the peak, the first 1 */
};

/* Sets stroke_at and stroke_size from the seed; the rest must be set. */
void strike_make(struct strike *strike, uint64_t seed);

/* Its light at a frame (fractions too): 0 until at - rise and from at + length on, between 0 and peak. Re-strikes stand
 * at whole frames from `at`. */
double strike_at(const struct strike *strike, double frame);

#endif
