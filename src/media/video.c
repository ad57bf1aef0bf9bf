/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * YUV4MPEG2 in: from a file, whose frames are found when it is opened and read at random; or from a pipe, whose frames
 * go by once. The frame that was read last stays, so it can be asked for again.
 */
#include "media/video.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "base/error.h"
#include "base/memory.h"
#include "media/choice.h"
#include "media/cursor.h"
#include "media/format.h"

struct video_state {
    struct cursor cursor; /* its descriptor; `at` only counts for a file */
    bool seekable;
    unsigned char head[PROBE_BYTES]; /* of a pipe: what was taken off it already */
    size_t head_size, head_used;
    struct video_layout layout;
    struct channel_choice channels;
    uint64_t *offsets; /* of a file: where each frame's line begins */
    size_t offset_room;
    int32_t offset_count;
    int32_t next; /* of a pipe: the frame that comes next */
    int32_t held; /* the frame in `bytes`, or -1 */
    unsigned char *bytes;
    float *scratch; /* of video_row, then a row of each plane */
};

/* Bytes in order, from file or pipe; fewer only at the end, or when the disk fails. */

static size_t pipe_read(struct video_state *state, unsigned char *bytes, size_t size)
{
    size_t got = state->head_size - state->head_used;
    got = got < size ? got : size;
    memcpy(bytes, state->head + state->head_used, got);
    state->head_used += got;
    while (got < size) {
        const ssize_t part = read(state->cursor.descriptor, bytes + got, size - got);
        if (part < 0 && errno == EINTR)
            continue;
        if (part < 0)
            state->cursor.failed = true;
        if (part <= 0)
            break;
        got += (size_t)part;
    }
    return got;
}

static size_t take_bytes(struct video_state *state, void *bytes, size_t size)
{
    return state->seekable ? cursor_read(&state->cursor, bytes, size) : pipe_read(state, bytes, size);
}

/* Reads up to and with the next newline, which becomes a NUL. False at the end, or when the line is too long; *length
 * tells how far it came. */
static bool take_line(struct video_state *state, char line[VIDEO_HEADER_LIMIT], size_t *length)
{
    for (*length = 0; *length < VIDEO_HEADER_LIMIT; (*length)++) {
        if (take_bytes(state, line + *length, 1) != 1)
            return false;
        if (line[*length] == '\n') {
            line[*length] = '\0';
            return true;
        }
    }
    return false;
}

static bool line_begins_frame(const char *line)
{
    return strncmp(line, "FRAME", 5) == 0 && (line[5] == '\0' || line[5] == ' ');
}

/* Opening */

static enum passel_status add_offset(struct video_state *state, uint64_t offset, struct passel_error *error)
{
    if (state->offset_count == INT32_MAX)
        return error_set(error, PASSEL_UNSUPPORTED, "has too many frames");
    if ((size_t)state->offset_count == state->offset_room) {
        const size_t room = state->offset_room ? 2 * state->offset_room : 64;
        uint64_t *longer = memory_grow(state->offsets, state->offset_room, room, sizeof *longer);
        if (!longer)
            return error_set(error, PASSEL_NO_MEMORY, "no memory for its list of frames");
        state->offsets = longer;
        state->offset_room = room;
    }
    state->offsets[state->offset_count++] = offset;
    return PASSEL_OK;
}

/* Walks over a file from frame line to frame line. A last frame that is cut counts; reading it tells. */
static enum passel_status find_frames(struct video_state *state, struct passel_error *error)
{
    char line[VIDEO_HEADER_LIMIT];
    size_t length = 0;
    while (state->cursor.at < state->cursor.size) {
        const uint64_t offset = state->cursor.at;
        if (!take_line(state, line, &length) || !line_begins_frame(line)) {
            char what[64];
            snprintf(what, sizeof what, "no frame begins where frame %d should", state->offset_count);
            return cursor_error(&state->cursor, what, error);
        }
        RETURN_IF_ERROR(add_offset(state, offset, error));
        state->cursor.at += video_frame_bytes(&state->layout);
    }
    return state->offset_count > 0 ? PASSEL_OK : cursor_error(&state->cursor, "it has no frame", error);
}

static void fill_info(const struct video_state *state, struct media_info *info)
{
    const struct video_layout *layout = &state->layout;
    info->compression = video_sampling(layout);
    info->display = info->data = rect_of(0, 0, layout->width, layout->height);
    info->pixel_aspect = layout->pixel_aspect;
    info->sample = SAMPLE_UINT;
    info->bits = layout->bits;
    info->whole = true;
    info->chunk_rows = layout->height;
    info->has_encoding = true;
    info->encoding = (struct encoding){ ENCODING_REC709, 0 };
    info->metadata.rate_num = layout->rate_num;
    info->metadata.rate_den = layout->rate_den;
    info->frame_count = state->seekable ? state->offset_count : -1;
}

static void take_source(struct video_state *state, struct media_source *source)
{
    state->cursor = (struct cursor){ .descriptor = source->descriptor, .size = source->size };
    source->descriptor = -1;
    state->seekable = source->seekable;
    memcpy(state->head, source->head, sizeof state->head);
    state->head_size = source->head_size;
    state->held = -1;
}

static enum passel_status read_header(struct video_state *state, struct passel_error *error)
{
    char line[VIDEO_HEADER_LIMIT];
    size_t length = 0;
    if (!take_line(state, line, &length))
        return cursor_error(&state->cursor, "its header has no end", error);
    if (strlen(line) != length)
        return cursor_error(&state->cursor, "its header holds a NUL", error);
    return video_parse(line, &state->layout, error);
}

