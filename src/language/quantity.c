/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Numbers that carry a unit and may change: `0.7 px`, `1 0.86 0.6`, `[1001 0, 1010 1 smooth] px`, or a curve's name.
 */
#include <math.h>
#include <string.h>

#include "language/numbers.h"
#include "language/outline.h"
#include "language/parser.h"

/* The state of reading one quantity. */
struct quantity {
    struct parser *parser;
    const struct setting_spec *setting;
    const char *word;
    const struct value_spec *spec;
    int *at;
    enum unit unit; /* the one that was written; UNIT_NONE as long as there is none */
    struct span unit_where;
    int least, most; /* how many numbers */
};

static struct span here(const struct quantity *q)
{
    return parser_place(q->parser, *q->at, *q->at);
}

static bool at_end(const struct quantity *q)
{
    return *q->at == q->parser->line.count;
}

static const char *bytes_of(const struct quantity *q, size_t *length)
{
    *length = q->parser->line.tokens[*q->at].length;
    return token_bytes(&q->parser->line, *q->at);
}

/* How a number of this unit is written after the digits: " px", "%". */
static const char *unit_tail(enum unit unit, char room[16])
{
    room[0] = '\0';
    if (unit_stands_apart(unit))
        strcat(room, " ");
    if (unit != UNIT_NONE)
        strcat(room, unit_word(unit));
    return room;
}

/* ---- units ------------------------------------------------------------------------------------------------------- */

/* `text` stands where a unit may stand but is none. */
static bool refuse_unit_text(const struct quantity *q, struct span where, const char *text, size_t length)
{
    char room[QUOTE_ROOM], tail[16];
    const enum unit unit = q->spec->unit;
    quoted(text, length, room);
    if (length > 0 && (text[0] == ',' || text[0] == '.'))
        message_add(&q->parser->messages, where, "%s is no part of a number; a number has one point: 0.5", room);
    else if (unit == UNIT_NONE)
        message_add(&q->parser->messages, where, "%s is not a unit; '%s' takes a bare number", room, q->word);
    else
        message_add(&q->parser->messages, where, "%s is not a unit; '%s' expects %s, such as '2%s'", room, q->word,
                    unit_word(unit), unit_tail(unit, tail));
    return false;
}

static bool take_unit(struct quantity *q, enum unit unit, struct span where)
{
    if (q->unit != UNIT_NONE && q->unit != unit) {
        message_add(&q->parser->messages, where, "one value has one unit; this one began with %s", unit_word(q->unit));
        return false;
    }
    q->unit = unit;
    q->unit_where = where;
    return true;
}

/* A unit as a word of its own. Where none is needed, a word of the setting's own comes first. */
static bool take_unit_word(struct quantity *q)
{
    if (at_end(q) || q->parser->line.tokens[*q->at].kind != TOKEN_WORD)
        return true;
    size_t length;
    const char *bytes = bytes_of(q, &length);
    const enum unit unit = unit_named(bytes, length);
    const bool optional = q->spec->unit == UNIT_NONE || q->spec->unit == UNIT_FRACTION;
    if (unit == UNIT_COUNT || (optional && setting_knows(q->setting, &q->parser->line, *q->at)))
        return true;
    const struct span where = here(q);
    ++*q->at;
    return take_unit(q, unit, where);
}

/* The unit is missing: says how the numbers `first` … `last` are written with it. */
static bool refuse_missing_unit(const struct quantity *q, struct span where, int first, int last)
{
    const struct line *line = &q->parser->line;
    const char *bytes = token_bytes(line, first);
    const size_t length = (size_t)(token_bytes(line, last) + line->tokens[last].length - bytes);
    const enum unit unit = q->spec->unit;
    char room[QUOTE_ROOM], tail[16];
    double number;
    size_t used;
    unit_tail(unit, tail);
    if (unit == UNIT_PERCENT && first == last && number_read(bytes, length, &number, &used) && fabs(number) <= 1)
        message_add(&q->parser->messages, where, "the unit is missing; '%s' expects %%, so %.15g is written '%.15g%%'",
                    q->word, number, number * 100);
    else
        message_add(&q->parser->messages, where, "the unit is missing; '%s' expects %s: write %.*s%s'", q->word,
                    unit_word(unit), (int)strlen(quoted(bytes, length, room)) - 1, room, tail);
    return false;
}

