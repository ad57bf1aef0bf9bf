/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What each pass is, from what it shows: levels, colours, how much it changes. The numbers below are those of common
 * practice or were tried on filmed passes; none is a standard.
 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "survey/portrait.h"

/* A border as saturated as this, and alike over this share of the picture, is a screen: grass, sky and wood are less.
 */
#define SCREEN_SATURATION 0.55F
#define SCREEN_LEAST 0.15F
#define EMPTY_LEAST 0.97F
/* Blocks belong to the screen within this distance of chromaticity and this factor of light (1.5 stops). Noise widens
 * the first: so many times the middle distance within the border, up to a bound. */
#define SCREEN_CHROMA 0.07F
#define SCREEN_NOISE 4.5F
#define SCREEN_CHROMA_MOST 0.16F
#define SCREEN_FACTOR 2.83F
/* Three stops under middle grey (0.18): a pass that stays below is dark, a surround that does is black. */
#define BLACK 0.0225F
/* A screen that is underexposed: this much darker than black it still is one, when the brightest of the picture is no
 * more than so many times as bright. */
#define FAR_UNDER 4.0F
#define SCREEN_RANGE 12.0F
/* An underexposed background: its borders have this share of its brightest, and a quarter of that is reached on so much
 * of it. */
#define PLATE_RANGE 16.0F
#define FILLED 0.45F
/* So many times its surround, and it is lit: passes with the lights off reached 2.5, filmed lamps began at 5. */
#define SHAPED 4.0F
/* Light that changes by more than this share from frame to frame is no lamp. */
#define RESTLESS 0.3F

static enum role give(struct portrait *portrait, enum role role, const char *why)
{
    portrait->role = role;
    (void)snprintf(portrait->why, sizeof portrait->why, "%s", why);
    return role;
}

/* ---- levels and the border ----------------------------------------------------------------------------------- */

/* How much a block differs from the mean of its neighbours left and right, for the middle one of all. */
static float measure_noise(const struct look *look, float *numbers)
{
    size_t count = 0;
    for (int32_t y = 0; y < look->down; y++) {
        for (int32_t x = 1; x + 1 < look->across; x++) {
            const size_t i = (size_t)y * (size_t)look->across + (size_t)x;
            numbers[count++] = fabsf(look_light(look, i) - 0.5F * (look_light(look, i - 1) + look_light(look, i + 1)));
        }
    }
    /* The median of a normal deviate is 0.6745 deviations; one and two halves of the neighbours' add up. */
    return numbers_at(numbers, count, 0.5) / (0.6745F * 1.2247F);
}

/* One hot pixel makes no peak. */
static void measure_levels(struct portrait *portrait, float *numbers)
{
    const struct look *look = &portrait->look;
    const size_t count = look_count(look);
    portrait->noise = measure_noise(look, numbers);
    for (size_t i = 0; i < count; i++)
        numbers[i] = look_light(look, i);
    portrait->middle = numbers_at(numbers, count, 0.5);
    portrait->bright = numbers_at(numbers, count, 0.99);
    portrait->peak = numbers_at(numbers, count, 0.999);
}

