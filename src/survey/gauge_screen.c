/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Hue is measured as the angle between colours as vectors of linear light: exposure does not change it, and a screen
 * of any hue is as good as another. A key tells a thing from its screen by that angle, for what is a share of the
 * screen cannot be told from what has the same direction; how good it must be depends on the key, so limits are
 * practice.
 */
#include "survey/gauge_screen.h"

#include <math.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"

/* The bare screen is within this share of its empty. In its shadow it keeps its hue within so many degrees, and is
 * darker than it, yet no darker than this share. */
#define BARE_WITHIN 0.15F
#define SHADOW_DEGREES 5.0F
#define SHADOW_MOST 1.15F
/* Darker than this share of the screen, a thing can hide no more of it than that, whatever its hue. */
#define HARMLESS_LIGHT 0.1F
/* A colour whose noise is a larger share of it has no hue to speak of: 0.05 are three degrees. */
#define NOISE_MOST 0.05F
/* Less subject than this is not judged; parts need so many blocks. */
enum { SUBJECT_LEAST = 64, PART_LEAST = 8 };
/* This share of the subject may lie nearer to the screen's hue than what is said. */
#define NEAREST_SHARE 0.01

void screen_gauge_clear(struct screen_gauge *gauge)
{
    *gauge = (struct screen_gauge){
        .hue = -1, .hue_both = -1, .spill = -1, .how = SPILL_NONE, .hue_part = -1, .spill_part = -1
    };
    for (int i = 0; i < PARTS; i++)
        gauge->hues[i] = gauge->spills[i] = -1;
}

/* ---- the screen -------------------------------------------------------------------------------------------------- */

static float size_of(const float colour[3])
{
    return sqrtf(colour[0] * colour[0] + colour[1] * colour[1] + colour[2] * colour[2]);
}

static void take_at(const struct look *look, size_t i, float colour[3])
{
    for (int c = 0; c < 3; c++)
        colour[c] = look->plane[c][i];
}

void screen_behind(const struct screen_view *view, size_t i, float colour[3])
{
    for (int c = 0; c < 3; c++)
        colour[c] = view->empty != NULL ? view->gain * view->empty->plane[c][i] : view->colour[c];
}

bool screen_view_settle(struct screen_view *view, const struct look *shape, const bool *bare)
{
    const struct look *take = view->take;
    const size_t room = look_count(take);
    double sums[3] = { 0 };
    size_t count = 0, ratios = 0;
    float *numbers = memory_new((room + 1) * sizeof *numbers);
    if (numbers == NULL)
        return false;
    for (size_t i = 0; i < room; i++) {
        const size_t x = (i % (size_t)take->across) * (size_t)shape->across / (size_t)take->across;
        const size_t y = (i / (size_t)take->across) * (size_t)shape->down / (size_t)take->down;
        float here[3], there[3];
        if (!bare[y * (size_t)shape->across + x])
            continue;
        take_at(take, i, here);
        for (int c = 0; c < 3; c++)
            sums[c] += (double)here[c];
        count++;
        if (view->empty == NULL)
            continue;
        take_at(view->empty, i, there);
        if (size_of(there) > 0)
            numbers[ratios++] = size_of(here) / size_of(there);
    }
    for (int c = 0; c < 3; c++)
        view->colour[c] = count > 0 ? (float)(sums[c] / (double)count) : 0;
    view->gain = ratios > 0 ? numbers_at(numbers, ratios, 0.5) : 1;
    memory_free(numbers);
    return count > 0 && size_of(view->colour) > 0;
}

static float degrees_between(const float a[3], const float b[3])
{
    const float sizes = size_of(a) * size_of(b);
    const float cosine = sizes > 0 ? (a[0] * b[0] + a[1] * b[1] + a[2] * b[2]) / sizes : 0;
    return (float)(57.29577951308232 * acos((double)(cosine < -1 ? -1 : cosine > 1 ? 1 : cosine)));
}

/* 2: the screen itself; 1: it may be the screen in a shadow. */
static int seems_screen(const struct screen_view *view, size_t i)
{
    float here[3], behind[3], apart[3];
    take_at(view->take, i, here);
    screen_behind(view, i, behind);
    for (int c = 0; c < 3; c++)
        apart[c] = here[c] - behind[c];
    const float share = size_of(here) / size_of(behind);
    if (size_of(apart) < BARE_WITHIN * size_of(behind))
        return 2;
    return share > HARMLESS_LIGHT && share < SHADOW_MOST && degrees_between(here, behind) < SHADOW_DEGREES;
}

/* Two screens cannot both have a thing's hue: what is like both of them is screen, in shadow or not. Before one,
 * shadows hang together with the bare screen. */
static void mark_screen(struct subject *subject)
{
    const size_t count = (size_t)subject->across * (size_t)subject->down;
    for (size_t i = 0; i < count; i++) {
        int like = seems_screen(&subject->views[0], i);
        if (subject->count == 2)
            like = like > 0 && seems_screen(&subject->views[1], i) > 0 ? 2 : 0;
        subject->depth[i] = (uint8_t)(like == 2 ? 0 : like == 1 ? 254 : 255);
    }
    for (bool grows = subject->count == 1; grows;) {
        grows = false;
        for (size_t i = 0; i < count; i++) {
            const size_t x = i % (size_t)subject->across;
            const bool beside =
                (x > 0 && subject->depth[i - 1] == 0) ||
                (x + 1 < (size_t)subject->across && subject->depth[i + 1] == 0) ||
                (i >= (size_t)subject->across && subject->depth[i - (size_t)subject->across] == 0) ||
                (i + (size_t)subject->across < count && subject->depth[i + (size_t)subject->across] == 0);
            if (subject->depth[i] == 254 && beside) {
                subject->depth[i] = 0;
                grows = true;
            }
        }
    }
}

