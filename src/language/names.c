/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Names and their table (open addressing, at most half full).
 */
#include "language/names.h"

#include <stdint.h>
#include <string.h>
#include <utf8proc.h>

#include "base/text.h"

struct name_slot {
    const char *name;
    uint64_t hash;
    int number;
};

static bool is_letter(uint32_t point)
{
    if (point < 0x80)
        return (point >= 'a' && point <= 'z') || (point >= 'A' && point <= 'Z');
    switch (utf8proc_category((utf8proc_int32_t)point)) {
    case UTF8PROC_CATEGORY_LU:
    case UTF8PROC_CATEGORY_LL:
    case UTF8PROC_CATEGORY_LT:
    case UTF8PROC_CATEGORY_LM:
    case UTF8PROC_CATEGORY_LO:
        return true;
    default:
        return false;
    }
}

/* What may follow the first letter. Marks belong to the letter before them. */
static bool continues_name(uint32_t point)
{
    if (point < 0x80)
        return is_letter(point) || (point >= '0' && point <= '9') || point == '-' || point == '_';
    switch (utf8proc_category((utf8proc_int32_t)point)) {
    case UTF8PROC_CATEGORY_MN:
    case UTF8PROC_CATEGORY_MC:
    case UTF8PROC_CATEGORY_ND:
        return true;
    default:
        return is_letter(point);
    }
}

size_t name_length(const char *text, size_t length)
{
    size_t at = 0;
    while (at < length) {
        size_t used;
        const uint32_t point = utf8_next(text + at, length - at, &used);
        if (!(at == 0 ? is_letter(point) : continues_name(point)))
            break;
        at += used;
    }
    return at;
}

int letters_in(const char *text, size_t length)
{
    int count = 0;
    for (size_t at = 0; at < length;) {
        size_t used;
        utf8_next(text + at, length - at, &used);
        at += used;
        count++;
    }
    return count;
}

static bool is_plain(const char *text, size_t length)
{
    for (size_t i = 0; i < length; i++)
        if ((unsigned char)text[i] >= 0x80)
            return false;
    return true;
}

/* Bytes of the first NAME_LIMIT characters. */
static size_t cut(const char *text, size_t length)
{
    size_t at = 0;
    for (int i = 0; i < NAME_LIMIT && at < length; i++) {
        size_t used;
        utf8_next(text + at, length - at, &used);
        at += used;
    }
    return at;
}

void name_settle(const char *text, size_t length, char room[NAME_ROOM])
{
    const utf8proc_option_t how = (utf8proc_option_t)(UTF8PROC_STABLE | UTF8PROC_COMPOSE);
    utf8proc_int32_t points[DECOMPOSED_LIMIT + 1];
    utf8proc_ssize_t size = -1;
    length = cut(text, length);
    if (!is_plain(text, length))
        size =
            utf8proc_decompose((const utf8proc_uint8_t *)text, (utf8proc_ssize_t)length, points, DECOMPOSED_LIMIT, how);
    if (size >= 0 && size <= DECOMPOSED_LIMIT)
        size = utf8proc_reencode(points, size, how);
    else
        size = -1;
    if (size >= 0)
        memcpy(room, points, (size_t)size);
    else
        memcpy(room, text, length);
    room[size >= 0 ? (size_t)size : length] = '\0';
}

const char *name_settled(struct arena *arena, const char *text, size_t length)
{
    char room[NAME_ROOM];
    name_settle(text, length, room);
    return arena_text(arena, room, strlen(room));
}

/* FNV-1a. */
static uint64_t hash_of(const char *name)
{
    uint64_t hash = 14695981039346656037u;
    for (; *name != '\0'; name++)
        hash = (hash ^ (unsigned char)*name) * 1099511628211u;
    return hash ^ hash >> 32;
}

bool name_table_make(struct name_table *table, struct arena *arena, size_t count)
{
    size_t room = 8;
    while (room / 2 < count)
        room *= 2;
    table->slots = arena_array(arena, room, sizeof *table->slots);
    table->room = table->slots != NULL ? room : 0;
    return table->slots != NULL;
}

/* The slot of a name, or the free one where it would stand. */
static struct name_slot *slot_of(const struct name_table *table, const char *name, uint64_t hash)
{
    size_t at = (size_t)hash & (table->room - 1);
    while (table->slots[at].name != NULL && (table->slots[at].hash != hash || strcmp(table->slots[at].name, name) != 0))
        at = (at + 1) & (table->room - 1);
    return &table->slots[at];
}

int name_table_add(struct name_table *table, const char *name, int number)
{
    const uint64_t hash = hash_of(name);
    struct name_slot *slot = slot_of(table, name, hash);
    if (slot->name != NULL)
        return slot->number;
    *slot = (struct name_slot){ name, hash, number };
    return -1;
}

int name_table_find(const struct name_table *table, const char *name)
{
    if (table->room == 0)
        return -1;
    const struct name_slot *slot = slot_of(table, name, hash_of(name));
    return slot->name != NULL ? slot->number : -1;
}
