/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Chance that can be repeated: a number that looks random and follows from a seed and a place alone. Nothing is kept
 * from one call to the next, so any frame can be asked for first.
 */
#ifndef NUMERICS_SEEDED_H
#define NUMERICS_SEEDED_H

#include <stdint.h>

/* Even between 0 and 1 (1 left out), the same for the same three numbers. */
double seeded_share(uint64_t seed, uint64_t series, int64_t place);

#endif
