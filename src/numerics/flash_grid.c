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

static float shown(float sample)
{
    return sample > 0 ? (sample < 1 ? sample : 1) : 0;
}

/* Three sums at a time: each waits for its own last step only. */
static void add_shown(const float *const rows[3], int32_t from, int32_t to, float sums[3])
{
    const float *restrict r = rows[0], *restrict g = rows[1], *restrict b = rows[2];
    float red = 0, green = 0, blue = 0;
    for (int32_t x = from; x < to; x++) {
        red += shown(r[x]);
        green += shown(g[x]);
        blue += shown(b[x]);
    }
    sums[0] = red;
    sums[1] = green;
    sums[2] = blue;
}

/* A row that begins at x0. */
static void look_at_row(struct view_row *view, struct rect window, const float *const rows[3], int32_t x0, int32_t x1)
{
    const int32_t width = rect_width(window);
    for (int32_t i = 0; i < ACROSS; i++) {
        const int32_t begin = window.x0 + share_of(i, ACROSS, width), end = window.x0 + share_of(i + 1, ACROSS, width);
        const int32_t from = begin > x0 ? begin : x0, to = end < x1 ? end : x1;
        float sums[3];
        add_shown(rows, from - x0, to - x0, sums);
        for (int c = 0; c < 3; c++)
            view->sums[c][i] = sums[c] / (float)(end - begin);
    }
}

void flash_view_strip(struct flash_view *view, const struct picture *strip)
{
    const int32_t height = rect_height(view->window);
    const struct rect area = strip->area;
    if ((picture_planes(strip) & HAS_RGB) != HAS_RGB)
        return;
    for (int32_t k = 0; k < DOWN * LOOKED; k++) {
        const int32_t y = view->window.y0 + share_of(k, DOWN * LOOKED, height);
        if (y < area.y0 || y >= area.y1)
            continue;
        const float *const rows[3] = { picture_row(strip, PLANE_R, y), picture_row(strip, PLANE_G, y),
                                       picture_row(strip, PLANE_B, y) };
        look_at_row(&view->rows[k], view->window, rows, area.x0, area.x1);
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
