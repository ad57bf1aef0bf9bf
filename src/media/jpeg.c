/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * JPEG files in, through libjpeg: grey and colour of 8 bits. libjpeg fills in what is damaged and warns; here a warning
 * is an error, because a guessed pixel in a pass is worse than a missing frame. As in png_read.c, libjpeg leaves only
 * functions that own nothing.
 */
#include <setjmp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <jerror.h>
#include <jpeglib.h>

#include "base/error.h"
#include "base/memory.h"
#include "media/choice.h"
#include "media/cursor.h"
#include "media/format.h"
#include "media/icc.h"

enum { INPUT_SIZE = 1 << 16, SCAN_LIMIT = 200, MARKER_EXIF = JPEG_APP0 + 1, MARKER_ICC = JPEG_APP0 + 2 };

#define PIXEL_LIMIT ((uint64_t)1 << 31)

struct jpeg_state {
    struct cursor cursor;
    struct channel_choice channels;
    bool colour;
};

struct jpeg_reading {
    struct jpeg_decompress_struct jpeg;
    struct jpeg_error_mgr errors;
    struct jpeg_source_mgr source;
    struct jpeg_progress_mgr progress;
    jmp_buf leave;
    struct cursor *cursor;
    char message[JMSG_LENGTH_MAX];
    /* For decoding */
    const struct jpeg_state *state;
    const struct picture *out;
    JOCTET *profile; /* from malloc, or NULL */
    unsigned profile_size;
    unsigned char *bytes;
    float *samples;
    unsigned char input[INPUT_SIZE];
};

/* What libjpeg calls */

static struct jpeg_reading *reading_of(j_common_ptr jpeg)
{
    return jpeg->client_data;
}

static void leave(j_common_ptr jpeg)
{
    struct jpeg_reading *reading = reading_of(jpeg);
    jpeg->err->format_message(jpeg, reading->message);
    longjmp(reading->leave, 1);
}

static void take_warning(j_common_ptr jpeg, int level)
{
    const int code = jpeg->err->msg_code;
    const bool harmless = code == JWRN_ADOBE_XFORM || code == JWRN_JFIF_MAJOR || code == JWRN_BOGUS_ICC;
    if (level < 0 && !harmless)
        leave(jpeg);
}

static void limit_scans(j_common_ptr jpeg)
{
    struct jpeg_reading *reading = reading_of(jpeg);
    if (reading->jpeg.input_scan_number <= SCAN_LIMIT)
        return;
    snprintf(reading->message, sizeof reading->message, "more than %d scans", SCAN_LIMIT);
    longjmp(reading->leave, 1);
}

static void source_nothing(j_decompress_ptr jpeg)
{
    (void)jpeg;
}

static boolean source_fill(j_decompress_ptr jpeg)
{
    struct jpeg_reading *reading = reading_of((j_common_ptr)jpeg);
    const size_t got = cursor_read(reading->cursor, reading->input, INPUT_SIZE);
    if (got == 0) {
        snprintf(reading->message, sizeof reading->message, "it ends early");
        longjmp(reading->leave, 1);
    }
    reading->source.next_input_byte = reading->input;
    reading->source.bytes_in_buffer = got;
    return TRUE;
}

static void source_skip(j_decompress_ptr jpeg, long count)
{
    struct jpeg_reading *reading = reading_of((j_common_ptr)jpeg);
    while (count > 0) {
        if (reading->source.bytes_in_buffer == 0)
            source_fill(jpeg);
        const size_t there = reading->source.bytes_in_buffer;
        const size_t step = (size_t)count < there ? (size_t)count : there;
        reading->source.next_input_byte += step;
        reading->source.bytes_in_buffer -= step;
        count -= (long)step;
    }
}

/* Runs a step that libjpeg may leave; false when it did. */
static bool guarded(struct jpeg_reading *reading, void (*step)(struct jpeg_reading *))
{
    if (setjmp(reading->leave))
        return false;
    step(reading);
    return true;
}

static void create_step(struct jpeg_reading *reading)
{
    jpeg_create_decompress(&reading->jpeg);
    reading->jpeg.client_data = reading;
    reading->jpeg.src = &reading->source;
    reading->jpeg.progress = &reading->progress;
    jpeg_save_markers(&reading->jpeg, MARKER_EXIF, 0xffff);
    jpeg_save_markers(&reading->jpeg, MARKER_ICC, 0xffff);
    jpeg_read_header(&reading->jpeg, TRUE);
}

static void reading_free(struct jpeg_reading *reading)
{
    if (!reading)
        return;
    jpeg_destroy_decompress(&reading->jpeg);
    free(reading->profile);
    memory_free(reading->bytes);
    memory_free(reading->samples);
    memory_free(reading);
}

