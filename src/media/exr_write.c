/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Writing OpenEXR in lines from the top. The thread that brings a strip packs and compresses its chunks; the finished
 * chunks go into the file in order, so that the bytes do not depend on who came when. A chunk that comes early waits
 * in its slot. All writing passes through base/file.h.
 */
#include "media/exr.h"

#include "base/error.h"
#include "base/file.h"
#include "base/memory.h"
#include "picture/half.h"

#include <libdeflate.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Level 3 of libdeflate packs about as well as the library's own default, several times as fast. */
enum { DEFLATE_LEVEL = 3, MOST_NAME = 255, SHORT_NAME = 31 };

/* A channel of the file and the plane it is taken from. */
struct exr_target {
    char name[MOST_NAME + 1];
    int layer, plane;
};

struct exr_slot {
    void *bytes; /* a chunk that waits, or NULL */
    size_t size;
};

struct exr_packer {
    struct exr_packer *next;
    exr_encode_pipeline_t pipe;
    bool ready; /* the pipeline was initialised */
    struct libdeflate_compressor *deflate;
    struct exr_writer *writer;
    const struct picture *rows; /* of the call that is being served */
    enum passel_status status;  /* why the last step failed, in *error */
    struct passel_error *error;
};

struct exr_writer {
    struct new_file file;
    exr_context_t context;
    exr_compression_t compression;
    exr_pixel_type_t type;
    struct rect data;
    int32_t chunk_rows, chunk_count;
    struct exr_target *targets; /* sorted by name, as the library keeps channels */
    int target_count;
    pthread_mutex_t lock; /* guards all below, and writing to the file */
    struct exr_slot *slots;
    int32_t next;               /* the first chunk that is not yet in the file */
    struct passel_error failed; /* the first failure of the disk */
    struct exr_packer *idle;
};

/* Hooks of the library */

static int64_t write_hook(exr_const_context_t context, void *data, const void *buffer, uint64_t size, uint64_t offset,
                          exr_stream_error_func_ptr_t report)
{
    struct exr_writer *writer = data;
    (void)context;
    (void)report;
    if (writer->failed.status != PASSEL_OK ||
        new_file_write_at(&writer->file, buffer, size, offset, &writer->failed) != PASSEL_OK)
        return -1;
    return (int64_t)size;
}

/* What goes wrong is told by result codes and, for the disk, by `failed`. */
static void silent_hook(exr_const_context_t context, exr_result_t code, const char *words)
{
    (void)context;
    (void)code;
    (void)words;
}

/* The status for a result of the library; a failure of the disk is its cause when there was one. */
static enum passel_status write_error(const struct exr_writer *writer, exr_result_t result, struct passel_error *error)
{
    if (writer->failed.status != PASSEL_OK)
        return error_set(error, writer->failed.status, "%s", writer->failed.text);
    return error_set(error, result == EXR_ERR_OUT_OF_MEMORY ? PASSEL_NO_MEMORY : PASSEL_BAD_USE,
                     "cannot be written (%s)", exr_get_default_error_message(result));
}

/* Ordered writing; the lock is held */

static exr_result_t put_chunk(struct exr_writer *writer, const void *bytes, size_t size)
{
    const int32_t y = writer->data.y0 + writer->next * writer->chunk_rows;
    const exr_result_t result = exr_write_scanline_chunk(writer->context, 0, y, bytes, size);
    if (result == EXR_ERR_SUCCESS)
        writer->next++;
    return result;
}

static exr_result_t put_waiting(struct exr_writer *writer)
{
    exr_result_t result = EXR_ERR_SUCCESS;
    while (result == EXR_ERR_SUCCESS && writer->next < writer->chunk_count &&
           writer->slots[writer->next].bytes != NULL) {
        struct exr_slot *slot = &writer->slots[writer->next];
        result = put_chunk(writer, slot->bytes, slot->size);
        memory_free(slot->bytes);
        slot->bytes = NULL;
    }
    return result;
}

static exr_result_t keep_waiting(struct exr_slot *slot, const void *bytes, size_t size)
{
    slot->bytes = memory_new(size);
    if (slot->bytes == NULL)
        return EXR_ERR_OUT_OF_MEMORY;
    memcpy(slot->bytes, bytes, size);
    slot->size = size;
    return EXR_ERR_SUCCESS;
}

