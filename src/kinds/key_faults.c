/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A clipped channel has no noise: half of a cell's pixels or more show one and the same value, and many cells the same
 * one. What has the screen's own hue, and is not bare, is see-through to any key from one screen.
 */
#include "kinds/key_faults.h"

#include <math.h>
#include <stdatomic.h>

#include "base/error.h"
#include "base/memory.h"
#include "kinds/key_hue.h"
#include "kinds/shot.h"
#include "numerics/between.h"

#define CLIPPED 0.03F     /* of the take, from which it is told */
#define SAME 0.001F       /* values that are one and the same, relative */
#define CLIP_LEAST 0.2F   /* darker than this nothing clips */
#define SEE_FROM 0.3F     /* of the screen's hue: less is spill, */
#define SEE_TO 0.8F       /* and more is bare */
#define SEE_THROUGH 0.6F  /* of what stands before the screen, from which it is told */
#define FRONT_LEAST 0.02F /* of the take: less than this stands before the screen */
#define LEVEL_OFF 0.08F   /* a lamp drifts by less */

static float brightest(const struct cells *look, int32_t cell, int *channel)
{
    *channel = look->value[1][cell] > look->value[0][cell] ? 1 : 0;
    if (look->value[2][cell] > look->value[*channel][cell])
        *channel = 2;
    return look->value[*channel][cell];
}

/* No noise in its brightest channel, though there is some in another: so an even picture without noise is not taken for
 * a clip. */
static bool stands_still(const struct cells *look, int32_t cell, int channel)
{
    const int other = (channel + 1) % 3, another = (channel + 2) % 3;
    return look->spread[channel][cell] <= 0 && look->spread[other][cell] + look->spread[another][cell] > 0;
}

static int channel_of_most(const struct cells *look)
{
    float sum[3] = { 0 };
    for (int c = 0; c < 3; c++) {
        for (int32_t i = 0; i < look->width * look->height; i++)
            sum[c] += look->value[c][i];
    }
    const int first = sum[1] > sum[0] ? 1 : 0;
    return sum[2] > sum[first] ? 2 : first;
}

void faults_clipped(const struct cells *look, struct faults *faults)
{
    const int32_t count = look->width * look->height;
    float most = 0;
    int channel, clipped = 0;
    faults->channel = channel_of_most(look);
    for (int32_t i = 0; i < count; i++) {
        const float value = brightest(look, i, &channel);
        if (value > most && channel == faults->channel && stands_still(look, i, channel))
            most = value;
    }
    for (int32_t i = 0; i < count && most >= CLIP_LEAST; i++) {
        const float value = brightest(look, i, &channel);
        clipped += value >= (1 - SAME) * most && channel == faults->channel && stands_still(look, i, channel);
    }
    faults->clipped = (float)clipped / (float)count;
    faults->clip_level = most;
}

static float share_of_hue(const struct hue *hue, float *const planes[3], int32_t cell)
{
    return hue_share(hue, planes[0][cell], planes[1][cell], planes[2][cell], 0);
}

void faults_see_through(const struct cells *look, struct faults *faults)
{
    const int32_t count = look->width * look->height;
    float mean[3] = { 0 };
    struct hue hue;
    int see = 0, solid = 0;
    for (int c = 0; c < 3; c++) {
        for (int32_t i = 0; i < count; i++)
            mean[c] += look->spread[c][i] / (float)count;
    }
    const float most = larger(larger(mean[0], mean[1]), larger(mean[2], 1e-6F));
    if (!hue_of((const float[]){ mean[0] / most, mean[1] / most, mean[2] / most }, &hue))
        return;
    for (int32_t i = 0; i < count; i++) {
        const float share = share_of_hue(&hue, look->value, i) / larger(share_of_hue(&hue, look->spread, i), 1e-4F);
        if (look->weight[i] > 0 || share >= SEE_TO)
            continue;
        see += share > SEE_FROM;
        solid += share <= SEE_FROM;
    }
    if ((float)(see + solid) >= FRONT_LEAST * (float)count)
        faults->see_through = (float)see / (float)(see + solid);
}

void faults_tell(const struct faults *faults, const char *block, const char *take, const char *empty,
                 struct text *notes)
{
    static const char *const channels[3] = { "red", "green", "blue" };
    if (faults->clipped > CLIPPED)
        text_print(notes,
                   "%s: the screen is clipped: %s of %s stands at %.3g in %.0f%% of the picture, where edges will be "
                   "hard and colours wrong; expose the screen lower, or light it less\n",
                   block, channels[faults->channel], take, (double)faults->clip_level, 100 * (double)faults->clipped);
    if (faults->see_through > SEE_THROUGH)
        text_print(notes,
                   "%s: %.0f%% of what stands before the screen in %s has the screen's own hue and will be "
                   "see-through; if it is no smoke, film it before another colour, add a second screen (`key "
                   "two-screen`) or name a `core`\n",
                   block, 100 * (double)faults->see_through, take);
    if (faults->unlike)
        text_print(notes,
                   "%s: nowhere does %s look like %s, its empty: it was taken as it is; film the empty again under "
                   "the same light, or leave it out\n",
                   block, take, empty != NULL ? empty : "");
    else if (fabsf(faults->level - 1) > LEVEL_OFF)
        text_print(notes, "%s: %s is %.0f%% %s than its empty, which was corrected: was a lamp changed?\n", block, take,
                   fabs(100 * (double)(faults->level - 1)), faults->level > 1 ? "brighter" : "darker");
}

/* ---- telling ----------------------------------------------------------------------------------------------------- */

struct tale {
    const char *block, *take, *empty;
    atomic_flag told;
    bool has;
    struct faults faults;
};

enum passel_status faults_open(const struct at *at, const struct value *take, const struct value *empty, void **state,
                               struct passel_error *error)
{
    struct tale *tale = memory_zeros(1, sizeof *tale);
    if (tale == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    tale->block = at->block->name;
    tale->take = take->text;
    tale->empty = empty != NULL ? empty->text : NULL;
    atomic_flag_clear(&tale->told);
    *state = tale;
    return PASSEL_OK;
}

void faults_close(void *state, struct text *notes)
{
    const struct tale *tale = state;
    if (tale != NULL && tale->has && notes != NULL)
        faults_tell(&tale->faults, tale->block, tale->take, tale->empty, notes);
    memory_free(state);
}

bool faults_looked_at(const struct at *at)
{
    bool looked = false;
    for (int k = 0; k < shot_looks(at->shot, FAULTS_LOOKS); k++)
        looked = looked || shot_look(at->shot, FAULTS_LOOKS, k) == at->frame;
    return looked;
}

void faults_note(const struct at *at, const struct faults *faults)
{
    struct tale *tale = at->state;
    if (tale == NULL || !faults_looked_at(at) || atomic_flag_test_and_set(&tale->told))
        return;
    tale->faults = *faults;
    tale->has = true;
}
