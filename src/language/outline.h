/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What a line of a recipe is, judged by its first words: the version, a head, a setting.
 */
#ifndef LANGUAGE_OUTLINE_H
#define LANGUAGE_OUTLINE_H

#include "language/lexer.h"
#include "language/schema.h"

enum role { ROLE_EMPTY, ROLE_VERSION, ROLE_HEAD, ROLE_SETTING };

struct head {
    const char *begin; /* of its line */
    int line;
    const struct schema *schema; /* NULL when the kind is not known */
    bool named;                  /* NAME = KIND */
    int kind, kind_words;        /* the kind's token and how many they are (0 when there is none) */
};

/* What the line is. `above` is the schema of the block above it, or NULL. For ROLE_HEAD *head is filled in. */
enum role line_role(const struct line *line, const struct schema *const *schemas, const struct schema *above,
                    struct head *head);

/* The schema with the longest name that stands at token `at` of the line, and its words; NULL when there is none. */
const struct schema *kind_at(const struct line *line, int at, const struct schema *const *schemas, int *words);

/* The first setting of that word, or NULL. `word` NULL: the lines that begin with a number. */
const struct setting_spec *schema_setting(const struct schema *schema, const char *word, size_t length);

/* True when the token begins with a number or is an opening bracket. */
bool token_is_number(const struct line *line, int at);

#endif
