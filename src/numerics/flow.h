/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Dense optical flow: for every pixel of one plane where it went in another.
 */
#ifndef NUMERICS_FLOW_H
#define NUMERICS_FLOW_H

#include "numerics/flow_field.h"

/*
 * The motion from plane `a` to plane `b` and back. Planes are brightness, about 0 … 1 over what matters (a square root
 * of light is good: noise is then much the same everywhere), width * height floats. flow_release gives a flow back.
 *
 * From coarse to fine, halving; on each level patches of 8 × 8 pixels are matched by inverse search (T. Kroeger,
 * R. Timofte, D. Dai, L. Van Gool, "Fast optical flow using dense inverse search", ECCV 2016), then the field is
 * refined so that brightness and its gradient agree under a robust penalty and the field is smooth but for edges
 * (T. Brox, A. Bruhn, N. Papenberg, J. Weickert, "High accuracy optical flow estimation based on a theory for warping",
 * ECCV 2004), with a median between the warps (D. Sun, S. Roth, M. Black, "Secrets of optical flow estimation and their
 * principles", CVPR 2010). All counts are fixed: the same bits for the same planes.
 */
enum passel_status flow_find(const float *a, const float *b, int32_t width, int32_t height, struct flow *there,
                             struct flow *back, struct passel_error *error);

#endif
