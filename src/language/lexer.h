/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * One line of a recipe into tokens.
 */
#ifndef LANGUAGE_LEXER_H
#define LANGUAGE_LEXER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "language/messages.h"
#include "language/recipe.h"

enum token_kind { TOKEN_WORD, TOKEN_QUOTED, TOKEN_OPEN, TOKEN_CLOSE, TOKEN_COMMA };

/* A comma is a token only between brackets. */
struct token {
    uint32_t start, length; /* bytes of the line; of a quoted text with its quotes */
    int column, width;      /* code points */
    enum token_kind kind;
};

struct line {
    const char *bytes; /* without the line's end */
    size_t length;
    int number;
    bool indented;
    bool broken;          /* an error was found in it */
    struct token *tokens; /* memory_free, or line_release */
    int count, room;
    size_t comment; /* where the `#` of its comment is; == length when there is none */
};

/* Reads the line that begins at `bytes`, whose recipe ends at `end`. Mistakes go to `messages` (NULL: nowhere) and make
 * the line broken. Tokens of an earlier line are overwritten. False when memory is out. */
bool line_read(struct line *line, const char *bytes, const char *end, int number, struct messages *messages);

/* Bytes of the byte order mark that the text begins with: 3 or 0. */
size_t text_mark(const char *text, size_t length);

/* The begin of the next line, or `end`. */
const char *line_next(const struct line *line, const char *end);

void line_release(struct line *line);

/* The place of tokens `first` … `last`. */
struct span line_span(const struct line *line, int first, int last);
/* The place behind the last token. */
struct span line_end(const struct line *line);
/* Where the token is, as text. */
const char *token_bytes(const struct line *line, int index);
/* True when the token is the bare word `word`. */
bool token_is(const struct line *line, int index, const char *word);
/* The text a token stands for, unquoted, in `arena`; NULL when memory is out. */
const char *token_text(const struct line *line, int index, struct arena *arena);

#endif
