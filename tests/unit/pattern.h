/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Pictures for tests: noise that is the same in every run, and comparisons of the pixels that two pictures share.
 */
#ifndef TESTS_PATTERN_H
#define TESTS_PATTERN_H

#include <stdint.h>

#include "picture/picture.h"

/* 0 … 1 from a seed and two coordinates. */
double pattern_noise(uint32_t seed, int32_t x, int32_t y);

/* A picture of noise, 0 … 1, another one for every plane. Fails the test when memory is out. */
struct picture pattern_picture(struct rect area, unsigned planes, uint32_t seed);

float pattern_at(const struct picture *picture, enum plane plane, int32_t x, int32_t y);

/* Fails the test at the first pixel of `part` that differs from that of `whole`, in any bit. */
void pattern_assert_same(const struct picture *part, const struct picture *whole, enum plane plane);

#endif
