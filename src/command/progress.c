/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "command/progress.h"

#include <stdio.h>
#include <string.h>

enum { BAR = 20 };

static void draw_bar(int done, int total)
{
    char bar[BAR + 1];
    const int full = total > 0 ? (int)((long long)BAR * done / total) : 0;
    memset(bar, ' ', BAR);
    memset(bar, '=', (size_t)(full < BAR ? full : BAR));
    bar[BAR] = '\0';
    (void)fprintf(stderr, "\r\033[K[%s] ", bar);
}

void progress_show(struct progress *progress, int done, int total, double seconds, const char *more)
{
    const double rate = seconds > 0 ? done / seconds : 0;
    const int left = total - done;
    draw_bar(done, total);
    (void)fprintf(stderr, "%d of %d frames%s", done, total, more);
    if (rate > 0 && left > 0)
        (void)fprintf(stderr, ", %.1f a second, %.0f s left", rate, left / rate);
    progress->open = true;
    (void)fflush(stderr);
}

void progress_say(struct progress *progress, const char *words)
{
    (void)fprintf(stderr, "\r\033[K%s", words);
    progress->open = true;
    (void)fflush(stderr);
}

void progress_leave(struct progress *progress)
{
    if (progress->open)
        (void)fprintf(stderr, "\n");
    progress->open = false;
}

void progress_clear(struct progress *progress)
{
    if (progress->open)
        (void)fprintf(stderr, "\r\033[K");
    progress->open = false;
}
