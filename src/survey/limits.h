/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * How good is good enough: the one table of limits that verdicts are measured against. docs/survey.md is made from it.
 */
#ifndef SURVEY_LIMITS_H
#define SURVEY_LIMITS_H

#include <stdbool.h>

#include "base/text.h"

enum limit_kind {
    LIMIT_UNREADABLE,
    LIMIT_MISSING,
    LIMIT_SIZE,
    LIMIT_SHORT,
    LIMIT_DUPLICATE,
    LIMIT_NUMBERS,
    LIMIT_BUMP,
    LIMIT_SCREENS,
    LIMIT_SHAKE,
    LIMIT_FLICKER,
    LIMIT_BANDS,
    LIMIT_FLASH,
    LIMIT_CLIPPED,
    LIMIT_CRUSHED,
    LIMIT_NOISE,
    LIMIT_FOCUS,
    LIMIT_EVENNESS,
    LIMIT_HUE,
    LIMIT_SPILL,
    LIMIT_EDGES,
    LIMIT_DARK,
    LIMIT_SUM,
    LIMIT_DEAD,
    LIMIT_ODD,
    LIMIT_COUNT
};

struct limit {
    const char *name; /* as --limit takes it */
    const char *unit;
    const char *what;   /* what is measured */
    double care, shoot; /* beyond this: usable with care; re-shoot */
    bool below;         /* small values are the bad ones */
    const char *source;
    const char *advice;
};

extern const struct limit limit_table[LIMIT_COUNT];

/* The table in Markdown, as it stands in docs/survey.md. */
void limits_markdown(struct text *text);
/* "bump=0.3,1" changes a copy of the table. False when the text is not of that form. */
bool limits_change(struct limit limits[LIMIT_COUNT], const char *text);

/* The same by numbers. False when there is no limit of this name. */
bool limits_set(struct limit limits[LIMIT_COUNT], const char *name, double care, double shoot);

#endif
