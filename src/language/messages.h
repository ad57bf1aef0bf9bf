/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What is wrong with a recipe: messages are collected while it is read, put into the order of the text, and written
 * with their line and a caret.
 */
#ifndef LANGUAGE_MESSAGES_H
#define LANGUAGE_MESSAGES_H

#include <passel/error.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"
#include "base/text.h"
#include "language/recipe.h"

/* More errors than this are counted, not shown. */
#define MESSAGE_LIMIT 100

/* The text that spans point into. */
struct source {
    const char *path;
    const char *text;
    size_t length;
    const struct changed_line *changed; /* rising by line */
    int changed_count;
};

struct message {
    struct span where;
    int order; /* among equals the first stays first */
    const char *text;
};

struct messages {
    struct arena *arena; /* the texts live here */
    struct message list[MESSAGE_LIMIT];
    int count;   /* in `list` */
    int total;   /* with those that no longer fitted */
    bool failed; /* memory is out */
};

void message_add(struct messages *messages, struct span where, const char *format, ...) PASSEL_PRINTF(3, 4);

/* Sorts the messages and writes each as "file:line:column: error: text", its line and a caret. */
void messages_write(struct messages *messages, const struct source *source, struct text *out);

/* The line of the file that a place is in; for a line that a change added, the one before it. */
int source_line(const struct source *source, struct span where);

/* One message in the same form, without a newline at its end. */
void message_write(const struct source *source, struct span where, const char *message, struct text *out);

/* The same for a line that is at hand: `bytes` is the line, `letters` how many characters the caret underlines. */
struct place {
    const char *file;
    int line, column;
    const char *bytes;
    size_t length;
};
void message_write_at(const struct place *place, int letters, const char *message, struct text *out);

/* A word of the text as messages quote it: in single quotes, shortened when long, unprintable characters replaced. The
 * answer is written to `room` and returned. */
#define QUOTE_ROOM 160
const char *quoted(const char *bytes, size_t length, char room[QUOTE_ROOM]);

#endif
