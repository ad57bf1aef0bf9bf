/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A recipe brought to life: the shot, what each block's kind made of its settings, and the outputs. Immutable after
 * graph_new, so that any thread may read it.
 */
#ifndef ENGINE_GRAPH_H
#define ENGINE_GRAPH_H

#include <passel/error.h>

#include "kinds/kind.h"
#include "kinds/output.h"

/* How all of it is made. All zero: as it is finished, at full size. */
struct manner {
    int scale;    /* 0 or 1 full size; 2 half; 4 quarter */
    bool preview; /* outputs are previews (output_preview), geometry is resampled by the cheapest smooth filter, and a
                     range that is not given is a few frames spread over the shot */
};

struct graph {
    const struct recipe *recipe; /* not owned */
    struct shot shot;
    struct arena arena;
    const struct kind **kinds; /* per block */
    void **selfs;              /* per block */
    bool *made;                /* per block: self is there */
    struct output *outputs;    /* in the order of the recipe */
    int output_count;
    int scale;
    bool preview;
};

/* Makes every block that an output reaches, and those in `also` (may be NULL, `also_count` 0). All errors are written
 * to `messages`, a line or more each; the status is that of the first. */
enum passel_status graph_new(const struct recipe *recipe, struct manner manner, const struct block *const *also,
                             int also_count, struct graph **graph, struct text *messages, struct passel_error *error);
/* The same, where the error takes all that is wrong, as far as there is room. */
enum passel_status graph_make(const struct recipe *recipe, struct manner manner, const struct block *const *also,
                              int also_count, struct graph **graph, struct passel_error *error);
void graph_free(struct graph *graph);

#endif
