/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * extend … by gradient: the smooth light of a plate carried on past its edges.
 */
#ifndef KINDS_EXTEND_GRADIENT_H
#define KINDS_EXTEND_GRADIENT_H

#include <stdbool.h>

#include "numerics/cells.h"
#include "picture/picture.h"

#define RIM_LEVELS 10

/* What the slow field misses along the plate's border, walked clockwise from the top left corner, at widening blurs. */
struct rim {
    int32_t length;
    float *miss[RIM_LEVELS][3];
    float *slope[3];           /* outwards, per pixel */
    float *low[3], *high[3];   /* the border's own light around each place: the least, the most */
    float *own[RIM_LEVELS][3]; /* root of the border's light */
    float *say, *slant;        /* of the border's light carried on along the plate's structures; places per pixel out */
    float sigma[RIM_LEVELS];   /* pixels along the border */
    void *block;
};

/* Past a side, for every cell of the plate along it: how much the border's own light carried on has to say, 0 … 1, and
 * by how many cells along the side it shifts per cell outwards. NULL: nothing. */
struct carrying {
    double *say, *slant;
};

/* All positions are those of the output. */
struct gradient {
    struct rect plate, target;
    struct cells field;          /* fourth roots of light for R, G, B; A as it is */
    float *turn[3];              /* for each cell, sums of f_x², f_x f_y and f_y²: see extend_slant.h */
    float least[3];              /* the field goes no lower */
    bool opaque;                 /* the plate's alpha is 1 everywhere along */
    struct carrying carrying[4]; /* enum side */
    struct rim rim;
};

/* How closely the slow field keeps to the plate. */
enum gradient_detail {
    DETAIL_CLOSE, /* over one and a half cells; what stands out (a cloud, a mast) has little say */
    DETAIL_BROAD  /* over a tenth of the frame: clouds are no part of it */
};

/* Finds the slow field from the plate (R, G, B, A over gradient->plate). Where `known` (plane A, same area; NULL: all
 * is known) is 0 the plate is not believed. */
enum passel_status gradient_learn(struct gradient *gradient, const struct picture *plate, const struct picture *known,
                                  struct rect target, enum gradient_detail detail, struct passel_error *error);
/* Learns what the field misses along the plate's border; the plate's holes must have been filled. Without it the field
 * is all there is. */
enum passel_status gradient_learn_rim(struct gradient *gradient, const struct picture *plate,
                                      struct passel_error *error);
void gradient_release(struct gradient *gradient);

/* The field alone along a row: light for R, G, B, and A. */
void gradient_field_row(const struct gradient *gradient, int plane, int32_t x0, int32_t y, int32_t count, float *out);

/* Light at (x0 … x0 + count, y), outside the plate or within it; planes[p] for R, G, B and A, NULL is left out. */
void gradient_render(const struct gradient *gradient, int32_t x0, int32_t y, int32_t count, float *const planes[4]);

#endif
