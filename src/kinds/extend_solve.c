/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Finds the light that a plate is continued with, once for all frames; a frame's own brightness is laid over it when
 * the frame is made (extend_level.h). First comes the gradient, for every method; `by texture` lays detail over it, and
 * `by plate` needs it where the other plate has no pixels to compare.
 */
#include <math.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "kinds/extend.h"
#include "kinds/extend_gradient.h"
#include "kinds/extend_join.h"
#include "kinds/extend_look.h"
#include "kinds/extend_texture.h"
#include "numerics/smooth_field.h"

#define GRAIN_DEPTH 5      /* grain is measured in this fraction of the plate along a border */
#define GRAIN_PIXELS 20000 /* in all of it when that is fewer */
#define NEAR_CELLS 2       /* cells that far from the border tell the brightness */

/* What the steps share; all in the output's coordinates. */
struct solving {
    const struct extend *extend;
    struct solution *solution;
    struct looks *looks;
    struct picture plate; /* view: the mean's light and the plate's alpha; holes are filled on the way */
    struct picture known; /* view, A: 0 in holes */
    struct gradient gradient;
    int32_t cell;
    float seam;
};

/* ---- the light of `by gradient` -------------------------------------------------------------------------------- */

/* Field and membrane, where `known` is 0. */
static void lay_into_holes(const struct gradient *gradient, const struct picture *plate, const struct picture *known,
                           const struct picture *miss, float *field)
{
    const struct rect box = miss->area;
    for (int32_t y = box.y0; y < box.y1; y++) {
        const float *is = picture_row(known, PLANE_A, y) + (box.x0 - known->area.x0);
        for (int c = 0; c < 3; c++) {
            const float *off = picture_row(miss, (enum plane)c, y);
            float *own = picture_row(plate, (enum plane)c, y) + (box.x0 - plate->area.x0);
            gradient_field_row(gradient, c, box.x0, y, rect_width(box), field);
            for (int32_t x = 0; x < rect_width(box); x++)
                own[x] = is[x] > 0 ? own[x] : fmaxf(field[x] + off[x], 0);
        }
    }
}

static void find_miss(const struct gradient *gradient, const struct picture *plate, const struct picture *miss)
{
    const struct rect box = miss->area;
    for (int c = 0; c < 3; c++) {
        for (int32_t y = box.y0; y < box.y1; y++) {
            float *row = picture_row(miss, (enum plane)c, y);
            const float *own = picture_row(plate, (enum plane)c, y) + (box.x0 - plate->area.x0);
            gradient_field_row(gradient, c, box.x0, y, rect_width(box), row);
            for (int32_t x = 0; x < rect_width(box); x++)
                row[x] = own[x] - row[x];
        }
    }
}

/* The plate's holes get the field, and a membrane of what the field misses at their border. */
static enum passel_status fill_holes(const struct gradient *gradient, const struct picture *plate,
                                     const struct picture *known, struct passel_error *error)
{
    const struct rect hole = join_gap(known);
    const struct rect box = rect_cut(rect_grow(hole, 2 * JOIN_RADIUS, 2 * JOIN_RADIUS), plate->area);
    struct picture miss = { 0 }, weight = { 0 };
    enum passel_status status;
    float *field = NULL;
    if (rect_empty(hole))
        return PASSEL_OK;
    GOTO_IF_ERROR(packed_picture(&miss, box, HAS_RGB, error), out_pictures);
    GOTO_IF_ERROR(packed_picture(&weight, box, HAS_A, error), out_pictures);
    picture_copy(&weight, known);
    find_miss(gradient, plate, &miss);
    GOTO_IF_ERROR(join_span(&miss, &weight, JOIN_RADIUS, 0, error), out_pictures);
    field = memory_zeros((size_t)rect_width(box), sizeof *field);
    if (field != NULL)
        lay_into_holes(gradient, plate, known, &miss, field);
    else
        status = error_set(error, PASSEL_NO_MEMORY, "out of memory");
out_pictures:
    memory_free(field);
    picture_release(&miss);
    picture_release(&weight);
    return status;
}

