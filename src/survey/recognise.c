/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What each pass is, from what it shows: levels, colours, how much it changes. The numbers below are those of common
 * practice or were tried on filmed passes; none is a standard.
 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/memory.h"
#include "survey/portrait.h"

/* A border as saturated as this, and alike over this share of the picture, is a screen: grass, sky and wood are less.
 */
#define SCREEN_SATURATION 0.55F
#define SCREEN_LEAST 0.15F
#define EMPTY_LEAST 0.97F
/* Blocks belong to the screen within this distance of chromaticity and this factor of light (1.5 stops). */
#define SCREEN_CHROMA 0.07F
#define SCREEN_FACTOR 2.83F
/* Three stops under middle grey (0.18): a pass that stays below is dark, a surround that does is black. */
#define BLACK 0.0225F
/* A screen or a background that is underexposed: this much darker than black it still is one, when the brightest of the
 * picture is no more than so many times as bright. */
#define FAR_UNDER 4.0F
#define SCREEN_RANGE 12.0F
#define PLATE_RANGE 8.0F
/* Lights off: this share of its light at most may lie above what other passes show of the same place, and what counts
 * as above. */
#define ABOVE_OTHERS 0.1
#define ABOVE 1.15F
/* Light that changes by more than this share from frame to frame is no lamp. */
#define RESTLESS 0.3F

static enum role give(struct portrait *portrait, enum role role, const char *why)
{
    portrait->role = role;
    (void)snprintf(portrait->why, sizeof portrait->why, "%s", why);
    return role;
}

/* ---- levels and the border ----------------------------------------------------------------------------------- */

static void measure_levels(struct portrait *portrait, float *numbers)
{
    const struct look *look = &portrait->look;
    const size_t count = look_count(look);
    for (size_t i = 0; i < count; i++)
        numbers[i] = look_light(look, i);
    portrait->middle = numbers_at(numbers, count, 0.5);
    portrait->bright = numbers_at(numbers, count, 0.99);
    portrait->peak = numbers[count - 1];
}

/* The top and the upper halves of both sides: the set stands on the ground. */
static size_t border_blocks(const struct look *look, size_t *blocks)
{
    const int32_t rim = look->across / 24 + 1;
    size_t count = 0;
    for (int32_t y = 0; y < (look->down + 1) / 2; y++) {
        for (int32_t x = 0; x < look->across; x++) {
            if (y < rim || x < rim || x >= look->across - rim)
                blocks[count++] = (size_t)y * (size_t)look->across + (size_t)x;
        }
    }
    return count;
}

static enum screen_hue hue_of(const float colour[3])
{
    const float sum = colour[0] + colour[1] + colour[2];
    for (int c = 0; c < 3; c++) {
        if (colour[c] > 0.5F * sum)
            return (enum screen_hue)c;
    }
    return HUE_OTHER;
}

static bool like_screen(const struct look *look, size_t i, const float screen[3])
{
    const float sum = look->plane[0][i] + look->plane[1][i] + look->plane[2][i];
    const float wanted = screen[0] + screen[1] + screen[2];
    bool like = sum < wanted * SCREEN_FACTOR && sum > wanted / SCREEN_FACTOR;
    for (int c = 0; c < 3 && like; c++)
        like = fabsf(look->plane[c][i] / sum - screen[c] / wanted) < SCREEN_CHROMA;
    return like;
}

static void measure_border(struct portrait *portrait, float *numbers, size_t *blocks)
{
    const struct look *look = &portrait->look;
    const size_t count = border_blocks(look, blocks);
    float colour[3];
    size_t alike = 0;
    for (int c = 0; c < 3; c++) {
        for (size_t i = 0; i < count; i++)
            numbers[i] = look->plane[c][blocks[i]];
        colour[c] = numbers_at(numbers, count, 0.5);
    }
    const float least = fminf(colour[0], fminf(colour[1], colour[2]));
    const float most = fmaxf(colour[0], fmaxf(colour[1], colour[2]));
    portrait->surround = 0.2126F * colour[0] + 0.7152F * colour[1] + 0.0722F * colour[2];
    portrait->vivid = most;
    portrait->saturation = most > 0 ? 1 - least / most : 0;
    for (size_t i = 0; i < look_count(look); i++) {
        portrait->bare[i] = most > 0 && like_screen(look, i, colour);
        alike += portrait->bare[i];
    }
    portrait->screen = (float)alike / (float)look_count(look);
    portrait->hue = hue_of(colour);
}

static bool measure(struct portrait *portrait)
{
    const size_t count = look_count(&portrait->look);
    float *numbers = memory_zeros(count, sizeof *numbers);
    size_t *blocks = memory_zeros(count, sizeof *blocks);
    portrait->bare = memory_zeros(count, sizeof *portrait->bare);
    const bool fine = numbers != NULL && blocks != NULL && portrait->bare != NULL;
    if (fine) {
        measure_levels(portrait, numbers);
        measure_border(portrait, numbers, blocks);
    }
    memory_free(numbers);
    memory_free(blocks);
    return fine;
}

