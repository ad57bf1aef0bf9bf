/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Two layers make the synthetic light.
 *
 * The slow field lives on cells of about a hundredth of the frame, in fourth roots of light: a glow that falls off by
 * ratios is nearly straight there, and light stays positive. It is continued in value and slope and levels out (see
 * extend_field.c); clouds and masts that stand out of it have little say.
 *
 * What the field misses at the border itself is the rim (extend_rim.c).
 */
#include "kinds/extend_gradient.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "kinds/extend.h"
#include "kinds/extend_field.h"
#include "kinds/extend_manner.h"
#include "kinds/extend_rim.h"
#include "kinds/extend_slant.h"
#include "numerics/between.h"

#define CELLS_ALONG 80
#define CELL_LEAST 4
#define SPREAD_TIMES 3.0F /* the middle half's reach: 2 sigma of grain */
#define LEAST_SHARE 0.7F  /* of the darkest root in the plate */

/* ---- the slow field -------------------------------------------------------------------------------------------- */

/* Cells on the target, aligned with the plate's top left corner. */
static enum passel_status field_new(struct gradient *gradient, struct passel_error *error)
{
    const struct rect plate = gradient->plate, target = gradient->target;
    const int32_t larger = rect_width(target) > rect_height(target) ? rect_width(target) : rect_height(target);
    const int32_t size = larger / CELLS_ALONG > CELL_LEAST ? larger / CELLS_ALONG : CELL_LEAST;
    const int32_t left = (plate.x0 - target.x0 + size - 1) / size * size;
    const int32_t top = (plate.y0 - target.y0 + size - 1) / size * size;
    return cells_new(&gradient->field, rect_of(plate.x0 - left, plate.y0 - top, target.x1, target.y1), size, 4, error);
}

/* Whether a cell has a pixel that is not known. */
static bool has_hole(const struct picture *known, const struct cells *cells, int32_t i, int32_t j)
{
    const struct rect cell =
        rect_cut(cells->area, rect_shift(rect_of(0, 0, cells->size, cells->size), cells->area.x0 + i * cells->size,
                                         cells->area.y0 + j * cells->size));
    for (int32_t y = cell.y0; known != NULL && y < cell.y1; y++) {
        const float *row = picture_row(known, PLANE_A, y) - known->area.x0;
        for (int32_t x = cell.x0; x < cell.x1; x++) {
            if (!(row[x] > 0))
                return true;
        }
    }
    return false;
}

/* Mean of a cell's pixels that are near its median: as steady as a mean, and without what stands before the sky. */
static float cell_light(const struct picture *plate, const struct cells *own, int c, int32_t i, int32_t j)
{
    const int32_t at = j * own->width + i;
    const float middle = own->value[c][at], most = SPREAD_TIMES * own->spread[c][at];
    const struct rect cell =
        rect_cut(own->area, rect_shift(rect_of(0, 0, own->size, own->size), own->area.x0 + i * own->size,
                                       own->area.y0 + j * own->size));
    float sum = 0, count = 0;
    for (int32_t y = cell.y0; y < cell.y1; y++) {
        const float *row = picture_row(plate, (enum plane)c, y) - plate->area.x0;
        for (int32_t x = cell.x0; x < cell.x1; x++) {
            const float near = fabsf(row[x] - middle) <= most ? 1 : 0;
            sum += near * row[x];
            count += near;
        }
    }
    return count > 0 ? sum / count : middle;
}

/* Measures the cells that lie in the plate; the others keep weight 0. A cell that the plate covers less than half is
 * unknown, too. */
static enum passel_status field_measure(struct gradient *gradient, const struct picture *plate,
                                        const struct picture *known, struct passel_error *error)
{
    struct cells own;
    struct cells *field = &gradient->field;
    RETURN_IF_ERROR(cells_new(&own, gradient->plate, field->size, 4, error));
    cells_measure(&own, plate);
    const struct rect whole = plate_cells(gradient);
    const int32_t left = whole.x0, top = whole.y0;
    gradient->opaque = true;
    for (int32_t j = 0; j < own.height; j++) {
        for (int32_t i = 0; i < own.width; i++) {
            const int32_t from = j * own.width + i, to = (top + j) * field->width + left + i;
            const bool cut = left + i >= whole.x1 || top + j >= whole.y1;
            for (int c = 0; c < 3; c++)
                field->value[c][to] = fourth_root(cell_light(plate, &own, c, i, j));
            field->value[PLANE_A][to] = own.value[PLANE_A][from];
            field->weight[to] = cut || has_hole(known, &own, i, j) ? 0 : 1;
            gradient->opaque = gradient->opaque && (field->weight[to] == 0 || own.value[PLANE_A][from] == 1);
        }
    }
    cells_release(&own);
    return PASSEL_OK;
}

