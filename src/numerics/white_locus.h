/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What a colour temperature looks like: glowing bodies below 4000 K, phases of daylight above 5000 K, and a smooth way
 * from one to the other between.
 */
#ifndef NUMERICS_WHITE_LOCUS_H
#define NUMERICS_WHITE_LOCUS_H

#include "picture/primaries.h"

#define WHITE_LOCUS_LEAST 1000.0
#define WHITE_LOCUS_MOST 25000.0

/*
 * CIE 1931 x, y of a temperature in kelvin, WHITE_LOCUS_LEAST … WHITE_LOCUS_MOST (held beyond).
 *
 * Sources: glowing bodies by M. Krystek, "An algorithm to calculate correlated colour temperature", Color Research and
 * Application 10 (1985), within 1e-4 of Planck's law in u, v; daylight by CIE 15:2004 section 3.1, where 6504 K is
 * illuminant D65.
 */
void white_locus(double kelvin, double xy[2]);

/* A light of this temperature and of luminance 1 in the given primaries; 1, 1, 1 at their white. What is too saturated
 * for them is cut off at 0. */
void white_locus_rgb(double kelvin, const struct primaries *primaries, double rgb[3]);

#endif
