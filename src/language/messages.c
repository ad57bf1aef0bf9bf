/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Messages and their excerpts of the text.
 */
#include "language/messages.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <utf8proc.h>

/* Columns on screen that are shown of a long line, before and behind the caret. */
#define WINDOW_BEFORE 60
#define WINDOW_BEHIND 50
#define TAB_COLUMNS 4
#define QUOTE_LETTERS 36

void message_add(struct messages *messages, struct span where, const char *format, ...)
{
    messages->total++;
    if (messages->count == MESSAGE_LIMIT)
        return;
    va_list arguments;
    va_start(arguments, format);
    char room[1024];
    vsnprintf(room, sizeof room, format, arguments);
    va_end(arguments);
    const char *copy = arena_text(messages->arena, room, strlen(room));
    if (copy == NULL) {
        messages->failed = true;
        return;
    }
    messages->list[messages->count] = (struct message){ where, messages->count, copy };
    messages->count++;
}

/* True when a code point may be sent to a terminal as it is. */
static bool printable(uint32_t point)
{
    switch (utf8proc_category((utf8proc_int32_t)point)) {
    case UTF8PROC_CATEGORY_CC:
    case UTF8PROC_CATEGORY_CF:
    case UTF8PROC_CATEGORY_CN:
    case UTF8PROC_CATEGORY_CS:
    case UTF8PROC_CATEGORY_ZL:
    case UTF8PROC_CATEGORY_ZP:
        return false;
    default:
        return true;
    }
}

static int columns_of(uint32_t point)
{
    return printable(point) ? utf8proc_charwidth((utf8proc_int32_t)point) : 1;
}

/* Writes one character as it can be shown; returns the columns it takes. */
static int show(struct text *out, const char *bytes, size_t used, uint32_t point, int column)
{
    if (point == '\t') {
        const int columns = TAB_COLUMNS - column % TAB_COLUMNS;
        text_add(out, "        ", (size_t)columns);
        return columns;
    }
    if (printable(point) && point != 0xFFFD)
        text_add(out, bytes, used);
    else
        text_add(out, "\xEF\xBF\xBD", 3);
    return columns_of(point);
}

const char *quoted(const char *bytes, size_t length, char room[QUOTE_ROOM])
{
    size_t at = 0, written = 0;
    int letters = 0;
    room[written++] = '\'';
    while (at < length && letters++ < QUOTE_LETTERS) {
        size_t used;
        const uint32_t point = utf8_next(bytes + at, length - at, &used);
        const bool fine = printable(point) && point != 0xFFFD;
        const size_t size = fine ? used : 3;
        memcpy(room + written, fine ? bytes + at : "\xEF\xBF\xBD", size);
        written += size;
        at += used;
    }
    if (at < length) {
        memcpy(room + written, "\xE2\x80\xA6", 3);
        written += 3;
    }
    room[written++] = '\'';
    room[written] = '\0';
    return room;
}

/* ---- where a span is --------------------------------------------------------------------------------------------- */

/* The line that begins at `bytes`, without its end. */
static size_t line_length(const char *bytes, const char *end)
{
    const char *newline = memchr(bytes, '\n', (size_t)(end - bytes));
    size_t length = (size_t)((newline != NULL ? newline : end) - bytes);
    if (length > 0 && bytes[length - 1] == '\r')
        length--;
    return length;
}

/* The begin of the line `line`, counted on from `from`, which is the begin of line `from_line`. */
static const char *find_line(const struct source *source, const char *from, int from_line, int line)
{
    const char *end = source->text + source->length;
    for (; from_line < line; from_line++) {
        const char *newline = memchr(from, '\n', (size_t)(end - from));
        if (newline == NULL)
            return end;
        from = newline + 1;
    }
    return from;
}

int source_line(const struct source *source, struct span where)
{
    int line = where.line;
    for (int i = 0; i < source->changed_count && source->changed[i].line <= where.line; i++)
        line -= source->changed[i].added;
    return line;
}

