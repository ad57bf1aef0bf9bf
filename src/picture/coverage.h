/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Which share of an output pixel the image of a window covers, exactly: the window's borders are straight lines in the
 * output plane, under a homography too, and the pixel is clipped against them.
 */
#ifndef PICTURE_COVERAGE_H
#define PICTURE_COVERAGE_H

#include "picture/geometry.h"

#define COVERAGE_LINES 5 /* four borders and the horizon of a homography */

struct coverage {
    int count;
    struct {
        double a, b, c; /* inside where a x + b y + c > 0 */
        double reach;   /* how much it can change from a pixel's centre to its corner */
    } line[COVERAGE_LINES];
};

/* The image of the input rectangle x0 y0 x1 y1 in the output plane; nothing when it is empty. */
void coverage_init(struct coverage *coverage, const struct transform *t, const double window[4]);

/* The covered share of pixel (x, y), 0 … 1. */
float coverage_of(const struct coverage *coverage, int32_t x, int32_t y);

/* Multiplies every pixel by its share that the image of `window` covers; with FILTER_NEAREST by 1 when its centre is
 * inside, else 0. */
void coverage_cut(const struct picture *picture, const struct transform *t, struct rect window, enum filter filter);

#endif
