/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Foreground colours F near a place have mean m and covariance S, so the pixel a F + (1 - a) K strays from the line
 * between m and K by a² S and by noise. Weighted by the inverse of that, the projection onto the line is the best
 * linear estimate: alpha = (K - y)ᵀ W (K - m) / (K - m)ᵀ W (K - m). Where the surroundings vary (light and shade on one
 * cloth) the varying direction has little say by itself. Sums over cells are taken in a fixed window and order around
 * each cell, so that they are the same whatever is being filled.
 */
#include "kinds/key_local.h"

#include <math.h>
#include <string.h>

#include "base/error.h"
#include "numerics/between.h"

#define WINDOW 6 /* cells to each side */
#define SUMS 10  /* count, 3 means, 6 products */
#define TYPICAL_ALPHA2 0.25F
#define FLOOR_SHARE 0.03F /* of the screen's brightest channel: colours differ at least so much */
#define ENOUGH_SOLID 64   /* weighted pixels that make a place half trusted */

static int32_t cell_of(int32_t pixel)
{
    return pixel >= 0 ? pixel / LOCAL_CELL : -((LOCAL_CELL - 1 - pixel) / LOCAL_CELL);
}

/* The ten sums of one cell. */
static void cell_sums(const struct picture *take, const struct picture *solid, int32_t i, int32_t j, float sums[SUMS])
{
    const struct rect cell =
        rect_cut(rect_of(i * LOCAL_CELL, j * LOCAL_CELL, (i + 1) * LOCAL_CELL, (j + 1) * LOCAL_CELL), solid->area);
    memset(sums, 0, SUMS * sizeof *sums);
    for (int32_t y = cell.y0; y < cell.y1; y++) {
        const float *is_solid = picture_row(solid, PLANE_A, y) - solid->area.x0;
        const float *r = picture_row(take, PLANE_R, y) - take->area.x0;
        const float *g = picture_row(take, PLANE_G, y) - take->area.x0;
        const float *b = picture_row(take, PLANE_B, y) - take->area.x0;
        for (int32_t x = cell.x0; x < cell.x1; x++) {
            if (is_solid[x] == 0)
                continue;
            const float all[SUMS] = { 1,           r[x],        g[x],        b[x],        r[x] * r[x],
                                      r[x] * g[x], r[x] * b[x], g[x] * g[x], g[x] * b[x], b[x] * b[x] };
            for (int k = 0; k < SUMS; k++)
                sums[k] += all[k];
        }
    }
}

/* out = tent-weighted sums along one direction; cells outside the grid count nothing. */
static void window_sums(const float *in, float *out, int32_t count, int32_t lines, int32_t step, int32_t line_step)
{
    for (int32_t line = 0; line < lines; line++) {
        for (int32_t i = 0; i < count; i++) {
            float sums[SUMS] = { 0 };
            for (int32_t d = -WINDOW; d <= WINDOW; d++) {
                if (i + d < 0 || i + d >= count)
                    continue;
                const float weight = (float)(WINDOW + 1 - (d < 0 ? -d : d)) / (WINDOW + 1);
                const float *from = in + (size_t)(line * line_step + (i + d) * step) * SUMS;
                for (int k = 0; k < SUMS; k++)
                    sums[k] += weight * from[k];
            }
            memcpy(out + (size_t)(line * line_step + i * step) * SUMS, sums, sizeof sums);
        }
    }
}

/* x = inverse(m) v for a symmetric positive 3x3 matrix m = r r, r g, r b, g g, g b, b b. */
static void solve3(const float m[6], const float v[3], float x[3])
{
    const float a = m[3] * m[5] - m[4] * m[4], b = m[2] * m[4] - m[1] * m[5], c = m[1] * m[4] - m[2] * m[3];
    const float d = m[0] * m[5] - m[2] * m[2], e = m[1] * m[2] - m[0] * m[4], f = m[0] * m[3] - m[1] * m[1];
    const float scale = 1 / (m[0] * a + m[1] * b + m[2] * c);
    x[0] = (a * v[0] + b * v[1] + c * v[2]) * scale;
    x[1] = (b * v[0] + d * v[1] + e * v[2]) * scale;
    x[2] = (c * v[0] + e * v[1] + f * v[2]) * scale;
}

