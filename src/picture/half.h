/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Half floats (IEEE 754 binary16) in rows. Halves lie in memory as files have them: little-endian, any alignment.
 */
#ifndef PICTURE_HALF_H
#define PICTURE_HALF_H

#include <stdbool.h>
#include <stddef.h>

#define HALF_LARGEST 65504.0f

/* `count` halves to floats, exactly. True when some are not finite: those come through as NaN and ± infinity. */
bool half_to_float(const void *halves, float *floats, size_t count);

/* Floats to the nearest halves, ties to even. What lies beyond ± HALF_LARGEST, infinity too, becomes ± HALF_LARGEST;
 * NaN becomes 0: a delivered frame holds numbers only. */
void half_from_float(const float *floats, void *halves, size_t count);

/* The two functions above in one variant. All variants give the same bits. */
struct half_variant {
    const char *name;
    bool (*to_float)(const void *halves, float *floats, size_t count);
    void (*from_float)(const float *floats, void *halves, size_t count);
};

/* The variants that this processor can run, plain C first, the fastest last. */
int half_variants(const struct half_variant *variants[2]);

#endif
