/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Chunks of PNG, laid out by hand.
 */
#include "png_make.h"

#include <stdio.h>
#include <string.h>
#include <zlib.h>

static void add(struct made_png *png, const void *bytes, size_t size)
{
    if (size > 0)
        memcpy(png->bytes + png->size, bytes, size);
    png->size += size;
}

static void add_be32(struct made_png *png, uint32_t value)
{
    const unsigned char bytes[4] = { (unsigned char)(value >> 24), (unsigned char)(value >> 16),
                                     (unsigned char)(value >> 8), (unsigned char)value };
    add(png, bytes, 4);
}

void png_make_chunk(struct made_png *png, const char *type, const void *data, size_t size)
{
    add_be32(png, (uint32_t)size);
    const size_t from = png->size;
    add(png, type, 4);
    add(png, data, size);
    add_be32(png, (uint32_t)crc32(0, png->bytes + from, (uInt)(size + 4)));
}

void png_make_begin(struct made_png *png, uint32_t width, uint32_t height, int bits, int type, int interlace)
{
    unsigned char header[13] = { 0 };
    png->size = 0;
    add(png, "\x89PNG\r\n\x1a\n", 8);
    for (int i = 0; i < 4; i++) {
        header[i] = (unsigned char)(width >> (24 - 8 * i));
        header[4 + i] = (unsigned char)(height >> (24 - 8 * i));
    }
    header[8] = (unsigned char)bits;
    header[9] = (unsigned char)type;
    header[12] = (unsigned char)interlace;
    png_make_chunk(png, "IHDR", header, sizeof header);
}

void png_make_data(struct made_png *png, const unsigned char *rows, size_t size)
{
    static unsigned char packed[1 << 15];
    uLongf length = sizeof packed;
    compress2(packed, &length, rows, (uLong)size, 6);
    png_make_chunk(png, "IDAT", packed, length);
}

void png_make_end(struct made_png *png)
{
    png_make_chunk(png, "IEND", NULL, 0);
}

size_t png_make_hex(const char *digits, unsigned char *bytes)
{
    size_t count = 0;
    unsigned value;
    while (sscanf(digits + 2 * count, "%2x", &value) == 1)
        bytes[count++] = (unsigned char)value;
    return count;
}
