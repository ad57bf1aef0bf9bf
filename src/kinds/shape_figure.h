/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The figures of a shape: where their outlines run at a time, as polygons.
 */
#ifndef KINDS_SHAPE_FIGURE_H
#define KINDS_SHAPE_FIGURE_H

#include "kinds/kind.h"
#include "numerics/polygon.h"

enum figure_form { FIGURE_POLYGON, FIGURE_SPLINE, FIGURE_BEZIER, FIGURE_ELLIPSE, FIGURE_SVG };

/* The outline of SVG files at their key frames; all have the same parts. */
struct svg_figure {
    int contour_count, segment_count;
    const int *segments; /* per contour */
    struct track track;  /* per key: x and y of each part's start and two handles, in pixels of the shot */
};

struct figure {
    enum figure_form form;
    const struct value *points; /* of all but `svg`; of an ellipse centre and radii */
    const struct value *turn;   /* of an ellipse, or NULL */
    const struct svg_figure *svg;
};

/* Refuses a number of numbers that does not suit the form. */
enum passel_status figure_check(const struct recipe *recipe, const struct figure *figure, struct passel_error *error);

/* Reads the files of these `svg` settings, the keys of one figure in the order of their frames. */
enum passel_status figure_read_svg(const struct recipe *recipe, const struct shot *shot,
                                   const struct setting *const *settings, int count, struct arena *arena,
                                   struct figure *figure, struct passel_error *error);

/* When: a frame, which may be broken, at a scale. */
struct moment {
    double frame;
    int scale;
};

/* True when the outline can differ between frames. */
bool figure_changes(const struct figure *figure);
/* About how far, in pixels, a point of the outline goes between two moments. */
double figure_motion(const struct figure *figure, struct moment from, struct moment to);

/* How many points and contours its polygon has, so that it is nowhere further than `tolerance` from the outline. */
void figure_measure(const struct figure *figure, struct moment moment, double tolerance, int *points, int *contours);
/* Writes these points (x, y each) and contours, and sets *polygon to them. */
void figure_place(const struct figure *figure, struct moment moment, double tolerance, int points_count, double *points,
                  int *ends, struct polygon *polygon);

#endif
