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

/* Room of this size; what is in its place is given back to the system when it has another one. */
static enum passel_status find_room(struct picture *room, struct rect area, struct passel_error *error)
{
    if (room->owned != NULL && rect_width(room->area) == rect_width(area) &&
        rect_height(room->area) == rect_height(area)) {
        room->area = area;
        return PASSEL_OK;
    }
    picture_release(room);
    return picture_new(room, area, HAS_RGB, error);
}

/* Rows that stay in a processor's cache, and waste nothing that is stored together. */
enum { ROWS_AT_ONCE = 16 };

static int32_t rows_at_once(const struct media_info *info)
{
    const int32_t height = rect_height(info->data), stored = info->chunk_rows;
    if (info->whole || stored < 1 || stored >= height)
        return height;
    const int32_t rows = (ROWS_AT_ONCE + stored - 1) / stored * stored;
    return rows < height ? rows : height;
}

enum passel_status reading_begin(const char *path, int32_t frame, const struct reading_choice *choice, bool keep,
                                 struct reading_room *room, struct reading_run *run, struct passel_error *error)
{
    *run = (struct reading_run){ .frame = frame };
    RETURN_IF_ERROR(media_open(path, &choice->media, &run->reader, error));
    const struct media_info *info = media_info(run->reader);
    struct picture *into = keep ? &room->whole : &room->rows;
    struct rect area = info->data;
    take_header(info, choice, &run->reading);
    run->next = area.y0;
    run->at_once = rows_at_once(info);
    area.y1 = keep ? area.y1 : area.y0 + run->at_once;
    RETURN_IF_ERROR(find_room(into, area, error));
    run->room = *into;
    run->room.owned = NULL;
    if (keep)
        run->reading.picture = run->room;
    run->reading.picture.area = rect_shift(info->data, -info->display.x0, -info->display.y0);
    return PASSEL_OK;
}

/* A matte is looked at as grey. */
static enum passel_status read_pixels(struct reading_run *run, const struct picture *rows, struct passel_error *error)
{
    const bool colour = (media_info(run->reader)->planes & HAS_RGB) == HAS_RGB;
    const size_t samples = rows->stride * (size_t)rect_height(rows->area);
    struct picture target = *rows;
    if (!colour) {
        target.plane[PLANE_A] = target.plane[PLANE_R];
        target.plane[PLANE_R] = target.plane[PLANE_G] = target.plane[PLANE_B] = NULL;
    }
    RETURN_IF_ERROR(media_read(run->reader, run->frame, &target, &run->reading.faults, error));
    for (int p = PLANE_R; p <= PLANE_B && colour; p++)
        encoding_undo(run->reading.encoding, rows->plane[p], samples);
    for (size_t i = 0; i < samples && !colour; i++)
        rows->plane[PLANE_G][i] = rows->plane[PLANE_B][i] = rows->plane[PLANE_R][i];
    return PASSEL_OK;
}

enum passel_status reading_rows(struct reading_run *run, struct passel_error *error)
{
    const struct media_info *info = media_info(run->reader);
    struct rect area = info->data;
    area.y0 = run->next;
    area.y1 = area.y1 - area.y0 > run->at_once ? area.y0 + run->at_once : area.y1;
    if (run->reading.picture.plane[PLANE_R] == NULL)
        run->room.area = area;
    run->rows = picture_part(&run->room, area);
    if (!rect_empty(area))
        RETURN_IF_ERROR(read_pixels(run, &run->rows, error));
    run->rows.area = rect_shift(area, -info->display.x0, -info->display.y0);
    run->next = area.y1;
    return PASSEL_OK;
}

void reading_end(struct reading_run *run)
{
    media_close(run->reader);
    *run = (struct reading_run){ 0 };
}

void reading_room_release(struct reading_room *room)
{
    picture_release(&room->whole);
    picture_release(&room->rows);
}
