/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Numbers and units as a recipe writes them. Nothing here depends on the user's locale.
 */
#ifndef LANGUAGE_NUMBERS_H
#define LANGUAGE_NUMBERS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "language/schema.h"

/* Reads the number at the start of `text`: an optional sign, digits with at most one point, an optional exponent.
 * *used is its length in bytes. False when there is none. A number too large for a double gives infinity. */
bool number_read(const char *text, size_t length, double *number, size_t *used);

/* True when a number stands at the start of `text`. */
bool number_begins(const char *text, size_t length);

/* Reads a whole number of the form [+-]digits at the start of `text`; false when there is none or when it does not
 * fit. */
bool integer_read(const char *text, size_t length, int32_t *number, size_t *used);

/* How a unit is written ("px"); "" for UNIT_NONE. */
const char *unit_word(enum unit unit);

/* The unit that is written so, or UNIT_COUNT. */
enum unit unit_named(const char *text, size_t length);

/* True when a space stands between a number and this unit in the settled form (4 px, but 4%). */
bool unit_stands_apart(enum unit unit);

#endif
