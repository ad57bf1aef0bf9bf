/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * How a layer meets what lies below it, on rows of premultiplied pixels.
 *
 * over, in, out, atop, xor: Porter and Duff, "Compositing Digital Images", 1984. multiply, screen, darken, lighten,
 * difference: the separable blends of W3C Compositing and Blending Level 1, section 10, rewritten on premultiplied
 * values so that nothing is divided by alpha. add: light adds, alpha stops at 1.
 */
#ifndef KINDS_BLEND_H
#define KINDS_BLEND_H

#include <stdbool.h>
#include <stddef.h>

#include "picture/picture.h"

enum blend {
    BLEND_OVER,
    BLEND_ADD,
    BLEND_SCREEN,
    BLEND_MULTIPLY,
    BLEND_LIGHTEN,
    BLEND_DARKEN,
    BLEND_DIFFERENCE,
    BLEND_IN,
    BLEND_OUT,
    BLEND_ATOP,
    BLEND_XOR,
    BLEND_COUNT
};

/* below = layer (blend) below, `count` pixels. Both alphas must be there and in 0 … 1; a colour plane that is NULL in
 * `below` is left out. Rows must not overlap. */
void blend_row(enum blend blend, float *const below[PLANE_COUNT], const float *const layer[PLANE_COUNT], size_t count);

/* True when a layer of nothing leaves what lies below as it is (not so for in and out, which clear it). */
bool blend_ignores_nothing(enum blend blend);

#endif
