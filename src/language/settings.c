/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The lines below a head: which setting a line is, its fields, what was given twice, what is missing.
 */
#include <assert.h>
#include <string.h>

#include "language/outline.h"
#include "language/parser.h"

/* Settings of one kind, and tags of one setting. */
#define SETTINGS_LIMIT 128
#define TAGS_LIMIT 64
#define LISTED 24
/* Words behind a mistake that are compared with the known ones. */
#define SKIPS_LIMIT 32

static const struct setting_spec no_settings[] = { { .help = NULL } };

static const struct setting_spec *settings_of(const struct schema *schema)
{
    return schema->settings != NULL ? schema->settings : no_settings;
}

static bool same_word(const struct setting_spec *a, const struct setting_spec *b)
{
    if (a->word == NULL || b->word == NULL)
        return a->word == b->word;
    return strcmp(a->word, b->word) == 0;
}

/* ---- fields ------------------------------------------------------------------------------------------------------ */

static int operator_at(const struct setting_spec *spec, const struct line *line, int at)
{
    for (int i = 0; spec->operators != NULL && spec->operators[i].word != NULL; i++)
        if (token_is(line, at, spec->operators[i].word))
            return i;
    return -1;
}

static int tag_at(const struct setting_spec *spec, const struct line *line, int at)
{
    for (int i = 0; spec->tags != NULL && spec->tags[i].word != NULL; i++)
        if (token_is(line, at, spec->tags[i].word))
            return i;
    return -1;
}

bool setting_knows(const struct setting_spec *spec, const struct line *line, int at)
{
    return operator_at(spec, line, at) >= 0 || tag_at(spec, line, at) >= 0;
}

static bool add_word(struct parser *parser, struct growing *words, const char *word)
{
    return growing_add(parser, words, &word, sizeof word);
}

/* All words that may stand behind the values of a setting, ended by NULL: operators, tags, optional choices. */
static const char *const *field_words(struct parser *parser, const struct setting_spec *spec)
{
    struct growing *words = &parser->words;
    words->count = 0;
    bool fine = true;
    for (const struct value_spec *value = spec->values; fine && value != NULL && value->label != NULL; value++)
        if (value->optional && value->type == VALUE_CHOICE)
            for (const struct choice *choice = value->choices; fine && choice->word != NULL; choice++)
                fine = add_word(parser, words, choice->word);
    for (const struct choice *choice = spec->operators; fine && choice != NULL && choice->word != NULL; choice++)
        fine = add_word(parser, words, choice->word);
    for (const struct tag_spec *tag = spec->tags; fine && tag != NULL && tag->word != NULL; tag++)
        fine = add_word(parser, words, tag->word);
    fine = fine && add_word(parser, words, NULL);
    return fine ? words->items : NULL;
}

/* Is the setting's first value of this type? */
static bool takes(const struct setting_spec *spec, enum value_type type)
{
    const struct value_spec *value = spec->values;
    return value != NULL && value->label != NULL && value->type == type;
}

/* A word that has no place in this line. */
static void refuse_field(struct parser *parser, const struct setting_spec *spec, const char *word, int at)
{
    const struct token *token = &parser->line.tokens[at];
    const char *bytes = token_bytes(&parser->line, at);
    char room[QUOTE_ROOM], meant[MEANT_ROOM];
    const char *const *words = field_words(parser, spec);
    if (words == NULL)
        return;
    parser_meant(parser, bytes, token->length, words, meant);
    const struct span where = parser_place(parser, at, at);
    quoted(bytes, token->length, room);
    if (token_is_number(&parser->line, at))
        message_add(&parser->messages, where, "%s is one number too many for '%s'", room, word);
    else if (bytes[0] == '-' && takes(spec, VALUE_RANGE))
        message_add(&parser->messages, where, "expected no spaces around the dash: 1001-1048");
    else if (takes(spec, VALUE_PATH))
        message_add(&parser->messages, where,
                    "%s is one word too many for '%s'; a file name with spaces needs quotes: \"…\"", room, word);
    else if (meant[0] != '\0')
        message_add(&parser->messages, where, "'%s' does not know %s%s", word, room, meant);
    else if (words[0] != NULL)
        message_add(&parser->messages, where, "'%s' does not know %s; behind its values can stand: %s", word, room,
                    parser_list(parser, words, LISTED));
    else
        message_add(&parser->messages, where, "%s is one word too many; '%s' takes nothing more here", room, word);
}

