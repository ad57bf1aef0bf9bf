/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Tokens of a line. White space parts words; a `#` that begins a word begins a comment; brackets and quotes end on
 * their line. In a head, `=` parts the name from the rest without white space.
 */
#include "language/lexer.h"

#include <string.h>

#include "base/memory.h"

struct reader {
    struct line *line;
    struct messages *messages;
    size_t at;
    int column;
    bool brackets; /* between [ and ] */
};

static const char *line_bytes_end(const char *bytes, const char *end)
{
    const char *newline = memchr(bytes, '\n', (size_t)(end - bytes));
    return newline != NULL ? newline : end;
}

static void mistake(struct reader *r, int column, int width, const char *text)
{
    r->line->broken = true;
    if (r->messages != NULL)
        message_add(r->messages, (struct span){ r->line->number, column, width < 1 ? 1 : width }, "%s", text);
}

static uint32_t peek(const struct reader *r, size_t *used)
{
    return utf8_next(r->line->bytes + r->at, r->line->length - r->at, used);
}

static bool is_space(uint32_t point)
{
    return point == ' ' || point == '\t' || point == 0xA0 || (point >= 0x2000 && point <= 0x200A) || point == 0x202F ||
           point == 0x205F || point == 0x3000;
}

static bool add_token(struct reader *r, enum token_kind kind, size_t start, int column)
{
    struct line *line = r->line;
    if (line->count == line->room) {
        const int room = line->room < 16 ? 16 : line->room * 2;
        struct token *tokens = memory_grow(line->tokens, (size_t)line->count, (size_t)room, sizeof *tokens);
        if (tokens == NULL)
            return false;
        line->tokens = tokens;
        line->room = room;
    }
    line->tokens[line->count++] = (struct token){ .start = (uint32_t)start,
                                                  .length = (uint32_t)(r->at - start),
                                                  .column = column,
                                                  .width = r->column - column,
                                                  .kind = kind };
    return true;
}

/* What is wrong with a character that a recipe does not hold, or NULL. */
static const char *bad_character(uint32_t point, const char *bytes)
{
    if (point == 0xFFFD && (unsigned char)bytes[0] != 0xEF)
        return "this byte is not UTF-8; save the recipe as UTF-8 text";
    if (point == 0x200B || point == 0x2060 || point == 0xFEFF || point == 0x200E || point == 0x200F)
        return "there is an invisible character here; delete it";
    if (point == '\r')
        return "a carriage return stands inside the line; lines end with a line feed, with or without one before it";
    if (point < 0x20 || (point >= 0x7F && point < 0xA0))
        return "there is a control character here; delete it";
    return NULL;
}

/* Steps over one character that is neither white space nor a mark of the syntax. */
static void step(struct reader *r)
{
    size_t used;
    const uint32_t point = peek(r, &used);
    const char *bad = bad_character(point, r->line->bytes + r->at);
    if (bad != NULL && point != '\t' && !r->line->broken)
        mistake(r, r->column, 1, bad);
    r->at += used;
    r->column++;
}

static void read_comment(struct reader *r)
{
    r->line->comment = r->at;
    while (r->at < r->line->length)
        step(r);
}

/* Behind a closing quote a word must end. */
static bool word_ends(const struct reader *r)
{
    if (r->at == r->line->length)
        return true;
    size_t used;
    const uint32_t point = peek(r, &used);
    return is_space(point) || (r->brackets && (point == ',' || point == ']'));
}

static bool read_quoted(struct reader *r)
{
    const struct line *line = r->line;
    const size_t start = r->at;
    const int column = r->column;
    step(r);
    while (r->at < line->length && line->bytes[r->at] != '"') {
        if (line->bytes[r->at] == '\\') {
            const char next = r->at + 1 < line->length ? line->bytes[r->at + 1] : '\0';
            if (next != '"' && next != '\\')
                mistake(r, r->column, 1, "in quotes a backslash stands before \" or \\; for a backslash write \\\\");
            else
                step(r);
        }
        step(r);
    }
    if (r->at == line->length) {
        mistake(r, column, r->column - column, "this quote is not closed on its line; expected a second \"");
    } else {
        step(r);
        if (!word_ends(r))
            mistake(r, r->column, 1, "expected a space behind the closing quote");
    }
    return add_token(r, TOKEN_QUOTED, start, column);
}

/* True when the bare word ends before this character. */
static bool ends_word(const struct reader *r, uint32_t point, size_t start)
{
    const struct line *line = r->line;
    if (is_space(point) || (r->brackets && (point == ',' || point == ']' || point == '[')))
        return true;
    if (line->indented || point != '=' || r->at == start)
        return false;
    return line->count == 0;
}

