/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "engine/snapshot.h"

#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "base/file.h"
#include "base/memory.h"
#include "engine/plan.h"
#include "engine/render.h"

#define NAMED_MOST 6 /* of one sort of change; then "and 12 more" */

static char *text_copy(const char *text)
{
    char *copy = memory_new(strlen(text) + 1);
    if (copy != NULL)
        memcpy(copy, text, strlen(text) + 1);
    return copy;
}

/* ---- taking ---- */

static char *block_name(const struct block *block)
{
    char name[300];
    if (block->schema->form != HEAD_OUTPUT)
        return text_copy(block->name);
    (void)snprintf(name, sizeof name, "output %.280s", block->name);
    return text_copy(block->name[0] != '\0' ? name : "output");
}

/* Takes a line's words, each followed by a blank, up to a comment. */
static void digest_line(XXH3_state_t *state, const char *line, size_t length)
{
    for (size_t i = 0; i < length;) {
        while (i < length && strchr(" \t\r", line[i]) != NULL)
            i++;
        size_t word = 0;
        while (i + word < length && strchr(" \t\r", line[i + word]) == NULL)
            word++;
        if (word == 0 || line[i] == '#')
            return;
        (void)XXH3_128bits_update(state, line + i, word);
        (void)XXH3_128bits_update(state, " ", 1);
        i += word;
    }
}

/* A place in the recipe's text. */
struct cursor {
    const char *at, *end;
    int line;
};

/* The lines first … last - 1, counted from 1; the cursor goes on behind them. */
static XXH128_hash_t digest_lines(XXH3_state_t *state, struct cursor *cursor, int first, int last)
{
    (void)XXH3_128bits_reset(state);
    for (; cursor->at < cursor->end && cursor->line < last; cursor->line++) {
        const size_t left = (size_t)(cursor->end - cursor->at);
        const char *stop = memchr(cursor->at, '\n', left);
        const size_t length = stop != NULL ? (size_t)(stop - cursor->at) : left;
        if (cursor->line >= first)
            digest_line(state, cursor->at, length);
        cursor->at += stop != NULL ? length + 1 : length;
    }
    return XXH3_128bits_digest(state);
}

static enum passel_status take_blocks(const struct graph *graph, const struct plan *plan, struct snapshot *snapshot,
                                      struct passel_error *error)
{
    const struct recipe *recipe = graph->recipe;
    XXH3_state_t *state = XXH3_createState();
    snapshot->blocks = memory_zeros((size_t)recipe->block_count + 1, sizeof *snapshot->blocks);
    struct cursor cursor = { recipe->text, recipe->text + recipe->text_length, 1 };
    bool fine = state != NULL && snapshot->blocks != NULL;
    for (int i = 0; i < recipe->block_count && fine; i++) {
        const int end = i + 1 < recipe->block_count ? recipe->blocks[i + 1]->where.line : INT32_MAX;
        struct snapshot_block *block = &snapshot->blocks[snapshot->block_count++];
        block->words = digest_lines(state, &cursor, recipe->blocks[i]->where.line, end);
        block->name = block_name(recipe->blocks[i]);
        fine = block->name != NULL;
    }
    for (int n = 0; n < plan->count && fine; n++) {
        const struct node *node = &plan->nodes[n];
        struct snapshot_block *block = &snapshot->blocks[node->at.block->index];
        const XXH128_hash_t both[] = { block->picture, node->digest };
        block->picture = XXH3_128bits(both, sizeof both);
    }
    (void)XXH3_freeState(state);
    return fine ? PASSEL_OK : error_set(error, PASSEL_NO_MEMORY, "out of memory");
}

static enum passel_status take_files(const struct plan *plan, struct snapshot *snapshot, struct passel_error *error)
{
    snapshot->files = memory_zeros((size_t)plan->file_count + 1, sizeof *snapshot->files);
    if (snapshot->files == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int n = 0; n < plan->count; n++) {
        const struct node *node = &plan->nodes[n];
        const char *path;
        for (int i = 0; node->kind->file != NULL && (path = node->kind->file(&node->at, i)) != NULL; i++) {
            struct snapshot_file *file = &snapshot->files[snapshot->file_count];
            if (snapshot->file_count == plan->file_count)
                return PASSEL_OK;
            file->path = text_copy(path);
            if (file->path == NULL)
                return error_set(error, PASSEL_NO_MEMORY, "out of memory");
            file->size = plan->files[snapshot->file_count].size;
            file->modified_ns = plan->files[snapshot->file_count++].modified_ns;
        }
    }
    return PASSEL_OK;
}

enum passel_status snapshot_take(const struct graph *graph, const struct passel_render_options *options, int32_t frame,
                                 struct snapshot *snapshot, struct passel_error *error)
{
    const size_t most = (size_t)graph->output_count + 1;
    const struct value **roots = memory_zeros(most, sizeof *roots);
    int *nodes = memory_zeros(most, sizeof *nodes), count = 0;
    struct plan *plan = NULL;
    enum passel_status status = PASSEL_OK;
    *snapshot = (struct snapshot){ 0 };
    if (roots == NULL || nodes == NULL)
        GOTO_IF_ERROR(error_set(error, PASSEL_NO_MEMORY, "out of memory"), out_roots);
    for (int i = 0; i < graph->output_count; i++) {
        if (render_chooses(graph, options, i))
            roots[count++] = graph->outputs[i].pictures[0].value;
    }
    GOTO_IF_ERROR(plan_new(graph, frame, roots, count, nodes, &plan, error), out_roots);
    status = take_blocks(graph, plan, snapshot, error);
    if (status == PASSEL_OK)
        status = take_files(plan, snapshot, error);
    if (status != PASSEL_OK)
        snapshot_release(snapshot);
out_roots:
    plan_free(plan, NULL);
    memory_free(roots);
    memory_free(nodes);
    return status;
}

