/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Foreground colours F near a place have mean m and covariance S, so the pixel a F + (1 - a) K strays from the line
 * between m and K by a² S and by noise. Weighted by the inverse of that, the projection onto the line is the best
 * linear estimate: alpha = (K - y)ᵀ W (K - m) / (K - m)ᵀ W (K - m). Where the surroundings vary (light and shade on one
 * cloth, skin and hair) the varying directions have little say by themselves. Sums over cells are taken in a fixed
 * window and order around each cell, so that they are the same whatever is being filled.
 *
 * Two explanations compete for a pixel: the colours near by, and greys of any brightness, as smoke, glass and blurred
 * things have them. Each has its alpha and its likelihood at that alpha; the answer is the mean of both, weighted by
 * likelihood and by how much solid there is near by (Bayes).
 */
#include "kinds/key_local.h"

#include <math.h>
#include <string.h>

#include "base/error.h"
#include "numerics/between.h"
#include "picture/function.h"

#define WINDOW 6                                                             /* cells to each side */
#define SUMS 10                                                              /* count, 3 means, 6 products */
#define WHOLE_WINDOW ((WINDOW + 1) * (WINDOW + 1) * LOCAL_CELL * LOCAL_CELL) /* pixels, weighted */
#define TYPICAL_ALPHA2 0.25F
/* Shares of the screen's brightest channel: */
#define FLOOR_SHARE 0.01F  /* colours near by differ at least so much */
#define GREY_MEAN 0.55F    /* of greys */
#define GREY_SPREAD 0.27F  /* how much brighter or darker they are */
#define GREY_CHROMA 0.036F /* how far off grey */
#define GREY_CHANCE 0.003F /* so much solid near by is as likely to explain a pixel as greys are */
#define WHOLE_LEAST 0.2F   /* a measure is not stretched beyond five times */
#define ALPHA_LEAST 0.02   /* likelihoods are taken at no less */
#define SURE 40.0

static int32_t cell_of(int32_t pixel)
{
    return pixel >= 0 ? pixel / LOCAL_CELL : -((LOCAL_CELL - 1 - pixel) / LOCAL_CELL);
}

/* The ten sums of one cell. */
static void cell_sums(const struct picture *take, const struct picture *solid, int32_t i, int32_t j, float sums[SUMS])
{
    const struct rect cell =
        rect_cut(rect_of(i * LOCAL_CELL, j * LOCAL_CELL, (i + 1) * LOCAL_CELL, (j + 1) * LOCAL_CELL), solid->area);
    memset(sums, 0, SUMS * sizeof *sums);
    for (int32_t y = cell.y0; y < cell.y1; y++) {
        const float *is_solid = picture_row(solid, PLANE_A, y) - solid->area.x0;
        const float *r = picture_row(take, PLANE_R, y) - take->area.x0;
        const float *g = picture_row(take, PLANE_G, y) - take->area.x0;
        const float *b = picture_row(take, PLANE_B, y) - take->area.x0;
        for (int32_t x = cell.x0; x < cell.x1; x++) {
            if (is_solid[x] == 0)
                continue;
            const float all[SUMS] = { 1,           r[x],        g[x],        b[x],        r[x] * r[x],
                                      r[x] * g[x], r[x] * b[x], g[x] * g[x], g[x] * b[x], b[x] * b[x] };
            for (int k = 0; k < SUMS; k++)
                sums[k] += is_solid[x] * all[k];
        }
    }
}

/* out = tent-weighted sums along one direction; cells outside the grid count nothing. */
static void window_sums(const float *in, float *out, int32_t count, int32_t lines, int32_t step, int32_t line_step)
{
    for (int32_t line = 0; line < lines; line++) {
        for (int32_t i = 0; i < count; i++) {
            float sums[SUMS] = { 0 };
            for (int32_t d = -WINDOW; d <= WINDOW; d++) {
                if (i + d < 0 || i + d >= count)
                    continue;
                const float weight = (float)(WINDOW + 1 - (d < 0 ? -d : d)) / (WINDOW + 1);
                const float *from = in + (size_t)(line * line_step + (i + d) * step) * SUMS;
                for (int k = 0; k < SUMS; k++)
                    sums[k] += weight * from[k];
            }
            memcpy(out + (size_t)(line * line_step + i * step) * SUMS, sums, sizeof sums);
        }
    }
}

/* A symmetric 3x3 matrix: rr rg rb gg gb bb. */
static const int diagonal[3] = { 0, 3, 5 };

/* The matrix of cofactors, that is inverse times determinant; returns the determinant. */
static double cofactors(const double m[6], double k[6])
{
    k[0] = m[3] * m[5] - m[4] * m[4];
    k[1] = m[2] * m[4] - m[1] * m[5];
    k[2] = m[1] * m[4] - m[2] * m[3];
    k[3] = m[0] * m[5] - m[2] * m[2];
    k[4] = m[1] * m[2] - m[0] * m[4];
    k[5] = m[0] * m[3] - m[1] * m[1];
    return m[0] * k[0] + m[1] * k[1] + m[2] * k[2];
}

