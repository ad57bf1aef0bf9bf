/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A recipe back into text. The text is gone through line by line beside the blocks and settings that were made of it:
 * words come from the text, so numbers stay as they were written and comments stay at all; the structure says where
 * the cells of a line are. First everything is laid out as items and rows, then columns are measured and it is written.
 *
 * Where comments go: above a setting they belong to it. Above a head or the end, indented ones that follow the block
 * without an empty line stay with it, all others belong to what follows.
 */
#include <string.h>
#include <utf8proc.h>

#include "base/memory.h"
#include "language/lexer.h"
#include "language/numbers.h"
#include "language/recipe.h"

/* Longer cells do not push the others to the right. */
#define CELL_LIMIT 40

struct cell {
    size_t begin, length; /* in sheet.words */
    int width;            /* columns on screen */
};

/* A setting, or a comment between settings. */
struct row {
    const struct setting_spec *spec; /* NULL: a comment */
    int first_cell, cell_count;
    struct cell comment; /* length 0 when there is none */
};

enum item_kind { ITEM_TEXT, ITEM_HEAD, ITEM_NAMED_HEAD };

/* What stands at the left edge: a comment or the version, or a head with its rows. A named head has its name as cell 0
 * and the rest as cell 1. */
struct item {
    enum item_kind kind;
    bool blank; /* an empty line before it in the text */
    struct cell name, rest, comment;
    int first_row, row_count;
};

struct list {
    void *items;
    int count, room;
};

struct sheet {
    const struct recipe *recipe;
    struct text *out;
    struct text words; /* what the cells hold */
    struct list items, rows, cells;
    struct list waiting; /* comments whose place is not yet known: struct waiting_comment */
    struct line line;
    bool blank; /* an empty line has just been passed */
};

struct waiting_comment {
    struct cell text;
    bool indented, blank;
};

static void *list_add(struct sheet *sheet, struct list *list, size_t size)
{
    if (list->count == list->room) {
        const int room = list->room < 16 ? 16 : list->room * 2;
        void *items = memory_grow(list->items, (size_t)list->count, (size_t)room, size);
        if (items == NULL) {
            sheet->out->failed = true;
            return NULL;
        }
        list->items = items;
        list->room = room;
    }
    void *item = (char *)list->items + (size_t)list->count++ * size;
    memset(item, 0, size);
    return item;
}

/* ---- cells ------------------------------------------------------------------------------------------------------- */

static int width_of(const char *bytes, size_t length)
{
    int width = 0;
    for (size_t at = 0; at < length;) {
        size_t used;
        width += utf8proc_charwidth((utf8proc_int32_t)utf8_next(bytes + at, length - at, &used));
        at += used;
    }
    return width;
}

/* The cell from `begin` to the end of the words so far. */
static struct cell cell_from(const struct sheet *sheet, size_t begin)
{
    struct cell cell = { .begin = begin, .length = sheet->words.length - begin };
    if (!sheet->words.failed && cell.length > 0)
        cell.width = width_of(sheet->words.bytes + begin, cell.length);
    return cell;
}

static struct cell cell_of(struct sheet *sheet, const char *bytes, size_t length)
{
    const size_t begin = sheet->words.length;
    text_add(&sheet->words, bytes, length);
    return cell_from(sheet, begin);
}

static struct cell comment_cell(struct sheet *sheet)
{
    const struct line *line = &sheet->line;
    size_t end = line->length;
    while (end > line->comment && (line->bytes[end - 1] == ' ' || line->bytes[end - 1] == '\t'))
        end--;
    return cell_of(sheet, line->bytes + line->comment, end - line->comment);
}

/* A number token: a space before a unit that stands apart. */
static void write_number(struct sheet *sheet, const char *bytes, size_t length)
{
    double number;
    size_t used;
    if (!number_read(bytes, length, &number, &used))
        used = length;
    text_add(&sheet->words, bytes, used);
    if (used < length && unit_stands_apart(unit_named(bytes + used, length - used)))
        text_add(&sheet->words, " ", 1);
    text_add(&sheet->words, bytes + used, length - used);
}

/* Does white space part token `at` from the one before it? */
static bool parted(const struct line *line, int at, bool quantity)
{
    const enum token_kind kind = line->tokens[at].kind, before = line->tokens[at - 1].kind;
    if (before == TOKEN_OPEN || kind == TOKEN_CLOSE || kind == TOKEN_COMMA || token_bytes(line, at)[0] == ',')
        return false;
    return !(quantity && token_is(line, at, "%"));
}