/* ---- one by one ------------------------------------------------------------------------------------------------ */

static const char *const hue_words[] = { "red", "green", "blue", "coloured" };

/* Is the border lit, in a picture that may be underexposed as a whole? */
static bool border_lit(const struct portrait *p, float strongest, float range)
{
    return p->surround > BLACK || (strongest > BLACK / FAR_UNDER && p->surround > p->bright / range);
}

static double stops_under_grey(float light)
{
    return log2(0.18 / fmax(1e-6, (double)light));
}

static void recognise_one(struct portrait *p)
{
    char why[240];
    const bool screen =
        p->saturation > SCREEN_SATURATION && border_lit(p, p->vivid, SCREEN_RANGE) && p->screen > SCREEN_LEAST;
    if (screen) {
        const int length = snprintf(why, sizeof why, "an even %s, saturation %.0f%%, over %.0f%% of the picture",
                                    hue_words[p->hue], 100 * (double)p->saturation, 100 * (double)p->screen);
        if (p->surround <= BLACK)
            (void)snprintf(why + length, sizeof why - (size_t)length,
                           ", far underexposed: it lies %.1f stops under middle grey", stops_under_grey(p->surround));
        give(p, p->screen >= EMPTY_LEAST ? ROLE_EMPTY : ROLE_SCREEN, why);
        return;
    }
    p->hue = HUE_NONE;
    p->steady = p->change <= RESTLESS;
    if (p->bright < BLACK && p->peak < 2 * BLACK && p->change < RESTLESS) {
        (void)snprintf(why, sizeof why, "nothing is lit: 99%% of it lies more than %.1f stops under middle grey",
                       stops_under_grey(p->bright));
        give(p, ROLE_DARK, why);
    } else if (border_lit(p, p->surround, PLATE_RANGE)) {
        (void)snprintf(why, sizeof why, "no dark surround: the upper borders are at %.3f, and they are no screen",
                       (double)p->surround);
        give(p, ROLE_PLATE, why);
    } else if (p->change > RESTLESS) {
        (void)snprintf(why, sizeof why, "on black, and its light moves: %.0f%% of it from frame to frame",
                       100 * (double)p->change);
        give(p, ROLE_ELEMENT, why);
    } else {
        (void)snprintf(why, sizeof why, "something stands lit before black, steadily: %.0f%% change over its frames",
                       100 * (double)p->change);
        give(p, ROLE_LAMP, why);
    }
}

/* ---- lights off, or far underexposed ----------------------------------------------------------------------------- */

/* The second smallest light of block i among lit passes that the same camera saw: one of them may be underexposed
 * itself. Infinite when fewer than three are there. */
static float second_least(const struct portraits *portraits, const struct portrait *dark, size_t i)
{
    float least = INFINITY, second = INFINITY;
    int count = 0;
    for (int k = 0; k < portraits->count; k++) {
        const struct portrait *p = &portraits->list[k];
        if ((p->role != ROLE_LAMP && p->role != ROLE_ELEMENT) || p->width != dark->width || p->height != dark->height ||
            p->rate != dark->rate)
            continue;
        const float light = look_light(&p->look, i);
        second = light < least ? least : light < second ? light : second;
        least = light < least ? light : least;
        count++;
    }
    return count >= 3 ? second : INFINITY;
}

/* Every lit pass has what leaks in with the lights off in it, so that lights off is nowhere brighter than they are. */
static double above_others(const struct portraits *portraits, const struct portrait *dark)
{
    double above = 0, all = 0;
    for (size_t i = 0; i < look_count(&dark->look); i++) {
        const float light = look_light(&dark->look, i);
        all += light > 0 ? (double)light : 0;
        above += fmax(0, (double)light - (double)ABOVE * fmax(0, (double)second_least(portraits, dark, i)));
    }
    return all > 0 ? above / all : 0;
}

/* All are judged before any becomes a lamp, so that their order does not matter. */
static void find_underexposed(struct portraits *portraits)
{
    for (int i = 0; i < portraits->count; i++) {
        struct portrait *p = &portraits->list[i];
        p->under = p->role == ROLE_DARK && above_others(portraits, p) > ABOVE_OTHERS;
    }
    for (int i = 0; i < portraits->count; i++) {
        struct portrait *p = &portraits->list[i];
        char why[240];
        if (!p->under)
            continue;
        (void)snprintf(
            why, sizeof why,
            "far underexposed: 99%% of it lies more than %.1f stops under middle grey, yet it is brighter in "
            "places than passes under other lights",
            stops_under_grey(p->bright));
        give(p, ROLE_LAMP, why);
    }
}

void portraits_recognise(struct portraits *portraits)
{
    for (int i = 0; i < portraits->count; i++) {
        struct portrait *p = &portraits->list[i];
        if (p->look.plane[0] == NULL || !measure(p)) {
            (void)give(p, ROLE_UNREADABLE, p->problem[0] != '\0' ? p->problem : "it cannot be read");
            continue;
        }
        recognise_one(p);
    }
    find_underexposed(portraits);
    recognise_pairs(portraits);
}
