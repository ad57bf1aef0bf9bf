/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Growing text, UTF-8 and the nearest word.
 */
#include "base/text.h"

#include "base/memory.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#define UTF8_BAD 0xFFFDu
/* Longer words are not compared: nobody misspells them into one of ours. */
#define WORD_LETTERS 64

/* Makes room for `more` bytes and the NUL behind them. */
static bool make_room(struct text *text, size_t more)
{
    if (text->failed)
        return false;
    if (more < text->room - text->length)
        return true;
    size_t room = text->room < 32 ? 64 : text->room;
    while (room - text->length <= more && room <= SIZE_MAX / 2)
        room *= 2;
    char *bytes = NULL;
    if (room - text->length > more)
        bytes = memory_grow(text->bytes, text->length, room, 1);
    if (bytes == NULL) {
        text->failed = true;
        return false;
    }
    bytes[text->length] = '\0';
    text->bytes = bytes;
    text->room = room;
    return true;
}

void text_add(struct text *text, const char *bytes, size_t length)
{
    if (!make_room(text, length))
        return;
    if (length > 0)
        memcpy(text->bytes + text->length, bytes, length);
    text->length += length;
    text->bytes[text->length] = '\0';
}

void text_print(struct text *text, const char *format, ...)
{
    va_list arguments, again;
    va_start(arguments, format);
    va_copy(again, arguments);
    const int length = vsnprintf(NULL, 0, format, arguments);
    if (length < 0) {
        text->failed = true;
    } else if (make_room(text, (size_t)length)) {
        vsnprintf(text->bytes + text->length, (size_t)length + 1, format, again);
        text->length += (size_t)length;
    }
    va_end(again);
    va_end(arguments);
}

void text_release(struct text *text)
{
    memory_free(text->bytes);
    *text = (struct text){ NULL, 0, 0, false };
}

/* Bytes that follow the lead byte of a sequence, and the smallest code point such a sequence may stand for. */
static int utf8_follow(unsigned char lead, uint32_t *smallest)
{
    if (lead < 0x80u) {
        *smallest = 0;
        return 0;
    }
    if (lead >= 0xC2u && lead <= 0xDFu) {
        *smallest = 0x80u;
        return 1;
    }
    if (lead >= 0xE0u && lead <= 0xEFu) {
        *smallest = 0x800u;
        return 2;
    }
    if (lead >= 0xF0u && lead <= 0xF4u) {
        *smallest = 0x10000u;
        return 3;
    }
    return -1;
}

/* Reads one code point; false when the sequence is malformed or cut off. `length` is at least 1. */
static bool utf8_read(const char *bytes, size_t length, uint32_t *point, size_t *used)
{
    const unsigned char lead = (unsigned char)bytes[0];
    uint32_t smallest;
    const int follow = utf8_follow(lead, &smallest);
    if (follow < 0 || (size_t)follow >= length)
        return false;
    uint32_t value = follow == 0 ? lead : lead & (0x3Fu >> follow);
    for (int i = 1; i <= follow; i++) {
        const unsigned char next = (unsigned char)bytes[i];
        if ((next & 0xC0u) != 0x80u)
            return false;
        value = value << 6 | (next & 0x3Fu);
    }
    if (value < smallest || value > 0x10FFFFu || (value >= 0xD800u && value <= 0xDFFFu))
        return false;
    *point = value;
    *used = (size_t)follow + 1;
    return true;
}

uint32_t utf8_next(const char *bytes, size_t length, size_t *used)
{
    uint32_t point;
    if (length > 0 && utf8_read(bytes, length, &point, used))
        return point;
    *used = 1;
    return UTF8_BAD;
}

bool utf8_valid(const char *bytes, size_t length)
{
    size_t at = 0;
    while (at < length) {
        uint32_t point;
        size_t used;
        if (!utf8_read(bytes + at, length - at, &point, &used))
            return false;
        at += used;
    }
    return true;
}

/* The code points of a word; their number, or WORD_LETTERS + 1 when it is longer than that. */
static size_t letters_of(const char *word, uint32_t letters[WORD_LETTERS])
{
    const size_t length = strlen(word);
    size_t count = 0, at = 0;
    while (at < length) {
        size_t used;
        const uint32_t letter = utf8_next(word + at, length - at, &used);
        if (count == WORD_LETTERS)
            return WORD_LETTERS + 1;
        letters[count++] = letter;
        at += used;
    }
    return count;
}

static size_t smaller(size_t a, size_t b)
{
    return a < b ? a : b;
}

/* Edit distance with swaps of neighbours (optimal string alignment), three rows of the table at a time. */
static size_t letters_distance(const uint32_t *a, size_t a_count, const uint32_t *b, size_t b_count)
{
    size_t rows[3][WORD_LETTERS + 1];
    for (size_t j = 0; j <= b_count; j++)
        rows[0][j] = j;
    for (size_t i = 1; i <= a_count; i++) {
        size_t *row = rows[i % 3];
        const size_t *above = rows[(i - 1) % 3];
        row[0] = i;
        for (size_t j = 1; j <= b_count; j++) {
            const size_t differs = a[i - 1] != b[j - 1];
            row[j] = smaller(above[j - 1] + differs, smaller(above[j], row[j - 1]) + 1);
            if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1])
                row[j] = smaller(row[j], rows[(i - 2) % 3][j - 2] + 1);
        }
    }
    return rows[a_count % 3][b_count];
}

const char *text_nearest(const char *word, const char *const *words)
{
    uint32_t asked[WORD_LETTERS], other[WORD_LETTERS];
    const size_t asked_count = letters_of(word, asked);
    if (asked_count > WORD_LETTERS)
        return NULL;
    const char *nearest = NULL;
    size_t best = 1 + asked_count / 4 + 1;
    for (; *words != NULL; words++) {
        const size_t count = letters_of(*words, other);
        if (count > WORD_LETTERS)
            continue;
        const size_t distance = letters_distance(asked, asked_count, other, count);
        if (distance < best) {
            best = distance;
            nearest = *words;
        }
    }
    return nearest;
}
