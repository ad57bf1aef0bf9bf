/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A thing of one colour f, however bright, makes light y = p f + t K: all its pixels lie in the plane of f and the
 * screen K, and each screen has its own plane through f. That holds at any sampling, and after any resampling, since
 * both are means of pixels. So over a window f is the direction that is the most at right angles to all normals
 * n = y x K / |K| of both takes: the eigenvector of Σ n n' with the least eigenvalue. With it one take alone gives
 *
 *   t = ((K.y) - (f.K) (f.y) / |K|) / (|K|² L²),   L = |f x K| / |K|
 *
 * Its variance is that of the noise, and of colours that are not f: how far off the planes the window's pixels lie
 * tells how much their colours scatter, how far the second eigenvalue is from the first, beyond what noise makes of
 * equal ones, how well f is known. The pair's variance is its noise's times what the equations miss. Both answers are
 * mixed by 1 / variance.
 *
 * What really moved between the takes differs in a window's mean too; there neither answer is asked.
 */
#include "kinds/key_own_sampling.h"

#include <math.h>
#include <string.h>

#include "kinds/key_disagree.h"
#include "numerics/between.h"

#define SIDE (2 * OWN_REACH + 1)
#define WINDOW (SIDE * SIDE)
#define MISS_FROM 1.5F /* 1 is expected, with a standard deviation of 0.2 */
#define MISS_TO 2.0F
#define SQUARINGS 4      /* of the adjugate: the eigenvalues' ratio to its 16th power */
#define LEAST_SINE 0.02F /* of the angle between the planes, squared: the other plane tells of scatter in the first */
#define ROUNDING 1e-5F   /* of eigenvalues against the largest */
#define TINY 1e-12F

/* A symmetric matrix. */
enum { XX, XY, XZ, YY, YZ, ZZ, MATRIX };

/* Per take Σ n n', made even in all directions by noise, and Σ of noise; then Σ of what the takes differ by. */
enum { NOISE = MATRIX, TAKE_SUMS, APART = 2 * TAKE_SUMS, SUMS = APART + 3 };

/* ---- directions ------------------------------------------------------------------------------------------------- */

