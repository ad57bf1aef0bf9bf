/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Filter kernels as polynomial pieces between whole numbers, and how far a transform stretches them.
 *
 * linear    the triangle
 * Mitchell  Mitchell and Netravali 1988, B = C = 1/3
 * Lanczos   sinc(x) sinc(x/3), |x| < 3; its pieces are polynomials that meet it within 1e-9
 * spline    the quintic B-spline, to be laid over the coefficients of spline_prepare
 */
#ifndef PICTURE_KERNEL_H
#define PICTURE_KERNEL_H

#include <stdbool.h>
#include <stdint.h>

#include "picture/geometry.h"

#define KERNEL_REACH 3
#define KERNEL_DEGREE 11
#define KERNEL_TAPS 8  /* 2 * KERNEL_REACH, rounded up to whole vectors */
#define WIDEN_LIMIT 64 /* the most that a filter is widened where rows do not stay rows */

/* Piece i is the function for i ≤ |x| < i+1, by rising powers of |x| - i - 1/2. */
struct kernel_pieces {
    double piece[KERNEL_REACH][KERNEL_DEGREE + 1];
};

struct kernel {
    int reach;      /* the kernel is 0 from here on */
    int degree;     /* of the pieces */
    bool uneven;    /* the taps do not add up to 1 by themselves */
    bool sharpened; /* when widened, (1 - 1/stretch^2) / 4 of the second derivative is taken off: see stretch */
    struct kernel_pieces value, slope, bend; /* the kernel and its first two derivatives by |x| */
    /* Tap k stands at the pixel k - (reach-1) from the one at or before the position; its weight is the polynomial
     * tap[0][k] + tap[1][k] * (f - 1/2) + …, f in [0, 1) being the way from that pixel's centre to the position. */
    float tap[KERNEL_DEGREE + 1][KERNEL_TAPS];
};

/* For any filter but FILTER_NEAREST. */
void kernel_init(struct kernel *kernel, enum filter filter);
int kernel_reach(enum filter filter);

/* One of the kernel's functions at distance x ≥ 0; 0 from its reach on. */
double kernel_at(const struct kernel *kernel, const struct kernel_pieces *function, double x);

/* Weight of the kernel stretched by `stretch` ≥ 1 at distance x, before the taps are made to add up to 1. */
double kernel_stretched(const struct kernel *kernel, double stretch, double x);

/* How many taps a kernel stretched by `stretch` has. */
int kernel_count(const struct kernel *kernel, double stretch);
/* Weights of these taps around `position` (within 2^25), the first of them at pixel *first. They add up to 1. */
void kernel_weights(const struct kernel *kernel, double stretch, double position, int32_t *first, float *weights);

/* How a transform makes the picture smaller around one place: d is the way from the position to a pixel of the input,
 * m * d (symmetric) the argument of the kernel. The reduction's axes are those of the Jacobian; where a pixel of the
 * output covers less than one of the input, the kernel keeps its size. */
struct stretch {
    bool turned;          /* m01 is not 0: the kernel is not a product of x and y */
    double m00, m01, m11; /* the matrix */
    double s00, s01, s11; /* its inverse: the kernel covers reach * (s00 + |s01|) in x, reach * (s11 + |s01|) in y */
};

/* The whole number at or below a position within 2^25. */
static inline int32_t floor_position(double position)
{
    const int32_t truncated = (int32_t)position;
    return truncated - (position < truncated);
}

/* From the derivatives of the input position (x, y) by the output position. */
struct stretch stretch_of(double xx, double xy, double yx, double yy);
/* The same at one place of the output plane (w > 0 there), in_x and in_y being where it leads. */
struct stretch stretch_at(const struct transform *t, double in_x, double in_y, double w);
/* Bounds of how far taps lie from their position, in x and y, for a kernel of `reach`, over the rectangle `output`. */
void stretch_reach(const struct transform *t, struct rect output, int reach, double *x, double *y);

#endif
