/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * recipe_parse: from text to a checked recipe. Heads first, so that every name is known; then block by block.
 */
#include "language/parser.h"

#include <string.h>

#include "base/error.h"
#include "base/file.h"
#include "base/memory.h"
#include "language/outline.h"

/* ---- heads ------------------------------------------------------------------------------------------------------- */

/* Settings of heads whose schema says nothing. */
static const struct setting_spec shot_head = { .values = (const struct value_spec[]){
                                                   { .label = "NAME", .type = VALUE_NAME }, { .label = NULL } } };
static const struct setting_spec output_head = {
    .values = (const struct value_spec[]){ { .label = "PICTURE", .type = VALUE_PICTURE }, { .label = NULL } },
    .tags =
        (const struct tag_spec[]){
            { .word = "as",
              .help = "a label",
              .values = (const struct value_spec[]){ { .label = "LABEL", .type = VALUE_NAME }, { .label = NULL } } },
            { .word = NULL } }
};
static const struct setting_spec bare_head = { .word = NULL };

static const struct setting_spec *head_spec(const struct schema *schema)
{
    if (schema->head != NULL)
        return schema->head;
    return schema->form == HEAD_SHOT ? &shot_head : schema->form == HEAD_OUTPUT ? &output_head : &bare_head;
}

/* The first word of a kind's name; "key" of "key two-screen". */
static const char *first_word(struct parser *parser, const char *name)
{
    const char *word = arena_text(&parser->scratch, name, strcspn(name, " "));
    parser->failed = parser->failed || word == NULL;
    return word != NULL ? word : name;
}

/* Names of kinds and the first words of those that have two, ended by NULL. */
static const char *const *kind_beginnings(struct parser *parser)
{
    bool fine = true;
    const char *end = NULL;
    parser->words.count = 0;
    for (const struct schema *const *schema = parser->schemas; fine && *schema != NULL; schema++) {
        const char *word = first_word(parser, (*schema)->name);
        if ((*schema)->form == HEAD_NAMED)
            fine = growing_add(parser, &parser->words, &(*schema)->name, sizeof end) &&
                   growing_add(parser, &parser->words, &word, sizeof end);
    }
    fine = fine && growing_add(parser, &parser->words, &end, sizeof end);
    return fine ? parser->words.items : NULL;
}

/* The words that can stand where a kind stands, or begin a head, with a name or without. */
static const char *const *kind_words(struct parser *parser, bool named)
{
    bool fine = true;
    const char *end = NULL;
    parser->words.count = 0;
    for (const struct schema *const *schema = parser->schemas; fine && *schema != NULL; schema++)
        if (((*schema)->form == HEAD_NAMED) == named)
            fine = growing_add(parser, &parser->words, &(*schema)->name, sizeof end);
    fine = fine && growing_add(parser, &parser->words, &end, sizeof end);
    return fine ? parser->words.items : NULL;
}

/* The second words of two-word kinds that begin with token `at`, ended by NULL. */
static const char *const *variants(struct parser *parser, int at)
{
    const struct token *token = &parser->line.tokens[at];
    bool fine = true;
    const char *end = NULL;
    parser->words.count = 0;
    for (const struct schema *const *schema = parser->schemas; fine && *schema != NULL; schema++) {
        const char *space = strchr((*schema)->name, ' ');
        if (space != NULL && (size_t)(space - (*schema)->name) == token->length &&
            memcmp((*schema)->name, token_bytes(&parser->line, at), token->length) == 0) {
            const char *second = space + 1;
            fine = growing_add(parser, &parser->words, &second, sizeof second);
        }
    }
    fine = fine && growing_add(parser, &parser->words, &end, sizeof end);
    return fine ? parser->words.items : NULL;
}

static void refuse_variant(struct parser *parser, int at, const char *const *words)
{
    char room[QUOTE_ROOM], meant[MEANT_ROOM] = "";
    const struct line *line = &parser->line;
    const bool missing = at + 1 == line->count;
    if (!missing)
        parser_meant(parser, token_bytes(line, at + 1), line->tokens[at + 1].length, words, meant);
    message_add(&parser->messages, missing ? parser_gap(parser, at + 1) : parser_place(parser, at + 1, at + 1),
                "%s is followed by what sort it is, one of: %s%s",
                quoted(token_bytes(line, at), line->tokens[at].length, room), parser_list(parser, words, 24), meant);
}

