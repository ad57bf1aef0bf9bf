/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * PNG files made byte by byte, so that tests do not read back what the library under test wrote. Linked with
 * `passel_unit(test_thing png_make)`.
 */
#ifndef TESTS_PNG_MAKE_H
#define TESTS_PNG_MAKE_H

#include <stddef.h>
#include <stdint.h>

struct made_png {
    unsigned char bytes[1 << 16];
    size_t size;
};

/* The signature and IHDR. */
void png_make_begin(struct made_png *png, uint32_t width, uint32_t height, int bits, int type, int interlace);
void png_make_chunk(struct made_png *png, const char *type, const void *data, size_t size);
/* IDAT with `size` bytes of filtered rows, compressed. */
void png_make_data(struct made_png *png, const unsigned char *rows, size_t size);
void png_make_end(struct made_png *png);

/* Turns hexadecimal digits into bytes; returns how many. */
size_t png_make_hex(const char *digits, unsigned char *bytes);

#endif