static enum passel_status turn_measure(struct gradient *gradient, const struct picture *plate,
                                       struct passel_error *error)
{
    const struct cells *field = &gradient->field;
    const size_t count = (size_t)field->width * (size_t)field->height;
    const struct rect plate_in = plate_cells(gradient);
    const int32_t first = plate_in.y0 * field->width + plate_in.x0;
    float *sums[3];
    gradient->turn[0] = memory_zeros(count, 3 * sizeof(float));
    if (gradient->turn[0] == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int k = 0; k < 3; k++) {
        gradient->turn[k] = gradient->turn[0] + (size_t)k * count;
        sums[k] = gradient->turn[k] + first;
    }
    return slant_measure(plate, gradient->plate, field->size, sums, field->width, error);
}

static void find_least(struct gradient *gradient)
{
    const struct cells *field = &gradient->field;
    for (int c = 0; c < 3; c++) {
        float least = -1;
        for (int32_t i = 0; i < field->width * field->height; i++) {
            if (field->weight[i] > 0 && (least < 0 || field->value[c][i] < least))
                least = field->value[c][i];
        }
        gradient->least[c] = LEAST_SHARE * larger(least, 0);
    }
}

/* Light of the slow field along a row. */
static void field_row(const struct gradient *gradient, int plane, int32_t x0, int32_t y, int32_t count, float *out)
{
    cells_row(&gradient->field, plane, x0, y, count, out);
    if (plane == PLANE_A) {
        for (int32_t i = 0; i < count; i++)
            out[i] = gradient->opaque ? 1 : between(out[i], 0, 1);
        return;
    }
    for (int32_t i = 0; i < count; i++)
        out[i] = fourth_power(larger(out[i], gradient->least[plane]));
}

/* ---- all together ---------------------------------------------------------------------------------------------- */

enum passel_status gradient_learn(struct gradient *gradient, const struct picture *plate, const struct picture *known,
                                  struct rect target, enum gradient_detail detail, struct passel_error *error)
{
    enum passel_status status;
    *gradient = (struct gradient){ .plate = plate->area, .target = target };
    GOTO_IF_ERROR(field_new(gradient, error), out_release);
    GOTO_IF_ERROR(field_measure(gradient, plate, known, error), out_release);
    GOTO_IF_ERROR(turn_measure(gradient, plate, error), out_release);
    find_least(gradient);
    GOTO_IF_ERROR(field_continue(gradient, detail, error), out_release);
    return PASSEL_OK;
out_release:
    gradient_release(gradient);
    return status;
}

enum passel_status gradient_learn_rim(struct gradient *gradient, const struct picture *plate,
                                      struct passel_error *error)
{
    return rim_learn(gradient, plate, error);
}

void gradient_release(struct gradient *gradient)
{
    cells_release(&gradient->field);
    for (int side = 0; side < SIDE_COUNT; side++) {
        memory_free(gradient->carrying[side].say);
        gradient->carrying[side] = (struct carrying){ NULL, NULL };
    }
    memory_free(gradient->turn[0]);
    gradient->turn[0] = NULL;
    memory_free(gradient->rim.block);
    gradient->rim.block = NULL;
}

void gradient_field_row(const struct gradient *gradient, int plane, int32_t x0, int32_t y, int32_t count, float *out)
{
    field_row(gradient, plane, x0, y, count, out);
}

void gradient_render(const struct gradient *gradient, int32_t x0, int32_t y, int32_t count, float *const planes[4])
{
    for (int p = 0; p < 4; p++) {
        if (planes[p] != NULL)
            field_row(gradient, p, x0, y, count, planes[p]);
    }
    if (gradient->rim.block != NULL)
        rim_add_row(gradient, x0, y, count, planes);
}
