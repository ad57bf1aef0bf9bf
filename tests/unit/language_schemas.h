/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A few kinds made up for testing the language: every type of value, unit and form of line is among them. They have
 * nothing to do with the kinds of the program.
 */
#ifndef TESTS_LANGUAGE_SCHEMAS_H
#define TESTS_LANGUAGE_SCHEMAS_H

#include "language/schema.h"

/* Ended by NULL. */
extern const struct schema *const language_schemas[];

#endif