/* `*begin` and `*begin_line` say where to look from and are moved on. */
static struct place place_of(const struct source *source, struct span where, const char **begin, int *begin_line)
{
    struct place place = { .file = source->path, .line = source_line(source, where), .column = where.column };
    for (int i = 0; i < source->changed_count; i++) {
        const struct changed_line *changed = &source->changed[i];
        if (changed->line == where.line)
            return (struct place){ .file = "--set",
                                   .line = changed->change,
                                   .column = where.column + changed->shift,
                                   .bytes = changed->text,
                                   .length = strlen(changed->text) };
    }
    *begin = find_line(source, *begin, *begin_line, where.line);
    *begin_line = where.line;
    place.bytes = *begin;
    place.length = line_length(place.bytes, source->text + source->length);
    return place;
}

/* ---- the excerpt ------------------------------------------------------------------------------------------------- */

/* Bytes of the first `columns - 1` characters. */
static size_t offset_of(const char *bytes, size_t length, int column)
{
    size_t at = 0;
    for (int i = 1; i < column && at < length; i++) {
        size_t used;
        utf8_next(bytes + at, length - at, &used);
        at += used;
    }
    return at;
}

/* Goes back from `at` over at most WINDOW_BEFORE columns. */
static size_t window_begin(const char *bytes, size_t at)
{
    int columns = 0;
    while (at > 0 && columns < WINDOW_BEFORE) {
        size_t back = at - 1, used;
        while (back > 0 && at - back < 4 && ((unsigned char)bytes[back] & 0xC0u) == 0x80u)
            back--;
        uint32_t point = utf8_next(bytes + back, at - back, &used);
        if (used != at - back) {
            back = at - 1;
            point = 0xFFFD;
        }
        columns += point == '\t' ? TAB_COLUMNS : columns_of(point);
        at = back;
    }
    return at;
}

/* Shows the line around the character at byte `caret`; *caret_column and *caret_columns are where the caret line has
 * to stand and how long it is for `letters` characters. */
static void show_line(const struct place *place, size_t caret, int letters, struct text *out, int *caret_column,
                      int *caret_columns)
{
    size_t at = window_begin(place->bytes, caret);
    int column = 0, behind = 0;
    if (at > 0) {
        text_add(out, "\xE2\x80\xA6", 3);
        column = 1;
    }
    *caret_column = -1;
    *caret_columns = 0;
    while (at < place->length && behind < WINDOW_BEHIND) {
        size_t used;
        const uint32_t point = utf8_next(place->bytes + at, place->length - at, &used);
        if (at >= caret && *caret_column < 0)
            *caret_column = column;
        const int columns = show(out, place->bytes + at, used, point, column);
        if (at >= caret) {
            behind += columns;
            *caret_columns += letters-- > 0 ? columns : 0;
        }
        column += columns;
        at += used;
    }
    if (at < place->length)
        text_add(out, "\xE2\x80\xA6", 3);
    if (*caret_column < 0)
        *caret_column = column;
}

static void write_excerpt(const struct place *place, int letters, struct text *out)
{
    int column, columns;
    text_print(out, "\n  ");
    show_line(place, offset_of(place->bytes, place->length, place->column), letters, out, &column, &columns);
    text_print(out, "\n  %*s^", column, "");
    for (int i = 1; i < columns; i++)
        text_add(out, "~", 1);
}

void message_write_at(const struct place *place, int letters, const char *message, struct text *out)
{
    text_print(out, "%s:%d:%d: error: %s", place->file, place->line, place->column, message);
    write_excerpt(place, letters, out);
}

void message_write(const struct source *source, struct span where, const char *message, struct text *out)
{
    const char *begin = source->text;
    int line = 1;
    const struct place place = place_of(source, where, &begin, &line);
    message_write_at(&place, where.length, message, out);
}

static int compare(const void *left, const void *right)
{
    const struct message *a = left, *b = right;
    if (a->where.line != b->where.line)
        return a->where.line < b->where.line ? -1 : 1;
    if (a->where.column != b->where.column)
        return a->where.column < b->where.column ? -1 : 1;
    return a->order < b->order ? -1 : 1;
}

void messages_write(struct messages *messages, const struct source *source, struct text *out)
{
    qsort(messages->list, (size_t)messages->count, sizeof *messages->list, compare);
    const char *begin = source->text;
    int line = 1;
    for (int i = 0; i < messages->count; i++) {
        const struct message *message = &messages->list[i];
        const struct place place = place_of(source, message->where, &begin, &line);
        message_write_at(&place, message->where.length, message->text, out);
        text_add(out, "\n", 1);
    }
    if (messages->total > messages->count)
        text_print(out, "%s: %d more errors are not shown\n", source->path, messages->total - messages->count);
}
