/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What needs more than one line: a curve's keys, curves against the limits of the settings that use them, cycles.
 */
#include <math.h>
#include <string.h>

#include "language/generators.h"
#include "language/parser.h"

/* ---- curves ------------------------------------------------------------------------------------------------------ */

/* How the curve leaves this key: an operator or an optional choice of the line. */
static enum leaving leaving_of(const struct setting *setting)
{
    const char *word = setting_operator(setting);
    for (int i = 0; word == NULL && i < setting->value_count; i++)
        if (setting->values[i].spec != NULL && setting->values[i].spec->type == VALUE_CHOICE)
            word = value_choice(&setting->values[i]);
    if (word != NULL && strcmp(word, "smooth") == 0)
        return LEAVE_SMOOTH;
    return word != NULL && strcmp(word, "hold") == 0 ? LEAVE_HOLD : LEAVE_LINEAR;
}

static int count_keys(const struct block *block)
{
    int count = 0;
    for (int i = 0; i < block->setting_count; i++)
        count += block->settings[i].spec->word == NULL && block->settings[i].value_count >= 2;
    return count;
}

static bool fill_keys(struct parser *parser, double *frames, double *numbers, enum leaving *leave)
{
    int key = 0;
    for (int i = 0; i < parser->block->setting_count; i++) {
        const struct setting *setting = &parser->block->settings[i];
        if (setting->spec->word != NULL || setting->value_count < 2)
            continue;
        frames[key] = value_at(&setting->values[0], 0, 0, 1);
        numbers[key] = value_at(&setting->values[1], 0, 0, 1);
        leave[key] = leaving_of(setting);
        if (key > 0 && !(frames[key - 1] < frames[key])) {
            message_add(&parser->messages, setting->where,
                        "keys stand in rising order of frames, but %.15g comes after %.15g", frames[key],
                        frames[key - 1]);
            return false;
        }
        key++;
    }
    return true;
}

void curve_make(struct parser *parser)
{
    const struct generators *generators;
    const bool fine = generators_make(parser, &generators);
    const int keys = count_keys(parser->block);
    if (!fine || (keys == 0 && generators == NULL))
        return;
    const int count = keys > 0 ? keys : 1;
    double *frames = parser_array(parser, (size_t)count, sizeof *frames);
    double *numbers = parser_array(parser, (size_t)count, sizeof *numbers);
    enum leaving *leave = parser_array(parser, (size_t)count, sizeof *leave);
    if (frames == NULL || numbers == NULL || leave == NULL || !fill_keys(parser, frames, numbers, leave))
        return;
    if (keys == 0)
        numbers[0] = generators->strike_count == 0; /* strikes begin in the dark, a flicker is one of light */
    struct track *track = track_make(parser, count, 1, frames, numbers, leave);
    if (track != NULL)
        track->generators = generators;
    parser->block->track = track;
}

/* Says so when the setting does not allow what the curve is (or can be) at a frame. */
static bool check_curve_at(struct parser *parser, const struct value *value, double frame)
{
    const struct value_spec *spec = value->spec;
    const struct track *track = value->curve->track;
    double number = track_keys_at(track, 0, frame), least = 1, most = 1;
    if (track->generators != NULL) {
        number = generators_steady(track->generators, number, frame);
        generators_swing(track->generators, &least, &most);
    }
    const double low = fmin(number * least, number * most), high = fmax(number * least, number * most);
    if (low >= spec->least && high <= spec->most)
        return true;
    message_add(&parser->messages, value->where, "the curve '%s' %s %.15g at frame %.15g; here at %s %.15g is allowed",
                value->curve->name, low < high ? "can be" : "is", low < spec->least ? low : high, frame,
                low < spec->least ? "least" : "most", low < spec->least ? spec->least : spec->most);
    return false;
}

/* The first frame at which the setting does not allow the curve: at its keys, whose range it never leaves, and all
 * along its strikes. */
static void check_curve(struct parser *parser, const struct value *value)
{
    const struct track *track = value->curve->track;
    if (!value->spec->limited || track == NULL)
        return;
    for (int key = 0; key < track->count; key++)
        if (!check_curve_at(parser, value, track->frames[key]))
            return;
    for (int i = 0; track->generators != NULL && i < track->generators->strike_count; i++) {
        const struct strike *strike = &track->generators->strikes[i];
        for (double frame = strike->at; frame < strike->at + strike->length; frame++)
            if (!check_curve_at(parser, value, frame))
                return;
    }
}