/* Was the unit of this value, tokens `first` … `last`, the right one? */
static bool check_unit(const struct quantity *q, int first, int last)
{
    const enum unit wanted = q->spec->unit;
    char tail[16];
    if (wanted == UNIT_FRACTION ? q->unit == UNIT_NONE || q->unit == UNIT_PERCENT : q->unit == wanted)
        return true;
    if (q->unit == UNIT_NONE)
        return refuse_missing_unit(q, parser_place(q->parser, first, last), first, last);
    if (wanted == UNIT_NONE)
        message_add(&q->parser->messages, q->unit_where, "'%s' takes a bare number here; leave out '%s'", q->word,
                    unit_word(q->unit));
    else
        message_add(&q->parser->messages, q->unit_where, "'%s' is the wrong unit; '%s' expects %s, such as '2%s'",
                    unit_word(q->unit), q->word, unit_word(wanted), unit_tail(wanted, tail));
    return false;
}

/* From the written form to the kept one. */
static double kept(const struct quantity *q, double number)
{
    return q->unit == UNIT_PERCENT ? number / 100 : number;
}

/* ---- numbers ----------------------------------------------------------------------------------------------------- */

static bool refuse_word(const struct quantity *q)
{
    static const char *const never[] = { "nan", "inf", "infinity", "NaN", "Inf", "Infinity", "NAN", "INF", NULL };
    size_t length;
    const char *bytes = bytes_of(q, &length);
    char room[QUOTE_ROOM];
    const char *hint = "";
    for (int i = 0; never[i] != NULL; i++)
        if (token_is(&q->parser->line, *q->at, never[i]))
            hint = "; only finite numbers can be used";
    if (length >= 3 && (memcmp(bytes, "\xE2\x88\x92", 3) == 0 || memcmp(bytes, "\xE2\x80\x93", 3) == 0))
        hint = "; the minus sign is the one on the keyboard: -";
    else if (q->parser->line.tokens[*q->at].kind == TOKEN_QUOTED)
        hint = "; a number stands without quotes";
    const char *wish = value_wish(q->parser, q->spec);
    message_add(&q->parser->messages, here(q), "'%s' expects %s here, not %s%s", q->word, wish,
                quoted(bytes, length, room), hint);
    return false;
}

/* One number and, when it touches it, its unit. */
static bool take_number(struct quantity *q, double *number)
{
    size_t length, used;
    const char *bytes = bytes_of(q, &length);
    if (q->parser->line.tokens[*q->at].kind != TOKEN_WORD || !number_read(bytes, length, number, &used))
        return refuse_word(q);
    const struct span where = here(q);
    if (!isfinite(*number)) {
        message_add(&q->parser->messages, where, "this number is too large");
        return false;
    }
    ++*q->at;
    if (used == length)
        return true;
    const enum unit unit = unit_named(bytes + used, length - used);
    struct span rest = where;
    if (q->parser->standing_in == NULL) {
        rest.column += (int)used;
        rest.length -= (int)used;
    }
    if (unit == UNIT_COUNT)
        return refuse_unit_text(q, rest, bytes + used, length - used);
    return take_unit(q, unit, rest);
}

static bool in_limits(const struct quantity *q, double number, struct span where)
{
    const struct value_spec *spec = q->spec;
    if (!spec->limited || (number >= spec->least && number <= spec->most))
        return true;
    const bool percent = spec->unit == UNIT_PERCENT;
    const double times = percent ? 100 : 1;
    char tail[16];
    unit_tail(spec->unit == UNIT_FRACTION ? UNIT_NONE : spec->unit, tail);
    if (number < spec->least)
        message_add(&q->parser->messages, where, "too small; '%s' takes at least %.15g%s here", q->word,
                    spec->least * times, tail);
    else
        message_add(&q->parser->messages, where, "too large; '%s' takes at most %.15g%s here", q->word,
                    spec->most * times, tail);
    return false;
}

