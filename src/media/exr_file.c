/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * An OpenEXR file on disk under the library's context: positional reads through a hook (safe from several threads),
 * the library's words kept for the caller's error instead of printed, and bounds on what a damaged header may claim.
 */
#include "media/exr.h"

#include "base/error.h"
#include "base/memory.h"

#include <errno.h>
#include <string.h>
#include <unistd.h>

/* No codec of the format shrinks data further than deflate can (1032 : 1), give or take what a chunk adds. */
enum { MOST_SHRUNK = 1100, CHUNK_SLACK = 4096 };
/* Per chunk a file has its place in the table (8), its own head (8) and at least a byte of data. */
enum { LEAST_PER_CHUNK = 17 };
static const uint64_t most_pixels = (uint64_t)1 << 30;

static int64_t read_hook(exr_const_context_t context, void *data, void *buffer, uint64_t size, uint64_t offset,
                         exr_stream_error_func_ptr_t report)
{
    struct exr_file *file = data;
    uint64_t done = 0;
    (void)context;
    (void)report;
    if (offset > INT64_MAX - size)
        return -1;
    while (done < size) {
        const ssize_t got = pread(file->descriptor, (char *)buffer + done, size - done, (off_t)(offset + done));
        if (got == 0)
            break;
        if (got > 0)
            done += (uint64_t)got;
        else if (errno != EINTR) {
            atomic_store(&file->disk_failed, true);
            return -1;
        }
    }
    return (int64_t)done;
}

static int64_t size_hook(exr_const_context_t context, void *data)
{
    (void)context;
    return (int64_t)((struct exr_file *)data)->size;
}

/* The first words are those about the cause. That memory is out must not be lost: the library reads on without the
 * attribute that it had no room for. */
static void error_hook(exr_const_context_t context, exr_result_t code, const char *words)
{
    void *data = NULL;
    if (context == NULL || exr_get_user_data(context, &data) != EXR_ERR_SUCCESS || data == NULL)
        return;
    struct passel_error *heard = ((struct exr_file *)data)->heard;
    if (heard == NULL)
        return;
    if (heard->text[0] == '\0')
        error_set(heard, PASSEL_BAD_FILE, "%s", words);
    if (code == EXR_ERR_OUT_OF_MEMORY)
        heard->status = PASSEL_NO_MEMORY;
}

static enum passel_status status_of(const struct exr_file *file, exr_result_t result)
{
    if (atomic_load(&file->disk_failed))
        return PASSEL_BAD_DISK;
    if (result == EXR_ERR_OUT_OF_MEMORY)
        return PASSEL_NO_MEMORY;
    if (result == EXR_ERR_FEATURE_NOT_IMPLEMENTED)
        return PASSEL_UNSUPPORTED;
    return PASSEL_BAD_FILE;
}

enum passel_status exr_file_error(const struct exr_file *file, exr_result_t result, int32_t row,
                                  struct passel_error *error)
{
    const enum passel_status status = status_of(file, result);
    return error_set(error, status, "%s (%s, at row %d)", passel_status_text(status),
                     exr_get_default_error_message(result), row);
}

enum passel_status exr_file_open(struct exr_file *file, struct media_source *source, struct passel_error *error)
{
    if (!source->seekable)
        return error_set(error, PASSEL_UNSUPPORTED, "OpenEXR cannot be read from a pipe");
    struct passel_error heard = { .status = PASSEL_OK };
    file->descriptor = source->descriptor;
    file->size = source->size;
    file->heard = &heard;
    atomic_init(&file->disk_failed, false);
    exr_context_initializer_t hooks = EXR_DEFAULT_CONTEXT_INITIALIZER;
    hooks.error_handler_fn = error_hook;
    hooks.alloc_fn = memory_new;
    hooks.free_fn = memory_free;
    hooks.user_data = file;
    hooks.read_fn = read_hook;
    hooks.size_fn = size_hook;
    hooks.max_image_width = hooks.max_image_height = 2 * RECT_LIMIT;
    hooks.max_tile_width = hooks.max_tile_height = 2 * RECT_LIMIT;
    hooks.flags = EXR_CONTEXT_FLAG_DISABLE_CHUNK_RECONSTRUCTION;
    const exr_result_t result = exr_start_read(&file->context, source->path, &hooks);
    file->heard = NULL;
    const bool memory_out = heard.status == PASSEL_NO_MEMORY;
    if (result == EXR_ERR_SUCCESS && !memory_out) {
        source->descriptor = -1;
        return PASSEL_OK;
    }
    if (result == EXR_ERR_SUCCESS)
        exr_finish(&file->context);
    const enum passel_status status = memory_out ? PASSEL_NO_MEMORY : status_of(file, result);
    return error_set(error, status, "%s (%s)", passel_status_text(status),
                     heard.text[0] != '\0' ? heard.text : exr_get_default_error_message(result));
}

