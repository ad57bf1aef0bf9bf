/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Values: one reader for each type, and the form by which an optional value is recognised.
 */
#include <string.h>

#include "base/memory.h"
#include "language/numbers.h"
#include "language/outline.h"
#include "language/parser.h"

/* Choices that a message lists; more would hide the message. */
#define LISTED 24

/* What a reader knows: the setting a value belongs to, how messages call it, and the token to read. */
struct wanted {
    struct parser *parser;
    const struct setting_spec *spec;
    const char *word;
    int *at;
};

static struct span here(const struct wanted *w)
{
    return parser_place(w->parser, *w->at, *w->at);
}

static const struct token *token_of(const struct wanted *w)
{
    return &w->parser->line.tokens[*w->at];
}

static const char *bytes_of(const struct wanted *w)
{
    return token_bytes(&w->parser->line, *w->at);
}

static bool keep_text(const struct wanted *w, struct value *value)
{
    value->text = token_text(&w->parser->line, *w->at, w->parser->arena);
    w->parser->failed = w->parser->failed || value->text == NULL;
    return value->text != NULL;
}

/* "'lock' expects …, not 'x'". */
static bool refuse(const struct wanted *w, const struct value_spec *spec, const char *hint)
{
    char room[QUOTE_ROOM];
    const char *wish = value_wish(w->parser, spec);
    message_add(&w->parser->messages, here(w), "'%s' expects %s here, not %s%s", w->word, wish,
                quoted(bytes_of(w), token_of(w)->length, room), hint);
    return false;
}

/* ---- words ------------------------------------------------------------------------------------------------------- */

static bool read_choice(const struct wanted *w, struct value *value)
{
    const struct choice *choices = value->spec->choices;
    for (int i = 0; choices[i].word != NULL; i++) {
        if (token_is(&w->parser->line, *w->at, choices[i].word)) {
            value->choice = i;
            value->text = choices[i].word;
            ++*w->at;
            return true;
        }
    }
    const char *const *words = parser_words(w->parser, choices);
    if (words == NULL)
        return false;
    char room[MEANT_ROOM];
    return refuse(w, value->spec, parser_meant(w->parser, bytes_of(w), token_of(w)->length, words, room));
}

static bool read_text(const struct wanted *w, struct value *value)
{
    const enum token_kind kind = token_of(w)->kind;
    if (kind != TOKEN_WORD && kind != TOKEN_QUOTED)
        return refuse(w, value->spec, "; a word that begins with a bracket needs quotes");
    if (!keep_text(w, value))
        return false;
    if (value->text[0] == '\0')
        return refuse(w, value->spec, "");
    ++*w->at;
    return true;
}

static bool read_new_name(const struct wanted *w, struct value *value)
{
    const struct token *token = token_of(w);
    const size_t used = name_length(bytes_of(w), token->length);
    if (token->kind != TOKEN_WORD || used != token->length || token->width > NAME_LIMIT)
        return refuse(w, value->spec,
                      token->kind == TOKEN_QUOTED
                          ? "; a name stands without quotes"
                          : "; a name begins with a letter and goes on with letters, digits, - and _");
    value->text = name_settled(w->parser->arena, bytes_of(w), used);
    w->parser->failed = w->parser->failed || value->text == NULL;
    ++*w->at;
    return value->text != NULL;
}

/* ---- pictures ---------------------------------------------------------------------------------------------------- */

struct block *parser_named(const struct parser *parser, const char *bytes, size_t length)
{
    char name[NAME_ROOM];
    if (length == 0 || name_length(bytes, length) != length)
        return NULL;
    name_settle(bytes, length, name);
    const int index = name_table_find(parser->names, name);
    return index < 0 ? NULL : &parser->blocks[index];
}