static enum passel_status reading_error(const struct jpeg_reading *reading, struct passel_error *error)
{
    switch (reading->errors.msg_code) {
    case JERR_OUT_OF_MEMORY:
        return error_set(error, PASSEL_NO_MEMORY, "no memory to decode it");
    case JERR_ARITH_NOTIMPL:
    case JERR_BAD_PRECISION:
    case JERR_CONVERSION_NOTIMPL:
    case JERR_IMAGE_TOO_BIG:
    case JERR_NOTIMPL:
    case JERR_NOT_COMPILED:
    case JERR_SOF_UNSUPPORTED:
        return error_set(error, PASSEL_UNSUPPORTED, "JPEG of this kind is not served: %s", reading->message);
    default:
        return cursor_error(reading->cursor, reading->message, error);
    }
}

/* Starts over and reads up to the first scan. */
static enum passel_status reading_new(struct jpeg_state *state, struct jpeg_reading **made, struct passel_error *error)
{
    struct jpeg_reading *reading = memory_zeros(1, sizeof *reading);
    if (!reading)
        return error_set(error, PASSEL_NO_MEMORY, "no memory to decode it");
    state->cursor.at = 0;
    reading->cursor = &state->cursor;
    reading->state = state;
    reading->jpeg.err = jpeg_std_error(&reading->errors);
    reading->jpeg.client_data = reading;
    reading->errors.error_exit = leave;
    reading->errors.emit_message = take_warning;
    reading->progress.progress_monitor = limit_scans;
    reading->source = (struct jpeg_source_mgr){ .init_source = source_nothing,
                                                .fill_input_buffer = source_fill,
                                                .skip_input_data = source_skip,
                                                .resync_to_restart = jpeg_resync_to_restart,
                                                .term_source = source_nothing };
    if (guarded(reading, create_step)) {
        *made = reading;
        return PASSEL_OK;
    }
    const enum passel_status status = reading_error(reading, error);
    reading_free(reading);
    return status;
}

/* What the header says */

static unsigned read_u16(const JOCTET *bytes, bool big)
{
    return big ? (unsigned)bytes[0] << 8 | bytes[1] : (unsigned)bytes[1] << 8 | bytes[0];
}

static unsigned long read_u32(const JOCTET *bytes, bool big)
{
    const unsigned long first = read_u16(bytes, big), second = read_u16(bytes + 2, big);
    return big ? first << 16 | second : second << 16 | first;
}

/* The orientation in a block of EXIF, a TIFF directory behind six bytes; 1 (upright) when it says nothing. */
static unsigned exif_orientation(const JOCTET *bytes, size_t size)
{
    enum { TAG_ORIENTATION = 0x112, ENTRY_SIZE = 12 };
    if (size < 14 || memcmp(bytes, "Exif\0\0", 6) != 0)
        return 1;
    const JOCTET *tiff = bytes + 6;
    const size_t length = size - 6;
    const bool big = tiff[0] == 'M';
    const unsigned long directory = read_u32(tiff + 4, big);
    if (directory > length - 2)
        return 1;
    const unsigned entries = read_u16(tiff + directory, big);
    for (size_t i = 0, at = directory + 2; i < entries && at + ENTRY_SIZE <= length; i++, at += ENTRY_SIZE)
        if (read_u16(tiff + at, big) == TAG_ORIENTATION)
            return read_u16(tiff + at + 8, big);
    return 1;
}

static enum passel_status check_header(const struct jpeg_reading *reading, struct passel_error *error)
{
    const struct jpeg_decompress_struct *jpeg = &reading->jpeg;
    if (jpeg->jpeg_color_space == JCS_CMYK || jpeg->jpeg_color_space == JCS_YCCK)
        return error_set(error, PASSEL_UNSUPPORTED, "CMYK JPEG is not served");
    if (jpeg->jpeg_color_space == JCS_UNKNOWN)
        return error_set(error, PASSEL_UNSUPPORTED, "JPEG of %d unknown components is not served",
                         jpeg->num_components);
    if ((uint64_t)jpeg->image_width * jpeg->image_height > PIXEL_LIMIT)
        return error_set(error, PASSEL_UNSUPPORTED, "%ux%u pixels are too many", jpeg->image_width, jpeg->image_height);
    for (jpeg_saved_marker_ptr marker = jpeg->marker_list; marker; marker = marker->next) {
        const unsigned turned = marker->marker == MARKER_EXIF ? exif_orientation(marker->data, marker->data_length) : 1;
        if (turned > 1 && turned <= 8)
            return error_set(error, PASSEL_UNSUPPORTED, "its pixels are turned or mirrored (EXIF orientation %u)",
                             turned);
    }
    return PASSEL_OK;
}

static void profile_step(struct jpeg_reading *reading)
{
    jpeg_read_icc_profile(&reading->jpeg, &reading->profile, &reading->profile_size);
}

static enum passel_status read_profile(struct jpeg_reading *reading, struct media_info *info,
                                       struct passel_error *error)
{
    struct colour_claim claim;
    const char *why = NULL;
    if (!guarded(reading, profile_step))
        return reading_error(reading, error);
    if (!reading->profile)
        return PASSEL_OK;
    if (!icc_reduce(reading->profile, reading->profile_size, &claim, &why))
        snprintf(info->unserved, sizeof info->unserved, "ICC profile %s", why);
    info->has_encoding = claim.has_encoding;
    info->encoding = claim.encoding;
    info->has_primaries = claim.has_primaries;
    info->primaries = claim.primaries;
    return PASSEL_OK;
}

