/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A small picture inside a page: light through sRGB to a PNG in memory, that as base64 (RFC 4648) in a data: address
 * (RFC 2397). PNG as in ISO/IEC 15948: signature, IHDR, one IDAT, IEND; rows filtered by Sub.
 */
#include <libdeflate.h>
#include <math.h>
#include <string.h>

#include "base/memory.h"
#include "picture/encoding.h"
#include "survey/page.h"

enum { DEFLATE_LEVEL = 9 };

static void put_32(unsigned char *to, uint32_t value)
{
    for (int i = 0; i < 4; i++)
        to[i] = (unsigned char)(value >> (24 - 8 * i));
}

/* Length, name, bytes, checksum of name and bytes. */
static void add_chunk(struct text *file, const char *name, const unsigned char *bytes, size_t size)
{
    unsigned char edge[8], end[4];
    put_32(edge, (uint32_t)size);
    memcpy(edge + 4, name, 4);
    put_32(end, libdeflate_crc32(libdeflate_crc32(0, name, 4), bytes, size));
    text_add(file, (const char *)edge, sizeof edge);
    if (size > 0)
        text_add(file, (const char *)bytes, size);
    text_add(file, (const char *)end, sizeof end);
}

/* One byte that names the filter, then each value less the one a pixel before. */
static void fill_rows(const struct look *look, int stops, float *light, unsigned char *rows)
{
    const size_t width = (size_t)look->across, row_size = 1 + 3 * width;
    const float gain = ldexpf(1, stops);
    for (size_t y = 0; y < (size_t)look->down; y++) {
        unsigned char *row = rows + y * row_size;
        row[0] = 1;
        for (size_t c = 0; c < 3; c++) {
            int before = 0;
            for (size_t x = 0; x < width; x++) {
                const float value = gain * look->plane[c][y * width + x];
                light[x] = value > 1 ? 1 : value > 0 ? value : 0;
            }
            encoding_apply((struct encoding){ .curve = ENCODING_SRGB }, light, width);
            for (size_t x = 0; x < width; x++) {
                const int code = (int)(255 * light[x] + 0.5F);
                row[1 + 3 * x + c] = (unsigned char)(code - before);
                before = code;
            }
        }
    }
}

static void add_pixels(const struct look *look, int stops, struct text *file)
{
    const size_t size = (1 + 3 * (size_t)look->across) * (size_t)look->down;
    struct libdeflate_compressor *compressor = libdeflate_alloc_compressor(DEFLATE_LEVEL);
    const size_t room = libdeflate_zlib_compress_bound(compressor, size);
    unsigned char *rows = memory_new(size), *packed = memory_new(room);
    float *light = memory_new((size_t)look->across * sizeof *light);
    size_t used = 0;
    if (compressor != NULL && rows != NULL && packed != NULL && light != NULL) {
        fill_rows(look, stops, light, rows);
        used = libdeflate_zlib_compress(compressor, rows, size, packed, room);
    }
    if (used > 0)
        add_chunk(file, "IDAT", packed, used);
    else
        file->failed = true;
    memory_free(light);
    memory_free(packed);
    memory_free(rows);
    libdeflate_free_compressor(compressor);
}

static void add_base64(struct text *text, const unsigned char *bytes, size_t size)
{
    static const char letters[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    for (size_t i = 0; i < size; i += 3) {
        const size_t left = size - i < 3 ? size - i : 3;
        uint32_t bits = 0;
        for (size_t k = 0; k < 3; k++)
            bits = bits << 8 | (k < left ? bytes[i + k] : 0);
        char four[4];
        for (size_t k = 0; k < 4; k++)
            four[k] = k <= left ? letters[bits >> (18 - 6 * k) & 63] : '=';
        text_add(text, four, 4);
    }
}

void page_picture(const struct look *look, int stops, struct text *text)
{
    static const char signature[] = "\x89PNG\r\n\x1a\n";
    unsigned char header[13] = { [8] = 8, [9] = 2 }; /* 8 bits, colour */
    struct text file = { 0 };
    put_32(header, (uint32_t)look->across);
    put_32(header + 4, (uint32_t)look->down);
    text_add(&file, signature, 8);
    add_chunk(&file, "IHDR", header, sizeof header);
    add_pixels(look, stops, &file);
    add_chunk(&file, "IEND", NULL, 0);
    text_print(text, "data:image/png;base64,");
    add_base64(text, (const unsigned char *)file.bytes, file.failed ? 0 : file.length);
    text->failed = text->failed || file.failed;
    text_release(&file);
}
