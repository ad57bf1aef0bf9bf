/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * For tests in Python: what a file is, in one line, and its samples as floats, plane after plane. With a second name it
 * writes them as a PNG of 16 bits instead.
 *
 *   media_dump FILE [OUT.png]
 */
#include "media/media.h"

#include "base/error.h"

#include <stdio.h>

static enum passel_status write_png(const char *path, const struct picture *picture, struct passel_error *error)
{
    const struct media_layer layer = { "", picture_planes(picture) };
    const struct media_plan plan = { .display = picture->area,
                                     .data = picture->area,
                                     .pixel_aspect = 1,
                                     .layers = &layer,
                                     .layer_count = 1,
                                     .pixels = PIXELS_16,
                                     .encoding = { ENCODING_SRGB, 0 },
                                     .primaries = *primaries_named("rec709") };
    struct media_writer *writer = NULL;
    RETURN_IF_ERROR(media_create(path, &plan, &writer, error));
    if (media_write(writer, picture, error) != PASSEL_OK) {
        media_discard(writer);
        return error->status;
    }
    return media_finish(writer, error);
}

static void print_planes(const struct media_info *info, const struct picture *picture)
{
    const size_t width = (size_t)rect_width(picture->area);
    printf("%s %d %d %u %d\n", info->format, rect_width(info->data), rect_height(info->data), info->planes, info->bits);
    for (int p = 0; p < PLANE_COUNT; p++)
        for (int32_t y = picture->area.y0; picture->plane[p] && y < picture->area.y1; y++)
            fwrite(picture_row(picture, (enum plane)p, y), sizeof(float), width, stdout);
}

static enum passel_status dump(const char *path, const char *out, struct passel_error *error)
{
    struct media_reader *reader = NULL;
    struct media_faults faults = { 0, 0 };
    struct picture picture = { 0 };
    enum passel_status status;
    RETURN_IF_ERROR(media_open(path, NULL, &reader, error));
    const struct media_info *info = media_info(reader);
    GOTO_IF_ERROR(picture_new(&picture, info->data, info->planes, error), out_reader);
    GOTO_IF_ERROR(media_read(reader, 0, &picture, &faults, error), out_picture);
    if (out)
        status = write_png(out, &picture, error);
    else
        print_planes(info, &picture);
out_picture:
    picture_release(&picture);
out_reader:
    media_close(reader);
    return status;
}

int main(int count, char **words)
{
    struct passel_error error = { 0 };
    if (count < 2 || count > 3) {
        fputs("usage: media_dump FILE [OUT.png]\n", stderr);
        return 2;
    }
    if (dump(words[1], count == 3 ? words[2] : NULL, &error) == PASSEL_OK)
        return 0;
    fprintf(stderr, "%s\n", error.text);
    return 1;
}