static void state_free(struct video_state *state)
{
    cursor_close(&state->cursor);
    memory_free(state->offsets);
    memory_free(state->bytes);
    memory_free(state->scratch);
    memory_free(state);
}

static enum passel_status buffers_new(struct video_state *state, struct passel_error *error)
{
    const size_t width = (size_t)state->layout.width;
    state->bytes = memory_new(video_frame_bytes(&state->layout));
    state->scratch = memory_zeros(video_scratch_floats(&state->layout) + PLANE_COUNT * width, sizeof(float));
    if (!state->bytes || !state->scratch)
        return error_set(error, PASSEL_NO_MEMORY, "no memory for a frame");
    return PASSEL_OK;
}

static enum passel_status video_open(struct media_reader *reader, struct media_source *source,
                                     const struct media_choice *choice, struct passel_error *error)
{
    struct video_state *state = memory_zeros(1, sizeof *state);
    if (!state)
        return error_set(error, PASSEL_NO_MEMORY, "no memory to open it");
    take_source(state, source);
    enum passel_status status;
    GOTO_IF_ERROR(read_header(state, error), out_state);
    if (state->seekable)
        GOTO_IF_ERROR(find_frames(state, error), out_state);
    GOTO_IF_ERROR(buffers_new(state, error), out_state);
    fill_info(state, &reader->info);
    const enum alpha_form alpha = state->layout.planes > VIDEO_A ? ALPHA_STRAIGHT : ALPHA_NONE;
    GOTO_IF_ERROR(channels_choose(choice, state->layout.planes > 1, alpha, &reader->info, &state->channels, error),
                  out_state);
    reader->state = state;
    return PASSEL_OK;
out_state:
    state_free(state);
    return status;
}

/* Frames */

static enum passel_status frame_error(const struct video_state *state, int32_t frame, const char *what,
                                      struct passel_error *error)
{
    char text[96];
    snprintf(text, sizeof text, "frame %d %s", frame, what);
    return cursor_error(&state->cursor, text, error);
}

/* Reads the frame that comes next into `bytes`. */
static enum passel_status take_frame(struct video_state *state, int32_t frame, struct passel_error *error)
{
    char line[VIDEO_HEADER_LIMIT];
    size_t length = 0;
    const size_t size = video_frame_bytes(&state->layout);
    state->held = -1;
    if (!take_line(state, line, &length))
        return frame_error(state, frame, length > 0 ? "is cut off" : "is not there: the video ends before it", error);
    if (!line_begins_frame(line))
        return frame_error(state, frame, "does not begin where it should", error);
    if (take_bytes(state, state->bytes, size) < size)
        return frame_error(state, frame, "is cut off", error);
    state->held = frame;
    return PASSEL_OK;
}

static enum passel_status hold_frame(struct video_state *state, int32_t frame, struct passel_error *error)
{
    if (state->held == frame)
        return PASSEL_OK;
    if (state->seekable) {
        state->cursor.at = state->offsets[frame];
        return take_frame(state, frame, error);
    }
    if (frame < state->next)
        return error_set(error, PASSEL_BAD_USE,
                         "frame %d has gone by: a pipe is read in order, and frame %d comes next", frame, state->next);
    while (state->next <= frame) {
        RETURN_IF_ERROR(take_frame(state, state->next, error));
        state->next++;
    }
    return PASSEL_OK;
}

/* The planes asked for, from the row of the channel that the choice names for each. */
static void deliver_row(const struct video_state *state, float *const rgba[PLANE_COUNT], const struct picture *out,
                        int32_t y)
{
    for (int p = 0; p < PLANE_COUNT; p++) {
        const int source = state->channels.source[p];
        if (!out->plane[p])
            continue;
        if (source < 0)
            picture_fill(out, (enum plane)p, rect_of(out->area.x0, y, out->area.x1, y + 1), 1.0f);
        else
            memcpy(picture_row(out, (enum plane)p, y), rgba[source], (size_t)state->layout.width * sizeof(float));
    }
}

static enum passel_status video_read(struct media_reader *reader, int32_t frame, const struct picture *out,
                                     struct media_faults *faults, struct passel_error *error)
{
    (void)faults;
    struct video_state *state = reader->state;
    const size_t width = (size_t)state->layout.width;
    float *rows = state->scratch + video_scratch_floats(&state->layout);
    float *rgba[PLANE_COUNT];
    RETURN_IF_ERROR(hold_frame(state, frame, error));
    for (int p = 0; p < PLANE_COUNT; p++)
        rgba[p] = rows + (size_t)p * width;
    for (int32_t y = 0; y < state->layout.height; y++) {
        video_row(&state->layout, state->bytes, y, state->scratch, rgba);
        deliver_row(state, rgba, out, y);
    }
    return PASSEL_OK;
}

static void video_close(struct media_reader *reader)
{
    state_free(reader->state);
}

static bool video_probe(const unsigned char *head, size_t size)
{
    return size >= 10 && memcmp(head, "YUV4MPEG2", 9) == 0 && (head[9] == ' ' || head[9] == '\n');
}

const struct media_format format_yuv = {
    .name = "YUV4MPEG2",
    .probe = video_probe,
    .open = video_open,
    .read = video_read,
    .close = video_close,
};
