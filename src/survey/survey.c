/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Goes through the passes: the lock pass first, then the others, every frame read once.
 */
#include "survey/survey.h"

#include <math.h>
#include <pthread.h>
#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "base/pool.h"
#include "numerics/register.h"
#include "survey/gauge.h"
#include "survey/survey_crushed.h"
#include "survey/survey_judge.h"
#include "survey/survey_screens.h"

/* Fine measures (noise, focus, bumps, what stands out) are taken of so many passes, so that memory does not grow with
 * the number of stills in a folder. */
enum { KEEN_PASSES = 1024 };

struct round {
    struct survey *survey;
    const struct survey_wish *wish;
    struct sight_room *rooms; /* one for each worker */
    struct telling *telling;
    pthread_mutex_t flashes; /* guards what passes keep of their flashes, and the status */
    enum passel_status status;
};

struct frame_task {
    struct round *round;
    struct pass_gauge *pass;
    int index;
};

static bool shows_set(const struct portrait *p)
{
    return !p->apart && (p->role == ROLE_LAMP || p->role == ROLE_ALL_LAMPS || p->role == ROLE_SCREEN);
}

static bool is_steady(const struct portrait *p)
{
    return shows_set(p) || p->role == ROLE_PLATE;
}

/* ---- every frame ---------------------------------------------------------------------------------------------- */

/* Hands over what a frame leaves for the judge of its pass. */
static void put_flash(struct round *round, struct pass_gauge *pass, int index)
{
    struct sight *sight = &pass->portrait->clip->sights[index];
    pthread_mutex_lock(&round->flashes);
    const enum passel_status status = flash_gauge_put(&pass->flash, index, sight->flash, NULL);
    round->status = status != PASSEL_OK ? status : round->status;
    pthread_mutex_unlock(&round->flashes);
    sight->flash = NULL;
}

static void take_frame(void *data, int worker)
{
    const struct frame_task *task = data;
    struct round *round = task->round;
    const struct portrait *portrait = task->pass->portrait;
    struct clip *clip = portrait->clip;
    struct sight *sight = &clip->sights[task->index];
    const bool follows = is_steady(portrait) && clip->stands;
    const bool keen = task->pass - round->survey->passes < KEEN_PASSES;
    const unsigned wants =
        SIGHT_GAUGE | SIGHT_THUMB | SIGHT_FLASH | (keen ? SIGHT_KEEN : 0) | (follows ? SIGHT_TRACK : 0);
    sight_take(sight, round->wish->folder, clip, portrait->movie, task->index,
               sight_wants(wants, task->pass->frame_count, task->index), &round->rooms[worker]);
    if (follows)
        sight_follow(sight, &clip->sights[clip->stand].track);
    put_flash(round, task->pass, task->index);
    telling_frame(round->telling, sight);
    if (atomic_fetch_sub(&task->pass->left, 1) == 1)
        telling_pass(round->telling, clip);
}

static enum passel_status take_frames(struct survey *survey, const struct survey_wish *wish, struct telling *telling,
                                      struct pool *pool, struct passel_error *error)
{
    struct round round = { .survey = survey,
                           .wish = wish,
                           .rooms = sight_rooms_new(wish->threads),
                           .flashes = PTHREAD_MUTEX_INITIALIZER,
                           .telling = telling };
    struct frame_task *tasks = memory_zeros((size_t)survey->frames + 1, sizeof *tasks);
    enum passel_status status = PASSEL_OK;
    int count = 0;
    if (tasks == NULL || round.rooms == NULL)
        status = PASSEL_NO_MEMORY;
    for (int i = 0; i < survey->count && status == PASSEL_OK; i++) {
        struct pass_gauge *pass = &survey->passes[i];
        for (int k = 0; k < pass->frame_count && status == PASSEL_OK; k++) {
            tasks[count] = (struct frame_task){ &round, pass, k };
            status = pool_submit(pool, i, take_frame, &tasks[count++]);
        }
    }
    pool_wait(pool);
    pthread_mutex_destroy(&round.flashes);
    status = status == PASSEL_OK ? round.status : status;
    sight_rooms_free(round.rooms, wish->threads);
    memory_free(tasks);
    return status == PASSEL_OK ? PASSEL_OK : error_set(error, status, "out of memory");
}