/* ---- the light in the whole frame ------------------------------------------------------------------------------ */

static bool is_opaque(const struct solving *solving)
{
    const struct picture *alpha = &solving->looks->alpha;
    for (int32_t y = alpha->area.y0; y < alpha->area.y1; y++) {
        const float *row = picture_row(alpha, PLANE_A, y);
        for (int32_t x = 0; x < rect_width(alpha->area); x++) {
            if (row[x] != 1)
                return false;
        }
    }
    return true;
}

/* The gradient, and the plate itself where it is not to be blended away. */
static void paint_row(const struct solving *solving, int32_t y)
{
    const struct windows *windows = &solving->solution->windows;
    const struct picture *light = &solving->solution->light;
    float *rows[4];
    for (int p = 0; p < PLANE_COUNT; p++)
        rows[p] = light->plane[p] != NULL ? picture_row(light, (enum plane)p, y) : NULL;
    gradient_render(&solving->gradient, light->area.x0, y, rect_width(light->area), rows);
    if (y < windows->plate.y0 || y >= windows->plate.y1)
        return;
    for (int32_t x = windows->plate.x0; x < windows->plate.x1; x++) {
        if (solving->seam > 0 && plate_share(windows, x, y, solving->seam) < 1)
            continue;
        for (int p = 0; p < PLANE_COUNT; p++) {
            if (rows[p] != NULL)
                rows[p][x - light->area.x0] =
                    picture_row(&solving->plate, (enum plane)p, y)[x - solving->plate.area.x0];
        }
    }
}

static enum passel_status solve_gradient(struct solving *solving, struct passel_error *error)
{
    struct solution *solution = solving->solution;
    RETURN_IF_ERROR(gradient_learn(&solving->gradient, &solving->plate, &solving->known, solution->windows.target,
                                   DETAIL_CLOSE, error));
    RETURN_IF_ERROR(fill_holes(&solving->gradient, &solving->plate, &solving->known, error));
    RETURN_IF_ERROR(gradient_learn_rim(&solving->gradient, &solving->plate, error));
    RETURN_IF_ERROR(
        picture_new(&solution->light, solution->windows.target, is_opaque(solving) ? HAS_RGB : HAS_RGBA, error));
    for (int32_t y = solution->light.area.y0; y < solution->light.area.y1; y++)
        paint_row(solving, y);
    return PASSEL_OK;
}

/* ---- brightness ------------------------------------------------------------------------------------------------ */

/* Whether a part of the frame lies wholly in what is known of the plate. */
static bool is_known(const struct solving *solving, struct rect part)
{
    part = rect_cut(part, solving->solution->windows.target);
    if (!rect_holds(solving->known.area, part))
        return false;
    for (int32_t y = part.y0; y < part.y1; y++) {
        const float *row = picture_row(&solving->known, PLANE_A, y) - solving->known.area.x0;
        for (int32_t x = part.x0; x < part.x1; x++) {
            if (!(row[x] > 0))
                return false;
        }
    }
    return true;
}

/* The picture of cells of some light, as extend makes it of every frame. */
static enum passel_status measure_levels(const struct solving *solving, const struct picture *light, struct rect area,
                                         struct picture *levels, struct passel_error *error)
{
    RETURN_IF_ERROR(picture_new(levels, level_window(area, solving->cell), HAS_RGBA, error));
    level_measure(light, NULL, area, solving->cell, levels);
    return PASSEL_OK;
}

static enum passel_status find_own_reference(struct solving *solving, struct passel_error *error)
{
    const struct rect area = solving->solution->windows.plate;
    const int32_t cell = solving->cell;
    struct picture levels;
    enum passel_status status;
    RETURN_IF_ERROR(measure_levels(solving, &solving->looks->own.sum, area, &levels, error));
    const int32_t width = rect_width(levels.area), count = width * rect_height(levels.area);
    bool *near = memory_zeros((size_t)count, sizeof *near);
    status = near == NULL ? error_set(error, PASSEL_NO_MEMORY, "out of memory") : PASSEL_OK;
    for (int32_t k = 0; near != NULL && k < count; k++) {
        const struct rect own = level_pixels(area, cell, rect_shift(rect_of(0, 0, 1, 1), k % width, k / width));
        near[k] = is_known(solving, own) && !is_known(solving, rect_grow(own, NEAR_CELLS * cell, NEAR_CELLS * cell));
    }
    if (status == PASSEL_OK)
        status = level_reference_new(&solving->solution->own, &levels, near, error);
    memory_free(near);
    picture_release(&levels);
    return status;
}

