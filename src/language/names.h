/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Names of blocks: a letter of any script, then letters, digits, `-` and `_`. Two names are the same when their
 * Unicode normal forms C are.
 */
#ifndef LANGUAGE_NAMES_H
#define LANGUAGE_NAMES_H

#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"

/* Characters that a name may have at most; keeps normalising cheap. */
#define NAME_LIMIT 200

/* Bytes at the start of `text` that can be part of a name; 0 when it does not begin with a letter. */
size_t name_length(const char *text, size_t length);

/* A character in normal form D has at most four code points, each of at most four bytes. */
#define DECOMPOSED_LIMIT (4 * NAME_LIMIT)
#define NAME_ROOM (4 * DECOMPOSED_LIMIT + 1)

/* Writes the name in its normal form, NUL-terminated. The text holds no NUL; a longer one than NAME_LIMIT is cut. */
void name_settle(const char *text, size_t length, char room[NAME_ROOM]);

/* The same, in `arena`; NULL when memory is out. */
const char *name_settled(struct arena *arena, const char *text, size_t length);

/* The number of characters in well-formed or broken UTF-8. */
int letters_in(const char *text, size_t length);

/* Names and a number for each. All zero is an empty table. */
struct name_table {
    struct name_slot *slots;
    size_t room; /* a power of two, or 0 */
};

/* Makes room for `count` names; false when memory is out. */
bool name_table_make(struct name_table *table, struct arena *arena, size_t count);

/* Adds a name that stays where it is; returns the number it already has, or -1 when it is new. */
int name_table_add(struct name_table *table, const char *name, int number);

/* The number of a name (in normal form), or -1. */
int name_table_find(const struct name_table *table, const char *name);

#endif
