/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Pictures: one block of memory with the planes one behind the other, and views of parts of it.
 */
#include "picture/picture.h"

#include <assert.h>
#include <inttypes.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"

#define ROW_FLOATS 16 /* rows start at multiples of 64 bytes */

static size_t padded_width(struct rect area)
{
    return ((size_t)rect_width(area) + ROW_FLOATS - 1) / ROW_FLOATS * ROW_FLOATS;
}

static size_t count_planes(unsigned planes)
{
    size_t count = 0;
    for (int plane = 0; plane < PLANE_COUNT; plane++)
        count += planes >> plane & 1;
    return count;
}

float *picture_row(const struct picture *picture, enum plane plane, int32_t y)
{
    assert(picture->plane[plane] != NULL && y >= picture->area.y0 && y < picture->area.y1);
    return picture->plane[plane] + (size_t)(y - picture->area.y0) * picture->stride;
}

unsigned picture_planes(const struct picture *picture)
{
    unsigned planes = 0;
    for (int plane = 0; plane < PLANE_COUNT; plane++)
        if (picture->plane[plane] != NULL)
            planes |= 1u << plane;
    return planes;
}

size_t picture_bytes(struct rect area, unsigned planes)
{
    size_t floats, bytes;
    if (!size_multiply(padded_width(area), (size_t)rect_height(area), &floats) ||
        !size_multiply(floats, count_planes(planes) * sizeof(float), &bytes))
        return SIZE_MAX;
    return bytes;
}

enum passel_status picture_new(struct picture *picture, struct rect area, unsigned planes, struct passel_error *error)
{
    memset(picture, 0, sizeof *picture);
    const size_t bytes = picture_bytes(area, planes);
    float *next = bytes == SIZE_MAX ? NULL : memory_new(bytes);
    if (next == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "no memory for a picture of %" PRId32 " x %" PRId32 " pixels",
                         rect_width(area), rect_height(area));
    picture->area = area;
    picture->stride = padded_width(area);
    picture->owned = next;
    for (int plane = 0; plane < PLANE_COUNT; plane++)
        if (planes >> plane & 1) {
            picture->plane[plane] = next;
            next += picture->stride * (size_t)rect_height(area);
        }
    return PASSEL_OK;
}

void picture_release(struct picture *picture)
{
    memory_free(picture->owned);
    memset(picture, 0, sizeof *picture);
}

struct picture picture_part(const struct picture *picture, struct rect area)
{
    assert(rect_holds(picture->area, area));
    struct picture part = *picture;
    part.owned = NULL;
    part.area = area;
    if (rect_empty(area))
        return part;
    const size_t offset = (size_t)(area.y0 - picture->area.y0) * picture->stride + (size_t)(area.x0 - picture->area.x0);
    for (int plane = 0; plane < PLANE_COUNT; plane++)
        if (part.plane[plane] != NULL)
            part.plane[plane] += offset;
    return part;
}

void picture_fill(const struct picture *picture, enum plane plane, struct rect area, float value)
{
    const struct rect part = rect_cut(picture->area, area);
    if (picture->plane[plane] == NULL)
        return;
    for (int32_t y = part.y0; y < part.y1; y++) {
        float *row = picture_row(picture, plane, y);
        for (int32_t x = part.x0; x < part.x1; x++)
            row[x - picture->area.x0] = value;
    }
}

static void copy_plane(const struct picture *to, const struct picture *from, enum plane plane, struct rect part)
{
    const size_t bytes = (size_t)rect_width(part) * sizeof(float);
    for (int32_t y = part.y0; y < part.y1; y++)
        memmove(picture_row(to, plane, y) + (part.x0 - to->area.x0),
                picture_row(from, plane, y) + (part.x0 - from->area.x0), bytes);
}

void picture_copy(const struct picture *to, const struct picture *from)
{
    const struct rect part = rect_cut(to->area, from->area);
    for (int plane = 0; plane < PLANE_COUNT; plane++)
        if (to->plane[plane] != NULL && from->plane[plane] != NULL)
            copy_plane(to, from, (enum plane)plane, part);
}
