/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "kinds/even_light.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "numerics/least_squares.h"
#include "picture/function.h"

/* ---- cells --------------------------------------------------------------------------------------------------------
 */

static int32_t cell_side(int32_t full_size, int scale)
{
    return full_size / scale > 2 ? full_size / scale : 2;
}

struct light_grid light_grid_over(struct rect display, enum even_light mode, int scale)
{
    struct light_grid grid = { .display = display };
    const int32_t width = rect_width(display), height = rect_height(display);
    grid.cell_width = cell_side(16, scale);
    grid.cell_height = cell_side(mode == EVEN_BANDS ? 4 : 16, scale);
    grid.columns = (width + grid.cell_width - 1) / grid.cell_width;
    grid.rows = (height + grid.cell_height - 1) / grid.cell_height;
    return grid;
}

struct rect light_grid_pixels(const struct light_grid *grid, struct rect cells)
{
    const struct rect d = grid->display;
    return rect_cut(rect_of(d.x0 + cells.x0 * grid->cell_width, d.y0 + cells.y0 * grid->cell_height,
                            d.x0 + cells.x1 * grid->cell_width, d.y0 + cells.y1 * grid->cell_height),
                    d);
}

static float cell_mean(const struct picture *in, struct rect pixels)
{
    double sum = 0;
    for (int32_t y = pixels.y0; y < pixels.y1; y++) {
        const int32_t skip = pixels.x0 - in->area.x0;
        const float *r = picture_row(in, PLANE_R, y) + skip, *g = picture_row(in, PLANE_G, y) + skip,
                    *b = picture_row(in, PLANE_B, y) + skip;
        for (int32_t x = 0; x < rect_width(pixels); x++)
            sum += 0.25 * (double)r[x] + 0.5 * (double)g[x] + 0.25 * (double)b[x];
    }
    return (float)(sum / ((double)rect_width(pixels) * (double)rect_height(pixels)));
}

void light_grid_measure(const struct light_grid *grid, const struct picture *in, const struct picture *out)
{
    for (int32_t y = out->area.y0; y < out->area.y1; y++) {
        float *row = picture_row(out, PLANE_A, y);
        for (int32_t x = out->area.x0; x < out->area.x1; x++)
            row[x - out->area.x0] = cell_mean(in, light_grid_pixels(grid, rect_of(x, y, x + 1, y + 1)));
    }
}

/* ---- one frame against another ------------------------------------------------------------------------------------
 */

/* The logarithm (base 2) of how much brighter the other frame is, for the cells that say something. */
struct ratios {
    double *value;  /* packed */
    double *sorted; /* room for as many */
    int32_t *cell;  /* which one */
    int count;
};

static double mean_light(const struct picture *light)
{
    double sum = 0;
    for (int32_t y = 0; y < light->area.y1; y++) {
        const float *row = picture_row(light, PLANE_A, y);
        for (int32_t x = 0; x < light->area.x1; x++)
            sum += (double)row[x];
    }
    return sum / ((double)light->area.x1 * (double)light->area.y1);
}

static void ratios_of(struct ratios *ratios, const struct picture *light, const struct picture *other)
{
    const double floor_light = 0.02 * mean_light(light), floor_other = 0.02 * mean_light(other);
    const int32_t columns = light->area.x1;
    ratios->count = 0;
    for (int32_t y = 0; y < light->area.y1; y++) {
        for (int32_t x = 0; x < columns; x++) {
            const double a = (double)picture_row(light, PLANE_A, y)[x], b = (double)picture_row(other, PLANE_A, y)[x];
            if (!(a > floor_light && b > floor_other && a > 1e-12 && b > 1e-12))
                continue;
            ratios->cell[ratios->count] = y * columns + x;
            ratios->value[ratios->count++] = function_log2(b / a);
        }
    }
}

