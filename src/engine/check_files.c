/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "engine/check_files.h"

#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "engine/plan.h"

/* The pictures to look at: those of the outputs, or every picture of the recipe. */
static int find_roots(const struct graph *graph, struct value *roots)
{
    const struct recipe *recipe = graph->recipe;
    int count = 0;
    for (int i = 0; i < graph->output_count; i++) {
        for (int k = 0; k < graph->outputs[i].picture_count; k++)
            roots[count++] = *graph->outputs[i].pictures[k].value;
    }
    for (int i = 0; i < recipe->block_count && graph->output_count == 0; i++) {
        if (recipe->blocks[i]->schema->makes == MAKES_PICTURE)
            roots[count++] = (struct value){ .block = recipe->blocks[i] };
    }
    return count;
}

static size_t most_roots(const struct graph *graph)
{
    size_t most = (size_t)graph->recipe->block_count;
    for (int i = 0; i < graph->output_count; i++)
        most += (size_t)graph->outputs[i].picture_count;
    return most;
}

void check_frames_of(const struct graph *graph, void (*tell)(void *user, int32_t frame, const char *text), void *user,
                     struct check_result *result)
{
    struct value *roots = memory_zeros(most_roots(graph), sizeof *roots);
    struct passel_error error = { 0 }, last = { 0 };
    *result = (struct check_result){ .frames = graph->shot.frame_count };
    const int count = roots != NULL ? find_roots(graph, roots) : 0;
    for (int i = 0; i < graph->shot.frame_count; i++) {
        enum passel_status first = roots == NULL ? PASSEL_NO_MEMORY : PASSEL_OK;
        for (int k = 0; k < count; k++) {
            /* One picture at a time, so that one fault does not hide the next. */
            const struct value *root = &roots[k];
            int node;
            struct plan *plan = NULL;
            const enum passel_status status =
                plan_new(graph, graph->shot.frames[i], &root, 1, &node, &plan, &error);
            plan_free(plan, NULL);
            if (status == PASSEL_OK)
                continue;
            first = first == PASSEL_OK ? status : first;
            if (strcmp(error.text, last.text) != 0)
                tell(user, graph->shot.frames[i], error.text);
            last = error;
        }
        result->faulty += first != PASSEL_OK;
        if (result->first == PASSEL_OK)
            result->first = first;
    }
    memory_free(roots);
}
