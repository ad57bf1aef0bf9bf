/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The energy, per pixel, of a change (du, dv) of the field (u, v), linear in the change where it sits in a penalty:
 *
 *   R(Ix du + Iy dv + It)² + G · R(|∇(…)|²) + S · w · R(|∇(u + du)|² + |∇(v + dv)|²),   R(s²) = sqrt(s² + e²)
 *
 * Ix, Iy are those of `b` brought over `a`, It the difference; the second term says the same of both first derivatives,
 * so that slow changes of light do not count. w is small where `a` has an edge, for motion often breaks there. With the
 * slopes of R held (they are renewed a few times) it is a sparse linear system, relaxed in rows from the top.
 */
#include "numerics/flow_refine.h"

#include <math.h>
#include <stdbool.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"

static const float GRADIENT_SHARE = 4.0f; /* G: derivatives of the halved, softened planes are small */
static const float SMOOTHNESS = 0.02f;    /* S */
static const float DATA_EPSILON = 0.003f, FIELD_EPSILON = 0.01f;
static const float OVERSHOOT = 1.8f; /* of the relaxation */

enum { SLOPES = 3, RELAXATIONS = 8 };

enum {
    PLANE_IX,
    PLANE_IY,
    PLANE_IT,
    PLANE_IXX,
    PLANE_IXY,
    PLANE_IYY,
    PLANE_IXT,
    PLANE_IYT,
    PLANE_DU,
    PLANE_DV,
    PLANE_WEIGHT, /* w */
    PLANE_SLOPE,  /* of the smoothness penalty, times S w */
    PLANE_A11,
    PLANE_A12,
    PLANE_A22,
    PLANE_B1,
    PLANE_B2,
    PLANE_WARPED,
    PLANES
};

struct refine {
    const float *a, *b;
    const struct flow *flow;
    int32_t width, height;
    size_t count;
    float *plane[PLANES];
};

static int32_t held(int32_t i, int32_t count)
{
    return i < 0 ? 0 : i >= count ? count - 1 : i;
}

/* ---- brought over, and derivatives --------------------------------------------------------------------------------
 */

/* Weights of the cubic through four samples that passes through the middle two with the slopes of their neighbours. */
static void cubic_weights(float t, float w[4])
{
    w[0] = t * (-0.5f + t * (1 - 0.5f * t));
    w[1] = 1 + t * t * (-2.5f + 1.5f * t);
    w[2] = t * (0.5f + t * (2 - 1.5f * t));
    w[3] = t * t * (-0.5f + 0.5f * t);
}

static float plane_cubic(const float *plane, int32_t width, int32_t height, float x, float y)
{
    x = fminf(fmaxf(x, 0), (float)(width - 1));
    y = fminf(fmaxf(y, 0), (float)(height - 1));
    const int32_t i = (int32_t)x, k = (int32_t)y;
    float across[4], down[4], sum = 0;
    cubic_weights(x - (float)i, across);
    cubic_weights(y - (float)k, down);
    for (int r = 0; r < 4; r++) {
        const float *row = plane + (size_t)held(k + r - 1, height) * (size_t)width;
        float part = 0;
        for (int c = 0; c < 4; c++)
            part += across[c] * row[held(i + c - 1, width)];
        sum += down[r] * part;
    }
    return sum;
}

/* Central differences of fourth order: (-1 8 0 -8 1) / 12. */
static void derive(const struct refine *refine, const float *plane, float *dx, float *dy)
{
    const int32_t w = refine->width, h = refine->height;
    for (int32_t y = 0; y < h; y++) {
        const float *row = plane + (size_t)y * (size_t)w;
        const float *rows[4] = { plane + (size_t)held(y - 2, h) * (size_t)w, plane + (size_t)held(y - 1, h) * (size_t)w,
                                 plane + (size_t)held(y + 1, h) * (size_t)w,
                                 plane + (size_t)held(y + 2, h) * (size_t)w };
        for (int32_t x = 0; x < w; x++) {
            const size_t i = (size_t)y * (size_t)w + (size_t)x;
            if (dx != NULL)
                dx[i] = (8 * (row[held(x + 1, w)] - row[held(x - 1, w)]) - row[held(x + 2, w)] + row[held(x - 2, w)]) *
                        (1.0f / 12);
            if (dy != NULL)
                dy[i] = (8 * (rows[2][x] - rows[1][x]) - rows[3][x] + rows[0][x]) * (1.0f / 12);
        }
    }
}

