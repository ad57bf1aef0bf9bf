/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "numerics/spline_path.h"

#include <math.h>

#define PIECES_MOST 4096

/* A curve with |B''| ≤ M is at most M h²/8 from a chord over a parameter span h; of a cubic, M is 6 times the larger
 * of its two second differences. */
int cubic_pieces(const struct cubic *cubic, double tolerance)
{
    double most = 0;
    for (int k = 0; k < 2; k++) {
        const double dx = cubic->x[k] - 2 * cubic->x[k + 1] + cubic->x[k + 2];
        const double dy = cubic->y[k] - 2 * cubic->y[k + 1] + cubic->y[k + 2];
        most = fmax(most, sqrt(dx * dx + dy * dy));
    }
    const double pieces = ceil(sqrt(6 * most / (8 * tolerance)));
    return pieces < 1 ? 1 : (int)fmin(pieces, PIECES_MOST);
}

static double cubic_at(const double p[4], double t)
{
    const double s = 1 - t;
    return s * s * (s * p[0] + 3 * t * p[1]) + t * t * (3 * s * p[2] + t * p[3]);
}

void cubic_flatten(const struct cubic *cubic, int pieces, double *points)
{
    for (int i = 0; i < pieces; i++) {
        points[2 * i] = cubic_at(cubic->x, (double)i / pieces);
        points[2 * i + 1] = cubic_at(cubic->y, (double)i / pieces);
    }
}

struct cubic cubic_through(const double a[2], const double b[2], const double c[2], const double d[2])
{
    return (struct cubic){ .x = { b[0], b[0] + (c[0] - a[0]) / 6, c[0] - (d[0] - b[0]) / 6, c[0] },
                           .y = { b[1], b[1] + (c[1] - a[1]) / 6, c[1] - (d[1] - b[1]) / 6, c[1] } };
}
