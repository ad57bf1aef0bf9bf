/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * extend: the difference of two lights, known on one side of a border, carried over it.
 */
#ifndef KINDS_EXTEND_JOIN_H
#define KINDS_EXTEND_JOIN_H

#include <passel/error.h>
#include <stdbool.h>
#include <stddef.h>

#include "picture/picture.h"

#define JOIN_RADIUS 3 /* a value at the border is usually the mean of so many pixels around it */

/* A picture whose rows lie end to end (stride = width), all zero; for picture_release. */
enum passel_status packed_picture(struct picture *picture, struct rect area, unsigned planes,
                                  struct passel_error *error);

/* The rectangle around all pixels whose A is 0 (or less). */
struct rect join_gap(const struct picture *known);

/* R, G and B of `difference` become a membrane where A of `weight` is 0 (both packed, of the same area); what is known
 * is freed of its grain first: a mean of the pixels up to `radius` away. `pull` draws the membrane to 0
 * (numerics/membrane.h). */
enum passel_status join_span(const struct picture *difference, const struct picture *weight, int32_t radius, float pull,
                             struct passel_error *error);

#endif