static enum passel_status hand_over(struct exr_writer *writer, int32_t chunk, const void *bytes, size_t size,
                                    struct passel_error *error)
{
    exr_result_t result = EXR_ERR_SUCCESS;
    enum passel_status status = PASSEL_OK;
    pthread_mutex_lock(&writer->lock);
    if (chunk < writer->next || writer->slots[chunk].bytes != NULL)
        status = error_set(error, PASSEL_BAD_USE, "row %d was already written",
                           writer->data.y0 + chunk * writer->chunk_rows);
    else if (chunk > writer->next)
        result = keep_waiting(&writer->slots[chunk], bytes, size);
    else
        result = put_chunk(writer, bytes, size);
    if (status == PASSEL_OK && result == EXR_ERR_SUCCESS)
        result = put_waiting(writer);
    if (result != EXR_ERR_SUCCESS)
        status = write_error(writer, result, error);
    pthread_mutex_unlock(&writer->lock);
    return status;
}

/* Steps of the pipeline */

/* Lines from the top, in each line channel after channel. */
static exr_result_t pack_chunk(exr_encode_pipeline_t *pipe)
{
    const struct exr_packer *packer = pipe->encoding_user_data;
    const struct exr_writer *writer = packer->writer;
    const size_t width = (size_t)rect_width(writer->data), line = width * (writer->type == EXR_PIXEL_HALF ? 2 : 4);
    const size_t size = line * (size_t)writer->target_count * (size_t)pipe->chunk.height;
    const exr_result_t result = exr_reserve(&pipe->packed_buffer, &pipe->packed_alloc_size, size);
    if (result != EXR_ERR_SUCCESS)
        return result;
    uint8_t *to = pipe->packed_buffer;
    for (int32_t y = pipe->chunk.start_y; y < pipe->chunk.start_y + pipe->chunk.height; y++)
        for (int t = 0; t < writer->target_count; t++, to += line) {
            const struct exr_target *target = &writer->targets[t];
            const float *from = picture_row(&packer->rows[target->layer], (enum plane)target->plane, y);
            if (writer->type == EXR_PIXEL_HALF)
                half_from_float(from, to, width);
            else
                memcpy(to, from, line);
        }
    pipe->packed_bytes = size;
    return EXR_ERR_SUCCESS;
}

/* Takes the place of the library's step for ZIP and ZIPS. What does not shrink is stored as it is. */
static exr_result_t deflate_chunk(exr_encode_pipeline_t *pipe)
{
    const struct exr_packer *packer = pipe->encoding_user_data;
    const size_t size = pipe->packed_bytes;
    exr_result_t result = exr_reserve(&pipe->scratch_buffer_1, &pipe->scratch_alloc_size_1, size);
    if (result == EXR_ERR_SUCCESS)
        result = exr_reserve(&pipe->compressed_buffer, &pipe->compressed_alloc_size, size);
    if (result != EXR_ERR_SUCCESS)
        return result;
    exr_zip_split(pipe->packed_buffer, pipe->scratch_buffer_1, size);
    pipe->compressed_bytes =
        libdeflate_zlib_compress(packer->deflate, pipe->scratch_buffer_1, size, pipe->compressed_buffer, size - 1);
    if (pipe->compressed_bytes == 0) {
        memcpy(pipe->compressed_buffer, pipe->packed_buffer, size);
        pipe->compressed_bytes = size;
    }
    return EXR_ERR_SUCCESS;
}

/* A chunk as large as its pixels is taken for stored as it is, by every reader; the library's codecs do not mind. */
static exr_result_t deliver_chunk(exr_encode_pipeline_t *pipe)
{
    struct exr_packer *packer = pipe->encoding_user_data;
    struct exr_writer *writer = packer->writer;
    const int32_t chunk = (pipe->chunk.start_y - writer->data.y0) / writer->chunk_rows;
    const bool shrunk = pipe->compressed_bytes < pipe->packed_bytes;
    packer->status = hand_over(writer, chunk, shrunk ? pipe->compressed_buffer : pipe->packed_buffer,
                               shrunk ? pipe->compressed_bytes : pipe->packed_bytes, packer->error);
    return packer->status == PASSEL_OK ? EXR_ERR_SUCCESS : EXR_ERR_WRITE_IO;
}

