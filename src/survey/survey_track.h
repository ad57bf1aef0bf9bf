/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * How far a picture moved against another one of the same pass, lit alike: by least squares over small tiles.
 */
#ifndef SURVEY_SURVEY_TRACK_H
#define SURVEY_SURVEY_TRACK_H

#include <stdbool.h>
#include <stdint.h>

/* Where `moved` went against `fixed`, right and down, in their pixels; both `across` * `down`. In each tile a gain and
 * an offset of the light are free, so lamps that flicker in part of the picture do no harm; tiles in which something
 * else happens count little. False when there is nothing to hold on to. */
bool track_shift(const float *fixed, const float *moved, int32_t across, int32_t down, double *dx, double *dy);

#endif
