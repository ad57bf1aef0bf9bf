/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Any bytes as a recipe. Lines at the start that begin with `%` are changes (--set). What is parsed must print, the
 * print must mean the same and print the same; what is refused must say why; an edit must not break a text.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "fuzz.h"
#include "language/recipe.h"
#include "language_schemas.h"
#include "recipe_same.h"

#define CHANGES 8

static void check(bool fine, const char *what)
{
    if (!fine) {
        fprintf(stderr, "%s\n", what);
        abort();
    }
}

/* Takes the changes from the start of the text; returns their number. */
static int take_changes(const char **text, size_t *length, struct recipe_change changes[CHANGES], char *copies[CHANGES])
{
    int count = 0;
    while (count<CHANGES && * length> 0 && **text == '%') {
        const char *newline = memchr(*text, '\n', *length);
        const size_t line = newline != NULL ? (size_t)(newline - *text) : *length;
        copies[count] = calloc(line + 1, 1);
        memcpy(copies[count], *text + 1, line - 1);
        changes[count].text = copies[count];
        count++;
        *text += line + (newline != NULL);
        *length -= line + (newline != NULL);
    }
    return count;
}

static void look_at(const struct value *value)
{
    if (value->spec == NULL || (value->spec->type != VALUE_NUMBER && value->spec->type != VALUE_INTEGER))
        return;
    value_changes(value);
    for (int component = 0; component < 3; component++) {
        const double number = value_at(value, component, 1010.5, 2);
        check(number == number, "a value is not a number");
    }
}

static void look_at_all(const struct recipe *recipe)
{
    for (int i = 0; i < recipe->block_count; i++) {
        const struct block *block = recipe->blocks[i];
        check(block->schema != NULL && block->name != NULL, "a block is not complete");
        if (block->schema->form == HEAD_NAMED)
            check(recipe_block(recipe, block->name) == block, "a block is not found by its name");
        for (int k = 0; k < block->setting_count; k++) {
            const struct setting *setting = &block->settings[k];
            for (int v = 0; v < setting->value_count; v++)
                look_at(&setting->values[v]);
            for (int t = 0; t < setting->tag_count; t++)
                for (int v = 0; v < setting->tags[t].value_count; v++)
                    look_at(&setting->tags[t].values[v]);
        }
    }
}

static void check_print(const struct recipe *recipe)
{
    struct text first = { NULL, 0, 0, false }, second = { NULL, 0, 0, false }, said = { NULL, 0, 0, false };
    struct recipe *again = NULL;
    recipe_print(recipe, &first);
    check(!first.failed, "printing ran out of memory");
    const char *printed = first.bytes != NULL ? first.bytes : "";
    if (recipe_parse("print", printed, first.length, language_schemas, NULL, 0, &again, &said, NULL) != PASSEL_OK) {
        fprintf(stderr, "%s\n%s", printed, said.bytes);
        check(false, "the print is refused");
    }
    const char *difference = recipe_difference(recipe, again);
    check(difference == NULL, difference);
    recipe_print(again, &second);
    check(first.length == second.length && memcmp(printed, second.bytes != NULL ? second.bytes : "", first.length) == 0,
          "the print prints differently");
    recipe_free(again);
    text_release(&first);
    text_release(&second);
    text_release(&said);
}

static void check_edit(const char *text, size_t length, const char *change)
{
    struct text out = { NULL, 0, 0, false };
    struct passel_error error;
    const enum passel_status status = recipe_edit("edit", text, length, language_schemas, change, &out, &error);
    check(status == PASSEL_OK || status == PASSEL_BAD_RECIPE, "an edit fails strangely");
    check(status == PASSEL_OK || error.text[0] != '\0', "an edit says nothing");
    text_release(&out);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    const char *text = (const char *)data;
    struct recipe_change changes[CHANGES];
    char *copies[CHANGES];
    struct recipe *recipe;
    struct text messages = { NULL, 0, 0, false };
    struct passel_error error;
    const int count = take_changes(&text, &size, changes, copies);
    const enum passel_status status =
        recipe_parse("fuzz/r.passel", text, size, language_schemas, changes, count, &recipe, &messages, &error);
    if (status == PASSEL_OK) {
        check(messages.length == 0, "a right recipe has messages");
        look_at_all(recipe);
        check_print(recipe);
    } else {
        check(status == PASSEL_BAD_RECIPE, "a wrong recipe has a strange status");
        check(recipe == NULL && messages.length > 0 && error.text[0] != '\0', "a wrong recipe says nothing");
        check(utf8_valid(messages.bytes, messages.length), "messages are not UTF-8");
    }
    recipe_free(recipe);
    text_release(&messages);
    for (int i = 0; i < count; i++) {
        check_edit(text, size, copies[i]);
        free(copies[i]);
    }
    return 0;
}
