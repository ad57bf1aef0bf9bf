/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The pieces that svg.c reads an SVG file with: numbers, transforms and path data.
 */
#ifndef MEDIA_SVG_PARTS_H
#define MEDIA_SVG_PARTS_H

#include <stdbool.h>
#include <stddef.h>

#define SVG_SEGMENTS_MOST 65536

/* A number at *text, after white space and at most one comma; *text moves behind it. False when there is none. The
 * grammar is that of SVG 1.1, section 8.3.9; the value is right to the last bit or the one before it. */
bool svg_number(const char **text, double *number);

/* x' = m0 x + m2 y + m4, y' = m1 x + m3 y + m5 */
struct svg_matrix {
    double m[6];
};

/* The transforms of an attribute, after `outer`. False when it is not a list of transforms. */
bool svg_transform(const char *text, struct svg_matrix outer, struct svg_matrix *matrix);

/* What path data draws. Zeroed is empty. */
struct svg_drawn {
    double *numbers; /* 6 per part: its start and two handles, in the units of the page */
    int *segments;   /* per contour */
    int count, room; /* parts */
    int contours, contour_room;
    bool failed; /* memory is out */
    bool large;  /* more than SVG_SEGMENTS_MOST parts */
};

/* Adds the contours of path data (SVG 1.1, section 8.3), closed. Returns NULL, or the place where the data stop being
 * path data. */
const char *svg_path(const char *data, const struct svg_matrix *matrix, struct svg_drawn *drawn);
/* From contour `first` on, turns contours round so that those that lie in an odd number of others run the other way
 * than those that lie in an even number (the rule `evenodd`, for contours that do not cross). */
void svg_even_odd(struct svg_drawn *drawn, int first);
void svg_drawn_release(struct svg_drawn *drawn);

#endif
