/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What is measured on every frame of a pass.
 */
#ifndef SURVEY_FRAME_GAUGE_H
#define SURVEY_FRAME_GAUGE_H

#include <passel/error.h>
#include <stdint.h>

/* Tiles of a frame's light, for flicker and bands. */
enum { TILES_ACROSS = 24, TILES_DOWN = 14, TILES = TILES_ACROSS * TILES_DOWN };

struct frame_gauge {
    enum passel_status status;
    char problem[160];
    int32_t width, height;
    uint64_t digest; /* of the pixels */
    uint64_t no_numbers;
    float clipped[3]; /* share of the picture that stands at its largest value; per channel */
    float crushed[3]; /* at exactly 0 or below, when nothing lies lower */
    float light;      /* mean */
    float tiles[TILES];
    float levels[3];       /* light: 1, 50, 99 % of its pixels lie below */
    uint8_t at_top[TILES]; /* how much of each tile is clipped in a channel, in 1/255; any of it is 1 at least */
};

#endif