/* ---- cycles ------------------------------------------------------------------------------------------------------ */

/* Blocks at either end of a long cycle that its message names. */
#define PATH_BEGIN 6
#define PATH_END 3

enum colour { UNSEEN, ON_PATH, DONE };

/* A walk over the graph, depth first. `next` is the reference that a block looks at next; references stand together by
 * the block they come from. */
struct walk {
    struct parser *parser;
    const struct reference *references;
    int *first; /* per block its first reference, and one more */
    int *next;
    int *path; /* blocks */
    int depth;
    unsigned char *colours;
};

static const struct block *used_by(const struct reference *reference)
{
    return reference->value->block != NULL ? reference->value->block : reference->value->curve;
}

/* path[from] … path[depth-1] and back to path[from]. */
static void say_cycle(struct walk *walk, int from)
{
    struct parser *parser = walk->parser;
    struct text text = { NULL, 0, 0, false };
    char room[QUOTE_ROOM];
    const int count = walk->depth - from;
    for (int i = 0; i < count; i++) {
        const char *name = parser->blocks[walk->path[from + i]].name;
        if (i >= PATH_BEGIN && i < count - PATH_END) {
            text_print(&text, "… -> ");
            i = count - PATH_END - 1;
            continue;
        }
        quoted(name, strlen(name), room);
        text_print(&text, "%.*s -> ", (int)strlen(room) - 2, room + 1);
    }
    const struct block *begin = &parser->blocks[walk->path[from]];
    quoted(begin->name, strlen(begin->name), room);
    const struct value *value = walk->references[walk->next[begin->index] - 1].value;
    if (!text.failed)
        message_add(&parser->messages, value->where, "%s is made from itself: %s%.*s", room, text.bytes,
                    (int)strlen(room) - 2, room + 1);
    parser->failed = parser->failed || text.failed;
    text_release(&text);
}

static void step_into(struct walk *walk, int block)
{
    if (walk->colours[block] == UNSEEN) {
        walk->colours[block] = ON_PATH;
        walk->path[walk->depth++] = block;
    } else if (walk->colours[block] == ON_PATH && !parser_is_full(walk->parser)) {
        int from = walk->depth - 1;
        while (walk->path[from] != block)
            from--;
        say_cycle(walk, from);
    }
}

static void walk_from(struct walk *walk, int block)
{
    step_into(walk, block);
    while (walk->depth > 0) {
        const int top = walk->path[walk->depth - 1];
        if (walk->next[top] < walk->first[top + 1]) {
            step_into(walk, used_by(&walk->references[walk->next[top]++])->index);
        } else {
            walk->colours[top] = DONE;
            walk->depth--;
        }
    }
}

static void index_references(struct walk *walk, int blocks, int count)
{
    int at = 0;
    for (int block = 0; block < blocks; block++) {
        walk->first[block] = walk->next[block] = at;
        while (at < count && walk->references[at].from == block)
            at++;
    }
    walk->first[blocks] = at;
}

static void check_cycles(struct parser *parser)
{
    const size_t blocks = (size_t)parser->block_count;
    struct walk walk = { .parser = parser, .references = parser->references.items };
    walk.first = arena_array(&parser->scratch, blocks + 1, sizeof *walk.first);
    walk.next = arena_array(&parser->scratch, blocks, sizeof *walk.next);
    walk.path = arena_array(&parser->scratch, blocks, sizeof *walk.path);
    walk.colours = arena_array(&parser->scratch, blocks, sizeof *walk.colours);
    if (walk.first == NULL || walk.next == NULL || walk.path == NULL || walk.colours == NULL) {
        parser->failed = true;
        return;
    }
    index_references(&walk, parser->block_count, parser->references.count);
    for (int block = 0; block < parser->block_count; block++)
        if (walk.colours[block] == UNSEEN)
            walk_from(&walk, block);
}

void references_check(struct parser *parser)
{
    const struct reference *references = parser->references.items;
    for (int i = 0; i < parser->references.count; i++)
        if (references[i].value->curve != NULL)
            check_curve(parser, references[i].value);
    check_cycles(parser);
}
