/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Which amounts of known lights make a wanted picture: robust least squares without negative answers, on means of
 * blocks of pixels, where noise is small beside light.
 */
#ifndef NUMERICS_FIT_LIGHTS_H
#define NUMERICS_FIT_LIGHTS_H

#include <passel/error.h>
#include <stdbool.h>
#include <stddef.h>

/* Variance of a block's mean that is noise: gain * mean + floor, both ≥ 0. */
struct fit_noise {
    double gain, floor;
};

/* One row for each block: for every light, then for the wanted picture, the means of the block's two halves. Halves are
 * made of pixels whose noise is not shared, and their light need not be the same. */
struct fit_rows {
    int lights;
    size_t count;
    const float *halves;           /* count * (lights + 1) * 2 */
    const struct fit_noise *noise; /* a set of lights + 1 for each `per_noise` rows */
    size_t per_noise;
    const float
        *around; /* wanted light near each row, in which the row's own noise is not; NULL: all rows count alike */
};

struct fit_found {
    double gain;  /* ≥ 0 */
    double sigma; /* its standard deviation; infinity when the rows leave it open */
};

struct fit_result {
    int lights;
    struct fit_found *found;
    double r2;       /* share of the wanted light's variance, over the rows that were believed, that is explained */
    size_t believed; /* rows of at least half weight */
    bool *groups;    /* group_count * lights: which lights belong to it */
    int group_count;
};

/*
 * Noise in the lights bends the gains of plain least squares down. So each half of a block is an instrument for the
 * other: the normal equations are sums of products of one half's light with the other half's, in which noise is nought
 * on average, whether it comes from a pass or from an ambient that all share.
 *
 * Rows that no amounts explain (clipped, moved, a stranger in the picture) lose their weight, and may be a third of
 * all: a fit of least absolute residuals, then Tukey's biweight, then weights that are 1 for all that noise explains,
 * since weights that follow the noise bend gains up. A residual is measured against the noise of its row: of the wanted
 * picture, of the lights by their gains, and a little of the light itself.
 *
 * Rows count by the inverse of the noise that they should have by the light around them: a row's own light has its
 * noise in it, and weights that follow that would bend the gains again.
 *
 * Sources: J. Durbin, "Errors in variables", Review of the International Statistical Institute 22 (1954), for
 * instruments; P. W. Holland, R. E. Welsch, "Robust regression using iteratively reweighted least-squares",
 * Communications in Statistics A6 (1977), with their tuning of 4.685.
 */
enum passel_status fit_lights(const struct fit_rows *rows, struct fit_result *result, struct passel_error *error);
void fit_result_release(struct fit_result *result); /* a zeroed one is fine */

#endif