/* A name that no block has. */
static bool refuse_unknown(const struct wanted *w, size_t length)
{
    struct parser *parser = w->parser;
    char room[QUOTE_ROOM], meant[MEANT_ROOM];
    const char *bytes = bytes_of(w), *hint = meant;
    parser_meant_block(parser, bytes, length, MAKES_PICTURE, meant);
    if (token_of(w)->kind == TOKEN_QUOTED)
        hint = "; the name of a block stands without quotes";
    else if (length == 0)
        hint = "; a block's name stands before the dot";
    else if (memchr(bytes, '/', token_of(w)->length) != NULL)
        hint = "; a file becomes a picture in a block of its own: NAME = pass FILE";
    else if (meant[0] == '\0' && setting_knows(w->spec, &w->parser->line, *w->at))
        hint = "; the picture's name stands before this word";
    message_add(&parser->messages, here(w), "no block is called %s%s", quoted(bytes, length, room), hint);
    return false;
}

static bool refuse_kind(const struct wanted *w, const struct block *block)
{
    message_add(&w->parser->messages, here(w),
                block->schema->makes == MAKES_NUMBER
                    ? "'%s' is a curve, a number over frames; '%s' expects the name of a block that makes a picture"
                    : "'%s' makes no picture; '%s' expects the name of a block that does",
                block->name, w->word);
    return false;
}

/* The picture behind the dot. */
static bool read_further(const struct wanted *w, const struct block *block, const char *bytes, size_t length,
                         struct value *value)
{
    struct parser *parser = w->parser;
    const struct further_picture *pictures = block->schema->pictures;
    int count = 0;
    for (; pictures != NULL && pictures[count].name != NULL; count++) {
        if (strlen(pictures[count].name) == length && memcmp(pictures[count].name, bytes, length) == 0) {
            value->picture = count + 1;
            return true;
        }
    }
    char room[QUOTE_ROOM];
    quoted(bytes, length, room);
    const char **words = arena_array(&parser->scratch, (size_t)count + 1, sizeof *words);
    parser->failed = parser->failed || words == NULL;
    for (int i = 0; words != NULL && i < count; i++)
        words[i] = pictures[i].name;
    if (count == 0)
        message_add(&parser->messages, here(w), "'%s' has no further pictures; write '%s' alone", block->name,
                    block->name);
    else if (words != NULL)
        message_add(&parser->messages, here(w), "'%s' has no further picture %s; it has: %s", block->name, room,
                    parser_list(parser, words, LISTED));
    return false;
}

static bool read_picture(const struct wanted *w, struct value *value)
{
    struct parser *parser = w->parser;
    const struct token *token = token_of(w);
    const char *bytes = bytes_of(w);
    const char *dot = memchr(bytes, '.', token->length);
    const size_t length = dot != NULL ? (size_t)(dot - bytes) : token->length;
    if (token->kind == TOKEN_OPEN)
        return refuse(w, value->spec, "");
    struct block *block = token->kind == TOKEN_WORD ? parser_named(parser, bytes, length) : NULL;
    if (block == NULL)
        return refuse_unknown(w, length);
    if (block->schema != NULL && block->schema->makes != MAKES_PICTURE)
        return refuse_kind(w, block);
    if (block->schema != NULL && dot != NULL && !read_further(w, block, dot + 1, token->length - length - 1, value))
        return false;
    value->block = block;
    if (!keep_text(w, value))
        return false;
    ++*w->at;
    return growing_add(parser, &parser->references, &(struct reference){ .from = parser->block->index, .value = value },
                       sizeof(struct reference));
}

/* ---- frames and sizes -------------------------------------------------------------------------------------------- */

static bool read_range(const struct wanted *w, struct value *value)
{
    const struct token *token = token_of(w);
    const char *bytes = bytes_of(w);
    size_t used = 0, more = 0;
    if (token->kind != TOKEN_WORD || !integer_read(bytes, token->length, &value->first, &used))
        return refuse(w, value->spec, "");
    value->last = value->first;
    if (used < token->length) {
        if (bytes[used] != '-' || !integer_read(bytes + used + 1, token->length - used - 1, &value->last, &more) ||
            used + 1 + more != token->length)
            return refuse(w, value->spec, "; write it without spaces");
    }
    if (value->first > value->last) {
        message_add(&w->parser->messages, here(w), "this range runs backwards; write %d-%d", value->last, value->first);
        return false;
    }
    if (!keep_text(w, value))
        return false;
    ++*w->at;
    return true;
}

