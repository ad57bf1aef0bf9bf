/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "engine/graph.h"

#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "engine/clash.h"
#include "kinds/shot.h"

/* Puts every block that these values name, and that is new, onto the stack. */
static void mark_values(const struct value *values, int count, bool *wanted, int *stack, int *depth)
{
    for (int i = 0; i < count; i++) {
        if (values[i].spec == NULL || values[i].block == NULL || wanted[values[i].block->index])
            continue;
        wanted[values[i].block->index] = true;
        stack[(*depth)++] = values[i].block->index;
    }
}

static void mark_setting(const struct setting *setting, bool *wanted, int *stack, int *depth)
{
    if (setting == NULL)
        return;
    mark_values(setting->values, setting->value_count, wanted, stack, depth);
    for (int i = 0; i < setting->tag_count; i++)
        mark_values(setting->tags[i].values, setting->tags[i].value_count, wanted, stack, depth);
}

/* Marks all that can be reached from the blocks on the stack. */
static void mark_reached(const struct recipe *recipe, bool *wanted, int *stack, int depth)
{
    while (depth > 0) {
        const struct block *block = recipe->blocks[stack[--depth]];
        mark_setting(block->head, wanted, stack, &depth);
        for (int i = 0; i < block->setting_count; i++)
            mark_setting(&block->settings[i], wanted, stack, &depth);
    }
}

static void note_error(struct text *messages, const struct passel_error *one, enum passel_status status,
                       enum passel_status *first, struct passel_error *error)
{
    if (messages != NULL)
        text_print(messages, "%s\n", one->text);
    if (*first == PASSEL_OK) {
        *first = status;
        (void)error_set(error, status, "%s", one->text);
    }
}

static enum passel_status make_blocks(struct graph *graph, const bool *wanted, struct text *messages,
                                      struct passel_error *error)
{
    const struct recipe *recipe = graph->recipe;
    enum passel_status first = PASSEL_OK;
    for (int i = 0; i < recipe->block_count; i++) {
        const struct block *block = recipe->blocks[i];
        graph->kinds[i] = kind_of(block->schema);
        if (!wanted[i] || graph->kinds[i]->make == NULL)
            continue;
        struct passel_error one = { 0 };
        const enum passel_status status =
            graph->kinds[i]->make(block, recipe, &graph->shot, &graph->arena, &graph->selfs[i], &one);
        graph->made[i] = status == PASSEL_OK;
        if (status != PASSEL_OK)
            note_error(messages, &one, status, &first, error);
    }
    return first;
}

/* Two outputs whose names differ in the ending alone would have one preview. */
static enum passel_status preview_output(struct graph *graph, struct output *output, struct passel_error *error)
{
    const size_t stem = strlen(output->pattern) - strlen(".exr");
    bool taken = false;
    for (const struct output *other = graph->outputs; other < output; other++)
        taken = taken || (strncmp(other->final_pattern, output->pattern, stem) == 0 &&
                          other->final_pattern[stem] == '.' && strlen(other->final_pattern) == strlen(output->pattern));
    return output_preview(output, taken, error);
}

static enum passel_status read_outputs(struct graph *graph, struct text *messages, struct passel_error *error)
{
    const struct recipe *recipe = graph->recipe;
    enum passel_status first = PASSEL_OK;
    for (int i = 0; i < recipe->block_count; i++) {
        if (recipe->blocks[i]->schema->form != HEAD_OUTPUT)
            continue;
        struct passel_error one = { 0 };
        struct output *output = &graph->outputs[graph->output_count];
        enum passel_status status = output_read(recipe, recipe->blocks[i], &graph->shot, &graph->arena, output, &one);
        if (status == PASSEL_OK && graph->preview)
            status = preview_output(graph, output, &one);
        if (status == PASSEL_OK)
            graph->output_count++;
        else
            note_error(messages, &one, status, &first, error);
    }
    return first;
}