/* NAME = what is not a kind. */
static void refuse_kind(struct parser *parser, const struct head *head)
{
    const struct line *line = &parser->line;
    if (head->kind == line->count) {
        message_add(&parser->messages, parser_gap(parser, head->kind), "expected a kind behind the =: NAME = KIND");
        return;
    }
    const char *const *words = variants(parser, head->kind);
    if (words != NULL && words[0] != NULL) {
        refuse_variant(parser, head->kind, words);
        return;
    }
    const struct token *token = &line->tokens[head->kind];
    const char *bytes = token_bytes(line, head->kind);
    char room[QUOTE_ROOM], meant[MEANT_ROOM];
    words = kind_beginnings(parser);
    if (words == NULL)
        return;
    parser_meant(parser, bytes, token->length, words, meant);
    words = kind_words(parser, true);
    if (words == NULL)
        return;
    quoted(bytes, token->length, room);
    if (meant[0] != '\0')
        message_add(&parser->messages, parser_place(parser, head->kind, head->kind), "%s is not a kind of block%s",
                    room, meant);
    else
        message_add(&parser->messages, parser_place(parser, head->kind, head->kind),
                    "%s is not a kind of block; the kinds are: %s", room, parser_list(parser, words, 64));
}

/* An unindented line that is no head. */
static void refuse_head(struct parser *parser)
{
    const struct line *line = &parser->line;
    const struct token *token = &line->tokens[0];
    const char *bytes = token_bytes(line, 0);
    const struct span where = parser_place(parser, 0, 0);
    char room[QUOTE_ROOM], meant[MEANT_ROOM] = "";
    int words;
    quoted(bytes, token->length, room);
    const struct schema *kind = line->count > 1 ? kind_at(line, 1, parser->schemas, &words) : NULL;
    if (kind != NULL && kind->form == HEAD_NAMED) {
        message_add(&parser->messages, parser_gap(parser, 1),
                    "expected a = between the name and its kind: NAME = KIND");
        return;
    }
    const struct schema *owner = setting_owner(parser, bytes, token->length);
    if (owner != NULL) {
        message_add(&parser->messages, where, "%s is a setting of '%s' blocks; it is indented, below one", room,
                    owner->name);
        return;
    }
    const char *const *known = kind_words(parser, false);
    if (known != NULL)
        parser_meant(parser, bytes, token->length, known, meant);
    message_add(&parser->messages, where,
                "%s does not begin a block; expected NAME = KIND, shot NAME or output PICTURE%s", room, meant);
}

/* The name of a NAME = KIND line into the block; false when it is none. */
static bool head_name(struct parser *parser, struct block *block)
{
    const struct line *line = &parser->line;
    const struct token *token = &line->tokens[0];
    const char *bytes = token_bytes(line, 0);
    char room[QUOTE_ROOM];
    block->where = line_span(line, 0, 0);
    if (token->kind == TOKEN_WORD && token->width <= NAME_LIMIT && name_length(bytes, token->length) == token->length) {
        block->name = name_settled(parser->arena, bytes, token->length);
        parser->failed = parser->failed || block->name == NULL;
        return block->name != NULL;
    }
    block->name = "";
    if (line->broken)
        return false;
    if (token->width > NAME_LIMIT)
        message_add(&parser->messages, block->where, "a name has at most %d characters", NAME_LIMIT);
    else
        message_add(&parser->messages, block->where,
                    "%s is not a name; a name begins with a letter and goes on with letters, digits, - and _",
                    quoted(bytes, token->length, room));
    return false;
}

static void enter_name(struct parser *parser, struct block *block)
{
    const int before = name_table_add(parser->names, block->name, block->index);
    if (before >= 0)
        message_add(&parser->messages, block->where, "'%s' is the name of a block already, in line %d", block->name,
                    source_line(&parser->source, parser->blocks[before].where));
}

/* Enters what the head alone says: name, kind, place. The current line is the head's. */
static void enter_head(struct parser *parser, const struct head *head, struct block *block)
{
    const bool broken = parser->line.broken;
    block->schema = head->schema;
    block->name = "";
    block->where = line_span(&parser->line, 0, 0);
    if (parser->line.indented && !broken)
        message_add(&parser->messages, block->where, "a block begins at the left edge; remove the spaces before it");
    if (head->named) {
        if (head_name(parser, block))
            enter_name(parser, block);
        if (head->schema == NULL && !broken) {
            refuse_kind(parser, head);
        } else if (head->schema != NULL && head->schema->form != HEAD_NAMED) {
            message_add(&parser->messages, parser_place(parser, head->kind, head->kind),
                        "a block of the kind '%s' has no name before it; write '%s %s'", head->schema->name,
                        head->schema->name, head->schema->form == HEAD_SHOT ? "NAME" : "PICTURE as LABEL");
            block->schema = NULL;
        }
    } else if (head->schema == NULL && !broken) {
        refuse_head(parser);
    }
}

