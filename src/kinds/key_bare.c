/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Bare screen is flat and changes slowly. The cells that look surest give a first surface of the screen's light; cells
 * near the surface join, the surface is made again.
 */
#include "kinds/key_bare.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "numerics/between.h"

#define ROUNDS 8
#define SURE_SHARE 0.8F   /* of the score that a tenth of the cells surpasses */
#define NEAR_SHARE 0.06F  /* of the screen's brightest channel */
#define FLAT_SHARE 0.015F /* of the brightest channel: a slope within a cell */
#define SPREAD_OF_SIGMA 0.6745F

static int by_value(const void *a, const void *b)
{
    const float x = *(const float *)a, y = *(const float *)b;
    return (x > y) - (x < y);
}

static enum passel_status sure_score(const float *score, int32_t count, float *sure, struct passel_error *error)
{
    float *sorted = memory_new((size_t)count * sizeof *sorted);
    if (sorted == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    memcpy(sorted, score, (size_t)count * sizeof *sorted);
    qsort(sorted, (size_t)count, sizeof *sorted, by_value);
    *sure = SURE_SHARE * sorted[count - 1 - count / 10];
    memory_free(sorted);
    return PASSEL_OK;
}

static float brightest(const struct cells *cells, int32_t cell)
{
    return larger(larger(cells->value[0][cell], cells->value[1][cell]), cells->value[2][cell]);
}

/* True when all planes of all takes hold no more than noise and a slope. */
static bool cell_flat(const struct bare_view *view, int32_t cell)
{
    for (int i = 0; i < view->count; i++) {
        const struct cells *cells = view->takes[i];
        for (int c = 0; c < 3; c++) {
            const float sigma = sqrtf(noise_variance(view->noise[i][c], cells->value[c][cell]));
            const float most = 1.4F * SPREAD_OF_SIGMA * sigma + FLAT_SHARE * brightest(cells, cell);
            if (cells->spread[c][cell] > most)
                return false;
        }
    }
    return true;
}

/* Weights of cells that are off the surface of plane c of a take become 0. The surface stands in the spread. */
static void weigh_near(const struct cells *take, const struct noise noise[3], float *weight)
{
    const int32_t count = take->width * take->height;
    for (int32_t i = 0; i < count; i++) {
        const float bright = larger(larger(take->spread[0][i], take->spread[1][i]), take->spread[2][i]);
        for (int c = 0; c < 3; c++) {
            const float sigma = 4 * CELL_NOISE * sqrtf(noise_variance(noise[c], take->value[c][i]));
            const float off = fabsf(take->value[c][i] - take->spread[c][i]);
            if (!(off <= NEAR_SHARE * bright + sigma))
                weight[i] = 0;
        }
    }
}

/* weight: in, the cells the surfaces are made from; out, the flat cells that lie near them. */
static bool select_round(const struct bare_view *view, const float *flat, float *weight, int order)
{
    for (int i = 0; i < view->count; i++) {
        for (int c = 0; c < 3; c++) {
            struct cells *take = view->takes[i];
            if (!cells_surface(take, take->value[c], weight, order, take->spread[c]))
                return false;
        }
    }
    const size_t count = (size_t)view->takes[0]->width * (size_t)view->takes[0]->height;
    memcpy(weight, flat, count * sizeof *weight);
    for (int i = 0; i < view->count; i++)
        weigh_near(view->takes[i], view->noise[i], weight);
    return true;
}

static int count_weights(const float *weight, int32_t count)
{
    int sum = 0;
    for (int32_t i = 0; i < count; i++)
        sum += weight[i] > 0;
    return sum;
}

enum passel_status bare_select(struct bare_view *view, int *bare, struct passel_error *error)
{
    const int32_t count = view->takes[0]->width * view->takes[0]->height;
    float *weight = view->takes[0]->weight, sure = 0;
    float *flat = memory_zeros((size_t)count, sizeof *flat);
    enum passel_status status = PASSEL_OK;
    if (flat == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    GOTO_IF_ERROR(sure_score(view->score, count, &sure, error), out_flat);
    for (int32_t i = 0; i < count; i++) {
        flat[i] = cell_flat(view, i) ? 1.0F : 0.0F;
        weight[i] = view->score[i] >= sure && sure > 0 ? flat[i] : 0;
    }
    for (int round = 0; round < ROUNDS; round++) {
        if (!select_round(view, flat, weight, round < 2 ? 1 : 2))
            break;
    }
    *bare = count_weights(weight, count);
    for (int i = 1; i < view->count; i++)
        memcpy(view->takes[i]->weight, weight, (size_t)count * sizeof *weight);
out_flat:
    memory_free(flat);
    return status;
}
