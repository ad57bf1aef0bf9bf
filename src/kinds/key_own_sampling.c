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
#define NEAR 9         /* pixels of the window that tells the colour: 3 x 3 */
#define BATCH 64       /* pixels worked on at a time */
#define MISS_FROM 1.5F /* 1 is expected, with a standard deviation of 0.2 */
#define MISS_TO 2.0F
#define SQUARINGS 4      /* of the adjugate: the eigenvalues' ratio to its 16th power */
#define LEAST_SINE 0.02F /* of the angle between the planes, squared: the other plane tells of scatter in the first */
#define ROUNDING 1e-5F   /* of eigenvalues against the largest */
#define EVEN_GAP 1.7F    /* between the eigenvalues of noise, at most, in its mean one */
#define TINY 1e-12F

/* A symmetric matrix. */
enum { XX, XY, XZ, YY, YZ, ZZ, MATRIX };

/* Per take Σ n n', made even in all directions by noise, and Σ of noise; then Σ of what the takes differ by. */
enum { NOISE = MATRIX, TAKE_SUMS, APART = 2 * TAKE_SUMS, SUMS = APART + 3 };

/* ---- directions ------------------------------------------------------------------------------------------------- */

static inline float dot(const float a[3], const float b[3])
{
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

static inline float quadratic(const float m[MATRIX], const float v[3])
{
    return v[0] * (m[XX] * v[0] + 2 * (m[XY] * v[1] + m[XZ] * v[2])) + v[1] * (m[YY] * v[1] + 2 * m[YZ] * v[2]) +
           v[2] * m[ZZ] * v[2];
}

static inline float trace(const float m[MATRIX])
{
    return m[XX] + m[YY] + m[ZZ];
}

static inline void adjugate(const float m[MATRIX], float to[MATRIX])
{
    to[XX] = m[YY] * m[ZZ] - m[YZ] * m[YZ];
    to[XY] = m[XZ] * m[YZ] - m[XY] * m[ZZ];
    to[XZ] = m[XY] * m[YZ] - m[XZ] * m[YY];
    to[YY] = m[XX] * m[ZZ] - m[XZ] * m[XZ];
    to[YZ] = m[XY] * m[XZ] - m[XX] * m[YZ];
    to[ZZ] = m[XX] * m[YY] - m[XY] * m[XY];
}

static inline void scale(float m[MATRIX], float factor)
{
    for (int i = 0; i < MATRIX; i++)
        m[i] *= factor;
}

static inline void matrix_square(float m[MATRIX])
{
    const float a = m[XX], b = m[XY], c = m[XZ], d = m[YY], e = m[YZ], f = m[ZZ];
    m[XX] = a * a + b * b + c * c;
    m[XY] = a * b + b * d + c * e;
    m[XZ] = a * c + b * e + c * f;
    m[YY] = b * b + d * d + e * e;
    m[YZ] = b * c + d * e + e * f;
    m[ZZ] = c * c + e * e + f * f;
}

/* The unit eigenvector of the least eigenvalue, and by how much the second is larger; without branches, so that pixels
 * can be worked on side by side. */
static inline float least_direction(const float m[MATRIX], float f[3])
{
    float p[MATRIX];
    adjugate(m, p); /* has the same vectors, the least one's value the largest */
    const float all = trace(m), pairs = trace(p);
    const bool known = pairs > ROUNDING * all * all;
    for (int i = 0; i < SQUARINGS; i++) {
        scale(p, 1 / trace(p));
        matrix_square(p);
    }
    /* Its columns are along the vector; that of the largest diagonal is the surest. */
    const bool first = p[XX] >= p[YY] && p[XX] >= p[ZZ], second = p[YY] >= p[ZZ];
    f[0] = first ? p[XX] : second ? p[XY] : p[XZ];
    f[1] = first ? p[XY] : second ? p[YY] : p[YZ];
    f[2] = first ? p[XZ] : second ? p[YZ] : p[ZZ];
    const float length = 1 / sqrtf(dot(f, f));
    f[0] = known ? f[0] * length : 1;
    f[1] = known ? f[1] * length : 0;
    f[2] = known ? f[2] * length : 0;
    /* The other two have sum and product. */
    const float least = quadratic(m, f), sum = all - least, product = pairs - least * sum;
    const float root = sqrtf(larger(sum * sum - 4 * product, 0));
    return known ? larger(2 * product / (sum + root) - least, 0) : 0;
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
static void normals(const float *const y[3], const float *const k[3], const struct noise noise[3], int32_t x0,
                    int32_t count, float to[restrict TAKE_SUMS][BATCH])
{
    const float *r = y[0] + x0, *g = y[1] + x0, *b = y[2] + x0, *kr = k[0] + x0, *kg = k[1] + x0, *kb = k[2] + x0;
    for (int32_t x = 0; x < count; x++) {
        const float u = kr[x], v = kg[x], w = kb[x], share = 1 / (u * u + v * v + w * w + TINY);
        const float p = g[x] * w - b[x] * v, q = b[x] * u - r[x] * w, s = r[x] * v - g[x] * u;
        const float variance =
            (noise_variance(noise[0], r[x]) + noise_variance(noise[1], g[x]) + noise_variance(noise[2], b[x])) *
            (1.0F / 3);
        to[XX][x] = (p * p + variance * u * u) * share;
        to[XY][x] = (p * q + variance * u * v) * share;
        to[XZ][x] = (p * s + variance * u * w) * share;
        to[YY][x] = (q * q + variance * v * v) * share;
        to[YZ][x] = (q * s + variance * v * w) * share;
        to[ZZ][x] = (s * s + variance * w * w) * share;
        to[NOISE][x] = variance;
    }
}

/* A take's row, held beyond what is known. */
static const float *take_row(const struct own_sampling *job, int i, int c, int32_t x0, int32_t y, int32_t count,
                             float *spare)
{
    const struct picture *take = &job->takes[i];
    const float *row = picture_row(take, (enum plane)c, y) + (job->known.x0 - take->area.x0);
    return held_row(row, job->known.x0, job->known.x1, x0, count, spare);
}

static void subtract(const float *restrict from, const float *restrict what, float *restrict to, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        to[x] = from[x] - what[x];
}

/* The one take's sums come first. */
static void make_row(struct windows *windows, int32_t y, float *sums)
{
    const struct own_sampling *job = windows->job;
    const int32_t width = windows->width, x0 = windows->x0;
    const size_t stride = (size_t)width;
    const float *take[2][3], *field[2][3];
    for (int i = 0; i < 2; i++) {
        const int which = i == 0 ? job->own : 1 - job->own;
        const struct screen *screen = &job->screens->screen[which];
        float part[TAKE_SUMS][BATCH];
        for (int c = 0; c < 3; c++) {
            take[i][c] = take_row(job, which, c, x0, y, width, windows->line[i][c]);
            field[i][c] = screen_row(screen, c, x0, y, width, windows->screen[i][c]);
        }
        for (int32_t x = 0; x < width; x += BATCH) {
            const int32_t count = width - x < BATCH ? width - x : BATCH;
            normals(take[i], field[i], screen->noise, x, count, part);
            for (int k = 0; k < TAKE_SUMS; k++)
                memcpy(sums + (size_t)(i * TAKE_SUMS + k) * stride + x, part[k], (size_t)count * sizeof(float));
        }
    }
    for (int c = 0; c < 3; c++)
        subtract(take[0][c], take[1][c], sums + (size_t)(APART + c) * stride, width);
}

/* Makes `columns` those of row y: colours of three rows, differences of five. */
static void windows_at(struct windows *windows, int32_t y)
{
    const struct rect known = windows->job->known;
    const size_t all = SUMS * (size_t)windows->width, near = APART * (size_t)windows->width;
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
    for (size_t i = 0; i < near; i++)
        columns[i] = (part[1][i] + part[3][i]) + part[2][i];
    for (size_t i = near; i < all; i++)
        columns[i] = (part[0][i] + part[4][i]) + (part[1][i] + part[3][i]) + part[2][i];
}

/* What the equations miss around each pixel of row y: windows' means. */
static void mean_misfit(const struct own_sampling *job, struct rect want, int32_t y, float *columns, float *spare,
                        float *restrict mean)
{
    const struct rect known = job->known;
    const int32_t count = rect_width(want), seen = count + 2 * OWN_REACH;
    memset(columns, 0, (size_t)seen * sizeof *columns);
    for (int k = -OWN_REACH; k <= OWN_REACH; k++) {
        const float *row = picture_row(job->misfit, PLANE_A, place_between(y + k, known.y0, known.y1 - 1)) +
                           (known.x0 - job->misfit->area.x0);
        const float *held = held_row(row, known.x0, known.x1, want.x0 - OWN_REACH, seen, spare);
        for (int32_t x = 0; x < seen; x++)
            columns[x] += held[x];
    }
    for (int32_t x = 0; x < count; x++)
        mean[x] =
            ((columns[x] + columns[x + 4]) + (columns[x + 1] + columns[x + 3]) + columns[x + 2]) * (1.0F / WINDOW);
}

/* ---- pixels side by side ----------------------------------------------------------------------------------------- */

/* Pixels of a row. `mean` begins with the one take's sums. */
struct batch {
    int count;
    int32_t at[BATCH];
    float mean[SUMS][BATCH];
    float light[3][BATCH], screen[3][BATCH], other[3][BATCH];
    float t[BATCH], variance[BATCH], apart[BATCH];
};

/* How surely the takes do not show the same thing: what two pictures show differs in a window's mean too, what two
 * samplings make of one picture evens out there. */
static inline float apart(const float screen[3], const float other[3], const float difference[3])
{
    const float arm[3] = { screen[0] - other[0], screen[1] - other[1], screen[2] - other[2] };
    const float square = dot(arm, arm) + TINY, along = dot(arm, difference);
    const float missed = dot(difference, difference) - along * along / square;
    return disagree_share(0.5F * missed / square);
}

static inline float unit(const float v[3], float to[3])
{
    const float length = sqrtf(dot(v, v) + TINY);
    for (int c = 0; c < 3; c++)
        to[c] = v[c] / length;
    return length;
}

/* t by the one take, and its variance. The sums' means over the window: its own, and the other take's. */
static inline float one_take(const float light[3], const float screen[3], const float other[3],
                             const struct noise noise[3], const float mean[TAKE_SUMS], const float others[TAKE_SUMS],
                             float *variance)
{
    float both[MATRIX], f[3], along[3], across[3], off = 0, grain = 0, colour = 0;
    for (int i = 0; i < MATRIX; i++)
        both[i] = mean[i] + others[i];
    const float gap = least_direction(both, f), length = unit(screen, along);
    unit(other, across);
    const float first = dot(f, along), second = dot(f, across);
    const float sine = larger(1 - first * first, TINY), sine2 = larger(1 - second * second, TINY);
    const float down = 1 / (length * sine);
    for (int c = 0; c < 3; c++) {
        const float part = (along[c] - first * f[c]) * down;
        off += part * light[c];
        grain += part * part * noise_variance(noise[c], light[c]);
    }
    for (int c = 0; c < 3; c++) {
        const float rest = light[c] - off * screen[c];
        colour += rest * rest;
    }
    /* The colours' scatter off each plane; what counts is that within the first, and the other plane tells of it. */
    const float scatter = larger(0, (quadratic(mean, f) - mean[NOISE]) / sine);
    const float scatter2 = larger(0, (quadratic(others, f) - others[NOISE]) / sine2);
    const float turned = dot(along, across) - first * second;
    const float cosine = smaller(turned * turned / (sine * sine2), 1);
    const float within = larger(0.5F * (scatter + scatter2), (scatter2 - cosine * scatter) / (1 - cosine + LEAST_SINE));
    const float even = mean[NOISE] + others[NOISE]; /* what noise alone makes of every eigenvalue */
    const float least = larger(quadratic(both, f) - even, 0) + even * (0.5F / NEAR);
    const float turn = smaller(least / (larger(gap - EVEN_GAP * even, 0) + TINY), 1);
    *variance = grain + down * down * sine * (within + colour * turn);
    return off;
}

static void batch_solve(struct batch *restrict batch, const struct noise noise[3])
{
    for (int i = 0; i < BATCH; i++) {
        float mean[2][TAKE_SUMS], light[3], screen[3], other[3], difference[3];
        for (int k = 0; k < TAKE_SUMS; k++) {
            mean[0][k] = batch->mean[k][i];
            mean[1][k] = batch->mean[TAKE_SUMS + k][i];
        }
        for (int c = 0; c < 3; c++) {
            light[c] = batch->light[c][i];
            screen[c] = batch->screen[c][i];
            other[c] = batch->other[c][i];
            difference[c] = batch->mean[APART + c][i];
        }
        batch->t[i] = one_take(light, screen, other, noise, mean[0], mean[1], &batch->variance[i]);
        batch->apart[i] = apart(screen, other, difference);
    }
}

/* The rows that a batch is gathered from; all begin where `columns` does. */
struct lines {
    const float *light[3], *screen[3], *other[3];
};

static void batch_add(struct batch *batch, const struct windows *windows, const struct lines *lines, int32_t x)
{
    const int i = batch->count++;
    batch->at[i] = x;
    const float *sum = windows->columns + x;
    for (int k = 0; k < APART; k++, sum += windows->width)
        batch->mean[k][i] = ((sum[1] + sum[3]) + sum[2]) * (1.0F / NEAR);
    for (int k = APART; k < SUMS; k++, sum += windows->width)
        batch->mean[k][i] = ((sum[0] + sum[4]) + (sum[1] + sum[3]) + sum[2]) * (1.0F / WINDOW);
    for (int c = 0; c < 3; c++) {
        batch->light[c][i] = lines->light[c][x + OWN_REACH];
        batch->screen[c][i] = lines->screen[c][x + OWN_REACH];
        batch->other[c][i] = lines->other[c][x + OWN_REACH];
    }
}

/* ---- rows -------------------------------------------------------------------------------------------------------- */

static void batch_end(struct batch *batch, const struct own_sampling *job, struct rect want, int32_t y,
                      const float *missed)
{
    const size_t column = (size_t)(want.x0 - job->t->area.x0);
    float *t = picture_row(job->t, PLANE_A, y) + column, *share = picture_row(job->share, PLANE_A, y) + column;
    float *variance = picture_row(job->variance, PLANE_A, y) + column;
    float *differs = picture_row(job->apart, PLANE_A, y) + column;
    batch_solve(batch, job->screens->screen[job->own].noise);
    for (int i = 0; i < batch->count; i++) {
        const int32_t x = batch->at[i];
        const float pair = variance[x] * missed[x], own = batch->variance[i];
        const float miss = smaller((missed[x] - MISS_FROM) * (1 / (MISS_TO - MISS_FROM)), 1);
        const float part = miss * (1 - batch->apart[i]) * pair / (pair + own);
        t[x] += part * (batch->t[i] - t[x]);
        variance[x] = part * part * own + (1 - part) * (1 - part) * variance[x];
        share[x] = part;
        differs[x] = batch->apart[i];
    }
    batch->count = 0;
}

static void mix_row(struct windows *windows, struct batch *batch, struct rect want, int32_t y, const float *missed)
{
    const struct own_sampling *job = windows->job;
    const int own = job->own;
    struct lines lines;
    windows_at(windows, y);
    for (int c = 0; c < 3; c++) {
        lines.light[c] = take_row(job, own, c, windows->x0, y, windows->width, windows->line[0][c]);
        lines.screen[c] =
            screen_row(&job->screens->screen[own], c, windows->x0, y, windows->width, windows->screen[0][c]);
        lines.other[c] =
            screen_row(&job->screens->screen[1 - own], c, windows->x0, y, windows->width, windows->screen[1][c]);
    }
    for (int32_t x = 0; x < rect_width(want); x++) {
        if (missed[x] > MISS_FROM)
            batch_add(batch, windows, &lines, x);
        if (batch->count == BATCH)
            batch_end(batch, job, want, y, missed);
    }
    batch_end(batch, job, want, y, missed);
}

bool own_sampling(const struct own_sampling *job, struct rect want, struct arena *scratch)
{
    struct windows windows;
    const int32_t count = rect_width(want);
    struct batch *batch = arena_take(scratch, sizeof *batch);
    const size_t seen = (size_t)count + 2 * OWN_REACH;
    float *columns = arena_array(scratch, 2 * seen, sizeof *columns);
    float *missed = arena_array(scratch, (size_t)count, sizeof *missed);
    if (batch == NULL || columns == NULL || missed == NULL || !windows_new(&windows, job, want, scratch))
        return false;
    memset(batch, 0, sizeof *batch);
    for (int32_t y = want.y0; y < want.y1; y++) {
        float most = 0;
        mean_misfit(job, want, y, columns, columns + seen, missed);
        for (int32_t x = 0; x < count; x++)
            most = larger(most, missed[x]);
        if (most > MISS_FROM)
            mix_row(&windows, batch, want, y, missed);
    }
    return true;
}
