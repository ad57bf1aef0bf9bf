/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Inputs that are used as mattes: the one plane of a matte, or the alpha of a picture that has one.
 */
#ifndef KINDS_ALPHA_INPUT_H
#define KINDS_ALPHA_INPUT_H

#include "kinds/kind.h"

/* Adds the ask for the alpha of `value` at the frame being made; returns its index in the list. */
int alpha_ask(struct ask_list *list, const struct value *value, int32_t frame);

/* PASSEL_BAD_RECIPE, said at `value`, when the picture behind at->asks[ask] is colour without alpha. */
enum passel_status alpha_check(const struct at *at, int ask, const struct value *value, struct passel_error *error);

/* A matte may leave 0 … 1 by noise; this is what it multiplies with. */
static inline float alpha_clamped(float a)
{
    return a > 0 ? (a < 1 ? a : 1) : 0;
}

#endif
