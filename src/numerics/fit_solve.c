/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "numerics/fit_solve.h"

#include <math.h>
#include <stddef.h>
#include <string.h>

#define PIVOT_LEAST 1e-12 /* of the diagonal */
#define EIGEN_SWEEPS 30

/* The Cholesky factor of the rows and columns listed; a pivot that is lost is set to 0. */
static void factor(const double *matrix, int count, const int *list, int listed, double *lower)
{
    for (int i = 0; i < listed; i++) {
        for (int j = 0; j <= i; j++) {
            double sum = matrix[(size_t)list[i] * (size_t)count + (size_t)list[j]];
            for (int k = 0; k < j; k++)
                sum -= lower[i * listed + k] * lower[j * listed + k];
            const double whole = matrix[(size_t)list[i] * (size_t)count + (size_t)list[i]];
            if (i == j)
                lower[i * listed + i] = sum > PIVOT_LEAST * whole ? sqrt(sum) : 0;
            else
                lower[i * listed + j] = lower[j * listed + j] > 0 ? sum / lower[j * listed + j] : 0;
        }
    }
}

/* Solves with the factor, in place; unknowns of a lost pivot become 0. */
static void substitute(const double *lower, int listed, double *x)
{
    for (int i = 0; i < listed; i++) {
        for (int k = 0; k < i; k++)
            x[i] -= lower[i * listed + k] * x[k];
        x[i] = lower[i * listed + i] > 0 ? x[i] / lower[i * listed + i] : 0;
    }
    for (int i = listed - 1; i >= 0; i--) {
        for (int k = i + 1; k < listed; k++)
            x[i] -= lower[k * listed + i] * x[k];
        x[i] = lower[i * listed + i] > 0 ? x[i] / lower[i * listed + i] : 0;
    }
}

/* The unknown outside the list that would lower the sum most, or -1 when none would. */
static int steepest(const double *matrix, const double *right, int count, const double *x, const int *barred)
{
    int best = -1;
    double most = 0;
    for (int i = 0; i < count; i++) {
        const double whole = matrix[(size_t)i * (size_t)count + (size_t)i];
        if (x[i] > 0 || barred[i] || !(whole > 0))
            continue;
        double slope = right[i];
        for (int k = 0; k < count; k++)
            slope -= matrix[(size_t)i * (size_t)count + (size_t)k] * x[k];
        slope /= sqrt(whole);
        if (slope > most && slope > 1e-12 * fabs(right[i]) / sqrt(whole)) {
            most = slope;
            best = i;
        }
    }
    return best;
}

/* Goes from x towards `wish` as far as nothing turns negative; true when all the way. */
static bool advance(const int *list, int listed, const double *wish, double *x)
{
    double part = 1;
    for (int i = 0; i < listed; i++) {
        if (wish[i] <= 0)
            part = fmin(part, x[list[i]] / (x[list[i]] - wish[i]));
    }
    bool whole = true;
    for (int i = 0; i < listed; i++) {
        double *own = &x[list[i]];
        *own += part * (wish[i] - *own);
        if (wish[i] <= 0 && *own <= 1e-15 * fabs(wish[i]))
            *own = 0;
        whole = whole && wish[i] > 0;
    }
    return whole;
}

void fit_nonnegative(const double *matrix, const double *right, int count, double *x, double *work)
{
    double *lower = work, *wish = work + (size_t)count * (size_t)count;
    int *list = (int *)(void *)(wish + count), *barred = list + count;
    for (int i = 0; i < count; i++) {
        x[i] = 0;
        barred[i] = 0;
    }
    for (int round = 0; round < 3 * count; round++) {
        const int entering = steepest(matrix, right, count, x, barred);
        if (entering < 0)
            return;
        x[entering] = 1e-300; /* among those that are free from here on */
        for (bool whole = false; !whole;) {
            int listed = 0;
            for (int i = 0; i < count; i++) {
                if (x[i] > 0)
                    list[listed++] = i;
            }
            if (listed == 0)
                break;
            factor(matrix, count, list, listed, lower);
            for (int i = 0; i < listed; i++)
                wish[i] = right[list[i]];
            substitute(lower, listed, wish);
            whole = advance(list, listed, wish, x);
        }
        /* What the equations put back at once must not come again until something else has changed. */
        for (int i = 0; i < count && x[entering] > 0; i++)
            barred[i] = 0;
        barred[entering] = !(x[entering] > 0);
    }
}

void fit_inverse(const double *matrix, bool *active, int count, double *inverse, double *work)
{
    double *lower = work, *column = work + (size_t)count * (size_t)count;
    int *list = (int *)(void *)(column + count);
    int listed = 0;
    memset(inverse, 0, (size_t)count * (size_t)count * sizeof *inverse);
    for (int i = 0; i < count; i++) {
        if (active[i])
            list[listed++] = i;
    }
    factor(matrix, count, list, listed, lower);
    for (int i = 0; i < listed; i++)
        active[list[i]] = lower[i * listed + i] > 0;
    for (int i = 0; i < listed; i++) {
        if (!active[list[i]])
            continue;
        for (int k = 0; k < listed; k++)
            column[k] = k == i;
        substitute(lower, listed, column);
        for (int k = 0; k < listed; k++)
            inverse[(size_t)list[k] * (size_t)count + (size_t)list[i]] = column[k];
    }
}

/* Turns rows and columns p and q so that their common element becomes 0. */
static void rotate(double *matrix, int count, int p, int q, double *vectors)
{
    const size_t n = (size_t)count;
    const double apq = matrix[(size_t)p * n + (size_t)q];
    if (apq == 0)
        return;
    const double theta = (matrix[(size_t)q * n + (size_t)q] - matrix[(size_t)p * n + (size_t)p]) / (2 * apq);
    const double t = (theta >= 0 ? 1 : -1) / (fabs(theta) + sqrt(theta * theta + 1));
    const double c = 1 / sqrt(t * t + 1), s = t * c;
    for (size_t k = 0; k < n; k++) {
        double *a = &matrix[k * n + (size_t)p], *b = &matrix[k * n + (size_t)q];
        const double was = *a;
        *a = c * was - s * *b;
        *b = s * was + c * *b;
    }
    for (size_t k = 0; k < n; k++) {
        double *a = &matrix[(size_t)p * n + k], *b = &matrix[(size_t)q * n + k];
        const double was = *a;
        *a = c * was - s * *b;
        *b = s * was + c * *b;
        double *u = &vectors[k * n + (size_t)p], *v = &vectors[k * n + (size_t)q];
        const double old = *u;
        *u = c * old - s * *v;
        *v = s * old + c * *v;
    }
}

void fit_eigen(double *matrix, int count, double *values, double *vectors)
{
    const size_t n = (size_t)count;
    for (size_t i = 0; i < n * n; i++)
        vectors[i] = i % (n + 1) == 0;
    for (int sweep = 0; sweep < EIGEN_SWEEPS; sweep++) {
        double rest = 0;
        for (int p = 0; p < count; p++) {
            for (int q = p + 1; q < count; q++) {
                rest += fabs(matrix[(size_t)p * n + (size_t)q]);
                rotate(matrix, count, p, q, vectors);
            }
        }
        if (rest < 1e-14)
            break;
    }
    for (size_t i = 0; i < n; i++)
        values[i] = matrix[i * n + i];
}
