/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * PNG files in, through libpng. The header is read when the file is opened; a read starts over and decodes the whole
 * picture, so one reader can be asked again. libpng leaves by longjmp: each step that may do so is a function of its
 * own that owns nothing, called through `guarded`; all it needs and makes hangs on struct png_reading.
 */
#include <png.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "media/choice.h"
#include "media/cursor.h"
#include "media/format.h"
#include "media/png_chunks.h"
#include "media/png_colour.h"

enum {
    SIDE_LIMIT = 1 << 20,
    CHUNK_COUNT_LIMIT = 64,      /* of the kinds that are kept */
    CHUNK_SIZE_LIMIT = 16 << 20, /* of one of them */
};
#define PIXEL_LIMIT ((uint64_t)1 << 31)

/* Deflate makes at most 258 bytes out of two bits; a header that promises more than this per byte of file is a lie. */
#define INFLATE_LIMIT 1040

struct png_state {
    struct cursor cursor;
    bool narrow;
    struct channel_choice channels;
    bool colour, alpha;
};

struct png_reading {
    png_structp png;
    png_infop info;
    struct cursor *cursor;
    bool no_memory; /* also when libpng went on without what it could not get */
    char message[200];
    struct chunk_bytes chunks[CHUNK_COUNT]; /* of the header, the first of each kind; ours */
    /* For decoding */
    png_bytep *rows; /* one for all, or as many as there are when the file is interlaced */
    png_bytep block;
    const struct png_state *state;
    const struct picture *out;
    float *samples;
};

static png_voidp block_new(png_structp png, png_alloc_size_t size)
{
    struct png_reading *reading = png_get_mem_ptr(png);
    void *block = memory_new(size);
    reading->no_memory = reading->no_memory || !block;
    return block;
}

static void block_free(png_structp png, png_voidp block)
{
    (void)png;
    memory_free(block);
}

static PNG_NORETURN void leave(png_structp png, png_const_charp message)
{
    struct png_reading *reading = png_get_error_ptr(png);
    const size_t length = strlen(message) < sizeof reading->message ? strlen(message) : sizeof reading->message - 1;
    memcpy(reading->message, message, length);
    reading->message[length] = '\0';
    png_longjmp(png, 1);
}

static void keep_quiet(png_structp png, png_const_charp message)
{
    (void)png, (void)message;
}

static void take_bytes(png_structp png, png_bytep bytes, size_t size)
{
    struct png_reading *reading = png_get_io_ptr(png);
    if (cursor_read(reading->cursor, bytes, size) < size)
        png_error(png, "it ends early");
}

/* Called for colour chunks, which are declared unknown to libpng. Those behind the picture data say nothing of it. */
static int take_chunk(png_structp png, png_unknown_chunkp chunk)
{
    struct png_reading *reading = png_get_user_chunk_ptr(png);
    for (int kind = 0; kind < CHUNK_COUNT; kind++) {
        struct chunk_bytes *kept = &reading->chunks[kind];
        if (memcmp(chunk->name, colour_chunk_names[kind], 4) != 0 || kept->bytes || chunk->size == 0)
            continue;
        void *copy = memory_new(chunk->size);
        reading->no_memory = reading->no_memory || !copy;
        if (copy)
            *kept = (struct chunk_bytes){ memcpy(copy, chunk->data, chunk->size), chunk->size };
    }
    return 1;
}

/* Runs a step that libpng may leave; false when it did, or when memory was out. */
static bool guarded(struct png_reading *reading, void (*step)(struct png_reading *))
{
    if (setjmp(png_jmpbuf(reading->png)))
        return false;
    step(reading);
    return !reading->no_memory;
}

static void reading_end(struct png_reading *reading)
{
    png_destroy_read_struct(&reading->png, &reading->info, NULL);
    for (int kind = 0; kind < CHUNK_COUNT; kind++)
        memory_free(reading->chunks[kind].bytes);
    memory_free(reading->rows);
    memory_free(reading->block);
    memory_free(reading->samples);
}

