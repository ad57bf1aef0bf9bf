/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Goes through the passes: the lock pass first, then the others, every frame read once.
 */
#include "survey/survey.h"

#include <math.h>
#include <stdatomic.h>
#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "base/pool.h"
#include "numerics/register.h"
#include "survey/gauge.h"
#include "survey/survey_judge.h"

/* Widths of the pictures for movement along a pass; against the lock pass, whose light is another; for a page. */
enum { TRACK_ACROSS = 480, LOCK_ACROSS = 960, THUMB_ACROSS = 240 };

struct round;

struct frame_task {
    struct round *round;
    int index;
};

/* The shift of one tracked frame against the first. */
struct track_task {
    struct round *round;
    int place;
    bool found;
    double x, y;
};

/* One pass on its way through. */
struct round {
    struct survey *survey;
    const struct survey_wish *wish;
    struct pass_gauge *pass;
    struct frame_task *tasks;
    int tracked[TRACKED];
    int tracked_count;
    struct look looks[TRACKED];
    struct track_task tracks[TRACKED];
    struct picture first, last; /* whole, of the first and the last tracked frame */
    atomic_int *done;
    int total;
};

/* What the lock pass leaves for the others to be held against. */
struct lock {
    struct picture picture;
    struct noise noise;
};

static int tracked_place(const struct round *round, int index)
{
    for (int k = 0; k < round->tracked_count; k++) {
        if (round->tracked[k] == index)
            return k;
    }
    return -1;
}

static void take_frame(void *data, int worker)
{
    const struct frame_task *task = data;
    struct round *round = task->round;
    const struct portrait *portrait = round->pass->portrait;
    struct frame_gauge *gauge = &round->pass->frames[task->index];
    struct reading reading = { 0 };
    struct passel_error error = { 0 };
    char *path = clip_path(round->wish->folder, portrait->clip, portrait->movie ? 0 : task->index);
    (void)worker;
    gauge->status =
        path == NULL ? PASSEL_NO_MEMORY
                     : reading_take(path, portrait->movie ? task->index : 0, &portrait->clip->choice, &reading, &error);
    memory_free(path);
    (void)snprintf(gauge->problem, sizeof gauge->problem, "%.*s", (int)sizeof gauge->problem - 1, error.text);
    if (gauge->status == PASSEL_OK) {
        const int place = tracked_place(round, task->index);
        gauge_frame(&reading, gauge);
        gauge_levels(&reading, gauge);
        gauge_at_top(&reading, gauge);
        if (place >= 0 && reading.width == portrait->width && reading.height == portrait->height)
            gauge->status = look_make(&reading, look_block(reading.width, TRACK_ACROSS), &round->looks[place], &error);
        struct picture *kept = place == 0 ? &round->first : &round->last;
        if ((place == 0 || (place > 0 && place == round->tracked_count - 1)) && round->looks[place].plane[0] != NULL) {
            *kept = reading.picture;
            reading.picture = (struct picture){ 0 };
        }
    }
    reading_release(&reading);
    const int done = atomic_fetch_add(round->done, 1) + 1;
    if (round->wish->progress != NULL)
        round->wish->progress(round->wish->user, done, round->total);
}

static struct picture picture_of(const struct look *look)
{
    return (struct picture){ .area = rect_of(0, 0, look->across, look->down),
                             .plane = { look->plane[0], look->plane[1], look->plane[2], NULL },
                             .stride = (size_t)look->across };
}

/* Where the middle of `moved` went against `fixed`, in pixels of the looks. */
static bool find_shift(const struct look *fixed, const struct look *moved, double *dx, double *dy)
{
    const struct picture a = picture_of(fixed), b = picture_of(moved);
    struct registration found;
    double x = fixed->across / 2.0, y = fixed->down / 2.0, to[2];
    if (fixed->across < 32 || fixed->down < 32 || fixed->across != moved->across || fixed->down != moved->down ||
        register_pictures(&a, &b, NULL, REGISTER_MOVE, NULL, &found, NULL) != PASSEL_OK)
        return false;
    transform_point(&found.map, x, y, &to[0], &to[1]);
    *dx = (to[0] - x) * fixed->block;
    *dy = (to[1] - y) * fixed->block;
    return true;
}

