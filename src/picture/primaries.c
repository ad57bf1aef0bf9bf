/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Colour matrices in double. Chromaticities: ITU-R BT.709-6, ITU-R BT.2020-2, SMPTE EG 432-1, Academy S-2014-004 (AP1)
 * and SMPTE ST 2065-1 (AP0). The matrix to XYZ is the normalised primary matrix of SMPTE RP 177; between different
 * whites stands the Bradford adaptation.
 */
#include "picture/primaries.h"

#include <math.h>
#include <string.h>

static const struct {
    const char *name;
    struct primaries primaries;
} known[] = {
    { "aces", { { 0.7347, 0.2653 }, { 0.0, 1.0 }, { 0.0001, -0.077 }, { 0.32168, 0.33767 } } },
    { "acescg", { { 0.713, 0.293 }, { 0.165, 0.83 }, { 0.128, 0.044 }, { 0.32168, 0.33767 } } },
    { "p3d65", { { 0.68, 0.32 }, { 0.265, 0.69 }, { 0.15, 0.06 }, { 0.3127, 0.329 } } },
    { "rec2020", { { 0.708, 0.292 }, { 0.17, 0.797 }, { 0.131, 0.046 }, { 0.3127, 0.329 } } },
    { "rec709", { { 0.64, 0.33 }, { 0.3, 0.6 }, { 0.15, 0.06 }, { 0.3127, 0.329 } } },
};

static const double bradford[9] = { 0.8951, 0.2664, -0.1614, -0.7502, 1.7135, 0.0367, 0.0389, -0.0685, 1.0296 };

const struct primaries *primaries_named(const char *name)
{
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++)
        if (strcmp(known[i].name, name) == 0)
            return &known[i].primaries;
    return NULL;
}

const char *primaries_name(const struct primaries *primaries)
{
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++)
        if (primaries_same(&known[i].primaries, primaries))
            return known[i].name;
    return NULL;
}

static bool near(const double a[2], const double b[2])
{
    return fabs(a[0] - b[0]) <= 1e-4 && fabs(a[1] - b[1]) <= 1e-4;
}

bool primaries_same(const struct primaries *a, const struct primaries *b)
{
    return near(a->red, b->red) && near(a->green, b->green) && near(a->blue, b->blue) && near(a->white, b->white);
}

static void multiply(const double a[9], const double b[9], double product[9])
{
    double sum[9];
    for (int row = 0; row < 3; row++)
        for (int column = 0; column < 3; column++)
            sum[3 * row + column] =
                a[3 * row] * b[column] + a[3 * row + 1] * b[3 + column] + a[3 * row + 2] * b[6 + column];
    memcpy(product, sum, sizeof sum);
}

static void transform(const double m[9], const double v[3], double out[3])
{
    for (int row = 0; row < 3; row++)
        out[row] = m[3 * row] * v[0] + m[3 * row + 1] * v[1] + m[3 * row + 2] * v[2];
}

/* By cofactors; false when the determinant vanishes beside the product of the rows' lengths, or is not a number. */
static bool invert(const double m[9], double inverse[9])
{
    double cofactor[9], length = 1;
    for (int row = 0; row < 3; row++) {
        for (int column = 0; column < 3; column++) {
            const int r1 = (row + 1) % 3, r2 = (row + 2) % 3, c1 = (column + 1) % 3, c2 = (column + 2) % 3;
            cofactor[3 * column + row] = m[3 * r1 + c1] * m[3 * r2 + c2] - m[3 * r1 + c2] * m[3 * r2 + c1];
        }
        length *= sqrt(m[3 * row] * m[3 * row] + m[3 * row + 1] * m[3 * row + 1] + m[3 * row + 2] * m[3 * row + 2]);
    }
    const double determinant = m[0] * cofactor[0] + m[1] * cofactor[3] + m[2] * cofactor[6];
    if (!(fabs(determinant) > 1e-9 * length) || !isfinite(determinant))
        return false;
    for (int i = 0; i < 9; i++)
        inverse[i] = cofactor[i] / determinant;
    return true;
}

/* XYZ of Y = 1 at a chromaticity; false when y is 0. */
static bool white_xyz(const double xy[2], double xyz[3])
{
    if (!(fabs(xy[1]) > 1e-9))
        return false;
    xyz[0] = xy[0] / xy[1];
    xyz[1] = 1;
    xyz[2] = (1 - xy[0] - xy[1]) / xy[1];
    return true;
}

bool primaries_to_xyz(const struct primaries *from, double m[9])
{
    const double *const corner[3] = { from->red, from->green, from->blue };
    double columns[9], inverse[9], white[3], gain[3];
    for (int i = 0; i < 3; i++) {
        columns[i] = corner[i][0];
        columns[3 + i] = corner[i][1];
        columns[6 + i] = 1 - corner[i][0] - corner[i][1];
    }
    if (!white_xyz(from->white, white) || !invert(columns, inverse))
        return false;
    transform(inverse, white, gain);
    for (int i = 0; i < 9; i++)
        m[i] = columns[i] * gain[i % 3];
    return true;
}

/* XYZ under white `from` to XYZ under white `to` (Bradford). */
static bool adapt(const double from[2], const double to[2], double m[9])
{
    double white_from[3], white_to[3], cone_from[3], cone_to[3], inverse[9], scaled[9];
    if (!white_xyz(from, white_from) || !white_xyz(to, white_to) || !invert(bradford, inverse))
        return false;
    transform(bradford, white_from, cone_from);
    transform(bradford, white_to, cone_to);
    for (int i = 0; i < 9; i++)
        scaled[i] = bradford[i] * (cone_to[i / 3] / cone_from[i / 3]);
    multiply(inverse, scaled, m);
    return true;
}

bool primaries_matrix(const struct primaries *from, const struct primaries *to, double m[9])
{
    double to_xyz[9], target_to_xyz[9], from_xyz[9], adaptation[9];
    if (!primaries_to_xyz(from, to_xyz) || !primaries_to_xyz(to, target_to_xyz) || !invert(target_to_xyz, from_xyz))
        return false;
    if (from->white[0] != to->white[0] || from->white[1] != to->white[1]) {
        if (!adapt(from->white, to->white, adaptation))
            return false;
        multiply(adaptation, to_xyz, to_xyz);
    }
    multiply(from_xyz, to_xyz, m);
    for (int i = 0; i < 9; i++)
        if (!isfinite(m[i]))
            return false;
    return true;
}

void matrix_apply(const double m[9], float *restrict r, float *restrict g, float *restrict b, size_t count)
{
    float f[9];
    for (int i = 0; i < 9; i++)
        f[i] = (float)m[i];
    for (size_t i = 0; i < count; i++) {
        const float red = r[i], green = g[i], blue = b[i];
        r[i] = f[0] * red + f[1] * green + f[2] * blue;
        g[i] = f[3] * red + f[4] * green + f[5] * blue;
        b[i] = f[6] * red + f[7] * green + f[8] * blue;
    }
}

void primaries_luminance(const struct primaries *primaries, double weights[3])
{
    double m[9];
    if (!primaries_to_xyz(primaries, m))
        primaries_to_xyz(primaries_named("rec709"), m);
    memcpy(weights, m + 3, 3 * sizeof *weights);
}