static bool is_colour(const struct jpeg_reading *reading)
{
    return reading->jpeg.jpeg_color_space != JCS_GRAYSCALE;
}

static void read_info(const struct jpeg_reading *reading, struct media_info *info)
{
    const struct jpeg_decompress_struct *jpeg = &reading->jpeg;
    info->compression = jpeg->progressive_mode ? "progressive" : "baseline";
    info->display = info->data = rect_of(0, 0, (int32_t)jpeg->image_width, (int32_t)jpeg->image_height);
    if (jpeg->saw_JFIF_marker && jpeg->X_density > 0 && jpeg->Y_density > 0)
        info->pixel_aspect = (double)jpeg->Y_density / jpeg->X_density;
    info->sample = SAMPLE_UINT;
    info->bits = jpeg->data_precision;
    info->whole = true;
    info->chunk_rows = (int)jpeg->image_height;
}

static enum passel_status jpeg_open(struct media_reader *reader, struct media_source *source,
                                    const struct media_choice *choice, struct passel_error *error)
{
    struct jpeg_reading *reading = NULL;
    struct jpeg_state *state = memory_zeros(1, sizeof *state);
    if (!state)
        return error_set(error, PASSEL_NO_MEMORY, "no memory to open it");
    state->cursor.descriptor = -1;
    enum passel_status status;
    GOTO_IF_ERROR(cursor_take(&state->cursor, source, error), out_state);
    GOTO_IF_ERROR(reading_new(state, &reading, error), out_state);
    GOTO_IF_ERROR(check_header(reading, error), out_reading);
    read_info(reading, &reader->info);
    GOTO_IF_ERROR(read_profile(reading, &reader->info, error), out_reading);
    state->colour = is_colour(reading);
    status = channels_choose(choice, state->colour, ALPHA_NONE, &reader->info, &state->channels, error);
out_reading:
    reading_free(reading);
out_state:
    if (status == PASSEL_OK) {
        reader->state = state;
    } else {
        cursor_close(&state->cursor);
        memory_free(state);
    }
    return status;
}

/* Pixels */

static void start_step(struct jpeg_reading *reading)
{
    reading->jpeg.out_color_space = is_colour(reading) ? JCS_RGB : JCS_GRAYSCALE;
    reading->jpeg.dct_method = JDCT_ISLOW;
    jpeg_start_decompress(&reading->jpeg);
}

static void pixels_step(struct jpeg_reading *reading)
{
    const size_t pixels = reading->jpeg.output_width, channels = (size_t)reading->jpeg.output_components;
    for (int32_t y = 0; y < rect_height(reading->out->area); y++) {
        JSAMPROW row = reading->bytes;
        jpeg_read_scanlines(&reading->jpeg, &row, 1);
        for (size_t i = 0; i < pixels * channels; i++)
            reading->samples[i] = (float)reading->bytes[i] / 255.0f;
        channels_deliver(&reading->state->channels, reading->samples, channels, reading->out, y, 0, pixels);
    }
    jpeg_finish_decompress(&reading->jpeg);
}

static enum passel_status read_pixels(struct jpeg_reading *reading, const struct media_info *info,
                                      struct passel_error *error)
{
    const struct jpeg_decompress_struct *jpeg = &reading->jpeg;
    if (!rect_same(info->data, rect_of(0, 0, (int32_t)jpeg->image_width, (int32_t)jpeg->image_height)) ||
        is_colour(reading) != reading->state->colour)
        return error_set(error, PASSEL_BAD_FILE, "has changed since it was opened");
    if (!guarded(reading, start_step))
        return reading_error(reading, error);
    reading->bytes = memory_zeros(jpeg->output_width, (size_t)jpeg->output_components);
    reading->samples = memory_zeros(jpeg->output_width, (size_t)jpeg->output_components * sizeof(float));
    if (!reading->bytes || !reading->samples)
        return error_set(error, PASSEL_NO_MEMORY, "no memory to decode it");
    return guarded(reading, pixels_step) ? PASSEL_OK : reading_error(reading, error);
}

static enum passel_status jpeg_read(struct media_reader *reader, int32_t frame, const struct picture *out,
                                    struct media_faults *faults, struct passel_error *error)
{
    (void)frame, (void)faults;
    struct jpeg_reading *reading = NULL;
    RETURN_IF_ERROR(reading_new(reader->state, &reading, error));
    reading->out = out;
    const enum passel_status status = read_pixels(reading, &reader->info, error);
    reading_free(reading);
    return status;
}

static void jpeg_close(struct media_reader *reader)
{
    struct jpeg_state *state = reader->state;
    cursor_close(&state->cursor);
    memory_free(state);
}

static bool jpeg_probe(const unsigned char *head, size_t size)
{
    return size >= 3 && memcmp(head, "\xff\xd8\xff", 3) == 0;
}

const struct media_format format_jpeg = {
    .name = "JPEG",
    .probe = jpeg_probe,
    .open = jpeg_open,
    .read = jpeg_read,
    .close = jpeg_close,
};