/* Packers */

static void packer_free(struct exr_packer *packer)
{
    if (packer == NULL)
        return;
    if (packer->ready)
        exr_encoding_destroy(packer->writer->context, &packer->pipe);
    libdeflate_free_compressor(packer->deflate);
    memory_free(packer);
}

static struct exr_packer *packer_take(struct exr_writer *writer)
{
    pthread_mutex_lock(&writer->lock);
    struct exr_packer *packer = writer->idle;
    if (packer != NULL)
        writer->idle = packer->next;
    pthread_mutex_unlock(&writer->lock);
    if (packer != NULL)
        return packer;
    packer = memory_zeros(1, sizeof *packer);
    if (packer == NULL)
        return NULL;
    packer->writer = writer;
    packer->deflate = libdeflate_alloc_compressor(DEFLATE_LEVEL);
    if (packer->deflate != NULL)
        return packer;
    packer_free(packer);
    return NULL;
}

static void packer_give(struct exr_writer *writer, struct exr_packer *packer)
{
    pthread_mutex_lock(&writer->lock);
    packer->next = writer->idle;
    writer->idle = packer;
    pthread_mutex_unlock(&writer->lock);
}

/* The library only picks its steps when every channel seems to bring pixels; pack_chunk does not look at these. */
static void seem_filled(exr_encode_pipeline_t *pipe)
{
    for (int c = 0; c < pipe->channel_count; c++) {
        exr_coding_channel_info_t *channel = &pipe->channels[c];
        channel->encode_from_ptr = (const uint8_t *)pipe;
        channel->user_pixel_stride = channel->user_bytes_per_element;
        channel->user_line_stride = channel->width * channel->user_bytes_per_element;
    }
}

static exr_result_t pipe_start(struct exr_packer *packer, const exr_chunk_info_t *chunk)
{
    const struct exr_writer *writer = packer->writer;
    exr_encode_pipeline_t *pipe = &packer->pipe;
    exr_result_t result = exr_encoding_initialize(writer->context, 0, chunk, pipe);
    if (result != EXR_ERR_SUCCESS)
        return result;
    packer->ready = true;
    pipe->encoding_user_data = packer;
    seem_filled(pipe);
    result = exr_encoding_choose_default_routines(writer->context, 0, pipe);
    pipe->convert_and_pack_fn = pack_chunk;
    if (writer->compression == EXR_COMPRESSION_ZIP || writer->compression == EXR_COMPRESSION_ZIPS)
        pipe->compress_fn = deflate_chunk;
    pipe->yield_until_ready_fn = NULL;
    pipe->write_fn = deliver_chunk;
    return result;
}

static exr_result_t chunk_write(struct exr_packer *packer, int32_t y)
{
    struct exr_writer *writer = packer->writer;
    exr_chunk_info_t chunk;
    exr_result_t result = exr_write_scanline_chunk_info(writer->context, 0, y, &chunk);
    if (result == EXR_ERR_SUCCESS)
        result =
            packer->ready ? exr_encoding_update(writer->context, 0, &chunk, &packer->pipe) : pipe_start(packer, &chunk);
    return result == EXR_ERR_SUCCESS ? exr_encoding_run(writer->context, 0, &packer->pipe) : result;
}

static enum passel_status locked_error(struct exr_writer *writer, exr_result_t result, struct passel_error *error)
{
    pthread_mutex_lock(&writer->lock);
    const enum passel_status status = write_error(writer, result, error);
    pthread_mutex_unlock(&writer->lock);
    return status;
}

static enum passel_status strip_write(struct exr_packer *packer, const struct picture *rows, struct passel_error *error)
{
    packer->rows = rows;
    packer->error = error;
    packer->status = PASSEL_OK;
    for (int32_t y = rows->area.y0; y < rows->area.y1; y += packer->writer->chunk_rows) {
        const exr_result_t result = chunk_write(packer, y);
        if (packer->status != PASSEL_OK)
            return packer->status;
        if (result != EXR_ERR_SUCCESS)
            return locked_error(packer->writer, result, error);
    }
    return PASSEL_OK;
}