static int rising(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double median_of(double *values, int count)
{
    qsort(values, (size_t)count, sizeof *values, rising);
    return 0.5 * (values[(count - 1) / 2] + values[count / 2]);
}

/* Tukey's weight of a residual in units of the spread: 0 from 4.685 spreads on. */
static double tukey(double residual, double spread)
{
    const double u = residual / (4.685 * spread);
    return fabs(u) < 1 ? (1 - u * u) * (1 - u * u) : 0;
}

/* A spread that one odd cell in two does not change; never 0. */
static double spread_about(struct ratios *ratios, int first, int count, const double *model)
{
    for (int i = 0; i < count; i++)
        ratios->sorted[i] = fabs(ratios->value[first + i] - model[first + i]);
    return 1.4826 * median_of(ratios->sorted, count) + 1e-6;
}

/* Where most of the values first … first + count - 1 are; `model` is room. */
static double location(struct ratios *ratios, int first, int count, double *model)
{
    memcpy(ratios->sorted, ratios->value + first, (size_t)count * sizeof *ratios->sorted);
    double centre = median_of(ratios->sorted, count);
    for (int pass = 0; pass < 5; pass++) {
        for (int i = 0; i < count; i++)
            model[first + i] = centre;
        const double spread = spread_about(ratios, first, count, model);
        double sum = 0, weights = 0;
        for (int i = 0; i < count; i++) {
            const double weight = tukey(ratios->value[first + i] - centre, spread);
            sum += weight * ratios->value[first + i];
            weights += weight;
        }
        if (weights > 0)
            centre = sum / weights;
    }
    return centre;
}

/* ---- surfaces and rows --------------------------------------------------------------------------------------------
 */

enum { TERMS = 6 };

static void surface_terms(const struct light_grid *grid, int32_t cell, double terms[TERMS])
{
    const double x = ((double)(cell % grid->columns) + 0.5) / grid->columns * 2 - 1;
    const double y = ((double)(cell / grid->columns) + 0.5) / grid->rows * 2 - 1;
    const double all[TERMS] = { 1, x, y, x * x, x * y, y * y };
    memcpy(terms, all, sizeof all);
}

static double surface_at(const double terms[TERMS], const double surface[TERMS])
{
    double sum = 0;
    for (int i = 0; i < TERMS; i++)
        sum += terms[i] * surface[i];
    return sum;
}

/* Iteratively re-weighted: begins level and ends as the surface that most cells lie on. */
static void add_surface(const struct light_grid *grid, struct ratios *ratios, double *model, double *sum)
{
    double surface[TERMS] = { location(ratios, 0, ratios->count, model) };
    for (int pass = 0; pass < 12; pass++) {
        struct normal_equations equations;
        double terms[TERMS];
        for (int i = 0; i < ratios->count; i++) {
            surface_terms(grid, ratios->cell[i], terms);
            model[i] = surface_at(terms, surface);
        }
        const double spread = spread_about(ratios, 0, ratios->count, model);
        normal_equations_init(&equations, TERMS);
        for (int i = 0; i < ratios->count; i++) {
            surface_terms(grid, ratios->cell[i], terms);
            normal_equations_add(&equations, terms, ratios->value[i], tukey(ratios->value[i] - model[i], spread));
        }
        if (!normal_equations_solve(&equations, surface))
            break;
    }
    for (int32_t cell = 0; cell < grid->columns * grid->rows; cell++) {
        double terms[TERMS];
        surface_terms(grid, cell, terms);
        sum[cell] += surface_at(terms, surface);
    }
}

/* Each row of cells for itself; one in which nothing is said goes as the whole frame does. */
static void add_rows(const struct light_grid *grid, struct ratios *ratios, double *model, double *sum)
{
    const double whole = location(ratios, 0, ratios->count, model);
    int first = 0;
    for (int32_t y = 0; y < grid->rows; y++) {
        int end = first;
        while (end < ratios->count && ratios->cell[end] / grid->columns == y)
            end++;
        sum[y] += end > first ? location(ratios, first, end - first, model) : whole;
        first = end;
    }
}

static void add_other(const struct light_grid *grid, enum even_light mode, struct ratios *ratios, double *model,
                      double *sum)
{
    if (ratios->count == 0)
        return;
    if (mode == EVEN_AREAS)
        add_surface(grid, ratios, model, sum);
    else if (mode == EVEN_BANDS)
        add_rows(grid, ratios, model, sum);
    else
        sum[0] += location(ratios, 0, ratios->count, model);
}

enum passel_status even_light_gain(const struct light_grid *grid, enum even_light mode, const struct picture *light,
                                   const struct picture *others, int other_count, struct gain_field *field,
                                   struct passel_error *error)
{
    const int32_t columns = mode == EVEN_AREAS ? grid->columns : 1, rows = mode == EVEN_WHOLE ? 1 : grid->rows;
    const size_t cells = (size_t)grid->columns * (size_t)grid->rows, values = (size_t)columns * (size_t)rows;
    *field = (struct gain_field){ .x0 = grid->display.x0,
                                  .y0 = grid->display.y0,
                                  .cell_width = grid->cell_width,
                                  .cell_height = grid->cell_height,
                                  .columns = columns,
                                  .rows = rows,
                                  .gain = memory_zeros(values, sizeof *field->gain) };
    struct ratios ratios = { .value = memory_zeros(cells, sizeof *ratios.value),
                             .sorted = memory_zeros(cells, sizeof *ratios.sorted),
                             .cell = memory_zeros(cells, sizeof *ratios.cell) };
    double *model = memory_zeros(cells, sizeof *model), *sum = memory_zeros(values, sizeof *sum);
    enum passel_status status = PASSEL_OK;
    if (field->gain == NULL || ratios.value == NULL || ratios.sorted == NULL || ratios.cell == NULL || model == NULL ||
        sum == NULL)
        status = error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int i = 0; status == PASSEL_OK && i < other_count; i++) {
        ratios_of(&ratios, light, &others[i]);
        add_other(grid, mode, &ratios, model, sum);
    }
    for (size_t i = 0; status == PASSEL_OK && i < values; i++)
        field->gain[i] = (float)function_exp2(sum[i] / other_count);
    memory_free(ratios.value);
    memory_free(ratios.sorted);
    memory_free(ratios.cell);
    memory_free(model);
    memory_free(sum);
    if (status != PASSEL_OK) {
        memory_free(field->gain);
        field->gain = NULL;
    }
    return status;
}