static void bring_over(const struct refine *refine)
{
    float *const *p = refine->plane;
    for (int32_t y = 0; y < refine->height; y++) {
        for (int32_t x = 0; x < refine->width; x++) {
            const size_t i = (size_t)y * (size_t)refine->width + (size_t)x;
            p[PLANE_WARPED][i] = plane_cubic(refine->b, refine->width, refine->height, (float)x + refine->flow->u[i],
                                             (float)y + refine->flow->v[i]);
            p[PLANE_IT][i] = p[PLANE_WARPED][i] - refine->a[i];
            /* The mean of both: half of each error in a derivative. */
            p[PLANE_WARPED][i] = 0.5f * (p[PLANE_WARPED][i] + refine->a[i]);
        }
    }
    derive(refine, p[PLANE_WARPED], p[PLANE_IX], p[PLANE_IY]);
    derive(refine, p[PLANE_IX], p[PLANE_IXX], p[PLANE_IXY]);
    derive(refine, p[PLANE_IY], NULL, p[PLANE_IYY]);
    derive(refine, p[PLANE_IT], p[PLANE_IXT], p[PLANE_IYT]);
    /* What left the plane has nothing to agree with. */
    for (int32_t y = 0; y < refine->height; y++) {
        for (int32_t x = 0; x < refine->width; x++) {
            const size_t i = (size_t)y * (size_t)refine->width + (size_t)x;
            const float u = (float)x + refine->flow->u[i], v = (float)y + refine->flow->v[i];
            if (u >= 0 && v >= 0 && u <= (float)(refine->width - 1) && v <= (float)(refine->height - 1))
                continue;
            for (int k = PLANE_IX; k <= PLANE_IYT; k++)
                p[k][i] = 0;
        }
    }
}

static void weigh_edges(const struct refine *refine)
{
    float *const *p = refine->plane;
    derive(refine, refine->a, p[PLANE_IX], p[PLANE_IY]);
    for (size_t i = 0; i < refine->count; i++) {
        const float steep = p[PLANE_IX][i] * p[PLANE_IX][i] + p[PLANE_IY][i] * p[PLANE_IY][i];
        p[PLANE_WEIGHT][i] = SMOOTHNESS / (1 + 400 * steep);
    }
}

/* ---- the linear system --------------------------------------------------------------------------------------------
 */

static void data_slopes(const struct refine *refine)
{
    float *const *p = refine->plane;
    const float e = DATA_EPSILON * DATA_EPSILON;
    for (size_t i = 0; i < refine->count; i++) {
        const float du = p[PLANE_DU][i], dv = p[PLANE_DV][i];
        const float ix = p[PLANE_IX][i], iy = p[PLANE_IY][i], it = p[PLANE_IT][i];
        const float ixx = p[PLANE_IXX][i], ixy = p[PLANE_IXY][i], iyy = p[PLANE_IYY][i];
        const float ixt = p[PLANE_IXT][i], iyt = p[PLANE_IYT][i];
        const float r = it + ix * du + iy * dv;
        const float rx = ixt + ixx * du + ixy * dv, ry = iyt + ixy * du + iyy * dv;
        const float light = 1 / sqrtf(r * r + e);
        const float gradient = GRADIENT_SHARE / sqrtf(rx * rx + ry * ry + e);
        p[PLANE_A11][i] = light * ix * ix + gradient * (ixx * ixx + ixy * ixy);
        p[PLANE_A12][i] = light * ix * iy + gradient * ixy * (ixx + iyy);
        p[PLANE_A22][i] = light * iy * iy + gradient * (ixy * ixy + iyy * iyy);
        p[PLANE_B1][i] = -(light * ix * it + gradient * (ixx * ixt + ixy * iyt));
        p[PLANE_B2][i] = -(light * iy * it + gradient * (ixy * ixt + iyy * iyt));
    }
}

static void field_slopes(const struct refine *refine)
{
    float *const *p = refine->plane;
    const float *u = refine->flow->u, *v = refine->flow->v;
    const float e = FIELD_EPSILON * FIELD_EPSILON;
    for (int32_t y = 0; y < refine->height; y++) {
        for (int32_t x = 0; x < refine->width; x++) {
            const size_t i = (size_t)y * (size_t)refine->width + (size_t)x;
            const size_t r = x + 1 < refine->width ? i + 1 : i,
                         d = y + 1 < refine->height ? i + (size_t)refine->width : i;
            const float here_u = u[i] + p[PLANE_DU][i], here_v = v[i] + p[PLANE_DV][i];
            const float ux = u[r] + p[PLANE_DU][r] - here_u, uy = u[d] + p[PLANE_DU][d] - here_u;
            const float vx = v[r] + p[PLANE_DV][r] - here_v, vy = v[d] + p[PLANE_DV][d] - here_v;
            p[PLANE_SLOPE][i] = p[PLANE_WEIGHT][i] / sqrtf(ux * ux + uy * uy + vx * vx + vy * vy + e);
        }
    }
}