static void times(const double m[6], const double v[3], double x[3])
{
    x[0] = m[0] * v[0] + m[1] * v[1] + m[2] * v[2];
    x[1] = m[1] * v[0] + m[3] * v[1] + m[4] * v[2];
    x[2] = m[2] * v[0] + m[4] * v[1] + m[5] * v[2];
}

/* The measure of alpha for colours of this mean and spread before the screen there. False when they are the screen's.
 */
static bool find_measure(const float mean[3], const float spread[6], const float field[3], const struct noise noise[3],
                         float measure[3])
{
    double all[6], inverse[6], way[3], pull[3], length = 0;
    for (int k = 0; k < 6; k++)
        all[k] = (double)(TYPICAL_ALPHA2 * spread[k]);
    for (int c = 0; c < 3; c++) {
        all[diagonal[c]] += (double)noise_variance(noise[c], field[c]);
        way[c] = (double)(field[c] - mean[c]);
    }
    cofactors(all, inverse);
    times(inverse, way, pull);
    for (int c = 0; c < 3; c++)
        length += way[c] * pull[c];
    for (int c = 0; c < 3; c++)
        measure[c] = length > 0 ? (float)(pull[c] / length) : 0;
    return length > 0;
}

static void grey_of(float bright, float mean[3], float spread[6])
{
    const float along = GREY_SPREAD * GREY_SPREAD * bright * bright, off = GREY_CHROMA * GREY_CHROMA * bright * bright;
    for (int k = 0; k < 6; k++)
        spread[k] = along;
    for (int c = 0; c < 3; c++) {
        mean[c] = GREY_MEAN * bright;
        spread[diagonal[c]] = along + off;
    }
}

/* From the sums around a cell and the screen there to what is known. */
static void cell_values(const struct local *local, const float sums[SUMS], const float field[3],
                        struct local_values *values)
{
    const float floor = FLOOR_SHARE * local->bright, share = 1 / larger(sums[0], 1e-6F);
    float *mean = values->v + LOCAL_MEAN, *spread = values->v + LOCAL_SPREAD;
    float grey[3], grey_spread[6];
    grey_of(local->bright, grey, grey_spread);
    find_measure(grey, grey_spread, field, local->screen->noise, values->v + LOCAL_GREY);
    for (int c = 0; c < 3; c++)
        mean[c] = sums[1 + c] * share;
    for (int k = 0, i = 0; i < 3; i++) {
        for (int j = i; j < 3; j++, k++)
            spread[k] = sums[4 + k] * share - mean[i] * mean[j];
    }
    for (int c = 0; c < 3; c++)
        spread[diagonal[c]] = larger(spread[diagonal[c]], 0) + floor * floor;
    values->v[LOCAL_SHARE] = sums[0] / WHOLE_WINDOW;
    if (sums[0] > 0 && find_measure(mean, spread, field, local->screen->noise, values->v + LOCAL_MEASURE))
        return;
    memcpy(mean, grey, sizeof grey);
    memcpy(spread, grey_spread, sizeof grey_spread);
    memcpy(values->v + LOCAL_MEASURE, values->v + LOCAL_GREY, 3 * sizeof(float));
    values->v[LOCAL_SHARE] = 0;
}

static void fill_cells(const struct local *local, const float *sums, struct rect grid)
{
    const int32_t width = rect_width(local->cells);
    for (int32_t j = local->cells.y0; j < local->cells.y1; j++) {
        for (int32_t i = local->cells.x0; i < local->cells.x1; i++) {
            const size_t from = (size_t)((j - grid.y0) * rect_width(grid) + i - grid.x0) * SUMS;
            float field[3];
            for (int c = 0; c < 3; c++)
                field[c] = *screen_row(local->screen, c, i * LOCAL_CELL + LOCAL_CELL / 2,
                                       j * LOCAL_CELL + LOCAL_CELL / 2, 1, &field[c]);
            cell_values(local, sums + from, field, &local->values[(j - local->cells.y0) * width + i - local->cells.x0]);
        }
    }
}

