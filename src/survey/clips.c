/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "survey/clips.h"

#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/file.h"
#include "base/memory.h"
#include "media/sequence.h"
#include "survey/sight.h"

/* A file name taken apart: before its last number, the number, behind it. */
struct part_name {
    const char *name;
    size_t before, digits; /* bytes */
    int32_t number;
    bool numbered;
};

static bool is_picture(const char *name)
{
    static const char *const endings[] = { "exr", "png", "tif", "tiff", "jpg", "jpeg", "y4m" };
    char extension[16];
    path_extension(name, extension);
    for (size_t i = 0; i < sizeof endings / sizeof *endings; i++) {
        if (strcmp(extension, endings[i]) == 0)
            return true;
    }
    return false;
}

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

/* A name that already holds what a recipe reads as a number's place stays by itself. */
static struct part_name take_apart(const char *name)
{
    struct part_name part = { .name = name };
    const char *dot = strrchr(name, '.');
    size_t end = dot != NULL ? (size_t)(dot - name) : strlen(name);
    bool holds;
    if (pattern_numbered(name, &holds, NULL) != PASSEL_OK || holds || strchr(name, '%') != NULL)
        return part;
    while (end > 0 && !is_digit(name[end - 1]))
        end--;
    size_t start = end;
    while (start > 0 && is_digit(name[start - 1]) && end - start < 9)
        start--;
    part.before = start;
    part.digits = end - start;
    part.numbered = part.digits > 0;
    part.number = part.numbered ? (int32_t)strtol(name + start, NULL, 10) : 0;
    return part;
}

static int compare_bytes(const char *a, size_t a_length, const char *b, size_t b_length)
{
    const int order = memcmp(a, b, a_length < b_length ? a_length : b_length);
    return order != 0 ? order : (a_length > b_length) - (a_length < b_length);
}

/* Members of a group stand together, by number; padded ones of another width apart. */
static int compare_parts(const void *pa, const void *pb)
{
    const struct part_name *a = pa, *b = pb;
    int order = compare_bytes(a->name, a->before, b->name, b->before);
    if (order == 0)
        order = strcmp(a->name + a->before + a->digits, b->name + b->before + b->digits);
    if (order == 0)
        order = a->number != b->number ? (a->number > b->number) - (a->number < b->number)
                                       : (a->digits > b->digits) - (a->digits < b->digits);
    return order != 0 ? order : strcmp(a->name, b->name);
}

/* 9, 10, 11 or 0009, 0010, 0011: the same padding serves both. */
static bool follows(const struct part_name *first, const struct part_name *a, const struct part_name *b)
{
    const bool same_width = b->digits == first->digits || (b->digits > first->digits && b->name[b->before] != '0');
    return a->numbered && b->numbered && same_width && a->number != b->number &&
           compare_bytes(a->name, a->before, b->name, b->before) == 0 &&
           strcmp(a->name + a->before + a->digits, b->name + b->before + b->digits) == 0;
}

enum passel_status clips_add(struct clip_list *list, struct clip clip, struct passel_error *error)
{
    if (list->count == list->room) {
        const int room = list->room > 0 ? 2 * list->room : 16;
        struct clip *more = memory_grow(list->clips, (size_t)list->count, (size_t)room, sizeof *more);
        if (more == NULL)
            return error_set(error, PASSEL_NO_MEMORY, "out of memory");
        list->clips = more;
        list->room = room;
    }
    list->clips[list->count++] = clip;
    return PASSEL_OK;
}

static void clip_release(struct clip *clip)
{
    for (int i = 0; clip->sights != NULL && i < clip->sight_count; i++)
        sight_release(&clip->sights[i]);
    memory_free(clip->sights);
    memory_free(clip->name);
    memory_free(clip->frames);
}

static char *text_copy(const char *bytes, size_t length)
{
    char *copy = memory_new(length + 1);
    if (copy != NULL) {
        memcpy(copy, bytes, length);
        copy[length] = '\0';
    }
    return copy;
}

/* before####behind */
static char *pattern_of(const struct part_name *part)
{
    struct text text = { 0 };
    text_add(&text, part->name, part->before);
    if (part->digits == 1)
        text_print(&text, "%%d");
    for (size_t i = 0; i < part->digits && part->digits > 1; i++)
        text_print(&text, "#");
    text_print(&text, "%s", part->name + part->before + part->digits);
    if (!text.failed)
        return text.bytes;
    text_release(&text);
    return NULL;
}

static enum passel_status add_group(struct clip_list *list, const struct part_name *parts, int count,
                                    struct passel_error *error)
{
    struct clip clip = { .numbered = count > 1, .count = count };
    clip.name = count > 1 ? pattern_of(&parts[0]) : text_copy(parts[0].name, strlen(parts[0].name));
    clip.frames = count > 1 ? memory_zeros((size_t)count, sizeof *clip.frames) : NULL;
    enum passel_status status = PASSEL_NO_MEMORY;
    if (clip.name == NULL || (count > 1 && clip.frames == NULL))
        (void)error_set(error, status, "out of memory");
    else
        status = clips_add(list, clip, error);
    if (status != PASSEL_OK) {
        clip_release(&clip);
        return status;
    }
    for (int i = 0; i < count && count > 1; i++)
        clip.frames[i] = parts[i].number;
    return PASSEL_OK;
}

