/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The energy is a sum of squares of small differences, so its matrix is the sum of the differences' outer products; at
 * the grid's edge the differences that would leave it are absent (a free edge). See e.g. G. Wahba, Spline Models for
 * Observational Data, 1990. Cells are numbered along the shorter side, which keeps the matrix in a band of twice that
 * side; Cholesky's factor stays in the band.
 */
#include "numerics/extrapolate.h"

#include <math.h>
#include <stdbool.h>
#include <stddef.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"

/* A symmetric matrix: column j holds its elements (j + k, j), 0 ≤ k ≤ reach. */
struct band {
    int64_t size, reach;
    double *columns; /* size * (reach + 1) */
};

/* A grid whose cells are numbered at = along * brief + across, 0 ≤ across < brief. */
struct grid {
    int64_t brief, lengthy;
};

struct term {
    int64_t offset; /* of the cell's number */
    double factor;
};

/* matrix += weight * d dᵀ for the difference d = Σ factor · f[at + offset]; offsets rise. */
static void add_square(const struct band *band, int64_t at, const struct term *terms, int count, double weight)
{
    for (int i = 0; i < count; i++) {
        double *column = band->columns + (at + terms[i].offset) * (band->reach + 1);
        for (int k = i; k < count; k++)
            column[terms[k].offset - terms[i].offset] += weight * terms[i].factor * terms[k].factor;
    }
}

/* Factors of the squares: bends along one direction, the twist, rises along one direction. */
struct costs {
    double bend_across, bend_along, twist, rise_across, rise_along;
};

static struct costs costs_of(const struct extrapolate_law *law, bool x_across)
{
    const double across = x_across ? law->stretch_x : law->stretch_y;
    const double along = x_across ? law->stretch_y : law->stretch_x;
    const double a = across * across, b = along * along;
    return (struct costs){ law->bend * a * a, law->bend * b * b, 2 * law->bend * a * b, law->slope * a,
                           law->slope * b };
}

static void add_bends(const struct band *band, const struct grid *grid, const struct costs *costs)
{
    const int64_t b = grid->brief;
    const struct term bend_across[] = { { -1, 1 }, { 0, -2 }, { 1, 1 } };
    const struct term bend_along[] = { { -b, 1 }, { 0, -2 }, { b, 1 } };
    const struct term twist[] = { { 0, 1 }, { 1, -1 }, { b, -1 }, { b + 1, 1 } };
    for (int64_t along = 0; along < grid->lengthy; along++) {
        for (int64_t across = 0; across < b; across++) {
            const int64_t at = along * b + across;
            if (across > 0 && across + 1 < b)
                add_square(band, at, bend_across, 3, costs->bend_across);
            if (along > 0 && along + 1 < grid->lengthy)
                add_square(band, at, bend_along, 3, costs->bend_along);
            if (across + 1 < b && along + 1 < grid->lengthy)
                add_square(band, at, twist, 4, costs->twist);
        }
    }
}

static void add_rises(const struct band *band, const struct grid *grid, const struct costs *costs)
{
    const int64_t b = grid->brief;
    const struct term rise_across[] = { { 0, -1 }, { 1, 1 } }, rise_along[] = { { 0, -1 }, { b, 1 } };
    for (int64_t at = 0; at < band->size; at++) {
        if (at % b + 1 < b)
            add_square(band, at, rise_across, 2, costs->rise_across);
        if (at / b + 1 < grid->lengthy)
            add_square(band, at, rise_along, 2, costs->rise_along);
    }
}

/* The band becomes its Cholesky factor. */
static void factor(const struct band *band)
{
    const int64_t step = band->reach + 1;
    for (int64_t j = 0; j < band->size; j++) {
        double *column = band->columns + j * step;
        const int64_t reach = band->size - 1 - j < band->reach ? band->size - 1 - j : band->reach;
        const double pivot = sqrt(fmax(column[0], 1e-12));
        column[0] = pivot;
        for (int64_t k = 1; k <= reach; k++)
            column[k] /= pivot;
        for (int64_t k = 1; k <= reach; k++) {
            const double much = column[k];
            const double *restrict from = column + k;
            double *restrict to = band->columns + (j + k) * step;
            if (much == 0)
                continue;
            for (int64_t m = 0; m <= reach - k; m++)
                to[m] -= much * from[m];
        }
    }
}

static void substitute(const struct band *band, double *x)
{
    const int64_t step = band->reach + 1;
    for (int64_t j = 0; j < band->size; j++) {
        const double *column = band->columns + j * step;
        const int64_t reach = band->size - 1 - j < band->reach ? band->size - 1 - j : band->reach;
        x[j] /= column[0];
        for (int64_t k = 1; k <= reach; k++)
            x[j + k] -= column[k] * x[j];
    }
    for (int64_t j = band->size - 1; j >= 0; j--) {
        const double *column = band->columns + j * step;
        const int64_t reach = band->size - 1 - j < band->reach ? band->size - 1 - j : band->reach;
        for (int64_t k = 1; k <= reach; k++)
            x[j] -= column[k] * x[j + k];
        x[j] /= column[0];
    }
}

/* Row-major place of the grid's n-th cell. */
static int64_t place_of(int64_t n, int32_t width, int32_t height)
{
    return width <= height ? n : n % height * width + n / height;
}

static void solve_field(const struct band *band, const double *trust, int32_t width, int32_t height, double *field,
                        double *x)
{
    for (int64_t n = 0; n < band->size; n++) {
        const int64_t at = place_of(n, width, height);
        x[n] = trust[at] > 0 ? trust[at] * field[at] : 0;
    }
    substitute(band, x);
    for (int64_t n = 0; n < band->size; n++)
        field[place_of(n, width, height)] = x[n];
}

enum passel_status extrapolate(double *const *fields, int count, const double *trust, int32_t width, int32_t height,
                               const struct extrapolate_law *law, struct passel_error *error)
{
    const struct grid grid = { width < height ? width : height, width < height ? height : width };
    const struct costs costs = costs_of(law, width <= height);
    struct band band = { .size = grid.brief * grid.lengthy, .reach = law->bend > 0 ? 2 * grid.brief : grid.brief };
    double all = 0;
    size_t elements;
    for (int64_t i = 0; i < band.size; i++)
        all += trust[i];
    if (!(all > 0)) {
        for (int k = 0; k < count; k++)
            memset(fields[k], 0, (size_t)band.size * sizeof *fields[k]);
        return PASSEL_OK;
    }
    if (size_multiply((size_t)band.size, (size_t)band.reach + 2, &elements))
        band.columns = memory_zeros(elements, sizeof *band.columns);
    if (band.columns == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int64_t n = 0; n < band.size; n++)
        band.columns[n * (band.reach + 1)] = trust[place_of(n, width, height)];
    if (law->bend > 0)
        add_bends(&band, &grid, &costs);
    add_rises(&band, &grid, &costs);
    factor(&band);
    for (int k = 0; k < count; k++)
        solve_field(&band, trust, width, height, fields[k], band.columns + band.size * (band.reach + 1));
    memory_free(band.columns);
    return PASSEL_OK;
}
