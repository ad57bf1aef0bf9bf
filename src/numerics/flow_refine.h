/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#ifndef NUMERICS_FLOW_REFINE_H
#define NUMERICS_FLOW_REFINE_H

#include "numerics/flow_field.h"

/* One level of numerics/flow.h: `warps` times `b` is brought over `a` by the field as it is, the field is moved to
 * where both agree better and stays smooth, and a 5 x 5 median takes out what stands alone. */
enum passel_status flow_refine(const float *a, const float *b, const struct flow *flow, int warps,
                               struct passel_error *error);

#endif