enum passel_status local_learn(struct local *local, struct rect want, const struct picture *take,
                               const struct picture *solid, const struct screen *screen, float bright,
                               struct arena *scratch, struct passel_error *error)
{
    *local = (struct local){ .cells = rect_of(cell_of(want.x0) - 1, cell_of(want.y0) - 1, cell_of(want.x1 - 1) + 2,
                                              cell_of(want.y1 - 1) + 2),
                             .screen = screen,
                             .bright = bright };
    const struct rect grid = rect_grow(local->cells, WINDOW, WINDOW);
    const size_t cells = (size_t)rect_width(local->cells) * (size_t)rect_height(local->cells);
    const size_t all = (size_t)rect_width(grid) * (size_t)rect_height(grid);
    float *sums = arena_array(scratch, all, SUMS * sizeof *sums);
    float *across = arena_array(scratch, all, SUMS * sizeof *across);
    local->values = arena_array(scratch, cells, sizeof *local->values);
    if (sums == NULL || across == NULL || local->values == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int32_t j = grid.y0; j < grid.y1; j++) {
        for (int32_t i = grid.x0; i < grid.x1; i++)
            cell_sums(take, solid, i, j, sums + (size_t)((j - grid.y0) * rect_width(grid) + i - grid.x0) * SUMS);
    }
    window_sums(sums, across, rect_width(grid), rect_height(grid), 1, rect_width(grid));
    window_sums(across, sums, rect_height(grid), rect_width(grid), rect_width(grid), 1);
    fill_cells(local, sums, grid);
    return PASSEL_OK;
}

/* ---- one pixel --------------------------------------------------------------------------------------------------- */

/* Linear between cell centres. */
static struct local_values values_at(const struct local *local, int32_t x, int32_t y)
{
    const int32_t i = cell_of(x - LOCAL_CELL / 2), j = cell_of(y - LOCAL_CELL / 2);
    const float over = ((float)(x - i * LOCAL_CELL) + 0.5F) / LOCAL_CELL - 0.5F;
    const float down = ((float)(y - j * LOCAL_CELL) + 0.5F) / LOCAL_CELL - 0.5F;
    const int32_t width = rect_width(local->cells);
    const struct local_values *top = local->values + (j - local->cells.y0) * width + (i - local->cells.x0);
    const struct local_values *bottom = top + width;
    const float shares[4] = { (1 - over) * (1 - down), over * (1 - down), (1 - over) * down, over * down };
    struct local_values values;
    for (int k = 0; k < LOCAL_COUNT; k++)
        values.v[k] =
            shares[0] * top[0].v[k] + shares[1] * top[1].v[k] + shares[2] * bottom[0].v[k] + shares[3] * bottom[1].v[k];
    return values;
}

/* How far the pixel has gone from the screen to `mean`. The measure was made for the screen at the cell, which may be
 * lighter than here, where a shadow falls. */
static float measured(const float measure[3], const float mean[3], const float pixel[3], const float field[3])
{
    float gone = 0, whole = 0;
    for (int c = 0; c < 3; c++) {
        gone += measure[c] * (field[c] - pixel[c]);
        whole += measure[c] * (field[c] - mean[c]);
    }
    return smaller(gone / larger(whole, WHOLE_LEAST), 1);
}

/* How little colours of this mean and spread explain the pixel at this alpha: -2 ln of the likelihood's exponential
 * part, and the determinant of the spread. */
static double surprise(const float mean[3], const float spread[6], const float pixel[3], const float field[3],
                       const struct noise noise[3], float alpha, double *determinant)
{
    const double a = (double)alpha > 1 ? 1 : (double)alpha > ALPHA_LEAST ? (double)alpha : ALPHA_LEAST;
    double all[6], inverse[6], off[3], pull[3];
    for (int k = 0; k < 6; k++)
        all[k] = a * a * (double)spread[k];
    for (int c = 0; c < 3; c++) {
        all[diagonal[c]] += (double)noise_variance(noise[c], pixel[c]);
        off[c] = (double)pixel[c] - a * (double)mean[c] - (1 - a) * (double)field[c];
    }
    *determinant = cofactors(all, inverse);
    times(inverse, off, pull);
    return (off[0] * pull[0] + off[1] * pull[1] + off[2] * pull[2]) / *determinant;
}

float local_alpha(const struct local *local, int32_t x, int32_t y, const float pixel[3], const float field[3])
{
    const struct local_values values = values_at(local, x, y);
    const struct noise *noise = local->screen->noise;
    float mean[3], spread[6];
    double size[2], miss[2];
    grey_of(local->bright, mean, spread);
    const float near = measured(values.v + LOCAL_MEASURE, values.v + LOCAL_MEAN, pixel, field);
    const float grey = measured(values.v + LOCAL_GREY, mean, pixel, field);
    miss[0] = surprise(values.v + LOCAL_MEAN, values.v + LOCAL_SPREAD, pixel, field, noise, near, &size[0]);
    miss[1] = surprise(mean, spread, pixel, field, noise, grey, &size[1]);
    const double by = 0.72134752044448170 * (miss[0] - miss[1]); /* log2(e) / 2 */
    const double odds = (double)(GREY_CHANCE / larger(values.v[LOCAL_SHARE], 1e-9F)) * sqrt(size[0] / size[1]) *
                        function_exp2(by < -SURE  ? -SURE
                                      : by > SURE ? SURE
                                                  : by);
    const float trust = (float)(1 / (1 + odds));
    return grey + trust * (near - grey);
}
