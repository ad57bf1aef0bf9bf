/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Small letters for pictures that the program writes: 5 x 7 dots each, 6 dots apart.
 */
#ifndef COMMAND_LETTERS_H
#define COMMAND_LETTERS_H

#include "picture/picture.h"

#define LETTER_STEP 6
#define LETTER_ROWS 7

/* How wide `text` is in dots of one pixel. */
int32_t letters_width(const char *text);
/* Draws `text` with its top left at x, y, in dots of `dot` pixels, as `value` in R, G and B; what sticks out of the
 * picture is left out. Small letters are drawn as capitals; what it has no form for is a box. */
void letters_draw(const struct picture *picture, int32_t x, int32_t y, int32_t dot, float value, const char *text);

#endif
