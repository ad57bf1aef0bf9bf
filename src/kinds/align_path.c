/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "kinds/align_path.h"

#include <math.h>
#include <stdlib.h>

#include "kinds/kind.h"
#include "numerics/order.h"

#define NEAR 0.3 /* pixels at a corner, besides what is to be expected */

static double median(const struct sight *sights, int count, int number)
{
    double found[ASK_LIMIT];
    int n = 0;
    for (int i = 0; i < count; i++) {
        if (sights[i].state == SIGHT_FOUND)
            found[n++] = sights[i].corner[number];
    }
    qsort(found, (size_t)n, sizeof *found, rising_doubles);
    return n == 0 ? 0 : (found[(n - 1) / 2] + found[n / 2]) / 2;
}

static double farthest(const double a[8], const double b[8])
{
    double most = 0;
    for (int i = 0; i < 8; i += 2)
        most = fmax(most, sqrt((a[i] - b[i]) * (a[i] - b[i]) + (a[i + 1] - b[i + 1]) * (a[i + 1] - b[i + 1])));
    return most;
}

int path_one(const struct sight *sights, int count, double corner[8], double *expected, int *found)
{
    double middle[8], sum[8] = { 0 }, weight = 0;
    int near = 0;
    *found = 0;
    for (int k = 0; k < 8; k++)
        middle[k] = median(sights, count, k);
    for (int i = 0; i < count; i++) {
        const struct sight *sight = &sights[i];
        if (sight->state != SIGHT_FOUND)
            continue;
        (*found)++;
        if (farthest(sight->corner, middle) > NEAR + 4 * sight->expected)
            continue;
        const double w = 1 / (sight->expected * sight->expected + 1e-6);
        for (int k = 0; k < 8; k++)
            sum[k] += w * (sight->corner[k] - middle[k]);
        weight += w;
        near++;
    }
    for (int k = 0; k < 8; k++)
        corner[k] = middle[k] + (near > 0 ? sum[k] / weight : 0);
    *expected = near > 0 ? sqrt(near / weight) : INFINITY;
    return near;
}

void path_drift(const struct sight *sights, int count, int32_t frame, int half, double corner[8])
{
    double w = 0, wt = 0, wtt = 0, sum[8] = { 0 }, slope[8] = { 0 };
    for (int i = 0; i < count; i++) {
        const double t = sights[i].frame - frame, weight = 1 - fabs(t) / (half + 1);
        if (sights[i].state != SIGHT_FOUND || weight <= 0)
            continue;
        w += weight;
        wt += weight * t;
        wtt += weight * t * t;
        for (int k = 0; k < 8; k++) {
            sum[k] += weight * sights[i].corner[k];
            slope[k] += weight * t * sights[i].corner[k];
        }
    }
    const double determinant = w * wtt - wt * wt;
    for (int k = 0; k < 8; k++)
        corner[k] = determinant > 1e-9 ? (wtt * sum[k] - wt * slope[k]) / determinant : sum[k] / w;
}