/* Does the token look like a misspelt word of the setting? */
static bool nearly_known(struct parser *parser, const struct setting_spec *spec, int at)
{
    const struct token *token = &parser->line.tokens[at];
    if (token->kind != TOKEN_WORD || token->length < 3 || token_is_number(&parser->line, at))
        return false;
    const char *const *words = field_words(parser, spec);
    return words != NULL && parser_nearest(parser, token_bytes(&parser->line, at), token->length, words) != NULL;
}

/* Is this the token that the last message points at? */
static bool was_refused(const struct parser *parser, int at)
{
    const struct messages *messages = &parser->messages;
    return messages->count > 0 && messages->list[messages->count - 1].where.line == parser->line.number &&
           messages->list[messages->count - 1].where.column == parser->line.tokens[at].column;
}

/* Goes on to the next word that the setting knows or nearly knows, so that the rest of the line is looked at as well.
 */
static void skip_to_known(struct parser *parser, const struct setting_spec *spec, int *at)
{
    if (*at < parser->line.count && !setting_knows(spec, &parser->line, *at) && was_refused(parser, *at))
        ++*at;
    for (int skipped = 0; *at < parser->line.count; skipped++, ++*at)
        if (setting_knows(spec, &parser->line, *at) || (skipped < SKIPS_LIMIT && nearly_known(parser, spec, *at)))
            return;
}

static bool read_tag(struct parser *parser, const struct setting_spec *spec, int index, int *at, uint64_t *seen)
{
    const struct tag_spec *tag_spec = &spec->tags[index];
    struct tag tag = { .spec = tag_spec, .where = parser_place(parser, *at, *at) };
    assert(index < TAGS_LIMIT);
    const bool again = (*seen >> index & 1) != 0 && !tag_spec->repeats;
    *seen |= (uint64_t)1 << index;
    if (again)
        message_add(&parser->messages, tag.where, "'%s' stands twice in this line", tag_spec->word);
    ++*at;
    return values_read(parser, spec, tag_spec->word, tag_spec->values, at, &tag.values, &tag.value_count) && !again &&
           growing_add(parser, &parser->tags, &tag, sizeof tag);
}

static bool read_operator(struct parser *parser, const struct setting_spec *spec, int index, int *at,
                          struct setting *setting)
{
    const bool again = setting->operator_index >= 0;
    if (again)
        message_add(&parser->messages, parser_place(parser, *at, *at),
                    "only one of these can stand in a line, and '%s' is there already",
                    spec->operators[setting->operator_index].word);
    setting->operator_index = index;
    ++*at;
    return !again;
}

bool fields_read(struct parser *parser, const struct setting_spec *spec, const char *word, int at,
                 struct setting *setting)
{
    uint64_t seen = 0;
    parser->tags.count = 0;
    setting->spec = spec;
    setting->operator_index = -1;
    bool fine = values_read(parser, spec, word, spec->values, &at, &setting->values, &setting->value_count);
    if (!fine)
        skip_to_known(parser, spec, &at);
    while (at < parser->line.count && !parser->failed) {
        const int operator_index = operator_at(spec, &parser->line, at), tag = tag_at(spec, &parser->line, at);
        bool read = true;
        if (operator_index >= 0) {
            read = read_operator(parser, spec, operator_index, &at, setting);
        } else if (tag >= 0) {
            read = read_tag(parser, spec, tag, &at, &seen);
        } else {
            refuse_field(parser, spec, word, at++);
            read = false;
        }
        if (!read)
            skip_to_known(parser, spec, &at);
        fine = fine && read;
    }
    setting->tag_count = parser->tags.count;
    setting->tags = parser_keep(parser, &parser->tags, sizeof(struct tag));
    return fine && setting->tags != NULL;
}

/* ---- which setting ----------------------------------------------------------------------------------------------- */

const char *setting_usage(struct parser *parser, const struct setting_spec *spec)
{
    struct text text = { NULL, 0, 0, false };
    text_print(&text, "%s", spec->word != NULL ? spec->word : "");
    for (const struct value_spec *value = spec->values; value != NULL && value->label != NULL; value++)
        if (!value->optional)
            text_print(&text, "%s%s", text.length > 0 ? " " : "", value->label);
    const char *usage = text.failed ? NULL : arena_text(&parser->scratch, text.bytes, text.length);
    text_release(&text);
    parser->failed = parser->failed || usage == NULL;
    return usage != NULL ? usage : "";
}

/* Could a line of this spec go on as the current line does behind its word? */
static bool goes_on(struct parser *parser, const struct setting_spec *spec)
{
    const struct value_spec *value = spec->values;
    const bool takes = value != NULL && value->label != NULL;
    if (parser->line.count == 1)
        return !takes || value->optional;
    return takes && value_fits(parser, spec, value, 1);
}

