/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A matte made steady over frames: what has not changed but for noise is averaged with the frames before and after,
 * each moved to where this frame has it; what has changed keeps this frame's value.
 */
#ifndef KINDS_MATTE_STEADY_H
#define KINDS_MATTE_STEADY_H

#include "base/arena.h"
#include "picture/picture.h"

#define STEADY_REACH 20 /* pixels around a fill that it must see */

/* out = steadied `own`. All are mattes; `own` and the `count` others cover out->area grown by STEADY_REACH, cut to
 * `field`; outside the field its edge is held. The result at a pixel does not depend on out->area. */
void steady_plane(const struct picture *out, const struct picture *own, const struct picture *others, int count);

#endif
