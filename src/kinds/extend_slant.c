/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The direction along which light changes least, in the sense of squares over a few cells behind the border, is that of
 * the structure tensor (J. Bigun and G. Granlund, Optimal orientation detection of linear symmetry, 1987). Written as a
 * slant s it is a regression: Σ (s f_along - f_in)² is least for s = Σ f_in f_along / Σ f_along².
 */
#include "kinds/extend_slant.h"

#include <math.h>
#include <stddef.h>

#include "base/error.h"
#include "base/memory.h"

#define BLOCKS 4       /* along a cell, so many blocks of pixels are compared */
#define DEEP 4         /* rows that are looked at */
#define DEPTH 1.0      /* sigma of their say, in cells */
#define ALONG 1.5      /* cells along the border: beyond, a structure's say falls by the fourth power */
#define SLANT_MOST 1.5 /* along per out */
#define CLEARLY 3      /* times the usual square: grain and texture tell less */
#define FLAT 1e-6      /* of a square: less is no structure */
#define BLUR_LEAST 0.4 /* cells: between cells the values are smooth */
#define BLUR_PER_CELL 0.2

static double bell(double off, double sigma)
{
    const double times = off / sigma;
    return exp(-0.5 * times * times);
}

/* What lies beside a structure, without one of its own, goes along with it. */
static double nearness(double off)
{
    const double square = 1 + off * off / (ALONG * ALONG);
    return 1 / (square * square);
}

/* ---- measuring -------------------------------------------------------------------------------------------------- */

/* Root of the mean light of a block of pixels. */
static float block_root(const struct picture *plate, int32_t x0, int32_t y0, int32_t size)
{
    float sum = 0;
    for (int c = 0; c < SLANT_COLOURS; c++) {
        for (int32_t y = y0; y < y0 + size; y++) {
            const float *row = picture_row(plate, (enum plane)c, y) - plate->area.x0;
            for (int32_t x = x0; x < x0 + size; x++)
                sum += row[x];
        }
    }
    return sum > 0 ? sqrtf(sum / (float)(SLANT_COLOURS * size * size)) : 0;
}

static void block_row(const struct picture *plate, struct rect area, int32_t block, int32_t row, float *roots)
{
    for (int32_t i = 0; i < rect_width(area) / block; i++)
        roots[i] = block_root(plate, area.x0 + i * block, area.y0 + row * block, block);
}

enum passel_status slant_measure(const struct picture *plate, struct rect area, int32_t size, float *const sums[3],
                                 int32_t stride, struct passel_error *error)
{
    const int32_t block = size / BLOCKS > 2 ? size / BLOCKS : 2;
    const int32_t columns = rect_width(area) / block, rows = rect_height(area) / block;
    float *roots = memory_zeros((size_t)columns + 1, 2 * sizeof *roots), *above = roots, *below = roots + columns;
    if (roots == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    if (rows > 0)
        block_row(plate, area, block, 0, above);
    for (int32_t j = 0; j + 1 < rows; j++) {
        float *const swap = above;
        block_row(plate, area, block, j + 1, below);
        for (int32_t i = 0; i + 1 < columns; i++) {
            const int32_t cell = (j + 1) * block / size * stride + (i + 1) * block / size;
            const float x = 0.5F * (above[i + 1] + below[i + 1] - above[i] - below[i]);
            const float y = 0.5F * (below[i] + below[i + 1] - above[i] - above[i + 1]);
            sums[0][cell] += x * x;
            sums[1][cell] += x * y;
            sums[2][cell] += y * y;
        }
        above = below;
        below = swap;
    }
    memory_free(roots);
    return PASSEL_OK;
}

/* ---- carrying on ------------------------------------------------------------------------------------------------ */

/* A mean of roots, squared: what stands out has little say. */
static double usual_square(const struct slant_cells *cells, int32_t first, int32_t last)
{
    double sum = 0, count = 1e-9;
    for (int32_t k = first * cells->width; k < last * cells->width; k++) {
        sum += cells->known[k] ? sqrt(sqrt(cells->square[k])) : 0;
        count += cells->known[k];
    }
    const double root = sum / count;
    return root * root * root * root;
}

void slant_find(const struct slant_cells *cells, int32_t first, double *slant)
{
    const int32_t last = first + DEEP < cells->rows ? first + DEEP : cells->rows;
    const double little = CLEARLY * usual_square(cells, first, last) + FLAT;
    for (int32_t i = 0; i < cells->width; i++) {
        double square = FLAT, product = 0;
        for (int32_t row = first; row < last; row++) {
            for (int32_t k = 0; k < cells->width; k++) {
                const int32_t at = row * cells->width + k;
                const double own = cells->square[at], clear = own * own / (own * own + little * little);
                const double say = cells->known[at] ? bell(row - first + 0.5, DEPTH) * nearness(k - i) * clear : 0;
                square += say * own;
                product += say * cells->product[at];
            }
        }
        slant[i] = fmin(fmax(product / square, -SLANT_MOST), SLANT_MOST);
    }
}

/* The border row around a place, blurred; false when nothing is known there. */
static bool blurred(const struct slant_cells *cells, int32_t row, double at, double sigma, double out[SLANT_COLOURS])
{
    const int32_t from = (int32_t)floor(at - 3 * sigma), to = (int32_t)ceil(at + 3 * sigma);
    double all = 0, sum[SLANT_COLOURS] = { 0 };
    for (int32_t i = from < 0 ? 0 : from; i <= to && i < cells->width; i++) {
        const double say = cells->known[row * cells->width + i] ? bell(i - at, sigma) : 0;
        all += say;
        for (int k = 0; k < SLANT_COLOURS; k++)
            sum[k] += say * cells->value[k][row * cells->width + i];
    }
    for (int k = 0; k < SLANT_COLOURS && all > 0; k++)
        out[k] = sum[k] / all;
    return all > 0;
}

void slant_carry(const struct slant_cells *cells, int32_t first, const double *slant)
{
    for (int32_t row = 0; row < first; row++) {
        const double out = first - row, sigma = BLUR_LEAST + BLUR_PER_CELL * out;
        for (int32_t i = 0; i < cells->width; i++) {
            const double at = fmin(fmax(i - (slant != NULL ? slant[i] * out : 0), 0), cells->width - 1);
            double carried[SLANT_COLOURS];
            if (!blurred(cells, first, at, sigma, carried))
                continue;
            for (int k = 0; k < SLANT_COLOURS; k++)
                cells->value[k][row * cells->width + i] = carried[k];
        }
    }
}