static void header_step(struct png_reading *reading)
{
    /* Colour chunks are kept as they are; those that say nothing of the pixels' values are left out. */
    static const png_byte kept[] = "cICP\0iCCP\0sRGB\0cHRM\0gAMA";
    static const png_byte left[] = "tEXt\0zTXt\0iTXt\0sPLT\0hIST\0sBIT\0bKGD\0eXIf\0tIME\0oFFs\0pCAL\0sCAL";
    png_structp png = reading->png;
    png_set_user_limits(png, SIDE_LIMIT, SIDE_LIMIT);
    png_set_chunk_cache_max(png, CHUNK_COUNT_LIMIT);
    png_set_chunk_malloc_max(png, CHUNK_SIZE_LIMIT);
    png_set_keep_unknown_chunks(png, PNG_HANDLE_CHUNK_ALWAYS, kept, sizeof kept / 5);
    png_set_keep_unknown_chunks(png, PNG_HANDLE_CHUNK_NEVER, left, sizeof left / 5);
    png_set_read_user_chunk_fn(png, reading, take_chunk);
    png_read_info(png, reading->info);
}

static enum passel_status reading_error(struct png_reading *reading, struct passel_error *error)
{
    if (reading->no_memory)
        return error_set(error, PASSEL_NO_MEMORY, "no memory to decode it");
    return cursor_error(reading->cursor, reading->message, error);
}

/* Starts over and reads up to the first picture data. */
static enum passel_status reading_begin(struct png_reading *reading, struct cursor *cursor, struct passel_error *error)
{
    memset(reading, 0, sizeof *reading);
    cursor->at = 0;
    reading->cursor = cursor;
    reading->png =
        png_create_read_struct_2(PNG_LIBPNG_VER_STRING, reading, leave, keep_quiet, reading, block_new, block_free);
    reading->info = reading->png ? png_create_info_struct(reading->png) : NULL;
    enum passel_status status = PASSEL_OK;
    if (!reading->info) {
        status = error_set(error, PASSEL_NO_MEMORY, "no memory to decode it");
    } else {
        png_set_read_fn(reading->png, reading, take_bytes);
        if (!guarded(reading, header_step))
            status = reading_error(reading, error);
    }
    if (status != PASSEL_OK)
        reading_end(reading);
    return status;
}

/* What the header says */

static enum passel_status read_colour(const struct png_reading *reading, struct media_info *info, bool *narrow,
                                      struct passel_error *error)
{
    struct png_colour colour;
    png_colour_read(reading->chunks, &colour);
    if (colour.no_memory)
        return error_set(error, PASSEL_NO_MEMORY, "no memory for its colour profile");
    info->has_encoding = colour.claim.has_encoding;
    info->encoding = colour.claim.encoding;
    info->has_primaries = colour.claim.has_primaries;
    info->primaries = colour.claim.primaries;
    memcpy(info->unserved, colour.unserved, sizeof info->unserved);
    *narrow = colour.narrow && info->bits >= 8;
    return PASSEL_OK;
}

static enum passel_status check_size(const struct png_reading *reading, struct passel_error *error)
{
    const uint64_t width = png_get_image_width(reading->png, reading->info);
    const uint64_t height = png_get_image_height(reading->png, reading->info);
    const uint64_t bits =
        (uint64_t)png_get_bit_depth(reading->png, reading->info) * png_get_channels(reading->png, reading->info);
    if (width * height > PIXEL_LIMIT)
        return error_set(error, PASSEL_UNSUPPORTED, "%llux%llu pixels are too many", (unsigned long long)width,
                         (unsigned long long)height);
    if (width * height * bits / 8 > (reading->cursor->size + 1) * INFLATE_LIMIT)
        return error_set(error, PASSEL_BAD_FILE, "is damaged: %llux%llu pixels cannot be in %llu bytes",
                         (unsigned long long)width, (unsigned long long)height,
                         (unsigned long long)reading->cursor->size);
    return PASSEL_OK;
}