/* The setting of the current line. Of several with its word the first that fits what follows, else the first. */
static const struct setting_spec *pick(struct parser *parser, const struct schema *schema)
{
    const struct setting_spec *first = NULL;
    const bool number = token_is_number(&parser->line, 0);
    for (const struct setting_spec *spec = settings_of(schema); spec->help != NULL; spec++) {
        if (spec->word == NULL ? !number : !token_is(&parser->line, 0, spec->word))
            continue;
        if (spec->word == NULL || goes_on(parser, spec))
            return spec;
        if (first == NULL)
            first = spec;
    }
    return first;
}

static const char *const *setting_words(struct parser *parser, const struct schema *schema)
{
    bool fine = true;
    parser->words.count = 0;
    for (const struct setting_spec *spec = settings_of(schema); fine && spec->help != NULL; spec++)
        if (spec->word != NULL && schema_setting(schema, spec->word, strlen(spec->word)) == spec)
            fine = add_word(parser, &parser->words, spec->word);
    fine = fine && add_word(parser, &parser->words, NULL);
    return fine ? parser->words.items : NULL;
}

/* A known word that is held together with what follows: `frames: 1`, `frames=1`, `gain[1001 0]`. Returns its setting
 * after a message, else NULL. */
static const struct setting_spec *refuse_glued(struct parser *parser, const struct schema *schema)
{
    const struct token *token = &parser->line.tokens[0];
    const char *bytes = token_bytes(&parser->line, 0);
    size_t length = 0;
    while (length < token->length && strchr(":=[", bytes[length]) == NULL)
        length++;
    const struct setting_spec *spec = schema_setting(schema, bytes, length);
    if (length == token->length || spec == NULL)
        return NULL;
    message_add(&parser->messages, parser_place(parser, 0, 0),
                bytes[length] == '[' ? "expected a space between '%s' and the bracket"
                                     : "expected a space behind '%s', without : or =",
                spec->word);
    return spec;
}

/* A word that no setting of this kind is near to. */
static void refuse_far(struct parser *parser, const struct schema *schema, const char *const *words)
{
    const struct token *token = &parser->line.tokens[0];
    const char *bytes = token_bytes(&parser->line, 0);
    const struct span where = parser_place(parser, 0, 0);
    const struct schema *owner = setting_owner(parser, bytes, token->length);
    const bool keys = schema_setting(schema, NULL, 0) != NULL;
    char room[QUOTE_ROOM];
    quoted(bytes, token->length, room);
    if (owner != NULL)
        message_add(&parser->messages, where, "a '%s' block has no setting %s; it belongs to '%s' blocks", schema->name,
                    room, owner->name);
    else if (words[0] != NULL)
        message_add(&parser->messages, where, "a '%s' block has no setting %s; it knows: %s%s", schema->name, room,
                    keys ? "lines that begin with a number, " : "", parser_list(parser, words, LISTED));
    else
        message_add(&parser->messages, where, "a '%s' block has no setting %s; %s", schema->name, room,
                    keys ? "its lines begin with a number" : "it has none");
}

/* A line that is no setting. Returns the one that was likely meant, or NULL. */
static const struct setting_spec *refuse_setting(struct parser *parser, const struct schema *schema)
{
    const struct token *token = &parser->line.tokens[0];
    const char *bytes = token_bytes(&parser->line, 0);
    char room[QUOTE_ROOM], meant[QUOTE_ROOM];
    const struct setting_spec *glued = refuse_glued(parser, schema);
    if (glued != NULL)
        return glued;
    const char *const *words = setting_words(parser, schema);
    if (words == NULL)
        return NULL;
    const char *nearest = parser_nearest(parser, bytes, token->length, words);
    if (nearest == NULL) {
        refuse_far(parser, schema, words);
        return NULL;
    }
    message_add(&parser->messages, parser_place(parser, 0, 0), "a '%s' block has no setting %s; did you mean %s?",
                schema->name, quoted(bytes, token->length, room), quoted(nearest, strlen(nearest), meant));
    return schema_setting(schema, nearest, strlen(nearest));
}

/* ---- a block's lines --------------------------------------------------------------------------------------------- */

/* For each setting of the schema the line in which its word stood first, or 0. */
struct seen {
    int lines[SETTINGS_LIMIT];
};

/* The first setting with the same word keeps the account. */
static int *seen_line(struct seen *seen, const struct schema *schema, const struct setting_spec *spec)
{
    const struct setting_spec *first = settings_of(schema);
    int index = 0;
    while (!same_word(&first[index], spec))
        index++;
    assert(index < SETTINGS_LIMIT);
    return &seen->lines[index];
}

