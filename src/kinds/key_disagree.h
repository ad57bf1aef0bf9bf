/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Where the takes of a key do not show the same thing, because something moved or was changed between them, their
 * equations have no answer. There the cut-out is made from one take alone, the one whose screen is the clearest, and
 * the frame is told about it.
 */
#ifndef KINDS_KEY_DISAGREE_H
#define KINDS_KEY_DISAGREE_H

#include <passel/error.h>
#include <stdbool.h>

#include "base/text.h"
#include "kinds/key_hue.h"
#include "kinds/key_screens.h"
#include "numerics/between.h"

#define DISAGREE_REACH 2 /* pixels around one that are asked with it */

/* The take that is believed where takes disagree. */
struct single {
    int take; /* -1: no screen has a hue */
    struct hue hue;
};

/* `take`, or with -1 the one whose screen's hue stands out of its noise the most. */
struct single single_of(const struct screens *screens, int take);

#define AGREE 0.06F    /* an error of alpha that is let pass */
#define DISAGREE 0.12F /* one from which a single take is believed */

/* 0 … 1 for the square of the error of alpha that the takes' disagreement stands for. */
static inline float disagree_share(float square)
{
    return between((square - AGREE * AGREE) * (1 / (DISAGREE * DISAGREE - AGREE * AGREE)), 0, 1);
}

/* share[x - want.x0]: 0 where the takes agree along row y … 1 where they do not. `misfit` (plane A, over want grown by
 * DISAGREE_REACH): what the equations miss, as a variance in units of their noise's; `variance` (plane A): alpha's.
 * True when a share is above 0. */
bool disagree_row(const struct picture *misfit, const struct picture *variance, struct rect want, int32_t y,
                  float *share);

/* The cut-out of one pixel (light, as the take shows it) from its screen alone: R, G, B and A. */
void single_pixel(const struct single *single, const struct screen *screen, const float light[3], const float bare[3],
                  float cut[4]);

/* What a frame's fills found out, from any thread. */
struct disagreement;

/* `key` is the block's name; both stay. */
enum passel_status disagreement_new(struct disagreement **found, const struct takes *takes, const char *key,
                                    struct passel_error *error);
/* Notes that `take` alone made pixel (x, y) of a picture with this display window. */
void disagreement_add(struct disagreement *found, struct rect display, int32_t x, int32_t y, int take);
/* Notes what is wrong with the takes themselves: clipping, light that is not their empties'. */
void disagreement_takes(struct disagreement *found, const struct screens *screens);
/* Lines for the reader when there is anything to tell. Then frees it; NULL is fine. */
void disagreement_end(struct disagreement *found, struct text *notes);

#endif
