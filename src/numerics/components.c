/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Both work on a depth: 0 at the middle (0.5) and everything on its far side, largest at the end (1 for holes, 0 for
 * specks). Pixels at the end need no work; the others are joined from the middle on.
 */
#include "numerics/components.h"

#include <stdbool.h>
#include <stdint.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"

struct box {
    uint16_t x0, y0, x1, y1; /* both ends belong to it */
};

struct parts {
    const struct picture *picture;
    enum plane plane;
    bool specks;
    double across;
    int32_t width, height;
    uint32_t *depth;  /* per pixel */
    uint32_t *parent; /* per pixel: towards the last one joined; itself at a root; NOT_YET before its turn */
    uint32_t *order;  /* pixels by depth */
    uint32_t *spare;
    struct box *box; /* at roots */
    bool *large;     /* at roots */
    uint32_t count;  /* pixels in `order` */
};

#define NOT_YET UINT32_MAX
#define DEPTH_BITS 24
#define DIGIT_BITS 12
#define DEPTH_END (1U << 23) /* from 0.5 to 1 there are so many floats */

/* ---- depth ------------------------------------------------------------------------------------------------------- */

static uint32_t depth_of(float value, bool specks)
{
    const float seen = specks ? 1 - value : value;
    const float held = seen > 0.5F ? (seen < 1 ? seen : 1) : 0.5F;
    const float middle = 0.5F;
    uint32_t bits, base;
    memcpy(&bits, &held, sizeof bits);
    memcpy(&base, &middle, sizeof base);
    return bits - base;
}

static void find_depths(struct parts *parts)
{
    for (int32_t y = 0; y < parts->height; y++) {
        const float *row = picture_row(parts->picture, parts->plane, parts->picture->area.y0 + y);
        for (int32_t x = 0; x < parts->width; x++) {
            const uint32_t i = (uint32_t)y * (uint32_t)parts->width + (uint32_t)x;
            parts->depth[i] = depth_of(row[x], parts->specks);
            parts->parent[i] = NOT_YET;
            if (parts->depth[i] < DEPTH_END)
                parts->order[parts->count++] = i;
        }
    }
}

/* Sorts by one digit; equal ones keep their order. */
static void sort_by_digit(const uint32_t *from, uint32_t *to, uint32_t count, const uint32_t *depth, int shift)
{
    uint32_t start[(1 << DIGIT_BITS) + 1] = { 0 };
    const uint32_t mask = (1 << DIGIT_BITS) - 1;
    for (uint32_t i = 0; i < count; i++)
        start[(depth[from[i]] >> shift & mask) + 1]++;
    for (uint32_t digit = 0; digit < mask; digit++)
        start[digit + 1] += start[digit];
    for (uint32_t i = 0; i < count; i++)
        to[start[depth[from[i]] >> shift & mask]++] = from[i];
}

/* ---- joining ----------------------------------------------------------------------------------------------------- */

static uint32_t root_of(const struct parts *parts, uint32_t i)
{
    uint32_t root = i;
    while (parts->parent[root] != root)
        root = parts->parent[root];
    while (parts->parent[i] != root) {
        const uint32_t next = parts->parent[i];
        parts->parent[i] = root;
        i = next;
    }
    return root;
}

static void begin_part(struct parts *parts, uint32_t i, int32_t x, int32_t y)
{
    parts->parent[i] = i;
    parts->box[i] = (struct box){ (uint16_t)x, (uint16_t)y, (uint16_t)x, (uint16_t)y };
    parts->large[i] = x == 0 || y == 0 || x == parts->width - 1 || y == parts->height - 1 || parts->across <= 1;
}

/* Joins the part of an earlier pixel to that of `i`, unless it was large already at a lesser depth: then it keeps to
 * itself, and what has reached it is large too. */
static void join(struct parts *parts, uint32_t i, uint32_t earlier)
{
    const uint32_t root = root_of(parts, earlier);
    if (root == i)
        return;
    if (parts->large[root])
        parts->large[i] = true;
    if (parts->large[root] && parts->depth[root] != parts->depth[i])
        return;
    const struct box other = parts->box[root];
    struct box *box = &parts->box[i];
    parts->parent[root] = i;
    box->x0 = other.x0 < box->x0 ? other.x0 : box->x0;
    box->y0 = other.y0 < box->y0 ? other.y0 : box->y0;
    box->x1 = other.x1 > box->x1 ? other.x1 : box->x1;
    box->y1 = other.y1 > box->y1 ? other.y1 : box->y1;
    if (box->x1 - box->x0 + 1 >= parts->across || box->y1 - box->y0 + 1 >= parts->across)
        parts->large[i] = true;
}

