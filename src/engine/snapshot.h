/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What one frame of a recipe is made from, block by block and file by file, to tell later what has changed.
 */
#ifndef ENGINE_SNAPSHOT_H
#define ENGINE_SNAPSHOT_H

#include <passel/passel.h>
#include <xxhash.h>

#include "base/text.h"
#include "engine/graph.h"

struct snapshot_block {
    char *name;            /* an output's is "output LABEL" */
    XXH128_hash_t words;   /* its lines in the recipe, without comments and blanks */
    XXH128_hash_t picture; /* what it shows at the frame; 0 when the frame does not need it */
};

struct snapshot_file {
    char *path;
    uint64_t size;
    int64_t modified_ns;
};

struct snapshot {
    struct snapshot_block *blocks;
    int block_count;
    struct snapshot_file *files; /* that the frame reads */
    int file_count;
};

/* Takes it for those outputs that `options` choose. On failure it is empty. */
enum passel_status snapshot_take(const struct graph *graph, const struct passel_render_options *options, int32_t frame,
                                 struct snapshot *snapshot, struct passel_error *error);
void snapshot_release(struct snapshot *snapshot);

/* Does the frame show the same? */
bool snapshot_same(const struct snapshot *before, const struct snapshot *now);
/* Does the frame still read every file it read before, and are they the same? It may read others, too. */
bool snapshot_files_same(const struct snapshot *before, const struct snapshot *now);
/* "night, edge set anew; hole added; moon.1003.exr written anew; 3 of 17 pictures differ". */
void snapshot_differences(const struct snapshot *before, const struct snapshot *now, struct text *text);

#endif
