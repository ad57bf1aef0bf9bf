/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The recipe is read with one line more, a pass of the reference; then blocks are added to it that no text stands for:
 * each light of the block alone at gain 1, and what is there without any light. The engine makes those like any other.
 */
#include "engine/fit.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "base/error.h"
#include "base/file.h"
#include "base/memory.h"
#include "engine/fit_lines.h"
#include "engine/fit_pictures.h"
#include "kinds/kinds.h"
#include "kinds/lights.h"
#include "kinds/shot.h"
#include "media/sequence.h"

enum { FRAMES = 9, PATH_ROOM = 4096 };

struct fitting {
    const struct fit_wish *wish;
    const struct schema **schemas;
    struct recipe *recipe; /* as written, and the reference */
    const struct block *block, *reference;
    struct recipe with; /* the same with the blocks that are added */
    struct arena arena;
    const struct setting **settings; /* of the lights that are lit */
    const struct value **passes;
    const struct block **columns;
    const struct block *base;
    int lights;
    struct graph *graph;
    int32_t *frames;
    int frame_count;
};

/* ---- the recipe and its reference -------------------------------------------------------------------------------- */

static void quote(const char *path, struct text *out)
{
    text_print(out, "\"");
    for (; *path != '\0'; path++)
        text_print(out, *path == '"' || *path == '\\' ? "\\%c" : "%c", *path);
    text_print(out, "\"");
}

