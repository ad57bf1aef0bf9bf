/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "numerics/flash_watch.h"

#include "base/error.h"
#include "base/memory.h"

struct flash_watch {
    const int32_t *frames;
    int frame_count;
    struct flash_judge *judge;
    bool *put;
    struct flash_grid **grids; /* those that are still to be judged */
    int next;
};

enum passel_status flash_watch_new(const int32_t *frames, int frame_count, double rate, double area,
                                   struct flash_watch **made, struct passel_error *error)
{
    struct flash_watch *watch = memory_zeros(1, sizeof *watch);
    enum passel_status status = PASSEL_NO_MEMORY;
    *made = NULL;
    if (watch != NULL) {
        watch->frames = frames;
        watch->frame_count = frame_count;
        watch->put = memory_zeros((size_t)frame_count, sizeof *watch->put);
        watch->grids = memory_zeros((size_t)frame_count, sizeof(*watch->grids));
        status = flash_judge_new(FLASH_CELLS, rate, area, &watch->judge, error);
    }
    if (status == PASSEL_OK && watch->put != NULL && watch->grids != NULL) {
        *made = watch;
        return PASSEL_OK;
    }
    flash_watch_free(watch);
    return error_set(error, PASSEL_NO_MEMORY, "out of memory");
}

void flash_watch_free(struct flash_watch *watch)
{
    if (watch == NULL)
        return;
    for (int i = watch->next; i < watch->frame_count && watch->grids != NULL; i++)
        memory_free(watch->grids[i]);
    flash_judge_free(watch->judge);
    memory_free(watch->put);
    memory_free(watch->grids);
    memory_free(watch);
}

void flash_watch_put(struct flash_watch *watch, int index, struct flash_grid *grid)
{
    if (watch->put[index]) {
        memory_free(grid);
        return;
    }
    watch->put[index] = true;
    watch->grids[index] = grid;
    for (; watch->next < watch->frame_count && watch->put[watch->next]; watch->next++) {
        struct flash_grid *next = watch->grids[watch->next];
        /* A frame that is not known is left out: the next one does not follow then. */
        const int32_t frame = watch->frames != NULL ? watch->frames[watch->next] : watch->next + 1;
        if (next != NULL)
            (void)flash_judge_frame(watch->judge, frame, next->cells, NULL);
        memory_free(next);
        watch->grids[watch->next] = NULL;
    }
}

const struct flash_stretch *flash_watch_stretches(const struct flash_watch *watch, int *count)
{
    return flash_judge_stretches(watch->judge, count);
}

double flash_watch_share(const struct flash_watch *watch)
{
    return flash_judge_share(watch->judge);
}
