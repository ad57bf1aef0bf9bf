/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Where a picture is crushed: noise about black piles up at the lowest value there is, as light piles up at the highest
 * one.
 */
#ifndef SURVEY_GAUGE_LOW_H
#define SURVEY_GAUGE_LOW_H

#include "survey/parts.h"

/* One bit for each channel that is crushed in a block of a look: more than half of its pixels stand at the channel's
 * lowest value, so that its middle one does. */
struct low_map {
    int32_t across, down;
    uint8_t *channels;
};
/* While rows come by, from the top: begin, in blocks that make at most `most` across; rows; end leaves the map, for
 * low_map_release, and nothing in the run. */
struct low_run {
    int32_t across, down, block;
    float lowest[3];  /* so far */
    uint32_t *counts; /* of pixels that stand there, for each channel and block; NULL: not begun */
};
enum passel_status low_begin(int32_t width, int32_t height, int32_t most, struct low_run *run,
                             struct passel_error *error);
void low_rows(struct low_run *run, const struct picture *rows);
enum passel_status low_end(struct low_run *run, struct low_map *map, struct passel_error *error);
void low_map_release(struct low_map *map);

struct crushed_gauge {
    double share;       /* of what counts, in the worst channel; -1: not measured */
    int channel, part;  /* the worst ones; -1: none, and no part that is large enough to tell */
    float parts[PARTS]; /* shares of that channel; -1 where nothing counts */
};
/* Of the blocks of `like` that count, in the channels that are asked for. */
void gauge_crushed(const struct low_map *map, const struct look *like, const bool *counts, const bool channels[3],
                   struct crushed_gauge *gauge);

#endif
