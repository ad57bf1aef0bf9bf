/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Reading OpenEXR: any rectangle, decoding only the chunks (lines or tiles) that cover it. The library's pipeline
 * fetches and decompresses a chunk; the last step, from stored lines to rows of float, is done here, so that it can
 * cut to the rectangle and look for values that are no numbers in the same pass.
 *
 * Several threads may read at once: each call takes a worker (pipeline with its buffers) from the reader's list.
 */
#include "media/exr.h"

#include "base/error.h"
#include "base/memory.h"
#include "picture/half.h"

#include <libdeflate.h>
#include <string.h>

struct exr_worker {
    struct exr_worker *next;
    exr_decode_pipeline_t pipe;
    bool ready;                                                /* the pipeline was initialised */
    exr_result_t (*library_step)(exr_decode_pipeline_t *pipe); /* its decompression; NULL when there is none */
    struct libdeflate_decompressor *inflate;
    float *line; /* one stored line of a sub-sampled channel; NULL when there are none */
    /* The call that is being served */
    const struct exr_reader *reader;
    struct rect data;
    const struct picture *out;
    struct media_faults *faults;
};

/* Decompression */

static exr_result_t inflate_chunk(exr_decode_pipeline_t *pipe)
{
    const struct exr_worker *worker = pipe->decoding_user_data;
    const size_t size = pipe->chunk.unpacked_size;
    size_t got = 0;
    const exr_result_t result = exr_reserve(&pipe->scratch_buffer_1, &pipe->scratch_alloc_size_1, size);
    if (result != EXR_ERR_SUCCESS)
        return result;
    if (libdeflate_zlib_decompress(worker->inflate, pipe->packed_buffer, pipe->chunk.packed_size,
                                   pipe->scratch_buffer_1, size, &got) != LIBDEFLATE_SUCCESS ||
        got != size)
        return EXR_ERR_CORRUPT_CHUNK;
    exr_zip_join(pipe->scratch_buffer_1, pipe->unpacked_buffer, size);
    return EXR_ERR_SUCCESS;
}

/* Stands before the library's step, which takes chunks that are stored as they are for damaged ones in B44. */
static exr_result_t decompress_chunk(exr_decode_pipeline_t *pipe)
{
    const struct exr_worker *worker = pipe->decoding_user_data;
    const exr_compression_t compression = worker->reader->chosen.compression;
    if (pipe->chunk.packed_size >= pipe->chunk.unpacked_size) {
        if (pipe->unpacked_buffer != pipe->packed_buffer)
            memcpy(pipe->unpacked_buffer, pipe->packed_buffer, pipe->chunk.unpacked_size);
        return EXR_ERR_SUCCESS;
    }
    if (compression == EXR_COMPRESSION_ZIP || compression == EXR_COMPRESSION_ZIPS)
        return inflate_chunk(pipe);
    return worker->library_step(pipe);
}

/* From stored values to float */

static bool floats_copy(const uint8_t *from, float *to, size_t count)
{
    uint32_t odd = 0;
    for (size_t i = 0; i < count; i++) {
        uint32_t bits;
        memcpy(&bits, from + 4 * i, sizeof bits);
        odd |= (bits & 0x7f800000u) == 0x7f800000u;
        memcpy(to + i, &bits, sizeof bits);
    }
    return odd != 0;
}

static void uints_convert(const uint8_t *from, float *to, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        uint32_t value;
        memcpy(&value, from + 4 * i, sizeof value);
        to[i] = (float)value;
    }
}

static void convert(uint16_t type, const uint8_t *from, float *to, size_t count, struct media_faults *faults)
{
    bool odd = false;
    if (type == EXR_PIXEL_HALF)
        odd = half_to_float(from, to, count);
    else if (type == EXR_PIXEL_FLOAT)
        odd = floats_copy(from, to, count);
    else
        uints_convert(from, to, count);
    if (odd)
        faults_repair(to, count, faults);
}

/* One stored line of one channel: where it lies in the picture, and its values. */
struct stored_line {
    const exr_coding_channel_info_t *channel;
    int32_t x0, y;       /* of its first pixel */
    const uint8_t *from; /* channel->width values */
};

/* The rows of the picture that a stored line stands for: its own and those up to the next one. */
static struct rect line_area(const struct exr_worker *worker, const struct stored_line *line)
{
    const exr_coding_channel_info_t *channel = line->channel;
    struct rect area =
        rect_of(line->x0, line->y, line->x0 + channel->width * channel->x_samples, line->y + channel->y_samples);
    if (line->y < worker->data.y0 + channel->y_samples)
        area.y0 = worker->data.y0;
    return rect_cut(area, worker->out->area);
}