static bool shows_set(const struct portrait *p)
{
    return !p->apart && (p->role == ROLE_LAMP || p->role == ROLE_ALL_LAMPS || p->role == ROLE_SCREEN);
}

static void track(void *data, int worker)
{
    struct track_task *task = data;
    const struct look *looks = task->round->looks;
    (void)worker;
    task->found = task->place == 0 || find_shift(&looks[0], &looks[task->place], &task->x, &task->y);
}

/* Root mean square distance from the mean place, over the tracked frames. */
static double measure_shake(struct round *round, struct pool *pool)
{
    double sum_x = 0, sum_y = 0, squares = 0;
    int count = 0;
    for (int k = 0; k < round->tracked_count && round->looks[0].plane[0] != NULL; k++) {
        round->tracks[k] = (struct track_task){ .round = round, .place = k };
        if (round->looks[k].plane[0] != NULL && pool_submit(pool, k, track, &round->tracks[k]) != PASSEL_OK)
            break;
    }
    pool_wait(pool);
    for (int k = 0; k < round->tracked_count; k++) {
        if (!round->tracks[k].found)
            continue;
        round->pass->track[round->pass->track_count++] =
            (struct track_point){ round->tracked[k], round->tracks[k].x, round->tracks[k].y };
        sum_x += round->tracks[k].x;
        sum_y += round->tracks[k].y;
        count++;
    }
    for (int k = 0; k < round->tracked_count; k++) {
        if (round->tracks[k].found)
            squares += pow(round->tracks[k].x - sum_x / count, 2) + pow(round->tracks[k].y - sum_y / count, 2);
    }
    return count >= 3 ? sqrt(squares / count) : -1;
}

static enum passel_status measure_noise(struct round *round, struct passel_error *error)
{
    for (int c = 0; c < 3; c++) {
        struct noise_samples samples = { 0 };
        const enum passel_status status = noise_gather(&samples, &round->first, (enum plane)c, error);
        round->pass->noise[c] = noise_fit(&samples);
        noise_samples_release(&samples);
        RETURN_IF_ERROR(status);
    }
    return PASSEL_OK;
}

static bool has_spot(const struct spot *spots, int count, struct spot wanted)
{
    for (int i = 0; i < count; i++) {
        if (spots[i].x == wanted.x && spots[i].y == wanted.y)
            return true;
    }
    return false;
}

static enum passel_status measure_spots(struct round *round, struct passel_error *error)
{
    struct pass_gauge *pass = round->pass;
    struct spot *again = memory_new(SPOTS_MOST * sizeof *again);
    pass->spots = memory_new(SPOTS_MOST * sizeof *pass->spots);
    if (again == NULL || pass->spots == NULL) {
        memory_free(again);
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    }
    pass->spot_count = gauge_spots(&round->first, pass->noise, pass->spots);
    if (round->last.owned != NULL) {
        const int count = gauge_spots(&round->last, pass->noise, again);
        int kept = 0;
        for (int i = 0; i < pass->spot_count; i++) {
            if (has_spot(again, count, pass->spots[i]))
                pass->spots[kept++] = pass->spots[i];
        }
        pass->spot_count = kept;
    }
    memory_free(again);
    return PASSEL_OK;
}

static void measure_against_lock(struct round *round, struct lock *lock, bool is_lock)
{
    struct pass_gauge *pass = round->pass;
    if (is_lock) {
        lock->picture = round->first;
        round->first = (struct picture){ 0 };
        lock->noise = pass->noise[1];
    } else if (lock->picture.owned != NULL && shows_set(pass->portrait) &&
               rect_same(lock->picture.area, round->first.area)) {
        pass->focus = gauge_focus(&round->first, &pass->noise[1], &lock->picture, &lock->noise);
    }
}

/* The first frame, kept until all passes are there to be held against each other. */
static enum passel_status keep_stance(const struct round *round, struct passel_error *error)
{
    struct pass_gauge *pass = round->pass;
    if (!shows_set(pass->portrait))
        return PASSEL_OK;
    const struct reading reading = { .picture = round->first,
                                     .width = pass->portrait->width,
                                     .height = pass->portrait->height };
    return look_make(&reading, look_block(reading.width, LOCK_ACROSS), &pass->stance, error);
}