/* ---- one pass --------------------------------------------------------------------------------------------------- */

/* Root mean square distance from the mean place, over the frames that could be held against the first. */
static double measure_shake(struct pass_gauge *pass)
{
    const struct clip *clip = pass->portrait->clip;
    double sum_x = 0, sum_y = 0, squares = 0;
    pass->track = memory_zeros((size_t)pass->frame_count, sizeof *pass->track);
    for (int i = 0; i < pass->frame_count && pass->track != NULL; i++) {
        const struct sight *sight = &clip->sights[i];
        if (!sight->followed || sight->status != PASSEL_OK)
            continue;
        pass->track[pass->track_count++] = (struct track_point){ i, sight->x, sight->y };
        sum_x += sight->x;
        sum_y += sight->y;
    }
    const int count = pass->track_count;
    for (int i = 0; i < count; i++)
        squares += pow(pass->track[i].x - sum_x / count, 2) + pow(pass->track[i].y - sum_y / count, 2);
    return count >= 3 ? sqrt(squares / count) : -1;
}

static bool has_spot(const struct spot *spots, int count, struct spot wanted)
{
    for (int i = 0; i < count; i++) {
        if (spots[i].x == wanted.x && spots[i].y == wanted.y)
            return true;
    }
    return false;
}

/* What stands out in the first frame and in the last. */
static enum passel_status measure_spots(struct pass_gauge *pass, const struct keen *last, struct passel_error *error)
{
    const struct keen *first = pass->first;
    pass->spots = memory_new(((size_t)first->spot_count + 1) * sizeof *pass->spots);
    if (pass->spots == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int i = 0; i < first->spot_count; i++) {
        if (last == NULL || has_spot(last->spots, last->spot_count, first->spots[i]))
            pass->spots[pass->spot_count++] = first->spots[i];
    }
    return PASSEL_OK;
}

static const struct portrait *dark_of_pass(const struct survey *survey, const struct portrait *portrait)
{
    return portrait->dark >= 0 ? &survey->portraits.list[portrait->dark] : NULL;
}

/* Fine measures of a frame, of the pass's size. */
static const struct keen *keen_of(const struct pass_gauge *pass, int index)
{
    const struct sight *sight = &pass->portrait->clip->sights[index];
    const bool fits = sight->status == PASSEL_OK && sight->header.width == pass->portrait->width &&
                      sight->header.height == pass->portrait->height;
    return fits ? sight->keen : NULL;
}

static enum passel_status measure_pass(const struct survey *survey, struct pass_gauge *pass, struct passel_error *error)
{
    const struct portrait *portrait = pass->portrait;
    for (int i = 0; i < pass->frame_count; i++) {
        struct sight *sight = &portrait->clip->sights[i];
        pass->frames[i] = sight->gauge;
        pass->readable += sight->status == PASSEL_OK;
        if (sight->thumb.plane[0] != NULL) {
            pass->thumb = sight->thumb;
            sight->thumb = (struct look){ 0 };
        }
    }
    if (is_steady(portrait) && pass->frame_count > 1) {
        pass->shake = measure_shake(pass);
        pass->flicker = gauge_flicker(pass->frames, pass->frame_count);
        pass->bands = gauge_bands(pass->frames, pass->frame_count);
    }
    if (portrait->role == ROLE_DARK)
        pass->dark_wander = gauge_wander(pass->frames, pass->frame_count);
    if (portrait->role == ROLE_EMPTY || (portrait->role == ROLE_SCREEN && portrait->empty < 0))
        pass->evenness = gauge_evenness(portrait);
    pass->first = pass->frame_count > 0 ? keen_of(pass, 0) : NULL;
    if (pass->first == NULL)
        return PASSEL_OK;
    memcpy(pass->noise, pass->first->noise, sizeof pass->noise);
    /* What is taken for a dark that nothing needs may be a lamp, far underexposed. */
    if (shows_set(portrait) || portrait->role == ROLE_ODD)
        pass->light_over_noise = gauge_light_over_noise(portrait, dark_of_pass(survey, portrait), pass->noise);
    return measure_spots(pass, pass->frame_count > 1 ? keen_of(pass, pass->frame_count - 1) : NULL, error);
}

