/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * PNG files out, through libpng. Compression goes from the first row to the last: each thread turns its strip into
 * bytes, leaves it in the queue, and when nobody is compressing and the next rows are there, compresses all that are.
 * As in png_read.c, libpng leaves only functions that own nothing.
 */
#include <png.h>
#include <pthread.h>
#include <string.h>
#include <zlib.h>

#include "base/error.h"
#include "base/file.h"
#include "base/memory.h"
#include "media/format.h"
#include "media/png_chunks.h"
#include "media/png_colour.h"
#include "media/png_rows.h"

/* On a 1080p frame with grain, level 4 or the choice of a filter per row wins 4 to 10 % of size for twice the time. */
enum { BUFFER_SIZE = 1 << 16, COMPRESSION_LEVEL = 2, COMPRESSION_FILTERS = PNG_FILTER_SUB };
enum { ASPECT_UNIT = 1000000 }; /* pHYs says the aspect as pixels per unit, down : across */

struct strip {
    struct strip *next; /* further down in the picture */
    int32_t y0, y1;
    unsigned char bytes[];
};

struct png_writing {
    struct new_file file;
    png_structp png;
    png_infop info;
    const struct media_plan *plan; /* only while the file is made */
    struct new_chunk chunks[CHUNK_COUNT];
    int channels, bits;
    size_t row_bytes;
    pthread_mutex_t lock;
    /* Behind the lock */
    struct strip *waiting; /* from the top down */
    int32_t next_row;
    bool busy; /* a thread is compressing and owns png, buffer and failure */
    bool failed;
    /* The compressing thread's */
    struct strip *current;
    struct passel_error failure;
    size_t used;
    unsigned char buffer[BUFFER_SIZE];
};

static PNG_NORETURN void leave(png_structp png, png_const_charp message)
{
    struct png_writing *writing = png_get_error_ptr(png);
    if (writing->failure.status == PASSEL_OK)
        error_set(&writing->failure, PASSEL_BAD_DISK, "cannot be written: %s", message);
    png_longjmp(png, 1);
}

static void keep_quiet(png_structp png, png_const_charp message)
{
    (void)png, (void)message;
}

static png_voidp block_new(png_structp png, png_alloc_size_t size)
{
    struct png_writing *writing = png_get_mem_ptr(png);
    void *block = memory_new(size);
    if (!block)
        error_set(&writing->failure, PASSEL_NO_MEMORY, "no memory to write it");
    return block;
}

static void block_free(png_structp png, png_voidp block)
{
    (void)png;
    memory_free(block);
}

static void flush_bytes(png_structp png)
{
    struct png_writing *writing = png_get_io_ptr(png);
    if (new_file_write(&writing->file, writing->buffer, writing->used, &writing->failure) != PASSEL_OK)
        png_error(png, "disk");
    writing->used = 0;
}

static void give_bytes(png_structp png, png_bytep bytes, size_t size)
{
    struct png_writing *writing = png_get_io_ptr(png);
    while (size > 0) {
        if (writing->used == BUFFER_SIZE)
            flush_bytes(png);
        const size_t room = BUFFER_SIZE - writing->used;
        const size_t step = size < room ? size : room;
        memcpy(writing->buffer + writing->used, bytes, step);
        writing->used += step;
        bytes += step;
        size -= step;
    }
}

/* Runs a step that libpng may leave; false when it did, or when memory was out. */
static bool guarded(struct png_writing *writing, void (*step)(struct png_writing *))
{
    if (setjmp(png_jmpbuf(writing->png)))
        return false;
    step(writing);
    return writing->failure.status == PASSEL_OK;
}

/* The header */

/* Chunks that libpng does not know, or would want to correct, go straight into the file. */
static void write_colour(struct png_writing *writing)
{
    for (int i = 0; i < CHUNK_COUNT; i++)
        if (writing->chunks[i].size > 0)
            png_write_chunk(writing->png, (png_const_bytep)colour_chunk_names[i], writing->chunks[i].bytes,
                            writing->chunks[i].size);
}

static void set_digest(struct png_writing *writing)
{
    char keyword[] = PNG_DIGEST_KEYWORD;
    png_text text = { .compression = PNG_TEXT_COMPRESSION_NONE, .key = keyword };
    if (!writing->plan->digest)
        return;
    text.text = (png_charp)(uintptr_t)writing->plan->digest; /* libpng only copies it */
    png_set_text(writing->png, writing->info, &text, 1);
}

