/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Lets neighbours help a plane whose noise is known, pixel by pixel: where a window shows nothing but noise and an even
 * slope, a pixel takes the window's mean; where there is more (an edge, a wire one pixel wide, a grain of smoke), it
 * keeps its own value to the bit.
 */
#ifndef NUMERICS_SETTLE_H
#define NUMERICS_SETTLE_H

#include <stdbool.h>

#include "base/arena.h"
#include "picture/picture.h"

#define SETTLE_REACH 3 /* pixels around the wanted that are looked at */

/* Both pictures hold plane A over `want` grown by SETTLE_REACH: values, best between 0 and 1, and the variance of each;
 * a variance beyond what the values can be is no harm. Replaces the values within `want`. Bits do not depend on `want`.
 * False when memory is out. */
bool settle(const struct picture *values, const struct picture *variances, struct rect want, struct arena *scratch);

#endif