/* Writes what of the line is asked for into row area.y0 of the plane. */
static void line_convert(const struct exr_worker *worker, const struct stored_line *line, struct rect area, float *to)
{
    const exr_coding_channel_info_t *channel = line->channel;
    const size_t element = (size_t)channel->bytes_per_element;
    const int32_t skip = (area.x0 - line->x0) / channel->x_samples;
    if (channel->x_samples == 1) {
        convert(channel->data_type, line->from + (size_t)skip * element, to, (size_t)rect_width(area), worker->faults);
        return;
    }
    const int32_t end = (area.x1 - 1 - line->x0) / channel->x_samples + 1;
    convert(channel->data_type, line->from + (size_t)skip * element, worker->line, (size_t)(end - skip),
            worker->faults);
    for (int32_t x = area.x0; x < area.x1; x++)
        to[x - area.x0] = worker->line[(x - line->x0) / channel->x_samples - skip];
}

/* Converts a line once and copies it to the other rows and planes that it feeds. */
static void line_deliver(const struct exr_worker *worker, int index, const struct stored_line *line)
{
    const struct rect area = line_area(worker, line);
    const struct picture *out = worker->out;
    const float *done = NULL;
    for (int p = 0; p < PLANE_COUNT && !rect_empty(area); p++) {
        if (worker->reader->chosen.source[p] != index || out->plane[p] == NULL)
            continue;
        for (int32_t y = area.y0; y < area.y1; y++) {
            float *to = picture_row(out, (enum plane)p, y) + (area.x0 - out->area.x0);
            if (done == NULL)
                line_convert(worker, line, area, to);
            else
                memcpy(to, done, (size_t)rect_width(area) * sizeof *to);
            done = done != NULL ? done : to;
        }
    }
}

/* The last step of the pipeline. Lines come from the top, in each line channel after channel. */
static exr_result_t unpack_chunk(exr_decode_pipeline_t *pipe)
{
    const struct exr_worker *worker = pipe->decoding_user_data;
    const struct exr_chosen *chosen = &worker->reader->chosen;
    const bool tiled = chosen->storage == EXR_STORAGE_TILED;
    const int32_t x0 = worker->data.x0 + (tiled ? pipe->chunk.start_x * chosen->tile_width : 0);
    const int32_t y0 = tiled ? worker->data.y0 + pipe->chunk.start_y * chosen->chunk_rows : pipe->chunk.start_y;
    const uint8_t *bytes = pipe->unpacked_buffer;
    size_t left = pipe->chunk.unpacked_size;
    for (int32_t y = y0; y < y0 + pipe->chunk.height; y++)
        for (int c = 0; c < pipe->channel_count; c++) {
            const exr_coding_channel_info_t *channel = &pipe->channels[c];
            if (y % channel->y_samples != 0)
                continue;
            const size_t size = (size_t)channel->width * (size_t)channel->bytes_per_element;
            if (size > left)
                return EXR_ERR_CORRUPT_CHUNK;
            line_deliver(worker, c, &(struct stored_line){ channel, x0, y, bytes });
            bytes += size;
            left -= size;
        }
    return EXR_ERR_SUCCESS;
}

/* Workers */

static void worker_free(struct exr_worker *worker)
{
    if (worker == NULL)
        return;
    if (worker->ready)
        exr_decoding_destroy(worker->reader->file.context, &worker->pipe);
    libdeflate_free_decompressor(worker->inflate);
    memory_free(worker->line);
    memory_free(worker);
}

static struct exr_worker *worker_new(const struct exr_reader *reader, struct rect data)
{
    struct exr_worker *worker = memory_zeros(1, sizeof *worker);
    if (worker == NULL)
        return NULL;
    worker->reader = reader;
    worker->data = data;
    worker->inflate = libdeflate_alloc_decompressor();
    worker->line = memory_zeros((size_t)rect_width(data), sizeof *worker->line);
    if (worker->inflate != NULL && worker->line != NULL)
        return worker;
    worker_free(worker);
    return NULL;
}

static struct exr_worker *worker_take(struct exr_reader *reader, struct rect data)
{
    pthread_mutex_lock(&reader->lock);
    struct exr_worker *worker = reader->idle;
    if (worker != NULL)
        reader->idle = worker->next;
    pthread_mutex_unlock(&reader->lock);
    return worker != NULL ? worker : worker_new(reader, data);
}

