/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The energy, per pixel, of a change (du, dv) of the field (u, v), linear in the change where it sits in a penalty:
 *
 *   R(Ix du + Iy dv + It)² + G · R(|∇(…)|²) + S · w · R(|∇(u + du)|² + |∇(v + dv)|²) + Z · R(|(u + du, v + dv)|²)
 *
 * with R(s²) = sqrt(s² + e²). Ix, Iy are those of `b` brought over `a`, It the difference; the second term says the
 * same of both first derivatives, so that slow changes of light do not count. w is small where `a` has an edge, for
 * motion often breaks there. The last term, very small, keeps still what shows nothing: in a pass from a locked camera
 * most of the frame does not move. With the slopes of R held (they are renewed a few times) it is a sparse linear
 * system, relaxed in rows from the top.
 */
#include "numerics/flow_refine.h"

#include <math.h>
#include <stdbool.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "numerics/between.h"

static const float GRADIENT_SHARE = 4.0f; /* G: derivatives of the halved, softened planes are small */
static const float SMOOTHNESS = 0.5f;     /* S */
static const float DATA_EPSILON = 0.01f, FIELD_EPSILON = 0.01f;
static const float STILLNESS = 0.002f; /* Z */
static const float OVERSHOOT = 1.8f;   /* of the relaxation */

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
    PLANE_U, /* the field as it becomes: u + du, v + dv */
    PLANE_V,
    PLANE_WEIGHT, /* S w */
    PLANE_SLOPE,  /* of the smoothness penalty, times S w */
    PLANE_RIGHT,  /* how strongly a pixel and the one to its right hold together; 0 in the last column */
    PLANE_DOWN,   /* the same for the one below; 0 in the last row */
    PLANE_A11,    /* the system's diagonal; its inverse once all is added up */
    PLANE_A12,
    PLANE_A22,
    PLANE_B1,
    PLANE_B2,
    PLANE_WARPED,
    PLANES
};

/* Before and behind each plane lie zeros, at least a row of them: what lies outside has no hold. */
struct refine {
    const float *a, *b;
    const struct flow *flow;
    int32_t width, height;
    size_t count;
    float *plane[PLANES];
};

/* ---- brought over, and derivatives ----------------------------------------------------------------------------- */

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
    x = smaller(larger(x, 0), (float)(width - 1));
    y = smaller(larger(y, 0), (float)(height - 1));
    const int32_t i = (int32_t)x, k = (int32_t)y;
    float across[4], down[4], sum = 0;
    cubic_weights(x - (float)i, across);
    cubic_weights(y - (float)k, down);
    for (int r = 0; r < 4; r++) {
        const float *row = plane + (size_t)place_held(k + r - 1, height) * (size_t)width;
        float part = 0;
        for (int c = 0; c < 4; c++)
            part += across[c] * row[place_held(i + c - 1, width)];
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
        const float *rows[4] = { plane + (size_t)place_held(y - 2, h) * (size_t)w, plane + (size_t)place_held(y - 1, h) * (size_t)w,
                                 plane + (size_t)place_held(y + 1, h) * (size_t)w,
                                 plane + (size_t)place_held(y + 2, h) * (size_t)w };
        for (int32_t x = 0; x < w; x++) {
            const size_t i = (size_t)y * (size_t)w + (size_t)x;
            if (dx != NULL)
                dx[i] = (8 * (row[place_held(x + 1, w)] - row[place_held(x - 1, w)]) - row[place_held(x + 2, w)] + row[place_held(x - 2, w)]) *
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
        p[PLANE_WEIGHT][i] = SMOOTHNESS / (1 + 40 * steep);
    }
}

/* ---- the linear system ----------------------------------------------------------------------------------------- */