static void join_neighbours(struct parts *parts, uint32_t i)
{
    static const int beside[8][2] = { { 0, -1 },  { -1, 0 }, { 1, 0 },  { 0, 1 },
                                      { -1, -1 }, { 1, -1 }, { -1, 1 }, { 1, 1 } };
    const int32_t x = (int32_t)(i % (uint32_t)parts->width), y = (int32_t)(i / (uint32_t)parts->width);
    begin_part(parts, i, x, y);
    for (int k = 0; k < (parts->specks ? 8 : 4); k++) {
        const int32_t u = x + beside[k][0], v = y + beside[k][1];
        if (u < 0 || v < 0 || u >= parts->width || v >= parts->height)
            continue;
        const uint32_t other = (uint32_t)v * (uint32_t)parts->width + (uint32_t)u;
        if (parts->parent[other] != NOT_YET)
            join(parts, i, other);
    }
}

/* ---- levels ------------------------------------------------------------------------------------------------------ */

static float *value_of(const struct parts *parts, uint32_t i)
{
    const int32_t x = (int32_t)(i % (uint32_t)parts->width), y = (int32_t)(i / (uint32_t)parts->width);
    return picture_row(parts->picture, parts->plane, parts->picture->area.y0 + y) + x;
}

/* Backwards, so that a parent is settled before those that were joined to it. A root that stayed small was closed in
 * by pixels at the end. What hangs together with a large part at depth 0 stays as it is; `large` says that from here
 * on. */
static void settle(struct parts *parts)
{
    const float end = parts->specks ? 0 : 1;
    for (uint32_t k = parts->count; k-- > 0;) {
        const uint32_t i = parts->order[k], parent = parts->parent[i];
        if (parent != i) {
            parts->large[i] = parts->large[parent];
            if (!parts->large[i])
                *value_of(parts, i) = *value_of(parts, parent);
        } else if (parts->large[i]) {
            parts->large[i] = parts->depth[i] == 0;
        } else {
            *value_of(parts, i) = end;
        }
    }
}

static enum passel_status parts_new(struct parts *parts, struct passel_error *error)
{
    const size_t pixels = (size_t)parts->width * (size_t)parts->height;
    if (parts->width > COMPONENTS_SIDE || parts->height > COMPONENTS_SIDE || pixels >= NOT_YET)
        return error_set(error, PASSEL_UNSUPPORTED, "a picture of %d x %d is too large for holes and specks",
                         parts->width, parts->height);
    parts->depth = memory_zeros(pixels, sizeof *parts->depth);
    parts->parent = memory_zeros(pixels, sizeof *parts->parent);
    parts->order = memory_zeros(pixels, sizeof *parts->order);
    parts->spare = memory_zeros(pixels, sizeof *parts->spare);
    parts->box = memory_zeros(pixels, sizeof *parts->box);
    parts->large = memory_zeros(pixels, sizeof *parts->large);
    if (parts->depth == NULL || parts->parent == NULL || parts->order == NULL || parts->spare == NULL ||
        parts->box == NULL || parts->large == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    return PASSEL_OK;
}

static void parts_release(struct parts *parts)
{
    memory_free(parts->depth);
    memory_free(parts->parent);
    memory_free(parts->order);
    memory_free(parts->spare);
    memory_free(parts->box);
    memory_free(parts->large);
}

static enum passel_status remove_parts(struct parts *parts, struct passel_error *error)
{
    parts->width = rect_width(parts->picture->area);
    parts->height = rect_height(parts->picture->area);
    if (parts->width == 0 || parts->height == 0)
        return PASSEL_OK;
    const enum passel_status status = parts_new(parts, error);
    if (status == PASSEL_OK) {
        find_depths(parts);
        sort_by_digit(parts->order, parts->spare, parts->count, parts->depth, 0);
        sort_by_digit(parts->spare, parts->order, parts->count, parts->depth, DEPTH_BITS - DIGIT_BITS);
        for (uint32_t k = 0; k < parts->count; k++)
            join_neighbours(parts, parts->order[k]);
        settle(parts);
    }
    parts_release(parts);
    return status;
}

enum passel_status components_fill_holes(const struct picture *picture, enum plane plane, double across,
                                         struct passel_error *error)
{
    struct parts parts = { .picture = picture, .plane = plane, .across = across };
    return remove_parts(&parts, error);
}

enum passel_status components_drop_specks(const struct picture *picture, enum plane plane, double across,
                                          struct passel_error *error)
{
    struct parts parts = { .picture = picture, .plane = plane, .specks = true, .across = across };
    return remove_parts(&parts, error);
}