static void measure_levels(struct pass_gauge *pass)
{
    const struct look *look = &pass->portrait->look;
    float *numbers = look->plane[0] != NULL ? memory_new(look_count(look) * sizeof *numbers) : NULL;
    if (numbers == NULL)
        return;
    for (size_t i = 0; i < look_count(look); i++)
        numbers[i] = look_light(look, i);
    pass->low = numbers_at(numbers, look_count(look), 0.01);
    pass->middle = numbers_at(numbers, look_count(look), 0.5);
    pass->high = numbers_at(numbers, look_count(look), 0.99);
    memory_free(numbers);
}

/* The lock pass by its label; else the brightest of the longest lamp passes; else a screen. */
static int find_lock(const struct survey *survey, const char *label)
{
    int found = -1;
    for (int i = 0; i < survey->count; i++) {
        const struct portrait *p = survey->passes[i].portrait;
        if (label != NULL && strcmp(label, survey->passes[i].label) == 0)
            return i;
        if (!shows_set(p))
            continue;
        const struct portrait *best = found >= 0 ? survey->passes[found].portrait : NULL;
        const bool lamp = p->role != ROLE_SCREEN, best_lamp = best != NULL && best->role != ROLE_SCREEN;
        if (best == NULL || lamp > best_lamp ||
            (lamp == best_lamp &&
             (p->frames > best->frames || (p->frames == best->frames && p->bright > best->bright))))
            found = i;
    }
    return found;
}

static enum passel_status begin_passes(struct survey *survey, const struct survey_wish *wish,
                                       struct passel_error *error)
{
    for (int i = 0; i < survey->count; i++) {
        struct pass_gauge *pass = &survey->passes[i];
        struct portrait *portrait = &survey->portraits.list[i];
        *pass = (struct pass_gauge){ .portrait = portrait,
                                     .label = wish->labels != NULL ? wish->labels[i] : portrait->clip->name,
                                     .light_over_noise = -1,
                                     .flicker = -1,
                                     .bands = -1,
                                     .shake = -1,
                                     .bump = -1,
                                     .pair = -1,
                                     .focus = -1,
                                     .evenness = -1,
                                     .dark_wander = -1,
                                     .sum = -1 };
        pass->frame_count = portrait->movie ? portrait->frames : portrait->clip->count;
        const struct clip *clip = portrait->clip;
        pass->flash = flash_gauge_of(clip->numbered ? clip->frames : NULL, pass->frame_count,
                                     clip->rate > 0 ? clip->rate : portrait->rate, wish->rate,
                                     survey->limits[LIMIT_FLASH].care / 100);
        pass->left = pass->frame_count;
        survey->files += portrait->clip->count;
        survey->frames += pass->frame_count;
        pass->frames = memory_zeros((size_t)pass->frame_count + 1, sizeof *pass->frames);
        if (pass->frames == NULL)
            return error_set(error, PASSEL_NO_MEMORY, "out of memory");
        for (int k = 0; k < FOCUS_REGIONS; k++)
            pass->focus_regions[k] = -1;
        screen_gauge_clear(&pass->screen);
        pass->crushed = (struct crushed_gauge){ .share = -1, .channel = -1, .part = -1 };
        measure_levels(pass);
    }
    return PASSEL_OK;
}

