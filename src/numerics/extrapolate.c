/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The energy is a sum of squares of small differences, so its gradient is the sum of the same differences scattered
 * back; at the grid's edge the differences that would leave it are absent (a free edge). See design of thin plates,
 * e.g. G. Wahba, Spline Models for Observational Data, 1990.
 */
#include "numerics/extrapolate.h"

#include <math.h>
#include <stddef.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"

#define STEPS 150
#define ENOUGH 1e-14 /* of the squared right side */
#define COARSEST 6

struct plate {
    int32_t width, height;
    const double *trust;
    double slope; /* weight of |grad f|² */
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
        out[i] = plate->trust[i] * f[i];
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

/* Conjugate gradients from f; work is 3 * count. */
static void descend(const struct plate *plate, double *f, const double *values, double *work)
{
    const int64_t count = (int64_t)plate->width * plate->height;
    double *rest = work, *way = work + count, *pull = work + 2 * count, start = 0;
    plate_apply(plate, f, pull);
    for (int64_t i = 0; i < count; i++) {
        const double right = plate->trust[i] > 0 ? plate->trust[i] * values[i] : 0;
        rest[i] = way[i] = right - pull[i];
        start += right * right;
    }
    double length = product(rest, rest, count);
    const double enough = start * ENOUGH;
    for (int step = 0; step < STEPS && length > enough; step++) {
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

/* Values and trust of 2x2 cells as one. Energies of bending fall by 4 from step to step of a grid, those of slopes
 * stay. */
static void coarsen(const double *values, const double *trust, int32_t width, int32_t height, double *half_values,
                    double *half_trust)
{
    const int32_t half_width = (width + 1) / 2, half_height = (height + 1) / 2;
    memset(half_values, 0, (size_t)half_width * (size_t)half_height * sizeof *half_values);
    memset(half_trust, 0, (size_t)half_width * (size_t)half_height * sizeof *half_trust);
    for (int32_t y = 0; y < height; y++) {
        for (int32_t x = 0; x < width; x++) {
            const int32_t from = y * width + x, to = y / 2 * half_width + x / 2;
            if (trust[from] > 0)
                half_values[to] += trust[from] * values[from];
            half_trust[to] += trust[from];
        }
    }
    for (int32_t i = 0; i < half_width * half_height; i++) {
        half_values[i] = half_trust[i] > 0 ? half_values[i] / half_trust[i] : 0;
        half_trust[i] *= 4;
    }
}

static int32_t inside(int32_t i, int32_t count)
{
    return i < 0 ? 0 : i >= count ? count - 1 : i;
}

/* Linear between the coarse grid's centres. */
static void refine(const double *half, int32_t width, int32_t height, double *field)
{
    const int32_t half_width = (width + 1) / 2, half_height = (height + 1) / 2;
    for (int32_t y = 0; y < height; y++) {
        const int32_t y0 = y / 2, y1 = inside(y % 2 == 0 ? y0 - 1 : y0 + 1, half_height);
        for (int32_t x = 0; x < width; x++) {
            const int32_t x0 = x / 2, x1 = inside(x % 2 == 0 ? x0 - 1 : x0 + 1, half_width);
            const double near = 0.75 * half[y0 * half_width + x0] + 0.25 * half[y0 * half_width + x1];
            const double next = 0.75 * half[y1 * half_width + x0] + 0.25 * half[y1 * half_width + x1];
            field[y * width + x] = 0.75 * near + 0.25 * next;
        }
    }
}

enum passel_status extrapolate(double *field, const double *values, const double *trust, int32_t width, int32_t height,
                               double length, bool warm, struct passel_error *error)
{
    const size_t count = (size_t)width * (size_t)height; /* a grid's sizes are small */
    const int32_t half_width = (width + 1) / 2, half_height = (height + 1) / 2;
    const size_t half_count = (size_t)half_width * (size_t)half_height;
    enum passel_status status = PASSEL_OK;
    double *work = memory_zeros(3 * count + 3 * half_count, sizeof *work);
    if (work == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    if (!warm && width > COARSEST && height > COARSEST) {
        double *half = work + 3 * count, *half_values = half + half_count, *half_trust = half_values + half_count;
        coarsen(values, trust, width, height, half_values, half_trust);
        GOTO_IF_ERROR(
            extrapolate(half, half_values, half_trust, half_width, half_height, fmax(length / 2, 0.5), false, error),
            out_work);
        refine(half, width, height, field);
    } else if (!warm) {
        memset(field, 0, count * sizeof *field);
    }
    const struct plate plate = { width, height, trust, 1 / (length * length) };
    descend(&plate, field, values, work);
out_work:
    memory_free(work);
    return status;
}