/* The middle frame that can be read. */
static enum passel_status keep_thumb(const struct round *round, struct passel_error *error)
{
    const struct look *middle = &round->looks[round->tracked_count / 2];
    for (int k = 0; k < round->tracked_count && middle->plane[0] == NULL; k++)
        middle = &round->looks[k];
    if (middle->plane[0] == NULL)
        return PASSEL_OK;
    const struct reading reading = { .picture = picture_of(middle), .width = middle->across, .height = middle->down };
    return look_make(&reading, look_block(middle->across, THUMB_ACROSS), &round->pass->thumb, error);
}

static const struct portrait *dark_of_pass(const struct survey *survey, const struct portrait *portrait)
{
    return portrait->dark >= 0 ? &survey->portraits.list[portrait->dark] : NULL;
}

static enum passel_status measure_pass(struct round *round, struct pool *pool, struct lock *lock, bool is_lock,
                                       struct passel_error *error)
{
    struct pass_gauge *pass = round->pass;
    const struct portrait *portrait = pass->portrait;
    const bool steady = shows_set(portrait) || portrait->role == ROLE_PLATE;
    if (round->first.owned == NULL)
        return PASSEL_OK;
    RETURN_IF_ERROR(keep_thumb(round, error));
    RETURN_IF_ERROR(measure_noise(round, error));
    RETURN_IF_ERROR(measure_spots(round, error));
    if (steady && pass->frame_count > 1) {
        pass->shake = measure_shake(round, pool);
        pass->flicker = gauge_flicker(pass->frames, pass->frame_count);
    }
    /* What is taken for a dark that nothing needs may be a lamp, far underexposed. */
    if (shows_set(portrait) || portrait->role == ROLE_ODD)
        pass->light_over_noise = gauge_light_over_noise(portrait, dark_of_pass(round->survey, portrait), pass->noise);
    if (portrait->role == ROLE_EMPTY || (portrait->role == ROLE_SCREEN && portrait->empty < 0))
        pass->evenness = gauge_evenness(portrait);
    if (portrait->role == ROLE_DARK)
        pass->dark_wander = gauge_wander(pass->frames, pass->frame_count);
    RETURN_IF_ERROR(keep_stance(round, error));
    measure_against_lock(round, lock, is_lock);
    return PASSEL_OK;
}

static void round_release(struct round *round)
{
    for (int k = 0; k < TRACKED; k++)
        look_release(&round->looks[k]);
    picture_release(&round->first);
    picture_release(&round->last);
    memory_free(round->tasks);
}

