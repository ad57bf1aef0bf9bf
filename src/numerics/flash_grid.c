/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "numerics/flash_grid.h"

#include "base/memory.h"

/* Rows of the picture that are looked at for each row of cells. */
enum { ACROSS = FLASH_ACROSS, DOWN = FLASH_DOWN, LOOKED = 4 };

/* Sums of one looked-at row, per column of cells. Each row belongs to one strip, so strips never meet. */
struct view_row {
    float sums[3][ACROSS];
};

struct flash_view {
    struct rect window;
    double matrix[9]; /* from the picture's primaries */
    struct view_row rows[DOWN * LOOKED];
};

bool flash_view_fits(struct rect window)
{
    return rect_width(window) >= ACROSS && rect_height(window) >= DOWN * LOOKED;
}

struct flash_view *flash_view_new(struct rect window, const struct primaries *primaries)
{
    const struct primaries *shown = primaries_named("rec709");
    struct flash_view *view = flash_view_fits(window) ? memory_zeros(1, sizeof *view) : NULL;
    if (view == NULL)
        return NULL;
    view->window = window;
    if (!primaries_matrix(primaries, shown, view->matrix))
        (void)primaries_matrix(shown, shown, view->matrix);
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
    const struct rect area = strip->area;
    if ((picture_planes(strip) & HAS_RGB) != HAS_RGB)
        return;
    for (int32_t k = 0; k < DOWN * LOOKED; k++) {
        const int32_t y = view->window.y0 + share_of(k, DOWN * LOOKED, height);
        if (y < area.y0 || y >= area.y1)
            continue;
        for (int c = 0; c < 3; c++) {
            const float *row = picture_row(strip, (enum plane)c, y);
            for (int32_t i = 0; i < ACROSS; i++) {
                const int32_t x0 = view->window.x0 + share_of(i, ACROSS, width);
                const int32_t x1 = view->window.x0 + share_of(i + 1, ACROSS, width);
                const int32_t from = x0 > area.x0 ? x0 : area.x0, to = x1 < area.x1 ? x1 : area.x1;
                view->rows[k].sums[c][i] =
                    from < to ? shown_sum(row + (from - area.x0), to - from) / (float)(x1 - x0) : 0;
            }
        }
    }
}

struct flash_grid *flash_view_grid(const struct flash_view *view)
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
