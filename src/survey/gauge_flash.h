/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Does a pass, shown as it is, flash so that it can harm (numerics/flash_limits.h)? Each frame leaves a grid when it is
 * read; the grids come in any order and are judged in that of the frames, so that few of them wait at a time.
 */
#ifndef SURVEY_GAUGE_FLASH_H
#define SURVEY_GAUGE_FLASH_H

#include "base/text.h"
#include "numerics/flash_watch.h"
#include "survey/reading.h"

/* Who says how many frames make a second. */
enum rate_from { RATE_OF_PASS, RATE_OF_SHOT, RATE_ASSUMED };

struct flash_gauge {
    double share; /* the largest part of the picture that flashes too often at once; -1: not measured */
    double rate;
    enum rate_from from;
    struct flash_stretch *stretches; /* beyond the limit, in the order of the frames */
    int stretch_count;
    /* while frames come in */
    const int32_t *numbers; /* of the frames, or NULL: from 1 */
    int frames, left;
    bool known; /* what one of them shows */
    double area;
    struct flash_watch *watch;
};

/* The first rate that is above 0; `area` is the share of the picture that may flash. `numbers` outlives the gauge. For
 * flash_gauge_release. */
struct flash_gauge flash_gauge_of(const int32_t *numbers, int frames, double pass_rate, double shot_rate, double area);
void flash_gauge_release(struct flash_gauge *gauge);

/* For the rows of a frame (flash_view_strip), to make its grid of; NULL without an error when the picture is too small
 * to be judged. For flash_view_free. */
enum passel_status flash_gauge_view(const struct reading *reading, struct flash_view **view,
                                    struct passel_error *error);
/* Every frame once, in any order; takes the grid over, which is NULL when the frame is not known. Not from two threads
 * at once. */
enum passel_status flash_gauge_put(struct flash_gauge *gauge, int index, struct flash_grid *grid,
                                   struct passel_error *error);

/* "at the shot's 24 frames a second; frames 1004 to 1048" */
void flash_gauge_where(const struct flash_gauge *gauge, struct text *text);
const char *rate_from_word(enum rate_from from);

#endif
