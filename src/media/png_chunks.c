/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Each chunk is a length, a type, that many bytes and a checksum; the picture is whole when the row reaches IEND with
 * data on the way.
 */
#include "media/png_chunks.h"

#include <stdbool.h>
#include <string.h>
#include <zlib.h>

#include "base/error.h"
#include "base/memory.h"
#include "media/cursor.h"

enum { SIGNATURE_SIZE = 8, TEXT_LIMIT = 64 << 10 };

struct chunk {
    unsigned char type[4];
    uint32_t size;
};

static uint32_t read_be32(const unsigned char *bytes)
{
    return (uint32_t)bytes[0] << 24 | (uint32_t)bytes[1] << 16 | (uint32_t)bytes[2] << 8 | bytes[3];
}

static bool chunk_is(const struct chunk *chunk, const char *type)
{
    return memcmp(chunk->type, type, 4) == 0;
}

static bool chunk_begin(struct cursor *cursor, struct chunk *chunk)
{
    unsigned char head[8];
    if (cursor_read(cursor, head, sizeof head) < sizeof head)
        return false;
    chunk->size = read_be32(head);
    memcpy(chunk->type, head + 4, 4);
    return chunk->size <= INT32_MAX && cursor->at + chunk->size + 4 <= cursor->size;
}

/* Goes through the data of a chunk and compares the checksum; the first `keep` bytes are copied to `kept`. */
static bool chunk_check(struct cursor *cursor, const struct chunk *chunk, unsigned char *kept, size_t keep)
{
    unsigned char block[4096];
    uLong sum = crc32(0, chunk->type, 4);
    for (uint32_t left = chunk->size; left > 0;) {
        const size_t step = left < sizeof block ? left : sizeof block;
        if (cursor_read(cursor, block, step) < step)
            return false;
        sum = crc32(sum, block, (uInt)step);
        const size_t copied = step < keep ? step : keep;
        if (copied > 0) {
            memcpy(kept, block, copied);
            kept += copied;
        }
        keep -= copied;
        left -= (uint32_t)step;
    }
    return cursor_read(cursor, block, 4) == 4 && read_be32(block) == (uint32_t)sum;
}

/* Takes the text out of a tEXt chunk when it is ours and the first. */
static bool text_check(struct cursor *cursor, const struct chunk *chunk, char **digest)
{
    const size_t keyword = sizeof PNG_DIGEST_KEYWORD; /* with the NUL behind it */
    const size_t size = chunk->size < TEXT_LIMIT ? chunk->size : TEXT_LIMIT;
    char *text = memory_zeros(size + 1, 1);
    if (!text)
        return false;
    const bool whole = chunk_check(cursor, chunk, (unsigned char *)text, size);
    if (whole && !*digest && size >= keyword && memcmp(text, PNG_DIGEST_KEYWORD, keyword) == 0) {
        memmove(text, text + keyword, size + 1 - keyword);
        *digest = text;
    } else {
        memory_free(text);
    }
    return whole;
}

static bool walk(struct cursor *cursor, char **digest)
{
    unsigned char signature[SIGNATURE_SIZE];
    struct chunk chunk;
    bool header = false, data = false;
    if (cursor_read(cursor, signature, sizeof signature) < sizeof signature ||
        memcmp(signature, "\x89PNG\r\n\x1a\n", SIGNATURE_SIZE) != 0)
        return false;
    while (chunk_begin(cursor, &chunk)) {
        if (chunk_is(&chunk, "IDAT")) {
            cursor->at += (uint64_t)chunk.size + 4;
            data = true;
        } else if (chunk_is(&chunk, "tEXt")) {
            if (!text_check(cursor, &chunk, digest))
                return false;
        } else if (!chunk_check(cursor, &chunk, NULL, 0)) {
            return false;
        }
        header = header || chunk_is(&chunk, "IHDR");
        if (chunk_is(&chunk, "IEND"))
            return header && data;
    }
    return false;
}

enum passel_status png_chunks_digest(struct media_source *source, char **digest, struct passel_error *error)
{
    struct cursor cursor;
    (void)error;
    if (cursor_take(&cursor, source, NULL) != PASSEL_OK)
        return PASSEL_OK;
    if (!walk(&cursor, digest)) {
        memory_free(*digest);
        *digest = NULL;
    }
    cursor_close(&cursor);
    return PASSEL_OK;
}
