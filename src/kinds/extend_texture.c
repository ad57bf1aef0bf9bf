/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The plate's light is split, in fourth roots, into a broad gradient and what stands out of it. The gradient is
 * continued as such; pieces of the rest are laid over it. Which pieces go where is found on a coarse grid
 * (numerics/patch_match.h). Where two pieces meet they are mixed over a few cells, fine parts so that grain keeps its
 * strength; at the plate's border what is still missing is carried a little way out.
 */
#include "kinds/extend_texture.h"

#include <math.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "kinds/extend_gradient.h"
#include "kinds/extend_join.h"
#include "numerics/between.h"
#include "numerics/box_mean.h"
#include "numerics/cells.h"
#include "numerics/patch_match.h"
#include "numerics/poisson.h"

#define GRID_CELLS 240    /* along the longer side, about */
#define LEAST_AWAY 10     /* a piece comes from at least this fraction of the longer side */
#define DOUBT 4.0F        /* cost of a source per share by which its broad light, in roots, is off the border's */
#define REST_RADIUS 1     /* pixels around that a miss is averaged over: clouds are sharper than a sky */
#define REST_PIXELS 20.0F /* the same, for single pixels */
#define CARRY_CELLS 12.0F /* how far a miss at the border is carried out */

struct texture {
    const struct texture_job *job;
    struct gradient broad;
    struct picture detail; /* packed, over the plate: R, G, B in fourth roots */
    struct picture slow;   /* packed: its slow part */
    struct patch_grid grid;
    int32_t cell; /* pixels along a side of a cell */
    bool *known, *source, *open;
    float *own[3];  /* detail of known cells before the pieces were laid */
    float *miss[3]; /* what has to be added to the pieces */
    float *right, *down;
    float *doubt;
    struct patch_from *from;
    unsigned char *part;
    float *field; /* a row as wide as the frame */
    void *block;
};

static void texture_release(struct texture *texture)
{
    gradient_release(&texture->broad);
    picture_release(&texture->detail);
    picture_release(&texture->slow);
    memory_free(texture->block);
}

