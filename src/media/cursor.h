/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Reading an open, seekable file from a position of one's own: what the callbacks of the image libraries need.
 */
#ifndef MEDIA_CURSOR_H
#define MEDIA_CURSOR_H

#include <passel/error.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "media/format.h"

struct cursor {
    int descriptor;
    uint64_t at, size;
    bool failed; /* the disk refused a read: not the file's fault */
};

/* Takes the descriptor of a seekable source for its own. PASSEL_UNSUPPORTED for a pipe. */
enum passel_status cursor_take(struct cursor *cursor, struct media_source *source, struct passel_error *error);
/* Up to `size` bytes; fewer only at the end of the file or when the disk fails (`failed` is then set). */
size_t cursor_read(struct cursor *cursor, void *bytes, size_t size);
/* The status and text for something wrong with the file, or with the disk when that failed. Returns the status. */
enum passel_status cursor_error(const struct cursor *cursor, const char *what, struct passel_error *error);
void cursor_close(struct cursor *cursor);

#endif
