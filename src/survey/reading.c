/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "survey/reading.h"

#include <stdio.h>

#include "base/error.h"

static void take_header(const struct media_info *info, const struct reading_choice *choice, struct reading *reading)
{
    const struct metadata *metadata = &info->metadata;
    *reading = (struct reading){ .width = rect_width(info->display),
                                 .height = rect_height(info->display),
                                 .said = info->has_encoding,
                                 .whole_numbers = info->sample == SAMPLE_UINT,
                                 .has_time_code = metadata->has_time_code,
                                 .time_code = metadata->time_code[0],
                                 .frames = info->frame_count };
    (void)snprintf(reading->format, sizeof reading->format, "%s", info->format);
    if (metadata->rate_den > 0)
        reading->rate = (double)metadata->rate_num / metadata->rate_den;
    if (choice->has_encoding)
        reading->encoding = choice->encoding;
    else if (info->has_encoding)
        reading->encoding = info->encoding;
    else
        reading->encoding.curve = reading->whole_numbers ? ENCODING_SRGB : ENCODING_LINEAR;
    reading->primaries = choice->primaries != NULL ? *primaries_named(choice->primaries)
                         : info->has_primaries     ? info->primaries
                                                   : *primaries_named("rec709");
}

enum passel_status reading_peek(const char *path, const struct reading_choice *choice, struct reading *reading,
                                struct passel_error *error)
{
    struct media_reader *reader = NULL;
    *reading = (struct reading){ 0 };
    RETURN_IF_ERROR(media_open(path, &choice->media, &reader, error));
    take_header(media_info(reader), choice, reading);
    media_close(reader);
    return PASSEL_OK;
}

static enum passel_status find_room(struct picture *spare, struct rect area, struct picture *picture,
                                    struct passel_error *error)
{
    if (spare != NULL && spare->owned != NULL && rect_width(spare->area) == rect_width(area) &&
        rect_height(spare->area) == rect_height(area)) {
        *picture = *spare;
        *spare = (struct picture){ 0 };
        picture->area = area;
        return PASSEL_OK;
    }
    if (spare != NULL)
        picture_release(spare);
    return picture_new(picture, area, HAS_RGB, error);
}

/* A matte is looked at as grey. */
static enum passel_status read_pixels(struct media_reader *reader, int32_t frame, struct picture *spare,
                                      struct reading *reading, struct passel_error *error)
{
    const struct media_info *info = media_info(reader);
    struct picture *picture = &reading->picture;
    const bool colour = (info->planes & HAS_RGB) == HAS_RGB;
    RETURN_IF_ERROR(find_room(spare, info->data, picture, error));
    struct picture target = *picture;
    target.owned = NULL;
    if (!colour) {
        target.plane[PLANE_A] = target.plane[PLANE_R];
        target.plane[PLANE_R] = target.plane[PLANE_G] = target.plane[PLANE_B] = NULL;
    }
    RETURN_IF_ERROR(media_read(reader, frame, &target, &reading->faults, error));
    const size_t samples = picture->stride * (size_t)rect_height(picture->area);
    for (int p = PLANE_R; p <= PLANE_B && colour; p++)
        encoding_undo(reading->encoding, picture->plane[p], samples);
    for (size_t i = 0; i < samples && !colour; i++)
        picture->plane[PLANE_G][i] = picture->plane[PLANE_B][i] = picture->plane[PLANE_R][i];
    picture->area = rect_shift(picture->area, -info->display.x0, -info->display.y0);
    return PASSEL_OK;
}

enum passel_status reading_take(const char *path, int32_t frame, const struct reading_choice *choice,
                                struct picture *spare, struct reading *reading, struct passel_error *error)
{
    struct media_reader *reader = NULL;
    *reading = (struct reading){ 0 };
    RETURN_IF_ERROR(media_open(path, &choice->media, &reader, error));
    take_header(media_info(reader), choice, reading);
    const enum passel_status status = read_pixels(reader, frame, spare, reading, error);
    media_close(reader);
    if (status != PASSEL_OK)
        reading_release(reading);
    return status;
}

void reading_release(struct reading *reading)
{
    picture_release(&reading->picture);
}
