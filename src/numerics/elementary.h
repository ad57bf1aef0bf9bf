/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Powers and directions in double from plain arithmetic: the same bits on every machine, which the C library does not
 * promise. For numbers that settings turn into, not for pixels.
 */
#ifndef NUMERICS_ELEMENTARY_H
#define NUMERICS_ELEMENTARY_H

/* 2 to the power x, relative error below 4e-16; exact for whole x. 0 below -1000, 2^1000 above 1000. */
double power_of_two(double x);

/* Cosine and sine of an angle in degrees, error below 4e-16; exact at multiples of 90. */
void direction_of(double degrees, double *cosine, double *sine);

#endif
