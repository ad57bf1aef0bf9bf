/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What the parts of the parser share: memory, places, and the nearest words.
 */
#include <limits.h>
#include <stdio.h>
#include <string.h>

#include "base/memory.h"
#include "language/outline.h"
#include "language/parser.h"

/* Among more blocks than this the nearest name is not looked for. */
#define NEAREST_LIMIT 20000

void *parser_array(struct parser *parser, size_t count, size_t size)
{
    void *array = arena_array(parser->arena, count, size);
    parser->failed = parser->failed || array == NULL;
    return array;
}

void *parser_keep(struct parser *parser, const struct growing *growing, size_t size)
{
    void *kept = parser_array(parser, (size_t)growing->count, size);
    if (kept != NULL && growing->count > 0)
        memcpy(kept, growing->items, (size_t)growing->count * size);
    return kept;
}

bool growing_add(struct parser *parser, struct growing *growing, const void *item, size_t size)
{
    if (growing->count == growing->room) {
        const int room = growing->room < 16 ? 16 : growing->room * 2;
        void *items = growing->count > INT_MAX / 4
                          ? NULL
                          : memory_grow(growing->items, (size_t)growing->count, (size_t)room, size);
        if (items == NULL) {
            parser->failed = true;
            return false;
        }
        growing->items = items;
        growing->room = room;
    }
    memcpy((char *)growing->items + (size_t)growing->count++ * size, item, size);
    return true;
}

struct span parser_place(const struct parser *parser, int first, int last)
{
    return parser->standing_in != NULL ? *parser->standing_in : line_span(&parser->line, first, last);
}

struct span parser_gap(const struct parser *parser, int at)
{
    if (parser->standing_in != NULL)
        return *parser->standing_in;
    const struct token *token = &parser->line.tokens[at - 1];
    return (struct span){ parser->line.number, token->column + token->width, 1 };
}

bool parser_is_full(const struct parser *parser)
{
    return parser->messages.count == MESSAGE_LIMIT;
}

const char *parser_nearest(struct parser *parser, const char *bytes, size_t length, const char *const *words)
{
    if (length > 4u * NAME_LIMIT || parser_is_full(parser))
        return NULL;
    const char *word = arena_text(&parser->scratch, bytes, length);
    parser->failed = parser->failed || word == NULL;
    return word != NULL ? text_nearest(word, words) : NULL;
}

const char *parser_meant(struct parser *parser, const char *bytes, size_t length, const char *const *words,
                         char room[MEANT_ROOM])
{
    char quote[QUOTE_ROOM];
    const char *nearest = parser_nearest(parser, bytes, length, words);
    room[0] = '\0';
    if (nearest != NULL)
        snprintf(room, MEANT_ROOM, "; did you mean %s?", quoted(nearest, strlen(nearest), quote));
    return room;
}

const char *parser_meant_block(struct parser *parser, const char *bytes, size_t length, enum makes makes,
                               char room[MEANT_ROOM])
{
    room[0] = '\0';
    parser->words.count = 0;
    if (parser->block_count > NEAREST_LIMIT || parser_is_full(parser))
        return room;
    for (int i = 0; i < parser->block_count; i++) {
        const struct block *block = &parser->blocks[i];
        const struct schema *schema = block->schema;
        if ((schema == NULL || (schema->form == HEAD_NAMED && schema->makes == makes)) && block->name[0] != '\0' &&
            block != parser->block && !growing_add(parser, &parser->words, &block->name, sizeof block->name))
            return room;
    }
    const char *end = NULL;
    if (!growing_add(parser, &parser->words, &end, sizeof end))
        return room;
    return parser_meant(parser, bytes, length, parser->words.items, room);
}

const char *const *parser_words(struct parser *parser, const struct choice *choices)
{
    size_t count = 0;
    while (choices[count].word != NULL)
        count++;
    const char **words = arena_array(&parser->scratch, count + 1, sizeof *words);
    parser->failed = parser->failed || words == NULL;
    for (size_t i = 0; words != NULL && i < count; i++)
        words[i] = choices[i].word;
    return words;
}

const char *parser_list(struct parser *parser, const char *const *words, int limit)
{
    struct text text = { NULL, 0, 0, false };
    if (parser_is_full(parser))
        return "";
    for (int i = 0; words[i] != NULL && i < limit; i++)
        text_print(&text, "%s%s", i > 0 ? ", " : "", words[i]);
    const char *list = text.failed ? NULL : arena_text(&parser->scratch, text.bytes, text.length);
    text_release(&text);
    parser->failed = parser->failed || list == NULL;
    return list != NULL ? list : "";
}

const struct schema *setting_owner(const struct parser *parser, const char *word, size_t length)
{
    for (const struct schema *const *schema = parser->schemas; *schema != NULL; schema++)
        if (schema_setting(*schema, word, length) != NULL)
            return *schema;
    return NULL;
}