static size_t border_blocks(const struct look *look, size_t *blocks)
{
    size_t count = 0;
    for (int32_t y = 0; y < look->down; y++) {
        for (int32_t x = 0; x < look->across; x++) {
            if (look_borders(look, x, y))
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

/* How far the middle one of the border's blocks is from the border's chromaticity, in the worst channel. */
static float border_spread(const struct look *look, const size_t *blocks, size_t count, const float border[3],
                           float *numbers)
{
    const float wanted = border[0] + border[1] + border[2];
    float most = 0;
    for (int c = 0; c < 3 && wanted > 0; c++) {
        for (size_t k = 0; k < count; k++) {
            const size_t i = blocks[k];
            const float sum = look->plane[0][i] + look->plane[1][i] + look->plane[2][i];
            numbers[k] = sum > 0 ? fabsf(look->plane[c][i] / sum - border[c] / wanted) : 1;
        }
        const float spread = numbers_at(numbers, count, 0.5);
        most = spread > most ? spread : most;
    }
    return most;
}

static bool like_screen(const struct look *look, size_t i, const float screen[3], float chroma)
{
    const float sum = look->plane[0][i] + look->plane[1][i] + look->plane[2][i];
    const float wanted = screen[0] + screen[1] + screen[2];
    bool like = sum < wanted * SCREEN_FACTOR && sum > wanted / SCREEN_FACTOR;
    for (int c = 0; c < 3 && like; c++)
        like = fabsf(look->plane[c][i] / sum - screen[c] / wanted) < chroma;
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
    const float wide = SCREEN_NOISE * border_spread(look, blocks, count, colour, numbers);
    const float chroma = wide < SCREEN_CHROMA ? SCREEN_CHROMA : wide > SCREEN_CHROMA_MOST ? SCREEN_CHROMA_MOST : wide;
    for (size_t i = 0; i < look_count(look); i++) {
        portrait->bare[i] = most > 0 && like_screen(look, i, colour, chroma);
        alike += portrait->bare[i];
    }
    portrait->screen = (float)alike / (float)look_count(look);
    portrait->hue = hue_of(colour);
}

/* Mean light of the blocks that are at most `reach` away. */
static float light_around(const struct look *look, int32_t x, int32_t y, int32_t reach)
{
    float sum = 0;
    int count = 0;
    for (int32_t v = y - reach; v <= y + reach; v++) {
        for (int32_t u = x - reach; u <= x + reach; u++) {
            if (u < 0 || v < 0 || u >= look->across || v >= look->down)
                continue;
            sum += look_light(look, (size_t)v * (size_t)look->across + (size_t)u);
            count++;
        }
    }
    return sum / (float)count;
}

/* In shares of the picture's own light, so that exposure does not count: how bright the bright is beside the surround.
 * Means over more blocks have less noise and lose what is small. */
static float contrast_over(const struct portrait *portrait, int32_t reach, float *numbers)
{
    const struct look *look = &portrait->look;
    const float noise = portrait->noise / (float)(2 * reach + 1);
    const float surround = portrait->surround > 0.5F * noise ? portrait->surround : 0.5F * noise;
    size_t count = 0;
    for (int32_t y = 0; y < look->down; y++) {
        for (int32_t x = 0; x < look->across; x++)
            numbers[count++] = light_around(look, x, y, reach);
    }
    const float bright = numbers_at(numbers, count, 0.99) - 2.5F * noise; /* 1 % of noise alone lies above that */
    return bright > 0 && surround > 0 ? bright / surround : 0;
}

static void measure_shape(struct portrait *portrait, float *numbers)
{
    const struct look *look = &portrait->look;
    const float noise = portrait->noise, quarter = 0.25F * (portrait->bright - 2.5F * noise);
    const float filled = quarter > 3 * noise ? quarter : 3 * noise;
    size_t count = 0;
    for (size_t i = 0; i < look_count(look); i++)
        count += look_light(look, i) > filled;
    portrait->fill = (float)count / (float)look_count(look);
    const float fine = contrast_over(portrait, 0, numbers), coarse = contrast_over(portrait, 1, numbers);
    portrait->contrast = fine > coarse ? fine : coarse;
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
        measure_shape(portrait, numbers);
    }
    memory_free(numbers);
    memory_free(blocks);
    return fine;
}

/* ---- one by one ------------------------------------------------------------------------------------------------ */

static const char *const hue_words[] = { "red", "green", "blue", "coloured" };

/* Is the border of a screen lit, in a picture that may be underexposed as a whole? */
static bool screen_lit(const struct portrait *p)
{
    return p->surround > BLACK || (p->vivid > BLACK / FAR_UNDER && p->surround > p->bright / SCREEN_RANGE);
}

bool portrait_shaped(const struct portrait *p)
{
    return p->contrast >= SHAPED;
}

bool portrait_fills(const struct portrait *p)
{
    return p->surround > p->bright / PLATE_RANGE && p->fill > FILLED;
}

static double stops_under_grey(float light)
{
    return log2(0.18 / fmax(1e-6, (double)light));
}

static void recognise_one(struct portrait *p)
{
    char why[240];
    const bool screen = p->saturation > SCREEN_SATURATION && screen_lit(p) && p->screen > SCREEN_LEAST;
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
    const bool dim = p->bright < BLACK && p->peak < 2 * BLACK;
    if (p->surround > BLACK || (p->steady && !dim && portrait_fills(p))) {
        (void)snprintf(why, sizeof why, "no dark surround: the upper borders are at %.3f, and they are no screen",
                       (double)p->surround);
        give(p, ROLE_PLATE, why);
    } else if (!p->steady) {
        (void)snprintf(why, sizeof why, "on black, and its light moves: %.0f%% of it from frame to frame",
                       100 * (double)p->change);
        give(p, ROLE_ELEMENT, why);
    } else if (dim) {
        (void)snprintf(why, sizeof why, "nothing is lit: 99%% of it lies more than %.1f stops under middle grey",
                       stops_under_grey(p->bright));
        give(p, ROLE_DARK, why);
    } else {
        (void)snprintf(why, sizeof why, "something stands lit before black, steadily: %.0f%% change over its frames",
                       100 * (double)p->change);
        give(p, ROLE_LAMP, why);
    }
}

enum passel_status portraits_recognise(struct portraits *portraits, struct passel_error *error)
{
    for (int i = 0; i < portraits->count; i++) {
        struct portrait *p = &portraits->list[i];
        if (p->look.plane[0] == NULL || !measure(p)) {
            (void)give(p, ROLE_UNREADABLE, p->problem[0] != '\0' ? p->problem : "it cannot be read");
            continue;
        }
        recognise_one(p);
    }
    RETURN_IF_ERROR(recognise_dim(portraits, error));
    recognise_pairs(portraits);
    return PASSEL_OK;
}