void snapshot_release(struct snapshot *snapshot)
{
    for (int i = 0; i < snapshot->block_count; i++)
        memory_free(snapshot->blocks[i].name);
    for (int i = 0; i < snapshot->file_count; i++)
        memory_free(snapshot->files[i].path);
    memory_free(snapshot->blocks);
    memory_free(snapshot->files);
    *snapshot = (struct snapshot){ 0 };
}

/* ---- comparing ---- */

/* `likely`: where it stands when nothing was added or taken out. */
static const struct snapshot_block *block_named(const struct snapshot *snapshot, const char *name, int likely)
{
    if (likely < snapshot->block_count && strcmp(snapshot->blocks[likely].name, name) == 0)
        return &snapshot->blocks[likely];
    for (int i = 0; i < snapshot->block_count; i++) {
        if (strcmp(snapshot->blocks[i].name, name) == 0)
            return &snapshot->blocks[i];
    }
    return NULL;
}

static const struct snapshot_file *file_at(const struct snapshot *snapshot, const char *path)
{
    for (int i = 0; i < snapshot->file_count; i++) {
        if (strcmp(snapshot->files[i].path, path) == 0)
            return &snapshot->files[i];
    }
    return NULL;
}

static bool file_same(const struct snapshot_file *a, const struct snapshot_file *b)
{
    return a != NULL && a->size == b->size && a->modified_ns == b->modified_ns;
}

/* Are all files of `some` among those of `all`, and the same? */
static bool files_within(const struct snapshot *some, const struct snapshot *all)
{
    for (int i = 0; i < some->file_count; i++) {
        if (!file_same(file_at(all, some->files[i].path), &some->files[i]))
            return false;
    }
    return true;
}

bool snapshot_same(const struct snapshot *before, const struct snapshot *now)
{
    bool same = before->block_count > 0 && before->file_count == now->file_count;
    for (int i = 0; i < now->block_count && same; i++) {
        const struct snapshot_block *block = block_named(before, now->blocks[i].name, i);
        const XXH128_hash_t none = { 0, 0 };
        same = XXH128_isEqual(block != NULL ? block->picture : none, now->blocks[i].picture) != 0;
    }
    return same && files_within(now, before);
}

bool snapshot_files_same(const struct snapshot *before, const struct snapshot *now)
{
    return files_within(before, now);
}

struct naming {
    struct text *text;
    const char *what; /* "set anew" */
    int count;
};

static void name_one(struct naming *naming, const char *name)
{
    if (naming->count < NAMED_MOST)
        text_print(naming->text, "%s%s", naming->count > 0 ? ", " : naming->text->length > 0 ? "; " : "", name);
    naming->count++;
}

static void name_end(struct naming *naming)
{
    if (naming->count > NAMED_MOST)
        text_print(naming->text, " and %d more", naming->count - NAMED_MOST);
    if (naming->count > 0)
        text_print(naming->text, " %s", naming->what);
}

static void name_blocks(const struct snapshot *before, const struct snapshot *now, struct text *text)
{
    struct naming anew = { text, "set anew", 0 }, added = { text, "added", 0 }, gone = { text, "gone", 0 };
    for (int i = 0; i < now->block_count; i++) {
        const struct snapshot_block *block = block_named(before, now->blocks[i].name, i);
        if (block != NULL && XXH128_isEqual(block->words, now->blocks[i].words) == 0)
            name_one(&anew, now->blocks[i].name);
    }
    name_end(&anew);
    for (int i = 0; i < now->block_count; i++) {
        if (block_named(before, now->blocks[i].name, i) == NULL)
            name_one(&added, now->blocks[i].name);
    }
    name_end(&added);
    for (int i = 0; i < before->block_count; i++) {
        if (block_named(now, before->blocks[i].name, i) == NULL)
            name_one(&gone, before->blocks[i].name);
    }
    name_end(&gone);
}

static void name_files(const struct snapshot *before, const struct snapshot *now, struct text *text)
{
    struct naming files = { text, "written anew", 0 };
    for (int i = 0; i < now->file_count; i++) {
        const struct snapshot_file *file = file_at(before, now->files[i].path);
        const char *slash = strrchr(now->files[i].path, '/');
        if (file != NULL && !file_same(file, &now->files[i]))
            name_one(&files, slash != NULL ? slash + 1 : now->files[i].path);
    }
    name_end(&files);
}

void snapshot_differences(const struct snapshot *before, const struct snapshot *now, struct text *text)
{
    const XXH128_hash_t none = { 0, 0 };
    int all = 0, differ = 0;
    name_blocks(before, now, text);
    name_files(before, now, text);
    for (int i = 0; i < now->block_count; i++) {
        const struct snapshot_block *block = block_named(before, now->blocks[i].name, i);
        const bool shows = XXH128_isEqual(now->blocks[i].picture, none) == 0;
        all += shows;
        differ += shows && (block == NULL || XXH128_isEqual(block->picture, now->blocks[i].picture) == 0);
    }
    if (differ > 0 || text->length == 0)
        text_print(text, "%s%d of %d pictures differ", text->length > 0 ? "; " : "", differ, all);
}
