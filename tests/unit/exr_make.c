/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * See exr_make.h.
 */
#include "exr_make.h"

#include <OpenEXR/ImfCRgbaFile.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#define CHECK(call) assert_int_equal(call, EXR_ERR_SUCCESS)

float exr_made_value(int part, const char *channel, int x, int y)
{
    unsigned sum = (unsigned)part * 211u + 7u * (unsigned)x + 13u * (unsigned)y + (unsigned)(x * y % 5);
    for (; *channel != '\0'; channel++)
        sum = sum * 3u + (unsigned char)*channel;
    return (float)(sum % 2000u);
}

/* The pixels of one channel over a rectangle, as floats (whole numbers: uint32), in storage for the encoder. */
struct filled {
    struct rect area;
    void *pixels[8];
};

static void fill(struct filled *filled, int number, const struct made_part *part, struct rect area)
{
    filled->area = area;
    for (int c = 0; c < part->channel_count; c++) {
        const struct made_channel *channel = &part->channels[c];
        const int xs = channel->x_sampling > 0 ? channel->x_sampling : 1;
        const int ys = channel->y_sampling > 0 ? channel->y_sampling : 1;
        float *to = malloc((size_t)rect_width(area) * (size_t)rect_height(area) * sizeof *to);
        filled->pixels[c] = to;
        for (int y = area.y0; y < area.y1; y++)
            for (int x = area.x0; x < area.x1 && y % ys == 0; x++)
                if (x % xs == 0) {
                    const float value = exr_made_value(number, channel->name, x, y);
                    const uint32_t whole = (uint32_t)value;
                    memcpy(to, channel->type == EXR_PIXEL_UINT ? (const void *)&whole : &value, sizeof *to);
                    to++;
                }
    }
}

/* The library keeps channels sorted by name. */
static int channel_named(const struct made_part *part, const char *name)
{
    int c = 0;
    while (strcmp(part->channels[c].name, name) != 0)
        c++;
    return c;
}

static void encode(exr_context_t context, int number, const struct made_part *part, const exr_chunk_info_t *chunk,
                   const struct filled *filled)
{
    exr_encode_pipeline_t pipe = EXR_ENCODE_PIPELINE_INITIALIZER;
    CHECK(exr_encoding_initialize(context, number, chunk, &pipe));
    for (int c = 0; c < pipe.channel_count; c++) {
        exr_coding_channel_info_t *channel = &pipe.channels[c];
        channel->encode_from_ptr = filled->pixels[channel_named(part, channel->channel_name)];
        channel->user_data_type = channel->data_type == EXR_PIXEL_UINT ? EXR_PIXEL_UINT : EXR_PIXEL_FLOAT;
        channel->user_bytes_per_element = 4;
        channel->user_pixel_stride = 4;
        channel->user_line_stride = 4 * channel->width;
    }
    CHECK(exr_encoding_choose_default_routines(context, number, &pipe));
    CHECK(exr_encoding_run(context, number, &pipe));
    CHECK(exr_encoding_destroy(context, &pipe));
}

static void empty(struct filled *filled, const struct made_part *part)
{
    for (int c = 0; c < part->channel_count; c++)
        free(filled->pixels[c]);
}

static void write_lines(exr_context_t context, int number, const struct made_part *part, struct rect data)
{
    int32_t rows;
    CHECK(exr_get_scanlines_per_chunk(context, number, &rows));
    const int chunks = (rect_height(data) + rows - 1) / rows;
    for (int i = 0; i < chunks; i++) {
        const int y = data.y0 + (part->order == EXR_LINEORDER_DECREASING_Y ? chunks - 1 - i : i) * rows;
        struct filled filled;
        exr_chunk_info_t chunk;
        CHECK(exr_write_scanline_chunk_info(context, number, y, &chunk));
        fill(&filled, number, part, rect_cut(data, rect_of(data.x0, y, data.x1, y + rows)));
        encode(context, number, part, &chunk, &filled);
        empty(&filled, part);
    }
}

/* Level 0 holds the pixels; the smaller ones hold the same function on their own grid, which no test looks at. */
static void write_tiles(exr_context_t context, int number, const struct made_part *part, struct rect data)
{
    int32_t across, down;
    CHECK(exr_get_tile_levels(context, number, &across, &down));
    for (int level = 0; level < (part->levels ? across : 1); level++) {
        int32_t width, height;
        CHECK(exr_get_level_sizes(context, number, level, level, &width, &height));
        const struct rect all = rect_of(data.x0, data.y0, data.x0 + width, data.y0 + height);
        for (int ty = 0; ty * part->tile_height < height; ty++)
            for (int tx = 0; tx * part->tile_width < width; tx++) {
                const int x = data.x0 + tx * part->tile_width, y = data.y0 + ty * part->tile_height;
                struct filled filled;
                exr_chunk_info_t chunk;
                CHECK(exr_write_tile_chunk_info(context, number, tx, ty, level, level, &chunk));
                fill(&filled, number, part, rect_cut(all, rect_of(x, y, x + part->tile_width, y + part->tile_height)));
                encode(context, number, part, &chunk, &filled);
                empty(&filled, part);
            }
    }
}