static void worker_give(struct exr_reader *reader, struct exr_worker *worker)
{
    pthread_mutex_lock(&reader->lock);
    worker->next = reader->idle;
    reader->idle = worker;
    pthread_mutex_unlock(&reader->lock);
}

/* Chunks */

static exr_result_t pipe_start(struct exr_worker *worker, const exr_chunk_info_t *chunk)
{
    const struct exr_reader *reader = worker->reader;
    exr_decode_pipeline_t *pipe = &worker->pipe;
    exr_result_t result = exr_decoding_initialize(reader->file.context, reader->chosen.part, chunk, pipe);
    if (result != EXR_ERR_SUCCESS)
        return result;
    worker->ready = true;
    pipe->decoding_user_data = worker;
    result = exr_decoding_choose_default_routines(reader->file.context, reader->chosen.part, pipe);
    worker->library_step = pipe->decompress_fn;
    pipe->decompress_fn = worker->library_step != NULL ? decompress_chunk : NULL;
    pipe->unpack_and_convert_fn = unpack_chunk;
    return result;
}

/* The library says "out of memory" also when damaged data want more room than there is. When all buffers that the
 * codec works with are there, memory was not the cause. */
static bool buffers_there(const exr_decode_pipeline_t *pipe, exr_compression_t compression)
{
    return pipe->packed_buffer != NULL && pipe->unpacked_buffer != NULL && pipe->scratch_buffer_1 != NULL &&
           (compression != EXR_COMPRESSION_PIZ || pipe->scratch_buffer_2 != NULL);
}

static exr_result_t chunk_read(struct exr_worker *worker, const exr_chunk_info_t *chunk)
{
    const struct exr_reader *reader = worker->reader;
    if (!exr_chunk_plausible(chunk))
        return EXR_ERR_CORRUPT_CHUNK;
    exr_result_t result = worker->ready
                              ? exr_decoding_update(reader->file.context, reader->chosen.part, chunk, &worker->pipe)
                              : pipe_start(worker, chunk);
    if (result != EXR_ERR_SUCCESS)
        return result;
    result = exr_decoding_run(reader->file.context, reader->chosen.part, &worker->pipe);
    if (result == EXR_ERR_OUT_OF_MEMORY && buffers_there(&worker->pipe, reader->chosen.compression))
        return EXR_ERR_CORRUPT_CHUNK;
    return result;
}

static exr_result_t lines_read(struct exr_worker *worker, int32_t y)
{
    const struct exr_reader *reader = worker->reader;
    exr_chunk_info_t chunk;
    const exr_result_t result = exr_read_scanline_chunk_info(reader->file.context, reader->chosen.part, y, &chunk);
    return result != EXR_ERR_SUCCESS ? result : chunk_read(worker, &chunk);
}

static exr_result_t tiles_read(struct exr_worker *worker, int32_t y)
{
    const struct exr_reader *reader = worker->reader;
    const int32_t width = reader->chosen.tile_width;
    const int row = (y - worker->data.y0) / reader->chosen.chunk_rows;
    const int first = (worker->out->area.x0 - worker->data.x0) / width;
    const int last = (worker->out->area.x1 - 1 - worker->data.x0) / width;
    exr_result_t result = EXR_ERR_SUCCESS;
    for (int column = first; column <= last && result == EXR_ERR_SUCCESS; column++) {
        exr_chunk_info_t chunk;
        result = exr_read_tile_chunk_info(reader->file.context, reader->chosen.part, column, row, 0, 0, &chunk);
        if (result == EXR_ERR_SUCCESS)
            result = chunk_read(worker, &chunk);
    }
    return result;
}

static enum passel_status rows_read(struct exr_worker *worker, struct passel_error *error)
{
    const struct exr_chosen *chosen = &worker->reader->chosen;
    const int32_t top = worker->data.y0, reached = worker->out->area.y0 - (chosen->row_reach - 1);
    const int32_t first = reached > top ? reached : top;
    int32_t y = first - (first - top) % chosen->chunk_rows;
    for (; y < worker->out->area.y1; y += chosen->chunk_rows) {
        const exr_result_t result =
            chosen->storage == EXR_STORAGE_TILED ? tiles_read(worker, y) : lines_read(worker, y);
        if (result != EXR_ERR_SUCCESS)
            return exr_file_error(&worker->reader->file, result, y, error);
    }
    return PASSEL_OK;
}

