/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include <math.h>

#include "base/memory.h"
#include "survey/gauge.h"
#include "survey/portrait.h"

/* A tile is lit when its light is well above what leaks in: more than this. */
#define LIT 0.008F
/* A row of tiles counts when so many are lit; with fewer rows in all there is nothing to say. */
enum { BAND_TILES = 6, BAND_ROWS = 8 };

/* How much brighter frame b is than its neighbours' mean, as a logarithm: the median over the tiles that are lit in all
 * three, so that what moves or turns in a part of the picture does not count. */
static double apart(const struct frame_gauge *a, const struct frame_gauge *b, const struct frame_gauge *c)
{
    float steps[TILES];
    size_t count = 0;
    for (int i = 0; i < TILES; i++) {
        if (a->tiles[i] > LIT && b->tiles[i] > LIT && c->tiles[i] > LIT)
            steps[count++] = logf(b->tiles[i] / sqrtf(a->tiles[i] * c->tiles[i]));
    }
    return count >= 4 ? (double)numbers_at(steps, count, 0.5) : 0;
}

static bool comparable(const struct frame_gauge *a, const struct frame_gauge *b)
{
    return a->status == PASSEL_OK && b->status == PASSEL_OK && a->width == b->width && a->height == b->height;
}

double gauge_step(const struct frame_gauge *frames, int count, int i)
{
    if (i < 1 || i + 1 >= count || !comparable(&frames[i - 1], &frames[i]) || !comparable(&frames[i], &frames[i + 1]))
        return 0;
    return apart(&frames[i - 1], &frames[i], &frames[i + 1]);
}

/* Independent changes of deviation s make 1.5 s² of the squares. */
double gauge_flicker(const struct frame_gauge *frames, int count)
{
    double squares = 0;
    int places = 0;
    for (int i = 1; i + 1 < count; i++) {
        if (!comparable(&frames[i - 1], &frames[i]) || !comparable(&frames[i], &frames[i + 1]))
            continue;
        const double step = gauge_step(frames, count, i);
        squares += step * step;
        places++;
    }
    return places >= 2 ? sqrt(squares / places / 1.5) : -1;
}

/* How far the rows of tiles change against each other from frame to frame: squares of their steps, less the step of
 * all. */
static double band_squares(const struct frame_gauge *a, const struct frame_gauge *b, const struct frame_gauge *c,
                           int *rows)
{
    const double all = apart(a, b, c);
    double squares = 0;
    for (int y = 0; y < TILES_DOWN; y++) {
        float steps[TILES_ACROSS];
        size_t count = 0;
        for (int i = y * TILES_ACROSS; i < (y + 1) * TILES_ACROSS; i++) {
            if (a->tiles[i] > LIT && b->tiles[i] > LIT && c->tiles[i] > LIT)
                steps[count++] = logf(b->tiles[i] / sqrtf(a->tiles[i] * c->tiles[i]));
        }
        if (count < BAND_TILES)
            continue;
        const double step = (double)numbers_at(steps, count, 0.5) - all;
        squares += step * step;
        (*rows)++;
    }
    return squares;
}

double gauge_bands(const struct frame_gauge *frames, int count)
{
    double squares = 0;
    int rows = 0;
    for (int i = 1; i + 1 < count; i++) {
        if (comparable(&frames[i - 1], &frames[i]) && comparable(&frames[i], &frames[i + 1]))
            squares += band_squares(&frames[i - 1], &frames[i], &frames[i + 1], &rows);
    }
    return rows >= BAND_ROWS ? sqrt(squares / rows / 1.5) : -1;
}

double gauge_wander(const struct frame_gauge *frames, int count)
{
    double least = INFINITY, most = 0;
    int places = 0;
    for (int i = 0; i < count; i++) {
        if (frames[i].status != PASSEL_OK)
            continue;
        least = fmin(least, (double)frames[i].light);
        most = fmax(most, (double)frames[i].light);
        places++;
    }
    return places >= 2 && least > 0 ? most / least - 1 : -1;
}

double gauge_evenness(const struct portrait *portrait)
{
    const struct look *look = &portrait->look;
    const int channel = portrait->hue >= HUE_RED && portrait->hue <= HUE_BLUE ? (int)portrait->hue : 1;
    float *numbers = memory_new(look_count(look) * sizeof *numbers);
    size_t count = 0;
    if (numbers == NULL)
        return -1;
    for (size_t i = 0; i < look_count(look); i++) {
        if (portrait->bare[i] || portrait->role == ROLE_EMPTY)
            numbers[count++] = look->plane[channel][i];
    }
    const float high = numbers_at(numbers, count, 0.99), low = numbers_at(numbers, count, 0.01);
    memory_free(numbers);
    return count > 16 && low > 0 ? log2((double)high / (double)low) : -1;
}

/* Light of a block that is less than so many deviations of its noise counts as none. */
#define OWN_LEAST 3.0F

/* How much of the dark pass is in this one: less than all of it when it is underexposed. */
static double share_of_dark(const struct portrait *portrait, const struct portrait *dark)
{
    const float own = portrait->surround > 0 ? portrait->surround : 0;
    return dark->surround > own ? (double)own / (double)dark->surround : 1;
}

double gauge_light_over_noise(const struct portrait *portrait, const struct portrait *dark, const struct noise noise[3])
{
    const struct look *look = &portrait->look;
    const double share = dark != NULL ? share_of_dark(portrait, dark) : 0;
    double sum = 0, squares = 0;
    for (size_t i = 0; i < look_count(look); i++) {
        const double below = dark != NULL ? share * (double)dark->look.plane[1][i] : 0;
        const double light = (double)look->plane[1][i] - below;
        if (light < (double)(OWN_LEAST * portrait->noise))
            continue;
        sum += light;
        squares += light * light;
    }
    if (sum <= 0)
        return -1;
    return squares / sum / sqrt((double)noise_variance(noise[1], (float)(squares / sum)));
}
