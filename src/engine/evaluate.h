/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Pixels of one strip: which parts of which pictures are needed, then each of them once, inputs first. What is stored
 * is taken from there; all else lives in scratch.
 */
#ifndef ENGINE_EVALUATE_H
#define ENGINE_EVALUATE_H

#include <passel/error.h>

#include "engine/plan.h"
#include "engine/scratch.h"

/* How a consumer reads an input. */
enum reading {
    READING_STREAMED, /* made strip by strip */
    READING_STORED,   /* whole, from the store */
    READING_SPLINE    /* whole, as spline coefficients */
};

/* Which node stands behind ask `k` of `node` and how it has to be read. Geometry must be resolved. */
enum reading evaluate_reading(const struct plan *plan, int node, int k, int *input);

/* Makes the pixels of `into->area` (inside the node's data window) of every plane that `into` has. */
enum passel_status evaluate_into(const struct plan *plan, int node, const struct picture *into, struct scratch *scratch,
                                 struct passel_error *error);

/* Makes the same area of several pictures; out[i] is a view of planes[i] over `area`, clear outside the data window,
 * valid until the scratch is reset. */
enum passel_status evaluate_area(const struct plan *plan, const int *roots, const unsigned *planes, int root_count,
                                 struct rect area, struct picture *out, struct scratch *scratch,
                                 struct passel_error *error);

/* Delivers a part of a stored or made picture: `planes` over `area`, missing planes made up, beyond `data` clear or
 * held. The view may point into `from`. */
enum passel_status deliver(const struct picture *from, const struct picture_info *info, struct rect area,
                           unsigned planes, enum border border, struct picture *out, struct scratch *scratch,
                           struct passel_error *error);

#endif