/* Planes that the file does not have: opaque, black. */
static void fill_missing(const struct exr_reader *reader, const struct picture *out)
{
    for (int p = 0; p < PLANE_COUNT; p++)
        if (out->plane[p] != NULL && reader->chosen.source[p] < 0)
            picture_fill(out, (enum plane)p, out->area, p == PLANE_A ? 1.0f : 0.0f);
}

/* The format */

static bool exr_probe(const unsigned char *head, size_t size)
{
    return size >= 4 && memcmp(head, "\x76\x2f\x31\x01", 4) == 0;
}

static enum passel_status exr_open(struct media_reader *media, struct media_source *source,
                                   const struct media_choice *choice, struct passel_error *error)
{
    struct exr_reader *reader = memory_zeros(1, sizeof *reader);
    if (reader == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "memory is out");
    enum passel_status status = exr_file_open(&reader->file, source, error);
    if (status != PASSEL_OK)
        goto out_reader;
    GOTO_IF_ERROR(exr_choose(&reader->file, choice, &reader->chosen, &media->info, error), out_file);
    pthread_mutex_init(&reader->lock, NULL);
    media->state = reader;
    return PASSEL_OK;
out_file:
    exr_file_close(&reader->file);
out_reader:
    memory_free(reader);
    return status;
}

static enum passel_status exr_read(struct media_reader *media, int32_t frame, const struct picture *out,
                                   struct media_faults *faults, struct passel_error *error)
{
    struct exr_reader *reader = media->state;
    (void)frame;
    if (reader->chosen.through_rgba)
        return exr_rgba_read(media, out, faults, error);
    struct exr_worker *worker = worker_take(reader, media->info.data);
    if (worker == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "memory is out");
    worker->out = out;
    worker->faults = faults;
    const enum passel_status status = rows_read(worker, error);
    if (status == PASSEL_OK) {
        fill_missing(reader, out);
        worker_give(reader, worker);
    } else {
        worker_free(worker); /* what a failed chunk left in the pipeline is not trusted */
    }
    return status;
}

static void exr_close(struct media_reader *media)
{
    struct exr_reader *reader = media->state;
    while (reader->idle != NULL) {
        struct exr_worker *worker = reader->idle;
        reader->idle = worker->next;
        worker_free(worker);
    }
    pthread_mutex_destroy(&reader->lock);
    exr_file_close(&reader->file);
    memory_free(reader);
}

/* Is every chunk of the first part there, whole and inside the file? */
static bool all_there(const struct exr_file *file)
{
    exr_attr_box2i_t data;
    exr_storage_t storage;
    int32_t rows = 0;
    if (exr_get_storage(file->context, 0, &storage) != EXR_ERR_SUCCESS || storage != EXR_STORAGE_SCANLINE ||
        exr_file_plausible(file, 0, NULL) != PASSEL_OK ||
        exr_get_data_window(file->context, 0, &data) != EXR_ERR_SUCCESS ||
        exr_get_scanlines_per_chunk(file->context, 0, &rows) != EXR_ERR_SUCCESS || rows < 1)
        return false;
    for (int64_t y = data.min.y; y <= data.max.y; y += rows) {
        exr_chunk_info_t chunk;
        if (exr_read_scanline_chunk_info(file->context, 0, (int)y, &chunk) != EXR_ERR_SUCCESS ||
            chunk.data_offset > file->size || chunk.packed_size > file->size - chunk.data_offset)
            return false;
    }
    return true;
}

static enum passel_status digest_copy(const struct exr_file *file, char **digest, struct passel_error *error)
{
    int32_t length = 0;
    const char *text = NULL;
    if (exr_attr_get_string(file->context, 0, EXR_DIGEST, &length, &text) != EXR_ERR_SUCCESS || length < 0)
        return PASSEL_OK;
    *digest = memory_zeros((size_t)length + 1, 1);
    if (*digest == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "memory is out");
    if (length > 0)
        memcpy(*digest, text, (size_t)length);
    return PASSEL_OK;
}

static enum passel_status exr_digest(struct media_source *source, char **digest, struct passel_error *error)
{
    struct exr_file file;
    const enum passel_status opened = exr_file_open(&file, source, error);
    if (opened != PASSEL_OK)
        return opened == PASSEL_NO_MEMORY ? opened : PASSEL_OK;
    const enum passel_status status = all_there(&file) ? digest_copy(&file, digest, error) : PASSEL_OK;
    exr_file_close(&file);
    return status;
}

const struct media_format format_exr = {
    .name = "OpenEXR",
    .probe = exr_probe,
    .open = exr_open,
    .read = exr_read,
    .close = exr_close,
    .digest = exr_digest,
};
