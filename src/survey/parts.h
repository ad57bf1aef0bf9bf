/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A picture in few parts, so that words can say where.
 */
#ifndef SURVEY_PARTS_H
#define SURVEY_PARTS_H

#include "survey/look.h"

enum { PARTS_ACROSS = 8, PARTS_DOWN = 5, PARTS = PARTS_ACROSS * PARTS_DOWN };

/* The part that block i of a look lies in; rows from the top. */
int part_of(const struct look *look, size_t i);

/* "upper middle". */
enum { PART_NAME = 48 };
const char *part_name(int part, char name[PART_NAME]);

#endif
