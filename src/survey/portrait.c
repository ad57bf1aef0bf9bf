/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "survey/portrait.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "base/pool.h"
#include "survey/telling.h"

/* More files than this are a sequence, whatever they look like. */
enum { STILLS_MOST = 64 };

/* ---- numbered stills, or a sequence? ------------------------------------------------------------------------- */

struct glance {
    const char *folder;
    struct clip *clip;
    bool movie;
    int index;
    unsigned wants;
    struct sight_room *rooms; /* one for each worker */
    struct telling *telling;
};

static void take_glance(void *data, int worker)
{
    const struct glance *glance = data;
    sight_take(&glance->clip->sights[glance->index], glance->folder, glance->clip, glance->movie, glance->index,
               glance->wants, &glance->rooms[worker]);
    telling_frame(glance->telling, &glance->clip->sights[glance->index]);
}

/* How alike two pictures are: the correlation of their logarithms over all blocks and colours together, so that another
 * hue or another lamp tells them apart and a change of exposure does not. */
static double likeness(const struct look *a, const struct look *b)
{
    double n = 0, sa = 0, sb = 0, saa = 0, sbb = 0, sab = 0;
    for (size_t i = 0; i < 3 * look_count(a); i++) {
        const double x = log(fmax(a->plane[0][i], 0) + 0.005), y = log(fmax(b->plane[0][i], 0) + 0.005);
        n++;
        sa += x;
        sb += y;
        saa += x * x;
        sbb += y * y;
        sab += x * y;
    }
    const double va = saa - sa * sa / n, vb = sbb - sb * sb / n;
    return va > 0 && vb > 0 ? (sab - sa * sb / n) / sqrt(va * vb) : 1;
}

static bool same_make(const struct reading *a, const struct reading *b)
{
    return a->width == b->width && a->height == b->height && strcmp(a->format, b->format) == 0 && a->rate == b->rate &&
           a->whole_numbers == b->whole_numbers;
}

/* Time codes that run on by as many frames as the numbers do; at any usual rate, when the file says none. */
static bool time_runs(const struct reading *a, const struct reading *b, int32_t frames)
{
    static const double usual[] = { 24, 25, 30, 48, 50, 60, 100, 120 };
    const double *rates = a->rate > 0 ? &a->rate : usual;
    const size_t count = a->rate > 0 ? 1 : sizeof usual / sizeof *usual;
    bool runs = false;
    for (size_t i = 0; i < count && a->has_time_code && b->has_time_code && !runs; i++) {
        uint32_t code[2] = { a->time_code, 0 };
        time_code_advance(code, frames, (int32_t)lround(rates[i]), 1);
        runs = code[0] == b->time_code;
    }
    return runs;
}

static bool goes_on(const struct clip *clip, int i, int k)
{
    const struct sight *a = &clip->sights[i], *b = &clip->sights[k];
    if (a->look.plane[0] == NULL || b->look.plane[0] == NULL)
        return true; /* a damaged frame does not end a sequence */
    return same_make(&a->header, &b->header) &&
           (time_runs(&a->header, &b->header, clip->frames[k] - clip->frames[i]) || likeness(&a->look, &b->look) > 0.5);
}

/* Between which files a sequence breaks off. One file that fits neither side, while both sides fit each other and one
 * of them is a run, is a fault of the sequence and no break. Returns how many breaks there are. */
static int find_breaks(const struct clip *clip, bool *ends)
{
    int breaks = 0;
    for (int i = 0; i + 1 < clip->count; i++)
        ends[i] = !goes_on(clip, i, i + 1);
    for (int i = 1; i + 1 < clip->count; i++) {
        const bool run = (i >= 2 && !ends[i - 2]) || (i + 2 < clip->count && !ends[i + 1]);
        if (ends[i - 1] && ends[i] && run && goes_on(clip, i - 1, i + 1))
            ends[i - 1] = ends[i] = false;
    }
    for (int i = 0; i + 1 < clip->count; i++)
        breaks += ends[i];
    return breaks;
}

/* Do the headers alone say that it is one sequence? */
static bool headers_run(const char *folder, const struct clip *clip)
{
    struct reading last = { 0 };
    for (int i = 0; i < clip->count; i++) {
        struct reading header;
        char *path = clip_path(folder, clip, i);
        const bool fine = path != NULL && reading_peek(path, &clip->choice, &header, NULL) == PASSEL_OK;
        memory_free(path);
        if (!fine || !header.has_time_code ||
            (i > 0 && !(same_make(&last, &header) && time_runs(&last, &header, clip->frames[i] - clip->frames[i - 1]))))
            return false;
        last = header;
    }
    return true;
}

