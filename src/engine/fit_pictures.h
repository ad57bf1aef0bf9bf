/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Rows for a fit: means of blocks of pixels in every light and in the reference.
 */
#ifndef ENGINE_FIT_PICTURES_H
#define ENGINE_FIT_PICTURES_H

#include "engine/graph.h"
#include "numerics/fit_lights.h"
#include "numerics/noise_model.h"

enum { FIT_BLOCK = 8 }; /* pixels along a side */

/* The pictures of a fit, as blocks of a recipe. */
struct fit_pictures {
    const struct block *const *columns; /* per light: it alone, at gain 1 */
    const struct value *const *passes;  /* per light: its pass as filmed, to see where that is clipped */
    int lights;
    const struct block *base; /* the light that is there anyway; or NULL */
    const struct block *reference;
};

struct fit_gathered {
    float *halves;           /* three channels, one after another, of `count` rows as fit_lights wants them */
    float *around;           /* likewise, one number for each row */
    size_t all;              /* rows of a channel before those that are clipped were left out */
    size_t count;            /* rows of a channel */
    struct fit_noise *noise; /* three channels, one after another, of a set */
};

/* For fit_gathered_release. Blocks in which a pass or the reference is clipped are left out. */
enum passel_status fit_gather(const struct graph *graph, const struct fit_pictures *pictures, const int32_t *frames,
                              int frame_count, int threads, struct fit_gathered *gathered, struct passel_error *error);
void fit_gathered_release(struct fit_gathered *gathered); /* a zeroed one is fine */

#endif
