/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Watches the frames of an output for flashes that can harm (numerics/flash_limits.h): each frame is reduced to a grid
 * while it is written, strip by strip and in any order, and the grids are judged in the order of the frames.
 *
 * What a display shows of a frame: its light with every channel held between 0 and 1, where 1 is the display's white.
 */
#ifndef ENGINE_FLASH_WATCH_H
#define ENGINE_FLASH_WATCH_H

#include "kinds/kind.h"
#include "numerics/flash_limits.h"

/* One frame being written. */
struct flash_view;

/* NULL when memory is out, or the picture is no larger than the grid: nothing is watched then. */
struct flash_view *flash_view_new(const struct shot *shot, int scale);
void flash_view_free(struct flash_view *view); /* NULL is fine */
/* Takes in a strip that runs over the whole width; strips of one frame may come from several threads at once. */
void flash_view_strip(struct flash_view *view, const struct picture *strip);

/* All frames of one output. */
struct flash_watch;

enum passel_status flash_watch_new(const struct shot *shot, const int32_t *frames, int frame_count,
                                   struct flash_watch **watch, struct passel_error *error);
void flash_watch_free(struct flash_watch *watch); /* NULL is fine */
/* frames[index] is whole; `view` may be NULL when it is not known what it shows. Only the first call for an index
 * counts. */
void flash_watch_put(struct flash_watch *watch, int index, const struct flash_view *view);
/* What has failed, once all frames have been put. */
const struct flash_stretch *flash_watch_stretches(const struct flash_watch *watch, int *count);

#endif
