/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Changing one line of a recipe: `--set` for one run, recipe_edit for good. Both work on the text, so everything else
 * stays as it is. The line is found by its first words only; whether it is right is the parser's business.
 */
#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "language/numbers.h"
#include "language/outline.h"
#include "language/parser.h"

/* The change "BLOCK: SETTING LINE" and what is being looked for. */
struct wish {
    const char *change;
    size_t block, block_length; /* in `change`, without white space around */
    size_t setting;
    const char *name; /* the block's, in normal form */
    struct line line; /* the new line, indented, as tokens */
    const char *new_line;
    struct arena *arena;
    const struct schema *const *schemas;
    bool failed; /* memory is out */
};

/* How surely a head is the one that is meant: by its name, by its label, by its word. */
enum rank { RANK_NONE, RANK_WORD, RANK_LABEL, RANK_NAME };

struct target {
    enum rank rank;
    int count; /* heads of this rank */
    const char *begin, *end;
    int line;
    const struct schema *schema;
};

/* What is to be done with the text. */
struct edit {
    size_t from, to; /* bytes that are replaced */
    int line;        /* number of the replaced or of the new line */
    bool added;
    const char *text; /* what stands there then */
};

/* What is wrong with a change; `text` is in the arena. */
struct trouble {
    const char *text;
    size_t at, length; /* bytes of the change that are meant */
};

static void trouble_set(struct wish *wish, struct trouble *trouble, size_t at, size_t length, const char *format, ...)
    PASSEL_PRINTF(5, 6);

static void trouble_set(struct wish *wish, struct trouble *trouble, size_t at, size_t length, const char *format, ...)
{
    char room[1024];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(room, sizeof room, format, arguments);
    va_end(arguments);
    *trouble = (struct trouble){ arena_text(wish->arena, room, strlen(room)), at, length };
    wish->failed = wish->failed || trouble->text == NULL;
}

/* ---- the wish ---------------------------------------------------------------------------------------------------- */

static size_t skip_space(const char *text, size_t at)
{
    while (text[at] == ' ' || text[at] == '\t')
        at++;
    return at;
}

/* Splits the change; false with a trouble set when it has not the form of one. */
static bool read_wish(struct wish *wish, struct trouble *trouble)
{
    const char *change = wish->change;
    const size_t length = strlen(change), colon = strcspn(change, ":");
    if (change[strcspn(change, "\r\n")] != '\0') {
        trouble_set(wish, trouble, strcspn(change, "\r\n"), 1, "a change is one line");
        return false;
    }
    wish->block = skip_space(change, 0);
    size_t end = colon;
    while (end > wish->block && (change[end - 1] == ' ' || change[end - 1] == '\t'))
        end--;
    wish->block_length = end - wish->block;
    if (colon == length || wish->block_length == 0) {
        trouble_set(wish, trouble, 0, length, "expected 'BLOCK: SETTING LINE', such as 'edge: choke 0.7 px'");
        return false;
    }
    wish->setting = skip_space(change, colon + 1);
    if (change[wish->setting] == '\0' || change[wish->setting] == '#') {
        trouble_set(wish, trouble, wish->setting, 1, "expected a setting's line behind the colon");
        return false;
    }
    return true;
}

/* The line as it will stand in the text, and its tokens. */
static bool make_line(struct wish *wish)
{
    const size_t length = strlen(wish->change + wish->setting);
    char *line = arena_take(wish->arena, length + 3);
    if (line == NULL)
        return false;
    memcpy(line, "  ", 2);
    memcpy(line + 2, wish->change + wish->setting, length);
    wish->new_line = line;
    wish->name = name_settled(wish->arena, wish->change + wish->block, wish->block_length);
    return wish->name != NULL && line_read(&wish->line, line, line + length + 2, 1, NULL);
}

/* ---- the block --------------------------------------------------------------------------------------------------- */

static bool token_is_name(const struct wish *wish, const struct line *line, int at)
{
    if (at >= line->count || line->tokens[at].kind != TOKEN_WORD)
        return false;
    const size_t length = line->tokens[at].length;
    if (length == strlen(wish->name) && memcmp(token_bytes(line, at), wish->name, length) == 0)
        return true;
    char name[NAME_ROOM];
    name_settle(token_bytes(line, at), length, name);
    return strcmp(name, wish->name) == 0;
}