/* Numbers up to `most` into parser->numbers, each with the unit that may stand behind it. */
static bool take_numbers(struct quantity *q, int *count)
{
    *count = 0;
    while (*count < q->most && !at_end(q) && (*count == 0 || token_is_number(&q->parser->line, *q->at)) &&
           q->parser->line.tokens[*q->at].kind != TOKEN_OPEN) {
        double number;
        if (!take_number(q, &number) || !take_unit_word(q) ||
            !growing_add(q->parser, &q->parser->numbers, &number, sizeof number))
            return false;
        ++*count;
    }
    return true;
}

static bool refuse_count(const struct quantity *q, struct span where, int count)
{
    const char *wish = value_wish(q->parser, q->spec);
    message_add(&q->parser->messages, where, "'%s' expects %s (%s) here, but there %s %d", q->word, wish,
                q->spec->label, count == 1 ? "is" : "are", count);
    return false;
}

static bool read_plain(struct quantity *q, struct value *value)
{
    struct parser *parser = q->parser;
    const int first = *q->at;
    int count;
    parser->numbers.count = 0;
    if (!take_numbers(q, &count))
        return false;
    const struct span where = parser_place(parser, first, *q->at - 1);
    if (count < q->least)
        return refuse_count(q, where, count);
    if (!check_unit(q, first, *q->at - 1))
        return false;
    double *numbers = parser->numbers.items;
    for (int i = 0; i < count; i++) {
        numbers[i] = kept(q, numbers[i]);
        if (!in_limits(q, numbers[i], where))
            return false;
    }
    value->count = count;
    value->numbers = parser_keep(parser, &parser->numbers, sizeof(double));
    return value->numbers != NULL;
}

/* ---- keys in place ----------------------------------------------------------------------------------------------- */

static bool closes_key(const struct quantity *q)
{
    const enum token_kind kind = q->parser->line.tokens[*q->at].kind;
    return kind == TOKEN_COMMA || kind == TOKEN_CLOSE;
}

/* The word behind a key's numbers that says how the curve leaves it. */
static bool take_leaving(struct quantity *q, enum leaving *leave)
{
    static const char *const words[] = {
        [LEAVE_LINEAR] = "linear", [LEAVE_SMOOTH] = "smooth", [LEAVE_HOLD] = "hold", NULL
    };
    *leave = LEAVE_LINEAR;
    if (closes_key(q))
        return true;
    size_t length;
    const char *bytes = bytes_of(q, &length);
    for (int i = 0; words[i] != NULL; i++) {
        if (token_is(&q->parser->line, *q->at, words[i])) {
            *leave = (enum leaving)i;
            ++*q->at;
            return true;
        }
    }
    char room[QUOTE_ROOM], meant[MEANT_ROOM];
    quoted(bytes, length, room);
    if (number_begins(bytes, length))
        message_add(&q->parser->messages, here(q), "expected a comma before %s; keys are parted by commas", room);
    else
        message_add(&q->parser->messages, here(q), "%s is unknown in a key; expected linear, smooth or hold%s", room,
                    parser_meant(q->parser, bytes, length, words, meant));
    return false;
}

/* The frame that a key begins with. */
static bool take_frame(struct quantity *q, double *frame)
{
    size_t length, used;
    const char *bytes = bytes_of(q, &length);
    char room[QUOTE_ROOM];
    if (q->parser->line.tokens[*q->at].kind != TOKEN_WORD || !number_read(bytes, length, frame, &used) ||
        used != length || !isfinite(*frame)) {
        message_add(&q->parser->messages, here(q), "%s is not a frame; a key is FRAME NUMBER",
                    quoted(bytes, length, room));
        return false;
    }
    ++*q->at;
    return true;
}