static void read_header(const struct png_reading *reading, struct media_info *info)
{
    png_structp png = reading->png;
    png_infop header = reading->info;
    info->compression = "deflate";
    info->display = info->data =
        rect_of(0, 0, (int32_t)png_get_image_width(png, header), (int32_t)png_get_image_height(png, header));
    png_uint_32 across = 0, down = 0;
    int unit = 0;
    if (png_get_pHYs(png, header, &across, &down, &unit) && across > 0 && down > 0)
        info->pixel_aspect = (double)down / across;
    info->sample = SAMPLE_UINT;
    info->bits = png_get_color_type(png, header) == PNG_COLOR_TYPE_PALETTE ? 8 : png_get_bit_depth(png, header);
    info->whole = true;
    info->chunk_rows = rect_height(info->data);
}

static bool has_colour(const struct png_reading *reading)
{
    return (png_get_color_type(reading->png, reading->info) & PNG_COLOR_MASK_COLOR) != 0;
}

static bool has_alpha(const struct png_reading *reading)
{
    return (png_get_color_type(reading->png, reading->info) & PNG_COLOR_MASK_ALPHA) != 0 ||
           png_get_valid(reading->png, reading->info, PNG_INFO_tRNS) != 0;
}

static enum passel_status png_open(struct media_reader *reader, struct media_source *source,
                                   const struct media_choice *choice, struct passel_error *error)
{
    struct png_reading reading;
    struct png_state *state = memory_zeros(1, sizeof *state);
    if (!state)
        return error_set(error, PASSEL_NO_MEMORY, "no memory to open it");
    state->cursor.descriptor = -1;
    enum passel_status status;
    GOTO_IF_ERROR(cursor_take(&state->cursor, source, error), out_state);
    GOTO_IF_ERROR(reading_begin(&reading, &state->cursor, error), out_state);
    GOTO_IF_ERROR(check_size(&reading, error), out_reading);
    read_header(&reading, &reader->info);
    GOTO_IF_ERROR(read_colour(&reading, &reader->info, &state->narrow, error), out_reading);
    state->colour = has_colour(&reading);
    state->alpha = has_alpha(&reading);
    status = channels_choose(choice, state->colour, state->alpha ? ALPHA_STRAIGHT : ALPHA_NONE, &reader->info,
                             &state->channels, error);
out_reading:
    reading_end(&reading);
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

static void transform_step(struct png_reading *reading)
{
    png_set_expand(reading->png);
    png_set_interlace_handling(reading->png);
    png_read_update_info(reading->png, reading->info);
}

/* Memory for one row, or for all of them when the file is interlaced. */
static bool rows_new(struct png_reading *reading, bool interlaced)
{
    const size_t row_bytes = png_get_rowbytes(reading->png, reading->info);
    const size_t width = png_get_image_width(reading->png, reading->info);
    const size_t count = interlaced ? png_get_image_height(reading->png, reading->info) : 1;
    reading->samples = memory_zeros(width, sizeof(float) * PLANE_COUNT);
    reading->rows = memory_zeros(count, sizeof *reading->rows);
    reading->block = memory_zeros(count, row_bytes);
    if (!reading->samples || !reading->rows || !reading->block)
        return false;
    for (size_t i = 0; i < count; i++)
        reading->rows[i] = reading->block + i * row_bytes;
    return true;
}

static void samples_from_bytes(const png_byte *bytes, size_t count, int bits, float *samples)
{
    if (bits == 8) {
        for (size_t i = 0; i < count; i++)
            samples[i] = (float)bytes[i] / 255.0f;
    } else {
        for (size_t i = 0; i < count; i++)
            samples[i] = (float)(bytes[2 * i] << 8 | bytes[2 * i + 1]) / 65535.0f;
    }
}

/* Undoes the narrow range of video: black at 16 and white at 235 of 8 bits, the same times 256 of 16. */
static void widen(float *samples, size_t pixels, size_t channels, bool alpha, int bits)
{
    const float black = bits == 8 ? 16.0f / 255.0f : 4096.0f / 65535.0f;
    const float span = bits == 8 ? 219.0f / 255.0f : 56064.0f / 65535.0f;
    const size_t colours = channels - (alpha ? 1 : 0);
    for (size_t x = 0; x < pixels; x++)
        for (size_t c = 0; c < colours; c++)
            samples[x * channels + c] = (samples[x * channels + c] - black) / span;
}

static void row_deliver(const struct png_reading *reading, const png_byte *bytes, int32_t y)
{
    const int bits = png_get_bit_depth(reading->png, reading->info);
    const size_t channels = png_get_channels(reading->png, reading->info);
    const size_t pixels = png_get_image_width(reading->png, reading->info);
    samples_from_bytes(bytes, pixels * channels, bits, reading->samples);
    if (reading->state->narrow)
        widen(reading->samples, pixels, channels, channels % 2 == 0, bits);
    channels_deliver(&reading->state->channels, reading->samples, channels, reading->out, y, 0, pixels);
}

static void pixels_step(struct png_reading *reading)
{
    const int32_t height = (int32_t)png_get_image_height(reading->png, reading->info);
    const bool interlaced = png_get_interlace_type(reading->png, reading->info) != PNG_INTERLACE_NONE;
    if (interlaced)
        png_read_image(reading->png, reading->rows);
    for (int32_t y = 0; y < height; y++) {
        if (!interlaced)
            png_read_row(reading->png, reading->rows[0], NULL);
        row_deliver(reading, reading->rows[interlaced ? y : 0], y);
    }
    png_read_end(reading->png, NULL);
}

static bool same_as_opened(const struct png_reading *reading, const struct media_info *info)
{
    const struct rect now = rect_of(0, 0, (int32_t)png_get_image_width(reading->png, reading->info),
                                    (int32_t)png_get_image_height(reading->png, reading->info));
    return rect_same(now, info->data) && has_colour(reading) == reading->state->colour &&
           has_alpha(reading) == reading->state->alpha;
}

static enum passel_status png_read(struct media_reader *reader, int32_t frame, const struct picture *out,
                                   struct media_faults *faults, struct passel_error *error)
{
    (void)frame, (void)faults;
    struct png_reading reading;
    struct png_state *state = reader->state;
    RETURN_IF_ERROR(reading_begin(&reading, &state->cursor, error));
    reading.state = state;
    reading.out = out;
    enum passel_status status = PASSEL_OK;
    const bool interlaced = png_get_interlace_type(reading.png, reading.info) != PNG_INTERLACE_NONE;
    if (!same_as_opened(&reading, &reader->info))
        status = error_set(error, PASSEL_BAD_FILE, "has changed since it was opened");
    else if (!guarded(&reading, transform_step))
        status = reading_error(&reading, error);
    else if (!rows_new(&reading, interlaced))
        status = error_set(error, PASSEL_NO_MEMORY, "no memory to decode it");
    else if (!guarded(&reading, pixels_step))
        status = reading_error(&reading, error);
    reading_end(&reading);
    return status;
}

static void png_close(struct media_reader *reader)
{
    struct png_state *state = reader->state;
    cursor_close(&state->cursor);
    memory_free(state);
}

/* The letters PNG are enough: libpng tells best what the transfer did to the bytes round them. */
static bool png_probe(const unsigned char *head, size_t size)
{
    return size >= 8 && memcmp(head + 1, "PNG", 3) == 0;
}

const struct media_format format_png = {
    .name = "PNG",
    .probe = png_probe,
    .open = png_open,
    .read = png_read,
    .close = png_close,
    .digest = png_chunks_digest,
};
