/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Small linear least squares by normal equations: minimise Σ w (row · x − value)², a handful of unknowns, any number of
 * rows added one by one.
 */
#ifndef NUMERICS_LEAST_SQUARES_H
#define NUMERICS_LEAST_SQUARES_H

#include <stdbool.h>

#define UNKNOWNS_LIMIT 12

struct normal_equations {
    int unknowns;
    double matrix[UNKNOWNS_LIMIT * UNKNOWNS_LIMIT]; /* upper triangle, row-major, `unknowns` per row */
    double right[UNKNOWNS_LIMIT];
};

void normal_equations_init(struct normal_equations *equations, int unknowns);
/* A row of weight 0 changes nothing, whatever it holds. */
void normal_equations_add(struct normal_equations *equations, const double *row, double value, double weight);
/* Cholesky. False when the rows do not determine x (relative pivot below 1e-9); x is then unchanged. */
bool normal_equations_solve(const struct normal_equations *equations, double *x);

#endif
