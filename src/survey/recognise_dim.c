/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Dim passes: lights off, or lit and far underexposed? Exposure scales all of a picture, so what it is must be seen in
 * shares of its own light. With the lights off the studio leaks evenly; a lamp, an element or a background has places
 * many times as bright as its surround, however dark. Every lit pass has the leaking light in it, so that what nearly
 * all of them share tells the level that lights off should have. Where it cannot be told, that is said.
 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "survey/portrait.h"

/* Darker or brighter than the level that lights off should have by this factor is worth a word. */
#define LEVEL_OFF 2.0F
/* Passes of which one may be far underexposed itself. */
enum { LIT_LEAST = 3 };

static bool same_size(const struct portrait *a, const struct portrait *b)
{
    return a->width == b->width && a->height == b->height;
}

static bool is_lit(const struct portrait *p)
{
    return p->role == ROLE_LAMP || p->role == ROLE_ELEMENT;
}

static double stops(double ratio)
{
    return log2(fmax(1e-6, ratio));
}

static void doubt(struct portrait *p, const char *text)
{
    (void)snprintf(p->doubt, sizeof p->doubt, "%s", text);
}

/* ---- the light that lit passes have in common -------------------------------------------------------------------- */

/* A quarter of the passes may lie lower, and at least one: they may be underexposed. */
static void join_lit(struct portraits *portraits, const struct portrait **lit, int count, float *lights)
{
    const size_t low = (size_t)(count / 4 > 1 ? count / 4 : 1);
    for (size_t i = 0; i < look_count(&lit[0]->look); i++) {
        for (int k = 0; k < count; k++)
            lights[k] = look_light(&lit[k]->look, i);
        portraits->common[i] = numbers_at(lights, (size_t)count, (double)low / (double)(count - 1));
    }
}

static enum passel_status find_common(struct portraits *portraits, struct passel_error *error)
{
    const struct portrait **lit = memory_zeros((size_t)portraits->count + 1, sizeof *lit);
    float *lights = memory_zeros((size_t)portraits->count + 1, sizeof *lights);
    enum passel_status status = PASSEL_OK;
    int count = 0;
    for (int i = 0; i < portraits->count && lit != NULL; i++) {
        const struct portrait *p = &portraits->list[i];
        if (is_lit(p) && p->width == portraits->width && p->height == portraits->height)
            lit[count++] = p;
    }
    if (count >= LIT_LEAST)
        portraits->common = memory_zeros(look_count(&lit[0]->look), sizeof *portraits->common);
    if (lit == NULL || lights == NULL || (count >= LIT_LEAST && portraits->common == NULL))
        status = error_set(error, PASSEL_NO_MEMORY, "out of memory");
    else if (count >= LIT_LEAST)
        join_lit(portraits, lit, count, lights);
    memory_free(lights);
    memory_free(lit);
    return status;
}

/* ---- which are lit ----------------------------------------------------------------------------------------------- */

static bool shaped(const struct portrait *p)
{
    return p->role == ROLE_DARK && portrait_shaped(p);
}

/* Lights off is missing unless this one is it: nothing else of its size is dim and even, what is lit has to have
 * something taken off, and of several it is the darkest. */
static bool needed_as_dark(const struct portraits *portraits, const struct portrait *p)
{
    bool lit = false;
    for (int i = 0; i < portraits->count; i++) {
        const struct portrait *o = &portraits->list[i];
        if (o == p || !same_size(o, p))
            continue;
        if (o->role == ROLE_DARK && (!shaped(o) || o->bright < p->bright))
            return false;
        lit = lit || is_lit(o);
    }
    return lit;
}

static void lift(struct portrait *p)
{
    p->under = true;
    p->role = portrait_fills(p) ? ROLE_PLATE : ROLE_LAMP;
    (void)snprintf(p->why, sizeof p->why,
                   "far underexposed: 99%% of it lies more than %.1f stops under middle grey, yet it is no lights off: "
                   "the brightest has %.0f times the light of the upper borders",
                   stops(0.18 / fmax(1e-6, (double)p->bright)), (double)p->contrast);
}

/* All are judged before any is given another role, so that their order does not matter. */
static void lift_shaped(struct portraits *portraits)
{
    for (int i = 0; i < portraits->count; i++) {
        struct portrait *p = &portraits->list[i];
        p->under = shaped(p) && !needed_as_dark(portraits, p);
    }
    for (int i = 0; i < portraits->count; i++) {
        struct portrait *p = &portraits->list[i];
        if (p->under)
            lift(p);
        else if (shaped(p))
            doubt(p, "it has places much brighter than its surround: it may be a lit pass, far underexposed, and the "
                     "lights-off pass may be missing");
    }
}

/* ---- how sure it is that the lights were off --------------------------------------------------------------------- */

static float surround_of(const struct portraits *portraits, const struct portrait *p, float *numbers, bool common)
{
    size_t count = 0;
    for (int32_t y = 0; y < p->look.down; y++) {
        for (int32_t x = 0; x < p->look.across; x++) {
            const size_t i = (size_t)y * (size_t)p->look.across + (size_t)x;
            if (look_borders(&p->look, x, y))
                numbers[count++] = common ? portraits->common[i] : look_light(&p->look, i);
        }
    }
    return numbers_at(numbers, count, 0.5);
}

static void doubt_level(const struct portraits *portraits, struct portrait *p, float *numbers)
{
    const float own = surround_of(portraits, p, numbers, false), all = surround_of(portraits, p, numbers, true);
    char text[240];
    if (p->doubt[0] != '\0' || all <= p->noise)
        return;
    if (own * LEVEL_OFF < all) {
        (void)snprintf(text, sizeof text,
                       "nearly all lit passes have %.1f stops more light at the upper borders: it may be underexposed "
                       "itself, and then too little is taken off them",
                       stops((double)all / fmax((double)own, (double)p->noise / 4)));
        doubt(p, text);
    } else if (own > all * LEVEL_OFF) {
        (void)snprintf(
            text, sizeof text,
            "lit passes have %.1f stops less light at the upper borders: something was on, or it was exposed "
            "longer, and then too much is taken off them",
            stops((double)own / (double)all));
        doubt(p, text);
    }
}

/* Nothing but noise is what lights off should look like, and what any pass looks like when it is dark enough. */
static void doubt_noise(struct portrait *p)
{
    if (p->doubt[0] == '\0' && p->surround < 0.5F * p->noise)
        doubt(p, "too dark to tell: no light stands out of its noise, so that it may as well be any pass far "
                 "underexposed");
}

enum passel_status recognise_dim(struct portraits *portraits, struct passel_error *error)
{
    RETURN_IF_ERROR(find_common(portraits, error));
    lift_shaped(portraits);
    for (int i = 0; i < portraits->count; i++) {
        struct portrait *p = &portraits->list[i];
        const bool level = portraits->common != NULL && p->width == portraits->width && p->height == portraits->height;
        float *numbers = NULL;
        if (p->role != ROLE_DARK)
            continue;
        if (level && (numbers = memory_new(look_count(&p->look) * sizeof *numbers)) == NULL)
            return error_set(error, PASSEL_NO_MEMORY, "out of memory");
        if (level)
            doubt_level(portraits, p, numbers);
        doubt_noise(p);
        memory_free(numbers);
    }
    return PASSEL_OK;
}
