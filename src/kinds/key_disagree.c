/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What the equations miss is measured over a window, and counts by the error of alpha that it stands for: a little
 * more light in one take is no reason to throw the other one away, a thing that is in another place is.
 *
 * Found places are marked in a coarse grid of bits: strips that overlap mark the same bits, so nothing counts twice
 * and no lock is needed.
 */
#include "kinds/key_disagree.h"

#include <math.h>
#include <stdatomic.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "numerics/between.h"

#define SIDE (2 * DISAGREE_REACH + 1)
#define SOLID_SIGMAS 2.0F
#define SAMPLES 8      /* along a side: where a screen's colour is asked */
#define GRID 64        /* cells along a side */
#define LEVEL_TOLD 1.0 /* % that a take's light is off its empty's before it is told */

/* ---- one take alone -------------------------------------------------------------------------------------------- */

static float share_of(const struct hue *hue, const float light[3])
{
    return hue_share(hue, light[0], light[1], light[2], 0);
}

static float share_sigma(const struct single *single, const struct screen *screen, const float light[3])
{
    float variance = 0;
    for (int c = 0; c < 3; c++)
        variance += single->hue.axis[c] * single->hue.axis[c] * noise_variance(screen->noise[c], light[c]);
    return sqrtf(variance);
}

static void mean_colour(const struct picture *field, float mean[3])
{
    const int32_t width = rect_width(field->area), height = rect_height(field->area);
    memset(mean, 0, 3 * sizeof *mean);
    for (int32_t k = 0; k < SAMPLES * SAMPLES; k++) {
        const int32_t x = (2 * (k % SAMPLES) + 1) * width / (2 * SAMPLES);
        const int32_t y = (2 * (k / SAMPLES) + 1) * height / (2 * SAMPLES);
        for (int c = 0; c < 3; c++)
            mean[c] += picture_row(field, (enum plane)c, field->area.y0 + y)[x] * (1.0F / (SAMPLES * SAMPLES));
    }
}

struct single single_of(const struct screens *screens, int take)
{
    struct single best = { .take = -1 };
    float clearest = 0;
    for (int i = 0; i < screens->count; i++) {
        const struct screen *screen = &screens->screen[i];
        struct single single = { .take = i };
        float mean[3];
        if (take >= 0 && take != i)
            continue;
        mean_colour(&screen->field, mean);
        if (!hue_of(mean, &single.hue))
            continue;
        const float clear = share_of(&single.hue, mean) / share_sigma(&single, screen, mean);
        if (clear > clearest) {
            clearest = clear;
            best = single;
        }
    }
    return best;
}

void single_pixel(const struct single *single, const struct screen *screen, const float light[3], const float bare[3],
                  float cut[4])
{
    const float share = share_of(&single->hue, light), whole = larger(share_of(&single->hue, bare), 1e-4F);
    const float t = share < SOLID_SIGMAS * share_sigma(single, screen, light) ? 0 : between(share / whole, 0, 1);
    for (int c = 0; c < 3; c++)
        cut[c] = light[c] - t * bare[c];
    const float spill = larger(share_of(&single->hue, cut), 0);
    for (int c = 0; c < 3; c++)
        cut[c] -= spill * single->hue.strip[c];
    cut[3] = 1 - t;
}

/* ---- where takes disagree -------------------------------------------------------------------------------------- */

bool disagree_row(const struct picture *misfit, const struct picture *variance, struct rect want, int32_t y,
                  float *share)
{
    const int32_t count = rect_width(want);
    const float *own = picture_row(variance, PLANE_A, y) + (want.x0 - variance->area.x0);
    float most = 0;
    memset(share, 0, (size_t)count * sizeof *share);
    for (int32_t k = -DISAGREE_REACH; k <= DISAGREE_REACH; k++) {
        const float *restrict row = picture_row(misfit, PLANE_A, y + k) + (want.x0 - DISAGREE_REACH - misfit->area.x0);
        for (int32_t x = 0; x < count; x++)
            share[x] += (row[x] + row[x + 4]) + (row[x + 1] + row[x + 3]) + row[x + 2];
    }
    for (int32_t x = 0; x < count; x++) {
        share[x] = disagree_share(share[x] * own[x] * (1.0F / (SIDE * SIDE)));
        most = larger(most, share[x]);
    }
    return most > 0;
}

/* ---- telling --------------------------------------------------------------------------------------------------- */