/* From the sums around a cell and the screen there to the measure. */
static void cell_measure(const struct local *local, size_t cell, const float sums[SUMS], const float field[3],
                         const struct noise noise[3])
{
    static const int diagonal[3] = { 0, 3, 5 };
    const float count = sums[0], share = 1 / larger(count, 1e-3F);
    const float floor = FLOOR_SHARE * larger(larger(field[0], field[1]), field[2]);
    const float mean[3] = { sums[1] * share, sums[2] * share, sums[3] * share };
    float spread[6], way[3], pull[3], length = 0;
    for (int k = 0, i = 0; i < 3; i++) {
        for (int j = i; j < 3; j++, k++)
            spread[k] = TYPICAL_ALPHA2 * (sums[4 + k] * share - mean[i] * mean[j]);
    }
    for (int c = 0; c < 3; c++) {
        spread[diagonal[c]] = larger(spread[diagonal[c]], 0) + floor * floor + noise_variance(noise[c], field[c]);
        way[c] = field[c] - mean[c];
    }
    solve3(spread, way, pull);
    for (int c = 0; c < 3; c++)
        length += way[c] * pull[c];
    const bool good = count > 0 && length > 1e-6F;
    for (int c = 0; c < 3; c++)
        local->measure[c][cell] = good ? pull[c] / length : 0;
    local->trust[cell] = good ? count / (count + ENOUGH_SOLID) : 0;
}

static void measure_cells(const struct local *local, const float *sums, struct rect grid, const struct screen *screen)
{
    const int32_t width = rect_width(local->cells);
    for (int32_t j = local->cells.y0; j < local->cells.y1; j++) {
        for (int32_t i = local->cells.x0; i < local->cells.x1; i++) {
            const size_t from = (size_t)((j - grid.y0) * rect_width(grid) + i - grid.x0) * SUMS;
            float field[3];
            for (int c = 0; c < 3; c++)
                field[c] = *screen_row(screen, c, i * LOCAL_CELL + LOCAL_CELL / 2, j * LOCAL_CELL + LOCAL_CELL / 2, 1,
                                       &field[c]);
            cell_measure(local, (size_t)((j - local->cells.y0) * width + i - local->cells.x0), sums + from, field,
                         screen->noise);
        }
    }
}

enum passel_status local_learn(struct local *local, struct rect want, const struct picture *take,
                               const struct picture *solid, const struct screen *screen, struct arena *scratch,
                               struct passel_error *error)
{
    local->cells =
        rect_of(cell_of(want.x0) - 1, cell_of(want.y0) - 1, cell_of(want.x1 - 1) + 2, cell_of(want.y1 - 1) + 2);
    const struct rect grid = rect_grow(local->cells, WINDOW, WINDOW);
    const size_t cells = (size_t)rect_width(local->cells) * (size_t)rect_height(local->cells);
    const size_t all = (size_t)rect_width(grid) * (size_t)rect_height(grid);
    float *sums = arena_array(scratch, all, SUMS * sizeof *sums);
    float *across = arena_array(scratch, all, SUMS * sizeof *across);
    float *kept = arena_array(scratch, cells, 4 * sizeof *kept);
    if (sums == NULL || across == NULL || kept == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int c = 0; c < 3; c++)
        local->measure[c] = kept + cells * (size_t)c;
    local->trust = kept + 3 * cells;
    for (int32_t j = grid.y0; j < grid.y1; j++) {
        for (int32_t i = grid.x0; i < grid.x1; i++)
            cell_sums(take, solid, i, j, sums + (size_t)((j - grid.y0) * rect_width(grid) + i - grid.x0) * SUMS);
    }
    window_sums(sums, across, rect_width(grid), rect_height(grid), 1, rect_width(grid));
    window_sums(across, sums, rect_height(grid), rect_width(grid), rect_width(grid), 1);
    measure_cells(local, sums, grid, screen);
    return PASSEL_OK;
}

void local_row(const struct local *local, int32_t x0, int32_t y, int32_t count, float *measure[3], float *trust)
{
    const int32_t width = rect_width(local->cells);
    const int32_t j = cell_of(y - LOCAL_CELL / 2);
    const float down = ((float)(y - j * LOCAL_CELL) + 0.5F) / LOCAL_CELL - 0.5F;
    float *const out[4] = { measure[0], measure[1], measure[2], trust };
    const float *const planes[4] = { local->measure[0], local->measure[1], local->measure[2], local->trust };
    for (int32_t n = 0; n < count; n++) {
        const int32_t x = x0 + n, i = cell_of(x - LOCAL_CELL / 2);
        const float over = ((float)(x - i * LOCAL_CELL) + 0.5F) / LOCAL_CELL - 0.5F;
        const size_t at = (size_t)((j - local->cells.y0) * width + i - local->cells.x0);
        for (int k = 0; k < 4; k++) {
            const float *p = planes[k] + at;
            const float top = p[0] + over * (p[1] - p[0]), bottom = p[width] + over * (p[width + 1] - p[width]);
            out[k][n] = top + down * (bottom - top);
        }
    }
}