static void header_step(struct png_writing *writing)
{
    static const int types[] = { [1] = PNG_COLOR_TYPE_GRAY, [3] = PNG_COLOR_TYPE_RGB, [4] = PNG_COLOR_TYPE_RGBA };
    const struct media_plan *plan = writing->plan;
    png_structp png = writing->png;
    png_set_user_limits(png, RECT_LIMIT, RECT_LIMIT);
    png_set_IHDR(png, writing->info, (png_uint_32)rect_width(plan->data), (png_uint_32)rect_height(plan->data),
                 writing->bits, types[writing->channels], PNG_INTERLACE_NONE, PNG_COMPRESSION_TYPE_DEFAULT,
                 PNG_FILTER_TYPE_DEFAULT);
    png_set_compression_level(png, COMPRESSION_LEVEL);
    png_set_compression_buffer_size(png, BUFFER_SIZE);
    png_set_filter(png, PNG_FILTER_TYPE_BASE, COMPRESSION_FILTERS);
    set_digest(writing);
    if (plan->pixel_aspect != 1)
        png_set_pHYs(png, writing->info, ASPECT_UNIT, (png_uint_32)(plan->pixel_aspect * ASPECT_UNIT + 0.5),
                     PNG_RESOLUTION_UNKNOWN);
    png_write_info_before_PLTE(png, writing->info);
    write_colour(writing);
    png_write_info(png, writing->info);
}

static enum passel_status check_plan(const struct media_plan *plan, struct passel_error *error)
{
    const unsigned planes = plan->layers[0].planes;
    if (plan->layer_count != 1)
        return error_set(error, PASSEL_UNSUPPORTED, "a PNG file holds one layer, not %d", plan->layer_count);
    if (planes != HAS_A && planes != HAS_RGB && planes != HAS_RGBA)
        return error_set(error, PASSEL_UNSUPPORTED, "a PNG file holds RGB, RGBA or a matte");
    if (plan->pixels != PIXELS_8 && plan->pixels != PIXELS_16)
        return error_set(error, PASSEL_UNSUPPORTED, "a PNG file holds pixels of 8 or 16 bits, not half or float");
    if (plan->compression)
        return error_set(error, PASSEL_UNSUPPORTED, "a PNG file has one compression, not %s", plan->compression);
    if (!rect_same(plan->display, plan->data))
        return error_set(error, PASSEL_UNSUPPORTED, "a PNG file holds the whole frame, not a part of it");
    if (!(plan->pixel_aspect >= 1e-3 && plan->pixel_aspect <= 1e3))
        return error_set(error, PASSEL_UNSUPPORTED, "pixels %g times as wide as high", plan->pixel_aspect);
    return PASSEL_OK;
}

static enum passel_status no_memory(struct passel_error *error)
{
    return error_set(error, PASSEL_NO_MEMORY, "no memory to write it");
}

static void writing_free(struct png_writing *writing)
{
    png_destroy_write_struct(&writing->png, &writing->info);
    while (writing->waiting) {
        struct strip *strip = writing->waiting;
        writing->waiting = strip->next;
        memory_free(strip);
    }
    new_file_drop(&writing->file);
    pthread_mutex_destroy(&writing->lock);
    memory_free(writing);
}

/* What a step left behind, for the caller. */
static enum passel_status writing_error(const struct png_writing *writing, struct passel_error *error)
{
    return error_set(error, writing->failure.status, "%s", writing->failure.text);
}

static enum passel_status writing_new(struct png_writing **made, struct passel_error *error)
{
    struct png_writing *writing = memory_zeros(1, sizeof *writing);
    if (!writing)
        return no_memory(error);
    if (pthread_mutex_init(&writing->lock, NULL) != 0) {
        memory_free(writing);
        return no_memory(error);
    }
    writing->file.descriptor = -1;
    writing->png =
        png_create_write_struct_2(PNG_LIBPNG_VER_STRING, writing, leave, keep_quiet, writing, block_new, block_free);
    writing->info = writing->png ? png_create_info_struct(writing->png) : NULL;
    if (!writing->info) {
        writing_free(writing);
        return no_memory(error);
    }
    png_set_write_fn(writing->png, writing, give_bytes, flush_bytes);
    *made = writing;
    return PASSEL_OK;
}

