/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#ifndef ENGINE_FIT_LINES_H
#define ENGINE_FIT_LINES_H

#include "base/text.h"
#include "language/recipe.h"

/* Writes a `light` setting with another amount: "light moon -1.5 stops tint 1 0.9 0.8 minus lamp". `gains` has one
 * number, which keeps tint and colour as they are, or three, which replace them. Everything else stays as written. */
void fit_line(const struct recipe *recipe, const struct setting *setting, const double *gains, int gain_count,
              struct text *out);

/* True for the tags that the amounts replace. */
bool fit_replaces(const char *tag, bool tint);

#endif
