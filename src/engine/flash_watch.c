/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "engine/flash_watch.h"

#include "base/error.h"
#include "base/memory.h"
#include "kinds/shot.h"

/* Cells across and down, and rows of the picture that are looked at for each row of cells. */
enum { ACROSS = 64, DOWN = 36, LOOKED = 4, CELLS = ACROSS * DOWN };

/* Sums of one looked-at row, per column of cells. Each row belongs to one strip, so strips never meet. */
struct view_row {
    float sums[3][ACROSS];
};

struct flash_view {
    struct rect window;
    double matrix[9]; /* from the shot's primaries */
    struct view_row rows[DOWN * LOOKED];
};

struct flash_grid {
    struct flash_cell cells[CELLS];
};

struct flash_watch {
    const int32_t *frames;
    int frame_count;
    struct flash_judge *judge;
    bool *put;
    struct flash_grid **grids; /* those that are still to be judged */
    int next;
};

/* ---- a frame ------------------------------------------------------------------------------------------------------
 */

struct flash_view *flash_view_new(const struct shot *shot, int scale)
{
    const struct rect window = shot_window(shot, scale);
    if (rect_width(window) < ACROSS || rect_height(window) < DOWN * LOOKED)
        return NULL;
    struct flash_view *view = memory_zeros(1, sizeof *view);
    if (view == NULL)
        return NULL;
    view->window = window;
    if (!primaries_matrix(&shot->primaries, primaries_named("rec709"), view->matrix)) {
        memory_free(view);
        return NULL;
    }
    return view;
}

void flash_view_free(struct flash_view *view)
{
    memory_free(view);
}

static int32_t share_of(int32_t part, int32_t parts, int32_t whole)
{
    return (int32_t)((int64_t)whole * part / parts);
}

static float shown_sum(const float *restrict samples, int32_t count)
{
    float sum = 0;
    for (int32_t x = 0; x < count; x++)
        sum += samples[x] > 0 ? (samples[x] < 1 ? samples[x] : 1) : 0;
    return sum;
}

void flash_view_strip(struct flash_view *view, const struct picture *strip)
{
    const int32_t width = rect_width(view->window), height = rect_height(view->window);
    if ((picture_planes(strip) & HAS_RGB) != HAS_RGB)
        return;
    for (int32_t k = 0; k < DOWN * LOOKED; k++) {
        const int32_t y = view->window.y0 + share_of(k, DOWN * LOOKED, height);
        if (y < strip->area.y0 || y >= strip->area.y1)
            continue;
        for (int c = 0; c < 3; c++) {
            const float *row = picture_row(strip, (enum plane)c, y);
            for (int32_t i = 0; i < ACROSS; i++) {
                const int32_t x0 = share_of(i, ACROSS, width), x1 = share_of(i + 1, ACROSS, width);
                view->rows[k].sums[c][i] = shown_sum(row + x0, x1 - x0) / (float)(x1 - x0);
            }
        }
    }
}

static struct flash_grid *grid_of(const struct flash_view *view)
{
    struct flash_grid *grid = memory_zeros(1, sizeof *grid);
    for (int j = 0; j < DOWN && grid != NULL; j++) {
        for (int i = 0; i < ACROSS; i++) {
            float mean[3] = { 0 };
            for (int k = j * LOOKED; k < (j + 1) * LOOKED; k++) {
                for (int c = 0; c < 3; c++)
                    mean[c] += view->rows[k].sums[c][i] / LOOKED;
            }
            matrix_apply(view->matrix, &mean[0], &mean[1], &mean[2], 1);
            grid->cells[j * ACROSS + i] =
                (struct flash_cell){ mean[0] > 0 ? mean[0] : 0, mean[1] > 0 ? mean[1] : 0, mean[2] > 0 ? mean[2] : 0 };
        }
    }
    return grid;
}

/* ---- all frames ---------------------------------------------------------------------------------------------------
 */

enum passel_status flash_watch_new(const struct shot *shot, const int32_t *frames, int frame_count,
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
        status = flash_judge_new(CELLS, shot->rate, &watch->judge, error);
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

void flash_watch_put(struct flash_watch *watch, int index, const struct flash_view *view)
{
    if (watch->put[index])
        return;
    watch->put[index] = true;
    watch->grids[index] = view != NULL ? grid_of(view) : NULL;
    for (; watch->next < watch->frame_count && watch->put[watch->next]; watch->next++) {
        struct flash_grid *grid = watch->grids[watch->next];
        /* A frame that is not known is left out: the next one does not follow then. */
        if (grid != NULL)
            (void)flash_judge_frame(watch->judge, watch->frames[watch->next], grid->cells, NULL);
        memory_free(grid);
        watch->grids[watch->next] = NULL;
    }
}

const struct flash_stretch *flash_watch_stretches(const struct flash_watch *watch, int *count)
{
    return flash_judge_stretches(watch->judge, count);
}
