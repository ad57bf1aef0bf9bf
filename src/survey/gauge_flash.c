/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "survey/gauge_flash.h"

#include <string.h>

#include "base/error.h"
#include "base/memory.h"

/* Frames a second when nobody says it; stretches of each kind that are told one by one. */
enum { RATE_USUAL = 24, TOLD_MOST = 2 };

struct flash_gauge flash_gauge_of(const int32_t *numbers, int frames, double pass_rate, double shot_rate, double area)
{
    struct flash_gauge gauge = { .share = -1, .numbers = numbers, .frames = frames, .left = frames, .area = area };
    gauge.from = pass_rate > 0 ? RATE_OF_PASS : shot_rate > 0 ? RATE_OF_SHOT : RATE_ASSUMED;
    gauge.rate = pass_rate > 0 ? pass_rate : shot_rate > 0 ? shot_rate : RATE_USUAL;
    return gauge;
}

void flash_gauge_release(struct flash_gauge *gauge)
{
    flash_watch_free(gauge->watch);
    memory_free(gauge->stretches);
    *gauge = (struct flash_gauge){ .share = -1 };
}

enum passel_status flash_gauge_view(const struct reading *reading, struct flash_view **view, struct passel_error *error)
{
    const struct rect window = rect_of(0, 0, reading->width, reading->height);
    *view = NULL;
    if (!flash_view_fits(window))
        return PASSEL_OK;
    *view = flash_view_new(window, &reading->primaries);
    return *view != NULL ? PASSEL_OK : error_set(error, PASSEL_NO_MEMORY, "out of memory");
}

/* All frames are in. */
static enum passel_status conclude(struct flash_gauge *gauge, struct passel_error *error)
{
    int count;
    const struct flash_stretch *stretches = flash_watch_stretches(gauge->watch, &count);
    gauge->stretches = memory_new(((size_t)count + 1) * sizeof *gauge->stretches);
    if (gauge->stretches == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    if (count > 0)
        memcpy(gauge->stretches, stretches, (size_t)count * sizeof *stretches);
    gauge->stretch_count = count;
    gauge->share = gauge->known ? flash_watch_share(gauge->watch) : -1;
    flash_watch_free(gauge->watch);
    gauge->watch = NULL;
    return PASSEL_OK;
}

enum passel_status flash_gauge_put(struct flash_gauge *gauge, int index, struct flash_grid *grid,
                                   struct passel_error *error)
{
    enum passel_status status = PASSEL_OK;
    const bool first = gauge->left == gauge->frames;
    gauge->left--;
    gauge->known = gauge->known || grid != NULL;
    if (first && gauge->frames >= FLASH_FRAMES_LEAST)
        status = flash_watch_new(gauge->numbers, gauge->frames, gauge->rate, gauge->area, &gauge->watch, error);
    if (status != PASSEL_OK || gauge->watch == NULL) {
        memory_free(grid);
        return status;
    }
    flash_watch_put(gauge->watch, index, grid);
    return gauge->left == 0 ? conclude(gauge, error) : PASSEL_OK;
}

/* ---- in words ---------------------------------------------------------------------------------------------------- */

static void say_stretches(const struct flash_gauge *gauge, enum flash_kind kind, const char *before, struct text *text)
{
    int told = 0;
    for (int i = 0; i < gauge->stretch_count; i++) {
        const struct flash_stretch *stretch = &gauge->stretches[i];
        if (stretch->kind != kind)
            continue;
        if (told < TOLD_MOST)
            text_print(text, "%s%d to %d", told == 0 ? before : ", ", (int)stretch->first, (int)stretch->last);
        else if (told == TOLD_MOST)
            text_print(text, " ...");
        told++;
    }
}

void flash_gauge_where(const struct flash_gauge *gauge, struct text *text)
{
    static const char *const whose[] = { "its own ", "the shot's ", "" };
    text_print(text, "at %s%.6g frames a second%s", whose[gauge->from], gauge->rate,
               gauge->from == RATE_ASSUMED ? ", assumed" : "");
    say_stretches(gauge, FLASH_GENERAL, "; frames ", text);
    say_stretches(gauge, FLASH_RED, "; in saturated red, frames ", text);
}

const char *rate_from_word(enum rate_from from)
{
    static const char *const words[] = { "pass", "shot", "assumed" };
    return words[from];
}
