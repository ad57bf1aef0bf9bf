/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The spline goes through every pixel, and swings where the light steps: beside a clipped lamp by a tenth of it, which
 * in the dark is a visible ring. Where a position lies near such light and the four pixels around it are far darker,
 * its value is kept near what lies between these. How far it may leave their range is said by the bend of the picture
 * there, the smaller one of those at either end of each side (A. Suresh and H. T. Huynh, "Accurate monotonicity-
 * preserving schemes", J. Comput. Phys. 136, 1997): a step bends at one end only, a soft valley at both, so that the
 * valley keeps its depth.
 */
#include <math.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "picture/geometry.h"
#include "picture/resample.h"

enum {
    PIXELS = 4,        /* along a side: the two next to a position and one more on either side */
    SIDE = PIXELS + 4, /* coefficients that these are made of */
    REACH = 7          /* pixels; a ring is down to a two hundredth of the first there */
};

static const float BRIGHT = 0.9f;        /* light from which on a step may be that of a clipped highlight */
static const float FAR = 4, FARTHER = 8; /* times as bright as the pixels: limited from here on, wholly from there on */
static const float SLACK = 0.25f;        /* what lies between pixels may leave their range by this share of it … */
static const float BEND = 0.5f;          /* … and by this share of the bend; a parabola leaves it by an eighth */
static const float OPAQUE = 1e-3f;       /* an alpha that differs from 1 by less has no edge here */
static const float SOFTENED = 2;         /* a picture made smaller by so much has no rings of its own any more */

struct ringing {
    struct resampling task;
    struct rect seen; /* the coefficients whose light was looked at */
    float *peak;      /* of each: the brightest one within REACH of it */
    size_t stride;
};

/* Notes the brightest colour of each coefficient, with a margin of REACH around them. False when none is bright. */
static bool note_bright(const struct ringing *ringing)
{
    const struct picture *in = ringing->task.in;
    const struct rect seen = ringing->seen;
    int bright = 0;
    for (int p = PLANE_R; p <= PLANE_B; p++)
        for (int32_t y = seen.y0; in->plane[p] != NULL && y < seen.y1; y++) {
            const float *from = picture_row(in, (enum plane)p, y) + (seen.x0 - in->area.x0);
            float *to = ringing->peak + (size_t)(y - seen.y0 + REACH) * ringing->stride + REACH;
            for (int32_t x = 0; x < rect_width(seen); x++) {
                to[x] = from[x] > to[x] ? from[x] : to[x];
                bright |= from[x] >= BRIGHT;
            }
        }
    return bright != 0;
}

/* values[i] = the largest of values[i] … values[i + 2 * REACH * step], for all i for which these are there. */
static void widen(float *values, size_t count, size_t step)
{
    for (size_t covers = 1; covers < 2 * REACH + 1;) {
        const size_t rest = 2 * REACH + 1 - covers, shift = rest < covers ? rest : covers;
        for (size_t i = 0; i + shift * step < count; i++)
            values[i] = values[i] > values[i + shift * step] ? values[i] : values[i + shift * step];
        covers += shift;
    }
}

static void gather(const struct ringing *ringing, int plane, int32_t x, int32_t y, float patch[SIDE][SIDE])
{
    const struct resampling *task = &ringing->task;
    const struct picture *in = task->in;
    const struct rect part = rect_of(x - 3, y - 3, x - 3 + SIDE, y - 3 + SIDE);
    if (rect_holds(task->data, part)) {
        const float *from = picture_row(in, (enum plane)plane, part.y0) + (part.x0 - in->area.x0);
        for (int32_t j = 0; j < SIDE; j++, from += in->stride)
            memcpy(patch[j], from, sizeof patch[j]);
        return;
    }
    for (int32_t j = 0; j < SIDE; j++) {
        const int32_t from = resample_stand_in(task, part.y0 + j, task->data.y0, task->data.y1);
        const float *row = picture_row(in, (enum plane)plane, from) - in->area.x0;
        for (int32_t i = 0; i < SIDE; i++)
            patch[j][i] = row[resample_stand_in(task, part.x0 + i, task->data.x0, task->data.x1)];
    }
}

/* What the spline was made of: columns first, then rows. */
static void pixels_of(float patch[SIDE][SIDE], float pixels[PIXELS][PIXELS])
{
    static const float basis[5] = { 1.0f / 120, 26.0f / 120, 66.0f / 120, 26.0f / 120, 1.0f / 120 };
    for (int y = 0; y < PIXELS; y++) {
        float row[SIDE] = { 0 };
        for (int j = 0; j < 5; j++)
            for (int x = 0; x < SIDE; x++)
                row[x] += basis[j] * patch[y + j][x];
        for (int x = 0; x < PIXELS; x++)
            pixels[y][x] =
                basis[0] * (row[x] + row[x + 4]) + basis[1] * (row[x + 1] + row[x + 3]) + basis[2] * row[x + 2];
    }
}

/* The smaller of the bends at b and at c of four pixels in a row; 0 where they bend different ways. */
static float common_bend(float a, float b, float c, float d)
{
    const float left = a - 2 * b + c, right = b - 2 * c + d;
    const float small = fabsf(left) < fabsf(right) ? fabsf(left) : fabsf(right);
    return left * right > 0 ? small : 0;
}

/* How far values between the inner four pixels may leave their range for their bend. */
static float bend_of(float p[PIXELS][PIXELS])
{
    const float top = common_bend(p[1][0], p[1][1], p[1][2], p[1][3]);
    const float bottom = common_bend(p[2][0], p[2][1], p[2][2], p[2][3]);
    const float left = common_bend(p[0][1], p[1][1], p[2][1], p[3][1]);
    const float right = common_bend(p[0][2], p[1][2], p[2][2], p[3][2]);
    return BEND * ((top > bottom ? top : bottom) + (left > right ? left : right));
}

/* 0 … 1: how much of the limit holds where `pixel` is the light nearby and `peak` that of the highlight. */
static float share_of(float pixel, float peak)
{
    const float size = fabsf(pixel), share = (peak - FAR * size) / ((FARTHER - FAR) * size + 1e-6f);
    return share < 0 ? 0 : share < 1 ? share : 1;
}

/* Beside the edge itself some of the four are the highlight's: what is below all of them is held by the lowest two. */
static float limited(float value, float patch[SIDE][SIDE], float peak, float strength)
{
    float pixels[PIXELS][PIXELS];
    pixels_of(patch, pixels);
    float low = pixels[1][1], second = pixels[1][2], high;
    if (second < low) {
        low = pixels[1][2];
        second = pixels[1][1];
    }
    high = second;
    for (int i = 1; i <= 2; i++) {
        const float pixel = pixels[2][i];
        second = pixel < low ? low : pixel < second ? pixel : second;
        low = pixel < low ? pixel : low;
        high = pixel > high ? pixel : high;
    }
    const float bend = bend_of(pixels);
    const float least = low - SLACK * (second - low) - bend, most = high + SLACK * (high - low) + bend;
    if (value < least)
        return value + strength * share_of(low, peak) * (least - value);
    if (value > most)
        return value + strength * share_of(high, peak) * (most - value);
    return value;
}

static bool opaque(const struct ringing *ringing, int32_t x, int32_t y)
{
    float patch[SIDE][SIDE];
    if (ringing->task.in->plane[PLANE_A] == NULL)
        return true;
    gather(ringing, PLANE_A, x, y, patch);
    for (int i = 0; i < SIDE * SIDE; i++)
        if (!(fabsf(patch[i / SIDE][i % SIDE] - 1) < OPAQUE))
            return false;
    return true;
}

static void limit_pixel(const struct ringing *ringing, int32_t x, int32_t y)
{
    const struct resampling *task = &ringing->task;
    const struct picture *out = task->out;
    const double w = task->t->m[6] * (x + 0.5) + task->t->m[7] * (y + 0.5) + task->t->m[8];
    double px, py;
    if (!(w > 0))
        return;
    transform_point(task->t, x + 0.5, y + 0.5, &px, &py);
    if (!(px >= task->data.x0 + 1 && py >= task->data.y0 + 1 && px < task->data.x1 - 1 && py < task->data.y1 - 1))
        return; /* at the border the pixel may be covered in part; the border has no rings of its own */
    const int32_t left = floor_position(px - 0.5), top = floor_position(py - 0.5);
    const struct rect seen = ringing->seen;
    if (left < seen.x0 || top < seen.y0 || left >= seen.x1 || top >= seen.y1)
        return;
    const float peak = ringing->peak[(size_t)(top - seen.y0) * ringing->stride + (size_t)(left - seen.x0)];
    if (peak < BRIGHT)
        return;
    const struct stretch stretch = stretch_at(task->t, px, py, w);
    const double most = fmax(stretch.s00 + fabs(stretch.s01), stretch.s11 + fabs(stretch.s01));
    const float strength = most > 1 ? (float)(SOFTENED - most) : 1;
    if (!(strength > 0) || !opaque(ringing, left, top))
        return;
    for (int p = PLANE_R; p <= PLANE_B; p++) {
        float patch[SIDE][SIDE];
        if (out->plane[p] == NULL || task->in->plane[p] == NULL)
            continue;
        float *value = picture_row(out, (enum plane)p, y) + (x - out->area.x0);
        gather(ringing, p, left, top, patch);
        *value = limited(*value, patch, peak, strength);
    }
}

enum passel_status picture_limit_ringing(const struct picture *out, const struct picture *in, struct rect data,
                                         const struct transform *t, struct passel_error *error)
{
    struct ringing ringing = { .task = { .out = out, .in = in, .data = data, .t = t, .filter = FILTER_SPLINE } };
    const struct rect reach = rect_grow(transform_reach_in(t, FILTER_SPLINE, out->area), REACH, REACH);
    ringing.seen = rect_cut(reach, rect_cut(data, in->area));
    if (rect_empty(ringing.seen) || rect_empty(out->area))
        return PASSEL_OK;
    ringing.stride = (size_t)rect_width(ringing.seen) + 2 * REACH;
    const size_t count = ringing.stride * ((size_t)rect_height(ringing.seen) + 2 * REACH);
    ringing.peak = memory_zeros(count, sizeof *ringing.peak);
    if (ringing.peak == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "no memory for where a picture is bright");
    if (note_bright(&ringing)) {
        widen(ringing.peak, count, 1);
        widen(ringing.peak, count, ringing.stride);
        for (int32_t y = out->area.y0; y < out->area.y1; y++)
            for (int32_t x = out->area.x0; x < out->area.x1; x++)
                limit_pixel(&ringing, x, y);
    }
    memory_free(ringing.peak);
    return PASSEL_OK;
}