/* The header */

static int by_name(const void *a, const void *b)
{
    return strcmp(((const struct exr_target *)a)->name, ((const struct exr_target *)b)->name);
}

static enum passel_status name_targets(struct exr_writer *writer, const struct media_plan *plan,
                                       struct passel_error *error)
{
    static const char letters[PLANE_COUNT] = "RGBA";
    for (int l = 0; l < plan->layer_count; l++) {
        const char *layer = plan->layers[l].name;
        for (int p = 0; p < PLANE_COUNT; p++) {
            if ((plan->layers[l].planes >> p & 1u) == 0)
                continue;
            struct exr_target *target = &writer->targets[writer->target_count++];
            const int length =
                snprintf(target->name, sizeof target->name, "%s%s%c", layer, layer[0] != '\0' ? "." : "", letters[p]);
            if (length < 0 || length > MOST_NAME)
                return error_set(error, PASSEL_BAD_USE, "the name of layer '%.40s…' is too long", layer);
            target->layer = l;
            target->plane = p;
        }
    }
    qsort(writer->targets, (size_t)writer->target_count, sizeof *writer->targets, by_name);
    for (int t = 1; t < writer->target_count; t++)
        if (by_name(&writer->targets[t - 1], &writer->targets[t]) == 0)
            return error_set(error, PASSEL_BAD_USE, "channel '%s' is there twice", writer->targets[t].name);
    return writer->target_count > 0 ? PASSEL_OK : error_set(error, PASSEL_BAD_USE, "there are no channels to write");
}

static enum passel_status choose_codec(struct exr_writer *writer, const struct media_plan *plan,
                                       struct passel_error *error)
{
    static const char *const names[] = { "none", "rle", "zips", "zip", "piz", "pxr24", "b44", "b44a" };
    if (plan->pixels != PIXELS_HALF && plan->pixels != PIXELS_FLOAT)
        return error_set(error, PASSEL_UNSUPPORTED, "OpenEXR keeps pixels as half or float");
    writer->type = plan->pixels == PIXELS_HALF ? EXR_PIXEL_HALF : EXR_PIXEL_FLOAT;
    const char *wanted = plan->compression != NULL ? plan->compression : "zip";
    for (size_t i = 0; i < sizeof names / sizeof *names; i++)
        if (strcmp(names[i], wanted) == 0) {
            writer->compression = (exr_compression_t)i;
            return PASSEL_OK;
        }
    return error_set(error, PASSEL_UNSUPPORTED,
                     "compression '%s' is not one of none, rle, zips, zip, piz, pxr24, b44, b44a", wanted);
}

static exr_attr_box2i_t box_of(struct rect r)
{
    return (exr_attr_box2i_t){ .min = { .x = r.x0, .y = r.y0 }, .max = { .x = r.x1 - 1, .y = r.y1 - 1 } };
}

static exr_result_t add_frame(struct exr_writer *writer, const struct media_plan *plan)
{
    const exr_attr_box2i_t display = box_of(plan->display), data = box_of(plan->data);
    const exr_attr_v2f_t centre = { .x = 0.0f, .y = 0.0f };
    const double aspect = plan->pixel_aspect > 0.0 ? plan->pixel_aspect : 1.0;
    int part = 0;
    exr_result_t result = exr_add_part(writer->context, NULL, EXR_STORAGE_SCANLINE, &part);
    if (result == EXR_ERR_SUCCESS)
        result = exr_initialize_required_attr(writer->context, part, &display, &data, (float)aspect, &centre, 1.0f,
                                              EXR_LINEORDER_INCREASING_Y, writer->compression);
    return result;
}