static void data_slopes(const struct refine *refine)
{
    float *const *p = refine->plane;
    const float e = DATA_EPSILON * DATA_EPSILON;
    for (size_t i = 0; i < refine->count; i++) {
        const float u = refine->flow->u[i], v = refine->flow->v[i];
        const float new_u = p[PLANE_U][i], new_v = p[PLANE_V][i];
        const float du = new_u - u, dv = new_v - v;
        const float ix = p[PLANE_IX][i], iy = p[PLANE_IY][i], it = p[PLANE_IT][i];
        const float ixx = p[PLANE_IXX][i], ixy = p[PLANE_IXY][i], iyy = p[PLANE_IYY][i];
        const float ixt = p[PLANE_IXT][i], iyt = p[PLANE_IYT][i];
        const float r = it + ix * du + iy * dv;
        const float rx = ixt + ixx * du + ixy * dv, ry = iyt + ixy * du + iyy * dv;
        const float light = 1 / sqrtf(r * r + e);
        const float gradient = GRADIENT_SHARE / sqrtf(rx * rx + ry * ry + e);
        const float still = STILLNESS / sqrtf(new_u * new_u + new_v * new_v + 0.01f);
        const float a11 = light * ix * ix + gradient * (ixx * ixx + ixy * ixy);
        const float a12 = light * ix * iy + gradient * ixy * (ixx + iyy);
        const float a22 = light * iy * iy + gradient * (ixy * ixy + iyy * iyy);
        p[PLANE_A11][i] = a11 + still;
        p[PLANE_A12][i] = a12;
        p[PLANE_A22][i] = a22 + still;
        p[PLANE_B1][i] = a11 * u + a12 * v - light * ix * it - gradient * (ixx * ixt + ixy * iyt);
        p[PLANE_B2][i] = a12 * u + a22 * v - light * iy * it - gradient * (ixy * ixt + iyy * iyt);
    }
}

static void field_slopes(const struct refine *refine)
{
    float *const *p = refine->plane;
    const float *u = p[PLANE_U], *v = p[PLANE_V];
    const float e = FIELD_EPSILON * FIELD_EPSILON;
    for (int32_t y = 0; y < refine->height; y++) {
        const size_t down = y + 1 < refine->height ? (size_t)refine->width : 0;
        for (int32_t x = 0; x < refine->width; x++) {
            const size_t i = (size_t)y * (size_t)refine->width + (size_t)x;
            const size_t r = x + 1 < refine->width ? i + 1 : i, d = i + down;
            const float ux = u[r] - u[i], uy = u[d] - u[i], vx = v[r] - v[i], vy = v[d] - v[i];
            p[PLANE_SLOPE][i] = p[PLANE_WEIGHT][i] / sqrtf(ux * ux + uy * uy + vx * vx + vy * vy + e);
        }
    }
}

/* Ties neighbours together and turns the diagonal into its inverse. */
static void tie(const struct refine *refine)
{
    float *const *p = refine->plane;
    const float *slope = p[PLANE_SLOPE], *right = p[PLANE_RIGHT], *down = p[PLANE_DOWN];
    const size_t w = (size_t)refine->width;
    for (int32_t y = 0; y < refine->height; y++) {
        for (int32_t x = 0; x < refine->width; x++) {
            const size_t i = (size_t)y * w + (size_t)x;
            p[PLANE_RIGHT][i] = x + 1 < refine->width ? 0.5f * (slope[i] + slope[i + 1]) : 0;
            p[PLANE_DOWN][i] = y + 1 < refine->height ? 0.5f * (slope[i] + slope[i + w]) : 0;
        }
    }
    for (size_t i = 0; i < refine->count; i++) {
        const float hold = (right - 1)[i] + right[i] + (down - w)[i] + down[i] + 1e-9f;
        p[PLANE_A11][i] = OVERSHOOT / (p[PLANE_A11][i] + hold);
        p[PLANE_A22][i] = OVERSHOOT / (p[PLANE_A22][i] + hold);
    }
}

/* Every pixel in turn: both unknowns from the neighbours as they are now. */
static void relax(const struct refine *refine)
{
    float *const *p = refine->plane;
    float *u = p[PLANE_U], *v = p[PLANE_V];
    const float *right = p[PLANE_RIGHT], *down = p[PLANE_DOWN], *a11 = p[PLANE_A11], *a12 = p[PLANE_A12],
                *a22 = p[PLANE_A22], *b1 = p[PLANE_B1], *b2 = p[PLANE_B2];
    const ptrdiff_t w = refine->width;
    for (ptrdiff_t i = 0; i < (ptrdiff_t)refine->count; i++) {
        const float sum_u = right[i - 1] * u[i - 1] + right[i] * u[i + 1] + down[i - w] * u[i - w] + down[i] * u[i + w];
        const float sum_v = right[i - 1] * v[i - 1] + right[i] * v[i + 1] + down[i - w] * v[i - w] + down[i] * v[i + w];
        u[i] = (1 - OVERSHOOT) * u[i] + a11[i] * (b1[i] - a12[i] * v[i] + sum_u);
        v[i] = (1 - OVERSHOOT) * v[i] + a22[i] * (b2[i] - a12[i] * u[i] + sum_v);
    }
}

