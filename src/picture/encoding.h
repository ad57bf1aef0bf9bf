/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Encodings (transfer functions): how a code value 0 … 1 stands for scene-linear light, and back. Formulas and sources
 * in encoding.c. No libm here: results are the same on every machine.
 */
#ifndef PICTURE_ENCODING_H
#define PICTURE_ENCODING_H

#include <stdbool.h>
#include <stddef.h>

enum encoding_curve {
    ENCODING_LINEAR,
    ENCODING_SRGB,
    ENCODING_REC709,
    ENCODING_BT1886, /* black 0, white 1: a pure power of 2.4 */
    ENCODING_GAMMA,  /* a pure power of `gamma` */
    ENCODING_COUNT
};

struct encoding {
    enum encoding_curve curve;
    double gamma; /* ENCODING_GAMMA only: light = code ^ gamma */
};

/* "srgb"; never NULL. */
const char *encoding_name(enum encoding_curve curve);

/* Code values to linear light, `count` samples in place; negative values are mirrored. */
void encoding_undo(struct encoding encoding, float *samples, size_t count);
/* Linear light to code values. */
void encoding_apply(struct encoding encoding, float *samples, size_t count);
bool encoding_same(struct encoding a, struct encoding b);

#endif