/* The text of all tokens from `at` on: a list of frames takes the rest of its line. */
static const char *rest_of_line(const struct wanted *w, struct value *value)
{
    struct parser *parser = w->parser;
    const struct line *line = &parser->line;
    const int last = line->count - 1;
    value->where = parser_place(parser, *w->at, last);
    if (*w->at == last)
        return token_text(line, last, parser->arena);
    const char *begin = token_bytes(line, *w->at);
    return arena_text(parser->arena, begin, (size_t)(token_bytes(line, last) + line->tokens[last].length - begin));
}

static bool read_frames(const struct wanted *w, struct value *value)
{
    struct parser *parser = w->parser;
    struct passel_error error;
    int32_t *frames = NULL;
    value->text = rest_of_line(w, value);
    if (value->text == NULL) {
        parser->failed = true;
        return false;
    }
    const enum passel_status status = frames_parse(value->text, &frames, &value->frame_count, &error);
    if (status == PASSEL_NO_MEMORY) {
        parser->failed = true;
        return false;
    }
    if (status != PASSEL_OK) {
        message_add(&parser->messages, value->where, "%s", error.text);
        return false;
    }
    int32_t *kept = parser_array(parser, (size_t)value->frame_count, sizeof *kept);
    if (kept != NULL)
        memcpy(kept, frames, (size_t)value->frame_count * sizeof *kept);
    memory_free(frames);
    value->frames = kept;
    *w->at = parser->line.count;
    return kept != NULL;
}

static bool read_size(const struct wanted *w, struct value *value)
{
    const struct token *token = token_of(w);
    const char *bytes = bytes_of(w);
    size_t used = 0, more = 0;
    const bool fine = token->kind == TOKEN_WORD && integer_read(bytes, token->length, &value->first, &used) &&
                      used < token->length && bytes[used] == 'x' &&
                      integer_read(bytes + used + 1, token->length - used - 1, &value->last, &more) &&
                      used + 1 + more == token->length;
    if (!fine)
        return refuse(w, value->spec, "; write it without spaces, with the letter x between width and height");
    if (value->first < 1 || value->first > 65536 || value->last < 1 || value->last > 65536) {
        message_add(&w->parser->messages, here(w), "width and height must each be between 1 and 65536");
        return false;
    }
    if (!keep_text(w, value))
        return false;
    ++*w->at;
    return true;
}

/* ---- one value --------------------------------------------------------------------------------------------------- */

static bool read_value(const struct wanted *w, struct value *value)
{
    switch (value->spec->type) {
    case VALUE_NUMBER:
        return quantity_value_read(w->parser, w->spec, w->word, w->at, value);
    case VALUE_INTEGER:
        return integer_value_read(w->parser, w->spec, w->word, w->at, value);
    case VALUE_CHOICE:
        return read_choice(w, value);
    case VALUE_PICTURE:
        return read_picture(w, value);
    case VALUE_PATH:
    case VALUE_TEXT:
        return read_text(w, value);
    case VALUE_NAME:
        return read_new_name(w, value);
    case VALUE_RANGE:
        return read_range(w, value);
    case VALUE_FRAMES:
        return read_frames(w, value);
    case VALUE_SIZE:
        return read_size(w, value);
    }
    return false;
}

/* A curve may stand where a number is optional, unless its name is a word of the setting. */
static bool names_a_curve(const struct parser *parser, const struct setting_spec *spec, int at)
{
    const struct line *line = &parser->line;
    const struct token *token = &line->tokens[at];
    if (token->kind != TOKEN_WORD || token->length > 4u * NAME_LIMIT || setting_knows(spec, line, at))
        return false;
    const struct block *block = parser_named(parser, token_bytes(line, at), token->length);
    return block != NULL && block->schema != NULL && block->schema->makes == MAKES_NUMBER;
}

bool value_fits(const struct parser *parser, const struct setting_spec *spec, const struct value_spec *value, int at)
{
    const struct line *line = &parser->line;
    switch (value->type) {
    case VALUE_NUMBER:
        return token_is_number(line, at) || (value->may_change && names_a_curve(parser, spec, at));
    case VALUE_INTEGER:
    case VALUE_RANGE:
    case VALUE_FRAMES:
    case VALUE_SIZE:
        return token_is_number(line, at);
    case VALUE_CHOICE:
        for (const struct choice *choice = value->choices; choice->word != NULL; choice++)
            if (token_is(line, at, choice->word))
                return true;
        return false;
    default:
        return !token_is_number(line, at) && !setting_knows(spec, line, at);
    }
}

