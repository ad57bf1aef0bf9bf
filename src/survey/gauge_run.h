/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What every frame is measured for, in one go over its rows: begin; rows as they come by, from the top, any number at a
 * time; end. How many come at a time makes no difference.
 */
#ifndef SURVEY_GAUGE_RUN_H
#define SURVEY_GAUGE_RUN_H

#include "survey/frame_gauge.h"
#include "survey/look.h"

/* The light of evenly spread pixels, counted by its logarithm: eighths of a doubling, from 2^-20 on. */
enum { LEVEL_BINS = 36 * 8 };

struct level_run {
    struct rect area;
    int32_t step; /* from pixel to pixel, and from row to row */
    uint32_t bins[LEVEL_BINS];
};
void levels_begin(struct level_run *run, struct rect area);
void levels_rows(struct level_run *run, const struct picture *rows);
void levels_end(const struct level_run *run, float levels[3]); /* 1, 50, 99 %; a part of a stop fine */

/* How many of the values of one channel stand at its ends. What is within a few percent of the largest value is counted
 * by value, as finely as half floats are, so that the largest one need not be known before the last row. */
enum { TOP_VALUES = 256, TOP_TILE_VALUES = 8 };

struct ends_run {
    struct rect area;
    float most;
    bool below;                             /* something lies below 0 */
    int64_t low;                            /* at 0 or below */
    uint32_t values[TOP_VALUES];            /* how often the last so many values up to `most` came by */
    uint32_t tiles[TOP_TILE_VALUES][TILES]; /* where; of the last few of them */
};
struct ends {
    int64_t high, low;     /* how many are at the top; at 0, when nothing lies below */
    uint32_t tiles[TILES]; /* the former, by tiles */
};
void ends_begin(struct ends_run *run, struct rect area);
void ends_row(struct ends_run *run, const float *row, int32_t y);
/* False when the channel is not clipped: noise makes every pixel of a bright area another value; a clipped one has only
 * one. */
bool ends_end(const struct ends_run *run, struct ends *ends);

struct gauge_run {
    struct look_maker small;
    struct level_run levels;
    struct ends_run ends[3];
    uint64_t digest;
};
enum passel_status gauge_begin(const struct reading *reading, struct look *spare, struct gauge_run *run,
                               struct passel_error *error);
void gauge_rows(struct gauge_run *run, const struct picture *rows);
/* Leaves the frame made small, for look_release. */
void gauge_end(struct gauge_run *run, const struct reading *reading, struct frame_gauge *gauge, struct look *small);

#endif