/* A line with a broken quote or bracket still counts as given. */
static void mark_seen(struct parser *parser, const struct schema *schema, struct seen *seen)
{
    const struct token *token = &parser->line.tokens[0];
    const struct setting_spec *spec =
        schema_setting(schema, token_is_number(&parser->line, 0) ? NULL : token_bytes(&parser->line, 0), token->length);
    if (spec != NULL)
        *seen_line(seen, schema, spec) = parser->line.number;
}

static void read_line(struct parser *parser, const struct schema *schema, struct seen *seen)
{
    if (parser->line.broken) {
        mark_seen(parser, schema, seen);
        return;
    }
    struct setting setting = { .where = parser_place(parser, 0, 0), .given = true };
    const struct setting_spec *spec = pick(parser, schema);
    if (spec == NULL) {
        const struct setting_spec *meant = refuse_setting(parser, schema);
        if (meant != NULL && *seen_line(seen, schema, meant) == 0)
            *seen_line(seen, schema, meant) = parser->line.number;
        return;
    }
    if (!parser->line.indented)
        message_add(&parser->messages, setting.where, "a setting is indented under its block; put spaces before it");
    if (parser->line.count > 1 && token_is(&parser->line, 1, "=")) {
        message_add(&parser->messages, parser_place(parser, 1, 1), "a setting has no =; write '%s'",
                    setting_usage(parser, spec));
        return;
    }
    int *line = seen_line(seen, schema, spec);
    if (*line != 0 && !spec->repeats) {
        const struct span before = { *line, 1, 1 };
        message_add(&parser->messages, setting.where, "'%s' stands twice in this block; it was given in line %d",
                    spec->word, source_line(&parser->source, before));
        return;
    }
    *line = parser->line.number;
    const bool keys = spec->word == NULL;
    if (fields_read(parser, spec, keys ? schema->name : spec->word, keys ? 0 : 1, &setting))
        growing_add(parser, &parser->settings, &setting, sizeof setting);
}

/* Reads what a schema says of a missing setting, as if it stood in the recipe. */
static void read_standard(struct parser *parser, const struct setting_spec *spec)
{
    struct setting setting = { .where = parser->block->where, .given = false };
    struct line given = parser->line;
    const size_t length = strlen(spec->standard);
    parser->line = parser->standard;
    parser->standing_in = &parser->block->where;
    if (!line_read(&parser->line, spec->standard, spec->standard + length, parser->block->where.line,
                   &parser->messages))
        parser->failed = true;
    else if (fields_read(parser, spec, spec->word, 0, &setting))
        growing_add(parser, &parser->settings, &setting, sizeof setting);
    parser->standing_in = NULL;
    parser->standard = parser->line;
    parser->line = given;
}

static void complete(struct parser *parser, const struct schema *schema, struct seen *seen)
{
    for (const struct setting_spec *spec = settings_of(schema); spec->help != NULL && !parser->failed; spec++) {
        int *line = seen_line(seen, schema, spec);
        if (*line != 0)
            continue;
        if (spec->required) {
            message_add(&parser->messages, parser->block->where, "this '%s' block needs a line '%s': %s", schema->name,
                        setting_usage(parser, spec), spec->help);
            *line = parser->block->where.line;
        } else if (spec->standard != NULL) {
            read_standard(parser, spec);
        }
    }
}

/* A curve's lines are all optional, but it needs one. */
static void check_curve_lines(struct parser *parser, const struct seen *seen)
{
    for (int i = 0; i < SETTINGS_LIMIT; i++)
        if (seen->lines[i] != 0)
            return;
    message_add(&parser->messages, parser->block->where,
                "this '%s' block needs a line: a key such as '1010 0.5', a strike or a flicker",
                parser->block->schema->name);
}

void settings_read(struct parser *parser, const char *begin, const char *end, int line)
{
    const struct schema *schema = parser->block->schema;
    struct seen seen = { { 0 } };
    parser->settings.count = 0;
    for (; begin < end && !parser->failed; line++) {
        if (!line_read(&parser->line, begin, end, line, &parser->messages)) {
            parser->failed = true;
            return;
        }
        struct head head;
        if (schema != NULL && line_role(&parser->line, parser->schemas, schema, &head) == ROLE_SETTING)
            read_line(parser, schema, &seen);
        begin = line_next(&parser->line, end);
    }
    if (schema == NULL || parser->failed)
        return;
    complete(parser, schema, &seen);
    parser->block->setting_count = parser->settings.count;
    parser->block->settings = parser_keep(parser, &parser->settings, sizeof(struct setting));
    if (schema->makes == MAKES_NUMBER) {
        check_curve_lines(parser, &seen);
        curve_make(parser);
    }
}