/* ---- grain ----------------------------------------------------------------------------------------------------- */

/* A camera's grain follows the light, a processed picture's its surroundings too: it is measured near the border, where
 * what is new begins. */
static enum passel_status measure_grain(const struct solving *solving, const struct picture *frame, struct grain *grain,
                                        struct passel_error *error)
{
    const struct rect plate = frame->area, target = solving->solution->windows.target;
    const int32_t x = rect_width(plate) / GRAIN_DEPTH, y = rect_height(plate) / GRAIN_DEPTH;
    struct rect parts[5];
    int count = 0;
    if (plate.y0 > target.y0)
        parts[count++] = rect_of(plate.x0, plate.y0, plate.x1, plate.y0 + y);
    if (plate.y1 < target.y1)
        parts[count++] = rect_of(plate.x0, plate.y1 - y, plate.x1, plate.y1);
    if (plate.x0 > target.x0)
        parts[count++] = rect_of(plate.x0, plate.y0, plate.x0 + x, plate.y1);
    if (plate.x1 < target.x1)
        parts[count++] = rect_of(plate.x1 - x, plate.y0, plate.x1, plate.y1);
    const struct rect hole = join_gap(&solving->known);
    if (!rect_empty(hole))
        parts[count++] = rect_cut(rect_grow(hole, x / 2 + 1, y / 2 + 1), plate);
    int64_t pixels = 0;
    for (int i = 0; i < count; i++)
        pixels += (int64_t)rect_width(parts[i]) * rect_height(parts[i]);
    if (pixels < GRAIN_PIXELS) {
        parts[0] = plate;
        count = 1;
    }
    return grain_measure(grain, frame, &solving->known, parts, count, error);
}

/* ---- the other plate ------------------------------------------------------------------------------------------- */

/* The other plate's gain that makes it as bright as the plate where both are, near the border. */
static enum passel_status match_other(struct solving *solving, struct passel_error *error)
{
    struct solution *solution = solving->solution;
    const struct picture *own = &solving->looks->own.sum, *other = &solving->looks->other.sum;
    const struct rect area = rect_cut(own->area, other->area);
    struct picture levels[2] = { { .owned = NULL }, { .owned = NULL } };
    struct level_reference both = { 0 };
    enum passel_status status = PASSEL_OK;
    float *room = NULL;
    for (int c = 0; c < 3; c++)
        solution->other_gain[c] = 1;
    GOTO_IF_ERROR(measure_levels(solving, other, other->area, &levels[0], error), out_levels);
    GOTO_IF_ERROR(level_reference_new(&solution->other, &levels[0], NULL, error), out_levels);
    picture_release(&levels[0]);
    if (rect_empty(area))
        return PASSEL_OK;
    const struct picture parts[2] = { picture_part(own, area), picture_part(other, area) };
    GOTO_IF_ERROR(measure_levels(solving, &parts[0], area, &levels[0], error), out_levels);
    GOTO_IF_ERROR(measure_levels(solving, &parts[1], area, &levels[1], error), out_levels);
    GOTO_IF_ERROR(level_reference_new(&both, &levels[1], NULL, error), out_levels);
    room = memory_zeros((size_t)both.count + 1, 3 * sizeof *room);
    status = room == NULL ? error_set(error, PASSEL_NO_MEMORY, "out of memory") : PASSEL_OK;
    if (status == PASSEL_OK)
        level_gain(&both, &levels[0], room, solution->other_gain);
out_levels:
    memory_free(room);
    level_reference_release(&both);
    picture_release(&levels[0]);
    picture_release(&levels[1]);
    return status;
}

