/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Lamps drift between an empty and its take: how much brighter the take is, read from the screen that both show bare.
 */
#ifndef KINDS_KEY_LEVEL_H
#define KINDS_KEY_LEVEL_H

#include <passel/error.h>

#include "numerics/cells.h"
#include "numerics/noise_model.h"

/* level[c] = take / empty of channel c, between LEVEL_LEAST and LEVEL_MOST; 1 when too few cells agree on a level.
 * *bare: how many cells, over all looks at the take, agree. */
enum passel_status level_find(const struct picture *empty, const struct noise noise[3], const struct cells *looks,
                              int look_count, float level[3], int *bare, struct passel_error *error);

#define LEVEL_SHARE 100 /* one cell in so many must agree */
#define LEVEL_LEAST 0.8F
#define LEVEL_MOST 1.25F

#endif
