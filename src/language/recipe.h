/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A checked recipe: blocks, settings and values, with the place in the text of each. Made by recipe_parse, read by
 * kinds and the engine, never changed afterwards, so any number of threads may read it.
 */
#ifndef LANGUAGE_RECIPE_H
#define LANGUAGE_RECIPE_H

#include <passel/error.h>
#include <stddef.h>
#include <stdint.h>

#include "base/arena.h"
#include "base/text.h"
#include "language/schema.h"

/* A place in the recipe's text. Lines and columns count from 1; a column counts code points. */
struct span {
    int line;
    int column;
    int length; /* code points that the caret line underlines, ≥ 1 */
};

enum leaving { LEAVE_LINEAR, LEAVE_SMOOTH, LEAVE_HOLD };

struct generators;

/* Keys over frames, in rising order. The ends hold. Between two keys the earlier one's `leave` says how:
 * linear; hold (stays until the next key); smooth (monotone cubic, no overshoot). */
struct track {
    int count;                 /* keys, ≥ 1 */
    int width;                 /* numbers per key */
    const double *frames;      /* count */
    const double *numbers;     /* count * width */
    const enum leaving *leave; /* count */
    const double *slopes;      /* count * width: for smooth parts, made by the parser */
    const struct generators *generators; /* a curve's strikes and flickers (language/generators.h), or NULL */
};

struct block;

struct value {
    const struct value_spec *spec;
    struct span where;
    const char *text;          /* as written: a word, a path (unquoted), a name */
    int choice;                /* VALUE_CHOICE: index into spec->choices */
    int count;                 /* VALUE_NUMBER: how many numbers */
    const double *numbers;     /* VALUE_NUMBER, VALUE_INTEGER: kept form; unused when `track` or `curve` is set */
    const struct track *track; /* keys in place, in kept form, or NULL */
    const struct block *curve; /* a curve's block, or NULL */
    const struct block *block; /* VALUE_PICTURE */
    int picture;               /* VALUE_PICTURE: 0 the main picture, n the n-th further one (from 1) */
    int32_t first, last;       /* VALUE_RANGE; VALUE_SIZE: width, height */
    const int32_t *frames;     /* VALUE_FRAMES: rising, without doubles */
    int frame_count;
};

struct tag {
    const struct tag_spec *spec;
    struct span where;
    const struct value *values; /* one per given value, in order */
    int value_count;
};

struct setting {
    const struct setting_spec *spec;
    struct span where;          /* the word */
    bool given;                 /* false: it comes from the spec's `standard` */
    const struct value *values; /* value i belongs to spec->values[i]; spec is NULL in the value when it was left out */
    int value_count;
    const struct tag *tags;
    int tag_count;
    int operator_index; /* into spec->operators, or -1 */
};

struct block {
    const struct schema *schema;
    const char *name; /* of an output: its label ("" when it has none) */
    struct span where;
    int index;                      /* in recipe->blocks */
    const struct setting *head;     /* values and tags of the head; for `output` its picture and label; NULL for none */
    const struct setting *settings; /* in the order of the text; those from `standard` behind them */
    int setting_count;
    const struct track *track; /* a curve's keys (one, when it has only strikes and flickers), else NULL */
};

/* A line of the text that came from a change; messages about it show the change. For the parser's own use. */
struct changed_line {
    int line;         /* in recipe->text */
    int added;        /* 1: it stands between the file's lines, 0: in the place of one */
    int change;       /* which change, from 1 */
    int shift;        /* from a column of the line to one of the change */
    const char *text; /* the change */
};

struct name_table;

struct recipe {
    struct arena arena;
    const char *path;   /* as given to recipe_parse; for messages */
    const char *folder; /* what relative paths are relative to */
    const char *text;   /* the whole text as read (after --set) */
    size_t text_length;
    const struct block *const *blocks; /* in the order of the text */
    int block_count;
    const struct block *shot;           /* NULL when the recipe has none */
    const struct name_table *names;     /* of the named blocks, for recipe_block */
    const struct changed_line *changed; /* rising by line */
    int changed_count;
};