static float dot(const float a[3], const float b[3])
{
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

static float quadratic(const float m[MATRIX], const float v[3])
{
    return v[0] * (m[XX] * v[0] + 2 * (m[XY] * v[1] + m[XZ] * v[2])) + v[1] * (m[YY] * v[1] + 2 * m[YZ] * v[2]) +
           v[2] * m[ZZ] * v[2];
}

static float trace(const float m[MATRIX])
{
    return m[XX] + m[YY] + m[ZZ];
}

static void adjugate(const float m[MATRIX], float to[MATRIX])
{
    to[XX] = m[YY] * m[ZZ] - m[YZ] * m[YZ];
    to[XY] = m[XZ] * m[YZ] - m[XY] * m[ZZ];
    to[XZ] = m[XY] * m[YZ] - m[XZ] * m[YY];
    to[YY] = m[XX] * m[ZZ] - m[XZ] * m[XZ];
    to[YZ] = m[XY] * m[XZ] - m[XX] * m[YZ];
    to[ZZ] = m[XX] * m[YY] - m[XY] * m[XY];
}

static void scale(float m[MATRIX], float factor)
{
    for (int i = 0; i < MATRIX; i++)
        m[i] *= factor;
}

static void matrix_square(float m[MATRIX])
{
    const float a = m[XX], b = m[XY], c = m[XZ], d = m[YY], e = m[YZ], f = m[ZZ];
    m[XX] = a * a + b * b + c * c;
    m[XY] = a * b + b * d + c * e;
    m[XZ] = a * c + b * e + c * f;
    m[YY] = b * b + d * d + e * e;
    m[YZ] = b * c + d * e + e * f;
    m[ZZ] = c * c + e * e + f * f;
}

/* The unit eigenvector of the least eigenvalue, and by how much the second is larger. */
static float least_direction(const float m[MATRIX], float f[3])
{
    float power[MATRIX];
    adjugate(m, power); /* has the same vectors, the least one's value the largest */
    const float pairs = trace(power);
    if (pairs <= ROUNDING * trace(m) * trace(m)) {
        f[0] = 1;
        f[1] = f[2] = 0;
        return 0;
    }
    for (int i = 0; i < SQUARINGS; i++) {
        scale(power, 1 / trace(power));
        matrix_square(power);
    }
    const float *const p = power;
    if (p[XX] >= p[YY] && p[XX] >= p[ZZ])
        memcpy(f, (const float[3]){ p[XX], p[XY], p[XZ] }, 3 * sizeof *f);
    else if (p[YY] >= p[ZZ])
        memcpy(f, (const float[3]){ p[XY], p[YY], p[YZ] }, 3 * sizeof *f);
    else
        memcpy(f, (const float[3]){ p[XZ], p[YZ], p[ZZ] }, 3 * sizeof *f);
    const float length = 1 / sqrtf(dot(f, f));
    for (int c = 0; c < 3; c++)
        f[c] *= length;
    /* The other two have sum and product. */
    const float least = quadratic(m, f), sum = trace(m) - least, product = pairs - least * sum;
    const float root = sqrtf(larger(sum * sum - 4 * product, 0));
    return larger(2 * product / (sum + root) - least, 0);
}

/* ---- sums over windows ------------------------------------------------------------------------------------------ */

/* Rows of a ring hold each pixel's own part in the sums; `columns` what is in the window's rows. Both begin OWN_REACH
 * to the left of what is wanted. */
struct windows {
    const struct own_sampling *job;
    int32_t x0, width;
    int32_t rows[SIDE]; /* which row of the picture is where */
    float *ring[SIDE], *columns;
    float *line[2][3], *screen[2][3]; /* rows of what is held beyond the edge */
};

static bool windows_new(struct windows *windows, const struct own_sampling *job, struct rect want,
                        struct arena *scratch)
{
    const int32_t width = rect_width(want) + 2 * OWN_REACH;
    const size_t stride = (size_t)width;
    float *next = arena_array(scratch, ((SIDE + 1) * SUMS + 12) * stride, sizeof *next);
    if (next == NULL)
        return false;
    *windows = (struct windows){ .job = job, .x0 = want.x0 - OWN_REACH, .width = width };
    for (int k = 0; k < SIDE; k++, next += SUMS * stride) {
        windows->ring[k] = next;
        windows->rows[k] = job->known.y0 - 1;
    }
    windows->columns = next;
    next += SUMS * stride;
    for (int i = 0; i < 6; i++, next += 2 * stride) {
        windows->line[i / 3][i % 3] = next;
        windows->screen[i / 3][i % 3] = next + stride;
    }
    return true;
}

/* What a take's pixels add: the normal's products, and noise along K, which the normal has none of. */
static void add_normals(const float *const y[3], const float *const k[3], const struct noise noise[3],
                        float *const to[TAKE_SUMS], int32_t count)
{
    const float *restrict r = y[0], *restrict g = y[1], *restrict b = y[2];
    const float *restrict kr = k[0], *restrict kg = k[1], *restrict kb = k[2];
    float *restrict xx = to[XX], *restrict xy = to[XY], *restrict xz = to[XZ], *restrict yy = to[YY];
    float *restrict yz = to[YZ], *restrict zz = to[ZZ], *restrict spread = to[NOISE];
    for (int32_t x = 0; x < count; x++) {
        const float u = kr[x], v = kg[x], w = kb[x], share = 1 / (u * u + v * v + w * w + TINY);
        const float p = g[x] * w - b[x] * v, q = b[x] * u - r[x] * w, s = r[x] * v - g[x] * u;
        const float variance =
            (noise_variance(noise[0], r[x]) + noise_variance(noise[1], g[x]) + noise_variance(noise[2], b[x])) *
            (1.0F / 3);
        xx[x] = (p * p + variance * u * u) * share;
        xy[x] = (p * q + variance * u * v) * share;
        xz[x] = (p * s + variance * u * w) * share;
        yy[x] = (q * q + variance * v * v) * share;
        yz[x] = (q * s + variance * v * w) * share;
        zz[x] = (s * s + variance * w * w) * share;
        spread[x] = variance;
    }
}

/* A take's row, held beyond what is known. */
static const float *take_row(const struct own_sampling *job, int i, int c, int32_t x0, int32_t y, int32_t count,
                             float *spare)
{
    const struct picture *take = &job->takes[i];
    const float *row = picture_row(take, (enum plane)c, y) - take->area.x0;
    if (x0 >= job->known.x0 && x0 + count <= job->known.x1)
        return row + x0;
    for (int32_t k = 0; k < count; k++)
        spare[k] = row[place_between(x0 + k, job->known.x0, job->known.x1 - 1)];
    return spare;
}

static void subtract(const float *restrict from, const float *restrict what, float *restrict to, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        to[x] = from[x] - what[x];
}

static void make_row(struct windows *windows, int32_t y, float *sums)
{
    const struct own_sampling *job = windows->job;
    const int32_t width = windows->width, x0 = windows->x0;
    const size_t stride = (size_t)width;
    const float *take[2][3], *field[2][3];
    for (int i = 0; i < 2; i++) {
        float *to[TAKE_SUMS];
        for (int c = 0; c < 3; c++) {
            take[i][c] = take_row(job, i, c, x0, y, width, windows->line[i][c]);
            field[i][c] = screen_row(&job->screens->screen[i], c, x0, y, width, windows->screen[i][c]);
        }
        for (int k = 0; k < TAKE_SUMS; k++)
            to[k] = sums + (size_t)(i * TAKE_SUMS + k) * stride;
        add_normals(take[i], field[i], job->screens->screen[i].noise, to, width);
    }
    for (int c = 0; c < 3; c++)
        subtract(take[job->own][c], take[1 - job->own][c], sums + (size_t)(APART + c) * stride, width);
}

/* Makes `columns` those of row y. */
static void windows_at(struct windows *windows, int32_t y)
{
    const struct rect known = windows->job->known;
    const size_t count = SUMS * (size_t)windows->width;
    const float *restrict part[SIDE];
    for (int k = 0; k < SIDE; k++) {
        const int32_t row = place_between(y + k - OWN_REACH, known.y0, known.y1 - 1);
        const int slot = (int)((row - known.y0) % SIDE);
        if (windows->rows[slot] != row)
            make_row(windows, row, windows->ring[slot]);
        windows->rows[slot] = row;
        part[k] = windows->ring[slot];
    }
    float *restrict columns = windows->columns;
    for (size_t i = 0; i < count; i++)
        columns[i] = (part[0][i] + part[4][i]) + (part[1][i] + part[3][i]) + part[2][i];
}

static void windows_mean(const struct windows *windows, int32_t x, float mean[SUMS])
{
    for (int k = 0; k < SUMS; k++) {
        const float *at = windows->columns + (size_t)k * (size_t)windows->width + x;
        mean[k] = ((at[0] + at[4]) + (at[1] + at[3]) + at[2]) * (1.0F / WINDOW);
    }
}

/* What the equations miss around each pixel of row y: windows' means. */
static void mean_misfit(const struct own_sampling *job, struct rect want, int32_t y, float *columns, float *mean)
{
    const struct rect known = job->known;
    const int32_t count = rect_width(want), seen = count + 2 * OWN_REACH;
    memset(columns, 0, (size_t)seen * sizeof *columns);
    for (int k = -OWN_REACH; k <= OWN_REACH; k++) {
        const float *row =
            picture_row(job->misfit, PLANE_A, place_between(y + k, known.y0, known.y1 - 1)) - job->misfit->area.x0;
        for (int32_t x = 0; x < seen; x++)
            columns[x] += row[place_between(want.x0 - OWN_REACH + x, known.x0, known.x1 - 1)];
    }
    for (int32_t x = 0; x < count; x++)
        mean[x] =
            ((columns[x] + columns[x + 4]) + (columns[x + 1] + columns[x + 3]) + columns[x + 2]) * (1.0F / WINDOW);
}

/* ---- one pixel --------------------------------------------------------------------------------------------------- */

/* The take that counts: its light and screen; the other screen; both screens as directions. */
struct pixel {
    float light[3], screen[3], other[3], along[3], across[3], length;
};

static float unit(const float v[3], float to[3])
{
    const float length = sqrtf(dot(v, v) + TINY);
    for (int c = 0; c < 3; c++)
        to[c] = v[c] / length;
    return length;
}

static void pixel_read(const struct own_sampling *job, int32_t x, int32_t y, struct pixel *pixel)
{
    float spare;
    const struct picture *take = &job->takes[job->own];
    for (int c = 0; c < 3; c++) {
        pixel->light[c] = picture_row(take, (enum plane)c, y)[x - take->area.x0];
        pixel->screen[c] = *screen_row(&job->screens->screen[job->own], c, x, y, 1, &spare);
        pixel->other[c] = *screen_row(&job->screens->screen[1 - job->own], c, x, y, 1, &spare);
    }
    pixel->length = unit(pixel->screen, pixel->along);
    unit(pixel->other, pixel->across);
}

/* How surely the takes do not show the same thing: what two pictures show differs in a window's mean too, what two
 * samplings make of one picture evens out there. */
static float apart(const struct pixel *pixel, const float difference[3])
{
    float arm[3];
    for (int c = 0; c < 3; c++)
        arm[c] = pixel->screen[c] - pixel->other[c];
    const float square = dot(arm, arm) + TINY, along = dot(arm, difference);
    const float missed = dot(difference, difference) - along * along / square;
    return disagree_share(0.5F * missed / square);
}

/* t by the one take, and its variance. The sums' means over the window: its own, and the other take's. */
static float one_take(const struct pixel *pixel, const float *mean, const float *others, const struct noise noise[3],
                      float *variance)
{
    float both[MATRIX], f[3], off = 0;
    for (int i = 0; i < MATRIX; i++)
        both[i] = mean[i] + others[i];
    const float gap = least_direction(both, f);
    const float first = dot(f, pixel->along), second = dot(f, pixel->across);
    const float sine = larger(1 - first * first, TINY), sine2 = larger(1 - second * second, TINY);
    const float down = 1 / (pixel->length * sine);
    float grain = 0, colour = 0;
    for (int c = 0; c < 3; c++) {
        const float part = (pixel->along[c] - first * f[c]) * down;
        off += part * pixel->light[c];
        grain += part * part * noise_variance(noise[c], pixel->light[c]);
    }
    for (int c = 0; c < 3; c++) {
        const float rest = pixel->light[c] - off * pixel->screen[c];
        colour += rest * rest;
    }
    /* The colours' scatter off each plane; what counts is that within the first, and the other plane tells of it. */
    const float scatter = larger(0, (quadratic(mean, f) - mean[NOISE]) / sine);
    const float scatter2 = larger(0, (quadratic(others, f) - others[NOISE]) / sine2);
    const float turned = dot(pixel->along, pixel->across) - first * second;
    const float cosine = smaller(turned * turned / (sine * sine2), 1);
    const float within = larger(0.5F * (scatter + scatter2), (scatter2 - cosine * scatter) / (1 - cosine + LEAST_SINE));
    const float even = mean[NOISE] + others[NOISE]; /* what noise alone makes of every eigenvalue */
    const float least = larger(quadratic(both, f) - even, 0) + even * (0.5F / WINDOW);
    const float turn = smaller(least / (larger(gap - even, 0) + TINY), 1);
    *variance = grain + down * down * sine * (within + colour * turn);
    return off;
}

static void mix(const struct own_sampling *job, const struct windows *windows, struct rect want, int32_t y,
                const float *missed)
{
    const size_t column = (size_t)(want.x0 - job->t->area.x0);
    float *t = picture_row(job->t, PLANE_A, y) + column, *share = picture_row(job->share, PLANE_A, y) + column;
    float *variance = picture_row(job->variance, PLANE_A, y) + column;
    float *differs = picture_row(job->apart, PLANE_A, y) + column;
    for (int32_t x = 0; x < rect_width(want); x++) {
        struct pixel pixel;
        float mean[SUMS], own;
        if (missed[x] <= MISS_FROM)
            continue;
        pixel_read(job, want.x0 + x, y, &pixel);
        windows_mean(windows, x, mean);
        const float alone = one_take(&pixel, mean + job->own * TAKE_SUMS, mean + (1 - job->own) * TAKE_SUMS,
                                     job->screens->screen[job->own].noise, &own);
        const float moved = apart(&pixel, mean + APART);
        const float pair = variance[x] * missed[x];
        const float part =
            (1 - moved) * pair / (pair + own) * smaller((missed[x] - MISS_FROM) * (1 / (MISS_TO - MISS_FROM)), 1);
        t[x] += part * (alone - t[x]);
        variance[x] = part * part * own + (1 - part) * (1 - part) * variance[x];
        share[x] = part;
        differs[x] = moved;
    }
}

bool own_sampling(const struct own_sampling *job, struct rect want, struct arena *scratch)
{
    struct windows windows;
    const int32_t count = rect_width(want);
    float *columns = arena_array(scratch, (size_t)count + 2 * OWN_REACH, sizeof *columns);
    float *missed = arena_array(scratch, (size_t)count, sizeof *missed);
    if (columns == NULL || missed == NULL || !windows_new(&windows, job, want, scratch))
        return false;
    for (int32_t y = want.y0; y < want.y1; y++) {
        float most = 0;
        mean_misfit(job, want, y, columns, missed);
        for (int32_t x = 0; x < count; x++)
            most = larger(most, missed[x]);
        if (most <= MISS_FROM)
            continue;
        windows_at(&windows, y);
        mix(job, &windows, want, y, missed);
    }
    return true;
}