static enum rank rank_of(const struct wish *wish, const struct line *line, const struct head *head)
{
    if (head->named)
        return token_is_name(wish, line, 0) ? RANK_NAME : RANK_NONE;
    if (head->schema == NULL)
        return RANK_NONE;
    if (head->schema->form == HEAD_SHOT && token_is_name(wish, line, 1))
        return RANK_LABEL;
    for (int i = 2; i + 1 < line->count; i++)
        if (head->schema->form == HEAD_OUTPUT && token_is(line, i, "as") && token_is_name(wish, line, i + 1))
            return RANK_LABEL;
    return strcmp(head->schema->name, wish->name) == 0 ? RANK_WORD : RANK_NONE;
}

static void meet_head(const struct wish *wish, const struct line *line, const struct head *head, struct target *target)
{
    if (target->begin != NULL && target->end == NULL)
        target->end = line->bytes;
    const enum rank rank = rank_of(wish, line, head);
    if (rank == RANK_NONE || rank < target->rank)
        return;
    if (rank == target->rank) {
        target->count++;
        return;
    }
    *target = (struct target){ .rank = rank, .count = 1, .begin = line->bytes, .line = line->number };
    target->schema = head->schema;
}

/* False when memory is out. */
static bool find_block(const struct wish *wish, const struct source *source, struct line *line, struct target *target)
{
    const char *at = source->text, *end = at + source->length;
    const struct schema *above = NULL;
    *target = (struct target){ .rank = RANK_NONE };
    for (int number = 1; at < end; number++) {
        struct head head;
        if (!line_read(line, at, end, number, NULL))
            return false;
        if (line_role(line, wish->schemas, above, &head) == ROLE_HEAD) {
            above = head.schema;
            meet_head(wish, line, &head, target);
        }
        at = line_next(line, end);
    }
    if (target->end == NULL)
        target->end = end;
    return true;
}

/* The name of a block that is nearest to the wanted one, in the arena; NULL when none is near. */
static const char *nearest_block(struct wish *wish, const struct source *source, struct line *line)
{
    const char *nearest = NULL, *at = source->text, *end = at + source->length;
    for (int number = 1; at < end && !wish->failed; number++) {
        struct head head;
        if (!line_read(line, at, end, number, NULL)) {
            wish->failed = true;
            break;
        }
        if (line_role(line, wish->schemas, NULL, &head) == ROLE_HEAD && head.named &&
            line->tokens[0].width <= NAME_LIMIT) {
            const char *name = token_text(line, 0, wish->arena);
            const char *words[] = { nearest != NULL ? nearest : name, name, NULL };
            wish->failed = wish->failed || name == NULL;
            if (name != NULL)
                nearest = text_nearest(wish->name, words);
        }
        at = line_next(line, end);
    }
    return nearest;
}

static void no_block(struct wish *wish, const struct source *source, const struct target *target, struct line *line,
                     struct trouble *trouble)
{
    char room[QUOTE_ROOM], meant[QUOTE_ROOM];
    quoted(wish->change + wish->block, wish->block_length, room);
    const char *nearest = target->count > 1 ? NULL : nearest_block(wish, source, line);
    if (nearest != NULL)
        trouble_set(wish, trouble, wish->block, wish->block_length, "no block is called %s; did you mean %s?", room,
                    quoted(nearest, strlen(nearest), meant));
    else if (target->count > 1)
        trouble_set(wish, trouble, wish->block, wish->block_length,
                    "%d blocks could be meant by %s; name one by its label", target->count, room);
    else
        trouble_set(wish, trouble, wish->block, wish->block_length, "no block is called %s", room);
}

/* ---- the line ---------------------------------------------------------------------------------------------------- */

/* What a look at the block's lines found. */
struct match {
    int count;         /* lines that the new one could replace */
    struct edit first; /* the first of them */
    struct edit place; /* where a new line would stand: behind this line */
    bool placed;       /* a key that comes later was met: `place` stays */
    size_t comment;    /* byte of the text where the first match's comment begins */
};

