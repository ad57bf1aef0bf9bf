/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Round 2 i looks at the empty of take i, round 2 i + 1 at the take itself, at up to three frames of the shot spread
 * evenly over it: fixed by the recipe, so one result serves every frame. Pictures are dropped after their round; what
 * stays are the empties' fields and the takes in coarse cells.
 */
#include "kinds/key_screens.h"

#include <math.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "kinds/key_bare.h"
#include "kinds/key_hue.h"
#include "kinds/key_level.h"
#include "kinds/shot.h"
#include "numerics/between.h"
#include "numerics/cells.h"
#include "numerics/smooth_field.h"

#define LOOKS FAULTS_LOOKS
#define CELL_SIZE 16  /* pixels */
#define UNLIKE 2.5F   /* times: two single frames never differ so much in the variance of their noise */
#define BARE_LEAST 50 /* one cell in so many must be bare */

struct screens_work {
    struct screens *screens;
    struct picture_info first; /* windows of the first picture seen */
    bool has_first;
    struct noise_samples samples[SCREEN_LIMIT][3], empty_samples[SCREEN_LIMIT][3];
    struct cells looks[SCREEN_LIMIT][LOOKS]; /* of the takes */
    int look_count[SCREEN_LIMIT];
};

/* ---- asks ------------------------------------------------------------------------------------------------------ */

static void ask_looks(const struct at *at, struct ask_list *list, const struct value *value, int round)
{
    for (int k = 0; k < shot_looks(at->shot, LOOKS); k++) {
        ask_add(list, (struct ask){ .block = value->block,
                                    .picture = value->picture,
                                    .frame = shot_look(at->shot, LOOKS, k),
                                    .planes = HAS_RGB,
                                    .whole = true,
                                    .round = round,
                                    .replaceable = true });
    }
}

static enum passel_status screens_asks(const struct at *at, struct ask_list *list, struct passel_error *error)
{
    const struct takes *takes = at->self;
    (void)error;
    for (int i = 0; i < takes->count && !takes->trust_empties; i++) {
        if (takes->take[i].empty != NULL)
            ask_looks(at, list, takes->take[i].empty, 2 * i);
        ask_looks(at, list, takes->take[i].on, 2 * i + 1);
    }
    return PASSEL_OK;
}

/* ---- add: one take's pictures ---------------------------------------------------------------------------------- */

enum passel_status takes_check(const struct recipe *recipe, const struct picture_info *first,
                               const struct picture_info *other, const struct value *value, struct passel_error *error)
{
    if (rect_same(first->display, other->display))
        return PASSEL_OK;
    return recipe_error(recipe, value->where, PASSEL_BAD_RECIPE, error,
                        "a key needs pictures of one size: %s is %d x %d, the first is %d x %d", value->text,
                        rect_width(other->display), rect_height(other->display), rect_width(first->display),
                        rect_height(first->display));
}

static enum passel_status gather(struct noise_samples samples[3], const struct picture *picture,
                                 struct passel_error *error)
{
    for (int c = 0; c < 3; c++)
        RETURN_IF_ERROR(noise_gather(&samples[c], picture, (enum plane)c, error));
    return PASSEL_OK;
}

static void add_light(const struct picture *sum, const struct picture *more)
{
    for (int c = 0; c < 3; c++) {
        for (int32_t y = sum->area.y0; y < sum->area.y1; y++) {
            float *to = picture_row(sum, (enum plane)c, y);
            const float *from = picture_row(more, (enum plane)c, y) + (sum->area.x0 - more->area.x0);
            for (int32_t x = 0; x < rect_width(sum->area); x++)
                to[x] += from[x];
        }
    }
}

static void multiply(const struct picture *picture, const float factor[3])
{
    for (int c = 0; c < 3; c++) {
        for (int32_t y = picture->area.y0; y < picture->area.y1; y++) {
            float *row = picture_row(picture, (enum plane)c, y);
            for (int32_t x = 0; x < rect_width(picture->area); x++)
                row[x] *= factor[c];
        }
    }
}

