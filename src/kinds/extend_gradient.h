/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * extend … by gradient: the smooth light of a plate carried on past its edges, with its grain.
 */
#ifndef KINDS_EXTEND_GRADIENT_H
#define KINDS_EXTEND_GRADIENT_H

#include "numerics/cells.h"
#include "numerics/noise_model.h"
#include "picture/picture.h"

#define RIM_LEVELS 10

/* What the slow field misses along the plate's border, walked clockwise from the top left corner, at widening blurs. */
struct rim {
    int32_t length;
    float *miss[RIM_LEVELS][3];
    float sigma[RIM_LEVELS]; /* pixels along the border */
    void *block;
};

/* All positions are those of the output. */
struct gradient {
    struct rect plate, target;
    struct cells field; /* fourth roots of light for R, G, B; A as it is */
    float least[3];     /* the field goes no lower */
    bool opaque;        /* the plate's alpha is 1 everywhere along */
    struct rim rim;
    struct noise noise[3];
    uint64_t seed; /* from the plate's pixels: a still has one grain, live frames each their own */
};

/* Learns from the plate; picture holds R, G, B, A over the plate, in its own coordinates: its pixel (x, y) belongs at
 * (x + dx, y + dy). */
enum passel_status gradient_learn(struct gradient *gradient, const struct picture *picture, int32_t dx, int32_t dy,
                                  struct rect target, struct passel_error *error);
void gradient_release(struct gradient *gradient);
size_t gradient_bytes(const struct gradient *gradient);

/* Rows of synthetic light at (x0 … x0 + count, y), outside the plate or within it: smooth[p] for R, G, B and A, and
 * grain[c] for R, G, B (to be added). NULL entries are left out. */
struct gradient_row {
    float *smooth[4], *grain[3];
};
void gradient_render(const struct gradient *gradient, int32_t x0, int32_t y, int32_t count,
                     const struct gradient_row *row);

#endif