static bool read_word(struct reader *r)
{
    const size_t start = r->at;
    const int column = r->column;
    while (r->at < r->line->length) {
        size_t used;
        const uint32_t point = peek(r, &used);
        if (ends_word(r, point, start))
            break;
        if (point == '"') {
            mistake(r, r->column, 1, "a quote begins inside a word; put the whole word into quotes");
            r->at = r->line->length;
            break;
        }
        if ((point == 0x201C || point == 0x201D || point == 0x201E) && r->at == start)
            mistake(r, r->column, 1, "these are typographic quotes; write straight ones: \"");
        step(r);
        /* The `=` behind a name is a word of its own whatever stands behind it. */
        if (point == '=' && r->at == start + 1 && !r->line->indented && r->line->count == 1)
            break;
    }
    return add_token(r, TOKEN_WORD, start, column);
}

static bool read_mark(struct reader *r, enum token_kind kind)
{
    const size_t start = r->at;
    step(r);
    r->brackets = kind == TOKEN_OPEN || (kind == TOKEN_COMMA && r->brackets);
    return add_token(r, kind, start, r->column - 1);
}

static bool read_token(struct reader *r)
{
    const char c = r->line->bytes[r->at];
    if (c == '"')
        return read_quoted(r);
    if (r->brackets && c == '[')
        mistake(r, r->column, 1, "brackets do not stand in brackets");
    if (c == '[')
        return read_mark(r, TOKEN_OPEN);
    if (r->brackets && c == ']')
        return read_mark(r, TOKEN_CLOSE);
    if (r->brackets && c == ',')
        return read_mark(r, TOKEN_COMMA);
    return read_word(r);
}

static bool read_tokens(struct reader *r)
{
    struct line *line = r->line;
    while (r->at < line->length) {
        size_t used;
        if (is_space(peek(r, &used))) {
            r->at += used;
            r->column++;
        } else if (line->bytes[r->at] == '#') {
            read_comment(r);
        } else if (!read_token(r)) {
            return false;
        }
    }
    if (r->brackets) {
        int open = line->count - 1;
        while (line->tokens[open].kind != TOKEN_OPEN)
            open--;
        mistake(r, line->tokens[open].column, 1, "this bracket is not closed on its line; expected a ]");
    }
    return true;
}

bool line_read(struct line *line, const char *bytes, const char *end, int number, struct messages *messages)
{
    line->bytes = bytes;
    line->length = (size_t)(line_bytes_end(bytes, end) - bytes);
    if (line->length > 0 && bytes[line->length - 1] == '\r')
        line->length--;
    line->number = number;
    line->broken = false;
    line->count = 0;
    line->comment = line->length;
    struct reader reader = { .line = line, .messages = messages, .column = 1 };
    size_t used;
    line->indented = line->length > 0 && is_space(peek(&reader, &used));
    return read_tokens(&reader);
}

size_t text_mark(const char *text, size_t length)
{
    return length >= 3 && memcmp(text, "\xEF\xBB\xBF", 3) == 0 ? 3 : 0;
}

const char *line_next(const struct line *line, const char *end)
{
    const char *at = line_bytes_end(line->bytes + line->length, end);
    return at < end ? at + 1 : end;
}

void line_release(struct line *line)
{
    memory_free(line->tokens);
    line->tokens = NULL;
    line->count = line->room = 0;
}

struct span line_span(const struct line *line, int first, int last)
{
    const struct token *a = &line->tokens[first], *b = &line->tokens[last];
    return (struct span){ line->number, a->column, b->column + b->width - a->column };
}

struct span line_end(const struct line *line)
{
    const struct token *last = &line->tokens[line->count - 1];
    return (struct span){ line->number, last->column + last->width, 1 };
}

const char *token_bytes(const struct line *line, int index)
{
    return line->bytes + line->tokens[index].start;
}

bool token_is(const struct line *line, int index, const char *word)
{
    const struct token *token = &line->tokens[index];
    return token->kind == TOKEN_WORD && strlen(word) == token->length &&
           memcmp(token_bytes(line, index), word, token->length) == 0;
}

const char *token_text(const struct line *line, int index, struct arena *arena)
{
    const struct token *token = &line->tokens[index];
    const char *bytes = token_bytes(line, index);
    if (token->kind != TOKEN_QUOTED || token->length < 2)
        return arena_text(arena, bytes, token->length);
    char *text = arena_text(arena, bytes + 1, token->length - 2);
    if (text == NULL)
        return NULL;
    size_t kept = 0;
    for (size_t i = 0; i < token->length - 2u; i++) {
        if (text[i] == '\\' && i + 1 < token->length - 2u)
            i++;
        text[kept++] = text[i];
    }
    text[kept] = '\0';
    return text;
}