static double frame_of(const struct line *line)
{
    double frame = 0;
    size_t used;
    number_read(token_bytes(line, 0), line->tokens[0].length, &frame, &used);
    return frame;
}

static bool same_token(const struct line *a, const struct line *b, int at)
{
    return a->tokens[at].length == b->tokens[at].length &&
           memcmp(token_bytes(a, at), token_bytes(b, at), a->tokens[at].length) == 0;
}

/* Is `line` one that the new line replaces? */
static bool matches(const struct wish *wish, const struct schema *schema, const struct line *line)
{
    const struct line *wanted = &wish->line;
    if (token_is_number(wanted, 0))
        return token_is_number(line, 0) && frame_of(line) == frame_of(wanted);
    if (!same_token(line, wanted, 0))
        return false;
    const struct setting_spec *spec = schema_setting(schema, token_bytes(wanted, 0), wanted->tokens[0].length);
    if (spec == NULL || !spec->repeats || wanted->count < 2 || token_is_number(wanted, 1))
        return true;
    return line->count >= 2 && same_token(line, wanted, 1);
}

static bool is_later_key(const struct wish *wish, const struct line *line)
{
    return token_is_number(&wish->line, 0) && token_is_number(line, 0) && frame_of(line) > frame_of(&wish->line);
}

static void meet_line(const struct wish *wish, const struct source *source, const struct target *target,
                      const struct line *line, struct match *match)
{
    const size_t from = (size_t)(line->bytes - source->text);
    const struct edit whole = { .from = from, .to = from + line->length, .line = line->number };
    if (matches(wish, target->schema, line) && match->count++ == 0) {
        match->first = whole;
        match->comment = from + line->comment;
    }
    match->placed = match->placed || is_later_key(wish, line);
    if (!match->placed)
        match->place = (struct edit){ .from = whole.to, .to = whole.to, .line = line->number + 1, .added = true };
}

static bool find_line(const struct wish *wish, const struct source *source, const struct target *target,
                      struct line *line, struct match *match)
{
    const char *at = target->begin;
    *match = (struct match){ .count = 0 };
    for (int number = target->line; at < target->end; number++) {
        if (!line_read(line, at, source->text + source->length, number, NULL))
            return false;
        const size_t behind = (size_t)(at - source->text) + line->length;
        if (number == target->line)
            match->place = (struct edit){ .from = behind, .to = behind, .line = number + 1, .added = true };
        else if (line->count > 0)
            meet_line(wish, source, target, line, match);
        at = line_next(line, target->end);
    }
    return true;
}

/* ---- the edit ---------------------------------------------------------------------------------------------------- */

/* Finds block and line; false with a trouble set or with wish->failed. */
static bool find(struct wish *wish, const struct source *source, struct line *line, struct match *match,
                 struct trouble *trouble)
{
    struct target target;
    char room[QUOTE_ROOM];
    if (!find_block(wish, source, line, &target))
        wish->failed = true;
    if (wish->failed)
        return false;
    if (target.rank == RANK_NONE || (target.rank == RANK_WORD && target.count > 1)) {
        no_block(wish, source, &target, line, trouble);
        return false;
    }
    if (!find_line(wish, source, &target, line, match)) {
        wish->failed = true;
        return false;
    }
    const struct token *token = &wish->line.tokens[0];
    const char *word = token_bytes(&wish->line, 0);
    const struct setting_spec *spec = schema_setting(target.schema, word, token->length);
    if (match->count > 1 && spec != NULL && spec->repeats) {
        trouble_set(wish, trouble, wish->setting, token->length,
                    "%s stands %d times in this block, and it is not clear which line is meant; edit the recipe",
                    quoted(word, token->length, room), match->count);
        return false;
    }
    return true;
}

/* Reads the wish and decides what to do; false with a trouble set or with wish->failed. */
static bool decide(struct wish *wish, const struct source *source, struct match *match, struct trouble *trouble)
{
    struct line line = { .bytes = NULL };
    if (!read_wish(wish, trouble))
        return false;
    if (!make_line(wish)) {
        wish->failed = true;
        return false;
    }
    if (wish->line.count == 0) {
        trouble_set(wish, trouble, wish->setting, 1, "expected a setting's line behind the colon");
        return false;
    }
    const bool fine = find(wish, source, &line, match, trouble);
    line_release(&line);
    return fine && !wish->failed;
}

