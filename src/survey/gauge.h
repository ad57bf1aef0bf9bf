/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The single measures of a survey.
 */
#ifndef SURVEY_GAUGE_H
#define SURVEY_GAUGE_H

#include "numerics/noise_model.h"
#include "survey/frame_gauge.h"
#include "survey/look.h"

struct portrait;
struct spot {
    int32_t x, y;
};

/* Regions that focus is told for. */
enum { FOCUS_ACROSS = 4, FOCUS_DOWN = 3, FOCUS_REGIONS = FOCUS_ACROSS * FOCUS_DOWN };

/* Within this share of the largest value pixels count as standing at it: half floats are no finer. */
#define AT_THE_TOP (1.0F / 1024)

/* Blocks across the small picture of a frame. */
enum { SMALL_ACROSS = 480 };

/* How much brighter frame i is than its neighbours' mean, as a logarithm; 0 where that cannot be told. */
double gauge_step(const struct frame_gauge *frames, int count, int i);

/* Root mean square of the frame-to-frame change of a pass's light, 0.06 for 6 %; -1 with less than four frames. What
 * changes evenly over frames, or in less than half of the lit tiles, does not count. */
double gauge_flicker(const struct frame_gauge *frames, int count);

/* Rolling bands: root mean square of the change, from frame to frame, of rows of tiles against the whole frame, 0.02
 * for 2 %; -1 when too little is lit. */
double gauge_bands(const struct frame_gauge *frames, int count);

/* How far the mean light of frames wanders, as a share of it; -1 with less than two. */
double gauge_wander(const struct frame_gauge *frames, int count);

/* Detail of the green plane in blocks of 16 x 16 pixels, in two bands of fineness: mean squares, and the mean level. */
struct detail {
    float fine, coarse, level;
};
struct detail_map {
    struct rect area; /* of the picture */
    int32_t across, down;
    struct detail *blocks;
};
enum passel_status gauge_detail(const struct picture *picture, struct detail_map *map, struct passel_error *error);
void detail_map_release(struct detail_map *map);

/* Fine detail of `pass` as a share of what `lock` has in the same places: median over blocks where both have some, of
 * the whole and of each region (rows from the top); -1 when there are too few of them. */
double gauge_focus(const struct detail_map *pass, const struct noise *pass_noise, const struct detail_map *lock,
                   const struct noise *lock_noise, float regions[FOCUS_REGIONS]);

/* Stops between the 1 % and the 99 % level of the strongest colour, over the screen's blocks. */
double gauge_evenness(const struct portrait *portrait);

/* Light over noise where the light of the pass is: at its light-weighted mean level, with what `dark` (NULL: a little)
 * shows taken off. -1 when it has no light of its own. */
double gauge_light_over_noise(const struct portrait *portrait, const struct portrait *dark,
                              const struct noise noise[3]);

/* Pixels that stand out of all their neighbours by more than noise can; at most SPOTS_MOST, rows from the top. Returns
 * how many. */
enum { SPOTS_MOST = 4096 };
int gauge_spots(const struct picture *picture, const struct noise noise[3], struct spot *spots);

#endif