/* The reference is named from where the program runs, the recipe's paths from where the recipe lies. */
static enum passel_status add_reference(const char *reference, const char *name, struct text *text,
                                        struct passel_error *error)
{
    char folder[PATH_ROOM];
    if (reference[0] == '-' && reference[1] == '\0')
        return error_set(error, PASSEL_BAD_USE, "a reference is read more than once and cannot come from a pipe");
    if (getcwd(folder, sizeof folder) == NULL)
        return error_set(error, PASSEL_BAD_DISK, "the working folder cannot be found");
    char *path = path_join(folder, reference);
    if (path == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    text_print(text, "\n%s = pass ", name);
    quote(path, text);
    text_print(text, "\n");
    memory_free(path);
    return text->failed ? error_set(error, PASSEL_NO_MEMORY, "out of memory") : PASSEL_OK;
}

static enum passel_status read_recipe(struct fitting *fitting, struct text *messages, struct passel_error *error)
{
    const struct fit_wish *wish = fitting->wish;
    struct text text = { 0 };
    char *bytes = NULL, name[64] = "the-reference";
    size_t size = 0;
    enum passel_status status;
    fitting->schemas = kind_schemas();
    if (fitting->schemas == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    RETURN_IF_ERROR(file_read(wish->path, RECIPE_LIMIT - PATH_ROOM, &bytes, &size, error));
    for (int i = 2; strstr(bytes, name) != NULL; i++)
        (void)snprintf(name, sizeof name, "the-reference-%d", i);
    text_add(&text, bytes, size);
    GOTO_IF_ERROR(add_reference(wish->reference, name, &text, error), out_text);
    GOTO_IF_ERROR(
        recipe_parse(wish->path, text.bytes, text.length, fitting->schemas, NULL, 0, &fitting->recipe, messages, error),
        out_text);
    fitting->reference = recipe_block(fitting->recipe, name);
out_text:
    text_release(&text);
    memory_free(bytes);
    return status;
}

static enum passel_status find_block(struct fitting *fitting, struct passel_error *error)
{
    const char *name = fitting->wish->block;
    fitting->block = recipe_block(fitting->recipe, name);
    if (fitting->block == NULL)
        return error_set(error, PASSEL_BAD_USE, "%s has no block `%s`", fitting->wish->path, name);
    if (fitting->block->schema != &kind_lights.schema)
        return error_set(error, PASSEL_BAD_USE, "`%s` is of the kind `%s`; fit finds the lights of a `lights` block",
                         name, fitting->block->schema->name);
    return PASSEL_OK;
}

/* ---- the blocks that are added ----------------------------------------------------------------------------------- */

static int operator_named(const struct setting *setting, const char *word)
{
    int i = 0;
    while (strcmp(setting->spec->operators[i].word, word) != 0)
        i++;
    return i;
}

/* A copy of a light's setting at gain 1; `off`: not lit. */
static bool copy_light(struct fitting *fitting, const struct setting *from, bool off, struct setting *to)
{
    struct value *values = arena_array(&fitting->arena, (size_t)from->value_count, sizeof *values);
    struct tag *tags = arena_array(&fitting->arena, (size_t)from->tag_count, sizeof *tags);
    if (values == NULL || tags == NULL)
        return false;
    *to = *from;
    memcpy(values, from->values, (size_t)from->value_count * sizeof *values);
    for (int i = 1; i < from->value_count; i++)
        values[i].spec = NULL;
    to->values = values;
    to->tags = tags;
    to->tag_count = 0;
    for (int i = 0; i < from->tag_count; i++) {
        if (!fit_replaces(from->tags[i].spec->word, fitting->wish->tint))
            tags[to->tag_count++] = from->tags[i];
    }
    to->operator_index = off ? operator_named(from, "off") : -1;
    return true;
}

/* Adds a `lights` block: the ambient, kept or not, and one light, lit or not. NULL when memory is out. */
static const struct block *add_block(struct fitting *fitting, const struct setting *light, bool keep_ambient, bool off,
                                     const struct block **blocks)
{
    const struct setting *ambient = block_setting(fitting->block, "ambient");
    struct setting *settings = arena_array(&fitting->arena, 2, sizeof *settings);
    struct block *block = arena_take(&fitting->arena, sizeof *block);
    if (settings == NULL || block == NULL)
        return NULL;
    *block = *fitting->block;
    block->settings = settings;
    block->setting_count = 0;
    if (ambient != NULL) {
        settings[block->setting_count] = *ambient;
        if (!keep_ambient)
            settings[block->setting_count].operator_index = operator_named(ambient, "off");
        block->setting_count++;
    }
    if (!copy_light(fitting, light, off, &settings[block->setting_count++]))
        return NULL;
    block->index = fitting->with.block_count++;
    blocks[block->index] = block;
    return block;
}

static bool add_blocks(struct fitting *fitting, const struct block **blocks)
{
    const struct setting *ambient = block_setting(fitting->block, "ambient");
    for (int i = 0; i < fitting->lights; i++) {
        fitting->columns[i] = add_block(fitting, fitting->settings[i], false, false, blocks);
        if (fitting->columns[i] == NULL)
            return false;
    }
    if (ambient == NULL || setting_operator(ambient) != NULL)
        return true;
    fitting->base = add_block(fitting, fitting->settings[0], true, true, blocks);
    return fitting->base != NULL;
}

static enum passel_status split_block(struct fitting *fitting, struct passel_error *error)
{
    const struct block *block = fitting->block;
    const size_t room = (size_t)block->setting_count + 1;
    const size_t count = (size_t)fitting->recipe->block_count;
    const struct block **blocks = arena_array(&fitting->arena, count + room, sizeof(*blocks));
    fitting->settings = arena_array(&fitting->arena, room, sizeof(*fitting->settings));
    fitting->passes = arena_array(&fitting->arena, room, sizeof(*fitting->passes));
    fitting->columns = arena_array(&fitting->arena, room, sizeof(*fitting->columns));
    if (blocks == NULL || fitting->settings == NULL || fitting->passes == NULL || fitting->columns == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int i = 0; i < block->setting_count; i++) {
        if (!light_is_lit(block, &block->settings[i]))
            continue;
        fitting->settings[fitting->lights] = &block->settings[i];
        fitting->passes[fitting->lights++] = setting_value(&block->settings[i], 0);
    }
    if (fitting->lights == 0)
        return error_set(error, PASSEL_BAD_USE, "no light of `%s` is lit, so there is nothing to fit", block->name);
    /* Outputs play no part, and may well be where the reference comes from: the shot stands in their places. */
    for (size_t i = 0; i < count; i++) {
        const struct block *own = fitting->recipe->blocks[i];
        blocks[i] = own->schema->form == HEAD_OUTPUT ? fitting->recipe->shot : own;
    }
    fitting->with = *fitting->recipe;
    fitting->with.blocks = blocks;
    return add_blocks(fitting, blocks) ? PASSEL_OK : error_set(error, PASSEL_NO_MEMORY, "out of memory");
}

static enum passel_status make_graph(struct fitting *fitting, struct text *messages, struct passel_error *error)
{
    const struct block **also = arena_array(&fitting->arena, (size_t)fitting->lights + 3, sizeof(*also));
    int count = 0;
    if (also == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int i = 0; i < fitting->lights; i++)
        also[count++] = fitting->columns[i];
    also[count++] = fitting->block; /* its own errors, too */
    also[count++] = fitting->reference;
    if (fitting->base != NULL)
        also[count++] = fitting->base;
    return graph_new(&fitting->with, (struct manner){ 0 }, also, count, &fitting->graph, messages, error);
}

/* ---- frames ------------------------------------------------------------------------------------------------------ */

static bool in_shot(const struct shot *shot, int32_t frame)
{
    for (int i = 0; i < shot->frame_count; i++) {
        if (shot->frames[i] == frame)
            return true;
    }
    return false;
}

static enum passel_status choose_frames(struct fitting *fitting, struct passel_error *error)
{
    const struct shot *shot = &fitting->graph->shot;
    if (fitting->wish->frames != NULL) {
        RETURN_IF_ERROR(frames_parse(fitting->wish->frames, &fitting->frames, &fitting->frame_count, error));
        for (int i = 0; i < fitting->frame_count; i++) {
            if (!in_shot(shot, fitting->frames[i]))
                return error_set(error, PASSEL_BAD_USE, "the shot has no frame %d; its frames are %d to %d",
                                 (int)fitting->frames[i], (int)shot->frames[0],
                                 (int)shot->frames[shot->frame_count - 1]);
        }
        return PASSEL_OK;
    }
    bool numbered;
    RETURN_IF_ERROR(pattern_numbered(fitting->wish->reference, &numbered, error));
    fitting->frames = memory_zeros(FRAMES, sizeof *fitting->frames);
    if (fitting->frames == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    const int count = numbered ? shot_looks(shot, FRAMES) : 1;
    for (int k = 0; k < count; k++)
        fitting->frames[k] = numbered ? shot_look(shot, FRAMES, k) : shot->frames[0];
    fitting->frame_count = count;
    return PASSEL_OK;
}

/* ---- the answer -------------------------------------------------------------------------------------------------- */

/* Does the light's amount or colour, as far as the fit replaces it, change over frames? */
static bool amount_changes(const struct setting *setting, bool tint)
{
    const struct value *stops = setting_value(setting, 1);
    bool changes = stops != NULL && value_changes(stops);
    for (int i = 0; i < setting->tag_count; i++) {
        if (fit_replaces(setting->tags[i].spec->word, tint))
            changes = changes || value_changes(&setting->tags[i].values[0]);
    }
    return changes;
}

static double in_stops(const struct fit_found *found)
{
    return found->gain > 0 ? found->sigma / found->gain / 0.6931471805599453 : found->sigma;
}

static enum passel_status add_line(const struct fitting *fitting, const struct fit_result *results, int result_count,
                                   int light, struct fit_line *line, struct passel_error *error)
{
    const struct setting *setting = fitting->settings[light];
    struct text text = { 0 }, name = { 0 };
    double gains[3];
    line->dark = true;
    for (int c = 0; c < result_count; c++) {
        const struct fit_found *found = &results[c].found[light];
        gains[c] = found->gain;
        line->dark = line->dark && found->gain == 0;
    }
    for (int c = 0; c < result_count; c++) {
        const struct fit_found *found = &results[c].found[light];
        if (line->dark || found->gain > 0)
            line->sigma = fmax(line->sigma, in_stops(found));
    }
    line->changes = amount_changes(setting, result_count == 3);
    fit_line(fitting->recipe, setting, gains, result_count, &text);
    text_print(&name, "%s", fitting->passes[light]->text);
    line->line = text.bytes;
    line->name = name.bytes;
    return text.failed || name.failed ? error_set(error, PASSEL_NO_MEMORY, "out of memory") : PASSEL_OK;
}

/* A group that is known already is not named again. */
static void add_groups(const struct fit_result *result, struct fit_answer *answer)
{
    const size_t lights = (size_t)answer->count;
    for (int i = 0; i < result->group_count; i++) {
        const bool *members = result->groups + (size_t)i * lights;
        bool known = false;
        for (int k = 0; k < answer->group_count; k++)
            known = known || memcmp(answer->groups + (size_t)k * lights, members, lights * sizeof *members) == 0;
        if (!known)
            memcpy(answer->groups + (size_t)answer->group_count++ * lights, members, lights * sizeof *members);
    }
}

static enum passel_status answer_make(const struct fitting *fitting, const struct fit_result *results, int result_count,
                                      const struct fit_gathered *gathered, struct fit_answer *answer,
                                      struct passel_error *error)
{
    const size_t lights = (size_t)fitting->lights;
    *answer = (struct fit_answer){
        .count = fitting->lights, .frames = fitting->frame_count, .blocks = 3 * gathered->all, .r2 = 1
    };
    answer->lines = memory_zeros(lights, sizeof *answer->lines);
    answer->groups = memory_zeros(3 * lights * lights, sizeof *answer->groups);
    if (answer->lines == NULL || answer->groups == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int i = 0; i < fitting->lights; i++)
        RETURN_IF_ERROR(add_line(fitting, results, result_count, i, &answer->lines[i], error));
    for (int c = 0; c < result_count; c++) {
        answer->r2 = fmin(answer->r2, results[c].r2);
        answer->believed += results[c].believed;
        add_groups(&results[c], answer);
    }
    return PASSEL_OK;
}

static enum passel_status solve(const struct fitting *fitting, const struct fit_gathered *gathered,
                                struct fit_answer *answer, struct passel_error *error)
{
    struct fit_result results[3] = { { 0 } };
    const int result_count = fitting->wish->tint ? 3 : 1;
    const size_t wide = (size_t)fitting->lights + 1;
    enum passel_status status = PASSEL_OK;
    for (int c = 0; c < result_count; c++) {
        const struct fit_rows rows = { .lights = fitting->lights,
                                       .count = gathered->count * (result_count == 1 ? 3 : 1),
                                       .halves = gathered->halves + 2 * (size_t)c * gathered->count * wide,
                                       .around = gathered->around + (size_t)c * gathered->count,
                                       .noise = gathered->noise + (size_t)c * wide,
                                       .per_noise = gathered->count };
        GOTO_IF_ERROR(fit_lights(&rows, &results[c], error), out_results);
    }
    status = answer_make(fitting, results, result_count, gathered, answer, error);
    if (status != PASSEL_OK)
        fit_answer_release(answer);
out_results:
    for (int c = 0; c < result_count; c++)
        fit_result_release(&results[c]);
    return status;
}

void fit_answer_release(struct fit_answer *answer)
{
    for (int i = 0; i < answer->count && answer->lines != NULL; i++) {
        memory_free(answer->lines[i].name);
        memory_free(answer->lines[i].line);
    }
    memory_free(answer->lines);
    memory_free(answer->groups);
    *answer = (struct fit_answer){ 0 };
}

enum passel_status fit_find(const struct fit_wish *wish, struct fit_answer *answer, struct text *messages,
                            struct passel_error *error)
{
    struct fitting fitting = { .wish = wish };
    struct fit_gathered gathered = { 0 };
    enum passel_status status;
    *answer = (struct fit_answer){ 0 };
    GOTO_IF_ERROR(read_recipe(&fitting, messages, error), out_fitting);
    GOTO_IF_ERROR(find_block(&fitting, error), out_fitting);
    GOTO_IF_ERROR(split_block(&fitting, error), out_fitting);
    GOTO_IF_ERROR(make_graph(&fitting, messages, error), out_fitting);
    GOTO_IF_ERROR(choose_frames(&fitting, error), out_fitting);
    const struct fit_pictures pictures = { .columns = fitting.columns,
                                           .passes = fitting.passes,
                                           .lights = fitting.lights,
                                           .base = fitting.base,
                                           .reference = fitting.reference };
    GOTO_IF_ERROR(
        fit_gather(fitting.graph, &pictures, fitting.frames, fitting.frame_count, wish->threads, &gathered, error),
        out_fitting);
    GOTO_IF_ERROR(solve(&fitting, &gathered, answer, error), out_fitting);
out_fitting:
    fit_gathered_release(&gathered);
    memory_free(fitting.frames);
    graph_free(fitting.graph);
    arena_release(&fitting.arena);
    recipe_free(fitting.recipe);
    memory_free(fitting.schemas);
    return status;
}

/* ---- writing ----------------------------------------------------------------------------------------------------- */

static enum passel_status edit(const struct fit_wish *wish, const struct schema *const *schemas,
                               const struct fit_line *line, struct text *text, struct passel_error *error)
{
    struct text change = { 0 }, edited = { 0 };
    text_print(&change, "%s: %s", wish->block, line->line);
    enum passel_status status =
        change.failed ? error_set(error, PASSEL_NO_MEMORY, "out of memory")
                      : recipe_edit(wish->path, text->bytes, text->length, schemas, change.bytes, &edited, error);
    text_release(&change);
    if (status == PASSEL_OK) {
        text_release(text);
        *text = edited;
    } else {
        text_release(&edited);
    }
    return status;
}

enum passel_status fit_write(const struct fit_wish *wish, const struct fit_answer *answer, int *written,
                             struct passel_error *error)
{
    const struct schema **schemas = kind_schemas();
    struct text text = { 0 };
    char *bytes = NULL;
    size_t size = 0;
    enum passel_status status;
    *written = 0;
    if (schemas == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    GOTO_IF_ERROR(file_read(wish->path, RECIPE_LIMIT, &bytes, &size, error), out_schemas);
    text_add(&text, bytes, size);
    memory_free(bytes);
    if (text.failed)
        GOTO_IF_ERROR(error_set(error, PASSEL_NO_MEMORY, "out of memory"), out_schemas);
    for (int i = 0; i < answer->count; i++) {
        if (answer->lines[i].changes)
            continue;
        GOTO_IF_ERROR(edit(wish, schemas, &answer->lines[i], &text, error), out_schemas);
        ++*written;
    }
    if (*written > 0)
        GOTO_IF_ERROR(file_write(wish->path, text.bytes, text.length, error), out_schemas);
out_schemas:
    text_release(&text);
    memory_free(schemas);
    return status;
}
