/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "survey/portrait.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "base/pool.h"

/* Blocks across a portrait: fine enough for a lamp-post, coarse enough to lose the noise. */
enum { PORTRAIT_ACROSS = 96 };

/* More files than this are a sequence, whatever they look like. */
enum { STILLS_MOST = 64 };

/* ---- numbered stills, or a sequence? ------------------------------------------------------------------------- */

struct glance {
    const char *folder;
    const struct clip *clip;
    int index;
    struct reading header;
    struct look look;
    enum passel_status status;
};

static void take_glance(void *data, int worker)
{
    struct glance *glance = data;
    struct reading reading = { 0 };
    char *path = clip_path(glance->folder, glance->clip, glance->index);
    (void)worker;
    glance->status = path == NULL ? PASSEL_NO_MEMORY : reading_take(path, 0, &glance->clip->choice, &reading, NULL);
    memory_free(path);
    if (glance->status != PASSEL_OK)
        return;
    glance->header = reading;
    glance->header.picture = (struct picture){ 0 };
    glance->status = look_make(&reading, look_block(reading.width, PORTRAIT_ACROSS), &glance->look, NULL);
    reading_release(&reading);
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

/* Time codes that run on by as many frames as the numbers do. */
static bool time_runs(const struct glance *a, const struct glance *b)
{
    uint32_t code[2] = { a->header.time_code, 0 };
    if (!a->header.has_time_code || !b->header.has_time_code || a->header.rate <= 0)
        return false;
    time_code_advance(code, b->clip->frames[b->index] - a->clip->frames[a->index], (int32_t)lround(a->header.rate), 1);
    return code[0] == b->header.time_code;
}

static bool goes_on(const struct glance *a, const struct glance *b)
{
    if (a->status != PASSEL_OK || b->status != PASSEL_OK)
        return true; /* a damaged frame does not end a sequence */
    return same_make(&a->header, &b->header) && (time_runs(a, b) || likeness(&a->look, &b->look) > 0.5);
}

/* Between which files a sequence breaks off. One file that fits neither side, while both sides fit each other and one
 * of them is a run, is a fault of the sequence and no break. Returns how many breaks there are. */
static int find_breaks(const struct glance *glances, int count, bool *ends)
{
    int breaks = 0;
    for (int i = 0; i + 1 < count; i++)
        ends[i] = !goes_on(&glances[i], &glances[i + 1]);
    for (int i = 1; i + 1 < count; i++) {
        const bool run = (i >= 2 && !ends[i - 2]) || (i + 2 < count && !ends[i + 1]);
        if (ends[i - 1] && ends[i] && run && goes_on(&glances[i - 1], &glances[i + 1]))
            ends[i - 1] = ends[i] = false;
    }
    for (int i = 0; i + 1 < count; i++)
        breaks += ends[i];
    return breaks;
}

static enum passel_status settle_clip(const char *folder, struct clip_list *clips, int index, int threads, bool *split,
                                      struct passel_error *error)
{
    const struct clip *clip = &clips->clips[index];
    struct pool *pool = NULL;
    bool *ends = memory_zeros((size_t)clip->count, sizeof *ends);
    struct glance *glances = memory_zeros((size_t)clip->count, sizeof *glances);
    enum passel_status status = PASSEL_NO_MEMORY;
    *split = false;
    if (ends == NULL || glances == NULL) {
        (void)error_set(error, status, "out of memory");
        goto out_arrays;
    }
    GOTO_IF_ERROR(pool_new(threads, &pool, error), out_arrays);
    for (int i = 0; i < clip->count && status == PASSEL_OK; i++) {
        glances[i] = (struct glance){ .folder = folder, .clip = clip, .index = i };
        status = pool_submit(pool, i, take_glance, &glances[i]);
    }
    pool_wait(pool);
    const int breaks = status == PASSEL_OK ? find_breaks(glances, clip->count, ends) : 0;
    /* A frame or two that differ are faults of a sequence; stills differ almost everywhere. */
    *split = 4 * breaks > clip->count;
    for (int i = 0; i < clip->count; i++)
        look_release(&glances[i].look);
    if (status == PASSEL_OK && *split)
        status = clips_split(clips, index, ends, error);
out_arrays:
    pool_free(pool);
    memory_free(glances);
    memory_free(ends);
    return status;
}

/* Groups of a few numbered files are in doubt. */
static enum passel_status settle(const char *folder, struct clip_list *clips, int threads, struct passel_error *error)
{
    for (int i = 0; i < clips->count;) {
        bool split = false;
        struct clip *clip = &clips->clips[i];
        if (clip->numbered && !clip->settled && clip->count <= STILLS_MOST)
            RETURN_IF_ERROR(settle_clip(folder, clips, i, threads, &split, error));
        if (!split)
            clip->settled = true;
        i = split ? 0 : i + 1; /* pieces are sorted in anew */
    }
    return PASSEL_OK;
}

/* ---- the portraits ------------------------------------------------------------------------------------------- */

struct view {
    const char *folder;
    const struct clip *clip;
    int file;
    int32_t frame; /* of a movie */
    struct reading header;
    struct look look;
    enum passel_status status;
    char problem[240];
};

static void take_view(void *data, int worker)
{
    struct view *view = data;
    struct passel_error error = { 0 };
    struct reading reading = { 0 };
    char *path = clip_path(view->folder, view->clip, view->file);
    (void)worker;
    view->status =
        path == NULL ? PASSEL_NO_MEMORY : reading_take(path, view->frame, &view->clip->choice, &reading, &error);
    memory_free(path);
    if (view->status == PASSEL_OK) {
        view->header = reading;
        view->header.picture = (struct picture){ 0 };
        view->status = look_make(&reading, look_block(reading.width, PORTRAIT_ACROSS), &view->look, &error);
    }
    (void)snprintf(view->problem, sizeof view->problem, "%.*s", (int)sizeof view->problem - 1, error.text);
    reading_release(&reading);
}

static int sample_place(int frames, int k)
{
    return frames <= PORTRAIT_SAMPLES ? k : (int)((int64_t)k * (frames - 1) / (PORTRAIT_SAMPLES - 1));
}

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

static enum passel_status submit_samples(const char *folder, const struct portraits *portraits, struct view *samples,
                                         struct pool *pool, struct passel_error *error)
{
    for (int i = 0; i < portraits->count; i++) {
        const struct portrait *portrait = &portraits->list[i];
        for (int k = 0; k < PORTRAIT_SAMPLES && k < portrait->frames; k++) {
            struct view *view = &samples[i * PORTRAIT_SAMPLES + k];
            const int place = sample_place(portrait->frames, k);
            *view = (struct view){ .folder = folder, .clip = portrait->clip, .status = PASSEL_NO_FILE };
            view->file = portrait->movie ? 0 : place;
            view->frame = portrait->movie ? place : 0;
            if (pool_submit(pool, i, take_view, view) != PASSEL_OK)
                return error_set(error, PASSEL_NO_MEMORY, "out of memory");
        }
    }
    return PASSEL_OK;
}

/* The mean of the samples of one pass, and how much they differ. */
static enum passel_status join_samples(struct portrait *portrait, const struct view *samples,
                                       struct passel_error *error)
{
    int count = 0;
    const struct view *first = NULL;
    for (int k = 0; k < PORTRAIT_SAMPLES; k++) {
        const struct view *view = &samples[k];
        if (view->status != PASSEL_OK && view->problem[0] != '\0')
            (void)snprintf(portrait->problem, sizeof portrait->problem, "%s", view->problem);
        if (view->look.plane[0] == NULL || view->header.width != portrait->width ||
            view->header.height != portrait->height)
            continue;
        first = first == NULL ? view : first;
        count++;
    }
    if (first == NULL)
        return PASSEL_OK;
    RETURN_IF_ERROR(look_black(&first->look, &portrait->look, error));
    double mean = 0, apart = 0;
    for (size_t i = 0; i < 3 * look_count(&portrait->look); i++) {
        double sum = 0, squares = 0;
        for (int k = 0; k < PORTRAIT_SAMPLES; k++) {
            const struct look *look = &samples[k].look;
            if (look->plane[0] == NULL || look->across != first->look.across || look->down != first->look.down)
                continue;
            sum += look->plane[0][i];
            squares += (double)look->plane[0][i] * look->plane[0][i];
        }
        portrait->look.plane[0][i] = (float)(sum / count);
        mean += sum / count;
        apart += sqrt(fmax(0, squares / count - sum / count * sum / count));
    }
    portrait->change = mean > 0 ? (float)(apart / mean) : 0;
    return PASSEL_OK;
}

static enum passel_status look_at_all(const char *folder, struct portraits *portraits, int threads,
                                      struct passel_error *error)
{
    struct pool *pool = NULL;
    struct view *samples = memory_zeros((size_t)portraits->count * PORTRAIT_SAMPLES + 1, sizeof *samples);
    enum passel_status status;
    if (samples == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    GOTO_IF_ERROR(pool_new(threads, &pool, error), out_samples);
    for (int i = 0; i < portraits->count; i++)
        peek(folder, &portraits->list[i]);
    status = submit_samples(folder, portraits, samples, pool, error);
    pool_wait(pool);
    for (int i = 0; i < portraits->count && status == PASSEL_OK; i++)
        status = join_samples(&portraits->list[i], samples + (size_t)i * PORTRAIT_SAMPLES, error);
    for (int i = 0; i < portraits->count * PORTRAIT_SAMPLES; i++)
        look_release(&samples[i].look);
out_samples:
    pool_free(pool);
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

enum passel_status portraits_take(const char *folder, struct clip_list *clips, int threads, struct portraits *portraits,
                                  struct passel_error *error)
{
    *portraits = (struct portraits){ 0 };
    RETURN_IF_ERROR(settle(folder, clips, threads, error));
    portraits->list = memory_zeros((size_t)clips->count + 1, sizeof *portraits->list);
    if (portraits->list == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    portraits->count = clips->count;
    for (int i = 0; i < clips->count; i++)
        portraits->list[i] =
            (struct portrait){ .clip = &clips->clips[i], .hue = HUE_NONE, .partner = -1, .empty = -1, .dark = -1 };
    const enum passel_status status = look_at_all(folder, portraits, threads, error);
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
    *portraits = (struct portraits){ 0 };
}