static enum passel_status grid_new(struct texture *texture, struct passel_error *error)
{
    const struct rect target = texture->job->windows->target;
    const int32_t larger = rect_width(target) > rect_height(target) ? rect_width(target) : rect_height(target);
    texture->cell = (larger + GRID_CELLS - 1) / GRID_CELLS;
    struct patch_grid *grid = &texture->grid;
    grid->width = (rect_width(target) + texture->cell - 1) / texture->cell;
    grid->height = (rect_height(target) + texture->cell - 1) / texture->cell;
    const size_t cells = (size_t)grid->width * (size_t)grid->height;
    const size_t bytes = 12 * sizeof(float) + sizeof(struct patch_from) + 3 * sizeof(bool) + 1;
    /* the row of pixels stands first: it is at most as long as the grid's rows are wide in pixels */
    const size_t row = (size_t)grid->width * (size_t)texture->cell * sizeof(float);
    float *next = texture->block = memory_zeros(cells * bytes + row, 1);
    if (next == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    texture->field = next;
    next += (size_t)grid->width * (size_t)texture->cell;
    for (int c = 0; c < 3; c++, next += 3 * cells) {
        grid->plane[c] = next;
        texture->miss[c] = next + cells;
        texture->own[c] = next + 2 * cells;
    }
    texture->right = next;
    texture->down = next + cells;
    texture->doubt = next + 2 * cells;
    texture->from = (struct patch_from *)(next + 3 * cells);
    texture->known = (bool *)(texture->from + cells);
    texture->source = texture->known + cells;
    texture->open = texture->source + cells;
    texture->part = (unsigned char *)(texture->open + cells);
    grid->known = texture->known;
    grid->source = texture->source;
    grid->open = texture->open;
    grid->doubt = texture->doubt;
    return PASSEL_OK;
}

/* ---- taking the plate apart ------------------------------------------------------------------------------------ */

static void find_detail(const struct texture *texture)
{
    const struct picture *plate = texture->job->plate;
    const int32_t width = rect_width(plate->area);
    for (int c = 0; c < 3; c++) {
        for (int32_t y = plate->area.y0; y < plate->area.y1; y++) {
            const float *own = picture_row(plate, (enum plane)c, y);
            float *to = picture_row(&texture->detail, (enum plane)c, y);
            gradient_field_row(&texture->broad, c, plate->area.x0, y, width, texture->field);
            for (int32_t x = 0; x < width; x++)
                to[x] = fourth_root(own[x]) - fourth_root(texture->field[x]);
        }
    }
}

/* Two boxes of about a cell's size. */
static enum passel_status find_slow(const struct texture *texture, struct passel_error *error)
{
    const int32_t width = rect_width(texture->detail.area), height = rect_height(texture->detail.area);
    const size_t pixels = (size_t)width * (size_t)height;
    double *columns = memory_zeros((size_t)width, sizeof *columns);
    float *once = memory_zeros(pixels, sizeof *once);
    for (int c = 0; columns != NULL && once != NULL && c < 3; c++) {
        box_mean(texture->detail.plane[c], once, width, height, (size_t)width, texture->cell, columns);
        box_mean(once, texture->slow.plane[c], width, height, (size_t)width, texture->cell, columns);
    }
    const bool failed = columns == NULL || once == NULL;
    memory_free(columns);
    memory_free(once);
    return failed ? error_set(error, PASSEL_NO_MEMORY, "out of memory") : PASSEL_OK;
}

/* Whether the plate does not, or not fully, show at a pixel. */
static bool is_open(const struct texture_job *job, int32_t x, int32_t y)
{
    const struct rect plate = job->windows->plate;
    if (x < plate.x0 || x >= plate.x1 || y < plate.y0 || y >= plate.y1 ||
        !(picture_row(job->known, PLANE_A, y)[x - plate.x0] > 0))
        return true;
    return job->seam > 0 && plate_share(job->windows, x, y, job->seam) < 1;
}

/* A cell's mean detail, and what it is good for: a source is known in all its pixels. */
static void grid_cell(const struct texture *texture, int32_t cell)
{
    const struct texture_job *job = texture->job;
    const struct rect target = job->windows->target, plate = job->windows->plate;
    const int32_t size = texture->cell, x0 = target.x0 + cell % texture->grid.width * size;
    const int32_t y0 = target.y0 + cell / texture->grid.width * size;
    const struct rect all = rect_cut(rect_of(x0, y0, x0 + size, y0 + size), target);
    float sum[3] = { 0 };
    int32_t known = 0, pixels = 0, open = 0;
    for (int32_t y = all.y0; y < all.y1; y++) {
        for (int32_t x = all.x0; x < all.x1; x++) {
            const bool inside = x >= plate.x0 && x < plate.x1 && y >= plate.y0 && y < plate.y1;
            pixels++;
            open += is_open(job, x, y);
            if (!inside || !(picture_row(job->known, PLANE_A, y)[x - plate.x0] > 0))
                continue;
            known++;
            for (int c = 0; c < 3; c++)
                sum[c] += picture_row(&texture->detail, (enum plane)c, y)[x - plate.x0];
        }
    }
    for (int c = 0; c < 3; c++)
        texture->grid.plane[c][cell] = known > 0 ? sum[c] / (float)known : 0;
    texture->known[cell] = 2 * known > pixels;
    texture->source[cell] = known == pixels && open == 0;
    texture->open[cell] = open > 0;
}

/* Whether a cell that is known lies beside one that is to be filled. */
static bool at_border(const struct texture *texture, int32_t cell)
{
    const int32_t w = texture->grid.width, h = texture->grid.height, x = cell % w, y = cell / w;
    return texture->known[cell] && !texture->open[cell] &&
           ((x > 0 && texture->open[cell - 1]) || (x + 1 < w && texture->open[cell + 1]) ||
            (y > 0 && texture->open[cell - w]) || (y + 1 < h && texture->open[cell + w]));
}

/* Root of the broad light at a cell's middle. */
static float broad_at(const struct texture *texture, int c, int32_t cell)
{
    const struct rect target = texture->job->windows->target;
    const int32_t size = texture->cell;
    float light;
    gradient_field_row(&texture->broad, c, target.x0 + cell % texture->grid.width * size + size / 2,
                       target.y0 + cell / texture->grid.width * size + size / 2, 1, &light);
    return fourth_root(light);
}

/* What stands in much brighter or darker light, or light of another colour, is seldom of the kind that the border is.
 */
static void find_doubt(const struct texture *texture)
{
    const int32_t cells = texture->grid.width * texture->grid.height;
    for (int c = 0; c < 3; c++) {
        double sum = 0, count = 0;
        for (int32_t cell = 0; cell < cells; cell++) {
            if (at_border(texture, cell)) {
                sum += (double)broad_at(texture, c, cell);
                count += 1;
            }
        }
        const float usual = count > 0 ? (float)fmax(sum / count, 1e-3) : 1;
        for (int32_t cell = 0; cell < cells && count > 0; cell++)
            texture->doubt[cell] += DOUBT / 3 * fabsf(broad_at(texture, c, cell) / usual - 1);
    }
}

/* ---- making the pieces meet ------------------------------------------------------------------------------------ */

static bool is_piece(struct patch_from from)
{
    return from.dx != 0 || from.dy != 0;
}

/* The cell that a piece shows at another cell than its own, or -1. */
static int32_t shown_at(const struct texture *texture, int32_t cell, struct patch_from from)
{
    const int32_t w = texture->grid.width, h = texture->grid.height;
    const int32_t u = cell % w + from.dx, v = cell / w + from.dy;
    if (!is_piece(from) || u < 0 || v < 0 || u >= w || v >= h || !texture->source[v * w + u])
        return -1;
    return v * w + u;
}

/* The step from cell p to q, over a joint of two pieces: what both pieces have there on average, less what is there. */
static float joint_step(const struct texture *texture, int32_t p, int32_t q, int c)
{
    const struct patch_from a = texture->from[p], b = texture->from[q];
    const float *plane = texture->grid.plane[c];
    const int32_t ends[2][2] = { { shown_at(texture, p, a), shown_at(texture, q, a) },
                                 { shown_at(texture, p, b), shown_at(texture, q, b) } };
    float sum = 0, count = 0;
    if (!is_piece(a) || !is_piece(b) || (a.dx == b.dx && a.dy == b.dy))
        return 0;
    for (int k = 0; k < 2; k++) {
        if (ends[k][0] >= 0 && ends[k][1] >= 0) {
            sum += plane[ends[k][1]] - plane[ends[k][0]];
            count += 1;
        }
    }
    return count > 0 ? sum / count - (plane[q] - plane[p]) : 0;
}

/* What a known cell at the border has and the pieces beside it have not; false when it is not at the border. */
static bool border_miss(const struct texture *texture, int32_t cell, float miss[3])
{
    const int32_t w = texture->grid.width, h = texture->grid.height, x = cell % w, y = cell / w;
    const int32_t near[4] = { x > 0 ? cell - 1 : cell, x + 1 < w ? cell + 1 : cell, y > 0 ? cell - w : cell,
                              y + 1 < h ? cell + w : cell };
    float sum[3] = { 0 }, count = 0;
    for (int k = 0; k < 4; k++) {
        const int32_t shown = texture->open[near[k]] ? shown_at(texture, cell, texture->from[near[k]]) : -1;
        if (shown < 0)
            continue;
        count += 1;
        for (int c = 0; c < 3; c++)
            sum[c] += texture->own[c][cell] - texture->grid.plane[c][shown];
    }
    for (int c = 0; c < 3; c++)
        miss[c] = count > 0 ? sum[c] / count : 0;
    return count > 0;
}

/* Two cells deep behind the border pieces and what they miss go on, so that they can be compared with the plate there.
 */
static void go_on_behind(const struct texture *texture)
{
    const int32_t w = texture->grid.width, cells = w * texture->grid.height;
    for (unsigned char reached = POISSON_FREE + 1; reached <= POISSON_FREE + 2; reached++) {
        for (int32_t p = 0; p < cells; p++) {
            const int32_t near[4] = { p % w > 0 ? p - 1 : p, p % w + 1 < w ? p + 1 : p, p >= w ? p - w : p,
                                      p + w < cells ? p + w : p };
            for (int k = 0; k < 4 && !texture->open[p] && !is_piece(texture->from[p]); k++) {
                if (!is_piece(texture->from[near[k]]) || texture->part[near[k]] == reached)
                    continue;
                texture->from[p] = texture->from[near[k]];
                for (int c = 0; c < 3 && texture->part[p] == POISSON_OUT; c++)
                    texture->miss[c][p] = texture->miss[c][near[k]];
                texture->part[p] = reached;
            }
        }
    }
}

/* What has to be added so that pieces meet each other and the plate, dying away from there. */
static void find_miss(const struct texture *texture)
{
    const int32_t w = texture->grid.width, cells = w * texture->grid.height;
    for (int32_t p = 0; p < cells; p++) {
        float miss[3] = { 0 };
        texture->part[p] = texture->open[p] && is_piece(texture->from[p]) ? POISSON_FREE : POISSON_OUT;
        if (!texture->open[p] && texture->known[p] && border_miss(texture, p, miss))
            texture->part[p] = POISSON_FIXED;
        for (int c = 0; c < 3; c++)
            texture->miss[c][p] = miss[c];
    }
    for (int c = 0; c < 3; c++) {
        for (int32_t p = 0; p < cells; p++) {
            texture->right[p] = p % w + 1 < w ? joint_step(texture, p, p + 1, c) : 0;
            texture->down[p] = p + w < cells ? joint_step(texture, p, p + w, c) : 0;
        }
        poisson_solve(texture->miss[c], texture->right, texture->down, texture->part, w, texture->grid.height,
                      1 / (CARRY_CELLS * CARRY_CELLS));
    }
}

/* ---- laying the pieces ----------------------------------------------------------------------------------------- */

/* The sixteen cells around a pixel and their say. */
struct around {
    int32_t cell[16];
    float weight[16];
};

static struct around around_pixel(const struct texture *texture, int32_t x, int32_t y)
{
    const struct rect target = texture->job->windows->target;
    const float size = (float)texture->cell;
    const float u = ((float)(x - target.x0) + 0.5F) / size - 0.5F, v = ((float)(y - target.y0) + 0.5F) / size - 0.5F;
    const float left = floorf(u), top = floorf(v);
    struct around around;
    float across[4], down[4];
    cubic_weights(u - left, across);
    cubic_weights(v - top, down);
    for (int32_t k = 0; k < 16; k++) {
        const int32_t i = place_held((int32_t)left - 1 + k % 4, texture->grid.width);
        const int32_t j = place_held((int32_t)top - 1 + k / 4, texture->grid.height);
        around.cell[k] = j * texture->grid.width + i;
        around.weight[k] = across[k % 4] * down[k / 4];
    }
    return around;
}

static bool same_from(struct patch_from a, struct patch_from b)
{
    return a.dx == b.dx && a.dy == b.dy;
}

/* Detail of one piece at a pixel, or false when it comes from outside the plate. */
static bool piece_at(const struct texture *texture, const struct picture *detail, struct patch_from from, int32_t x,
                     int32_t y, float value[3])
{
    const struct rect plate = detail->area;
    const int32_t u = x + from.dx * texture->cell, v = y + from.dy * texture->cell;
    if ((from.dx == 0 && from.dy == 0) || u < plate.x0 || v < plate.y0 || u >= plate.x1 || v >= plate.y1)
        return false;
    for (int c = 0; c < 3; c++)
        value[c] = picture_row(detail, (enum plane)c, v)[u - plate.x0];
    return true;
}

/* All mixed; uncorrelated fine parts lose strength where they are, and are given it back. */
static void lay_pixel(const struct texture *texture, int32_t x, int32_t y, float detail[3])
{
    struct around around = around_pixel(texture, x, y);
    float mixed[3] = { 0 }, fine[3] = { 0 }, all = 0, squares = 0, slow[3], full[3];
    for (int k = 0; k < 16; k++) {
        const struct patch_from from = texture->from[around.cell[k]];
        float weight = around.weight[k];
        for (int other = k + 1; other < 16; other++) {
            if (same_from(texture->from[around.cell[other]], from)) {
                weight += around.weight[other];
                around.weight[other] = 0;
            }
        }
        if (around.weight[k] <= 0 || !piece_at(texture, &texture->slow, from, x, y, slow) ||
            !piece_at(texture, &texture->detail, from, x, y, full))
            continue;
        for (int c = 0; c < 3; c++) {
            mixed[c] += weight * slow[c];
            fine[c] += weight * (full[c] - slow[c]);
        }
        all += weight;
        squares += weight * weight;
    }
    for (int c = 0; c < 3; c++)
        detail[c] = all > 0 ? mixed[c] / all + fine[c] / sqrtf(squares) : 0;
}

static float carried(const struct texture *texture, const struct around *around, int c)
{
    float sum = 0;
    for (int k = 0; k < 16; k++)
        sum += around->weight[k] * texture->miss[c][around->cell[k]];
    return sum;
}

/* Detail of the pieces at a pixel, as they meet each other. */
static void laid(const struct texture *texture, int32_t x, int32_t y, float detail[3])
{
    const struct around around = around_pixel(texture, x, y);
    lay_pixel(texture, x, y, detail);
    for (int c = 0; c < 3; c++)
        detail[c] += carried(texture, &around, c);
}

static bool is_near_open(const struct texture_job *job, int32_t x, int32_t y)
{
    const struct rect target = job->windows->target;
    for (int32_t v = y - JOIN_RADIUS; v <= y + JOIN_RADIUS; v += JOIN_RADIUS) {
        for (int32_t u = x - JOIN_RADIUS; u <= x + JOIN_RADIUS; u += JOIN_RADIUS) {
            if (u >= target.x0 && u < target.x1 && v >= target.y0 && v < target.y1 && is_open(job, u, v))
                return true;
        }
    }
    return false;
}

/* What is missed at the border pixel by pixel is carried a short way out. `rest` and `weight` are packed over the
 * target. */
static enum passel_status find_rest(const struct texture *texture, const struct picture *rest,
                                    const struct picture *weight, struct passel_error *error)
{
    const struct rect target = texture->job->windows->target, plate = texture->detail.area;
    for (int32_t y = target.y0; y < target.y1; y++) {
        for (int32_t x = target.x0; x < target.x1; x++) {
            float detail[3];
            const bool open = is_open(texture->job, x, y);
            picture_row(weight, PLANE_A, y)[x - target.x0] = !open;
            if (open || !is_near_open(texture->job, x, y))
                continue;
            laid(texture, x, y, detail);
            for (int c = 0; c < 3; c++)
                picture_row(rest, (enum plane)c, y)[x - target.x0] =
                    picture_row(&texture->detail, (enum plane)c, y)[x - plate.x0] - detail[c];
        }
    }
    return join_span(rest, weight, REST_RADIUS, 1 / (REST_PIXELS * REST_PIXELS), error);
}

static void lay_row(const struct texture *texture, const struct picture *rest, int32_t y)
{
    const struct rect target = texture->job->windows->target;
    const struct picture *light = texture->job->light;
    const int32_t width = rect_width(target);
    for (int32_t x = target.x0; x < target.x1; x++) {
        float detail[3];
        if (!is_open(texture->job, x, y))
            continue;
        laid(texture, x, y, detail);
        for (int c = 0; c < 3; c++)
            picture_row(light, (enum plane)c, y)[x - light->area.x0] =
                detail[c] + picture_row(rest, (enum plane)c, y)[x - target.x0];
    }
    for (int c = 0; c < 3; c++) {
        float *row = picture_row(light, (enum plane)c, y) - light->area.x0;
        gradient_field_row(&texture->broad, c, target.x0, y, width, texture->field);
        for (int32_t x = target.x0; x < target.x1; x++) {
            if (is_open(texture->job, x, y))
                row[x] = fourth_power(fourth_root(texture->field[x - target.x0]) + row[x]);
        }
    }
}

static enum passel_status lay_all(const struct texture *texture, struct passel_error *error)
{
    const struct rect target = texture->job->windows->target;
    struct picture rest = { 0 }, weight = { 0 };
    enum passel_status status;
    GOTO_IF_ERROR(packed_picture(&rest, target, HAS_RGB, error), out_pictures);
    GOTO_IF_ERROR(packed_picture(&weight, target, HAS_A, error), out_pictures);
    GOTO_IF_ERROR(find_rest(texture, &rest, &weight, error), out_pictures);
    for (int32_t y = target.y0; y < target.y1; y++)
        lay_row(texture, &rest, y);
out_pictures:
    picture_release(&rest);
    picture_release(&weight);
    return status;
}

enum passel_status texture_solve(const struct texture_job *job, struct passel_error *error)
{
    struct texture texture = { .job = job };
    enum passel_status status;
    GOTO_IF_ERROR(gradient_learn(&texture.broad, job->plate, job->known, job->windows->target, DETAIL_BROAD, error),
                  out_texture);
    GOTO_IF_ERROR(grid_new(&texture, error), out_texture);
    GOTO_IF_ERROR(packed_picture(&texture.detail, job->plate->area, HAS_RGB, error), out_texture);
    GOTO_IF_ERROR(packed_picture(&texture.slow, job->plate->area, HAS_RGB, error), out_texture);
    find_detail(&texture);
    GOTO_IF_ERROR(find_slow(&texture, error), out_texture);
    const int32_t cells = texture.grid.width * texture.grid.height;
    for (int32_t cell = 0; cell < cells; cell++)
        grid_cell(&texture, cell);
    find_doubt(&texture);
    for (int c = 0; c < 3; c++)
        memcpy(texture.own[c], texture.grid.plane[c], (size_t)cells * sizeof(float));
    const int32_t larger = texture.grid.width > texture.grid.height ? texture.grid.width : texture.grid.height;
    GOTO_IF_ERROR(patch_match(&texture.grid, larger / LEAST_AWAY, texture.from, error), out_texture);
    find_miss(&texture);
    go_on_behind(&texture);
    status = lay_all(&texture, error);
out_texture:
    texture_release(&texture);
    return status;
}
