/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The energy is a sum of squares of small differences, so its gradient is the sum of the same differences scattered
 * back; at the grid's edge the differences that would leave it are absent (a free edge). See design of thin plates,
 * e.g. G. Wahba, Spline Models for Observational Data, 1990.
 */
#include "numerics/extrapolate.h"

#include <stddef.h>

#include "base/error.h"
#include "base/memory.h"

struct plate {
    int32_t width, height;
    const double *trust;
    double slope, rest; /* weights of |grad f|² and of f² */
};

/* out += weight * (row of differences)ᵀ (row of differences) f, for second differences `step` apart. */
static void add_bend(double *out, const double *f, int64_t at, int64_t step)
{
    const double bend = f[at - step] - 2 * f[at] + f[at + step];
    out[at - step] += bend;
    out[at] -= 2 * bend;
    out[at + step] += bend;
}

static void add_slope(double *out, const double *f, int64_t at, int64_t step, double weight)
{
    const double rise = weight * (f[at + step] - f[at]);
    out[at] -= rise;
    out[at + step] += rise;
}

static void add_twist(double *out, const double *f, int64_t at, int64_t row)
{
    const double twist = 2 * (f[at] - f[at + 1] - f[at + row] + f[at + row + 1]);
    out[at] += twist;
    out[at + 1] -= twist;
    out[at + row] -= twist;
    out[at + row + 1] += twist;
}

/* out = half the energy's gradient, without the right side. */
static void plate_apply(const struct plate *plate, const double *f, double *out)
{
    const int64_t w = plate->width, h = plate->height;
    for (int64_t i = 0; i < w * h; i++)
        out[i] = (plate->trust[i] + plate->rest) * f[i];
    for (int64_t y = 0; y < h; y++) {
        for (int64_t x = 0; x < w; x++) {
            const int64_t at = y * w + x;
            if (x > 0 && x + 1 < w)
                add_bend(out, f, at, 1);
            if (y > 0 && y + 1 < h)
                add_bend(out, f, at, w);
            if (x + 1 < w)
                add_slope(out, f, at, 1, plate->slope);
            if (y + 1 < h)
                add_slope(out, f, at, w, plate->slope);
            if (x + 1 < w && y + 1 < h)
                add_twist(out, f, at, w);
        }
    }
}

static double product(const double *a, const double *b, int64_t count)
{
    double sum = 0;
    for (int64_t i = 0; i < count; i++)
        sum += a[i] * b[i];
    return sum;
}

/* Conjugate gradients; work is 3 * count. */
static void solve(const struct plate *plate, double *f, double *work)
{
    const int64_t count = (int64_t)plate->width * plate->height;
    double *rest = work, *way = work + count, *pull = work + 2 * count;
    for (int64_t i = 0; i < count; i++) {
        rest[i] = way[i] = plate->trust[i] * f[i];
        f[i] = 0;
    }
    double length = product(rest, rest, count);
    const double enough = length * 1e-16;
    for (int step = 0; step < EXTRAPOLATE_STEPS && length > enough; step++) {
        plate_apply(plate, way, pull);
        const double far = length / product(way, pull, count);
        for (int64_t i = 0; i < count; i++) {
            f[i] += far * way[i];
            rest[i] -= far * pull[i];
        }
        const double next = product(rest, rest, count);
        for (int64_t i = 0; i < count; i++)
            way[i] = rest[i] + next / length * way[i];
        length = next;
    }
}

enum passel_status extrapolate(double *values, const double *trust, int32_t width, int32_t height, double length,
                               struct passel_error *error)
{
    size_t count;
    double *work = NULL;
    if (size_multiply((size_t)width, (size_t)height, &count))
        work = memory_zeros(count, 3 * sizeof *work);
    if (work == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    const double square = length * length;
    const struct plate plate = { width, height, trust, 2 / square, 1 / (square * square) };
    solve(&plate, values, work);
    memory_free(work);
    return PASSEL_OK;
}
