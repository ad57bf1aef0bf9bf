/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What the parts of the parser share: the recipe that is being made, the line that is being read, what was found
 * wrong. The order of the work: changes are made in the text (change.c); heads are found, so that all names are known
 * (outline.c, parser.c); each block's lines are read against its schema (settings.c, values.c, quantity.c); what needs
 * the whole recipe is checked (check.c).
 */
#ifndef LANGUAGE_PARSER_H
#define LANGUAGE_PARSER_H

#include "base/arena.h"
#include "language/lexer.h"
#include "language/messages.h"
#include "language/names.h"
#include "language/recipe.h"

/* A value that names a block; blocks that use and are used form the graph. */
struct reference {
    int from; /* index of the block that uses */
    const struct value *value;
};

/* An array that grows; its elements are copied to the recipe when they are complete. */
struct growing {
    void *items;
    int count, room;
};

struct parser {
    struct recipe *recipe;
    struct arena *arena;  /* the recipe's */
    struct arena scratch; /* gone after the parse */
    const struct schema *const *schemas;
    struct source source;
    struct messages messages;
    struct block *blocks;
    int block_count;
    struct name_table *names;
    struct line line;               /* being read */
    struct line standard;           /* tokens of a schema's standard */
    struct block *block;            /* being read */
    const struct span *standing_in; /* while a schema's standard is read: the place that stands for its values */
    struct growing references, settings, tags, numbers, leaves, words;
    bool failed; /* memory is out */
};

/* Room for `count` elements in the recipe's arena; NULL (and parser->failed) when memory is out. */
void *parser_array(struct parser *parser, size_t count, size_t size);
/* A copy of the items of `growing` in the recipe's arena. */
void *parser_keep(struct parser *parser, const struct growing *growing, size_t size);
/* Appends an item; false (and parser->failed) when memory is out. */
bool growing_add(struct parser *parser, struct growing *growing, const void *item, size_t size);

/* The place of tokens of the current line. */
struct span parser_place(const struct parser *parser, int first, int last);
/* The place where something is missing, behind the current line's token `at - 1`. */
struct span parser_gap(const struct parser *parser, int at);

/* True when further messages are only counted, so that no work need go into them. */
bool parser_is_full(const struct parser *parser);

/* The word that was likely meant, or NULL. */
const char *parser_nearest(struct parser *parser, const char *bytes, size_t length, const char *const *words);
/* "; did you mean 'x'?", or "". */
#define MEANT_ROOM 224
const char *parser_meant(struct parser *parser, const char *bytes, size_t length, const char *const *words,
                         char room[MEANT_ROOM]);
/* The same for names of blocks that make `makes`. */
const char *parser_meant_block(struct parser *parser, const char *bytes, size_t length, enum makes makes,
                               char room[MEANT_ROOM]);
/* The words of `choices` as an array ended by NULL, in scratch; NULL when memory is out. */
const char *const *parser_words(struct parser *parser, const struct choice *choices);
/* A list of words "a, b, c" in scratch, at most `limit` of them. */
const char *parser_list(struct parser *parser, const char *const *words, int limit);

/* The first kind that has a setting of this word, or NULL. */
const struct schema *setting_owner(const struct parser *parser, const char *word, size_t length);

/* Reads the values of `specs` (ended by a NULL label, NULL for none) from token *at on. `spec` is the setting they
 * belong to and `word` how messages call it. *values gets one value for each spec. False after a message. */
bool values_read(struct parser *parser, const struct setting_spec *spec, const char *word,
                 const struct value_spec *specs, int *at, const struct value **values, int *count);
/* True when token `at` can begin a value of this spec, judged by its form. */
bool value_fits(const struct parser *parser, const struct setting_spec *spec, const struct value_spec *value, int at);
/* What a value is, for messages: "a number in px". The answer is in scratch. */
const char *value_wish(struct parser *parser, const struct value_spec *spec);
/* The block that a name of the current line stands for; NULL when there is none (no message). */
struct block *parser_named(const struct parser *parser, const char *bytes, size_t length);

/* Numbers with their unit, keys in place, a curve's name (quantity.c). False after a message. */
bool quantity_value_read(struct parser *parser, const struct setting_spec *spec, const char *word, int *at,
                         struct value *value);
/* One whole number with its unit. */
bool integer_value_read(struct parser *parser, const struct setting_spec *spec, const char *word, int *at,
                        struct value *value);

/* The strikes and flickers of the block that is read, a curve; *made is NULL when it has none. False after a message.
 */
bool generators_make(struct parser *parser, const struct generators **made);

/* A track from keys; NULL when memory is out. Arrays are the caller's and stay. */
struct track *track_make(struct parser *parser, int count, int width, const double *frames, const double *numbers,
                         const enum leaving *leave);

/* True when the token is the word of a tag or operator of `spec`. */
bool setting_knows(const struct setting_spec *spec, const struct line *line, int at);
/* Reads what stands behind a setting's (or kind's) word: values, operator, tags. */
bool fields_read(struct parser *parser, const struct setting_spec *spec, const char *word, int at,
                 struct setting *setting);
/* Reads the block's setting lines from `begin` (the line after the head, whose number is `line`) up to `end`. */
void settings_read(struct parser *parser, const char *begin, const char *end, int line);
/* Makes the track of the block that is read, a curve, from those of its settings that begin with a number. */
void curve_make(struct parser *parser);
/* "layer NAME": a setting's word and its required values, in scratch. */
const char *setting_usage(struct parser *parser, const struct setting_spec *spec);

/* Cycles, and curves against the limits of the settings that use them. */
void references_check(struct parser *parser);

/* Makes all changes in parser->source. What is wrong with a change itself is written to `out`; what is wrong with the
 * line it gives is found with all other lines. Returns the number of errors. */
int changes_make(struct parser *parser, const struct recipe_change *changes, int count, struct text *out);

#endif
