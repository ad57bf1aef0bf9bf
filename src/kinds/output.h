/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * An output block as the engine reads it.
 */
#ifndef KINDS_OUTPUT_H
#define KINDS_OUTPUT_H

#include "kinds/kind.h"
#include "media/media.h"

struct output_picture {
    const struct value *value; /* which picture */
    const char *name;          /* its layer in the file; "" for the first */
};

struct output {
    const struct block *block;
    const char *label;
    char *pattern;       /* whole path with the frame number's place; owned */
    char *final_pattern; /* of a preview: where the finished frames go; owned; else NULL */
    bool png;
    enum pixels pixels;
    const char *compression; /* NULL: the format's usual one */
    struct encoding encoding;
    struct primaries primaries;
    struct output_picture *pictures; /* in the arena; the first is the plain R, G, B, A */
    int picture_count;
};

/* Reads and checks one output block; errors point at its lines. */
enum passel_status output_read(const struct recipe *recipe, const struct block *block, const struct shot *shot,
                               struct arena *arena, struct output *output, struct passel_error *error);
/* Turns it into a preview of its first picture: an 8-bit PNG through the view curve, under the same name in a folder
 * `quick` beside the finished frames. With `keep_ending` the name keeps its own ending before .png. */
enum passel_status output_preview(struct output *output, bool keep_ending, struct passel_error *error);
void output_release(struct output *output);

#endif
