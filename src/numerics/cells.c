/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Medians of cells, their smooth completion, and the cubic B-spline between them.
 */
#include "numerics/cells.h"

#include <math.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "numerics/least_squares.h"

#define CELL_SAMPLES (CELL_SAMPLES_ALONG * CELL_SAMPLES_ALONG)
#define MEMBRANE_ROUNDS 200 /* of over-relaxation; grids have about 100 cells a side */
#define MEMBRANE_STEP 1.85F
#define SURFACE_TERMS 6

enum passel_status cells_new(struct cells *cells, struct rect area, int32_t size, int32_t planes,
                             struct passel_error *error)
{
    *cells = (struct cells){ .area = area, .size = size, .planes = planes };
    cells->width = (rect_width(area) + size - 1) / size;
    cells->height = (rect_height(area) + size - 1) / size;
    const size_t count = (size_t)cells->width * (size_t)cells->height;
    cells->weight = memory_zeros(count, (size_t)(2 * planes + 1) * sizeof(float));
    if (cells->weight == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int32_t p = 0; p < planes; p++) {
        cells->value[p] = cells->weight + count * (size_t)(2 * p + 1);
        cells->spread[p] = cells->value[p] + count;
    }
    return PASSEL_OK;
}

void cells_release(struct cells *cells)
{
    memory_free(cells->weight);
    *cells = (struct cells){ 0 };
}

/* ---- measuring ------------------------------------------------------------------------------------------------- */

/* The element that would stand at `rank` if the values were sorted; reorders them (Hoare's selection). */
static float ranked(float *values, int count, int rank)
{
    int low = 0, high = count - 1;
    while (low < high) {
        const float pivot = values[(low + high) / 2];
        int i = low, j = high;
        while (i <= j) {
            while (values[i] < pivot)
                i++;
            while (values[j] > pivot)
                j--;
            if (i <= j) {
                const float swapped = values[i];
                values[i++] = values[j];
                values[j--] = swapped;
            }
        }
        if (rank <= j)
            high = j;
        else if (rank >= i)
            low = i;
        else
            break;
    }
    return values[rank];
}

/* Up to CELL_SAMPLES pixels of the cell, evenly spread. */
static int cell_samples(const struct cells *cells, const struct picture *picture, int p, int32_t i, int32_t j,
                        float *samples)
{
    const struct rect cell =
        rect_cut(rect_of(cells->area.x0 + i * cells->size, cells->area.y0 + j * cells->size,
                         cells->area.x0 + (i + 1) * cells->size, cells->area.y0 + (j + 1) * cells->size),
                 cells->area);
    const int32_t step = (cells->size + CELL_SAMPLES_ALONG - 1) / CELL_SAMPLES_ALONG;
    int count = 0;
    const int32_t right = rect_width(cell) > step / 2 ? step / 2 : 0,
                  down = rect_height(cell) > step / 2 ? step / 2 : 0;
    for (int32_t y = cell.y0 + down; y < cell.y1; y += step) {
        const float *row = picture_row(picture, (enum plane)p, y) - picture->area.x0;
        for (int32_t x = cell.x0 + right; x < cell.x1; x += step)
            samples[count++] = row[x];
    }
    return count;
}

void cells_measure(struct cells *cells, const struct picture *picture)
{
    float samples[CELL_SAMPLES];
    for (int32_t j = 0; j < cells->height; j++) {
        for (int32_t i = 0; i < cells->width; i++) {
            const int32_t cell = j * cells->width + i;
            for (int32_t p = 0; p < cells->planes; p++) {
                const int count = cell_samples(cells, picture, p, i, j, samples);
                const float middle = ranked(samples, count, count / 2);
                for (int k = 0; k < count; k++)
                    samples[k] = fabsf(samples[k] - middle);
                cells->value[p][cell] = middle;
                cells->spread[p][cell] = ranked(samples, count, count / 2);
            }
            cells->weight[cell] = 1;
        }
    }
}

/* ---- completing ------------------------------------------------------------------------------------------------ */

static void surface_terms(const struct cells *cells, int32_t i, int32_t j, double terms[SURFACE_TERMS])
{
    const double x = (2.0 * i + 1) / cells->width - 1, y = (2.0 * j + 1) / cells->height - 1;
    terms[0] = 1;
    terms[1] = x;
    terms[2] = y;
    terms[3] = x * x;
    terms[4] = x * y;
    terms[5] = y * y;
}

bool cells_surface(const struct cells *cells, const float *values, const float *weight, int order, float *surface)
{
    static const int terms_of_order[] = { 1, 3, 6 };
    const int terms = terms_of_order[order];
    struct normal_equations equations;
    double row[SURFACE_TERMS], solution[SURFACE_TERMS] = { 0 };
    normal_equations_init(&equations, terms);
    for (int32_t j = 0; j < cells->height; j++) {
        for (int32_t i = 0; i < cells->width; i++) {
            surface_terms(cells, i, j, row);
            normal_equations_add(&equations, row, (double)values[j * cells->width + i],
                                 (double)weight[j * cells->width + i]);
        }
    }
    if (!normal_equations_solve(&equations, solution))
        return order > 0 && cells_surface(cells, values, weight, order - 1, surface);
    for (int32_t j = 0; j < cells->height; j++) {
        for (int32_t i = 0; i < cells->width; i++) {
            double sum = 0;
            surface_terms(cells, i, j, row);
            for (int k = 0; k < terms; k++)
                sum += solution[k] * row[k];
            surface[j * cells->width + i] = (float)sum;
        }
    }
    return true;
}

