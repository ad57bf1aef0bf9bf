/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Black that nothing stands in may be as black as it likes: only what some lamp lights counts, or what stands before a
 * screen. Lights-off passes and elements on black are left alone, and pictures without noise, that have none to lose.
 */
#include "survey/survey_crushed.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"

/* A block is lit from here on. A picture has noise when it deviates by so much at this level. */
#define LIT 0.008F
#define NOISE_LEVEL 0.1F
#define NOISE_LEAST 3e-4F

static bool is_lamp(const struct portrait *p)
{
    return p->role == ROLE_LAMP || p->role == ROLE_ALL_LAMPS;
}

/* What counts for a pass. */
static void mark(const struct survey *survey, const struct portrait *pass, bool *counts)
{
    const size_t blocks = look_count(&pass->look);
    for (size_t i = 0; i < blocks; i++)
        counts[i] = pass->role == ROLE_SCREEN && !pass->bare[i];
    for (int k = 0; k < survey->count && is_lamp(pass); k++) {
        const struct portrait *lamp = survey->passes[k].portrait;
        if (!is_lamp(lamp) || lamp->apart || lamp->look.across != pass->look.across ||
            lamp->look.down != pass->look.down)
            continue;
        for (size_t i = 0; i < blocks; i++)
            counts[i] = counts[i] || look_light(&lamp->look, i) > LIT;
    }
}

static enum passel_status measure(const struct survey *survey, struct pass_gauge *pass, struct passel_error *error)
{
    const struct portrait *portrait = pass->portrait;
    const struct sight *sights = portrait->clip->sights;
    bool noisy[3];
    if ((portrait->role != ROLE_SCREEN && (!is_lamp(portrait) || portrait->apart)) || portrait->look.plane[0] == NULL ||
        portrait->bare == NULL)
        return PASSEL_OK;
    bool *counts = memory_zeros(look_count(&portrait->look), sizeof *counts);
    if (counts == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    mark(survey, portrait, counts);
    for (int c = 0; c < 3; c++)
        noisy[c] = sqrtf(noise_variance(pass->noise[c], NOISE_LEVEL)) > NOISE_LEAST;
    for (int i = 0; i < portrait->clip->sight_count; i++) {
        if (sights[i].low.channels != NULL)
            gauge_crushed(&sights[i].low, &portrait->look, counts, noisy, &pass->crushed);
    }
    memory_free(counts);
    return PASSEL_OK;
}

enum passel_status survey_crushed(struct survey *survey, struct passel_error *error)
{
    for (int i = 0; i < survey->count; i++)
        RETURN_IF_ERROR(measure(survey, &survey->passes[i], error));
    return PASSEL_OK;
}

void judge_crushed(struct survey *survey, int index)
{
    static const char *const names[] = { "red", "green", "blue" };
    const struct crushed_gauge *crushed = &survey->passes[index].crushed;
    char where[160], name[PART_NAME];
    if (crushed->channel < 0)
        return;
    const int length = snprintf(where, sizeof where, "%s", names[crushed->channel]);
    if (crushed->part >= 0)
        (void)snprintf(where + length, sizeof where - (size_t)length, ", worst in the %s",
                       part_name(crushed->part, name));
    survey_judge(survey, LIMIT_CRUSHED, index, 100 * crushed->share, where);
}
