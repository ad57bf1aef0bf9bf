/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A field of motion, and planes read between their pixels.
 */
#ifndef NUMERICS_FLOW_FIELD_H
#define NUMERICS_FLOW_FIELD_H

#include <passel/error.h>
#include <stddef.h>
#include <stdint.h>

/* Motion in pixels, right and down; width * height each, rows without gaps. */
struct flow {
    int32_t width, height;
    float *u, *v;
};

/* A field at rest; flow_release gives it back. */
enum passel_status flow_new(struct flow *flow, int32_t width, int32_t height, struct passel_error *error);
void flow_release(struct flow *flow); /* a zeroed one is fine */

/* Values of a plane at (x, y), counted from its first pixel's centre: linear between pixels, held outside. */
float plane_linear(const float *plane, int32_t width, int32_t height, float x, float y);

#endif
