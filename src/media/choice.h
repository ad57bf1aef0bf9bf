/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Which samples of a pixel become which planes, for formats whose pixels are grey or R, G, B with or without A.
 */
#ifndef MEDIA_CHOICE_H
#define MEDIA_CHOICE_H

#include <passel/error.h>
#include <stdbool.h>
#include <stddef.h>

#include "media/media.h"

struct channel_choice {
    int source[PLANE_COUNT]; /* place of the sample in the pixel; -1: there is none, the plane reads as 1 */
};

/* Names the channels in info (R, G, B or Y, then A), sets info->planes and info->alpha and finds the samples of what
 * was asked for: everything; one channel of colour, as a grey picture; A, as a matte. Refuses another part than "0". */
enum passel_status channels_choose(const struct media_choice *choice, bool colour, enum alpha_form alpha,
                                   struct media_info *info, struct channel_choice *channels,
                                   struct passel_error *error);

/* Spreads `pixels` pixels of `per_pixel` samples over the planes of row y, from column x on. */
void channels_deliver(const struct channel_choice *channels, const float *samples, size_t per_pixel,
                      const struct picture *out, int32_t y, int32_t x, size_t pixels);

#endif
