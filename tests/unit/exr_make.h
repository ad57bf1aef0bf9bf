/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * OpenEXR files that Passel itself does not write (tiles, levels, parts, sub-sampling, whole numbers), made with the
 * library's own encoders. Linked with `passel_unit(test_thing exr_make)`.
 */
#ifndef TESTS_EXR_MAKE_H
#define TESTS_EXR_MAKE_H

#include <OpenEXR/openexr.h>
#include <stdbool.h>
#include <stdint.h>

#include "picture/rect.h"

struct made_channel {
    const char *name;
    exr_pixel_type_t type;
    int x_sampling, y_sampling; /* 0 is 1 */
};

struct made_part {
    const char *name; /* NULL: a file of one part */
    exr_compression_t compression;
    exr_lineorder_t order;
    int tile_width, tile_height; /* 0: in lines */
    bool levels;                 /* with smaller copies (mip map) */
    struct made_channel channels[8];
    int channel_count;
};

/* Writes `count` parts, all over `data`, with the values of exr_made_value. Fails the test when it cannot. */
void exr_make(const char *path, struct rect display, struct rect data, const struct made_part *parts, int count);

/* What pixel (x, y) of a channel holds: whole numbers below 2000, exact in every type. */
float exr_made_value(int part, const char *channel, int x, int y);

/* Writes halves through the library's RGBA interface: what its core does not write (DWA, luminance/chroma, lines from
 * the bottom up). `channels` is a sum of IMF_WRITE_x. */
void exr_make_rgba(const char *path, struct rect data, exr_compression_t compression, exr_lineorder_t order,
                   int channels);

/* All pixels of the data window as the RGBA interface reads them: 4 halves each, for free(). */
uint16_t *exr_rgba_pixels(const char *path, struct rect data);

/* Turns hexadecimal digits into bytes; returns how many. */
size_t exr_hex(const char *digits, unsigned char *bytes);

#endif