/* The tokens of one value, from *at on. */
static void write_value(struct sheet *sheet, const struct value *value, int *at)
{
    const struct line *line = &sheet->line;
    const bool quantity = value->spec->type == VALUE_NUMBER || value->spec->type == VALUE_INTEGER;
    const int end = value->where.column + value->where.length, first = *at;
    for (; *at < line->count && line->tokens[*at].column < end; ++*at) {
        const struct token *token = &line->tokens[*at];
        if (*at > first && parted(line, *at, quantity))
            text_add(&sheet->words, " ", 1);
        if (quantity && token->kind == TOKEN_WORD)
            write_number(sheet, token_bytes(line, *at), token->length);
        else
            text_add(&sheet->words, token_bytes(line, *at), token->length);
    }
}

static void add_cell(struct sheet *sheet, size_t begin)
{
    struct cell *cell = list_add(sheet, &sheet->cells, sizeof *cell);
    if (cell != NULL)
        *cell = cell_from(sheet, begin);
}

/* Values, operator and tags of a setting whose tokens begin at `at`, each a cell. */
static void add_fields(struct sheet *sheet, const struct setting *setting, int at)
{
    for (int i = 0; i < setting->value_count; i++) {
        const size_t begin = sheet->words.length;
        if (setting->values[i].spec == NULL)
            continue;
        write_value(sheet, &setting->values[i], &at);
        add_cell(sheet, begin);
    }
    const char *operator_word = setting_operator(setting);
    if (operator_word != NULL) {
        const size_t begin = sheet->words.length;
        text_print(&sheet->words, "%s", operator_word);
        add_cell(sheet, begin);
    }
    for (int i = 0; i < setting->tag_count; i++) {
        const struct tag *tag = &setting->tags[i];
        const size_t begin = sheet->words.length;
        while (at < sheet->line.count && sheet->line.tokens[at].column <= tag->where.column)
            at++;
        text_print(&sheet->words, "%s", tag->spec->word);
        for (int k = 0; k < tag->value_count; k++) {
            if (tag->values[k].spec == NULL)
                continue;
            text_add(&sheet->words, " ", 1);
            write_value(sheet, &tag->values[k], &at);
        }
        add_cell(sheet, begin);
    }
}

/* ---- items and rows ---------------------------------------------------------------------------------------------- */

static struct item *add_item(struct sheet *sheet, enum item_kind kind, bool blank)
{
    struct item *item = list_add(sheet, &sheet->items, sizeof *item);
    if (item != NULL) {
        item->kind = kind;
        item->blank = blank;
        item->first_row = sheet->rows.count;
    }
    return item;
}

static struct item *last_item(struct sheet *sheet)
{
    return sheet->items.count > 0 ? (struct item *)sheet->items.items + sheet->items.count - 1 : NULL;
}

static struct row *add_row(struct sheet *sheet)
{
    struct row *row = list_add(sheet, &sheet->rows, sizeof *row);
    struct item *item = last_item(sheet);
    if (row != NULL && item != NULL) {
        row->first_cell = sheet->cells.count;
        item->row_count++;
    }
    return row;
}

/* The first `count` waiting comments become rows of the block above. */
static void place_rows(struct sheet *sheet, int count)
{
    const struct waiting_comment *waiting = sheet->waiting.items;
    for (int i = 0; i < count; i++) {
        struct row *row = add_row(sheet);
        if (row != NULL)
            row->comment = waiting[i].text;
    }
}

/* Comments above a head or the end. */
static void place_comments(struct sheet *sheet)
{
    const struct waiting_comment *waiting = sheet->waiting.items;
    const struct item *above = last_item(sheet);
    int stay = 0;
    if (above != NULL && above->kind != ITEM_TEXT)
        while (stay < sheet->waiting.count && waiting[stay].indented && !waiting[stay].blank)
            stay++;
    place_rows(sheet, stay);
    for (int i = stay; i < sheet->waiting.count; i++) {
        struct item *item = add_item(sheet, ITEM_TEXT, waiting[i].blank);
        if (item != NULL)
            item->name = waiting[i].text;
    }
    sheet->waiting.count = 0;
}

static void wait_comment(struct sheet *sheet)
{
    struct waiting_comment *waiting = list_add(sheet, &sheet->waiting, sizeof *waiting);
    if (waiting == NULL)
        return;
    waiting->text = comment_cell(sheet);
    waiting->indented = sheet->line.indented;
    waiting->blank = sheet->blank;
    sheet->blank = false;
}

