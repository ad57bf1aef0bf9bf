/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#ifndef KINDS_PASS_H
#define KINDS_PASS_H

#include "kinds/kind.h"
#include "media/media.h"
#include "media/sequence.h"

/* What the file behind a pass says of itself at this frame, the time code advanced where one file serves many frames.
 * `at` must be that of an opened pass; texts belong to it. */
struct metadata pass_metadata(const struct at *at);

/* The files of a pass; `self` is what its `make` gave. */
const struct sequence *pass_sequence(const void *self);

/* How many frames a second the pass that `block` reads was filmed at: its `rate`, or 0 when it has none. A block that is
 * no pass is followed down its first inputs; *pass is what was found there, or NULL. */
double pass_rate(const struct block *block, const struct block **pass);

#endif
