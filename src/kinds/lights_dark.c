/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The dark of a pass that has no lights-off pass of its own: rain before a black cloth, a flare in a dark room. What is
 * filmed moves and covers the smaller part; the dark stands still. So: the median of each cell of 16 x 16 pixels in
 * each of nine frames spread evenly over the shot, and of those nine the median. Between cells it is smooth.
 */
#include "base/error.h"
#include "base/memory.h"
#include "kinds/lights.h"
#include "kinds/shot.h"
#include "numerics/order.h"

enum { LOOKS = 9, CELL_SIZE = 16 };

/* What has been seen of one light. */
struct dark_looks {
    int count;
    struct cells cells[LOOKS];
};

struct dark_work {
    int count; /* lights */
    struct dark_looks looks[];
};

/* Round k is the k-th frame of all lights. */
static enum passel_status dark_asks(const struct at *at, struct ask_list *list, struct passel_error *error)
{
    const struct lights *lights = at->self;
    (void)error;
    for (int k = 0; k < shot_looks(at->shot, LOOKS); k++) {
        for (int i = 0; i < lights->count; i++) {
            const struct light *light = &lights->lights[i];
            if (light->black == BLACK_AUTO)
                ask_whole(list, light->picture, shot_look(at->shot, LOOKS, k), HAS_RGB, k);
        }
    }
    return PASSEL_OK;
}

/* ---- looking ----------------------------------------------------------------------------------------------------- */

static enum passel_status dark_add(const struct at *at, int round, const struct picture *pictures,
                                   const struct picture_info *infos, int count, void **kept, struct passel_error *error)
{
    struct dark_work *work = *kept;
    (void)at;
    (void)round;
    (void)infos;
    if (work == NULL) {
        work = memory_zeros(1, sizeof *work + (size_t)count * sizeof *work->looks);
        if (work == NULL)
            return error_set(error, PASSEL_NO_MEMORY, "out of memory");
        work->count = count;
        *kept = work;
    }
    for (int i = 0; i < count; i++) {
        struct dark_looks *looks = &work->looks[i];
        const struct rect area = pictures[i].area;
        if (rect_empty(area) || (looks->count > 0 && !rect_same(area, looks->cells[0].area)))
            continue; /* a frame before the pass begins, or cut otherwise: the others tell */
        RETURN_IF_ERROR(cells_new(&looks->cells[looks->count], area, CELL_SIZE, 3, error));
        cells_measure(&looks->cells[looks->count++], &pictures[i]);
    }
    return PASSEL_OK;
}

/* ---- finding ----------------------------------------------------------------------------------------------------- */

/* The first look becomes the median of all. */
static void settle(struct dark_looks *looks)
{
    struct cells *cells = &looks->cells[0];
    for (int32_t p = 0; p < cells->planes; p++) {
        for (int32_t i = 0; i < cells->width * cells->height; i++) {
            float values[LOOKS];
            for (int k = 0; k < looks->count; k++)
                values[k] = looks->cells[k].value[p][i];
            cells->value[p][i] = middle_of_few(values, looks->count);
        }
    }
}

static enum passel_status dark_finish(const struct at *at, void *kept, void **found, size_t *bytes,
                                      struct passel_error *error)
{
    struct dark_work *work = kept;
    (void)at;
    struct lights_dark *dark = memory_zeros(1, sizeof *dark + (size_t)work->count * sizeof *dark->dark);
    if (dark == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    dark->count = work->count;
    *bytes = sizeof *dark;
    for (int i = 0; i < work->count; i++) {
        struct dark_looks *looks = &work->looks[i];
        if (looks->count == 0)
            continue;
        settle(looks);
        dark->dark[i] = looks->cells[0];
        looks->cells[0] = (struct cells){ 0 };
        *bytes += (size_t)dark->dark[i].width * (size_t)dark->dark[i].height * 7 * sizeof(float);
    }
    *found = dark;
    return PASSEL_OK;
}

static void dark_drop_work(void *kept)
{
    struct dark_work *work = kept;
    for (int i = 0; work != NULL && i < work->count; i++) {
        for (int k = 0; k < work->looks[i].count; k++)
            cells_release(&work->looks[i].cells[k]);
    }
    memory_free(work);
}

static void dark_drop(void *found)
{
    struct lights_dark *dark = found;
    for (int i = 0; dark != NULL && i < dark->count; i++)
        cells_release(&dark->dark[i]);
    memory_free(dark);
}

const struct analysis lights_analysis = {
    .asks = dark_asks,
    .add = dark_add,
    .finish = dark_finish,
    .drop_work = dark_drop_work,
    .drop_found = dark_drop,
};
