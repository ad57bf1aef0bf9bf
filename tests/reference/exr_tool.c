/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Puts what Passel reads and writes where a test in Python can compare it with other libraries.
 *
 *   exr_tool dump FILE [CHANNELS [PART]]       to standard output: a line with the data window, the display window,
 *                                              the set of planes, the counts of NaN and infinity; then the planes as
 *                                              floats, R G B A, those that are there
 *   exr_tool copy FILE OUT COMPRESSION PIXELS  writes the picture again; PIXELS is half or float
 */
#include "media/media.h"

#include <stdio.h>
#include <string.h>

static enum passel_status load(const char *path, const struct media_choice *choice, struct media_reader **reader,
                               struct picture *picture, struct media_faults *faults, struct passel_error *error)
{
    *picture = (struct picture){ .owned = NULL };
    enum passel_status status = media_open(path, choice, reader, error);
    if (status == PASSEL_OK)
        status = picture_new(picture, media_info(*reader)->data, media_info(*reader)->planes, error);
    if (status == PASSEL_OK)
        status = media_read(*reader, 0, picture, faults, error);
    return status;
}

static void print_planes(const struct picture *picture)
{
    for (int p = 0; p < PLANE_COUNT; p++)
        for (int32_t y = picture->area.y0; picture->plane[p] != NULL && y < picture->area.y1; y++)
            fwrite(picture_row(picture, (enum plane)p, y), sizeof(float), (size_t)rect_width(picture->area), stdout);
}

static enum passel_status dump(int count, char **words, struct passel_error *error)
{
    const struct media_choice choice = { count > 1 ? words[1] : NULL, count > 2 ? words[2] : NULL };
    struct media_reader *reader = NULL;
    struct picture picture;
    struct media_faults faults = { 0, 0 };
    const enum passel_status status = load(words[0], &choice, &reader, &picture, &faults, error);
    if (status == PASSEL_OK) {
        const struct rect data = media_info(reader)->data, display = media_info(reader)->display;
        printf("%d %d %d %d %d %d %d %d %u %llu %llu\n", data.x0, data.y0, data.x1, data.y1, display.x0, display.y0,
               display.x1, display.y1, media_info(reader)->planes, (unsigned long long)faults.nan,
               (unsigned long long)faults.infinite);
        print_planes(&picture);
    }
    picture_release(&picture);
    media_close(reader);
    return status;
}

static enum passel_status write_again(const struct media_info *info, const struct picture *picture, char **words,
                                      struct passel_error *error)
{
    const struct media_layer layer = { "", info->planes };
    const struct media_plan plan = { .display = info->display,
                                     .data = info->data,
                                     .pixel_aspect = info->pixel_aspect,
                                     .layers = &layer,
                                     .layer_count = 1,
                                     .pixels = strcmp(words[3], "half") == 0 ? PIXELS_HALF : PIXELS_FLOAT,
                                     .compression = words[2],
                                     .primaries = info->primaries,
                                     .metadata = info->metadata,
                                     .digest = "digest of the test" };
    struct media_writer *writer = NULL;
    enum passel_status status = media_create(words[1], &plan, &writer, error);
    if (status != PASSEL_OK)
        return status;
    status = media_write(writer, picture, error);
    if (status == PASSEL_OK)
        return media_finish(writer, error);
    media_discard(writer);
    return status;
}

static enum passel_status copy(char **words, struct passel_error *error)
{
    struct media_reader *reader = NULL;
    struct picture picture;
    struct media_faults faults = { 0, 0 };
    enum passel_status status = load(words[0], NULL, &reader, &picture, &faults, error);
    if (status == PASSEL_OK)
        status = write_again(media_info(reader), &picture, words, error);
    picture_release(&picture);
    media_close(reader);
    return status;
}

int main(int count, char **words)
{
    struct passel_error error = { PASSEL_OK, "" };
    enum passel_status status = PASSEL_BAD_USE;
    if (count >= 3 && count <= 5 && strcmp(words[1], "dump") == 0)
        status = dump(count - 2, words + 2, &error);
    else if (count == 6 && strcmp(words[1], "copy") == 0)
        status = copy(words + 2, &error);
    if (status != PASSEL_OK)
        fprintf(stderr, "%s\n", error.text[0] != '\0' ? error.text : "exr_tool dump FILE … or copy FILE …");
    return (int)status;
}
