/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Lays the light that was found into a frame: as bright as the plate is in this frame, with grain of its own, mixed
 * with the plate's pixels where a seam or the edge of a hole is soft.
 */
#include <math.h>
#include <string.h>

#include "base/error.h"
#include "kinds/arena_picture.h"
#include "kinds/extend.h"

/* One frame. All in the output's coordinates. */
struct laying {
    const struct solution *solution;
    struct windows windows;
    struct picture plate, hole, other; /* views; hole and other may be empty */
    float gain[3];                     /* of the frame against the light that was found */
    float other_gain[3];               /* of the other plate, so that it is as bright as the light */
    float seam;
    uint64_t seed;
    float *light[4], *grain[3], *share, *room; /* rows as wide as what is being filled */
};

static struct picture moved(const struct picture *picture, int32_t dx, int32_t dy)
{
    struct picture view = *picture;
    view.area = rect_shift(picture->area, dx, dy);
    view.owned = NULL;
    return view;
}

/* ---- what the frame is like ------------------------------------------------------------------------------------ */

static enum passel_status find_gains(const struct at *at, const struct picture *in, struct laying *laying,
                                     struct arena *scratch, struct passel_error *error)
{
    const struct solution *solution = laying->solution;
    const struct extend_asks asks = extend_asks_of(at->self, 0);
    const int32_t count = solution->own.count > solution->other.count ? solution->own.count : solution->other.count;
    float *room = arena_array(scratch, (size_t)count + 1, 3 * sizeof(float));
    float other[3] = { 1, 1, 1 };
    if (room == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    level_gain(&solution->own, &in[asks.level], room, laying->gain);
    if (asks.other_level >= 0 && solution->corrects)
        level_gain(&solution->other, &in[asks.other_level], room, other);
    for (int c = 0; c < 3; c++)
        laying->other_gain[c] = other[c] > 1e-6F ? solution->other_gain[c] / other[c] : 0;
    laying->seed = level_seed(&in[asks.level]);
    return PASSEL_OK;
}

static enum passel_status find_views(const struct at *at, const struct picture *in, struct laying *laying,
                                     struct passel_error *error)
{
    const struct extend_asks asks = extend_asks_of(at->self, 0);
    int32_t dx, dy;
    RETURN_IF_ERROR(windows_find(at, &at->inputs[0], &laying->windows, error));
    laying->plate = moved(&in[0], laying->windows.dx, laying->windows.dy);
    if (asks.hole >= 0)
        laying->hole = moved(&in[asks.hole], laying->windows.dx, laying->windows.dy);
    if (asks.other < 0 || !laying->solution->corrects)
        return PASSEL_OK;
    RETURN_IF_ERROR(other_shift(at, &at->inputs[0], &at->inputs[asks.other], &dx, &dy, error));
    laying->other = moved(&in[asks.other], dx, dy);
    return PASSEL_OK;
}

static enum passel_status rows_new(struct laying *laying, const struct picture *out, struct arena *scratch,
                                   struct passel_error *error)
{
    const int32_t width = rect_width(out->area);
    bool failed = false;
    for (int p = 0; p < PLANE_COUNT; p++)
        failed = (laying->light[p] = arena_row(scratch, width)) == NULL || failed;
    for (int c = 0; c < 3; c++)
        failed = (laying->grain[c] = arena_row(scratch, width)) == NULL || failed;
    laying->share = arena_row(scratch, width);
    laying->room = arena_array(scratch, (size_t)width + 2, 4 * 3 * sizeof(float));
    if (failed || laying->share == NULL || laying->room == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    return PASSEL_OK;
}

/* ---- rows ------------------------------------------------------------------------------------------------------ */

/* How much of the plate shows at each pixel of the row; false when that is all of it. */
static bool find_shares(const struct laying *laying, struct rect area, int32_t y)
{
    const struct rect own = rect_cut(laying->windows.plate, rect_of(area.x0, y, area.x1, y + 1));
    const bool has_hole = laying->hole.plane[PLANE_A] != NULL && !rect_empty(own);
    const float *cut = has_hole ? picture_row(&laying->hole, PLANE_A, y) - laying->hole.area.x0 : NULL;
    bool any = false;
    for (int32_t x = area.x0; x < area.x1; x++) {
        float share = x >= own.x0 && x < own.x1 ? 1 : 0;
        if (share > 0 && laying->seam > 0)
            share = plate_share(&laying->windows, x, y, laying->seam);
        if (share > 0 && cut != NULL)
            share *= 1 - fminf(fmaxf(cut[x], 0), 1);
        laying->share[x - area.x0] = share;
        any = any || share < 1;
    }
    return any;
}

/* The light that was found, times the frame's gain. */
static void light_row(const struct laying *laying, int p, int32_t x0, int32_t y, int32_t count)
{
    const struct picture *found = &laying->solution->light;
    const float gain = p < 3 ? laying->gain[p] : 1;
    const float *from = found->plane[p] != NULL ? picture_row(found, (enum plane)p, y) + (x0 - found->area.x0) : NULL;
    float *to = laying->light[p];
    for (int32_t i = 0; i < count; i++)
        to[i] = from != NULL ? gain * from[i] : 1;
}

/* The other plate, corrected by what was found; transparent where it is. */
static void other_row(const struct laying *laying, int32_t x0, int32_t y, int32_t count)
{
    const struct picture *other = &laying->other, *found = &laying->solution->light;
    const float *alpha = other->plane[PLANE_A] != NULL ? picture_row(other, PLANE_A, y) + (x0 - other->area.x0) : NULL;
    for (int c = 0; c < 3; c++) {
        const float *from =
            other->plane[c] != NULL ? picture_row(other, (enum plane)c, y) + (x0 - other->area.x0) : NULL;
        const float *correction = picture_row(found, (enum plane)c, y) + (x0 - found->area.x0);
        for (int32_t i = 0; i < count && from != NULL; i++) {
            const float covered = alpha != NULL ? alpha[i] : 1;
            const float root = fourth_root(laying->other_gain[c] * from[i]) + covered * correction[i];
            laying->light[c][i] = laying->gain[c] * fourth_power(root);
        }
    }
    for (int32_t i = 0; i < count && alpha != NULL; i++)
        laying->light[PLANE_A][i] = fminf(fmaxf(alpha[i], 0), 1);
}

/* Mixing takes grain away: as much is added as was lost. */
static void mix_row(const struct laying *laying, const struct picture *out, int p, int32_t y)
{
    const int32_t count = rect_width(out->area);
    float *to = picture_row(out, (enum plane)p, y);
    for (int32_t i = 0; i < count; i++) {
        const float share = laying->share[i];
        if (share >= 1)
            continue;
        to[i] = share > 0 ? share * to[i] + (1 - share) * laying->light[p][i] : laying->light[p][i];
        if (p < 3)
            to[i] += sqrtf(1 - share * share) * laying->solution->grain_share * laying->grain[p][i];
    }
}

static void copy_own(const struct laying *laying, const struct picture *out, int32_t y)
{
    const struct rect own = rect_cut(laying->windows.plate, rect_of(out->area.x0, y, out->area.x1, y + 1));
    for (int p = 0; p < PLANE_COUNT; p++) {
        if (out->plane[p] == NULL || rect_empty(own))
            continue;
        memcpy(picture_row(out, (enum plane)p, y) + (own.x0 - out->area.x0),
               picture_row(&laying->plate, (enum plane)p, y) + (own.x0 - laying->plate.area.x0),
               (size_t)rect_width(own) * sizeof(float));
    }
}

static void lay_row(const struct laying *laying, const struct picture *out, int32_t y)
{
    const int32_t count = rect_width(out->area);
    const float *const light[3] = { laying->light[0], laying->light[1], laying->light[2] };
    copy_own(laying, out, y);
    if (!find_shares(laying, out->area, y))
        return;
    for (int p = 0; p < PLANE_COUNT; p++)
        light_row(laying, p, out->area.x0, y, count);
    if (laying->solution->corrects)
        other_row(laying, out->area.x0, y, count);
    if (laying->solution->grain_share > 0)
        grain_row(&laying->solution->grain, laying->seed, out->area.x0, y, count, light, laying->grain, laying->room);
    for (int p = 0; p < PLANE_COUNT; p++) {
        if (out->plane[p] != NULL)
            mix_row(laying, out, p, y);
    }
}

enum passel_status extend_fill_solved(const struct at *at, const struct picture *in, const struct picture *out,
                                      struct arena *scratch, struct passel_error *error)
{
    const struct extend *extend = at->self;
    struct laying laying = { .solution = at->found, .seam = extend_seam(at) };
    if (laying.solution->empty)
        return error_set(error, PASSEL_BAD_PICTURE,
                         "%s shows nothing in the frames that are looked at, so there is nothing to go on with",
                         extend->plate->text);
    RETURN_IF_ERROR(find_views(at, in, &laying, error));
    RETURN_IF_ERROR(find_gains(at, in, &laying, scratch, error));
    RETURN_IF_ERROR(rows_new(&laying, out, scratch, error));
    for (int32_t y = out->area.y0; y < out->area.y1; y++)
        lay_row(&laying, out, y);
    return PASSEL_OK;
}

float plate_share(const struct windows *windows, int32_t x, int32_t y, float seam)
{
    const struct rect plate = windows->plate, target = windows->target;
    int32_t depth = RECT_LIMIT;
    if (plate.x0 > target.x0 && x - plate.x0 < depth)
        depth = x - plate.x0;
    if (plate.x1 < target.x1 && plate.x1 - 1 - x < depth)
        depth = plate.x1 - 1 - x;
    if (plate.y0 > target.y0 && y - plate.y0 < depth)
        depth = y - plate.y0;
    if (plate.y1 < target.y1 && plate.y1 - 1 - y < depth)
        depth = plate.y1 - 1 - y;
    const float share = ((float)depth + 0.5F) / seam;
    return share >= 1 ? 1 : share * share * (3 - 2 * share);
}
