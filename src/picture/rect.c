/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Rectangle algebra. Results that could leave ± RECT_LIMIT are clamped, so that no sum of two coordinates overflows.
 */
#include "picture/rect.h"

#include <assert.h>

static int32_t least(int32_t a, int32_t b)
{
    return a < b ? a : b;
}

static int32_t most(int32_t a, int32_t b)
{
    return a > b ? a : b;
}

static int32_t clamp_sum(int32_t a, int64_t b)
{
    const int64_t sum = a + b;
    return sum < -RECT_LIMIT ? -RECT_LIMIT : sum > RECT_LIMIT ? RECT_LIMIT : (int32_t)sum;
}

struct rect rect_of(int32_t x0, int32_t y0, int32_t x1, int32_t y1)
{
    const struct rect r = { x0, y0, x1, y1 };
    return r;
}

bool rect_empty(struct rect r)
{
    return r.x0 >= r.x1 || r.y0 >= r.y1;
}

int32_t rect_width(struct rect r)
{
    return rect_empty(r) ? 0 : r.x1 - r.x0;
}

int32_t rect_height(struct rect r)
{
    return rect_empty(r) ? 0 : r.y1 - r.y0;
}

struct rect rect_cut(struct rect a, struct rect b)
{
    const struct rect cut = { most(a.x0, b.x0), most(a.y0, b.y0), least(a.x1, b.x1), least(a.y1, b.y1) };
    return rect_empty(cut) ? rect_of(0, 0, 0, 0) : cut;
}

struct rect rect_join(struct rect a, struct rect b)
{
    if (rect_empty(a))
        return b;
    if (rect_empty(b))
        return a;
    return rect_of(least(a.x0, b.x0), least(a.y0, b.y0), most(a.x1, b.x1), most(a.y1, b.y1));
}

struct rect rect_grow(struct rect r, int32_t x, int32_t y)
{
    if (rect_empty(r))
        return r;
    return rect_of(clamp_sum(r.x0, -(int64_t)x), clamp_sum(r.y0, -(int64_t)y), clamp_sum(r.x1, x), clamp_sum(r.y1, y));
}

struct rect rect_shift(struct rect r, int32_t x, int32_t y)
{
    return rect_of(clamp_sum(r.x0, x), clamp_sum(r.y0, y), clamp_sum(r.x1, x), clamp_sum(r.y1, y));
}

bool rect_holds(struct rect outer, struct rect inner)
{
    return rect_empty(inner) || (outer.x0 <= inner.x0 && outer.y0 <= inner.y0 && outer.x1 >= inner.x1 && //
                                 outer.y1 >= inner.y1);
}

bool rect_same(struct rect a, struct rect b)
{
    if (rect_empty(a) || rect_empty(b))
        return rect_empty(a) && rect_empty(b);
    return a.x0 == b.x0 && a.y0 == b.y0 && a.x1 == b.x1 && a.y1 == b.y1;
}

static int32_t divide_down(int32_t a, int32_t by)
{
    return a >= 0 ? a / by : -((-a + by - 1) / by);
}

struct rect rect_reduce(struct rect r, int scale)
{
    assert(scale >= 1);
    if (rect_empty(r))
        return rect_of(0, 0, 0, 0);
    return rect_of(divide_down(r.x0, scale), divide_down(r.y0, scale), -divide_down(-r.x1, scale),
                   -divide_down(-r.y1, scale));
}
