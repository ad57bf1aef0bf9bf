/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Radial distortion of a lens: straight lines bend outwards or inwards with their distance from the centre.
 *
 * Source: the radial terms of D. C. Brown, "Decentering distortion of lenses", Photogrammetric Engineering 32 (1966),
 * and A. E. Conrady (1919): a point at the radius r of a straight picture lies at r (1 + k1 r² + k2 r⁴) in the bent
 * one.
 */
#ifndef PICTURE_LENS_H
#define PICTURE_LENS_H

#include <passel/error.h>
#include <stdbool.h>

#include "picture/picture.h"

#define LENS_STEPS 1024

struct lens {
    double k1, k2;
    double x, y, unit; /* centre; how many pixels are radius 1 */
    bool straighten;   /* from bent to straight, else from straight to bent */
    double farthest;   /* radius in the output beyond which there is nothing (pixels) */
    /* From output to input the radius is multiplied by factor[i] where its square is i/LENS_STEPS of span. */
    double span;
    double factor[LENS_STEPS + 1];
};

/* Makes the table for radii up to `reach` pixels. */
void lens_init(struct lens *lens, double k1, double k2, double x, double y, double unit, bool straighten, double reach);
/* Where an output position comes from. False where there is nothing. */
bool lens_point(const struct lens *lens, double x, double y, double *in_x, double *in_y);
/* The input pixels that filling `output` reads. */
struct rect lens_reach(const struct lens *lens, struct rect output);

/* Fills `out` through the lens by a Lanczos kernel of three lobes, widened where the picture gets smaller. `in` holds
 * lens_reach, the edge of `data` held beyond it; outside `data` the result is transparent, along its border in part. */
void lens_resample(const struct lens *lens, const struct picture *out, const struct picture *in, struct rect data);

#endif