/* Is the key that was read last, at the end of parser->numbers, as it must be after `earlier` keys? */
static bool check_key(struct quantity *q, struct span where, int earlier, int count, int width)
{
    struct parser *parser = q->parser;
    if (count == 0) {
        message_add(&parser->messages, where, "the number of this key is missing; a key is FRAME NUMBER");
        return false;
    }
    if (count < q->least)
        return refuse_count(q, where, count);
    if (count != width) {
        message_add(&parser->messages, where, "all keys need the same count of numbers; the first key has %d", width);
        return false;
    }
    const double *frame = (const double *)parser->numbers.items + (parser->numbers.count - width - 1);
    if (earlier > 0 && !(frame[-width - 1] < frame[0])) {
        message_add(&parser->messages, where, "keys stand in rising order of frames, but %.15g comes after %.15g",
                    frame[0], frame[-width - 1]);
        return false;
    }
    return true;
}

/* One key: its frame is put in front of its numbers in parser->numbers. */
static bool read_key(struct quantity *q, int *width)
{
    struct parser *parser = q->parser;
    const struct span where = here(q);
    const int earlier = parser->leaves.count;
    double frame;
    int count = 0;
    enum leaving leave;
    if (closes_key(q)) {
        message_add(&parser->messages, where, "expected a key here: FRAME NUMBER");
        return false;
    }
    if (!take_frame(q, &frame) || !growing_add(parser, &parser->numbers, &frame, sizeof frame) ||
        (!closes_key(q) && !take_numbers(q, &count)))
        return false;
    if (earlier == 0)
        *width = count;
    return check_key(q, where, earlier, count, *width) && take_leaving(q, &leave) &&
           growing_add(parser, &parser->leaves, &leave, sizeof leave);
}

/* parser->numbers holds FRAME NUMBERS for every key. */
static bool keep_keys(struct quantity *q, int width, struct span where, struct value *value)
{
    struct parser *parser = q->parser;
    const int count = parser->leaves.count;
    const double *keys = parser->numbers.items;
    double *frames = parser_array(parser, (size_t)count, sizeof *frames);
    double *numbers = parser_array(parser, (size_t)count * (size_t)width, sizeof *numbers);
    const enum leaving *leaves = parser_keep(parser, &parser->leaves, sizeof *leaves);
    if (frames == NULL || numbers == NULL || leaves == NULL)
        return false;
    for (int i = 0; i < count; i++) {
        frames[i] = keys[(size_t)i * (size_t)(width + 1)];
        for (int k = 0; k < width; k++) {
            double *number = &numbers[(size_t)i * (size_t)width + (size_t)k];
            *number = kept(q, keys[(size_t)i * (size_t)(width + 1) + 1 + (size_t)k]);
            if (!in_limits(q, *number, where))
                return false;
        }
    }
    value->count = width;
    value->track = track_make(parser, count, width, frames, numbers, leaves);
    return value->track != NULL;
}

static bool read_keys(struct quantity *q, struct value *value)
{
    struct parser *parser = q->parser;
    const int first = *q->at;
    int width = 0;
    if (!q->spec->may_change) {
        message_add(&parser->messages, here(q), "this number of '%s' cannot change over frames; write it without keys",
                    q->word);
        return false;
    }
    parser->numbers.count = parser->leaves.count = 0;
    do {
        ++*q->at;
        if (!read_key(q, &width))
            return false;
    } while (parser->line.tokens[*q->at].kind == TOKEN_COMMA);
    ++*q->at;
    if (!take_unit_word(q))
        return false;
    const struct span where = parser_place(parser, first, *q->at - 1);
    return check_unit(q, first, *q->at - 1) && keep_keys(q, width, where, value);
}

/* ---- curves ------------------------------------------------------------------------------------------------------ */

