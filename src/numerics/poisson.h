/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A surface whose steps are given: the sum of squared differences between its steps and the wanted ones is smallest
 * (Poisson's equation; Pérez, Gangnet, Blake 2003). Small grids only.
 */
#ifndef NUMERICS_POISSON_H
#define NUMERICS_POISSON_H

#include <stdbool.h>
#include <stdint.h>

enum poisson_cell {
    POISSON_OUT,   /* no part of it */
    POISSON_FIXED, /* its value stays */
    POISSON_FREE
};

/* surface[width * height], row-major: free cells start as a guess and end as the solution. right[p] is the wanted step
 * from p to its right neighbour, down[p] to the one below. pull ≥ 0 draws free cells to 0 over about 1 / sqrt(pull)
 * cells. 300 sweeps of over-relaxation, in a fixed order: enough for a pull of 1 / 400 or more, or cells no farther
 * than about 40 from a fixed one. */
void poisson_solve(float *surface, const float *right, const float *down, const unsigned char *cells, int32_t width,
                   int32_t height, float pull);

#endif