/* The mean of the pictures where all of them are, its noise taken out. */
static enum passel_status add_empty(struct screens_work *work, int take, const struct picture *pictures, int count,
                                    struct passel_error *error)
{
    struct screen *screen = &work->screens->screen[take];
    struct noise_samples samples[3] = { 0 };
    struct noise noise[3];
    enum passel_status status = PASSEL_OK;
    struct rect area = pictures[0].area;
    for (int i = 1; i < count; i++)
        area = rect_cut(area, pictures[i].area);
    RETURN_IF_ERROR(gather(work->empty_samples[take], &pictures[0], error));
    RETURN_IF_ERROR(picture_new(&screen->field, area, HAS_RGB, error));
    picture_copy(&screen->field, &pictures[0]);
    for (int i = 1; i < count; i++)
        add_light(&screen->field, &pictures[i]);
    const float share = 1 / (float)count;
    multiply(&screen->field, (const float[]){ share, share, share });
    for (int c = 0; c < 3 && status == PASSEL_OK; c++) {
        status = noise_gather(&samples[c], &screen->field, (enum plane)c, error);
        noise[c] = noise_fit(&samples[c]);
    }
    if (status == PASSEL_OK)
        status = smooth_field(&screen->field, noise, error);
    for (int c = 0; c < 3; c++)
        noise_samples_release(&samples[c]);
    return status;
}

static enum passel_status add_take(struct screens_work *work, int take, const struct picture *pictures, int count,
                                   struct passel_error *error)
{
    RETURN_IF_ERROR(gather(work->samples[take], &pictures[0], error));
    for (int i = 0; i < count && i < LOOKS; i++) {
        struct cells *look = &work->looks[take][i];
        RETURN_IF_ERROR(cells_new(look, pictures[i].area, CELL_SIZE, 3, error));
        cells_measure(look, &pictures[i]);
        work->look_count[take]++;
    }
    return PASSEL_OK;
}