static enum passel_status png_create(struct media_writer *writer, const struct media_plan *plan,
                                     struct passel_error *error)
{
    struct png_writing *writing = NULL;
    RETURN_IF_ERROR(check_plan(plan, error));
    RETURN_IF_ERROR(writing_new(&writing, error));
    const unsigned planes = plan->layers[0].planes;
    writing->channels = planes == HAS_A ? 1 : planes == HAS_RGB ? 3 : 4;
    writing->bits = plan->pixels == PIXELS_8 ? 8 : 16;
    writing->row_bytes = (size_t)rect_width(plan->data) * (size_t)(writing->channels * writing->bits / 8);
    writing->next_row = plan->data.y0;
    writing->plan = plan;
    enum passel_status status = PASSEL_OK;
    if (!png_colour_write(plan->encoding, &plan->primaries, writing->chunks))
        status = error_set(error, PASSEL_UNSUPPORTED,
                           "a PNG file says encoding %s only with primaries rec709, rec2020 or p3d65",
                           encoding_name(plan->encoding.curve));
    if (status == PASSEL_OK)
        status = new_file_open(&writing->file, writer->path, error);
    if (status == PASSEL_OK && !guarded(writing, header_step))
        status = writing_error(writing, error);
    writing->plan = NULL;
    if (status != PASSEL_OK) {
        writing_free(writing);
        return status;
    }
    writer->rows = 1;
    writer->state = writing;
    return PASSEL_OK;
}

/* Strips */

static void strip_fill(const struct png_writing *writing, const struct picture *rows, struct strip *strip)
{
    const size_t width = (size_t)rect_width(rows->area), channels = (size_t)writing->channels;
    for (int32_t y = strip->y0; y < strip->y1; y++) {
        unsigned char *bytes = strip->bytes + (size_t)(y - strip->y0) * writing->row_bytes;
        for (size_t c = 0; c < channels; c++) {
            const enum plane plane = channels == 1 ? PLANE_A : (enum plane)c;
            const float *samples = picture_row(rows, plane, y);
            if (writing->bits == 8)
                samples_to_8(samples, width, rows->area.x0, y, bytes + c, channels);
            else
                samples_to_16(samples, width, bytes + 2 * c, channels);
        }
    }
}

static struct strip *strip_new(const struct png_writing *writing, const struct picture *rows)
{
    size_t bytes;
    if (!size_multiply((size_t)rect_height(rows->area), writing->row_bytes, &bytes) || bytes > SIZE_MAX / 2)
        return NULL;
    struct strip *strip = memory_new(sizeof *strip + bytes);
    if (!strip)
        return NULL;
    strip->next = NULL;
    strip->y0 = rows->area.y0;
    strip->y1 = rows->area.y1;
    strip_fill(writing, rows, strip);
    return strip;
}

static void strip_step(struct png_writing *writing)
{
    const struct strip *strip = writing->current;
    for (int32_t y = strip->y0; y < strip->y1; y++)
        png_write_row(writing->png, strip->bytes + (size_t)(y - strip->y0) * writing->row_bytes);
}

static void strip_queue(struct png_writing *writing, struct strip *strip)
{
    struct strip **at = &writing->waiting;
    while (*at && (*at)->y0 < strip->y0)
        at = &(*at)->next;
    strip->next = *at;
    *at = strip;
}

/* With the lock held: compresses what is there of the next rows, without the lock. */
static void strips_compress(struct png_writing *writing)
{
    writing->busy = true;
    while (!writing->failed && writing->waiting && writing->waiting->y0 == writing->next_row) {
        struct strip *strip = writing->waiting;
        writing->waiting = strip->next;
        pthread_mutex_unlock(&writing->lock);
        writing->current = strip;
        const bool done = guarded(writing, strip_step);
        pthread_mutex_lock(&writing->lock);
        writing->next_row = strip->y1;
        writing->failed = !done;
        memory_free(strip);
    }
    writing->busy = false;
}

static enum passel_status png_write(struct media_writer *writer, const struct picture *rows, struct passel_error *error)
{
    struct png_writing *writing = writer->state;
    struct strip *strip = strip_new(writing, rows);
    if (!strip)
        return no_memory(error);
    pthread_mutex_lock(&writing->lock);
    strip_queue(writing, strip);
    if (!writing->busy)
        strips_compress(writing);
    const enum passel_status status = writing->failed ? writing_error(writing, error) : PASSEL_OK;
    pthread_mutex_unlock(&writing->lock);
    return status;
}

static void end_step(struct png_writing *writing)
{
    png_write_end(writing->png, NULL);
    flush_bytes(writing->png);
}

static enum passel_status png_finish(struct media_writer *writer, struct passel_error *error)
{
    struct png_writing *writing = writer->state;
    enum passel_status status = PASSEL_OK;
    if (writing->failed)
        status = writing_error(writing, error);
    else if (writing->next_row != writer->data.y1)
        status = error_set(error, PASSEL_BAD_DISK, "rows are missing from %d on", writing->next_row);
    else if (!guarded(writing, end_step))
        status = writing_error(writing, error);
    else
        status = new_file_keep(&writing->file, error);
    writing_free(writing);
    return status;
}

static void png_discard(struct media_writer *writer)
{
    writing_free(writer->state);
}

const struct media_output output_png = {
    .extension = "png",
    .create = png_create,
    .write = png_write,
    .finish = png_finish,
    .discard = png_discard,
};