static void add_setting(struct sheet *sheet, const struct setting *setting)
{
    place_rows(sheet, sheet->waiting.count);
    sheet->waiting.count = 0;
    struct row *row = add_row(sheet);
    if (row == NULL)
        return;
    const int first = row->first_cell;
    const bool keys = setting->spec->word == NULL;
    if (!keys) {
        const size_t begin = sheet->words.length;
        text_print(&sheet->words, "%s", setting->spec->word);
        add_cell(sheet, begin);
    }
    add_fields(sheet, setting, keys ? 0 : 1);
    row->spec = setting->spec;
    row->cell_count = sheet->cells.count - first;
    row->comment = comment_cell(sheet);
    sheet->blank = false;
}

/* Head cells are joined into one: heads are not tables. */
static struct cell join_cells(struct sheet *sheet, int first, const char *kind)
{
    const struct cell *cells = sheet->cells.items;
    const size_t begin = sheet->words.length;
    text_print(&sheet->words, "%s", kind);
    for (int i = first; i < sheet->cells.count && !sheet->words.failed; i++) {
        text_add(&sheet->words, " ", 1);
        struct text copy = { NULL, 0, 0, false };
        text_add(&copy, sheet->words.bytes + cells[i].begin, cells[i].length);
        text_add(&sheet->words, copy.bytes, copy.length);
        sheet->words.failed = sheet->words.failed || copy.failed;
        text_release(&copy);
    }
    sheet->cells.count = first;
    return cell_from(sheet, begin);
}

static void add_head(struct sheet *sheet, const struct block *block)
{
    const bool named = block->schema->form == HEAD_NAMED;
    place_comments(sheet);
    struct item *item = add_item(sheet, named ? ITEM_NAMED_HEAD : ITEM_HEAD, sheet->blank);
    if (item == NULL)
        return;
    const int first = sheet->cells.count;
    const int words = strchr(block->schema->name, ' ') != NULL ? 2 : 1;
    if (block->head != NULL)
        add_fields(sheet, block->head, (named ? 2 : 0) + words);
    if (named)
        item->name = cell_of(sheet, block->name, strlen(block->name));
    item->rest = join_cells(sheet, first, block->schema->name);
    item->comment = comment_cell(sheet);
    sheet->blank = false;
}

static void add_version(struct sheet *sheet)
{
    place_comments(sheet);
    struct item *item = add_item(sheet, ITEM_TEXT, sheet->blank);
    if (item == NULL)
        return;
    const size_t begin = sheet->words.length;
    text_print(&sheet->words, "passel 1");
    if (sheet->line.comment < sheet->line.length) {
        text_print(&sheet->words, "  ");
        comment_cell(sheet);
    }
    item->name = cell_from(sheet, begin);
    sheet->blank = false;
}

/* ---- the way through the text ------------------------------------------------------------------------------------ */

struct cursor {
    int block;   /* the next head */
    int setting; /* the next setting of the block before it */
};

static void lay_line(struct sheet *sheet, struct cursor *cursor)
{
    const struct recipe *recipe = sheet->recipe;
    const struct line *line = &sheet->line;
    const struct block *block = cursor->block > 0 ? recipe->blocks[cursor->block - 1] : NULL;
    if (line->count == 0) {
        if (line->comment < line->length)
            wait_comment(sheet);
        else
            sheet->blank = true;
    } else if (cursor->block < recipe->block_count && recipe->blocks[cursor->block]->where.line == line->number) {
        add_head(sheet, recipe->blocks[cursor->block++]);
        cursor->setting = 0;
    } else if (block != NULL && cursor->setting < block->setting_count && block->settings[cursor->setting].given) {
        add_setting(sheet, &block->settings[cursor->setting++]);
    } else {
        add_version(sheet);
    }
}

static void lay_out(struct sheet *sheet)
{
    struct cursor cursor = { 0, 0 };
    const char *at = sheet->recipe->text, *end = at + sheet->recipe->text_length;
    for (int number = 1; at < end && !sheet->out->failed; number++) {
        if (!line_read(&sheet->line, at, end, number, NULL))
            sheet->out->failed = true;
        else
            lay_line(sheet, &cursor);
        at = line_next(&sheet->line, end);
    }
    place_comments(sheet);
}

/* ---- writing ----------------------------------------------------------------------------------------------------- */

static void write_spaces(struct sheet *sheet, int count)
{
    for (int i = 0; i < count; i++)
        text_add(sheet->out, " ", 1);
}

static void write_cell(struct sheet *sheet, const struct cell *cell)
{
    text_add(sheet->out, sheet->words.bytes + cell->begin, cell->length);
}