static void describe(exr_context_t context, const struct made_part *part, struct rect display, struct rect data)
{
    const exr_attr_box2i_t shown = { .min = { .x = display.x0, .y = display.y0 },
                                     .max = { .x = display.x1 - 1, .y = display.y1 - 1 } };
    const exr_attr_box2i_t box = { .min = { .x = data.x0, .y = data.y0 },
                                   .max = { .x = data.x1 - 1, .y = data.y1 - 1 } };
    const exr_attr_v2f_t centre = { .x = 0.0f, .y = 0.0f };
    int number;
    CHECK(exr_add_part(context, part->name, part->tile_width > 0 ? EXR_STORAGE_TILED : EXR_STORAGE_SCANLINE, &number));
    CHECK(exr_initialize_required_attr(context, number, &shown, &box, 1.0f, &centre, 1.0f, part->order,
                                       part->compression));
    if (part->tile_width > 0)
        CHECK(exr_set_tile_descriptor(context, number, (uint32_t)part->tile_width, (uint32_t)part->tile_height,
                                      part->levels ? EXR_TILE_MIPMAP_LEVELS : EXR_TILE_ONE_LEVEL, EXR_TILE_ROUND_DOWN));
    for (int c = 0; c < part->channel_count; c++) {
        const struct made_channel *channel = &part->channels[c];
        CHECK(exr_add_channel(context, number, channel->name, channel->type, EXR_PERCEPTUALLY_LOGARITHMIC,
                              channel->x_sampling > 0 ? channel->x_sampling : 1,
                              channel->y_sampling > 0 ? channel->y_sampling : 1));
    }
}

void exr_make(const char *path, struct rect display, struct rect data, const struct made_part *parts, int count)
{
    exr_context_t context;
    exr_context_initializer_t hooks = EXR_DEFAULT_CONTEXT_INITIALIZER;
    CHECK(exr_start_write(&context, path, EXR_WRITE_FILE_DIRECTLY, &hooks));
    for (int i = 0; i < count; i++)
        describe(context, &parts[i], display, data);
    CHECK(exr_write_header(context));
    for (int i = 0; i < count; i++) {
        if (parts[i].tile_width > 0)
            write_tiles(context, i, &parts[i], data);
        else
            write_lines(context, i, &parts[i], data);
    }
    CHECK(exr_finish(&context));
}

/* The interface addresses pixels from the origin of the picture. */
static ImfRgba *from_origin(ImfRgba *pixels, struct rect data)
{
    const intptr_t before = (intptr_t)data.y0 * rect_width(data) + data.x0;
    return (ImfRgba *)((uintptr_t)pixels - (uintptr_t)(before * (intptr_t)sizeof *pixels));
}

void exr_make_rgba(const char *path, struct rect data, exr_compression_t compression, exr_lineorder_t order,
                   int channels)
{
    ImfHeader *header = ImfNewHeader();
    ImfRgba *pixels = malloc((size_t)rect_width(data) * (size_t)rect_height(data) * sizeof *pixels), *to = pixels;
    for (int y = data.y0; y < data.y1; y++)
        for (int x = data.x0; x < data.x1; x++, to++) {
            ImfFloatToHalf(0.5f + 0.001f * exr_made_value(0, "R", x / 4, y / 4), &to->r);
            ImfFloatToHalf(0.3f + 0.0005f * exr_made_value(0, "G", x / 4, y / 4), &to->g);
            ImfFloatToHalf(0.1f + 0.01f * (float)((x + y) & 31), &to->b);
            ImfFloatToHalf(x % 3 == 0 ? 0.0f : 1.0f, &to->a);
        }
    ImfHeaderSetDataWindow(header, data.x0, data.y0, data.x1 - 1, data.y1 - 1);
    ImfHeaderSetDisplayWindow(header, data.x0, data.y0, data.x1 - 1, data.y1 - 1);
    ImfHeaderSetCompression(header, (int)compression);
    ImfHeaderSetLineOrder(header, (int)order);
    ImfOutputFile *file = ImfOpenOutputFile(path, header, channels);
    assert_non_null(file);
    assert_true(ImfOutputSetFrameBuffer(file, from_origin(pixels, data), 1, (size_t)rect_width(data)));
    assert_true(ImfOutputWritePixels(file, rect_height(data)));
    assert_true(ImfCloseOutputFile(file));
    ImfDeleteHeader(header);
    free(pixels);
}

uint16_t *exr_rgba_pixels(const char *path, struct rect data)
{
    ImfRgba *pixels = malloc((size_t)rect_width(data) * (size_t)rect_height(data) * sizeof *pixels);
    ImfInputFile *file = ImfOpenInputFile(path);
    assert_non_null(file);
    assert_true(ImfInputSetFrameBuffer(file, from_origin(pixels, data), 1, (size_t)rect_width(data)));
    assert_true(ImfInputReadPixels(file, data.y0, data.y1 - 1));
    assert_true(ImfCloseInputFile(file));
    return (uint16_t *)pixels;
}

static unsigned char nibble(char digit)
{
    return (unsigned char)(digit <= '9' ? digit - '0' : digit - 'a' + 10);
}

size_t exr_hex(const char *digits, unsigned char *bytes)
{
    size_t count = 0;
    for (; digits[0] != '\0' && digits[1] != '\0'; digits += 2)
        bytes[count++] = (unsigned char)(nibble(digits[0]) << 4 | nibble(digits[1]));
    return count;
}
