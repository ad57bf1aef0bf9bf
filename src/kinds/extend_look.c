/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Up to nine frames spread over the shot are looked at, fixed by the recipe. Each is brought to the same brightness,
 * pixels in a hole are left out, and the mean is what the fill is found from: a pixel that some frame shows is no hole.
 */
#include "kinds/extend_look.h"

#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "kinds/shot.h"

/* ---- what is looked at ----------------------------------------------------------------------------------------- */

enum passel_status extend_look_asks(const struct at *at, struct ask_list *list, struct passel_error *error)
{
    const struct extend *extend = at->self;
    (void)error;
    for (int k = 0; extend->by >= BY_GRADIENT && k < shot_looks(at->shot, LOOKS); k++) {
        const int32_t frame = shot_look(at->shot, LOOKS, k);
        ask_whole(list, extend->plate, frame, HAS_RGBA, k);
        if (extend->hole != NULL)
            ask_whole(list, extend->hole, frame, HAS_A, k);
        if (extend->other != NULL)
            ask_whole(list, extend->other, frame, HAS_RGBA, k);
    }
    return PASSEL_OK;
}

static void mean_release(struct mean *mean)
{
    picture_release(&mean->sum);
    picture_release(&mean->one);
}

void extend_look_drop(void *kept)
{
    struct looks *work = kept;
    if (work == NULL)
        return;
    mean_release(&work->own);
    mean_release(&work->other);
    picture_release(&work->alpha);
    memory_free(work);
}

/* ---- adding a frame -------------------------------------------------------------------------------------------- */

static bool counts(const struct picture *hole, int32_t x, int32_t y)
{
    return hole == NULL || x < hole->area.x0 || x >= hole->area.x1 || y < hole->area.y0 || y >= hole->area.y1 ||
           !(picture_row(hole, PLANE_A, y)[x - hole->area.x0] > 0);
}

static void find_level(const struct picture *frame, const struct picture *hole, double level[3])
{
    double count = 0;
    level[0] = level[1] = level[2] = 0;
    for (int32_t y = frame->area.y0; y < frame->area.y1; y++) {
        for (int32_t x = frame->area.x0; x < frame->area.x1; x++) {
            if (!counts(hole, x, y))
                continue;
            count += 1;
            for (int c = 0; c < 3; c++)
                level[c] += (double)picture_row(frame, (enum plane)c, y)[x - frame->area.x0];
        }
    }
    for (int c = 0; c < 3; c++)
        level[c] = count > 0 ? level[c] / count : 0;
}

/* Every frame has the same say, whatever its brightness: it is divided by its level. */
static void add_pixels(const struct mean *mean, const struct picture *frame, const struct picture *hole)
{
    const double *level = mean->level[mean->frames];
    for (int32_t y = frame->area.y0; y < frame->area.y1; y++) {
        float *weight = picture_row(&mean->sum, PLANE_A, y) - frame->area.x0;
        for (int c = 0; c < 3; c++) {
            const float share = level[c] > 1e-9 ? (float)(1 / level[c]) : 0;
            const float *from = picture_row(frame, (enum plane)c, y) - frame->area.x0;
            float *to = picture_row(&mean->sum, (enum plane)c, y) - frame->area.x0;
            for (int32_t x = frame->area.x0; x < frame->area.x1; x++)
                to[x] += counts(hole, x, y) ? share * from[x] : 0;
        }
        for (int32_t x = frame->area.x0; x < frame->area.x1; x++)
            weight[x] += counts(hole, x, y) ? 1 : 0;
    }
}

