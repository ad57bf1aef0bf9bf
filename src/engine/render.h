/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#ifndef ENGINE_RENDER_H
#define ENGINE_RENDER_H

#include <passel/passel.h>

#include "engine/graph.h"
#include "engine/job.h"

#define PREVIEW_FRAMES 12 /* that a preview makes when no frames are named */

/* Threads, scratch and store of a render. `threads` 0: as many as the machine offers; `memory` 0: a quarter of it. */
enum passel_status workshop_open(struct workshop *workshop, const struct graph *graph, int threads, size_t memory,
                                 const volatile int *stop, struct passel_error *error);
void workshop_close(struct workshop *workshop);

/* Does this wish take the `index`-th output? A preview of the same picture as an earlier output's only when its label
 * is named. */
bool render_chooses(const struct graph *graph, const struct passel_render_options *options, int index);

/* Those that a preview makes when none are named: spread evenly over the shot. For memory_free. */
enum passel_status preview_frames(const struct shot *shot, int32_t **frames, int *count, struct passel_error *error);

/* passel_render for a graph that has been made. `kept` (or NULL) is what an earlier one found out and leaves what this
 * one does: a zeroed store before the first, emptied with store_release whenever a file is another one behind the same
 * name and size, and in the end. */
enum passel_status render_range(const struct graph *graph, const struct passel_render_options *options,
                                struct store *kept, struct passel_render_result *result, struct passel_error *error);

/* Makes picture number `which` of a block at one frame, over its display window; for picture_release. */
enum passel_status render_picture(const struct graph *graph, const struct block *block, int which, int32_t frame,
                                  int threads, struct picture *picture, struct picture_info *info,
                                  struct passel_error *error);

/* What the analysis of a block found at one frame, in numbers (kind.h: `tell`); *count is how many there are. */
enum passel_status render_told(const struct graph *graph, const struct block *block, int32_t frame, int threads,
                               double *numbers, int *count, struct passel_error *error);

#endif
