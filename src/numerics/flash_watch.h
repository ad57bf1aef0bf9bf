/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Watches the frames of a sequence for flashes that can harm (numerics/flash_limits.h): they come in any order, and are
 * judged in that of the sequence.
 */
#ifndef NUMERICS_FLASH_WATCH_H
#define NUMERICS_FLASH_WATCH_H

#include "numerics/flash_grid.h"

struct flash_watch;

/* `frames` are the numbers of the frames, which outlive the watch; NULL: 1, 2, 3 and so on. `rate` and `area` as for
 * flash_judge_new. */
enum passel_status flash_watch_new(const int32_t *frames, int frame_count, double rate, double area,
                                   struct flash_watch **watch, struct passel_error *error);
void flash_watch_free(struct flash_watch *watch); /* NULL is fine */
/* frames[index] is known; takes the grid over, which may be NULL when it is not known what the frame shows. Only the
 * first call for an index counts. Not from two threads at once. */
void flash_watch_put(struct flash_watch *watch, int index, struct flash_grid *grid);
/* What has failed, and how much of the picture at most, once all frames have been put. */
const struct flash_stretch *flash_watch_stretches(const struct flash_watch *watch, int *count);
double flash_watch_share(const struct flash_watch *watch);

#endif
