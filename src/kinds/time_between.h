/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Pictures between two frames: what moves is found once per pair (numerics/flow.h), then put where it was at any moment
 * in between.
 */
#ifndef KINDS_TIME_BETWEEN_H
#define KINDS_TIME_BETWEEN_H

#include <passel/error.h>

#include "kinds/even_light.h"
#include "kinds/kind.h"

struct motion;

/* The motion between frames[0] and frames[1] (R, G, B over their whole data windows). `gains`, one for each or NULL,
 * are applied first. *motion is for motion_free. */
enum passel_status motion_find(const struct picture frames[2], const struct picture_info infos[2],
                               const struct gain_field *gains, struct motion **motion, struct passel_error *error);
void motion_free(struct motion *motion);          /* NULL is fine */
size_t motion_bytes(const struct motion *motion); /* 0 for NULL */

/* Fills `out`, inside both data windows together, with the picture at `share` of the way from frames[0] to frames[1];
 * both are whole and have its planes. Outside its data window a frame's edge is held. */
void motion_between(const struct motion *motion, const struct picture frames[2], const struct gain_field *gains,
                    double share, const struct picture *out);

#endif
