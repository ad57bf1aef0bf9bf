/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Curved outlines as chains of cubic Bézier parts, and the polygons that stand for them.
 */
#ifndef NUMERICS_SPLINE_PATH_H
#define NUMERICS_SPLINE_PATH_H

/* One part: its two ends and the two handles between them, x and y of each in order. */
struct cubic {
    double x[4], y[4];
};

/* How many straight pieces a part is cut into, so that they are nowhere more than `tolerance` away from it. */
int cubic_pieces(const struct cubic *cubic, double tolerance);
/* Writes x, y of the points at the beginnings of `pieces` equal pieces; the part's end is left to its successor. */
void cubic_flatten(const struct cubic *cubic, int pieces, double *points);

/* The part from b to c of the smooth curve through a, b, c and d (E. Catmull, R. Rom, "A class of local interpolating
 * splines", 1974): at b it runs along c - a, at c along d - b. */
struct cubic cubic_through(const double a[2], const double b[2], const double c[2], const double d[2]);

#endif
