/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Polygons on the pixel grid, a row at a time: how much of each pixel is covered, which pixel centres lie inside, and
 * how far these are from the outline. Coordinates are pixels, y down, the last point of a contour joined to its
 * first.
 *
 * Every function works on the columns x0 … x1-1 and sums from the left, so a caller who wants the same bits in every
 * tile always names the same columns.
 */
#ifndef NUMERICS_POLYGON_H
#define NUMERICS_POLYGON_H

#include <stdint.h>

struct polygon {
    int count;
    const double *points; /* x, y, x, y … */
    int contours;         /* several outlines that count as one, such as a ring's; 0 and 1: all points are one */
    const int *ends;      /* per contour: behind its last point; NULL for one */
};

/* cover[x - x0]: the share of pixel (x, y) inside, 0 … 1, from exact areas. Where the outline crosses itself, parts
 * that are enclosed twice count once. `cover` has room for x1 - x0 + 1. */
void polygon_cover(const struct polygon *polygon, int32_t y, int32_t x0, int32_t x1, double *cover);

/* winding[x - x0]: how often the outline goes round the centre of pixel (x, y); 0 is outside. Room as above. */
void polygon_winding(const struct polygon *polygon, int32_t y, int32_t x0, int32_t x1, int *winding);

/* squared[x - x0]: the squared distance of the centre of pixel (x, y) from the outline, at most limit². */
void polygon_distance(const struct polygon *polygon, int32_t y, int32_t x0, int32_t x1, double limit, double *squared);

/* How many points polygon_ellipse makes, so that it is nowhere more than `tolerance` pixels inside the ellipse. */
int polygon_ellipse_points(double radius_x, double radius_y, double tolerance);

/* Writes the x, y of `count` points (as above) on an ellipse that is turned clockwise as seen. */
void polygon_ellipse(double centre_x, double centre_y, double radius_x, double radius_y, double degrees, int count,
                     double *points);

#endif
