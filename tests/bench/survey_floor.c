/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * survey_floor THREADS FILE…: what decoding takes alone. Every file is opened and its red, green and blue are read to
 * the end, with nothing done to them; prints the seconds. tests/bench/survey holds a whole survey against it.
 */
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#include "base/pool.h"
#include "media/media.h"

static atomic_int failed;

static void decode(void *data, int worker)
{
    struct media_reader *reader = NULL;
    const struct media_choice choice = { 0 };
    struct media_faults faults = { 0 };
    struct picture picture = { 0 };
    (void)worker;
    const bool fine = media_open(data, &choice, &reader, NULL) == PASSEL_OK &&
                      picture_new(&picture, media_info(reader)->data, HAS_RGB, NULL) == PASSEL_OK &&
                      media_read(reader, 0, &picture, &faults, NULL) == PASSEL_OK;
    if (!fine)
        atomic_fetch_add(&failed, 1);
    picture_release(&picture);
    media_close(reader);
}

static double now(void)
{
    struct timespec time;
    (void)timespec_get(&time, TIME_UTC);
    return (double)time.tv_sec + 1e-9 * (double)time.tv_nsec;
}

int main(int count, char **words)
{
    struct pool *pool = NULL;
    const int threads = count > 2 ? atoi(words[1]) : 0;
    if (threads < 1 || pool_new(threads, &pool, NULL) != PASSEL_OK) {
        (void)fputs("usage: survey_floor THREADS FILE…\n", stderr);
        return 2;
    }
    const double begin = now();
    for (int i = 2; i < count; i++) {
        if (pool_submit(pool, i, decode, words[i]) != PASSEL_OK)
            return 1;
    }
    pool_wait(pool);
    (void)printf("%.3f\n", now() - begin);
    pool_free(pool);
    return failed > 0;
}
