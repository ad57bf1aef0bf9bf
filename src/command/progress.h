/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A line on a terminal that is written over: how far a long task is, and how long it will take yet.
 */
#ifndef COMMAND_PROGRESS_H
#define COMMAND_PROGRESS_H

#include <stdbool.h>

struct progress {
    bool open; /* a line stands on the terminal */
};

/* `seconds` were spent on the frames that are done; `more` is said behind their number, or "". */
void progress_show(struct progress *progress, int done, int total, double seconds, const char *more);
void progress_say(struct progress *progress, const char *words);
/* Ends the line: it stays, or it goes. Without a line nothing happens. */
void progress_leave(struct progress *progress);
void progress_clear(struct progress *progress);

#endif