static enum passel_status glance_at(const struct portrait_wish *wish, struct clip *clip, struct glance *glances,
                                    struct passel_error *error)
{
    struct pool *pool = NULL;
    enum passel_status status;
    RETURN_IF_ERROR(sights_begin(clip, clip->count, error));
    struct sight_room *rooms = sight_rooms_new(wish->threads);
    if (rooms == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    GOTO_IF_ERROR(pool_new(wish->threads, &pool, error), out_rooms);
    for (int i = 0; i < clip->count && status == PASSEL_OK; i++) {
        glances[i] = (struct glance){ .folder = wish->folder,
                                      .clip = clip,
                                      .index = i,
                                      .wants = SIGHT_LOOK | sight_wants(wish->wants, clip->count, i),
                                      .rooms = rooms,
                                      .telling = wish->telling };
        status = pool_submit(pool, i, take_glance, &glances[i]);
    }
    pool_wait(pool);
    if (status != PASSEL_OK)
        (void)error_set(error, status, "out of memory");
out_rooms:
    pool_free(pool);
    sight_rooms_free(rooms, wish->threads);
    return status;
}

static void follow_glance(void *data, int worker)
{
    const struct glance *glance = data;
    (void)worker;
    sight_follow(&glance->clip->sights[glance->index], &glance->clip->sights[glance->clip->stand].track);
}

/* Holds all frames that were glanced at against the first of them. */
static enum passel_status follow_all(const struct portrait_wish *wish, struct clip *clip, struct passel_error *error)
{
    struct pool *pool = NULL;
    if (!sights_stand(clip))
        return PASSEL_OK;
    struct glance *glances = memory_zeros((size_t)clip->count, sizeof *glances);
    enum passel_status status =
        glances != NULL ? pool_new(wish->threads, &pool, error) : error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int i = 0; i < clip->count && status == PASSEL_OK; i++) {
        glances[i] = (struct glance){ .clip = clip, .index = i };
        if (pool_submit(pool, i, follow_glance, &glances[i]) != PASSEL_OK)
            status = error_set(error, PASSEL_NO_MEMORY, "out of memory");
    }
    pool_free(pool);
    memory_free(glances);
    return status;
}

/* Looks that nobody asks for again. */
static void forget_looks(struct clip *clip)
{
    for (int i = 0; i < clip->sight_count; i++) {
        bool sample = false;
        for (int k = 0; k < PORTRAIT_SAMPLES; k++)
            sample = sample || sight_sample(clip->count, k) == i;
        if (sample)
            continue;
        look_release(&clip->sights[i].look);
        clip->sights[i].has &= ~(unsigned)SIGHT_LOOK;
    }
}

static enum passel_status settle_as_one(const struct portrait_wish *wish, struct clip *clip, struct passel_error *error)
{
    forget_looks(clip);
    RETURN_IF_ERROR(follow_all(wish, clip, error));
    telling_pass(wish->telling, clip);
    clip->settled = true;
    return PASSEL_OK;
}

/* Takes the clip apart where a sequence breaks off, or settles that it is one. What is in doubt and may not be `split`
 * stays as it is, all its files looked at. */