/* ---- did the camera move between passes? ---------------------------------------------------------------------- */

/* Where the middle of `moved` went against `fixed`, in pixels. */
static bool find_shift(const struct keen *fixed, const struct keen *moved, double *dx, double *dy)
{
    const struct grey *looks[2] = { &fixed->stance, &moved->stance };
    struct picture pictures[2];
    struct registration found;
    for (int i = 0; i < 2; i++)
        pictures[i] = (struct picture){ .area = rect_of(0, 0, looks[i]->across, looks[i]->down),
                                        .plane = { NULL, NULL, NULL, looks[i]->values },
                                        .stride = (size_t)looks[i]->across };
    if (looks[0]->across < REGISTER_SMALLEST || looks[0]->down < REGISTER_SMALLEST ||
        !rect_same(pictures[0].area, pictures[1].area) ||
        register_pictures(&pictures[0], &pictures[1], NULL, REGISTER_MOVE, NULL, &found, NULL) != PASSEL_OK)
        return false;
    const double x = looks[0]->across / 2.0, y = looks[0]->down / 2.0;
    double to[2];
    transform_point(&found.map, x, y, &to[0], &to[1]);
    *dx = (to[0] - x) * looks[0]->block;
    *dy = (to[1] - y) * looks[0]->block;
    return true;
}

struct stand {
    struct survey *survey;
    struct pass_gauge *pass;
};

static void find_bump(void *data, int worker)
{
    struct stand *stand = data;
    struct pass_gauge *pass = stand->pass;
    const struct pass_gauge *passes = stand->survey->passes;
    const struct pass_gauge *lock = &passes[stand->survey->lock];
    (void)worker;
    if (pass == lock) {
        pass->bump = 0;
        return;
    }
    if (lock->first == NULL)
        return;
    pass->focus =
        gauge_focus(&pass->first->detail, &pass->noise[1], &lock->first->detail, &lock->noise[1], pass->focus_regions);
    if (find_shift(lock->first, pass->first, &pass->bump_x, &pass->bump_y))
        pass->bump = sqrt(pass->bump_x * pass->bump_x + pass->bump_y * pass->bump_y);
}

/* Both screens of one subject are lit alike: their shift is known far better than that against a lamp. */
static void find_pair(void *data, int worker)
{
    struct stand *stand = data;
    struct pass_gauge *pass = stand->pass;
    const int partner = pass->portrait->partner;
    (void)worker;
    const struct keen *other = stand->survey->passes[partner].first;
    if (other != NULL && find_shift(other, pass->first, &pass->pair_x, &pass->pair_y))
        pass->pair = sqrt(pass->pair_x * pass->pair_x + pass->pair_y * pass->pair_y);
}

/* What all have in common is the lock pass's own: its light, or its own bump. */
static void agree_on_stance(struct survey *survey)
{
    float x[64], y[64];
    size_t count = 0;
    for (int i = 0; i < survey->count && count < 64; i++) {
        if (survey->passes[i].bump < 0)
            continue;
        x[count] = (float)survey->passes[i].bump_x;
        y[count++] = (float)survey->passes[i].bump_y;
    }
    if (count < 4)
        return;
    const double middle_x = (double)numbers_at(x, count, 0.5), middle_y = (double)numbers_at(y, count, 0.5);
    for (int i = 0; i < survey->count; i++) {
        struct pass_gauge *pass = &survey->passes[i];
        if (pass->bump < 0)
            continue;
        pass->bump_x -= middle_x;
        pass->bump_y -= middle_y;
        pass->bump = sqrt(pass->bump_x * pass->bump_x + pass->bump_y * pass->bump_y);
    }
}