/* light = root of the plate - root of gain * other, where both are known; weight says where. In fourth roots a
 * correction is nearly a factor, and light seldom falls below 0. */
static void find_difference(const struct solving *solving, const struct picture *difference,
                            const struct picture *weight)
{
    const struct windows *windows = &solving->solution->windows;
    const struct picture *own = &solving->looks->own.sum, *other = &solving->looks->other.sum;
    const struct rect both = rect_cut(rect_cut(own->area, other->area), difference->area);
    for (int p = 0; p < 3; p++)
        picture_fill(difference, (enum plane)p, difference->area, 0);
    picture_fill(weight, PLANE_A, weight->area, 0);
    for (int32_t y = both.y0; y < both.y1; y++) {
        float *mark = picture_row(weight, PLANE_A, y) - weight->area.x0;
        const float *known = picture_row(own, PLANE_A, y) - own->area.x0;
        for (int32_t x = both.x0; x < both.x1; x++)
            mark[x] = known[x] > 0 && (solving->seam <= 0 || plate_share(windows, x, y, solving->seam) >= 1);
        for (int c = 0; c < 3; c++) {
            const float *a = picture_row(own, (enum plane)c, y) - own->area.x0;
            const float *b = picture_row(other, (enum plane)c, y) - other->area.x0;
            float *to = picture_row(difference, (enum plane)c, y) - difference->area.x0;
            for (int32_t x = both.x0; x < both.x1; x++)
                to[x] = fourth_root(a[x]) - fourth_root(solving->solution->other_gain[c] * b[x]);
        }
    }
}

/* A moving plate's fill cannot have the frozen grain of a still: the still is freed of it, and grain is drawn anew. */
static enum passel_status freeze_other(struct solving *solving, const struct grain *grain, struct passel_error *error)
{
    struct solution *solution = solving->solution;
    const struct picture *other = &solving->looks->other.sum;
    const struct rect area = rect_cut(other->area, solution->light.area);
    RETURN_IF_ERROR(smooth_field(other, grain->noise, error));
    for (int c = 0; c < 3; c++) {
        for (int32_t y = area.y0; y < area.y1; y++) {
            const float *from = picture_row(other, (enum plane)c, y) - other->area.x0;
            float *to = picture_row(&solution->light, (enum plane)c, y) - solution->light.area.x0;
            for (int32_t x = area.x0; x < area.x1; x++)
                to[x] = fourth_power(to[x] + fourth_root(solution->other_gain[c] * from[x]));
        }
    }
    solution->corrects = false;
    solution->grain_share = 1;
    return PASSEL_OK;
}

/* How much grain is to be added to the other plate's own, as a share of the plate's. */
static float missing_grain(const struct solving *solving, const struct grain *other)
{
    const struct solution *solution = solving->solution;
    float has = 0, wanted = 0;
    for (int c = 0; c < 3; c++) {
        const float level = (float)solving->looks->own.level[0][c], gain = solution->other_gain[c];
        wanted += noise_variance(solution->grain.noise[c], level);
        has += gain * gain * noise_variance(other->noise[c], gain > 0 ? level / gain : 0);
    }
    return has < wanted ? sqrtf(1 - has / wanted) : 0;
}

static enum passel_status solve_other(struct solving *solving, struct passel_error *error)
{
    struct solution *solution = solving->solution;
    struct picture weight = { 0 }, difference = { 0 };
    struct grain grain;
    enum passel_status status;
    if (solving->looks->other.frames == 0)
        return PASSEL_OK;
    mean_finish(&solving->looks->other);
    RETURN_IF_ERROR(match_other(solving, error));
    GOTO_IF_ERROR(packed_picture(&difference, solution->light.area, HAS_RGB, error), out_pictures);
    GOTO_IF_ERROR(packed_picture(&weight, solution->light.area, HAS_A, error), out_pictures);
    find_difference(solving, &difference, &weight);
    GOTO_IF_ERROR(join_span(&difference, &weight, JOIN_RADIUS, 0, error), out_pictures);
    GOTO_IF_ERROR(grain_measure(&grain, &solving->looks->other.one, NULL, &solving->looks->other.one.area, 1, error),
                  out_pictures);
    picture_copy(&solution->light, &difference);
    solution->corrects = true;
    solution->grain_share = missing_grain(solving, &grain);
    if (solving->looks->own.lively && !solving->looks->other.lively)
        status = freeze_other(solving, &grain, error);
out_pictures:
    picture_release(&difference);
    picture_release(&weight);
    return status;
}

