/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What a folder holds: numbered files that belong together are one clip, every other picture is one of its own.
 */
#ifndef SURVEY_CLIPS_H
#define SURVEY_CLIPS_H

#include <passel/error.h>
#include <stdbool.h>
#include <stdint.h>

#include "base/text.h"
#include "survey/reading.h"

struct sight;

struct clip {
    char *name; /* "C0012.####.exr", as a recipe writes it */
    bool numbered;
    int32_t *frames;              /* rising; NULL for a single file */
    int count;                    /* files */
    struct reading_choice choice; /* all zero: as the files say; texts are the caller's */
    double rate;                  /* frames a second that the recipe says, or 0 */
    bool told;                    /* was counted as done (telling.h) */
    bool settled;                 /* known to be a sequence, or a single file */
    bool piece;                   /* other files of the same pattern belong to another clip */
    struct sight *sights;         /* what is kept of its frames (sight.h), or NULL */
    int sight_count;
    bool stands; /* one of them, `stand`, is there for the others to be held against */
    int stand;
};

struct clip_list {
    struct clip *clips; /* in the order of their names */
    int count, room;
    struct text skipped; /* a line for each file that is no picture by its name, or whose name is no UTF-8 */
};

/* Groups by names alone: the last number in a name counts. For clip_list_release. */
enum passel_status clips_find(const char *folder, struct clip_list *list, struct passel_error *error);
/* Adds a clip; takes ownership of its memory on success; the caller keeps it on error. */
enum passel_status clips_add(struct clip_list *list, struct clip clip, struct passel_error *error);
/* Takes clip `index` apart: `ends` says behind which of its files a new piece begins (count - 1 entries). Pieces of
 * less than three files become single files. */
enum passel_status clips_split(struct clip_list *list, int index, const bool *ends, struct passel_error *error);
void clip_list_release(struct clip_list *list);
/* The path of file `index` of a clip; for memory_free; NULL when memory is out. */
char *clip_path(const char *folder, const struct clip *clip, int index);

#endif
