/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Growing text, UTF-8 helpers, and the nearest word to a misspelt one.
 */
#ifndef BASE_TEXT_H
#define BASE_TEXT_H

#include <passel/error.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* A growing, NUL-terminated text. { NULL, 0, 0, false } is an empty one. When memory is out, `failed` is set and
 * every later call does nothing, so a writer may check once at the end. */
struct text {
    char *bytes;
    size_t length;
    size_t room;
    bool failed;
};

void text_add(struct text *text, const char *bytes, size_t length);
void text_print(struct text *text, const char *format, ...) PASSEL_PRINTF(2, 3);
void text_release(struct text *text);

/* The code point at bytes[0 … length) and its length in *used (≥ 1). A malformed sequence gives U+FFFD, used 1. */
uint32_t utf8_next(const char *bytes, size_t length, size_t *used);

/* True when the bytes are well-formed UTF-8 (RFC 3629: no surrogates, no overlong forms, ≤ U+10FFFF). */
bool utf8_valid(const char *bytes, size_t length);

/* The word of `words` (ended by NULL) with the smallest edit distance (Damerau, adjacent swaps count 1) to `word`,
 * or NULL when none is near enough to be a likely meaning (distance ≤ 1 + length/4). Ties go to the first. */
const char *text_nearest(const char *word, const char *const *words);

#endif