static enum passel_status find_clashes(const struct graph *graph, struct text *messages, struct passel_error *error)
{
    enum passel_status first = PASSEL_OK;
    for (int i = 0; i < graph->output_count; i++) {
        struct passel_error one = { 0 };
        const enum passel_status status = clash_find(graph, &graph->outputs[i], &one);
        if (status != PASSEL_OK)
            note_error(messages, &one, status, &first, error);
    }
    return first;
}

static enum passel_status fill_graph(struct graph *graph, const struct block *const *also, int also_count,
                                     struct text *messages, struct passel_error *error)
{
    const struct recipe *recipe = graph->recipe;
    const size_t count = (size_t)recipe->block_count + 1;
    bool *wanted = arena_array(&graph->arena, count, sizeof *wanted);
    int *stack = arena_array(&graph->arena, count, sizeof *stack);
    graph->kinds = arena_array(&graph->arena, count, sizeof *graph->kinds);
    graph->selfs = arena_array(&graph->arena, count, sizeof *graph->selfs);
    graph->made = arena_array(&graph->arena, count, sizeof *graph->made);
    graph->outputs = arena_array(&graph->arena, count, sizeof *graph->outputs);
    if (wanted == NULL || stack == NULL || graph->kinds == NULL || graph->selfs == NULL || graph->made == NULL ||
        graph->outputs == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    int depth = 0;
    for (int i = 0; i < recipe->block_count; i++) {
        const enum head_form form = recipe->blocks[i]->schema->form;
        wanted[i] = form == HEAD_OUTPUT || form == HEAD_SHOT;
        if (wanted[i])
            stack[depth++] = i;
    }
    for (int i = 0; i < also_count; i++) {
        if (!wanted[also[i]->index]) {
            wanted[also[i]->index] = true;
            stack[depth++] = also[i]->index;
        }
    }
    mark_reached(recipe, wanted, stack, depth);
    const enum passel_status outputs = read_outputs(graph, messages, error);
    const enum passel_status blocks = make_blocks(graph, wanted, messages, outputs == PASSEL_OK ? error : NULL);
    if (outputs != PASSEL_OK || blocks != PASSEL_OK)
        return outputs != PASSEL_OK ? outputs : blocks;
    return find_clashes(graph, messages, error);
}

enum passel_status graph_new(const struct recipe *recipe, struct manner manner, const struct block *const *also,
                             int also_count, struct graph **made, struct text *messages, struct passel_error *error)
{
    struct graph *graph = memory_zeros(1, sizeof *graph);
    *made = NULL;
    if (graph == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    graph->recipe = recipe;
    graph->scale = manner.scale > 0 ? manner.scale : 1;
    graph->preview = manner.preview;
    struct passel_error one = { 0 };
    enum passel_status status = shot_read(recipe, &graph->shot, &one);
    enum passel_status first = PASSEL_OK;
    if (status != PASSEL_OK)
        note_error(messages, &one, status, &first, error);
    else
        status = fill_graph(graph, also, also_count, messages, error);
    if (status != PASSEL_OK) {
        graph_free(graph);
        return status;
    }
    *made = graph;
    return PASSEL_OK;
}

enum passel_status graph_make(const struct recipe *recipe, struct manner manner, const struct block *const *also,
                              int also_count, struct graph **graph, struct passel_error *error)
{
    struct text messages = { 0 };
    const enum passel_status status = graph_new(recipe, manner, also, also_count, graph, &messages, error);
    if (status != PASSEL_OK && messages.length > 1)
        (void)error_set(error, status, "%.*s", (int)messages.length - 1, messages.bytes);
    text_release(&messages);
    return status;
}

void graph_free(struct graph *graph)
{
    if (graph == NULL)
        return;
    for (int i = 0; graph->made != NULL && i < graph->recipe->block_count; i++) {
        if (graph->made[i] && graph->kinds[i]->release != NULL)
            graph->kinds[i]->release(graph->selfs[i]);
    }
    for (int i = 0; i < graph->output_count; i++)
        output_release(&graph->outputs[i]);
    arena_release(&graph->arena);
    memory_free(graph);
}
