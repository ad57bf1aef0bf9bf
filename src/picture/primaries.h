/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Primaries: which red, green, blue and white the numbers mean, and the matrices between them (SMPTE RP 177; white
 * points adapted by the Bradford method).
 */
#ifndef PICTURE_PRIMARIES_H
#define PICTURE_PRIMARIES_H

#include <stdbool.h>
#include <stddef.h>

struct primaries {
    double red[2], green[2], blue[2], white[2]; /* CIE 1931 x, y */
};

/* rec709 rec2020 p3d65 acescg aces; NULL for another word. */
const struct primaries *primaries_named(const char *name);
/* The word for these (within 1e-4), or NULL. */
const char *primaries_name(const struct primaries *primaries);
bool primaries_same(const struct primaries *a, const struct primaries *b); /* within 1e-4 */

/* Row-major 3x3: out = m * in (column vectors). False when a matrix is singular (impossible primaries). */
bool primaries_matrix(const struct primaries *from, const struct primaries *to, double m[9]);
bool primaries_to_xyz(const struct primaries *from, double m[9]);

/* Applies m to `count` pixels in place, in float: r' = m0 r + m1 g + m2 b, in that order. */
void matrix_apply(const double m[9], float *r, float *g, float *b, size_t count);

/* Weights of luminance Y for these primaries (second row of primaries_to_xyz). */
void primaries_luminance(const struct primaries *primaries, double weights[3]);

#endif
