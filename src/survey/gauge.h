/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The single measures of a survey.
 */
#ifndef SURVEY_GAUGE_H
#define SURVEY_GAUGE_H

#include "survey/survey.h"

/* What every frame is measured for, in one go over its pixels. */
void gauge_frame(const struct reading *reading, struct frame_gauge *gauge);

/* Root mean square of the frame-to-frame change of a pass's light, 0.06 for 6 %; -1 with less than four frames. What
 * changes evenly over frames, or in less than half of the lit tiles, does not count. */
double gauge_flicker(const struct frame_gauge *frames, int count);

/* How far the mean light of frames wanders, as a share of it; -1 with less than two. */
double gauge_wander(const struct frame_gauge *frames, int count);

/* Fine detail of `pass` as a share of what `lock` has in the same places: median over blocks where both have some; -1
 * when there are too few of them. */
double gauge_focus(const struct picture *pass, const struct noise *pass_noise, const struct picture *lock,
                   const struct noise *lock_noise);

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
