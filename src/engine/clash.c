/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "engine/clash.h"

#include <string.h>

#include "base/error.h"
#include "base/file.h"
#include "base/memory.h"
#include "kinds/kinds.h"
#include "kinds/pass.h"
#include "media/sequence.h"

static enum passel_status at_file(const struct graph *graph, const struct output *output, struct passel_error *error,
                                  const char *text)
{
    const struct value *file = setting_value(block_setting(output->block, "file"), 0);
    return recipe_error(graph->recipe, file->where, PASSEL_BAD_RECIPE, error, "%s", text);
}

/* False when the file is not there (or memory is out, which the render will find out by itself). */
static bool facts_at(const char *pattern, int32_t frame, struct file_facts *facts)
{
    char *path = pattern_path(pattern, frame);
    const bool there = path != NULL && file_facts(path, facts, NULL) == PASSEL_OK;
    memory_free(path);
    return there;
}

static bool folder_facts(const char *pattern, struct file_facts *facts)
{
    char *folder = path_folder(pattern);
    const bool there = folder != NULL && file_facts(folder, facts, NULL) == PASSEL_OK;
    memory_free(folder);
    return there;
}

static bool same_file(const struct file_facts *a, const struct file_facts *b)
{
    return a->device == b->device && a->inode == b->inode;
}

/* True when `facts` are those of one of the sequence's files. */
static bool is_of(const struct file_facts *facts, const struct sequence *sequence)
{
    struct file_facts own;
    for (int i = 0; i < (sequence->numbered ? sequence->count : 1); i++) {
        if (facts_at(sequence->pattern, sequence->numbered ? sequence->frames[i] : 0, &own) && same_file(facts, &own))
            return true;
    }
    return false;
}

/* Only files of one folder can be the same; links across folders are found when their frame is planned. */
static bool writes_over(const struct graph *graph, const struct output *output, const struct sequence *sequence)
{
    struct file_facts here, there, facts;
    if (!folder_facts(output->pattern, &here) || !folder_facts(sequence->pattern, &there) || !same_file(&here, &there))
        return false;
    for (int i = 0; i < graph->shot.frame_count; i++) {
        if (facts_at(output->pattern, graph->shot.frames[i], &facts) && is_of(&facts, sequence))
            return true;
    }
    return false;
}

enum passel_status clash_find(const struct graph *graph, const struct output *output, struct passel_error *error)
{
    for (const struct output *other = graph->outputs; other < output; other++) {
        if (strcmp(other->pattern, output->pattern) == 0)
            return at_file(graph, output, error, "another output is written to the same file; give each its own name");
    }
    for (int i = 0; i < graph->output_count && graph->preview; i++) {
        if (strcmp(graph->outputs[i].final_pattern, output->pattern) == 0)
            return at_file(graph, output, error,
                           "its quick pictures would be written over the finished frames of another output; give that "
                           "one another name");
    }
    for (int i = 0; i < graph->recipe->block_count; i++) {
        if (graph->kinds[i] == &kind_pass && graph->made[i] &&
            writes_over(graph, output, pass_sequence(graph->selfs[i])))
            return at_file(graph, output, error,
                           "this would be written over a pass that the recipe reads; give the output another name");
    }
    return PASSEL_OK;
}
