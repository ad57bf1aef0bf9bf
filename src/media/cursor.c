/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Positioned reads that survive interruptions.
 */
#include "media/cursor.h"

#include <errno.h>
#include <unistd.h>

#include "base/error.h"

enum passel_status cursor_take(struct cursor *cursor, struct media_source *source, struct passel_error *error)
{
    if (!source->seekable)
        return error_set(error, PASSEL_UNSUPPORTED, "this format cannot be read from a pipe");
    *cursor = (struct cursor){ .descriptor = source->descriptor, .size = source->size };
    source->descriptor = -1;
    return PASSEL_OK;
}

size_t cursor_read(struct cursor *cursor, void *bytes, size_t size)
{
    size_t got = 0;
    while (got < size) {
        const ssize_t part = pread(cursor->descriptor, (char *)bytes + got, size - got, (off_t)(cursor->at + got));
        if (part < 0 && errno == EINTR)
            continue;
        if (part < 0)
            cursor->failed = true;
        if (part <= 0)
            break;
        got += (size_t)part;
    }
    cursor->at += got;
    return got;
}

enum passel_status cursor_error(const struct cursor *cursor, const char *what, struct passel_error *error)
{
    if (cursor->failed)
        return error_set(error, PASSEL_BAD_DISK, "cannot be read: the disk failed");
    return error_set(error, PASSEL_BAD_FILE, "is damaged: %s", what);
}

void cursor_close(struct cursor *cursor)
{
    if (cursor->descriptor >= 0)
        close(cursor->descriptor);
    cursor->descriptor = -1;
}
