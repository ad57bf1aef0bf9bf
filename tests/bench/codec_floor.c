/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What the files alone cost: reads every pass of every frame and writes one RGBA half ZIP frame, through media.h,
 * one frame a thread, and makes no picture.
 *
 * codec_floor FOLDER FRAMES THREADS PASS…
 */
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>

#include "base/memory.h"
#include "base/pool.h"
#include "media/media.h"

struct work {
    const char *folder;
    char **passes;
    int pass_count;
    atomic_int failed;
};

struct frame {
    struct work *work;
    int number;
};

static enum passel_status read_pass(const char *path, struct picture *picture, struct passel_error *error)
{
    struct media_reader *reader;
    struct media_faults faults = { 0 };
    enum passel_status status = media_open(path, &(struct media_choice){ 0 }, &reader, error);
    if (status != PASSEL_OK)
        return status;
    picture_release(picture);
    status = picture_new(picture, media_info(reader)->data, HAS_RGBA, error);
    const struct picture colour = { .area = picture->area,
                                    .plane = { picture->plane[0], picture->plane[1], picture->plane[2] },
                                    .stride = picture->stride };
    if (status == PASSEL_OK)
        status = media_read(reader, 0, &colour, &faults, error);
    media_close(reader);
    return status;
}

static enum passel_status write_frame(const char *path, const struct picture *picture, struct passel_error *error)
{
    const struct media_layer layer = { "", HAS_RGBA };
    const struct media_plan plan = { .display = picture->area,
                                     .data = picture->area,
                                     .pixel_aspect = 1,
                                     .layers = &layer,
                                     .layer_count = 1,
                                     .pixels = PIXELS_HALF,
                                     .compression = "zip",
                                     .primaries = *primaries_named("rec709") };
    struct media_writer *writer;
    const enum passel_status status = media_create(path, &plan, &writer, error);
    if (status != PASSEL_OK)
        return status;
    const enum passel_status written = media_write(writer, picture, error);
    if (written == PASSEL_OK)
        return media_finish(writer, error);
    media_discard(writer);
    return written;
}

static void run(void *data, int worker)
{
    const struct frame *frame = data;
    struct work *work = frame->work;
    struct picture picture = { 0 };
    struct passel_error error = { 0 };
    enum passel_status status = PASSEL_OK;
    char path[4096];
    (void)worker;
    for (int i = 0; i < work->pass_count && status == PASSEL_OK; i++) {
        (void)snprintf(path, sizeof path, "%s/%s.%04d.exr", work->folder, work->passes[i], frame->number);
        status = read_pass(path, &picture, &error);
    }
    if (status == PASSEL_OK) {
        picture_fill(&picture, PLANE_A, picture.area, 1);
        (void)snprintf(path, sizeof path, "%s/codec.%04d.exr", work->folder, frame->number);
        status = write_frame(path, &picture, &error);
    }
    if (status != PASSEL_OK) {
        (void)fprintf(stderr, "%s\n", error.text);
        atomic_store(&work->failed, 1);
    }
    picture_release(&picture);
}

int main(int count, char **words)
{
    if (count < 5) {
        (void)fprintf(stderr, "usage: codec_floor FOLDER FRAMES THREADS PASS…\n");
        return 2;
    }
    struct work work = { .folder = words[1], .passes = words + 4, .pass_count = count - 4 };
    const int frame_count = atoi(words[2]);
    struct frame *frames = memory_zeros((size_t)frame_count, sizeof *frames);
    struct pool *pool;
    if (frames == NULL || pool_new(atoi(words[3]), &pool, NULL) != PASSEL_OK)
        return 1;
    for (int i = 0; i < frame_count; i++) {
        frames[i] = (struct frame){ &work, i + 1 };
        if (pool_submit(pool, i, run, &frames[i]) != PASSEL_OK)
            atomic_store(&work.failed, 1);
    }
    pool_free(pool);
    memory_free(frames);
    return atomic_load(&work.failed);
}
