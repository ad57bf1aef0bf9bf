/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What the kind `align` finds out.
 */
#ifndef KINDS_ALIGN_H
#define KINDS_ALIGN_H

#include "picture/geometry.h"

struct align_found {
    struct transform map; /* a position in the aligned picture → in the input */
    double expected;      /* pixels: standard error at the worst corner */
    double agreement;     /* 0 … 1: mean share of the structure that both pictures have */
};

#endif
