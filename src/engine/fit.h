/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Which settings of a `lights` block make a reference picture: the lights are made one by one, each at gain 1, and
 * numerics/fit_lights.h finds the amounts.
 */
#ifndef ENGINE_FIT_H
#define ENGINE_FIT_H

#include <passel/error.h>
#include <stdbool.h>
#include <stddef.h>

#include "base/text.h"

struct fit_wish {
    const char *path;      /* of the recipe */
    const char *block;     /* of kind `lights` */
    const char *reference; /* a file or a pattern of files */
    const char *frames;    /* NULL: nine over the shot, or its first when the reference is a still */
    bool tint;             /* a factor for each channel, instead of one that keeps the tints of the recipe */
    int threads;           /* 0: all */
};

struct fit_line {
    char *name;
    char *line;   /* the setting as it would stand in the recipe: "light moon -1.5 stops" */
    double sigma; /* standard deviation in stops; of the gain when that is 0 */
    bool dark;    /* gain 0 */
    bool changes; /* the recipe gives it a curve, and the line would replace that by one number */
};

struct fit_answer {
    struct fit_line *lines;
    int count;
    double r2;
    size_t blocks, believed; /* of 8 x 8 pixels and channel */
    int frames;
    bool *groups; /* group_count * count: lights that cannot be told apart */
    int group_count;
};

/* All errors of the recipe are written to `messages`, as recipe_parse does. For fit_answer_release. */
enum passel_status fit_find(const struct fit_wish *wish, struct fit_answer *answer, struct text *messages,
                            struct passel_error *error);
void fit_answer_release(struct fit_answer *answer); /* a zeroed one is fine */

/* Puts the lines into the recipe, comments and all else intact; lights whose amount changes over frames keep their
 * lines. *written is how many lines are new. */
enum passel_status fit_write(const struct fit_wish *wish, const struct fit_answer *answer, int *written,
                             struct passel_error *error);

#endif
