/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Rows of samples as the bytes of a PNG file.
 */
#ifndef MEDIA_PNG_ROWS_H
#define MEDIA_PNG_ROWS_H

#include <stddef.h>
#include <stdint.h>

/* `count` samples of row y, the first in column x, clamped to 0 … 1 (not a number: 0), into every step-th byte of
 * `bytes`. With ordered dither: what lies between two codes becomes the upper one in that share of a 16×16 tile; what
 * is a code stays it. The pattern is the same for all channels, so grey stays grey. */
void samples_to_8(const float *samples, size_t count, int32_t x, int32_t y, unsigned char *bytes, size_t step);

/* The same to the nearest of 65536 codes, without dither; two bytes each, the high one first; step in samples. */
void samples_to_16(const float *samples, size_t count, unsigned char *bytes, size_t step);

#endif