static int by_name(const void *pa, const void *pb)
{
    const struct clip *a = pa, *b = pb;
    return strcmp(a->name, b->name);
}

static void sort(struct clip_list *list)
{
    if (list->count > 1)
        qsort(list->clips, (size_t)list->count, sizeof *list->clips, by_name);
}

enum passel_status clips_find(const char *folder, struct clip_list *list, struct passel_error *error)
{
    char **names = NULL;
    size_t name_count = 0;
    int count = 0;
    enum passel_status status;
    *list = (struct clip_list){ 0 };
    RETURN_IF_ERROR(folder_list(folder, &names, &name_count, error));
    struct part_name *parts = memory_zeros(name_count + 1, sizeof *parts);
    if (parts == NULL) {
        status = error_set(error, PASSEL_NO_MEMORY, "out of memory");
        goto out_names;
    }
    for (size_t i = 0; i < name_count; i++) {
        if (is_picture(names[i]) && names[i][0] != '.' && utf8_valid(names[i], strlen(names[i])))
            parts[count++] = take_apart(names[i]);
        else
            text_print(&list->skipped, "%s\n", names[i]);
    }
    qsort(parts, (size_t)count, sizeof *parts, compare_parts);
    status = PASSEL_OK;
    for (int first = 0, end; first < count && status == PASSEL_OK; first = end) {
        for (end = first + 1; end < count && follows(&parts[first], &parts[end - 1], &parts[end]);)
            end++;
        status = add_group(list, &parts[first], end - first, error);
    }
    if (list->skipped.failed && status == PASSEL_OK)
        status = error_set(error, PASSEL_NO_MEMORY, "out of memory");
    sort(list);
    memory_free(parts);
out_names:
    folder_free(names, name_count);
    if (status != PASSEL_OK)
        clip_list_release(list);
    return status;
}

/* What was seen of the files goes with them, but where they stood: it was against another clip's first. Without memory
 * it is seen again. */
static void take_sights(struct clip *piece, const struct clip *whole, int first)
{
    if (whole->sights == NULL || sights_begin(piece, piece->count, NULL) != PASSEL_OK)
        return;
    for (int i = 0; i < piece->count; i++) {
        struct sight *sight = &piece->sights[i];
        *sight = whole->sights[first + i];
        whole->sights[first + i] = (struct sight){ 0 };
        if (piece->count == 1 || sight->track.values == NULL) {
            memory_free(sight->track.values);
            sight->track.values = NULL;
            sight->has &= ~(unsigned)SIGHT_TRACK;
        }
    }
}

/* Files first … end-1 of `whole` as clips of their own. */
static enum passel_status add_piece(struct clip_list *list, const struct clip *whole, int first, int end,
                                    struct passel_error *error)
{
    for (int i = first; i < end; i++) {
        const bool run = end - first >= 3;
        struct clip piece = { .numbered = run, .count = run ? end - first : 1, .settled = true, .piece = run };
        piece.name = run ? text_copy(whole->name, strlen(whole->name)) : pattern_path(whole->name, whole->frames[i]);
        piece.frames = run ? memory_zeros((size_t)piece.count, sizeof *piece.frames) : NULL;
        if (piece.name == NULL || (run && piece.frames == NULL)) {
            clip_release(&piece);
            return error_set(error, PASSEL_NO_MEMORY, "out of memory");
        }
        if (run)
            memcpy(piece.frames, whole->frames + first, (size_t)piece.count * sizeof *piece.frames);
        take_sights(&piece, whole, run ? first : i);
        const enum passel_status status = clips_add(list, piece, error);
        if (status != PASSEL_OK)
            clip_release(&piece);
        if (status != PASSEL_OK || run)
            return status;
    }
    return PASSEL_OK;
}

enum passel_status clips_split(struct clip_list *list, int index, const bool *ends, struct passel_error *error)
{
    struct clip whole = list->clips[index];
    enum passel_status status = PASSEL_OK;
    list->clips[index] = list->clips[--list->count];
    for (int first = 0, end; first < whole.count && status == PASSEL_OK; first = end) {
        for (end = first + 1; end < whole.count && !ends[end - 1];)
            end++;
        status = add_piece(list, &whole, first, end, error);
    }
    clip_release(&whole);
    sort(list);
    return status;
}

void clip_list_release(struct clip_list *list)
{
    for (int i = 0; i < list->count; i++)
        clip_release(&list->clips[i]);
    memory_free(list->clips);
    text_release(&list->skipped);
    *list = (struct clip_list){ 0 };
}

char *clip_path(const char *folder, const struct clip *clip, int index)
{
    char *name = clip->numbered ? pattern_path(clip->name, clip->frames[index]) : NULL;
    char *path = clip->numbered && name == NULL ? NULL : path_join(folder, name != NULL ? name : clip->name);
    memory_free(name);
    return path;
}
