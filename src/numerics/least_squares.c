/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Normal equations and their Cholesky factor, in double.
 */
#include "numerics/least_squares.h"

#include <math.h>
#include <string.h>

void normal_equations_init(struct normal_equations *equations, int unknowns)
{
    memset(equations, 0, sizeof *equations);
    equations->unknowns = unknowns;
}

void normal_equations_add(struct normal_equations *equations, const double *row, double value, double weight)
{
    const int n = equations->unknowns;
    if (weight == 0)
        return;
    for (int i = 0; i < n; i++) {
        const double scaled = weight * row[i];
        for (int j = i; j < n; j++)
            equations->matrix[i * n + j] += scaled * row[j];
        equations->right[i] += scaled * value;
    }
}

/* matrix = transpose(U) * U in place of the upper triangle. */
static bool factor(double *u, int n)
{
    for (int i = 0; i < n; i++) {
        const double whole = u[i * n + i];
        double rest = whole;
        for (int k = 0; k < i; k++)
            rest -= u[k * n + i] * u[k * n + i];
        if (!(rest > 1e-9 * whole))
            return false;
        const double pivot = sqrt(rest);
        u[i * n + i] = pivot;
        for (int j = i + 1; j < n; j++) {
            double sum = u[i * n + j];
            for (int k = 0; k < i; k++)
                sum -= u[k * n + i] * u[k * n + j];
            u[i * n + j] = sum / pivot;
        }
    }
    return true;
}

bool normal_equations_solve(const struct normal_equations *equations, double *x)
{
    const int n = equations->unknowns;
    double u[UNKNOWNS_LIMIT * UNKNOWNS_LIMIT], y[UNKNOWNS_LIMIT];
    memcpy(u, equations->matrix, sizeof u);
    if (!factor(u, n))
        return false;
    for (int i = 0; i < n; i++) {
        y[i] = equations->right[i];
        for (int k = 0; k < i; k++)
            y[i] -= u[k * n + i] * y[k];
        y[i] /= u[i * n + i];
    }
    for (int i = n - 1; i >= 0; i--) {
        x[i] = y[i];
        for (int k = i + 1; k < n; k++)
            x[i] -= u[i * n + k] * x[k];
        x[i] /= u[i * n + i];
    }
    return true;
}
