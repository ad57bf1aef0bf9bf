/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Small dense systems of normal equations of any number of unknowns: solved without negative answers, inverted, and
 * looked through for unknowns that cannot be told apart. Matrices are symmetric, `count` x `count`, row-major.
 */
#ifndef NUMERICS_FIT_SOLVE_H
#define NUMERICS_FIT_SOLVE_H

#include <stdbool.h>

/*
 * The x ≥ 0 that minimises x' M x - 2 r' x. `work` has room for count * (count + 3) numbers. Unknowns that the
 * equations do not determine are left at 0.
 *
 * Source: C. L. Lawson, R. J. Hanson, "Solving least squares problems", 1974, chapter 23, on the normal equations as in
 * R. Bro, S. de Jong, "A fast non-negativity-constrained least squares algorithm", J. Chemometrics 11 (1997).
 */
void fit_nonnegative(const double *matrix, const double *right, int count, double *x, double *work);

/* The inverse over the unknowns with active[i]; 0 in the rows and columns of the others, and of those that the
 * equations leave open, which are no longer active on return. `work` has room for count * (count + 2) numbers. */
void fit_inverse(const double *matrix, bool *active, int count, double *inverse, double *work);

/* Eigenvalues and, in the columns of `vectors`, eigenvectors; `matrix` is overwritten.
 * Source: C. G. J. Jacobi 1846, in the cyclic form of G. H. Golub, C. F. Van Loan, "Matrix computations", section 8.5.
 */
void fit_eigen(double *matrix, int count, double *values, double *vectors);

#endif
