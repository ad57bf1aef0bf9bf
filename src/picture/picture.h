/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A picture in memory: up to four planes of 32-bit float, scene-linear, colour premultiplied by alpha. A matte is a
 * picture whose only plane is A.
 */
#ifndef PICTURE_PICTURE_H
#define PICTURE_PICTURE_H

#include <passel/error.h>
#include <stddef.h>

#include "picture/rect.h"

enum plane { PLANE_R = 0, PLANE_G, PLANE_B, PLANE_A, PLANE_COUNT };

/* Sets of planes. */
enum {
    HAS_R = 1 << PLANE_R,
    HAS_G = 1 << PLANE_G,
    HAS_B = 1 << PLANE_B,
    HAS_A = 1 << PLANE_A,
    HAS_RGB = HAS_R | HAS_G | HAS_B,
    HAS_RGBA = HAS_RGB | HAS_A
};

/* A view of pixels. plane[p] points to the pixel at (area.x0, area.y0), or is NULL when the plane is not there.
 * Row y starts `stride` floats after row y-1, in every plane. The view owns nothing unless `owned` is set. */
struct picture {
    struct rect area;
    float *plane[PLANE_COUNT];
    size_t stride;
    void *owned; /* the block that picture_release gives back, or NULL */
};

/* Where row y begins (its pixel area.x0); the plane must be there and y inside the area. */
float *picture_row(const struct picture *picture, enum plane plane, int32_t y);

/* The set of planes that are there. */
unsigned picture_planes(const struct picture *picture);

/* Allocates the planes of set `planes` over `area`, rows padded to 16 floats; contents undefined. */
enum passel_status picture_new(struct picture *picture, struct rect area, unsigned planes, struct passel_error *error);

/* Bytes that picture_new takes for this, or SIZE_MAX when that does not fit. */
size_t picture_bytes(struct rect area, unsigned planes);

/* Gives owned memory back and zeroes the struct. A zeroed one is fine. */
void picture_release(struct picture *picture);

/* A view of the part of `picture` that lies in `area` (which must be inside). Owns nothing. */
struct picture picture_part(const struct picture *picture, struct rect area);

/* Sets every pixel of plane `plane` inside `area` (cut to the picture) to `value`. */
void picture_fill(const struct picture *picture, enum plane plane, struct rect area, float value);

/* Copies the pixels that both hold, for every plane that both have. */
void picture_copy(const struct picture *to, const struct picture *from);

#endif