void exr_file_close(struct exr_file *file)
{
    exr_finish(&file->context);
    close(file->descriptor);
}

/* Bytes of all channels over the data window, were every codec undone. */
static uint64_t part_bytes(const exr_attr_chlist_t *channels, uint64_t pixels)
{
    uint64_t bytes = 0;
    for (int i = 0; i < channels->num_channels; i++) {
        const exr_attr_chlist_entry_t *channel = &channels->entries[i];
        const uint64_t shared = (uint64_t)channel->x_sampling * (uint64_t)channel->y_sampling;
        bytes += pixels / shared * (channel->pixel_type == EXR_PIXEL_HALF ? 2 : 4);
    }
    return bytes;
}

static bool samplings_valid(const exr_attr_chlist_t *channels)
{
    for (int i = 0; i < channels->num_channels; i++)
        if (channels->entries[i].x_sampling < 1 || channels->entries[i].y_sampling < 1)
            return false;
    return true;
}

enum passel_status exr_file_plausible(const struct exr_file *file, int part, struct passel_error *error)
{
    exr_attr_box2i_t window;
    const exr_attr_chlist_t *channels;
    int32_t chunks = 0;
    if (exr_get_data_window(file->context, part, &window) != EXR_ERR_SUCCESS ||
        exr_get_channels(file->context, part, &channels) != EXR_ERR_SUCCESS ||
        exr_get_chunk_count(file->context, part, &chunks) != EXR_ERR_SUCCESS || !samplings_valid(channels))
        return error_set(error, PASSEL_BAD_FILE, "the header lacks what it must have");
    const int64_t width = (int64_t)window.max.x - window.min.x + 1;
    const int64_t height = (int64_t)window.max.y - window.min.y + 1;
    if (width < 1 || height < 1 || chunks < 1)
        return error_set(error, PASSEL_BAD_FILE, "the data window has no pixels");
    if (width > 2 * RECT_LIMIT || height > 2 * RECT_LIMIT || (uint64_t)(width * height) > most_pixels)
        return error_set(error, PASSEL_UNSUPPORTED, "%lld x %lld pixels are too many", (long long)width,
                         (long long)height);
    if ((uint64_t)chunks * LEAST_PER_CHUNK > file->size ||
        part_bytes(channels, (uint64_t)(width * height)) / MOST_SHRUNK > file->size)
        return error_set(error, PASSEL_BAD_FILE, "%lld x %lld pixels cannot be in a file of %llu bytes",
                         (long long)width, (long long)height, (unsigned long long)file->size);
    return PASSEL_OK;
}

bool exr_chunk_plausible(const exr_chunk_info_t *chunk)
{
    return chunk->unpacked_size / MOST_SHRUNK <= chunk->packed_size + CHUNK_SLACK / MOST_SHRUNK;
}

exr_result_t exr_reserve(void **buffer, size_t *room, size_t size)
{
    if (*room >= size)
        return EXR_ERR_SUCCESS;
    memory_free(*buffer);
    *buffer = memory_new(size);
    *room = *buffer != NULL ? size : 0;
    return *buffer != NULL ? EXR_ERR_SUCCESS : EXR_ERR_OUT_OF_MEMORY;
}