static enum passel_status work_begin(const struct takes *takes, void **kept, struct passel_error *error)
{
    struct screens_work *work = memory_zeros(1, sizeof *work);
    if (work == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    *kept = work;
    work->screens = memory_zeros(1, sizeof *work->screens);
    if (work->screens == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    work->screens->count = takes->count;
    for (int i = 0; i < takes->count; i++) {
        for (int c = 0; c < 3; c++)
            work->screens->screen[i].level[c] = 1;
    }
    return PASSEL_OK;
}

static enum passel_status screens_add(const struct at *at, int round, const struct picture *pictures,
                                      const struct picture_info *infos, int count, void **kept,
                                      struct passel_error *error)
{
    const struct takes *takes = at->self;
    const int take = round / 2;
    const struct value *value = round % 2 == 0 ? takes->take[take].empty : takes->take[take].on;
    if (count == 0) /* the round of an empty that is not there */
        return PASSEL_OK;
    if (*kept == NULL)
        RETURN_IF_ERROR(work_begin(takes, kept, error));
    struct screens_work *work = *kept;
    if (!work->has_first)
        work->first = infos[0];
    work->has_first = true;
    for (int i = 0; i < count; i++) {
        RETURN_IF_ERROR(takes_check(at->recipe, &work->first, &infos[i], value, error));
        if (rect_empty(pictures[i].area))
            return error_set(error, PASSEL_BAD_PICTURE, "%s is empty: a key cannot learn its screen from it",
                             value->text);
    }
    return round % 2 == 0 ? add_empty(work, take, pictures, count, error)
                          : add_take(work, take, pictures, count, error);
}

/* ---- finish: levels, and the screens that had no empty --------------------------------------------------------- */

static enum passel_status correct_level(struct screens_work *work, int take, struct passel_error *error)
{
    struct screen *screen = &work->screens->screen[take];
    RETURN_IF_ERROR(level_find(&screen->field, screen->noise, work->looks[take], work->look_count[take], screen->level,
                               &screen->bare_cells, error));
    multiply(&screen->field, screen->level);
    return PASSEL_OK;
}

/* How much the cells look like bare screen: where takes differ most when there are several, where the screen's hue is
 * strongest when there is one. */
static void score_cells(const struct takes *takes, struct screens_work *work, int look, float *score)
{
    const struct cells *first = &work->looks[0][look];
    const int32_t count = first->width * first->height;
    if (takes->count == 1) {
        hue_score(first, takes->has_colour ? takes->colour : NULL, score);
        return;
    }
    memset(score, 0, (size_t)count * sizeof *score);
    for (int i = 0; i < takes->count; i++) {
        for (int k = 0; k < i; k++) {
            for (int c = 0; c < 3; c++) {
                const float *a = work->looks[i][look].value[c], *b = work->looks[k][look].value[c];
                for (int32_t cell = 0; cell < count; cell++)
                    score[cell] += (a[cell] - b[cell]) * (a[cell] - b[cell]);
            }
        }
    }
    for (int32_t cell = 0; cell < count; cell++)
        score[cell] = sqrtf(score[cell]);
}

static enum passel_status select_bare(const struct takes *takes, struct screens_work *work, int look, int *bare,
                                      struct passel_error *error)
{
    struct bare_view view = { .count = takes->count };
    const struct cells *first = &work->looks[0][look];
    for (int i = 0; i < takes->count; i++) {
        if (!rect_same(work->looks[i][look].area, first->area))
            return error_set(error, PASSEL_UNSUPPORTED,
                             "without an empty, all pictures of a key must cover the same pixels");
        view.takes[i] = &work->looks[i][look];
        view.noise[i] = work->screens->screen[i].noise;
    }
    view.score = memory_zeros((size_t)first->width * (size_t)first->height, sizeof(float));
    if (view.score == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    score_cells(takes, work, look, view.score);
    const enum passel_status status = bare_select(&view, bare, error);
    memory_free(view.score);
    return status;
}

/* The looks of a take become one: bare cells are averaged over the frames in which they are bare. */
static void merge_looks(struct cells *looks, int count)
{
    const int32_t cells = looks[0].width * looks[0].height;
    for (int32_t i = 0; i < cells; i++) {
        float sum[3] = { 0 }, weight = 0;
        for (int k = 0; k < count; k++) {
            for (int c = 0; c < 3; c++)
                sum[c] += looks[k].weight[i] * looks[k].value[c][i];
            weight += looks[k].weight[i];
        }
        for (int c = 0; c < 3 && weight > 0; c++)
            looks[0].value[c][i] = sum[c] / weight;
        looks[0].weight[i] = weight;
    }
}

static enum passel_status field_from_cells(struct screen *screen, struct cells *cells, struct passel_error *error)
{
    cells_fill(cells);
    RETURN_IF_ERROR(picture_new(&screen->field, cells->area, HAS_RGB, error));
    for (int c = 0; c < 3; c++) {
        for (int32_t y = cells->area.y0; y < cells->area.y1; y++) {
            float *row = picture_row(&screen->field, (enum plane)c, y);
            cells_row(cells, c, cells->area.x0, y, rect_width(cells->area), row);
            for (int32_t x = 0; x < rect_width(cells->area); x++)
                row[x] = larger(row[x], 0);
        }
    }
    return PASSEL_OK;
}

static enum passel_status estimate_screens(const struct takes *takes, struct screens_work *work,
                                           struct passel_error *error)
{
    int looks = LOOKS, best = 0;
    for (int i = 0; i < takes->count; i++)
        looks = work->look_count[i] < looks ? work->look_count[i] : looks;
    for (int k = 0; k < looks; k++) {
        int bare = 0;
        RETURN_IF_ERROR(select_bare(takes, work, k, &bare, error));
        best = bare > best ? bare : best;
    }
    const int32_t count = work->looks[0][0].width * work->looks[0][0].height;
    if (best * BARE_LEAST < count)
        return error_set(
            error, PASSEL_BAD_PICTURE,
            "no bare screen was found in %s: %.1f%% of it looks like one colour%s, evenly lit, and %d%% is "
            "the least; film the screen with nothing before it and name that picture as its empty",
            takes->take[0].on->text, 100.0 * best / count, takes->has_colour ? " of the hue given" : "",
            100 / BARE_LEAST);
    if (takes->count == 1)
        faults_see_through(&work->looks[0][0], &work->screens->faults[0]);
    for (int i = 0; i < takes->count; i++) {
        if (takes->take[i].empty != NULL)
            continue;
        merge_looks(work->looks[i], looks);
        RETURN_IF_ERROR(field_from_cells(&work->screens->screen[i], &work->looks[i][0], error));
        work->screens->screen[i].bare_cells = best;
    }
    return PASSEL_OK;
}

static size_t screens_bytes(const struct screens *screens)
{
    size_t bytes = sizeof *screens;
    for (int i = 0; i < screens->count; i++)
        bytes += picture_bytes(screens->screen[i].field.area, HAS_RGB);
    return bytes;
}

/* The cells' spreads become the screen there. */
static void field_of_cells(const struct screen *screen, struct cells *look)
{
    for (int32_t i = 0; i < look->width * look->height; i++) {
        const int32_t x = look->area.x0 + (i % look->width) * look->size + look->size / 2;
        const int32_t y = look->area.y0 + (i / look->width) * look->size + look->size / 2;
        for (int c = 0; c < 3; c++)
            look->spread[c][i] = *screen_row(screen, c, x, y, 1, &look->spread[c][i]);
        look->weight[i] = 0;
    }
}

/* What is known before a screen is estimated; with an empty, all there is. */
static void find_faults(const struct takes *takes, struct screens_work *work)
{
    struct screens *screens = work->screens;
    const struct screen *screen = &screens->screen[0];
    struct cells *look = &work->looks[0][0];
    faults_clipped(look, &screens->faults[0]);
    if (takes->take[0].empty == NULL)
        return;
    if (!takes->trust_levels) {
        const int main = screens->faults[0].channel;
        screens->faults[0].unlike = screen->bare_cells * LEVEL_SHARE < look->width * look->height * work->look_count[0];
        screens->faults[0].level = screen->level[main];
    }
    field_of_cells(screen, look);
    faults_see_through(look, &screens->faults[0]);
}

/* Take and empty are pictures of one camera, and its noise is known best from both; unless one of them is plainly the
 * mean of many frames. */
static enum passel_status fit_noise(struct screens_work *work, int take, struct passel_error *error)
{
    struct screen *screen = &work->screens->screen[take];
    bool alike = true;
    for (int c = 0; c < 3; c++) {
        struct noise_samples *own = &work->samples[take][c], *empty = &work->empty_samples[take][c];
        screen->noise[c] = screen->empty_noise[c] = noise_fit(own);
        if (empty->count == 0)
            continue;
        screen->empty_noise[c] = noise_fit(empty);
        const float level = noise_level(empty);
        const float ratio = noise_variance(screen->noise[c], level) / noise_variance(screen->empty_noise[c], level);
        alike = alike && ratio < UNLIKE && ratio > 1 / UNLIKE;
    }
    for (int c = 0; c < 3 && alike; c++) {
        RETURN_IF_ERROR(noise_join(&work->empty_samples[take][c], &work->samples[take][c], error));
        screen->noise[c] = screen->empty_noise[c] = noise_fit(&work->empty_samples[take][c]);
    }
    return PASSEL_OK;
}

static enum passel_status screens_finish(const struct at *at, void *kept, void **found, size_t *bytes,
                                         struct passel_error *error)
{
    const struct takes *takes = at->self;
    struct screens_work *work = kept;
    bool estimate = false;
    for (int i = 0; i < takes->count; i++) {
        RETURN_IF_ERROR(fit_noise(work, i, error));
        if (takes->take[i].empty == NULL)
            estimate = true;
        else if (!takes->trust_levels)
            RETURN_IF_ERROR(correct_level(work, i, error));
    }
    for (int i = 0; i < takes->count; i++)
        work->screens->faults[i].level = 1;
    for (int i = 0; i < takes->count && takes->count > 1; i++)
        faults_clipped(&work->looks[i][0], &work->screens->faults[i]);
    if (takes->count == 1)
        find_faults(takes, work);
    if (estimate)
        RETURN_IF_ERROR(estimate_screens(takes, work, error));
    *found = work->screens;
    *bytes = screens_bytes(work->screens);
    work->screens = NULL;
    return PASSEL_OK;
}

static void screens_drop(void *found)
{
    struct screens *screens = found;
    for (int i = 0; screens != NULL && i < screens->count; i++)
        picture_release(&screens->screen[i].field);
    memory_free(screens);
}

static void screens_drop_work(void *kept)
{
    struct screens_work *work = kept;
    if (work == NULL)
        return;
    for (int i = 0; i < SCREEN_LIMIT; i++) {
        for (int c = 0; c < 3; c++) {
            noise_samples_release(&work->samples[i][c]);
            noise_samples_release(&work->empty_samples[i][c]);
        }
        for (int k = 0; k < LOOKS; k++)
            cells_release(&work->looks[i][k]);
    }
    screens_drop(work->screens);
    memory_free(work);
}

const struct analysis screens_analysis = {
    .settings_matter = false,
    .asks = screens_asks,
    .add = screens_add,
    .finish = screens_finish,
    .drop_work = screens_drop_work,
    .drop_found = screens_drop,
};

/* ---- reading --------------------------------------------------------------------------------------------------- */

const float *held_row(const float *row, int32_t first, int32_t last, int32_t x0, int32_t count, float *spare)
{
    if (x0 >= first && x0 + count <= last)
        return row + (x0 - first);
    const int32_t before = place_between(first - x0, 0, count), from = place_between(last - x0, before, count);
    for (int32_t i = 0; i < before; i++)
        spare[i] = row[0];
    for (int32_t i = before; i < from; i++)
        spare[i] = row[x0 + i - first];
    for (int32_t i = from; i < count; i++)
        spare[i] = row[last - 1 - first];
    return spare;
}

const float *screen_row(const struct screen *screen, int c, int32_t x0, int32_t y, int32_t count, float *spare)
{
    const struct rect area = screen->field.area;
    const int32_t held = place_between(y, area.y0, area.y1 - 1);
    return held_row(picture_row(&screen->field, (enum plane)c, held), area.x0, area.x1, x0, count, spare);
}
