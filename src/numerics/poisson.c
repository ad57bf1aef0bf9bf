/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "numerics/poisson.h"

#define SWEEPS 300
#define OVER_RELAX 1.8F

/* One neighbour's wish: its value, and the step from it to here. */
static void hear(const float *surface, const unsigned char *cells, int32_t at, float step, float *sum, float *count)
{
    if (cells[at] == POISSON_OUT)
        return;
    *sum += surface[at] + step;
    *count += 1;
}

void poisson_solve(float *surface, const float *right, const float *down, const unsigned char *cells, int32_t width,
                   int32_t height, float pull)
{
    for (int sweep = 0; sweep < SWEEPS; sweep++) {
        for (int32_t p = 0; p < width * height; p++) {
            float sum = 0, count = pull;
            const int32_t x = p % width, y = p / width;
            if (cells[p] != POISSON_FREE)
                continue;
            if (x > 0)
                hear(surface, cells, p - 1, right[p - 1], &sum, &count);
            if (x + 1 < width)
                hear(surface, cells, p + 1, -right[p], &sum, &count);
            if (y > 0)
                hear(surface, cells, p - width, down[p - width], &sum, &count);
            if (y + 1 < height)
                hear(surface, cells, p + width, -down[p], &sum, &count);
            if (count > 0)
                surface[p] += OVER_RELAX * (sum / count - surface[p]);
        }
    }
}