static void solve(const struct refine *refine)
{
    memcpy(refine->plane[PLANE_U], refine->flow->u, refine->count * sizeof(float));
    memcpy(refine->plane[PLANE_V], refine->flow->v, refine->count * sizeof(float));
    for (int s = 0; s < SLOPES; s++) {
        data_slopes(refine);
        field_slopes(refine);
        tie(refine);
        for (int r = 0; r < RELAXATIONS; r++)
            relax(refine);
    }
    memcpy(refine->flow->u, refine->plane[PLANE_U], refine->count * sizeof(float));
    memcpy(refine->flow->v, refine->plane[PLANE_V], refine->count * sizeof(float));
}

/* ---- the median ------------------------------------------------------------------------------------------------ */

enum { WINDOW = 25, KEPT = 14, LANES = 16 }; /* KEPT: one more than lie on either side of the median */

/* Lane by lane the smaller to a, the larger to b. */
static void order(float *restrict a, float *restrict b)
{
    for (int i = 0; i < LANES; i++) {
        const float x = a[i], y = b[i];
        a[i] = x < y ? x : y;
        b[i] = x < y ? y : x;
    }
}

/* Brings the smallest of `count` to the front and the largest to the end. */
static void order_ends(float values[][LANES], int count)
{
    for (int i = 0; i < count / 2; i++)
        order(values[i], values[count - 1 - i]);
    for (int i = 1; i <= (count - 1) / 2; i++)
        order(values[0], values[i]);
    for (int i = count / 2; i < count - 1; i++)
        order(values[i], values[count - 1]);
}

/* The median of 25 values in each lane, which ends in values[WINDOW / 2]: of 14 the smallest and the largest cannot be
 * it, and so on with one value more at a time. */
static void median_25(float values[WINDOW][LANES])
{
    float(*kept)[LANES] = values;
    int count = KEPT;
    for (int next = KEPT;; next++) {
        order_ends(kept, count);
        if (next == WINDOW)
            break;
        memcpy(kept[count - 1], values[next], sizeof kept[0]); /* in the place of the largest */
        kept++;                                                /* the smallest is gone */
        count--;
    }
}

static void median(const struct refine *refine, float *field, float *out)
{
    const int32_t w = refine->width;
    for (int32_t y = 0; y < refine->height; y++) {
        for (int32_t x = 0; x < w; x += LANES) {
            float values[WINDOW][LANES];
            for (int i = 0; i < WINDOW; i++) {
                const float *row = field + (size_t)place_held(y + i / 5 - 2, refine->height) * (size_t)w;
                const int32_t first = x + i % 5 - 2;
                if (first >= 0 && first + LANES <= w) {
                    memcpy(values[i], row + first, sizeof values[i]);
                    continue;
                }
                for (int32_t k = 0; k < LANES; k++)
                    values[i][k] = row[place_held(first + k, w)];
            }
            median_25(values);
            for (int32_t k = 0; k < LANES && x + k < w; k++)
                out[(size_t)y * (size_t)w + (size_t)(x + k)] = values[WINDOW / 2][k];
        }
    }
    memcpy(field, out, refine->count * sizeof *field);
}

enum passel_status flow_refine(const float *a, const float *b, const struct flow *flow, int warps,
                               struct passel_error *error)
{
    struct refine refine = { .a = a, .b = b, .flow = flow, .width = flow->width, .height = flow->height };
    refine.count = (size_t)flow->width * (size_t)flow->height;
    const size_t room = refine.count + (size_t)flow->width;
    float *planes = memory_zeros(room * PLANES + (size_t)flow->width, sizeof *planes);
    if (planes == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int i = 0; i < PLANES; i++)
        refine.plane[i] = planes + (size_t)flow->width + (size_t)i * room;
    weigh_edges(&refine);
    for (int warp = 0; warp < warps; warp++) {
        bring_over(&refine);
        solve(&refine);
        median(&refine, flow->u, refine.plane[PLANE_WARPED]);
        median(&refine, flow->v, refine.plane[PLANE_WARPED]);
    }
    memory_free(planes);
    return PASSEL_OK;
}
