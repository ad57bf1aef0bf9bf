/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The plan of one frame: every picture that it is made from, each once, inputs before their consumers. A picture is
 * known by (block, picture, frame); what it shows is known by its digest, so equal pictures of different frames are
 * found out without looking at pixels.
 */
#ifndef ENGINE_PLAN_H
#define ENGINE_PLAN_H

#include <passel/error.h>
#include <xxhash.h>

#include "engine/graph.h"

enum form { FORM_PLAIN, FORM_SPLINE, FORM_COUNT };

struct stored;

struct node {
    const struct kind *kind;
    struct at at;
    struct ask_list asks;
    int *inputs; /* per ask: index of its node */
    struct ask_list looks; /* what the analysis looks at */
    int *looked;           /* per look: index of its node */
    struct picture_info *input_infos;
    struct picture_info info;
    unsigned wanted; /* planes that somebody wants of it */
    bool opened;
    bool lost;        /* an analysis wanted it, and its file turned out to be damaged */
    bool resolved;    /* geometry below is known */
    bool ends_chain;
    bool whole_shift; /* the transform moves by whole pixels */
    int32_t shift_x, shift_y;
    struct transform transform; /* the whole chain, from here to `source` */
    struct transform own;       /* the node's step alone */
    struct transform below;     /* the chain without the node's own step */
    int moments;                /* more than 1: the mean of so many, spread over `open` frames */
    double open;
    int source;                 /* node that a geometric one reads */
    bool hold;                  /* beyond its edge the source goes on, since the first of the chain holds it */
    bool cut;                   /* but what is seen ends with `window` of a picture within the chain … */
    struct transform to_window; /* … which this leads to, without the node's own step */
    struct rect window;
    bool shared; /* the frame before or after shows the same: worth keeping */
    XXH128_hash_t digest;
    XXH128_hash_t look_digest;
    struct stored *held[FORM_COUNT]; /* references into the store */
    struct stored *found;
};

struct plan {
    const struct graph *graph;
    int32_t frame;
    int32_t strip_rows; /* how many rows are made at a time */
    struct node *nodes; /* inputs before consumers */
    int count, room;
    int *index; /* hash table over nodes, -1 is free */
    int index_room;
    int lock; /* node of the lock pass, or -1 */
    int64_t newest_ns; /* the youngest input file's time of change */
    struct file_facts *files; /* all input files that exist */
    int file_count, file_room;
};

/* Plans `frame` with these pictures as roots; node indices of the roots go to root_nodes. Opens the files it needs. */
enum passel_status plan_new(const struct graph *graph, int32_t frame, const struct value *const *roots, int root_count,
                            int *root_nodes, struct plan **plan, struct passel_error *error);
/* Says which planes are wanted of the roots; must follow plan_new before pixels are made. */
void plan_want(struct plan *plan, const int *roots, const unsigned *planes, int root_count);
/* PASSEL_BAD_FILE when an input file is not the one any more that was planned with: nobody knows what was read. */
enum passel_status plan_check_files(const struct plan *plan, struct passel_error *error);
/* Closes what was opened. `notes` (may be NULL) takes the kinds' warnings. References to the store must be gone. */
void plan_free(struct plan *plan, struct text *notes);

/* True for what can be wrong with one file of a sequence while the others serve. */
bool status_of_file(enum passel_status status);
/* Puts another picture of the same block and round in the place of look `k` of a node, one that was not lost. False
 * when there is none. */
bool plan_replace_look(struct plan *plan, struct node *node, int k);

/* Moment k of a smeared node, in frames from its own; 0 when it stands still. */
double node_moment(const struct node *node, int k);

/* The planes that `node` asks of its input `ask` (HAS_…). */
unsigned plan_ask_planes(const struct node *node, const struct ask *ask);
/* The planes that have to be made so that `wanted` can be delivered. */
unsigned plan_made_planes(const struct node *node, unsigned wanted);
/* Finds the transform chain of a geometric node; its analyses and those below must have been done. */
enum passel_status plan_resolve(struct plan *plan, int node, struct passel_error *error);

#endif