static enum passel_status take_pass(struct round *round, struct pool *pool, struct lock *lock, bool is_lock,
                                    struct passel_error *error)
{
    struct pass_gauge *pass = round->pass;
    enum passel_status status = PASSEL_OK;
    pass->frames = memory_zeros((size_t)pass->frame_count + 1, sizeof *pass->frames);
    round->tasks = memory_zeros((size_t)pass->frame_count + 1, sizeof *round->tasks);
    if (pass->frames == NULL || round->tasks == NULL)
        GOTO_IF_ERROR(error_set(error, PASSEL_NO_MEMORY, "out of memory"), out_round);
    const int most = pass->frame_count < TRACKED ? pass->frame_count : TRACKED;
    for (int k = 0; k < most; k++)
        round->tracked[k] = most == 1 ? 0 : (int)((int64_t)k * (pass->frame_count - 1) / (most - 1));
    round->tracked_count = most;
    for (int i = 0; i < pass->frame_count && status == PASSEL_OK; i++) {
        round->tasks[i] = (struct frame_task){ round, i };
        status = pool_submit(pool, i, take_frame, &round->tasks[i]);
    }
    pool_wait(pool);
    if (status != PASSEL_OK)
        (void)error_set(error, status, "out of memory");
    for (int i = 0; i < pass->frame_count; i++)
        pass->readable += pass->frames[i].status == PASSEL_OK;
    if (status == PASSEL_OK)
        status = measure_pass(round, pool, lock, is_lock, error);
out_round:
    round_release(round);
    return status;
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

static void begin_passes(struct survey *survey, const struct survey_wish *wish)
{
    for (int i = 0; i < survey->count; i++) {
        struct pass_gauge *pass = &survey->passes[i];
        struct portrait *portrait = &survey->portraits.list[i];
        *pass = (struct pass_gauge){ .portrait = portrait,
                                     .label = wish->labels != NULL ? wish->labels[i] : portrait->clip->name,
                                     .light_over_noise = -1,
                                     .flicker = -1,
                                     .shake = -1,
                                     .bump = -1,
                                     .pair = -1,
                                     .focus = -1,
                                     .evenness = -1,
                                     .dark_wander = -1,
                                     .sum = -1 };
        pass->frame_count = portrait->movie ? portrait->frames : portrait->clip->count;
        survey->files += portrait->clip->count;
        survey->frames += pass->frame_count;
        measure_levels(pass);
    }
}

/* ---- did the camera move between passes? ---------------------------------------------------------------------- */

struct stand {
    struct survey *survey;
    struct pass_gauge *pass;
};

static void find_bump(void *data, int worker)
{
    struct stand *stand = data;
    struct pass_gauge *pass = stand->pass;
    const struct pass_gauge *passes = stand->survey->passes;
    const struct look *lock = &passes[stand->survey->lock].stance;
    (void)worker;
    if (pass == &passes[stand->survey->lock])
        pass->bump = 0;
    else if (lock->plane[0] != NULL && find_shift(lock, &pass->stance, &pass->bump_x, &pass->bump_y))
        pass->bump = sqrt(pass->bump_x * pass->bump_x + pass->bump_y * pass->bump_y);
}

/* Both screens of one subject are lit alike: their shift is known far better than that against a lamp. */
static void find_pair(void *data, int worker)
{
    struct stand *stand = data;
    struct pass_gauge *pass = stand->pass;
    const int partner = pass->portrait->partner;
    (void)worker;
    if (find_shift(&stand->survey->passes[partner].stance, &pass->stance, &pass->pair_x, &pass->pair_y))
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
        if (pass->stance.plane[0] == NULL)
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

static enum passel_status take_passes(struct survey *survey, const struct survey_wish *wish, struct passel_error *error)
{
    struct pool *pool = NULL;
    struct lock lock = { 0 };
    atomic_int done = 0;
    RETURN_IF_ERROR(pool_new(wish->threads, &pool, error));
    enum passel_status status = PASSEL_OK;
    for (int turn = -1; turn < survey->count && status == PASSEL_OK; turn++) {
        const int i = turn < 0 ? survey->lock : turn;
        if (i < 0 || (turn >= 0 && i == survey->lock))
            continue;
        struct round round = {
            .survey = survey, .wish = wish, .pass = &survey->passes[i], .done = &done, .total = survey->frames
        };
        status = take_pass(&round, pool, &lock, i == survey->lock, error);
    }
    if (status == PASSEL_OK)
        status = hold_against(survey, pool, error);
    pool_free(pool);
    picture_release(&lock.picture);
    return status;
}

enum passel_status survey_take(const struct survey_wish *wish, struct survey *survey, struct passel_error *error)
{
    enum passel_status status;
    *survey = (struct survey){ .lock = -1 };
    memcpy(survey->limits, wish->limits != NULL ? wish->limits : limit_table, sizeof survey->limits);
    RETURN_IF_ERROR(portraits_take(wish->folder, wish->clips, wish->threads, &survey->portraits, error));
    portraits_recognise(&survey->portraits);
    survey->count = survey->portraits.count;
    survey->passes = memory_zeros((size_t)survey->count + 1, sizeof *survey->passes);
    if (survey->passes == NULL)
        GOTO_IF_ERROR(error_set(error, PASSEL_NO_MEMORY, "out of memory"), out_survey);
    begin_passes(survey, wish);
    survey->lock = find_lock(survey, wish->lock);
    GOTO_IF_ERROR(take_passes(survey, wish, error), out_survey);
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
        look_release(&survey->passes[i].stance);
        look_release(&survey->passes[i].thumb);
    }
    memory_free(survey->passes);
    memory_free(survey->findings);
    portraits_release(&survey->portraits);
    *survey = (struct survey){ 0 };
}
