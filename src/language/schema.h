/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The schema of a kind: which words its blocks know. It is the only place where a word, a unit, a range, a default or
 * a line of help stands; the parser, `explain`, docs/operations.md and later tools read it.
 *
 * A line of a recipe is: word, required values in order, optional values (recognised by their form), then operators
 * and tagged fields in any order.
 */
#ifndef LANGUAGE_SCHEMA_H
#define LANGUAGE_SCHEMA_H

#include <stdbool.h>
#include <stddef.h>

enum unit {
    UNIT_NONE,     /* a bare number */
    UNIT_STOPS,    /* kept as stops */
    UNIT_PX,       /* full-size pixels; value_at divides by the scale */
    UNIT_PERCENT,  /* written with %, kept as a fraction: 2% is 0.02 */
    UNIT_FRACTION, /* 40% or a bare 0.4; kept as a fraction */
    UNIT_FRAMES,
    UNIT_DEGREES,
    UNIT_KELVIN,
    UNIT_SECONDS,
    UNIT_NITS,
    UNIT_COUNT
};

enum value_type {
    VALUE_NUMBER, /* `least_count` … `most_count` numbers that share one unit; may be a curve or keys if it may change
                   */
    VALUE_INTEGER, /* one whole number, never a curve */
    VALUE_CHOICE,  /* one word of `choices` */
    VALUE_PICTURE, /* BLOCK or BLOCK.PICTURE */
    VALUE_PATH,    /* a file or a pattern of files, relative to the recipe's folder */
    VALUE_TEXT,    /* any word or quoted text */
    VALUE_NAME,    /* a name that is made here: of a shot, a label */
    VALUE_RANGE,   /* A-B (or A for A-A), whole frames, A ≤ B */
    VALUE_FRAMES,  /* a list of ranges: "1001-1010, 1020, 1001-1048 every 2"; takes the rest of the line */
    VALUE_SIZE     /* WIDTHxHEIGHT, both 1 … 65536 */
};

struct choice {
    const char *word;
    const char *help;
};

struct value_spec {
    const char *label; /* how help names it: "NAME", "X Y", "AMOUNT" */
    enum value_type type;
    bool optional;   /* may be left out; optional values stand behind the required ones */
    bool may_change; /* VALUE_NUMBER: a curve's name or keys in place are allowed */
    bool bare_curve; /* with may_change: a curve gives the number in this unit's kept form (default is so too, but a
                        unit of stops refuses curves unless this is set) */
    enum unit unit;
    int least_count, most_count; /* VALUE_NUMBER: how many numbers; 0, 0 means exactly one */
    bool limited;                /* numbers must lie in least … most (in the kept form) */
    double least, most;
    const struct choice *choices; /* VALUE_CHOICE: ended by a NULL word */
};

/* The specs of a line's values, with the end that a list of them has. */
#define VALUE_LIST(...)                                                                                                \
    (const struct value_spec[])                                                                                        \
    {                                                                                                                  \
        __VA_ARGS__,                                                                                                   \
        {                                                                                                              \
            .label = NULL                                                                                              \
        }                                                                                                              \
    }

/* A field that begins with its own word: `tint 1 0.86 0.6`. */
struct tag_spec {
    const char *word;
    const char *help;
    const struct value_spec *values; /* ended by a NULL label */
    bool repeats;                    /* may stand more than once in the line (`then C-D then E-F`) */
};

struct setting_spec {
    const char *word; /* NULL: a line that begins with its first value, a number (the keys of a curve) */
    const char *help;
    const struct value_spec *values; /* ended by a NULL label; NULL for none */
    const struct tag_spec *tags;     /* ended by a NULL word; NULL for none */
    const struct choice
        *operators;       /* at most one of these may stand in the line; ended by a NULL word; NULL for none */
    bool repeats;         /* a step or a list entry: may stand more than once, order kept */
    bool required;        /* the block is wrong without it (for `repeats`: at least once) */
    const char *standard; /* what is read when the line is missing, written as in a recipe without the
                             word ("spline", "0 0 px"), or NULL for none */
};
/* Two specs may share a word when one begins with a number and the other with a word (`keep bottom`, `keep 10 20 px`).
 */

enum makes {
    MAKES_NOTHING, /* shot, output */
    MAKES_NUMBER,  /* curve */
    MAKES_PICTURE
};

struct further_picture {
    const char *name; /* the word behind the dot: cut.quality */
    const char *help;
};

enum head_form {
    HEAD_NAMED, /* NAME = KIND [values] [tags] */
    HEAD_SHOT,  /* shot NAME */
    HEAD_OUTPUT /* output PICTURE [as LABEL] */
};

struct schema {
    const char *name;    /* "place", or two words for a variant: "key two-screen" */
    const char *summary; /* one line */
    const char *notes;   /* a paragraph for the manual, or NULL */
    const char *example; /* a short recipe fragment with a head, lines ended by \n, or NULL */
    enum head_form form;
    enum makes makes;
    const struct setting_spec *head; /* values and tags behind the kind's name; NULL for none (its word is unused) */
    const struct setting_spec *settings;    /* ended by an entry whose help is NULL */
    const struct further_picture *pictures; /* ended by a NULL name; NULL for none */
};

#endif
