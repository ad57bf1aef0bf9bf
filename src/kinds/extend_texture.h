/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * extend … by texture: detail of the plate laid over the slow change of its light.
 */
#ifndef KINDS_EXTEND_TEXTURE_H
#define KINDS_EXTEND_TEXTURE_H

#include "kinds/extend.h"

/* All in the output's coordinates. */
struct texture_job {
    const struct picture *plate; /* R, G, B, A; holes filled with something smooth */
    const struct picture *known; /* A: 0 in holes; same area as the plate */
    const struct picture *light; /* over the target; R, G, B become the texture wherever the plate does not show */
    const struct windows *windows;
    float seam;
};

enum passel_status texture_solve(const struct texture_job *job, struct passel_error *error);

#endif