static enum passel_status hold_against(struct survey *survey, struct pool *pool, struct passel_error *error)
{
    struct stand *stands = memory_zeros((size_t)survey->count + 1, sizeof *stands);
    enum passel_status status = PASSEL_OK;
    if (stands == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int i = 0; i < survey->count && survey->lock >= 0 && status == PASSEL_OK; i++) {
        struct pass_gauge *pass = &survey->passes[i];
        stands[i] = (struct stand){ survey, pass };
        if (pass->first == NULL || !shows_set(pass->portrait))
            continue;
        status = pool_submit(pool, i, find_bump, &stands[i]);
        if (status == PASSEL_OK && pass->portrait->partner >= 0 && pass->portrait->partner < i)
            status = pool_submit(pool, i, find_pair, &stands[i]);
    }
    pool_wait(pool);
    memory_free(stands);
    if (status != PASSEL_OK)
        return error_set(error, status, "out of memory");
    agree_on_stance(survey);
    return PASSEL_OK;
}

static enum passel_status take_passes(struct survey *survey, const struct survey_wish *wish, struct telling *telling,
                                      struct passel_error *error)
{
    struct pool *pool = NULL;
    RETURN_IF_ERROR(pool_new(wish->threads, &pool, error));
    enum passel_status status = take_frames(survey, wish, telling, pool, error);
    for (int i = 0; i < survey->count && status == PASSEL_OK; i++)
        status = measure_pass(survey, &survey->passes[i], error);
    if (status == PASSEL_OK)
        status = hold_against(survey, pool, error);
    if (status == PASSEL_OK)
        status = survey_screens(survey, error);
    if (status == PASSEL_OK)
        status = survey_crushed(survey, error);
    pool_free(pool);
    return status;
}

enum passel_status survey_take(const struct survey_wish *wish, struct survey *survey, struct passel_error *error)
{
    enum passel_status status;
    struct telling telling = { .progress = wish->progress, .user = wish->user, .lock = PTHREAD_MUTEX_INITIALIZER };
    *survey = (struct survey){ .lock = -1 };
    telling.now.pass_count = wish->clips->count;
    for (int i = 0; i < wish->clips->count; i++)
        telling.now.frame_count += wish->clips->clips[i].count;
    memcpy(survey->limits, wish->limits != NULL ? wish->limits : limit_table, sizeof survey->limits);
    const unsigned wants =
        SIGHT_GAUGE | SIGHT_TRACK | SIGHT_THUMB | (wish->clips->count <= KEEN_PASSES ? SIGHT_KEEN | SIGHT_FLASH : 0);
    const struct portrait_wish first = { wish->folder, wish->threads, wants, &telling };
    RETURN_IF_ERROR(portraits_take(&first, wish->clips, &survey->portraits, error));
    GOTO_IF_ERROR(portraits_recognise(&survey->portraits, error), out_survey);
    survey->count = survey->portraits.count;
    survey->passes = memory_zeros((size_t)survey->count + 1, sizeof *survey->passes);
    if (survey->passes == NULL)
        GOTO_IF_ERROR(error_set(error, PASSEL_NO_MEMORY, "out of memory"), out_survey);
    GOTO_IF_ERROR(begin_passes(survey, wish, error), out_survey);
    telling.now.frame_count = survey->frames;
    telling.now.pass_count = survey->count;
    survey->lock = find_lock(survey, wish->lock);
    GOTO_IF_ERROR(take_passes(survey, wish, &telling, error), out_survey);
    status = judge_all(survey, error);
out_survey:
    if (status != PASSEL_OK)
        survey_release(survey);
    return status;
}

void survey_release(struct survey *survey)
{
    for (int i = 0; survey->passes != NULL && i < survey->count; i++) {
        memory_free(survey->passes[i].frames);
        memory_free(survey->passes[i].spots);
        memory_free(survey->passes[i].track);
        flash_gauge_release(&survey->passes[i].flash);
        look_release(&survey->passes[i].thumb);
    }
    memory_free(survey->passes);
    memory_free(survey->findings);
    memory_free(survey->choices);
    portraits_release(&survey->portraits);
    *survey = (struct survey){ 0 };
}