static bool refuse_not_a_curve(const struct quantity *q, const struct block *block)
{
    size_t length;
    const char *bytes = bytes_of(q, &length);
    char room[QUOTE_ROOM], meant[MEANT_ROOM];
    if (block != NULL) {
        message_add(&q->parser->messages, here(q),
                    block->schema->makes == MAKES_PICTURE ? "'%s' makes a picture; '%s' expects %s here"
                                                          : "'%s' is not a number; '%s' expects %s here",
                    block->name, q->word, value_wish(q->parser, q->spec));
        return false;
    }
    parser_meant_block(q->parser, bytes, length, MAKES_NUMBER, meant);
    if (meant[0] == '\0')
        return refuse_word(q);
    message_add(&q->parser->messages, here(q), "no curve is called %s%s", quoted(bytes, length, room), meant);
    return false;
}

static bool read_curve(struct quantity *q, struct value *value)
{
    struct parser *parser = q->parser;
    size_t length;
    const char *bytes = bytes_of(q, &length);
    const bool word = parser->line.tokens[*q->at].kind == TOKEN_WORD;
    if (!word || !q->spec->may_change || name_length(bytes, length) != length)
        return refuse_word(q);
    const struct block *block = parser_named(parser, bytes, length);
    if (block == NULL || (block->schema != NULL && block->schema->makes != MAKES_NUMBER))
        return refuse_not_a_curve(q, block);
    if (q->spec->unit == UNIT_STOPS && !q->spec->bare_curve) {
        message_add(&parser->messages, here(q),
                    "a curve is a bare number, not stops; use it where a gain is expected, or write keys: "
                    "[1001 0, 1010 1] stops");
        return false;
    }
    if (q->least > 1) {
        message_add(&parser->messages, here(q),
                    "a curve is one number, '%s' expects %d here; write keys in place: [1001 …, 1010 …]", q->word,
                    q->least);
        return false;
    }
    value->text = block->name;
    value->curve = block;
    value->count = 1;
    ++*q->at;
    enum unit unit = UNIT_NONE;
    if (!at_end(q) && !setting_knows(q->setting, &parser->line, *q->at)) {
        bytes = bytes_of(q, &length);
        unit = unit_named(bytes, length);
    }
    if (unit != UNIT_NONE && unit != UNIT_COUNT) {
        message_add(&parser->messages, here(q),
                    "a curve takes no unit; its numbers are read in the setting's own unit");
        return false;
    }
    return growing_add(parser, &parser->references, &(struct reference){ .from = parser->block->index, .value = value },
                       sizeof(struct reference));
}

/* ---- the ways in ------------------------------------------------------------------------------------------------- */

bool quantity_value_read(struct parser *parser, const struct setting_spec *spec, const char *word, int *at,
                         struct value *value)
{
    const bool counted = value->spec->most_count > 0;
    struct quantity q = { .parser = parser,
                          .setting = spec,
                          .word = word,
                          .spec = value->spec,
                          .at = at,
                          .least = counted ? value->spec->least_count : 1,
                          .most = counted ? value->spec->most_count : 1 };
    if (parser->line.tokens[*at].kind == TOKEN_OPEN)
        return read_keys(&q, value);
    if (token_is_number(&parser->line, *at))
        return read_plain(&q, value);
    return read_curve(&q, value);
}

bool integer_value_read(struct parser *parser, const struct setting_spec *spec, const char *word, int *at,
                        struct value *value)
{
    struct quantity q = {
        .parser = parser, .setting = spec, .word = word, .spec = value->spec, .at = at, .least = 1, .most = 1
    };
    const struct span where = here(&q);
    if (parser->line.tokens[*at].kind == TOKEN_OPEN) {
        message_add(&parser->messages, where, "this number of '%s' cannot change over frames; write it without keys",
                    word);
        return false;
    }
    if (!token_is_number(&parser->line, *at))
        return refuse_word(&q);
    if (!read_plain(&q, value))
        return false;
    if (value->numbers[0] != floor(value->numbers[0])) {
        message_add(&parser->messages, where, "'%s' expects a whole number here", word);
        return false;
    }
    if (fabs(value->numbers[0]) > 2147483647.0) {
        message_add(&parser->messages, where, "this number is too large");
        return false;
    }
    return true;
}
