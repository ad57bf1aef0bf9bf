/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * extend … by gradient: what the slow field misses at the plate's border, carried a little way out.
 */
#ifndef KINDS_EXTEND_RIM_H
#define KINDS_EXTEND_RIM_H

#include "kinds/extend_gradient.h"

/* Finds gradient->rim from the plate and the field; the plate's holes must have been filled. */
enum passel_status rim_learn(struct gradient *gradient, const struct picture *plate, struct passel_error *error);

/* Adds it to the light of the field at (x0 … x0 + count, y); planes[c] for R, G and B, NULL is left out. */
void rim_add_row(const struct gradient *gradient, int32_t x0, int32_t y, int32_t count, float *const planes[4]);

#endif
