/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The kernels. All are written once, as functions in double; polynomials through their values at Chebyshev nodes then
 * stand for them (exactly so for all but Lanczos).
 *
 * Widening. A picture made smaller by s wants its kernel s times as wide. For the B-spline over spline coefficients
 * that alone would blur: its response falls as 1 - pi^2 s^2 f^2, and the coefficients rise as 1 + pi^2 f^2. Taking off
 * a quarter of (1 - 1/s^2) times the second derivative (in the kernel's own unit) cancels the difference to second
 * order; at s = 1 nothing is taken off, so sharpness does not jump when a size passes 100%. In two dimensions 1 - 1/s^2
 * is the matrix I - M^2.
 */
#include "picture/kernel.h"

#include <math.h>
#include <string.h>

#include "picture/function.h"

#define PI_SQUARED 9.869604401089358
#define SAME_SIZE 1e-9 /* a stretch this close to 1 is none */

static double linear(double x)
{
    return 1 - x;
}

static double mitchell(double x)
{
    if (x < 1)
        return ((7 * x - 12) * x * x + 16.0 / 3) / 6;
    return (((-7.0 / 3 * x + 12) * x - 20) * x + 32.0 / 3) / 6;
}

static double lanczos(double x)
{
    if (x < 1e-9)
        return 1;
    return 3 * function_sinpi(x) * function_sinpi(x / 3) / (PI_SQUARED * x * x);
}

static double quintic(double x)
{
    if (x < 1)
        return 11.0 / 20 + x * x * (-1.0 / 2 + x * x * (1.0 / 4 - x / 12));
    if (x < 2)
        return 17.0 / 40 + x * (5.0 / 8 + x * (-7.0 / 4 + x * (5.0 / 4 + x * (-3.0 / 8 + x / 24))));
    const double left = 3 - x;
    return left * left * left * left * left / 120;
}

static const struct {
    double (*value)(double x);
    int reach, degree;
    bool uneven, sharpened;
} families[] = {
    [FILTER_LINEAR] = { linear, 1, 1, false, false },
    [FILTER_MITCHELL] = { mitchell, 2, 3, false, false },
    [FILTER_LANCZOS] = { lanczos, 3, KERNEL_DEGREE, true, false },
    [FILTER_SPLINE] = { quintic, 3, 5, false, true },
};

int kernel_reach(enum filter filter)
{
    return filter == FILTER_NEAREST ? 0 : families[filter].reach;
}

/* The polynomial in t = x - i - 1/2 through the values at the Chebyshev nodes of the piece: Newton's divided
 * differences, multiplied out. */
static void fit_piece(double (*value)(double x), int i, int degree, double *coefficients)
{
    double node[KERNEL_DEGREE + 1], difference[KERNEL_DEGREE + 1];
    for (int k = 0; k <= degree; k++) {
        node[k] = 0.5 * function_cospi((k + 0.5) / (degree + 1));
        difference[k] = value(i + 0.5 + node[k]);
    }
    for (int order = 1; order <= degree; order++)
        for (int k = degree; k >= order; k--)
            difference[k] = (difference[k] - difference[k - 1]) / (node[k] - node[k - order]);
    memset(coefficients, 0, (KERNEL_DEGREE + 1) * sizeof *coefficients);
    for (int k = degree; k >= 0; k--) {
        for (int power = degree; power > 0; power--)
            coefficients[power] = coefficients[power - 1] - node[k] * coefficients[power];
        coefficients[0] = difference[k] - node[k] * coefficients[0];
    }
}

static void differentiate(const double *coefficients, double *derivative)
{
    for (int power = 0; power < KERNEL_DEGREE; power++)
        derivative[power] = (power + 1) * coefficients[power + 1];
    derivative[KERNEL_DEGREE] = 0;
}

void kernel_init(struct kernel *kernel, enum filter filter)
{
    memset(kernel, 0, sizeof *kernel);
    kernel->reach = families[filter].reach;
    kernel->degree = families[filter].degree;
    kernel->uneven = families[filter].uneven;
    kernel->sharpened = families[filter].sharpened;
    for (int i = 0; i < kernel->reach; i++) {
        fit_piece(families[filter].value, i, kernel->degree, kernel->value.piece[i]);
        differentiate(kernel->value.piece[i], kernel->slope.piece[i]);
        differentiate(kernel->slope.piece[i], kernel->bend.piece[i]);
        for (int power = 0; power <= kernel->degree; power++) {
            const float coefficient = (float)kernel->value.piece[i][power];
            kernel->tap[power][kernel->reach - 1 - i] = coefficient;                        /* |x| = f + i */
            kernel->tap[power][kernel->reach + i] = power & 1 ? -coefficient : coefficient; /* |x| = i + 1 - f */
        }
    }
}

double kernel_at(const struct kernel *kernel, const struct kernel_pieces *function, double x)
{
    if (!(x < kernel->reach))
        return 0;
    const int i = (int)x;
    const double t = x - i - 0.5;
    double sum = 0;
    for (int power = kernel->degree; power >= 0; power--)
        sum = sum * t + function->piece[i][power];
    return sum;
}

double kernel_stretched(const struct kernel *kernel, double stretch, double x)
{
    const double u = fabs(x) / stretch;
    const double value = kernel_at(kernel, &kernel->value, u);
    if (!kernel->sharpened)
        return value;
    return value - 0.25 * (1 - 1 / (stretch * stretch)) * kernel_at(kernel, &kernel->bend, u);
}

static void own_size_weights(const struct kernel *kernel, float f, float *weights)
{
    const float t = f - 0.5f;
    float sum[KERNEL_TAPS];
    for (int k = 0; k < KERNEL_TAPS; k++)
        sum[k] = kernel->tap[kernel->degree][k];
    for (int power = kernel->degree - 1; power >= 0; power--)
        for (int k = 0; k < KERNEL_TAPS; k++)
            sum[k] = sum[k] * t + kernel->tap[power][k];
    float scale = 1;
    if (kernel->uneven)
        scale = 1 / (((sum[0] + sum[5]) + (sum[1] + sum[4])) + (sum[2] + sum[3]));
    for (int k = 0; k < 2 * kernel->reach; k++)
        weights[k] = sum[k] * scale;
}

int kernel_count(const struct kernel *kernel, double stretch)
{
    return stretch == 1 ? 2 * kernel->reach : (int)(2 * kernel->reach * stretch) + 1;
}

void kernel_weights(const struct kernel *kernel, double stretch, double position, int32_t *first, float *weights)
{
    if (stretch == 1) {
        const int32_t before = floor_position(position - 0.5);
        *first = before - kernel->reach + 1;
        own_size_weights(kernel, (float)(position - 0.5 - before), weights);
        return;
    }
    const int count = kernel_count(kernel, stretch);
    double sum = 0;
    *first = floor_position(position - kernel->reach * stretch + 0.5);
    for (int k = 0; k < count; k++) {
        const double weight = kernel_stretched(kernel, stretch, *first + k + 0.5 - position);
        weights[k] = (float)weight;
        sum += weight;
    }
    for (int k = 0; k < count; k++)
        weights[k] = (float)(weights[k] / sum);
}

static double clamp_stretch(double square)
{
    const double s = sqrt(fmax(square, 0));
    return s > 1 + SAME_SIZE ? fmin(s, WIDEN_LIMIT) : 1;
}

struct stretch stretch_of(double xx, double xy, double yx, double yy)
{
    /* J J^T = [a b; b c] has the squares of the singular values and, in the input plane, their axes. */
    const double a = xx * xx + xy * xy, b = xx * yx + xy * yy, c = yx * yx + yy * yy;
    const double mean = (a + c) / 2, half = (a - c) / 2;
    const double radius = sqrt(half * half + b * b);
    const double s1 = clamp_stretch(mean + radius), s2 = clamp_stretch(mean - radius);
    struct stretch stretch = { false, 1, 0, 1, 1, 0, 1 };
    if (s1 == 1)
        return stretch;
    /* U diag(s1, s2) U^T = (s1+s2)/2 I + (s1-s2)/2 [cos 2t, sin 2t; sin 2t, -cos 2t] */
    const double cosine = radius > 0 ? half / radius : 0, sine = radius > 0 ? b / radius : 0;
    const double middle = (s1 + s2) / 2, spread = (s1 - s2) / 2, product = s1 * s2;
    stretch.s00 = middle + spread * cosine;
    stretch.s11 = middle - spread * cosine;
    stretch.s01 = spread * sine;
    stretch.turned = fabs(stretch.s01) > 1e-9;
    if (!stretch.turned)
        stretch.s01 = 0;
    stretch.m00 = stretch.s11 / product;
    stretch.m11 = stretch.s00 / product;
    stretch.m01 = -stretch.s01 / product;
    return stretch;
}

struct stretch stretch_at(const struct transform *t, double in_x, double in_y, double w)
{
    const double *m = t->m;
    return stretch_of((m[0] - in_x * m[6]) / w, (m[1] - in_x * m[7]) / w, (m[3] - in_y * m[6]) / w,
                      (m[4] - in_y * m[7]) / w);
}

/* The derivatives at the corner where w is least bound those of the whole rectangle: input positions and 1/w are both
 * largest in size at corners. */
static double stretch_bound(const struct transform *t, struct rect output)
{
    const double *m = t->m;
    const double cx[4] = { output.x0, output.x1, output.x1, output.x0 };
    const double cy[4] = { output.y0, output.y0, output.y1, output.y1 };
    double least = INFINITY, most_x = 0, most_y = 0;
    for (int i = 0; i < 4; i++) {
        const double w = m[6] * cx[i] + m[7] * cy[i] + m[8];
        if (!(w > 0))
            return WIDEN_LIMIT;
        least = fmin(least, w);
        most_x = fmax(most_x, fabs(m[0] * cx[i] + m[1] * cy[i] + m[2]) / w);
        most_y = fmax(most_y, fabs(m[3] * cx[i] + m[4] * cy[i] + m[5]) / w);
    }
    const double bound[4] = { fabs(m[0]) + most_x * fabs(m[6]), fabs(m[1]) + most_x * fabs(m[7]),
                              fabs(m[3]) + most_y * fabs(m[6]), fabs(m[4]) + most_y * fabs(m[7]) };
    double squares = 0;
    for (int i = 0; i < 4; i++)
        squares += bound[i] / least * (bound[i] / least);
    return fmin(fmax(sqrt(squares), 1), WIDEN_LIMIT);
}

void stretch_reach(const struct transform *t, struct rect output, int reach, double *x, double *y)
{
    const double *m = t->m;
    if (m[6] == 0 && m[7] == 0 && m[1] == 0 && m[3] == 0) {
        *x = reach * fmax(1, fabs(m[0] / m[8]));
        *y = reach * fmax(1, fabs(m[4] / m[8]));
    } else if (m[6] == 0 && m[7] == 0) {
        const struct stretch s = stretch_at(t, 0, 0, m[8]);
        *x = reach * (s.s00 + fabs(s.s01));
        *y = reach * (s.s11 + fabs(s.s01));
    } else {
        *x = *y = reach * 1.4143 * stretch_bound(t, output); /* s00 + |s01| ≤ sqrt 2 times the larger stretch */
    }
}
