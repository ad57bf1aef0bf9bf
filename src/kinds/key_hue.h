/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * How much of a screen's colour is in a pixel, for a screen of any hue. Colour is split into grey and chroma; chroma
 * into a part along the screen's and a part across it. For a pure green screen the measure below is the classic
 * "green minus the larger of red and blue", for other hues it is the same wedge, turned.
 */
#ifndef KINDS_KEY_HUE_H
#define KINDS_KEY_HUE_H

#include <math.h>
#include <stdbool.h>

#include "numerics/cells.h"

struct hue {
    float axis[3];   /* unit, sums to 0: the direction of the screen's chroma */
    float across[3]; /* unit, sums to 0, square to the axis */
    float strip[3];  /* what despill takes away per unit of excess: no channel is raised */
};

/* False when the colour is grey. */
bool hue_of(const float colour[3], struct hue *hue);

#define HUE_WEDGE 0.57735027F /* 1 / sqrt(3): the slope of "minus the larger of the others" */

/* How much of the screen's hue: along its axis, less the wedge across. Noise of sigma makes no wedge. */
static inline float hue_share(const struct hue *hue, float r, float g, float b, float sigma)
{
    const float along = r * hue->axis[0] + g * hue->axis[1] + b * hue->axis[2];
    const float over = fabsf(r * hue->across[0] + g * hue->across[1] + b * hue->across[2]);
    return along - HUE_WEDGE * over * over / (over + 2 * sigma + 1e-6F);
}

/* score[i] = how much screen is in cell i's value. Without a colour the screen's hue is the one that most flat,
 * saturated cells share. */
void hue_score(const struct cells *cells, const float colour[3], float *score);

#endif