/* ---- the gain of a pixel ------------------------------------------------------------------------------------------
 */

/* The value before a position among `count` centres, and how far it lies towards the next. */
static int32_t before(double position, int32_t count, float *share)
{
    const double held = fmin(fmax(position, 0), count - 1);
    const int32_t i = (int32_t)held < count - 1 ? (int32_t)held : count - 2;
    *share = count > 1 ? (float)(held - i) : 0;
    return count > 1 ? i : 0;
}

float gain_field_at(const struct gain_field *field, double x, double y)
{
    float u, v;
    const int32_t i = before((x - field->x0) / field->cell_width - 0.5, field->columns, &u);
    const int32_t k = before((y - field->y0) / field->cell_height - 0.5, field->rows, &v);
    const float *top = field->gain + (size_t)k * (size_t)field->columns + i;
    const float *low = field->rows > 1 ? top + field->columns : top;
    const int32_t right = field->columns > 1;
    return (1 - v) * ((1 - u) * top[0] + u * top[right]) + v * ((1 - u) * low[0] + u * low[right]);
}

void gain_field_row(const struct gain_field *field, int32_t x0, int32_t y, int32_t count, float *row)
{
    if (field->columns == 1) {
        const float gain = gain_field_at(field, 0, y + 0.5);
        for (int32_t i = 0; i < count; i++)
            row[i] *= gain;
        return;
    }
    for (int32_t i = 0; i < count; i++)
        row[i] *= gain_field_at(field, x0 + i + 0.5, y + 0.5);
}