/* Both pictures in one system of coordinates. Frames of another window than the first are passed over. */
static enum passel_status mean_add(struct mean *mean, const struct picture *frame, const struct picture *hole,
                                   struct passel_error *error)
{
    if (mean->frames == 0) {
        RETURN_IF_ERROR(picture_new(&mean->sum, frame->area, HAS_RGBA, error));
        RETURN_IF_ERROR(picture_new(&mean->one, frame->area, HAS_RGB, error));
        for (int p = 0; p < PLANE_COUNT; p++)
            picture_fill(&mean->sum, (enum plane)p, frame->area, 0);
        picture_copy(&mean->one, frame);
    }
    if (!rect_same(mean->sum.area, frame->area) || mean->frames == LOOKS)
        return PASSEL_OK;
    double *level = mean->level[mean->frames];
    find_level(frame, hole, level);
    mean->lively = mean->lively || memcmp(level, mean->level[0], 3 * sizeof *level) != 0;
    add_pixels(mean, frame, hole);
    mean->frames++;
    return PASSEL_OK;
}

static double middle_of(double (*level)[3], int c, int count)
{
    double sorted[LOOKS];
    for (int i = 0; i < count; i++) {
        int k = i;
        for (; k > 0 && sorted[k - 1] > level[i][c]; k--)
            sorted[k] = sorted[k - 1];
        sorted[k] = level[i][c];
    }
    return sorted[count / 2];
}

/* sum becomes the light of a frame of middling brightness; A stays the weight. */
void mean_finish(struct mean *mean)
{
    for (int c = 0; c < 3; c++) {
        const float level = (float)middle_of(mean->level, c, mean->frames);
        for (int32_t y = mean->sum.area.y0; y < mean->sum.area.y1; y++) {
            const float *weight = picture_row(&mean->sum, PLANE_A, y);
            const float *one = picture_row(&mean->one, (enum plane)c, y);
            float *row = picture_row(&mean->sum, (enum plane)c, y);
            for (int32_t x = 0; x < rect_width(mean->sum.area); x++)
                row[x] = !mean->lively ? one[x] : weight[x] > 0 ? level * row[x] / weight[x] : 0;
        }
    }
}

static struct picture moved(const struct picture *picture, int32_t dx, int32_t dy)
{
    struct picture view = *picture;
    view.area = rect_shift(picture->area, dx, dy);
    view.owned = NULL;
    return view;
}

static enum passel_status add_other(const struct at *at, struct looks *work, const struct picture *picture,
                                    const struct picture_info *info, struct passel_error *error)
{
    int32_t dx, dy;
    if (rect_empty(info->data))
        return PASSEL_OK;
    RETURN_IF_ERROR(other_shift(at, &work->plate_info, info, &dx, &dy, error));
    const struct picture placed = moved(picture, dx, dy);
    const struct rect area = rect_cut(placed.area, rect_shift(info->display, dx, dy)); /* as its picture of cells */
    if (rect_empty(area))
        return PASSEL_OK;
    const struct picture part = picture_part(&placed, area);
    return mean_add(&work->other, &part, NULL, error);
}

enum passel_status extend_look_add(const struct at *at, int round, const struct picture *pictures,
                                   const struct picture_info *infos, int count, void **kept, struct passel_error *error)
{
    const struct extend *extend = at->self;
    struct windows windows;
    int next = 1;
    (void)round;
    (void)count;
    struct looks *work = *kept != NULL ? *kept : memory_zeros(1, sizeof *work);
    if (work == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    *kept = work;
    RETURN_IF_ERROR(windows_find(at, &infos[0], &windows, error));
    const struct picture hole =
        extend->hole != NULL ? moved(&pictures[next++], windows.dx, windows.dy) : (struct picture){ 0 };
    if (rect_empty(windows.plate))
        return PASSEL_OK;
    const struct picture placed = moved(&pictures[0], windows.dx, windows.dy);
    const struct picture plate = picture_part(&placed, windows.plate);
    if (!work->begun) {
        work->begun = true;
        work->windows = windows;
        work->plate_info = infos[0];
        RETURN_IF_ERROR(picture_new(&work->alpha, windows.plate, HAS_A, error));
        picture_copy(&work->alpha, &plate);
    }
    RETURN_IF_ERROR(mean_add(&work->own, &plate, extend->hole != NULL && !rect_empty(hole.area) ? &hole : NULL, error));
    return extend->other != NULL ? add_other(at, work, &pictures[next], &infos[next], error) : PASSEL_OK;
}