static void write_comment(struct sheet *sheet, const struct cell *comment)
{
    if (comment->length > 0) {
        write_spaces(sheet, 2);
        write_cell(sheet, comment);
    }
    text_add(sheet->out, "\n", 1);
}

static int wider(int width, const struct cell *cell)
{
    return cell->width > width && cell->width <= CELL_LIMIT ? cell->width : width;
}

static const struct cell *cell_at(const struct sheet *sheet, const struct row *row, int index)
{
    return (const struct cell *)sheet->cells.items + row->first_cell + index;
}

static bool same_table(const struct row *a, const struct row *b)
{
    if (a->spec == NULL || b->spec == NULL || a->spec->word == NULL || b->spec->word == NULL)
        return a->spec == b->spec;
    return strcmp(a->spec->word, b->spec->word) == 0;
}

/* Columns of a table whose cells line up; further cells follow each other. */
#define COLUMNS 16

/* Writes rows `first` … `last` - 1, which have one word. */
static void write_table(struct sheet *sheet, int first, int last, int word_width)
{
    const struct row *rows = sheet->rows.items;
    int widths[COLUMNS] = { word_width };
    for (int i = first; i < last; i++)
        for (int k = 1; rows[i].spec != NULL && k + 1 < rows[i].cell_count && k < COLUMNS; k++)
            widths[k] = wider(widths[k], cell_at(sheet, &rows[i], k));
    for (int i = first; i < last; i++) {
        write_spaces(sheet, 2);
        if (rows[i].spec == NULL) {
            write_cell(sheet, &rows[i].comment);
            text_add(sheet->out, "\n", 1);
            continue;
        }
        for (int k = 0; k < rows[i].cell_count; k++) {
            const struct cell *cell = cell_at(sheet, &rows[i], k);
            write_cell(sheet, cell);
            if (k + 1 < rows[i].cell_count)
                write_spaces(sheet, 2 + (k < COLUMNS && widths[k] > cell->width ? widths[k] - cell->width : 0));
        }
        write_comment(sheet, &rows[i].comment);
    }
}

static void write_rows(struct sheet *sheet, const struct item *item)
{
    const struct row *rows = sheet->rows.items;
    const int end = item->first_row + item->row_count;
    int word_width = 0;
    for (int i = item->first_row; i < end; i++)
        if (rows[i].spec != NULL)
            word_width = wider(word_width, cell_at(sheet, &rows[i], 0));
    for (int first = item->first_row; first < end;) {
        int last = first + 1, word = first;
        while (word < end && rows[word].spec == NULL)
            word++;
        while (last < end && (last <= word || rows[last].spec == NULL || same_table(&rows[last], &rows[word])))
            last++;
        write_table(sheet, first, last, word_width);
        first = last;
    }
}

/* The width of the names in the group of heads that begins with item `at`: those without an empty line between. */
static int group_width(const struct sheet *sheet, int at, int *end)
{
    const struct item *items = sheet->items.items;
    int width = 0;
    *end = at;
    do {
        if (items[*end].kind == ITEM_NAMED_HEAD)
            width = wider(width, &items[*end].name);
    } while (items[(*end)++].row_count == 0 && *end < sheet->items.count && !items[*end].blank);
    return width;
}

static void write_item(struct sheet *sheet, const struct item *item, int name_width)
{
    write_cell(sheet, &item->name);
    if (item->kind == ITEM_NAMED_HEAD) {
        write_spaces(sheet, name_width > item->name.width ? name_width - item->name.width : 0);
        text_add(sheet->out, " = ", 3);
    }
    write_cell(sheet, &item->rest);
    write_comment(sheet, &item->comment);
    write_rows(sheet, item);
}

static void write_sheet(struct sheet *sheet)
{
    const struct item *items = sheet->items.items;
    int group_end = 0, width = 0;
    for (int i = 0; i < sheet->items.count; i++) {
        if (i == group_end) {
            width = group_width(sheet, i, &group_end);
            if (i > 0)
                text_add(sheet->out, "\n", 1);
        }
        write_item(sheet, &items[i], width);
    }
}

void recipe_print(const struct recipe *recipe, struct text *out)
{
    struct sheet sheet = { .recipe = recipe, .out = out };
    lay_out(&sheet);
    out->failed = out->failed || sheet.words.failed;
    if (!out->failed)
        write_sheet(&sheet);
    text_release(&sheet.words);
    line_release(&sheet.line);
    memory_free(sheet.items.items);
    memory_free(sheet.rows.items);
    memory_free(sheet.cells.items);
    memory_free(sheet.waiting.items);
}