static enum passel_status part_clip(const struct portrait_wish *wish, struct clip_list *clips, int index, bool *split,
                                    struct passel_error *error)
{
    struct clip *clip = &clips->clips[index];
    bool *ends = memory_zeros((size_t)clip->count, sizeof *ends);
    enum passel_status status = PASSEL_OK;
    if (ends == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    /* A frame or two that differ are faults of a sequence; stills differ almost everywhere. */
    const bool parts = 4 * find_breaks(clip, ends) > clip->count;
    if (!parts)
        status = settle_as_one(wish, clip, error);
    else if (*split)
        status = clips_split(clips, index, ends, error);
    *split = *split && parts;
    memory_free(ends);
    return status;
}

static enum passel_status look_through(const struct portrait_wish *wish, struct clip_list *clips, int index,
                                       struct passel_error *error)
{
    struct clip *clip = &clips->clips[index];
    bool split = false;
    if (headers_run(wish->folder, clip)) {
        clip->settled = true;
        return PASSEL_OK;
    }
    struct glance *glances = memory_zeros((size_t)clip->count, sizeof *glances);
    if (glances == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    enum passel_status status = glance_at(wish, clip, glances, error);
    if (status == PASSEL_OK)
        status = part_clip(wish, clips, index, &split, error);
    memory_free(glances);
    return status;
}

/* Another sequence that has the same numbers: stills are not numbered like the frames of a shot. */
static bool numbers_shared(const struct clip_list *clips, const struct clip *clip)
{
    for (int i = 0; i < clips->count; i++) {
        const struct clip *other = &clips->clips[i];
        if (other != clip && other->numbered && other->settled && !other->piece && other->count > 2 &&
            other->frames[0] == clip->frames[0] && other->frames[other->count - 1] == clip->frames[clip->count - 1])
            return true;
    }
    return false;
}

/* Groups of a few numbered files are in doubt: first it is settled which are surely one, then the others. */
static enum passel_status settle(const struct portrait_wish *wish, struct clip_list *clips, struct passel_error *error)
{
    for (int i = 0; i < clips->count; i++) {
        struct clip *clip = &clips->clips[i];
        if (clip->numbered && !clip->settled && clip->count <= STILLS_MOST)
            RETURN_IF_ERROR(look_through(wish, clips, i, error));
        else
            clip->settled = true;
    }
    for (int i = 0; i < clips->count; i++) {
        if (!clips->clips[i].settled && numbers_shared(clips, &clips->clips[i]))
            RETURN_IF_ERROR(settle_as_one(wish, &clips->clips[i], error));
    }
    for (int i = 0; i < clips->count;) {
        bool split = !clips->clips[i].settled;
        if (split)
            RETURN_IF_ERROR(part_clip(wish, clips, i, &split, error));
        i = split ? 0 : i + 1; /* pieces are sorted in anew */
    }
    return PASSEL_OK;
}

/* ---- the portraits ------------------------------------------------------------------------------------------- */

/* Fills in what the first frame that can be read says. */
static void peek(const char *folder, struct portrait *portrait)
{
    enum passel_status status = PASSEL_NO_FILE;
    for (int i = 0; i < portrait->clip->count && status != PASSEL_OK && i < 8; i++) {
        struct reading header;
        struct passel_error error = { 0 };
        char *path = clip_path(folder, portrait->clip, i);
        status = path == NULL ? PASSEL_NO_MEMORY : reading_peek(path, &portrait->clip->choice, &header, &error);
        memory_free(path);
        if (status != PASSEL_OK) {
            (void)snprintf(portrait->problem, sizeof portrait->problem, "%.*s", (int)sizeof portrait->problem - 1,
                           error.text);
            continue;
        }
        portrait->width = header.width;
        portrait->height = header.height;
        portrait->rate = header.rate;
        portrait->encoding = header.encoding;
        portrait->said = header.said;
        portrait->whole_numbers = header.whole_numbers;
        portrait->movie = header.frames != 1;
        portrait->frames = portrait->movie ? header.frames : portrait->clip->count;
    }
}

static enum passel_status submit_samples(const struct portrait_wish *wish, const struct portraits *portraits,
                                         struct glance *samples, struct sight_room *rooms, struct pool *pool,
                                         struct passel_error *error)
{
    for (int i = 0; i < portraits->count; i++) {
        const struct portrait *portrait = &portraits->list[i];
        RETURN_IF_ERROR(
            sights_begin(portrait->clip, portrait->movie ? portrait->frames : portrait->clip->count, error));
        for (int k = 0; k < PORTRAIT_SAMPLES && k < portrait->frames; k++) {
            struct glance *glance = &samples[i * PORTRAIT_SAMPLES + k];
            const int place = sight_sample(portrait->frames, k);
            *glance = (struct glance){ .folder = wish->folder,
                                       .clip = portrait->clip,
                                       .movie = portrait->movie,
                                       .index = place,
                                       .wants = SIGHT_LOOK | sight_wants(wish->wants, portrait->frames, place),
                                       .rooms = rooms,
                                       .telling = wish->telling };
            if (pool_submit(pool, i, take_glance, glance) != PASSEL_OK)
                return error_set(error, PASSEL_NO_MEMORY, "out of memory");
        }
    }
    return PASSEL_OK;
}

/* The look of sample k, when it is of the pass's size. */
static const struct look *sample_look(const struct portrait *portrait, int k)
{
    const struct sight *sight = &portrait->clip->sights[sight_sample(portrait->frames, k)];
    const bool fits = sight->header.width == portrait->width && sight->header.height == portrait->height;
    return sight->look.plane[0] != NULL && fits ? &sight->look : NULL;
}

/* The mean of the samples of one pass, and how much they differ. */
static enum passel_status join_samples(struct portrait *portrait, struct passel_error *error)
{
    const int samples = portrait->frames < PORTRAIT_SAMPLES ? portrait->frames : PORTRAIT_SAMPLES;
    const struct look *looks[PORTRAIT_SAMPLES];
    int count = 0;
    for (int k = 0; k < samples; k++) {
        const struct sight *sight = &portrait->clip->sights[sight_sample(portrait->frames, k)];
        if (sight->status != PASSEL_OK && sight->problem[0] != '\0')
            (void)snprintf(portrait->problem, sizeof portrait->problem, "%s", sight->problem);
        looks[count] = sample_look(portrait, k);
        count += looks[count] != NULL;
    }
    if (count == 0)
        return PASSEL_OK;
    RETURN_IF_ERROR(look_black(looks[0], &portrait->look, error));
    for (size_t i = 0; i < 3 * look_count(&portrait->look); i++) {
        double sum = 0;
        for (int k = 0; k < count; k++)
            sum += looks[k]->plane[0][i];
        portrait->look.plane[0][i] = (float)(sum / count);
    }
    portrait->change = look_change(looks, count, &portrait->look);
    return PASSEL_OK;
}

static void end_samples(struct portrait *portrait)
{
    struct clip *clip = portrait->clip;
    for (int i = 0; i < clip->sight_count; i++) {
        look_release(&clip->sights[i].look);
        clip->sights[i].has &= ~(unsigned)SIGHT_LOOK;
    }
    (void)sights_stand(clip);
}

static enum passel_status look_at_all(const struct portrait_wish *wish, struct portraits *portraits,
                                      struct passel_error *error)
{
    struct pool *pool = NULL;
    struct glance *samples = memory_zeros((size_t)portraits->count * PORTRAIT_SAMPLES + 1, sizeof *samples);
    enum passel_status status;
    struct sight_room *rooms = sight_rooms_new(wish->threads);
    if (samples == NULL || rooms == NULL)
        GOTO_IF_ERROR(error_set(error, PASSEL_NO_MEMORY, "out of memory"), out_samples);
    GOTO_IF_ERROR(pool_new(wish->threads, &pool, error), out_samples);
    for (int i = 0; i < portraits->count; i++)
        peek(wish->folder, &portraits->list[i]);
    status = submit_samples(wish, portraits, samples, rooms, pool, error);
    pool_wait(pool);
    for (int i = 0; i < portraits->count && status == PASSEL_OK; i++) {
        status = join_samples(&portraits->list[i], error);
        end_samples(&portraits->list[i]);
    }
out_samples:
    pool_free(pool);
    sight_rooms_free(rooms, wish->threads);
    memory_free(samples);
    return status;
}

/* The size that most passes have; the larger one of two as frequent. */
static void find_size(struct portraits *portraits)
{
    int most = 0;
    for (int i = 0; i < portraits->count; i++) {
        const struct portrait *a = &portraits->list[i];
        int count = 0;
        for (int k = 0; k < portraits->count; k++)
            count += portraits->list[k].width == a->width && portraits->list[k].height == a->height;
        if (a->look.plane[0] != NULL && (count > most || (count == most && a->width > portraits->width))) {
            most = count;
            portraits->width = a->width;
            portraits->height = a->height;
        }
    }
}

enum passel_status portraits_take(const struct portrait_wish *wish, struct clip_list *clips,
                                  struct portraits *portraits, struct passel_error *error)
{
    *portraits = (struct portraits){ 0 };
    RETURN_IF_ERROR(settle(wish, clips, error));
    portraits->list = memory_zeros((size_t)clips->count + 1, sizeof *portraits->list);
    if (portraits->list == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    portraits->count = clips->count;
    for (int i = 0; i < clips->count; i++)
        portraits->list[i] =
            (struct portrait){ .clip = &clips->clips[i], .hue = HUE_NONE, .partner = -1, .empty = -1, .dark = -1 };
    const enum passel_status status = look_at_all(wish, portraits, error);
    if (status != PASSEL_OK)
        portraits_release(portraits);
    else
        find_size(portraits);
    return status;
}

void portraits_release(struct portraits *portraits)
{
    for (int i = 0; i < portraits->count; i++) {
        look_release(&portraits->list[i].look);
        memory_free(portraits->list[i].bare);
    }
    memory_free(portraits->list);
    memory_free(portraits->common);
    *portraits = (struct portraits){ 0 };
}