static exr_result_t add_channels(struct exr_writer *writer)
{
    exr_result_t result = EXR_ERR_SUCCESS;
    for (int t = 0; t < writer->target_count && result == EXR_ERR_SUCCESS; t++)
        if (strlen(writer->targets[t].name) > SHORT_NAME)
            result = exr_set_longname_support(writer->context, 1);
    for (int t = 0; t < writer->target_count && result == EXR_ERR_SUCCESS; t++)
        result = exr_add_channel(writer->context, 0, writer->targets[t].name, writer->type,
                                 EXR_PERCEPTUALLY_LOGARITHMIC, 1, 1);
    return result;
}

static exr_result_t add_text(struct exr_writer *writer, const char *name, const char *text)
{
    return text != NULL ? exr_attr_set_string(writer->context, 0, name, text) : EXR_ERR_SUCCESS;
}

/* A plan without primaries (all zero) and one in Rec.709 need no words: that is what the format takes for granted. */
static exr_result_t add_primaries(struct exr_writer *writer, const struct primaries *p)
{
    const struct primaries *rec709 = primaries_named("rec709");
    if (!(p->white[1] > 0.0) || primaries_same(p, rec709))
        return EXR_ERR_SUCCESS;
    const exr_attr_chromaticities_t c = {
        .red_x = (float)p->red[0],
        .red_y = (float)p->red[1],
        .green_x = (float)p->green[0],
        .green_y = (float)p->green[1],
        .blue_x = (float)p->blue[0],
        .blue_y = (float)p->blue[1],
        .white_x = (float)p->white[0],
        .white_y = (float)p->white[1],
    };
    return exr_attr_set_chromaticities(writer->context, 0, "chromaticities", &c);
}

static exr_result_t add_metadata(struct exr_writer *writer, const struct media_plan *plan)
{
    const struct metadata *m = &plan->metadata;
    exr_result_t result = add_primaries(writer, &plan->primaries);
    if (result == EXR_ERR_SUCCESS && m->has_time_code) {
        const exr_attr_timecode_t code = { .time_and_flags = m->time_code[0], .user_data = m->time_code[1] };
        result = exr_attr_set_timecode(writer->context, 0, "timeCode", &code);
    }
    if (result == EXR_ERR_SUCCESS && m->rate_num > 0 && m->rate_den > 0) {
        const exr_attr_rational_t rate = { .num = m->rate_num, .denom = (uint32_t)m->rate_den };
        result = exr_attr_set_rational(writer->context, 0, "framesPerSecond", &rate);
    }
    if (result == EXR_ERR_SUCCESS)
        result = add_text(writer, "owner", m->owner);
    if (result == EXR_ERR_SUCCESS)
        result = add_text(writer, "comments", m->comments);
    return result == EXR_ERR_SUCCESS ? add_text(writer, EXR_DIGEST, plan->digest) : result;
}

static exr_result_t write_header(struct exr_writer *writer, const struct media_plan *plan)
{
    exr_result_t result = add_frame(writer, plan);
    if (result == EXR_ERR_SUCCESS)
        result = add_channels(writer);
    if (result == EXR_ERR_SUCCESS)
        result = add_metadata(writer, plan);
    if (result == EXR_ERR_SUCCESS)
        result = exr_write_header(writer->context);
    if (result == EXR_ERR_SUCCESS)
        result = exr_get_scanlines_per_chunk(writer->context, 0, &writer->chunk_rows);
    if (result == EXR_ERR_SUCCESS)
        result = exr_get_chunk_count(writer->context, 0, &writer->chunk_count);
    return result;
}

static enum passel_status start_file(struct exr_writer *writer, const char *path, const struct media_plan *plan,
                                     struct passel_error *error)
{
    exr_context_initializer_t hooks = EXR_DEFAULT_CONTEXT_INITIALIZER;
    hooks.error_handler_fn = silent_hook;
    hooks.alloc_fn = memory_new;
    hooks.free_fn = memory_free;
    hooks.user_data = writer;
    hooks.write_fn = write_hook;
    exr_result_t result = exr_start_write(&writer->context, path, EXR_WRITE_FILE_DIRECTLY, &hooks);
    if (result != EXR_ERR_SUCCESS)
        return write_error(writer, result, error);
    result = write_header(writer, plan);
    enum passel_status status = PASSEL_OK;
    if (result != EXR_ERR_SUCCESS)
        status = write_error(writer, result, error);
    else if ((writer->slots = memory_zeros((size_t)writer->chunk_count, sizeof *writer->slots)) == NULL)
        status = error_set(error, PASSEL_NO_MEMORY, "memory is out");
    if (status != PASSEL_OK)
        exr_finish(&writer->context);
    return status;
}

