/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Heads and settings told apart. A head stands at the left edge and a setting does not; a line that can only be the one
 * or the other is taken for it wherever it stands, so that one wrong space gives one message.
 */
#include "language/outline.h"

#include <string.h>

#include "language/numbers.h"

bool token_is_number(const struct line *line, int at)
{
    const struct token *token = &line->tokens[at];
    if (token->kind == TOKEN_OPEN)
        return true;
    return token->kind == TOKEN_WORD && number_begins(token_bytes(line, at), token->length);
}

/* How many tokens at `at` spell the schema's name: 0, 1 or 2. */
static int name_words(const struct line *line, int at, const char *name)
{
    const char *space = strchr(name, ' ');
    if (space == NULL)
        return token_is(line, at, name);
    const size_t first = (size_t)(space - name);
    const struct token *token = &line->tokens[at];
    if (token->kind != TOKEN_WORD || token->length != first || memcmp(token_bytes(line, at), name, first) != 0)
        return 0;
    return at + 1 < line->count && token_is(line, at + 1, space + 1) ? 2 : 0;
}

const struct schema *kind_at(const struct line *line, int at, const struct schema *const *schemas, int *words)
{
    const struct schema *found = NULL;
    *words = 0;
    for (; at < line->count && *schemas != NULL; schemas++) {
        const int count = name_words(line, at, (*schemas)->name);
        if (count > *words) {
            *words = count;
            found = *schemas;
        }
    }
    return found;
}

const struct setting_spec *schema_setting(const struct schema *schema, const char *word, size_t length)
{
    if (schema == NULL || schema->settings == NULL)
        return NULL;
    for (const struct setting_spec *spec = schema->settings; spec->help != NULL; spec++) {
        if (word == NULL ? spec->word == NULL
                         : spec->word != NULL && strlen(spec->word) == length && memcmp(spec->word, word, length) == 0)
            return spec;
    }
    return NULL;
}

/* Does the line begin as a setting of the block above does? */
static bool known_setting(const struct line *line, const struct schema *above)
{
    const char *word = token_is_number(line, 0) ? NULL : token_bytes(line, 0);
    return schema_setting(above, word, line->tokens[0].length) != NULL;
}

enum role line_role(const struct line *line, const struct schema *const *schemas, const struct schema *above,
                    struct head *head)
{
    if (line->count == 0)
        return ROLE_EMPTY;
    *head = (struct head){ .begin = line->bytes, .line = line->number };
    int words;
    if (line->count >= 2 && token_is(line, 1, "=")) {
        head->named = true;
        head->kind = 2;
        head->schema = kind_at(line, 2, schemas, &head->kind_words);
        if (line->indented && (head->schema == NULL || known_setting(line, above)))
            return ROLE_SETTING;
        return ROLE_HEAD;
    }
    if (!line->indented && token_is(line, 0, "passel"))
        return ROLE_VERSION;
    const struct schema *schema = kind_at(line, 0, schemas, &words);
    const bool bare = schema != NULL && schema->form != HEAD_NAMED;
    if (bare) {
        head->schema = schema;
        head->kind_words = words;
    }
    if (line->indented ? !bare || line->count < 2 || known_setting(line, above) : !bare && known_setting(line, above))
        return ROLE_SETTING;
    return ROLE_HEAD;
}
