/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "numerics/white_locus.h"

#include <math.h>

static void glowing(double t, double xy[2])
{
    const double u =
        (0.860117757 + 1.54118254e-4 * t + 1.28641212e-7 * t * t) / (1 + 8.42420235e-4 * t + 7.08145163e-7 * t * t);
    const double v =
        (0.317398726 + 4.22806245e-5 * t + 4.20481691e-8 * t * t) / (1 - 2.89741816e-5 * t + 1.61456053e-7 * t * t);
    xy[0] = 3 * u / (2 * u - 8 * v + 4);
    xy[1] = 2 * v / (2 * u - 8 * v + 4);
}

static void daylight(double t, double xy[2])
{
    const double x = t <= 7000 ? 0.244063 + (0.09911e3 + (2.9678e6 - 4.6070e9 / t) / t) / t
                               : 0.237040 + (0.24748e3 + (1.9018e6 - 2.0064e9 / t) / t) / t;
    xy[0] = x;
    xy[1] = -3 * x * x + 2.87 * x - 0.275;
}

void white_locus(double kelvin, double xy[2])
{
    const double t = fmin(fmax(kelvin, WHITE_LOCUS_LEAST), WHITE_LOCUS_MOST);
    const double part = fmin(fmax((t - 4000) / 1000, 0), 1), share = part * part * (3 - 2 * part);
    double body[2], day[2];
    glowing(t, body);
    daylight(fmax(t, 4000), day);
    for (int i = 0; i < 2; i++)
        xy[i] = body[i] * (1 - share) + day[i] * share;
}

/* Cramer's rule. */
static double determinant(const double m[9])
{
    return m[0] * (m[4] * m[8] - m[5] * m[7]) - m[1] * (m[3] * m[8] - m[5] * m[6]) + m[2] * (m[3] * m[7] - m[4] * m[6]);
}

void white_locus_rgb(double kelvin, const struct primaries *primaries, double rgb[3])
{
    double xy[2], matrix[9];
    white_locus(kelvin, xy);
    const double xyz[3] = { xy[0] / xy[1], 1, (1 - xy[0] - xy[1]) / xy[1] };
    if (!primaries_to_xyz(primaries, matrix)) {
        rgb[0] = rgb[1] = rgb[2] = 1;
        return;
    }
    for (int c = 0; c < 3; c++) {
        double with[9];
        for (int i = 0; i < 9; i++)
            with[i] = i % 3 == c ? xyz[i / 3] : matrix[i];
        rgb[c] = fmax(determinant(with) / determinant(matrix), 0);
    }
}
