/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Outlines from SVG files (W3C, Scalable Vector Graphics 1.1 and 2): the data of paths, transforms, ids, the fill rule
 * and the page, and nothing else. Any vector program writes these.
 */
#ifndef MEDIA_SVG_H
#define MEDIA_SVG_H

#include <passel/error.h>
#include <stdbool.h>

#include "base/arena.h"

struct svg_outline {
    int contour_count;
    const int *segments;   /* per contour: its cubic parts; all contours are closed */
    int segment_count;     /* of all contours */
    const double *numbers; /* per part: x and y of its start and of its two handles; it ends where the next starts */
    bool has_page;
    double page[4]; /* x, y, width, height, in the units of the numbers */
};

/* Reads the paths of a file: of the element with this id (a path, or all of a group), or all that are drawn when `id` is
 * NULL. y points down. Outlines run so that a winding number of 0 is outside, whatever their fill rule. Memory from
 * `arena`. PASSEL_BAD_FILE says what is wrong and where; it names the ids that are there when there is no such one. */
enum passel_status svg_read(const char *path, const char *id, struct arena *arena, struct svg_outline *outline,
                            struct passel_error *error);

#endif
