/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "survey/telling.h"

#include "survey/sight.h"

/* Counts what was not told yet. */
static void count(struct telling *telling, bool *told, int *done)
{
    if (telling == NULL)
        return;
    pthread_mutex_lock(&telling->lock);
    *done += !*told;
    if (!*told && telling->progress != NULL)
        telling->progress(telling->user, &telling->now);
    *told = true;
    pthread_mutex_unlock(&telling->lock);
}

void telling_frame(struct telling *telling, struct sight *sight)
{
    count(telling, &sight->told, telling != NULL ? &telling->now.frames : NULL);
}

void telling_pass(struct telling *telling, struct clip *clip)
{
    count(telling, &clip->told, telling != NULL ? &telling->now.passes : NULL);
}