/* ---- the outline ------------------------------------------------------------------------------------------------- */

/* The version's line: `passel 1`, before everything else. */
static void check_version(struct parser *parser, bool first)
{
    const struct line *line = &parser->line;
    char room[QUOTE_ROOM];
    if (!first)
        message_add(&parser->messages, line_span(line, 0, 0), "the version stands before everything else");
    else if (line->count == 1)
        message_add(&parser->messages, line_end(line), "expected the version of the format: passel 1");
    else if (!token_is(line, 1, "1"))
        message_add(&parser->messages, line_span(line, 1, 1),
                    "this Passel reads version 1 of the format, not %s; a newer Passel may be needed",
                    quoted(token_bytes(line, 1), line->tokens[1].length, room));
    else if (line->count > 2)
        message_add(&parser->messages, line_span(line, 2, 2), "expected nothing more behind the version");
}

/* Reads the next line without messages: what is wrong with it is said when its block is read. */
static bool next_line(struct parser *parser, const char *begin, int number)
{
    if (!line_read(&parser->line, begin, parser->source.text + parser->source.length, number, NULL))
        parser->failed = true;
    return !parser->failed;
}

/* Lines before the first head belong to nobody. */
static void check_stray(struct parser *parser)
{
    message_add(&parser->messages, line_span(&parser->line, 0, 0),
                "there is no block above this setting; blocks begin at the left edge: NAME = KIND");
}

/* Finds all heads. `heads` gets a struct head for each. */
static void find_heads(struct parser *parser, struct growing *heads)
{
    const char *at = parser->source.text, *end = at + parser->source.length;
    const struct schema *above = NULL;
    bool first = true, strayed = false;
    for (int number = 1; at < end && next_line(parser, at, number); number++) {
        struct head head;
        const enum role role = line_role(&parser->line, parser->schemas, above, &head);
        if (role == ROLE_HEAD) {
            above = head.schema;
            if (!growing_add(parser, heads, &head, sizeof head))
                return;
        } else if (role == ROLE_SETTING && heads->count == 0 && !strayed) {
            check_stray(parser);
            strayed = true;
        } else if (role == ROLE_VERSION) {
            check_version(parser, first);
        }
        first = first && role == ROLE_EMPTY;
        at = line_next(&parser->line, end);
    }
}

/* Makes a block for each head and enters the names. */
static void enter_heads(struct parser *parser, const struct growing *heads)
{
    const struct head *head = heads->items;
    parser->block_count = heads->count;
    parser->blocks = parser_array(parser, (size_t)heads->count, sizeof *parser->blocks);
    parser->names = parser_array(parser, 1, sizeof *parser->names);
    if (parser->failed || !name_table_make(parser->names, parser->arena, (size_t)heads->count)) {
        parser->failed = true;
        return;
    }
    for (int i = 0; i < heads->count; i++) {
        if (!next_line(parser, head[i].begin, head[i].line))
            return;
        parser->blocks[i].index = i;
        enter_head(parser, &head[i], &parser->blocks[i]);
    }
}

/* ---- blocks ------------------------------------------------------------------------------------------------------ */

/* The first name that the head gives: of a shot, the label of an output. */
static const char *given_name(const struct setting *head)
{
    for (int i = 0; i < head->value_count; i++)
        if (head->values[i].spec != NULL && head->values[i].spec->type == VALUE_NAME)
            return head->values[i].text;
    for (int i = 0; i < head->tag_count; i++)
        for (int k = 0; k < head->tags[i].value_count; k++)
            if (head->tags[i].values[k].spec != NULL && head->tags[i].values[k].spec->type == VALUE_NAME)
                return head->tags[i].values[k].text;
    return "";
}

static void check_label(struct parser *parser, struct name_table *labels)
{
    const struct block *block = parser->block;
    const int before = block->name[0] != '\0' ? name_table_add(labels, block->name, block->index) : -1;
    if (before >= 0)
        message_add(&parser->messages, block->where, "'%s' is the label of an output already, in line %d", block->name,
                    source_line(&parser->source, parser->blocks[before].where));
}

static void check_shot(struct parser *parser)
{
    if (parser->recipe->shot != NULL)
        message_add(&parser->messages, parser->block->where, "a recipe has one shot; the first is in line %d",
                    source_line(&parser->source, parser->recipe->shot->where));
    else
        parser->recipe->shot = parser->block;
}

