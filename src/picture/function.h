/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The few functions that pixels need beyond + - * / and square root. Those of the C library differ in the last bit
 * from one machine to the next; these are the same everywhere, and their loops vectorise.
 */
#ifndef PICTURE_FUNCTION_H
#define PICTURE_FUNCTION_H

#include <stddef.h>

/* Base-2 logarithm of a positive normal number; absolute error below 1e-14 for results within ± 1, relative 1e-14
 * beyond. 0 gives -1e9, so that exp2 of any share of it is 0. */
double function_log2(double x);

/* 2^x, relative error below 2e-14 for |x| ≤ 32; 0 below -1000 and infinity above 1023. */
double function_exp2(double x);

/* sin(pi x), absolute error below 1e-15 for |x| ≤ 1e6; exact at multiples of 1/2. */
double function_sinpi(double x);
/* cos(pi x), likewise. */
double function_cospi(double x);

/* samples[i] ^ exponent for samples ≥ 0 and exponent > 0, computed in double and rounded once, so that it rises
 * wherever its argument does. Negative samples count as 0; infinity and NaN stay. */
void function_power(float *samples, size_t count, double exponent);

#endif
