/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Rectangles of pixels, half open: x0 ≤ x < x1, y0 ≤ y < y1. y points down; the origin is the top left corner of the
 * display window. Pixel (x, y) covers the unit square with its centre at (x + 0.5, y + 0.5).
 */
#ifndef PICTURE_RECT_H
#define PICTURE_RECT_H

#include <stdbool.h>
#include <stdint.h>

struct rect {
    int32_t x0, y0, x1, y1;
};

/* No coordinate of a picture lies beyond ± this, so that widths and sums fit an int32_t. */
#define RECT_LIMIT (1 << 24)

struct rect rect_of(int32_t x0, int32_t y0, int32_t x1, int32_t y1);
bool rect_empty(struct rect r);
int32_t rect_width(struct rect r);  /* 0 when empty */
int32_t rect_height(struct rect r); /* 0 when empty */
struct rect rect_cut(struct rect a, struct rect b);   /* intersection; all zero when empty */
struct rect rect_join(struct rect a, struct rect b);  /* smallest rectangle around both; an empty one adds nothing */
struct rect rect_grow(struct rect r, int32_t x, int32_t y); /* an empty one stays empty; clamped to RECT_LIMIT */
struct rect rect_shift(struct rect r, int32_t x, int32_t y);
bool rect_holds(struct rect outer, struct rect inner); /* an empty inner is held by all */
bool rect_same(struct rect a, struct rect b);
/* The rectangle in pixels of 1/scale size: covers all of `r`. */
struct rect rect_reduce(struct rect r, int scale);

#endif