static const char *line_end_of(const struct source *source, size_t at)
{
    return at < source->length && source->text[at] == '\r' ? "\r\n" : "\n";
}

/* The text in which the edit is made, in the arena; NULL when memory is out. */
static char *apply(struct wish *wish, const struct source *source, const struct edit *edit, const char *comment,
                   size_t comment_length, size_t *length)
{
    struct text text = { NULL, 0, 0, false };
    text_add(&text, source->text, edit->from);
    if (edit->added)
        text_print(&text, "%s", line_end_of(source, edit->from));
    text_print(&text, "%s", edit->text);
    text_add(&text, comment, comment_length);
    text_add(&text, source->text + edit->to, source->length - edit->to);
    char *copy = text.failed ? NULL : arena_text(wish->arena, text.bytes, text.length);
    *length = text.length;
    text_release(&text);
    return copy;
}

/* The comment of the replaced line with the white space before it, unless the new line has one of its own. */
static const char *comment_of(const struct wish *wish, const struct source *source, const struct match *match,
                              size_t *length)
{
    size_t begin = match->comment;
    *length = 0;
    if (match->count == 0 || wish->line.comment < wish->line.length || begin >= match->first.to)
        return "";
    while (begin > match->first.from && (source->text[begin - 1] == ' ' || source->text[begin - 1] == '\t'))
        begin--;
    *length = match->first.to - begin;
    return source->text + begin;
}

/* ---- --set ------------------------------------------------------------------------------------------------------- */

/* Enters the changed line among those changed before it. */
static bool remember(struct parser *parser, const struct wish *wish, const struct edit *edit, int change)
{
    const int count = parser->source.changed_count;
    const int shift = letters_in(wish->change, wish->setting) - 2;
    struct changed_line *changed = parser_array(parser, (size_t)count + 1, sizeof *changed);
    if (changed == NULL)
        return false;
    const struct changed_line own = { edit->line, edit->added, change, shift, wish->change };
    int kept = 0;
    bool entered = false;
    for (int i = 0; i < count; i++) {
        struct changed_line old = parser->source.changed[i];
        if (!edit->added && old.line == edit->line) {
            changed[kept] = own;
            changed[kept++].added = old.added;
            entered = true;
            continue;
        }
        if (!entered && old.line >= edit->line) {
            changed[kept++] = own;
            entered = true;
        }
        old.line += edit->added && old.line >= edit->line;
        changed[kept++] = old;
    }
    if (!entered)
        changed[kept++] = own;
    parser->source.changed = changed;
    parser->source.changed_count = kept;
    return true;
}

/* False with a trouble set or with wish->failed. */
static bool make_change(struct parser *parser, struct wish *wish, int number, struct trouble *trouble)
{
    struct match match;
    size_t length, comment_length;
    if (!decide(wish, &parser->source, &match, trouble))
        return false;
    struct edit edit = match.count > 0 ? match.first : match.place;
    edit.text = wish->new_line;
    const char *comment = comment_of(wish, &parser->source, &match, &comment_length);
    char *text = apply(wish, &parser->source, &edit, comment, comment_length, &length);
    if (text == NULL || !remember(parser, wish, &edit, number)) {
        wish->failed = true;
        return false;
    }
    parser->source.text = text;
    parser->source.length = length;
    return true;
}

static void say_trouble(const struct trouble *trouble, const char *change, const char *file, int number,
                        struct text *out)
{
    const struct place place = { .file = file,
                                 .line = number,
                                 .column = letters_in(change, trouble->at) + 1,
                                 .bytes = change,
                                 .length = strcspn(change, "\r\n") };
    message_write_at(&place, letters_in(change + trouble->at, trouble->length), trouble->text, out);
}

int changes_make(struct parser *parser, const struct recipe_change *changes, int count, struct text *out)
{
    int errors = 0;
    for (int i = 0; i < count && !parser->failed; i++) {
        struct trouble trouble = { NULL, 0, 0 };
        struct wish wish = { .change = arena_text(parser->arena, changes[i].text, strlen(changes[i].text)),
                             .arena = parser->arena,
                             .schemas = parser->schemas };
        if (wish.change == NULL) {
            parser->failed = true;
            break;
        }
        if (!make_change(parser, &wish, i + 1, &trouble) && !wish.failed) {
            say_trouble(&trouble, wish.change, "--set", i + 1, out);
            text_add(out, "\n", 1);
            errors++;
        }
        parser->failed = parser->failed || wish.failed;
        line_release(&wish.line);
    }
    return errors;
}