/* One line for one run: "BLOCK: SETTING LINE", replacing the line of the same setting, or added to the block. Of a
 * setting that repeats, the line with the same first value is replaced when that value is a name or word; when it is a
 * number, the only line of that setting. BLOCK is a block's name, an output's label, the shot's name, `shot`, or
 * `output` when there is one. A message about a change is placed "--set:N:COLUMN", N counting the changes from 1. */
struct recipe_change {
    const char *text;
};

/* Parses and checks `text`. `schemas` is an array of pointers ended by NULL. All errors of the text are written to
 * `messages`, in the order of the text, each "file:line:column: error: …" with the line and a caret; warnings too.
 * On PASSEL_OK the recipe is the caller's (recipe_free); else *recipe is NULL and the status PASSEL_BAD_RECIPE (or
 * PASSEL_NO_MEMORY). */
enum passel_status recipe_parse(const char *path, const char *text, size_t length, const struct schema *const *schemas,
                                const struct recipe_change *changes, int change_count, struct recipe **recipe,
                                struct text *messages, struct passel_error *error);

/* Bytes of the longest recipe: 64 MiB. */
#define RECIPE_LIMIT ((size_t)64 << 20)

/* Reads the file (at most 64 MiB) and parses it. */
enum passel_status recipe_read(const char *path, const struct schema *const *schemas,
                               const struct recipe_change *changes, int change_count, struct recipe **recipe,
                               struct text *messages, struct passel_error *error);

void recipe_free(struct recipe *recipe);

/* Makes one change in the text of a recipe for good: only the line that is replaced or added differs, its comment and
 * its columns are kept. The new text is appended to `out`. The text need not be free of errors elsewhere, and the
 * changed line itself is not checked: parse the result. */
enum passel_status recipe_edit(const char *path, const char *text, size_t length, const struct schema *const *schemas,
                               const char *change, struct text *out, struct passel_error *error);

/* Writes the recipe back in its settled form: comments kept, columns aligned, one blank line between blocks. Parsing
 * the result gives the same recipe; printing that again gives the same bytes. */
void recipe_print(const struct recipe *recipe, struct text *out);

/* Finding things. All return NULL when there is none. */
const struct block *recipe_block(const struct recipe *recipe, const char *name);  /* of NAME = KIND; any normal form */
const struct setting *block_setting(const struct block *block, const char *word); /* the first of that word */
const struct value *setting_value(const struct setting *setting, int index);      /* NULL setting is fine */
const struct tag *setting_tag(const struct setting *setting, const char *word);   /* NULL setting is fine */
const struct value *setting_tag_value(const struct setting *setting, const char *word, int index);
const char *setting_operator(const struct setting *setting); /* its word, or NULL */
const char *value_choice(const struct value *value);         /* its word; NULL for NULL */

/* Number `component` of a VALUE_NUMBER at `frame`, in the kept form. Pixels are divided by `scale` (1, 2, 4 …). A
 * component beyond those given is the last one (`size 150%` is both ways). */
double value_at(const struct value *value, int component, double frame, int scale);
/* True when the value can differ between frames. */
bool value_changes(const struct value *value);
double track_at(const struct track *track, int component, double frame);
/* The same by its keys alone. */
double track_keys_at(const struct track *track, int component, double frame);
/* Works out count * width slopes from the rest of a track, for those who make one from keys that stand elsewhere. */
void track_slopes(const struct track *track, double *slopes);

/* "file:line:column: error: message", the line and a caret, as the parser writes them; returns `status`. For kinds
 * that find out later that a setting cannot work. */
enum passel_status recipe_error(const struct recipe *recipe, struct span where, enum passel_status status,
                                struct passel_error *error, const char *format, ...) PASSEL_PRINTF(5, 6);

/* A list of frames as the command line and VALUE_FRAMES write it: "1001-1010, 1020, 1001-1048 every 2". *frames is for
 * memory_free; rising, no doubles, at most 1,000,000. The error says what was expected. */
enum passel_status frames_parse(const char *text, int32_t **frames, int *count, struct passel_error *error);

#endif