/* One pixel: both unknowns from the neighbours as they are now. */
static void relax_pixel(const struct refine *refine, int32_t x, int32_t y)
{
    float *const *p = refine->plane;
    const float *u = refine->flow->u, *v = refine->flow->v, *slope = p[PLANE_SLOPE];
    const size_t w = (size_t)refine->width, i = (size_t)y * w + (size_t)x;
    const size_t next[4] = { i - 1, i + 1, i - w, i + w };
    const bool there[4] = { x > 0, x + 1 < refine->width, y > 0, y + 1 < refine->height };
    float sum = 0, su = 0, sv = 0;
    for (int k = 0; k < 4; k++) {
        if (!there[k])
            continue;
        const float s = 0.5f * (slope[i] + slope[next[k]]);
        sum += s;
        su += s * (u[next[k]] + p[PLANE_DU][next[k]] - u[i]);
        sv += s * (v[next[k]] + p[PLANE_DV][next[k]] - v[i]);
    }
    const float du = p[PLANE_DU][i], dv = p[PLANE_DV][i], cross = p[PLANE_A12][i];
    const float new_u = (p[PLANE_B1][i] - cross * dv + su) / (p[PLANE_A11][i] + sum + 1e-9f);
    p[PLANE_DU][i] = du + OVERSHOOT * (new_u - du);
    const float new_v = (p[PLANE_B2][i] - cross * p[PLANE_DU][i] + sv) / (p[PLANE_A22][i] + sum + 1e-9f);
    p[PLANE_DV][i] = dv + OVERSHOOT * (new_v - dv);
}

static void solve(const struct refine *refine)
{
    memset(refine->plane[PLANE_DU], 0, refine->count * sizeof(float));
    memset(refine->plane[PLANE_DV], 0, refine->count * sizeof(float));
    for (int s = 0; s < SLOPES; s++) {
        data_slopes(refine);
        field_slopes(refine);
        for (int r = 0; r < RELAXATIONS; r++) {
            for (int32_t y = 0; y < refine->height; y++) {
                for (int32_t x = 0; x < refine->width; x++)
                    relax_pixel(refine, x, y);
            }
        }
    }
}

/* ---- the median ---------------------------------------------------------------------------------------------------
 */

static float median_25(float values[25])
{
    for (int i = 0; i < 13; i++) { /* a selection sort, as far as the middle */
        int least = i;
        for (int k = i + 1; k < 25; k++)
            least = values[k] < values[least] ? k : least;
        const float kept = values[i];
        values[i] = values[least];
        values[least] = kept;
    }
    return values[12];
}

static void median(const struct refine *refine, float *field, float *out)
{
    for (int32_t y = 0; y < refine->height; y++) {
        for (int32_t x = 0; x < refine->width; x++) {
            float values[25];
            for (int i = 0; i < 25; i++)
                values[i] = field[(size_t)held(y + i / 5 - 2, refine->height) * (size_t)refine->width +
                                  (size_t)held(x + i % 5 - 2, refine->width)];
            out[(size_t)y * (size_t)refine->width + (size_t)x] = median_25(values);
        }
    }
    memcpy(field, out, refine->count * sizeof *field);
}

enum passel_status flow_refine(const float *a, const float *b, const struct flow *flow, int warps,
                               struct passel_error *error)
{
    struct refine refine = { .a = a, .b = b, .flow = flow, .width = flow->width, .height = flow->height };
    refine.count = (size_t)flow->width * (size_t)flow->height;
    float *planes = memory_zeros(refine.count * PLANES, sizeof *planes);
    if (planes == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int i = 0; i < PLANES; i++)
        refine.plane[i] = planes + (size_t)i * refine.count;
    weigh_edges(&refine);
    for (int warp = 0; warp < warps; warp++) {
        bring_over(&refine);
        solve(&refine);
        for (size_t i = 0; i < refine.count; i++) {
            flow->u[i] += refine.plane[PLANE_DU][i];
            flow->v[i] += refine.plane[PLANE_DV][i];
        }
        median(&refine, flow->u, refine.plane[PLANE_WARPED]);
        median(&refine, flow->v, refine.plane[PLANE_WARPED]);
    }
    memory_free(planes);
    return PASSEL_OK;
}