/* The format */

static enum passel_status exr_create(struct media_writer *media, const struct media_plan *plan,
                                     struct passel_error *error)
{
    enum passel_status status;
    struct exr_writer *writer = memory_zeros(1, sizeof *writer);
    if (writer == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "memory is out");
    writer->data = plan->data;
    writer->targets = memory_zeros((size_t)plan->layer_count * PLANE_COUNT, sizeof *writer->targets);
    if (writer->targets == NULL) {
        status = error_set(error, PASSEL_NO_MEMORY, "memory is out");
        goto out_writer;
    }
    GOTO_IF_ERROR(choose_codec(writer, plan, error), out_targets);
    GOTO_IF_ERROR(name_targets(writer, plan, error), out_targets);
    GOTO_IF_ERROR(new_file_open(&writer->file, media->path, error), out_targets);
    GOTO_IF_ERROR(start_file(writer, media->path, plan, error), out_file);
    pthread_mutex_init(&writer->lock, NULL);
    media->rows = writer->chunk_rows;
    media->state = writer;
    return PASSEL_OK;
out_file:
    new_file_drop(&writer->file);
out_targets:
    memory_free(writer->targets);
out_writer:
    memory_free(writer);
    return status;
}

static bool planes_there(const struct exr_writer *writer, const struct picture *rows)
{
    for (int t = 0; t < writer->target_count; t++) {
        const struct exr_target *target = &writer->targets[t];
        if (rows[target->layer].plane[target->plane] == NULL || !rect_same(rows[target->layer].area, rows[0].area))
            return false;
    }
    return true;
}

static enum passel_status exr_write(struct media_writer *media, const struct picture *rows, struct passel_error *error)
{
    struct exr_writer *writer = media->state;
    if (!planes_there(writer, rows))
        return error_set(error, PASSEL_BAD_USE, "a layer lacks planes or rows");
    struct exr_packer *packer = packer_take(writer);
    if (packer == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "memory is out");
    const enum passel_status status = strip_write(packer, rows, error);
    if (status == PASSEL_OK)
        packer_give(writer, packer);
    else
        packer_free(packer); /* what a failed chunk left in the pipeline is not trusted */
    return status;
}

static void release(struct exr_writer *writer)
{
    for (int32_t i = 0; i < writer->chunk_count; i++)
        memory_free(writer->slots[i].bytes);
    pthread_mutex_destroy(&writer->lock);
    memory_free(writer->slots);
    memory_free(writer->targets);
    memory_free(writer);
}

/* Ends the library's part: the table of chunks is written here. */
static exr_result_t end_file(struct exr_writer *writer)
{
    while (writer->idle != NULL) {
        struct exr_packer *packer = writer->idle;
        writer->idle = packer->next;
        packer_free(packer);
    }
    return exr_finish(&writer->context);
}

static enum passel_status exr_finish_file(struct media_writer *media, struct passel_error *error)
{
    struct exr_writer *writer = media->state;
    enum passel_status status = PASSEL_OK;
    const exr_result_t result = end_file(writer);
    if (writer->failed.status != PASSEL_OK || result != EXR_ERR_SUCCESS)
        status = write_error(writer, result, error);
    else if (writer->next < writer->chunk_count)
        status = error_set(error, PASSEL_BAD_DISK, "rows from %d on were not written",
                           writer->data.y0 + writer->next * writer->chunk_rows);
    if (status == PASSEL_OK)
        status = new_file_keep(&writer->file, error);
    else
        new_file_drop(&writer->file);
    release(writer);
    return status;
}

static void exr_discard(struct media_writer *media)
{
    struct exr_writer *writer = media->state;
    end_file(writer);
    new_file_drop(&writer->file);
    release(writer);
}

const struct media_output output_exr = {
    .extension = "exr",
    .create = exr_create,
    .write = exr_write,
    .finish = exr_finish_file,
    .discard = exr_discard,
};
