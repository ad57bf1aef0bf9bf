/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "numerics/flow_field.h"

#include "base/error.h"
#include "base/memory.h"
#include "numerics/between.h"

void flow_release(struct flow *flow)
{
    memory_free(flow->u);
    memory_free(flow->v);
    *flow = (struct flow){ 0 };
}

enum passel_status flow_new(struct flow *flow, int32_t width, int32_t height, struct passel_error *error)
{
    const size_t count = (size_t)width * (size_t)height;
    *flow = (struct flow){ .width = width,
                           .height = height,
                           .u = memory_zeros(count, sizeof *flow->u),
                           .v = memory_zeros(count, sizeof *flow->v) };
    if (flow->u != NULL && flow->v != NULL)
        return PASSEL_OK;
    flow_release(flow);
    return error_set(error, PASSEL_NO_MEMORY, "out of memory");
}

float plane_linear(const float *plane, int32_t width, int32_t height, float x, float y)
{
    x = smaller(larger(x, 0), (float)(width - 1));
    y = smaller(larger(y, 0), (float)(height - 1));
    const int32_t i = (int32_t)x, k = (int32_t)y;
    const int32_t right = i + 1 < width, down = k + 1 < height ? width : 0;
    const float u = x - (float)i, v = y - (float)k;
    const float *at = plane + (size_t)k * (size_t)width + i;
    return (1 - v) * ((1 - u) * at[0] + u * at[right]) + v * ((1 - u) * at[down] + u * at[down + right]);
}