/* Over-relaxes the cells of weight 0 towards the mean of their neighbours; at the grid's edge only those that exist. */
static void membrane_relax(const struct cells *cells, float *value)
{
    const int32_t w = cells->width, h = cells->height;
    for (int round = 0; round < MEMBRANE_ROUNDS; round++) {
        for (int32_t j = 0; j < h; j++) {
            for (int32_t i = 0; i < w; i++) {
                const int32_t cell = j * w + i;
                if (cells->weight[cell] > 0)
                    continue;
                float sum = 0, count = 0;
                if (i > 0)
                    sum += value[cell - 1], count += 1;
                if (i + 1 < w)
                    sum += value[cell + 1], count += 1;
                if (j > 0)
                    sum += value[cell - w], count += 1;
                if (j + 1 < h)
                    sum += value[cell + w], count += 1;
                if (count > 0)
                    value[cell] += MEMBRANE_STEP * (sum / count - value[cell]);
            }
        }
    }
}

bool cells_fill(struct cells *cells)
{
    const int32_t count = cells->width * cells->height;
    for (int32_t p = 0; p < cells->planes; p++) {
        float *value = cells->value[p];
        float *surface = cells->spread[p]; /* the spread has served */
        if (!cells_surface(cells, value, cells->weight, 2, surface))
            return false;
        for (int32_t i = 0; i < count; i++)
            value[i] = cells->weight[i] > 0 ? value[i] - surface[i] : 0;
        membrane_relax(cells, value);
        for (int32_t i = 0; i < count; i++)
            value[i] += surface[i];
    }
    return true;
}

/* ---- reading --------------------------------------------------------------------------------------------------- */

void cubic_weights(float t, float weights[4])
{
    const float s = 1 - t;
    weights[0] = s * s * s / 6;
    weights[1] = (3 * t * t * t - 6 * t * t + 4) / 6;
    weights[2] = (3 * s * s * s - 6 * s * s + 4) / 6;
    weights[3] = t * t * t / 6;
}

static int32_t clamp_index(int32_t i, int32_t count)
{
    return i < 0 ? 0 : i >= count ? count - 1 : i;
}

/* A place among `count` cells; up to two beyond the ends go on in a straight line, so that a slope does not flatten
 * towards the border of the picture: value = cell a + beyond (cell a - cell b). */
struct cell_place {
    int32_t a, b;
    float beyond;
};

static struct cell_place place_of(int32_t i, int32_t count)
{
    const int32_t a = clamp_index(i, count), off = i < 0 ? -i : i - a;
    const int32_t b = count == 1 ? a : i < 0 ? 1 : i > a ? a - 1 : a;
    return (struct cell_place){ a, b, (float)(off > 2 ? 2 : off) };
}

/* Pixel `i` of the area lies in phase (i - size / 2) mod size between two cell centres; how far that is from the left
 * one. */
static float phase_place(int32_t phase, int32_t size)
{
    return ((float)phase + (size % 2 == 0 ? 0.5F : 0.0F)) / (float)size;
}

/* The left (or upper) of the two cells whose centres are around pixel `i`. */
static int32_t cell_left_of(int32_t i, int32_t size)
{
    const int32_t from = i - size / 2;
    return from >= 0 ? from / size : -((size - 1 - from) / size);
}

static void phase_weights(int32_t size, float (*weights)[CELL_SIZE_LIMIT])
{
    for (int32_t phase = 0; phase < size; phase++) {
        float four[4];
        cubic_weights(phase_place(phase, size), four);
        for (int k = 0; k < 4; k++)
            weights[k][phase] = four[k];
    }
}

void cells_row(const struct cells *cells, int plane, int32_t x0, int32_t y, int32_t count, float *out)
{
    const int32_t size = cells->size, first = x0 - cells->area.x0, row = y - cells->area.y0;
    const int32_t upper = cell_left_of(row, size);
    const float *rows[4], *inner[4];
    float down[4], beyond[4], weights[4][CELL_SIZE_LIMIT];
    cubic_weights(phase_place(row - size / 2 - upper * size, size), down);
    phase_weights(size, weights);
    for (int32_t k = 0; k < 4; k++) {
        const struct cell_place place = place_of(upper - 1 + k, cells->height);
        rows[k] = cells->value[plane] + (size_t)place.a * (size_t)cells->width;
        inner[k] = cells->value[plane] + (size_t)place.b * (size_t)cells->width;
        beyond[k] = place.beyond;
    }
    for (int32_t i = 0; i < count;) {
        const int32_t left = cell_left_of(first + i, size), phase = first + i - size / 2 - left * size;
        const int32_t run = size - phase < count - i ? size - phase : count - i;
        float column[4] = { 0 };
        for (int32_t k = 0; k < 4; k++) {
            const struct cell_place c = place_of(left - 1 + k, cells->width);
            for (int n = 0; n < 4; n++) {
                const float here = rows[n][c.a] + beyond[n] * (rows[n][c.a] - inner[n][c.a]);
                const float next = rows[n][c.b] + beyond[n] * (rows[n][c.b] - inner[n][c.b]);
                column[k] += down[n] * (here + c.beyond * (here - next));
            }
        }
        const float *w0 = weights[0] + phase, *w1 = weights[1] + phase, *w2 = weights[2] + phase,
                    *w3 = weights[3] + phase;
        float *restrict to = out + i;
        for (int32_t n = 0; n < run; n++)
            to[n] = column[0] * w0[n] + column[1] * w1[n] + column[2] * w2[n] + column[3] * w3[n];
        i += run;
    }
}
