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
#include "numerics/order.h"

#define ROUNDS 8
#define SURE_SHARE 0.8F    /* of the score that a tenth of the cells surpasses */
#define NEAR_SHARE 0.06F   /* of the screen's brightest channel */
#define COLOUR_LAST 0.015F /* of a channel: how far its share of the light may be off; more in the first rounds */
#define COLOUR_FLOOR 0.02F /* of the brightest channel, which a dark one may be taken for in this */
#define COLOUR_ROUNDS 4
#define FLAT_SHARE 0.015F /* of the brightest channel: a slope within a cell */
#define SPREAD_OF_SIGMA 0.6745F

static enum passel_status sure_score(const float *score, int32_t count, float *sure, struct passel_error *error)
{
    float *sorted = memory_new((size_t)count * sizeof *sorted);
    if (sorted == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    memcpy(sorted, score, (size_t)count * sizeof *sorted);
    qsort(sorted, (size_t)count, sizeof *sorted, rising_floats);
    *sure = SURE_SHARE * sorted[count - 1 - count / 10];
    memory_free(sorted);
    return PASSEL_OK;
}

static int brightest_of(float *const *planes, int32_t cell)
{
    const int first = planes[1][cell] > planes[0][cell] ? 1 : 0;
    return planes[2][cell] > planes[first][cell] ? 2 : first;
}

/* True when all planes of all takes hold no more than noise and a slope. */
static bool cell_flat(const struct bare_view *view, int32_t cell)
{
    for (int i = 0; i < view->count; i++) {
        const struct cells *cells = view->takes[i];
        const float bright = cells->value[brightest_of(cells->value, cell)][cell];
        for (int c = 0; c < 3; c++) {
            const float sigma = sqrtf(noise_variance(view->noise[i][c], cells->value[c][cell]));
            const float most = 1.4F * SPREAD_OF_SIGMA * sigma + FLAT_SHARE * bright;
            if (cells->spread[c][cell] > most)
                return false;
        }
    }
    return true;
}

/* Weights of cells that are off the surface of plane c of a take become 0. The surface stands in the spread. Light that
 * is uneven changes all channels by one factor; what is left is colour, which smoke has and bare screen has not. */
static void weigh_near(const struct cells *take, const struct noise noise[3], float colour_share, float *weight)
{
    const int32_t count = take->width * take->height;
    for (int32_t i = 0; i < count; i++) {
        const int main = brightest_of(take->spread, i);
        const float bright = take->spread[main][i], factor = take->value[main][i] / larger(bright, 1e-6F);
        for (int c = 0; c < 3; c++) {
            const float sigma = CELL_NOISE * sqrtf(noise_variance(noise[c], take->value[c][i]));
            const float off = fabsf(take->value[c][i] - take->spread[c][i]);
            const float stain = fabsf(take->value[c][i] - factor * take->spread[c][i]);
            const float most = colour_share * (take->spread[c][i] + COLOUR_FLOOR * bright);
            if (!(off <= NEAR_SHARE * bright + 4 * sigma) || !(stain <= most + 4 * sigma))
                weight[i] = 0;
        }
    }
}

/* weight: in, the cells the surfaces are made from; out, the flat cells that lie near them. */
static bool select_round(const struct bare_view *view, const float *flat, float *weight, int order, float colour_share)
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
        weigh_near(view->takes[i], view->noise[i], colour_share, weight);
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
        const float colour_share = COLOUR_LAST * (float)(1 << (round < COLOUR_ROUNDS ? COLOUR_ROUNDS - round : 0));
        if (!select_round(view, flat, weight, round < 2 ? 1 : 2, colour_share))
            break;
    }
    *bare = count_weights(weight, count);
    for (int i = 1; i < view->count; i++)
        memcpy(view->takes[i]->weight, weight, (size_t)count * sizeof *weight);
out_flat:
    memory_free(flat);
    return status;
}
