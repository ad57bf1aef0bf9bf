/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Y'CbCr to R'G'B' (BT.709-6 items 3.2 to 3.4, BT.601-7): with n bits and k = 2^(n-8), Y' = (D - 16k) / 219k and
 * C = (D - 128k) / 224k, or the full range over 2^n - 1; then R' = Y' + 2 (1 - Kr) Cr, B' = Y' + 2 (1 - Kb) Cb, and G'
 * from Y' = Kr R' + Kg G' + Kb B'. Values outside 0 … 1 are kept.
 */
#include <string.h>

#include "media/video.h"

static int32_t plane_width(const struct video_layout *layout, int plane)
{
    const bool chroma = plane == VIDEO_CB || plane == VIDEO_CR;
    return chroma ? (layout->width + layout->across - 1) / layout->across : layout->width;
}

static int32_t plane_height(const struct video_layout *layout, int plane)
{
    const bool chroma = plane == VIDEO_CB || plane == VIDEO_CR;
    return chroma ? (layout->height + layout->down - 1) / layout->down : layout->height;
}

size_t video_plane_bytes(const struct video_layout *layout, int plane)
{
    return (size_t)plane_width(layout, plane) * (size_t)plane_height(layout, plane) * (layout->bits > 8 ? 2 : 1);
}

size_t video_frame_bytes(const struct video_layout *layout)
{
    size_t bytes = 0;
    for (int plane = 0; plane < layout->planes; plane++)
        bytes += video_plane_bytes(layout, plane);
    return bytes;
}

size_t video_scratch_floats(const struct video_layout *layout)
{
    return 8 * (size_t)layout->width;
}

/* Row y of a plane, each code as (code - zero) / span. */
static void row_values(const struct video_layout *layout, const unsigned char *frame, int plane, int32_t y, float zero,
                       float span, float *values)
{
    const size_t width = (size_t)plane_width(layout, plane);
    const size_t step = layout->bits > 8 ? 2 : 1;
    for (int before = 0; before < plane; before++)
        frame += video_plane_bytes(layout, before);
    frame += (size_t)y * width * step;
    if (step == 1) {
        for (size_t i = 0; i < width; i++)
            values[i] = ((float)frame[i] - zero) / span;
    } else {
        for (size_t i = 0; i < width; i++)
            values[i] = ((float)(frame[2 * i] | frame[2 * i + 1] << 8) - zero) / span;
    }
}

/* Between which samples of `count`, spaced by `every` and the first at `site`, luma position `at` lies; the weight is
 * that of the second. Ends hold. */
struct between {
    int32_t first, second;
    float weight;
};

static struct between between_of(int32_t at, int every, double site, int32_t count)
{
    const double position = (at - site) / every;
    const int32_t below = position < 0 ? -1 : (int32_t)position;
    struct between between = { below, below + 1, (float)(position - below) };
    if (between.first < 0)
        between.first = 0;
    if (between.second > count - 1)
        between.second = count - 1;
    if (between.first > count - 1)
        between.first = count - 1;
    return between;
}

static void mix(float *restrict first, const float *restrict second, float weight, size_t count)
{
    for (size_t i = 0; i < count; i++)
        first[i] += (second[i] - first[i]) * weight;
}

/* A chroma plane at the luma samples of row y; `rows` is scratch for two rows of chroma. */
static void chroma_row(const struct video_layout *layout, const unsigned char *frame, int plane, int32_t y, float *rows,
                       float *values)
{
    const int k = 1 << (layout->bits - 8);
    const float zero = (float)(128 * k), span = layout->full ? (float)(256 * k - 1) : (float)(224 * k);
    const int32_t width = plane_width(layout, plane);
    const struct between v = between_of(y, layout->down, layout->site_y[plane - VIDEO_CB], plane_height(layout, plane));
    row_values(layout, frame, plane, v.first, zero, span, rows);
    if (v.weight > 0 && v.second != v.first) {
        row_values(layout, frame, plane, v.second, zero, span, rows + width);
        mix(rows, rows + width, v.weight, (size_t)width);
    }
    if (layout->across == 1) {
        memcpy(values, rows, (size_t)width * sizeof *values);
        return;
    }
    for (int32_t x = 0; x < layout->width; x++) {
        const struct between h = between_of(x, layout->across, layout->site_x, width);
        values[x] = rows[h.first] + (rows[h.second] - rows[h.first]) * h.weight;
    }
}

static void to_rgb(bool bt601, const float *restrict luma, const float *restrict cb, const float *restrict cr,
                   size_t count, float *restrict rgb[3])
{
    const double kr = bt601 ? 0.299 : 0.2126, kb = bt601 ? 0.114 : 0.0722, kg = 1 - kr - kb;
    const float red = (float)(2 * (1 - kr)), blue = (float)(2 * (1 - kb));
    const float green_red = (float)(2 * kr * (1 - kr) / kg), green_blue = (float)(2 * kb * (1 - kb) / kg);
    for (size_t i = 0; i < count; i++) {
        rgb[0][i] = luma[i] + red * cr[i];
        rgb[1][i] = luma[i] - green_red * cr[i] - green_blue * cb[i];
        rgb[2][i] = luma[i] + blue * cb[i];
    }
}

void video_row(const struct video_layout *layout, const unsigned char *frame, int32_t y, float *scratch,
               float *const rgba[PLANE_COUNT])
{
    const size_t width = (size_t)layout->width;
    const int k = 1 << (layout->bits - 8);
    const float zero = layout->full ? 0.0f : (float)(16 * k);
    const float span = layout->full ? (float)(256 * k - 1) : (float)(219 * k);
    float *rows = scratch, *luma = scratch + 2 * width, *cb = luma + width, *cr = cb + width, *spare = cr + width;
    float *rgb[3];
    row_values(layout, frame, VIDEO_Y, y, zero, span, luma);
    if (rgba[PLANE_A] && layout->planes > VIDEO_A)
        row_values(layout, frame, VIDEO_A, y, zero, span, rgba[PLANE_A]);
    if (layout->planes == 1) {
        for (int p = 0; p < PLANE_A; p++)
            if (rgba[p])
                memcpy(rgba[p], luma, width * sizeof *luma);
        return;
    }
    for (int p = 0; p < PLANE_A; p++)
        rgb[p] = rgba[p] ? rgba[p] : spare + (size_t)p * width;
    chroma_row(layout, frame, VIDEO_CB, y, rows, cb);
    chroma_row(layout, frame, VIDEO_CR, y, rows, cr);
    to_rgb(layout->bt601, luma, cb, cr, width, rgb);
}