/* ---- recipe_edit ------------------------------------------------------------------------------------------------- */

/* True when more than one space stands before the token: it begins a column. */
static bool begins_column(const struct line *line, int at)
{
    return at > 0 && at < line->count &&
           line->tokens[at].column > line->tokens[at - 1].column + line->tokens[at - 1].width + 1;
}

/* The new line's tokens in the columns of the old one, as far as they fit. */
static void align(const struct wish *wish, const struct line *old, struct text *out)
{
    const struct line *line = &wish->line;
    const size_t indent = old->count > 0 ? old->tokens[0].start : 2;
    int column = 1;
    text_add(out, old->count > 0 ? old->bytes : "  ", indent);
    column += letters_in(old->count > 0 ? old->bytes : "  ", indent);
    for (int i = 0; i < line->count; i++) {
        const struct token *token = &line->tokens[i];
        const bool apart = i > 0 && token->column > line->tokens[i - 1].column + line->tokens[i - 1].width;
        const int wanted = apart && begins_column(old, i) ? old->tokens[i].column : 0;
        for (int spaces = 0; apart && (spaces == 0 || column < wanted); spaces++, column++)
            text_add(out, " ", 1);
        text_add(out, token_bytes(line, i), token->length);
        column += token->width;
    }
    if (line->comment < line->length) {
        text_print(out, "  ");
        text_add(out, line->bytes + line->comment, line->length - line->comment);
    }
}

/* The line whose columns the new one takes over: the replaced one, or nothing. */
static bool edit_text(struct wish *wish, const struct source *source, const struct match *match, struct edit *edit)
{
    struct line old = { .bytes = NULL };
    struct text text = { NULL, 0, 0, false };
    *edit = match->count > 0 ? match->first : match->place;
    bool fine = match->count == 0 ||
                line_read(&old, source->text + edit->from, source->text + source->length, edit->line, NULL);
    if (fine)
        align(wish, &old, &text);
    edit->text = fine && !text.failed ? arena_text(wish->arena, text.bytes, text.length) : NULL;
    line_release(&old);
    text_release(&text);
    return edit->text != NULL;
}

static enum passel_status edit(struct wish *wish, const struct source *source, struct text *out,
                               struct trouble *trouble)
{
    struct match match;
    struct edit edit;
    size_t length, comment_length;
    if (!decide(wish, source, &match, trouble))
        return wish->failed ? PASSEL_NO_MEMORY : PASSEL_BAD_RECIPE;
    if (!edit_text(wish, source, &match, &edit))
        return PASSEL_NO_MEMORY;
    const char *comment = comment_of(wish, source, &match, &comment_length);
    const char *text = apply(wish, source, &edit, comment, comment_length, &length);
    if (text != NULL)
        text_add(out, text, length);
    return text != NULL && !out->failed ? PASSEL_OK : PASSEL_NO_MEMORY;
}

enum passel_status recipe_edit(const char *path, const char *text, size_t length, const struct schema *const *schemas,
                               const char *change, struct text *out, struct passel_error *error)
{
    struct arena arena;
    arena_init(&arena);
    const size_t mark = text_mark(text, length);
    const struct source source = { .path = path, .text = text + mark, .length = length - mark };
    struct wish wish = { .change = change, .arena = &arena, .schemas = schemas };
    struct trouble trouble = { NULL, 0, 0 };
    struct text said = { NULL, 0, 0, false };
    text_add(out, text, mark);
    const enum passel_status status = edit(&wish, &source, out, &trouble);
    if (status == PASSEL_BAD_RECIPE)
        say_trouble(&trouble, change, path, 1, &said);
    if (status != PASSEL_OK)
        error_set(error, status, "%s", said.length > 0 ? said.bytes : "no memory to change the recipe");
    text_release(&said);
    line_release(&wish.line);
    arena_release(&arena);
    return status;
}