/* ---- texture --------------------------------------------------------------------------------------------------- */

/* A still's texture brings its own grain along. That of a moving plate must not, or it would stand still. */
static enum passel_status solve_texture(struct solving *solving, struct passel_error *error)
{
    const struct looks *looks = solving->looks;
    struct solution *solution = solving->solution;
    const struct texture_job job = { .plate = &solving->plate,
                                     .known = &solving->known,
                                     .light = &solution->light,
                                     .windows = &solution->windows,
                                     .seam = solving->seam };
    if (looks->own.lively) {
        struct grain grain;
        RETURN_IF_ERROR(grain_measure(&grain, &solving->plate, &solving->known, &solving->plate.area, 1, error));
        RETURN_IF_ERROR(smooth_field(&solving->plate, grain.noise, error));
    }
    solution->grain_share = looks->own.lively ? 1 : 0;
    return texture_solve(&job, error);
}

/* ---- all together ---------------------------------------------------------------------------------------------- */

static void solution_drop(void *found)
{
    struct solution *solution = found;
    if (solution == NULL)
        return;
    picture_release(&solution->light);
    level_reference_release(&solution->own);
    level_reference_release(&solution->other);
    memory_free(solution);
}

static enum passel_status solve_all(struct solving *solving, struct passel_error *error)
{
    struct solution *solution = solving->solution;
    struct looks *looks = solving->looks;
    mean_finish(&looks->own);
    solving->plate = solving->known = looks->own.sum;
    solving->plate.owned = solving->known.owned = NULL;
    solving->known.plane[0] = solving->known.plane[1] = solving->known.plane[2] = NULL;
    solving->plate.plane[PLANE_A] = looks->alpha.plane[PLANE_A];
    RETURN_IF_ERROR(find_own_reference(solving, error));
    RETURN_IF_ERROR(measure_grain(solving, &looks->own.one, &solution->grain, error));
    RETURN_IF_ERROR(solve_gradient(solving, error));
    if (solving->extend->by == BY_TEXTURE)
        return solve_texture(solving, error);
    return solving->extend->by == BY_PLATE ? solve_other(solving, error) : PASSEL_OK;
}

static enum passel_status solve_finish(const struct at *at, void *kept, void **found, size_t *bytes,
                                       struct passel_error *error)
{
    const struct extend *extend = at->self;
    struct looks *looks = kept;
    struct solution *solution = memory_zeros(1, sizeof *solution);
    struct solving solving = {
        .extend = extend, .solution = solution, .looks = looks, .cell = level_cell(at->scale), .seam = extend_seam(at)
    };
    enum passel_status status = PASSEL_OK;
    if (solution == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    solution->windows = looks->windows;
    solution->empty = looks->own.frames == 0;
    solution->grain_share = 1;
    if (!solution->empty)
        status = solve_all(&solving, error);
    gradient_release(&solving.gradient);
    if (!extend->grain)
        solution->grain_share = 0;
    *found = solution;
    *bytes = sizeof *solution + picture_bytes(solution->light.area, picture_planes(&solution->light)) +
             (size_t)(solution->own.count + solution->other.count) * 5 * sizeof(float);
    if (status != PASSEL_OK) {
        solution_drop(solution);
        *found = NULL;
    }
    return status;
}

const struct analysis extend_analysis = {
    .settings_matter = false,
    .asks = extend_look_asks,
    .add = extend_look_add,
    .finish = solve_finish,
    .drop_work = extend_look_drop,
    .drop_found = solution_drop,
};
