/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Takes the noise out of a picture that is mostly slow change, such as a screen with nothing before it, and leaves what
 * is more than noise (a stand, a tape mark, a seam of cloth) as it was filmed.
 */
#ifndef NUMERICS_SMOOTH_FIELD_H
#define NUMERICS_SMOOTH_FIELD_H

#include <passel/error.h>

#include "numerics/noise_model.h"
#include "picture/picture.h"

/* Replaces R, G and B of `picture` by its smooth field. noise[c] is that of plane c. Bare parts keep about a fifteenth
 * of their noise; a detail that stands out of the noise keeps its value, and its noise close around it. */
enum passel_status smooth_field(const struct picture *picture, const struct noise noise[3], struct passel_error *error);

#endif
