/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#ifndef NUMERICS_FLOW_PATCHES_H
#define NUMERICS_FLOW_PATCHES_H

#include "numerics/flow_field.h"

/* One level of numerics/flow.h: patches of `a`, four pixels apart, are found again in `b`, each from where `flow` has
 * it and from where its neighbours went; the field becomes their mean, those that fit best counting most. */
enum passel_status flow_patches(const float *a, const float *b, const struct flow *flow, struct passel_error *error);

#endif