/* ---- a row of values --------------------------------------------------------------------------------------------- */

static int spec_count(const struct value_spec *specs)
{
    int count = 0;
    while (specs != NULL && specs[count].label != NULL)
        count++;
    return count;
}

static bool refuse_missing(const struct wanted *w, const struct value_spec *spec)
{
    const bool comment = spec->type == VALUE_PATH && w->parser->line.comment < w->parser->line.length;
    message_add(&w->parser->messages, parser_gap(w->parser, *w->at), "'%s' needs %s here: %s%s", w->word, spec->label,
                value_wish(w->parser, spec),
                comment ? "; a word that begins with # is a comment, put such a file name into quotes" : "");
    return false;
}

bool values_read(struct parser *parser, const struct setting_spec *spec, const char *word,
                 const struct value_spec *specs, int *at, const struct value **values, int *count)
{
    const struct wanted wanted = { .parser = parser, .spec = spec, .word = word, .at = at };
    *count = spec_count(specs);
    struct value *row = parser_array(parser, (size_t)*count, sizeof *row);
    *values = row;
    if (row == NULL)
        return false;
    for (int i = 0; i < *count; i++) {
        if (specs[i].optional && (*at == parser->line.count || !value_fits(parser, spec, &specs[i], *at)))
            continue;
        if (*at == parser->line.count)
            return refuse_missing(&wanted, &specs[i]);
        const int first = *at;
        row[i].spec = &specs[i];
        if (!read_value(&wanted, &row[i]))
            return false;
        row[i].where = parser_place(parser, first, *at - 1);
    }
    return true;
}

/* ---- how messages call them -------------------------------------------------------------------------------------- */

static void number_wish(const struct value_spec *spec, struct text *text)
{
    const int least = spec->most_count > 0 ? spec->least_count : 1;
    const int most = spec->most_count > 0 ? spec->most_count : 1;
    if (spec->type == VALUE_INTEGER)
        text_print(text, "a whole number");
    else if (most == 1)
        text_print(text, "a number");
    else if (least == most)
        text_print(text, "%d numbers", most);
    else
        text_print(text, "%d to %d numbers", least, most);
    if (spec->unit == UNIT_FRACTION)
        text_print(text, " such as 0.4 or 40%%");
    else if (spec->unit != UNIT_NONE)
        text_print(text, " in %s", unit_word(spec->unit));
    if (spec->may_change)
        text_print(text, least > 1 || (spec->unit == UNIT_STOPS && !spec->bare_curve) ? " or keys"
                                                                                      : ", a curve's name or keys");
}

const char *value_wish(struct parser *parser, const struct value_spec *spec)
{
    struct text text = { NULL, 0, 0, false };
    const char *const *words = NULL;
    if (parser_is_full(parser))
        return "";
    switch (spec->type) {
    case VALUE_NUMBER:
    case VALUE_INTEGER:
        number_wish(spec, &text);
        break;
    case VALUE_CHOICE:
        words = parser_words(parser, spec->choices);
        text_print(&text, "one of %s", words != NULL ? parser_list(parser, words, LISTED) : "");
        break;
    case VALUE_PICTURE:
        text_print(&text, "the name of a block that makes a picture");
        break;
    case VALUE_PATH:
        text_print(&text, "a file name");
        break;
    case VALUE_TEXT:
        text_print(&text, "a word or a text in quotes");
        break;
    case VALUE_NAME:
        text_print(&text, "a name");
        break;
    case VALUE_RANGE:
        text_print(&text, "frames such as 1001-1048");
        break;
    case VALUE_FRAMES:
        text_print(&text, "frames such as 1001-1048 or 1001-1010, 1020");
        break;
    case VALUE_SIZE:
        text_print(&text, "a size such as 1920x1080");
        break;
    }
    const char *wish = text.failed ? NULL : arena_text(&parser->scratch, text.bytes, text.length);
    text_release(&text);
    parser->failed = parser->failed || wish == NULL;
    return wish != NULL ? wish : "";
}
