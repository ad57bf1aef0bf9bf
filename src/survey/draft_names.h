/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#ifndef SURVEY_DRAFT_NAMES_H
#define SURVEY_DRAFT_NAMES_H

#include "survey/portrait.h"

#define DRAFT_NAME 48

/* A block name for each pass, all different: the file's own name where it is a word, else what the pass is. */
void draft_names(const struct portraits *portraits, char (*names)[DRAFT_NAME]);

#endif