/* What stands behind the kind. The current line is the head's. */
static void read_head(struct parser *parser, const struct head *head, struct name_table *labels)
{
    struct block *block = parser->block;
    const struct schema *schema = block->schema;
    if (schema == NULL || parser->line.broken)
        return;
    struct setting *setting = parser_array(parser, 1, sizeof *setting);
    if (setting == NULL)
        return;
    setting->where = line_span(&parser->line, head->kind, head->kind + head->kind_words - 1);
    setting->given = true;
    const bool fine = fields_read(parser, head_spec(schema), schema->name, head->kind + head->kind_words, setting);
    if (schema->head != NULL || schema->form != HEAD_NAMED)
        block->head = setting;
    if (schema->form == HEAD_SHOT)
        check_shot(parser);
    if (schema->form == HEAD_NAMED || !fine)
        return;
    block->name = given_name(setting);
    if (schema->form == HEAD_OUTPUT)
        check_label(parser, labels);
}

static void read_blocks(struct parser *parser, const struct growing *heads)
{
    const struct head *head = heads->items;
    const char *end = parser->source.text + parser->source.length;
    struct name_table labels = { NULL, 0 };
    if (!name_table_make(&labels, &parser->scratch, (size_t)heads->count))
        parser->failed = true;
    for (int i = 0; i < heads->count && !parser->failed; i++) {
        parser->block = &parser->blocks[i];
        const char *next = i + 1 < heads->count ? head[i + 1].begin : end;
        if (!line_read(&parser->line, head[i].begin, end, head[i].line, &parser->messages)) {
            parser->failed = true;
            return;
        }
        const char *begin = line_next(&parser->line, end);
        read_head(parser, &head[i], &labels);
        settings_read(parser, begin, next, head[i].line + 1);
    }
}

/* Lines above the first head are looked at for broken quotes and characters only. */
static void read_preface(struct parser *parser, const char *end)
{
    const char *at = parser->source.text;
    for (int number = 1; at < end && !parser->failed; number++) {
        if (!line_read(&parser->line, at, end, number, &parser->messages))
            parser->failed = true;
        at = line_next(&parser->line, end);
    }
}

/* ---- the whole --------------------------------------------------------------------------------------------------- */

static bool keep_blocks(struct parser *parser)
{
    struct recipe *recipe = parser->recipe;
    const struct block **blocks = parser_array(parser, (size_t)parser->block_count, sizeof *blocks);
    for (int i = 0; blocks != NULL && i < parser->block_count; i++)
        blocks[i] = &parser->blocks[i];
    recipe->blocks = blocks;
    recipe->block_count = parser->block_count;
    recipe->names = parser->names;
    return blocks != NULL;
}

static void read_recipe(struct parser *parser)
{
    struct growing heads = { NULL, 0, 0 };
    find_heads(parser, &heads);
    const char *end = parser->source.text + parser->source.length;
    if (!parser->failed)
        read_preface(parser, heads.count > 0 ? ((const struct head *)heads.items)->begin : end);
    if (!parser->failed)
        enter_heads(parser, &heads);
    if (!parser->failed)
        read_blocks(parser, &heads);
    if (!parser->failed)
        references_check(parser);
    if (!parser->failed)
        keep_blocks(parser);
    memory_free(heads.items);
}

/* Text that no recipe can be: refused before any line is looked at. NULL when it is text. *at is where to point. */
static const char *not_text(const char *text, size_t length, size_t *at)
{
    *at = 0;
    if (length > RECIPE_LIMIT)
        return "a recipe is at most 64 MiB long, this one is longer";
    if (length >= 2 && (memcmp(text, "\xFF\xFE", 2) == 0 || memcmp(text, "\xFE\xFF", 2) == 0))
        return "this is UTF-16 text; save the recipe as UTF-8";
    const char *nul = memchr(text, '\0', length);
    if (nul == NULL)
        return NULL;
    *at = (size_t)(nul - text);
    return "there is a NUL byte here; a recipe is a text file";
}

/* The place of a byte of the text. */
static struct span place_of_byte(const char *text, size_t at)
{
    struct span where = { 1, 1, 1 };
    size_t begin = text_mark(text, at);
    for (const char *newline; (newline = memchr(text + begin, '\n', at - begin)) != NULL; where.line++)
        begin = (size_t)(newline - text) + 1;
    where.column = letters_in(text + begin, at - begin) + 1;
    return where;
}

