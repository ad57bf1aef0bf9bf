/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The chroma plane is the plane r + g + b = 0.
 */
#include "kinds/key_hue.h"
#include "numerics/between.h"

#include <math.h>
#include <string.h>

#define SECTORS 24
#define GREYEST 0.1F /* of its brightest channel: a screen shows more of its hue */
#define NARROW 3.0F  /* a cell votes for a sector when its chroma is this much longer along it than across */

static float dot(const float a[3], const float b[3])
{
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

static void hue_from_axis(struct hue *hue)
{
    const float *axis = hue->axis;
    hue->across[0] = (axis[1] - axis[2]) * HUE_WEDGE;
    hue->across[1] = (axis[2] - axis[0]) * HUE_WEDGE;
    hue->across[2] = (axis[0] - axis[1]) * HUE_WEDGE;
    const float least = smaller(smaller(axis[0], axis[1]), axis[2]);
    for (int c = 0; c < 3; c++)
        hue->strip[c] = axis[c] - least;
    const float along = dot(hue->strip, axis);
    for (int c = 0; c < 3; c++)
        hue->strip[c] /= along;
}

bool hue_of(const float colour[3], struct hue *hue)
{
    const float grey = (colour[0] + colour[1] + colour[2]) / 3;
    float chroma[3];
    for (int c = 0; c < 3; c++)
        chroma[c] = colour[c] - grey;
    const float length = sqrtf(dot(chroma, chroma));
    if (!(length > 1e-4F))
        return false;
    for (int c = 0; c < 3; c++)
        hue->axis[c] = chroma[c] / length;
    hue_from_axis(hue);
    return true;
}

static void cell_colour(const struct cells *cells, int32_t cell, float colour[3])
{
    for (int c = 0; c < 3; c++)
        colour[c] = cells->value[c][cell];
}

/* Votes of cells for a hue: their saturation along it, less what lies across; flat cells count in full. */
static float hue_votes(const struct cells *cells, const struct hue *hue, float mean[3])
{
    float votes = 0;
    memset(mean, 0, 3 * sizeof *mean);
    for (int32_t i = 0; i < cells->width * cells->height; i++) {
        float colour[3];
        cell_colour(cells, i, colour);
        const float bright = larger(larger(colour[0], colour[1]), larger(colour[2], 1e-3F));
        const float along = dot(colour, hue->axis), over = fabsf(dot(colour, hue->across));
        const float spread = cells->spread[0][i] + cells->spread[1][i] + cells->spread[2][i];
        const float vote = larger(along - NARROW * over, 0) / (bright + 8 * spread);
        votes += vote;
        for (int c = 0; c < 3; c++)
            mean[c] += vote * colour[c];
    }
    return votes;
}

/* Directions 15 degrees apart in the chroma plane, by turning the one before. */
static bool find_hue(const struct cells *cells, struct hue *best)
{
    const float cosine = 0.96592583F, sine = 0.25881905F;
    float most = 0, mean[3], best_mean[3] = { 0 };
    struct hue hue = { .axis = { 0.70710678F, -0.70710678F, 0 } };
    for (int i = 0; i < SECTORS; i++) {
        hue_from_axis(&hue);
        const float votes = hue_votes(cells, &hue, mean);
        if (votes > most) {
            most = votes;
            memcpy(best_mean, mean, sizeof mean);
        }
        for (int c = 0; c < 3; c++)
            hue.axis[c] = cosine * hue.axis[c] + sine * hue.across[c];
    }
    if (!(most > 0))
        return false;
    for (int c = 0; c < 3; c++)
        best_mean[c] /= most;
    return hue_of(best_mean, best);
}

void hue_score(const struct cells *cells, const float colour[3], float *score)
{
    struct hue hue;
    const int32_t count = cells->width * cells->height;
    const bool coloured = colour != NULL ? hue_of(colour, &hue) : find_hue(cells, &hue);
    for (int32_t i = 0; i < count; i++) {
        float value[3];
        cell_colour(cells, i, value);
        const float share = coloured ? dot(value, hue.axis) - HUE_WEDGE * fabsf(dot(value, hue.across)) : 0;
        score[i] = share > GREYEST * larger(larger(value[0], value[1]), value[2]) ? share : 0;
    }
}
