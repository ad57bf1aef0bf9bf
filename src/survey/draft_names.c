/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "survey/draft_names.h"

#include <stdio.h>
#include <string.h>

/* What the draft names itself. */
static const char *const taken[] = { "night", "weather", "cut", "edge", "sky", "final" };

static bool is_letter(char c)
{
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
}

/* moon.####.exr gives moon; a name with digits in it is a camera's count and says nothing. */
static bool word_of(const char *file, char name[DRAFT_NAME])
{
    const size_t length = strcspn(file, ".");
    if (length < 3 || length >= DRAFT_NAME - 16 || !is_letter(file[0]))
        return false;
    for (size_t i = 0; i < length; i++) {
        if (!is_letter(file[i]) && file[i] != '-' && file[i] != '_')
            return false;
    }
    memcpy(name, file, length);
    name[length] = '\0';
    while (name[strlen(name) - 1] == '-' || name[strlen(name) - 1] == '_')
        name[strlen(name) - 1] = '\0';
    for (size_t i = 0; i < sizeof taken / sizeof *taken; i++) {
        if (strcmp(name, taken[i]) == 0)
            return false;
    }
    return true;
}

static const char *role_word(const struct portrait *p)
{
    static const char *const screens[] = { "red", "green", "blue", "screen" };
    static const char *const empties[] = { "red-empty", "green-empty", "blue-empty", "screen-empty" };
    static const char *const words[] = {
        [ROLE_UNREADABLE] = "unread",   [ROLE_ODD] = "odd",         [ROLE_DARK] = "dark",  [ROLE_LAMP] = "lamp",
        [ROLE_ALL_LAMPS] = "all-lamps", [ROLE_ELEMENT] = "element", [ROLE_PLATE] = "plate"
    };
    if (p->role == ROLE_SCREEN || p->role == ROLE_EMPTY)
        return (p->role == ROLE_SCREEN ? screens : empties)[p->hue];
    return words[p->role];
}

static bool used(char (*names)[DRAFT_NAME], int count, const char *name)
{
    for (int i = 0; i < count; i++) {
        if (strcmp(names[i], name) == 0)
            return true;
    }
    return false;
}

void draft_names(const struct portraits *portraits, char (*names)[DRAFT_NAME])
{
    for (int i = 0; i < portraits->count; i++) {
        const struct portrait *p = &portraits->list[i];
        char name[DRAFT_NAME], plain[DRAFT_NAME];
        if (!word_of(p->clip->name, plain))
            (void)snprintf(plain, sizeof plain, "%s", role_word(p));
        (void)snprintf(name, sizeof name, "%s", plain);
        for (int n = 2; used(names, i, name); n++)
            (void)snprintf(name, sizeof name, "%.30s-%d", plain, n);
        (void)snprintf(names[i], DRAFT_NAME, "%s", name);
    }
}
