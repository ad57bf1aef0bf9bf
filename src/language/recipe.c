/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A recipe once it is there: reading it from disk, finding things in it, values at a frame, messages about it.
 */
#include "language/recipe.h"

#include <assert.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "base/file.h"
#include "base/memory.h"
#include "language/messages.h"
#include "language/names.h"

enum passel_status recipe_read(const char *path, const struct schema *const *schemas,
                               const struct recipe_change *changes, int change_count, struct recipe **recipe,
                               struct text *messages, struct passel_error *error)
{
    char *bytes = NULL;
    size_t size = 0;
    *recipe = NULL;
    enum passel_status status = file_read(path, RECIPE_LIMIT, &bytes, &size, error);
    if (status == PASSEL_UNSUPPORTED)
        return error_set(error, status, "%s: a recipe is at most 64 MiB long, this file is longer", path);
    if (status != PASSEL_OK)
        return status;
    status = recipe_parse(path, bytes, size, schemas, changes, change_count, recipe, messages, error);
    memory_free(bytes);
    return status;
}

void recipe_free(struct recipe *recipe)
{
    if (recipe == NULL)
        return;
    arena_release(&recipe->arena);
    memory_free(recipe);
}

/* ---- finding ----------------------------------------------------------------------------------------------------- */

const struct block *recipe_block(const struct recipe *recipe, const char *name)
{
    const size_t length = strlen(name);
    char settled[NAME_ROOM];
    name_settle(name, length, settled);
    const int index = name_length(name, length) == length ? name_table_find(recipe->names, settled) : -1;
    return index < 0 ? NULL : recipe->blocks[index];
}

const struct setting *block_setting(const struct block *block, const char *word)
{
    for (int i = 0; i < block->setting_count; i++) {
        const char *own = block->settings[i].spec->word;
        if (own != NULL && strcmp(own, word) == 0)
            return &block->settings[i];
    }
    return NULL;
}

const struct value *setting_value(const struct setting *setting, int index)
{
    if (setting == NULL || index < 0 || index >= setting->value_count || setting->values[index].spec == NULL)
        return NULL;
    return &setting->values[index];
}

const struct tag *setting_tag(const struct setting *setting, const char *word)
{
    for (int i = 0; setting != NULL && i < setting->tag_count; i++)
        if (strcmp(setting->tags[i].spec->word, word) == 0)
            return &setting->tags[i];
    return NULL;
}

const struct value *setting_tag_value(const struct setting *setting, const char *word, int index)
{
    const struct tag *tag = setting_tag(setting, word);
    if (tag == NULL || index < 0 || index >= tag->value_count || tag->values[index].spec == NULL)
        return NULL;
    return &tag->values[index];
}

const char *setting_operator(const struct setting *setting)
{
    if (setting == NULL || setting->operator_index < 0)
        return NULL;
    return setting->spec->operators[setting->operator_index].word;
}

const char *value_choice(const struct value *value)
{
    return value != NULL ? value->spec->choices[value->choice].word : NULL;
}

/* ---- values at a frame ------------------------------------------------------------------------------------------- */

double value_at(const struct value *value, int component, double frame, int scale)
{
    double number;
    assert(value->count > 0);
    if (component >= value->count)
        component = value->count - 1;
    if (value->curve != NULL)
        number = value->curve->track != NULL ? track_at(value->curve->track, 0, frame) : 0;
    else if (value->track != NULL)
        number = track_at(value->track, component, frame);
    else
        number = value->numbers[component];
    return value->spec->unit == UNIT_PX ? number / scale : number;
}

static bool track_changes(const struct track *track)
{
    if (track->generators != NULL)
        return true;
    for (int i = track->width; i < track->count * track->width; i++)
        if (track->numbers[i] != track->numbers[i % track->width])
            return true;
    return false;
}

bool value_changes(const struct value *value)
{
    const struct track *track = value->curve != NULL ? value->curve->track : value->track;
    return track != NULL && track_changes(track);
}

/* ---- messages ---------------------------------------------------------------------------------------------------- */

enum passel_status recipe_error(const struct recipe *recipe, struct span where, enum passel_status status,
                                struct passel_error *error, const char *format, ...)
{
    const struct source source = { .path = recipe->path,
                                   .text = recipe->text,
                                   .length = recipe->text_length,
                                   .changed = recipe->changed,
                                   .changed_count = recipe->changed_count };
    struct text text = { NULL, 0, 0, false };
    char message[1024];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(message, sizeof message, format, arguments);
    va_end(arguments);
    message_write(&source, where, message, &text);
    if (text.failed)
        error_set(error, status, "%s", message);
    else
        error_set(error, status, "%s", text.bytes);
    text_release(&text);
    return status;
}
