/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * How far the reading of the files is, for whoever wants to see it.
 */
#ifndef SURVEY_TELLING_H
#define SURVEY_TELLING_H

#include <pthread.h>

struct sight;
struct clip;

struct survey_progress {
    int frames, frame_count, passes, pass_count; /* done, and of how many; the latter may yet change */
};

struct telling {
    void (*progress)(void *user, const struct survey_progress *progress); /* from any thread, one at a time; or NULL */
    void *user;
    pthread_mutex_t lock;
    struct survey_progress now;
};

/* A frame was looked at, or all of a pass; each counts once, however often it is said. NULL is fine. */
void telling_frame(struct telling *telling, struct sight *sight);
void telling_pass(struct telling *telling, struct clip *clip);

#endif
