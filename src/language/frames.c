/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Lists of frames: "1001-1010, 1020, 1001-1048 every 2". Parts may overlap; the result is sorted and without doubles.
 */
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "language/messages.h"
#include "language/numbers.h"
#include "language/recipe.h"

#define FRAMES_LIMIT 1000000

struct part {
    int32_t first, last, every;
};

struct list {
    int32_t *frames;
    size_t count, room;
};

static const char *skip_space(const char *at)
{
    while (*at == ' ' || *at == '\t')
        at++;
    return at;
}

static enum passel_status expected(const char *at, const char *what, struct passel_error *error)
{
    char room[QUOTE_ROOM];
    const size_t length = strcspn(at, " \t,");
    return error_set(error, PASSEL_BAD_USE, "expected %s, not %s; write frames as 1001-1010, 1020, 1001-1048 every 2",
                     what, *at == '\0' ? "the end" : quoted(at, length > 0 ? length : 1, room));
}

static bool take_integer(const char **at, int32_t *number)
{
    size_t used;
    if (!integer_read(*at, strlen(*at), number, &used))
        return false;
    *at += used;
    return true;
}

/* A, A-B or A-B every N. */
static enum passel_status read_part(const char **at, struct part *part, struct passel_error *error)
{
    const char *begin = *at = skip_space(*at);
    if (!take_integer(at, &part->first))
        return expected(begin, "a frame number", error);
    part->last = part->first;
    part->every = 1;
    if (**at == '-') {
        begin = ++*at;
        if (!take_integer(at, &part->last))
            return expected(begin, "a frame number behind the dash", error);
    }
    if (part->first > part->last)
        return error_set(error, PASSEL_BAD_USE, "the frames %d-%d run backwards; write %d-%d", part->first, part->last,
                         part->last, part->first);
    begin = skip_space(*at);
    if (strncmp(begin, "every", 5) == 0 && (begin[5] == ' ' || begin[5] == '\t')) {
        begin = *at = skip_space(begin + 5);
        if (!take_integer(at, &part->every) || part->every < 1)
            return expected(begin, "a whole number from 1 on behind 'every'", error);
    }
    *at = skip_space(*at);
    if (**at != ',' && **at != '\0')
        return expected(*at, "a comma or the end", error);
    return PASSEL_OK;
}

static enum passel_status too_many(struct passel_error *error)
{
    return error_set(error, PASSEL_BAD_USE, "these are more than %d frames", FRAMES_LIMIT);
}

static enum passel_status add_part(struct list *list, const struct part *part, struct passel_error *error)
{
    const int64_t count = ((int64_t)part->last - part->first) / part->every + 1;
    if (count > FRAMES_LIMIT)
        return too_many(error);
    const size_t needed = list->count + (size_t)count;
    if (needed > list->room) {
        const size_t room = needed < 2 * list->room ? 2 * list->room : needed;
        int32_t *frames = memory_grow(list->frames, list->count, room, sizeof *frames);
        if (frames == NULL)
            return error_set(error, PASSEL_NO_MEMORY, "no memory for a list of frames");
        list->frames = frames;
        list->room = room;
    }
    for (int64_t i = 0; i < count; i++)
        list->frames[list->count++] = (int32_t)(part->first + i * part->every);
    return PASSEL_OK;
}

static int compare(const void *left, const void *right)
{
    const int32_t a = *(const int32_t *)left, b = *(const int32_t *)right;
    return a < b ? -1 : a > b;
}

/* Sorts and drops doubles. A list that rises already, as most do, is left alone. */
static void settle(struct list *list)
{
    size_t rising = 1;
    while (rising < list->count && list->frames[rising - 1] < list->frames[rising])
        rising++;
    if (rising >= list->count)
        return;
    qsort(list->frames, list->count, sizeof *list->frames, compare);
    size_t kept = 1;
    for (size_t i = 1; i < list->count; i++)
        if (list->frames[i] != list->frames[kept - 1])
            list->frames[kept++] = list->frames[i];
    list->count = kept;
}

enum passel_status frames_parse(const char *text, int32_t **frames, int *count, struct passel_error *error)
{
    struct list list = { NULL, 0, 0 };
    enum passel_status status = PASSEL_OK;
    const char *at = text;
    for (bool more = true; more; at += more) {
        struct part part;
        GOTO_IF_ERROR(read_part(&at, &part, error), out_list);
        /* Repeated ranges are settled before they pile up. */
        if (list.count > 2 * (size_t)FRAMES_LIMIT)
            settle(&list);
        if (list.count > 2 * (size_t)FRAMES_LIMIT)
            GOTO_IF_ERROR(too_many(error), out_list);
        GOTO_IF_ERROR(add_part(&list, &part, error), out_list);
        more = *at == ',';
    }
    settle(&list);
    if (list.count > FRAMES_LIMIT)
        GOTO_IF_ERROR(too_many(error), out_list);
    *frames = list.frames;
    *count = (int)list.count;
    return PASSEL_OK;
out_list:
    memory_free(list.frames);
    return status;
}
