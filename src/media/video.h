/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * YUV4MPEG2 streams: how their frames are laid out, and their pixels as R'G'B'.
 *
 * Source: yuv4mpeg(5) of mjpegtools. Samples of more than 8 bits (C420p10, C422p12, mono16 …: two bytes, low one first)
 * and XCOLORRANGE=FULL or LIMITED are extensions in common use that this page does not have.
 */
#ifndef MEDIA_VIDEO_H
#define MEDIA_VIDEO_H

#include <passel/error.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "picture/picture.h"

enum { VIDEO_PLANES = 4, VIDEO_HEADER_LIMIT = 4096 };
enum video_plane { VIDEO_Y, VIDEO_CB, VIDEO_CR, VIDEO_A };

struct video_layout {
    int32_t width, height;
    int planes;       /* 1: grey, 3, or 4 with alpha */
    int bits;         /* 8 … 16; above 8 a sample is two bytes */
    int across, down; /* luma samples per chroma sample */
    double site_x;    /* the first chroma sample lies this many luma samples right of the first luma sample … */
    double site_y[2]; /* … and this many below it: Cb, Cr */
    bool full;        /* codes use the full range, not 16 … 235 */
    bool bt601;       /* Y'CbCr by BT.601, else BT.709 */
    int32_t rate_num, rate_den; /* 0, 0 when unknown */
    double pixel_aspect;
};

/* Reads the header line (without its newline, NUL-terminated). */
enum passel_status video_parse(const char *line, struct video_layout *layout, struct passel_error *error);

/* "4:2:0"; never NULL. */
const char *video_sampling(const struct video_layout *layout);

size_t video_plane_bytes(const struct video_layout *layout, int plane);
size_t video_frame_bytes(const struct video_layout *layout);

/* Row y of a frame as code values 0 … 1 for R', G', B' and A; chroma is interpolated linearly between the places where
 * its samples lie. `scratch` holds video_scratch_floats floats. rgba[p] may be NULL. */
size_t video_scratch_floats(const struct video_layout *layout);
void video_row(const struct video_layout *layout, const unsigned char *frame, int32_t y, float *scratch,
               float *const rgba[PLANE_COUNT]);

#endif
