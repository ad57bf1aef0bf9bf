/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What a block finds out by looking, as a line of numbers that can stand in the recipe: nothing is looked for any more,
 * and the numbers can be changed by hand.
 */
#ifndef ENGINE_FIT_TOLD_H
#define ENGINE_FIT_TOLD_H

#include <passel/error.h>

#include "base/text.h"

struct told_wish {
    const char *path;   /* of the recipe */
    const char *block;  /* of a kind that can tell, such as `align` */
    const char *frames; /* NULL: all of the shot, or its first when the answer serves all */
    int threads;        /* 0: all */
};

/* The setting as it would stand in the recipe: "corners 0.6 -0.4 … px", keyed where frames differ. All errors of the
 * recipe are written to `messages`. */
enum passel_status told_find(const struct told_wish *wish, struct text *line, struct text *messages,
                             struct passel_error *error);
/* Puts the line into the recipe, all else intact. */
enum passel_status told_write(const struct told_wish *wish, const char *line, struct passel_error *error);

#endif