static enum passel_status refuse_text(const char *path, const char *text, size_t length, size_t at, const char *never,
                                      struct text *messages, struct passel_error *error)
{
    const size_t mark = text_mark(text, length);
    const struct source source = { .path = path, .text = text + mark, .length = length - mark };
    const struct span where = place_of_byte(text, at);
    if (messages != NULL && at > 0)
        message_write(&source, where, never, messages);
    else if (messages != NULL)
        text_print(messages, "%s:1:1: error: %s", path, never);
    if (messages != NULL)
        text_add(messages, "\n", 1);
    return error_set(error, PASSEL_BAD_RECIPE, "%s:%d:%d: error: %s", path, where.line, where.column, never);
}

static enum passel_status start(struct parser *parser, const char *path, const char *text, size_t length,
                                struct passel_error *error)
{
    const size_t mark = text_mark(text, length);
    parser->recipe = memory_zeros(1, sizeof *parser->recipe);
    if (parser->recipe == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "%s: no memory for the recipe", path);
    parser->arena = &parser->recipe->arena;
    arena_init(parser->arena);
    arena_init(&parser->scratch);
    parser->messages.arena = &parser->scratch;
    char *folder = path_folder(path);
    parser->recipe->path = arena_text(parser->arena, path, strlen(path));
    parser->recipe->folder = folder != NULL ? arena_text(parser->arena, folder, strlen(folder)) : NULL;
    memory_free(folder);
    parser->source.path = parser->recipe->path;
    parser->source.length = length - mark;
    parser->source.text = arena_text(parser->arena, text + mark, parser->source.length);
    if (parser->recipe->path == NULL || parser->recipe->folder == NULL || parser->source.text == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "%s: no memory for the recipe", path);
    return PASSEL_OK;
}

static void finish(struct parser *parser)
{
    struct recipe *recipe = parser->recipe;
    recipe->text = parser->source.text;
    recipe->text_length = parser->source.length;
    recipe->changed = parser->source.changed;
    recipe->changed_count = parser->source.changed_count;
}

static void release(struct parser *parser)
{
    arena_release(&parser->scratch);
    line_release(&parser->line);
    line_release(&parser->standard);
    memory_free(parser->references.items);
    memory_free(parser->settings.items);
    memory_free(parser->tags.items);
    memory_free(parser->numbers.items);
    memory_free(parser->leaves.items);
    memory_free(parser->words.items);
}

/* What the caller is told when the recipe is wrong: the first message, and how many there are. */
static enum passel_status say_wrong(const struct parser *parser, const struct text *said, int errors,
                                    struct passel_error *error)
{
    const size_t first = strcspn(said->bytes, "\n");
    if (errors == 1)
        return error_set(error, PASSEL_BAD_RECIPE, "%.*s", (int)(first < 1900 ? first : 1900), said->bytes);
    return error_set(error, PASSEL_BAD_RECIPE, "%.*s (%d errors in %s)", (int)(first < 1600 ? first : 1600),
                     said->bytes, errors, parser->recipe->path);
}

static enum passel_status parse(struct parser *parser, const struct recipe_change *changes, int change_count,
                                struct text *messages, struct passel_error *error)
{
    struct text said = { NULL, 0, 0, false };
    int errors = changes_make(parser, changes, change_count, &said);
    if (!parser->failed)
        read_recipe(parser);
    messages_write(&parser->messages, &parser->source, &said);
    errors += parser->messages.total;
    finish(parser);
    enum passel_status status = PASSEL_OK;
    if (messages != NULL && said.length > 0)
        text_add(messages, said.bytes, said.length);
    if (parser->failed || parser->messages.failed || said.failed || (messages != NULL && messages->failed))
        status = error_set(error, PASSEL_NO_MEMORY, "%s: no memory for the recipe", parser->recipe->path);
    else if (errors > 0)
        status = say_wrong(parser, &said, errors, error);
    text_release(&said);
    return status;
}

enum passel_status recipe_parse(const char *path, const char *text, size_t length, const struct schema *const *schemas,
                                const struct recipe_change *changes, int change_count, struct recipe **recipe,
                                struct text *messages, struct passel_error *error)
{
    *recipe = NULL;
    size_t at;
    const char *never = not_text(text, length, &at);
    if (never != NULL)
        return refuse_text(path, text, length, at, never, messages, error);
    struct parser parser = { .schemas = schemas };
    enum passel_status status = start(&parser, path, text, length, error);
    if (status == PASSEL_OK)
        status = parse(&parser, changes, change_count, messages, error);
    release(&parser);
    if (status == PASSEL_OK)
        *recipe = parser.recipe;
    else
        recipe_free(parser.recipe);
    return status;
}
