/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#ifndef ENGINE_CHECK_FILES_H
#define ENGINE_CHECK_FILES_H

#include "engine/graph.h"

struct check_result {
    int frames, faulty;    /* frames looked at; those that a render could not make */
    enum passel_status first; /* of the first faulty frame */
};

/* Opens every file that the outputs need (all pictures when there is no output) at every frame of the shot, without
 * making pixels. Faults are told, one call for each new message, with the first frame that has it. */
void check_frames_of(const struct graph *graph, void (*tell)(void *user, int32_t frame, const char *text), void *user,
                     struct check_result *result);

#endif