struct disagreement {
    atomic_ullong row[GRID]; /* a bit per cell */
    atomic_int edge[4];      /* the display window */
    atomic_int take;         /* that is believed: always the same one */
    atomic_flag takes_noted;
    struct faults faults[SCREEN_LIMIT];
    float level[SCREEN_LIMIT]; /* take over empty in the screen's brightest channel; 0: not noted */
    const struct takes *takes;
    const char *key;
};

enum passel_status disagreement_new(struct disagreement **found, const struct takes *takes, const char *key,
                                    struct passel_error *error)
{
    *found = memory_zeros(1, sizeof **found);
    if (*found == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    (*found)->takes = takes;
    (*found)->key = key;
    atomic_flag_clear(&(*found)->takes_noted);
    return PASSEL_OK;
}

void disagreement_add(struct disagreement *found, struct rect display, int32_t x, int32_t y, int take)
{
    if (!rect_holds(display, rect_of(x, y, x + 1, y + 1)))
        return;
    const int64_t across = ((int64_t)x - display.x0) * GRID / rect_width(display);
    const int64_t down = ((int64_t)y - display.y0) * GRID / rect_height(display);
    const int edges[4] = { display.x0, display.y0, display.x1, display.y1 };
    for (int i = 0; i < 4; i++)
        atomic_store_explicit(&found->edge[i], edges[i], memory_order_relaxed);
    atomic_store_explicit(&found->take, take, memory_order_relaxed);
    atomic_fetch_or_explicit(&found->row[down], 1ULL << across, memory_order_relaxed);
}

/* The cells' bounds, right and lower ones excluded; how many are marked. */
static int marked(struct disagreement *found, struct rect *bounds)
{
    int count = 0;
    *bounds = rect_of(GRID, GRID, 0, 0);
    for (int j = 0; j < GRID; j++) {
        const unsigned long long row = atomic_load(&found->row[j]);
        for (int i = 0; i < GRID; i++) {
            if ((row >> i & 1) == 0)
                continue;
            count++;
            bounds->x0 = i < bounds->x0 ? i : bounds->x0;
            bounds->y0 = j < bounds->y0 ? j : bounds->y0;
            bounds->x1 = i + 1 > bounds->x1 ? i + 1 : bounds->x1;
            bounds->y1 = j + 1;
        }
    }
    return count;
}

void disagreement_takes(struct disagreement *found, const struct screens *screens)
{
    if (found == NULL || atomic_flag_test_and_set(&found->takes_noted))
        return;
    for (int i = 0; i < screens->count; i++) {
        float mean[3];
        found->faults[i] = screens->faults[i];
        mean_colour(&screens->screen[i].field, mean);
        const int first = mean[1] > mean[0] ? 1 : 0;
        found->level[i] = screens->screen[i].level[mean[2] > mean[first] ? 2 : first];
    }
}

static void tell_takes(const struct disagreement *found, struct text *notes)
{
    for (int i = 0; i < found->takes->count; i++) {
        if (found->level[i] > 0)
            faults_tell(&found->faults[i], found->key, found->takes->take[i].on->text, NULL, notes);
        const double off = 100 * ((double)found->level[i] - 1);
        if (found->level[i] > 0 && found->takes->take[i].empty != NULL && fabs(off) > LEVEL_TOLD)
            text_print(
                notes,
                "%s: the screen in %s is %.1f%% %s than its empty, which was brought to that level; if the light "
                "on the set changed as much, the takes do not agree any more\n",
                found->key, found->takes->take[i].on->text, fabs(off), off > 0 ? "brighter" : "darker");
    }
}

void disagreement_end(struct disagreement *found, struct text *notes)
{
    struct rect cells;
    if (found == NULL)
        return;
    const int count = marked(found, &cells);
    if (count > 0 && notes != NULL) {
        const int x0 = atomic_load(&found->edge[0]), y0 = atomic_load(&found->edge[1]);
        const int width = atomic_load(&found->edge[2]) - x0, height = atomic_load(&found->edge[3]) - y0;
        text_print(
            notes,
            "%s: the takes do not show the same thing at x %d to %d, y %d to %d (some %.1f%% of the picture): "
            "something "
            "moved, or was lit differently; the cut-out there is from %s alone. Look at %s.quality, and film that "
            "take again or give the thing a key of its own\n",
            found->key, x0 + cells.x0 * width / GRID, x0 + (cells.x1 * width + GRID - 1) / GRID - 1,
            y0 + cells.y0 * height / GRID, y0 + (cells.y1 * height + GRID - 1) / GRID - 1,
            100.0 * count / (GRID * GRID), found->takes->take[atomic_load(&found->take)].on->text, found->key);
    }
    if (notes != NULL)
        tell_takes(found, notes);
    memory_free(found);
}
