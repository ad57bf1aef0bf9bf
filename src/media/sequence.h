/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Numbered files: `name.####.exr` or `name.%04d.exr` (`%d`: no padding). Two or more # in a row are the frame number,
 * padded with zeros to that many digits (more digits when the number is larger); a single # is itself. Negative frames:
 * a minus sign before the padded digits. The number stands in the file's name; names of folders are themselves.
 */
#ifndef MEDIA_SEQUENCE_H
#define MEDIA_SEQUENCE_H

#include <passel/error.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/text.h"

struct sequence {
    char *pattern;   /* whole path, folder joined */
    bool numbered;   /* false: a single file */
    int32_t *frames; /* those that exist, rising; for a single file NULL */
    int count;
};

/* Does the pattern hold a frame number? PASSEL_BAD_USE when it holds more than one. */
enum passel_status pattern_numbered(const char *pattern, bool *numbered, struct passel_error *error);

/* The path of `frame` (pattern without a number: itself); for memory_free; NULL when memory is out. */
char *pattern_path(const char *pattern, int32_t frame);

/* Looks at the disk. No file at all is no error: count is 0 (a single file that is missing: PASSEL_NO_FILE). Names
 * with another padding than the pattern's are other files. "-" is a single file that is always there. */
enum passel_status sequence_find(const char *pattern, struct sequence *sequence, struct passel_error *error);
/* How many of its frames lie below `frame`: frames[that] is the first that does not. */
int sequence_below(const struct sequence *sequence, int32_t frame);
bool sequence_has(const struct sequence *sequence, int32_t frame);
/* "1003, 1010-1012": the frames missing between first and last; empty text when none. */
void sequence_gaps(const struct sequence *sequence, int32_t first, int32_t last, struct text *out);
void sequence_release(struct sequence *sequence);

#endif