/* Steps of a king, in two sweeps (A. Rosenfeld, J. Pfaltz 1966). */
static void measure_depth(struct subject *subject)
{
    const int32_t across = subject->across, down = subject->down;
    const size_t count = (size_t)across * (size_t)down;
    for (size_t i = 0; i < count; i++)
        subject->depth[i] = subject->depth[i] == 0 ? 0 : 255;
    for (int sweep = 0; sweep < 2; sweep++) {
        for (size_t n = 0; n < count; n++) {
            const size_t i = sweep == 0 ? n : count - 1 - n;
            const int32_t x = (int32_t)(i % (size_t)across), y = (int32_t)(i / (size_t)across),
                          back = sweep == 0 ? -1 : 1;
            int least = subject->depth[i];
            for (int k = -1; k <= 2; k++) {
                const int32_t u = k < 2 ? x + k : x + back, v = k < 2 ? y + back : y;
                if (u >= 0 && u < across && v >= 0 && v < down && subject->depth[v * across + u] + 1 < least)
                    least = subject->depth[v * across + u] + 1;
            }
            subject->depth[i] = (uint8_t)least;
        }
    }
}

/* ---- hue --------------------------------------------------------------------------------------------------------- */

static float hue_of(const struct screen_view *view, size_t i)
{
    float here[3], behind[3], variance = 0;
    take_at(view->take, i, here);
    screen_behind(view, i, behind);
    if (size_of(here) < HARMLESS_LIGHT * size_of(behind))
        return HUE_HARMLESS;
    for (int c = 0; c < 3; c++)
        variance += noise_variance(view->noise[c], here[c]);
    if (sqrtf(variance) / (float)view->take->block > NOISE_MOST * size_of(here))
        return HUE_UNKNOWN;
    return degrees_between(here, behind);
}

enum passel_status subject_find(const struct screen_view *views, int count, struct subject *subject,
                                struct passel_error *error)
{
    const struct look *take = views[0].take;
    const size_t blocks = look_count(take);
    *subject = (struct subject){ .count = count, .across = take->across, .down = take->down, .block = take->block };
    memcpy(subject->views, views, (size_t)count * sizeof *views);
    subject->depth = memory_new(blocks);
    subject->degrees[0] = memory_new(2 * blocks * sizeof(float));
    if (subject->depth == NULL || subject->degrees[0] == NULL) {
        subject_release(subject);
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    }
    subject->degrees[1] = subject->degrees[0] + blocks;
    mark_screen(subject);
    measure_depth(subject);
    for (size_t i = 0; i < blocks; i++) {
        const bool inside = subject->depth[i] >= SUBJECT_DEPTH;
        subject->area += inside;
        for (int k = 0; k < 2; k++)
            subject->degrees[k][i] = inside && k < count ? hue_of(&views[k], i) : HUE_UNKNOWN;
    }
    return PASSEL_OK;
}

void subject_release(struct subject *subject)
{
    memory_free(subject->depth);
    memory_free(subject->degrees[0]);
    *subject = (struct subject){ 0 };
}

/* Which part most of the blocks up to an angle are in. */
static int nearest_part(const struct subject *subject, const float *degrees, double most)
{
    int counts[PARTS] = { 0 }, found = 0;
    for (size_t i = 0; i < (size_t)subject->across * (size_t)subject->down; i++) {
        if (degrees[i] >= 0 && (double)degrees[i] <= most)
            counts[part_of(subject->views[0].take, i)]++;
    }
    for (int i = 1; i < PARTS; i++)
        found = counts[i] > counts[found] ? i : found;
    return found;
}

static double nearest(const struct subject *subject, const float *degrees, float *numbers)
{
    size_t count = 0;
    for (size_t i = 0; i < (size_t)subject->across * (size_t)subject->down; i++) {
        if (degrees[i] >= 0)
            numbers[count++] = degrees[i];
    }
    const double found = (double)numbers_at(numbers, count, NEAREST_SHARE);
    return count >= SUBJECT_LEAST && found < HUE_HARMLESS ? found : -1;
}

static void find_middles(const struct subject *subject, const float *degrees, float *numbers, float hues[PARTS])
{
    for (int part = 0; part < PARTS; part++) {
        size_t count = 0;
        for (size_t i = 0; i < (size_t)subject->across * (size_t)subject->down; i++) {
            if (degrees[i] >= 0 && degrees[i] < HUE_HARMLESS && part_of(subject->views[0].take, i) == part)
                numbers[count++] = degrees[i];
        }
        hues[part] = count >= PART_LEAST ? numbers_at(numbers, count, 0.5) : -1;
    }
}

enum passel_status gauge_hue(const struct subject *subject, struct screen_gauge *const gauges[2],
                             struct passel_error *error)
{
    const size_t blocks = (size_t)subject->across * (size_t)subject->down;
    float *numbers = memory_new(2 * blocks * sizeof *numbers), *both = numbers + blocks;
    if (numbers == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int k = 0; k < subject->count; k++) {
        gauges[k]->hue = nearest(subject, subject->degrees[k], numbers);
        gauges[k]->hue_part = nearest_part(subject, subject->degrees[k], gauges[k]->hue);
        find_middles(subject, subject->degrees[k], numbers, gauges[k]->hues);
    }
    for (size_t i = 0; i < blocks; i++) {
        const float first = subject->degrees[0][i], second = subject->degrees[1][i];
        both[i] = first < 0 || second < 0 ? HUE_UNKNOWN : first > second ? first : second;
    }
    if (subject->count == 2)
        gauges[0]->hue_both = gauges[1]->hue_both = nearest(subject, both, numbers);
    memory_free(numbers);
    return PASSEL_OK;
}
