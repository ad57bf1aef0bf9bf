/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A kind: its schema and a few functions. The engine calls them in this order:
 *
 *   make                  once per block: settings into the kind's own immutable struct
 *   open                  once per (picture, frame): things that belong to one frame, such as an opened file
 *   asks                  which pictures at which frames this one is made from
 *   info                  windows and planes, from those of the inputs
 *   analysis              (when there is one) looks at whole inputs and finds something: a registration, a fill
 *   reach                 which part of an input is needed for a part of the output
 *   fill                  pixels, strip by strip, from any thread
 *
 * Everything is pure: the same block, picture and frame give the same answer, and a kind never calls back into the
 * engine. A kind holds no locks. All inputs that were asked for are there before `fill` runs. Pictures are equal when
 * their block's settings (at that frame) and their inputs are equal: the engine derives that by itself.
 *
 * A plane that an input does not have is made up by the engine: A is 1 inside the data window and 0 outside; R, G and
 * B of a matte are its A. Outside an input's data window everything is 0, unless the ask says BORDER_HOLD.
 */
#ifndef KINDS_KIND_H
#define KINDS_KIND_H

#include <passel/error.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "language/recipe.h"
#include "picture/geometry.h"
#include "picture/picture.h"
#include "picture/primaries.h"

/* The frame that all pictures are made for. */
struct shot {
    const char *name;
    int32_t width, height;
    const int32_t *frames; /* rising */
    int frame_count;
    double rate;
    int32_t rate_num, rate_den;
    struct primaries primaries;
    const struct block *lock; /* or NULL */
};

struct picture_info {
    struct rect display; /* the display window */
    struct rect data;    /* where there are pixels; transparent outside */
    unsigned planes;     /* HAS_… : what the picture really has */
    bool whole;          /* fill wants its whole data window in one call (a file that only decodes whole) */
    int chunk_rows;      /* a source: strips of multiples of this, counted from data.y0, waste nothing */
    int strip_rows;      /* fill does better with strips of at least so many rows (it looks around); 0: any */
    double pixel_aspect;
    bool resampled; /* a geometric kind made it or what it is made from: pixels may be mixed. The engine tells */
};

enum border { BORDER_CLEAR, BORDER_HOLD };

enum { PLANES_AS_WANTED = 1 << 8 }; /* in ask.planes: add those that are wanted of this picture */

struct ask {
    const struct block *block; /* from a VALUE_PICTURE */
    int picture;
    int32_t frame;
    unsigned planes;
    enum border border;
    bool whole; /* the consumer wants all of it: deliver the whole data window, whatever part is being filled */
    int round;  /* analyses only: asks of one round come together; rounds come in rising order, each dropped after. A
                   round below the last that has no asks is called with none */
    bool replaceable; /* analyses only: where its file is missing or damaged, another picture that is asked of the same
                         block in the same round is delivered in its place */
};

#define ASK_LIMIT 256 /* per picture */
#define TOLD_MOST 8   /* numbers that stand for what an analysis found */

struct ask_list {
    struct ask *asks;
    int count, room;
    bool failed; /* memory is out */
};
void ask_add(struct ask_list *list, struct ask ask);
/* The usual ask: this value's picture at `frame`, planes as wanted, border clear. */
void ask_value(struct ask_list *list, const struct value *value, int32_t frame);
/* An analysis's: all of this value's picture, in this round. */
void ask_whole(struct ask_list *list, const struct value *value, int32_t frame, unsigned planes, int round);

/* What a kind's functions know about the picture being made. */
struct at {
    const void *self; /* from make */
    const struct block *block;
    const struct recipe *recipe;
    const struct shot *shot;
    int picture; /* 0: the main one; n: the n-th of the schema's further pictures */
    int32_t frame;
    double beside; /* of a smeared picture: the moment being made, in frames from `frame`; else 0 */
    int scale;     /* 1 full size, 2 half, 4 quarter: pictures are that much smaller, px settings too (value_at) */
    void *state;   /* from open */
    const struct ask *asks;
    int ask_count;
    const struct picture_info *inputs; /* per ask; their display and data windows and planes */
    const struct picture_info *info;   /* own; NULL until info has answered */
    const void *found;                 /* from the analysis; NULL when there is none */
    const struct transform *transform; /* geometric kinds: the whole chain down to what inputs[0] now is */
    enum filter filter;                /* geometric kinds */
};

/* An analysis sees whole pictures. Its result serves every frame at which its asks (and the block's settings, when
 * `settings_matter`) are the same; it is made once and kept while it is needed. */
struct analysis {
    bool settings_matter; /* the result depends on settings that change over frames */
    /* May leave the list empty: then there is no analysis at this frame and at.found is NULL. at.inputs is not there
     * yet. The answer must follow from the recipe and at.frame alone, never from the frames being rendered. */
    enum passel_status (*asks)(const struct at *at, struct ask_list *list, struct passel_error *error);
    /* One call per round with that round's pictures; `infos` are theirs. *work starts as NULL and is the kind's own. */
    enum passel_status (*add)(const struct at *at, int round, const struct picture *pictures,
                              const struct picture_info *infos, int count, void **work, struct passel_error *error);
    /* Turns *work into the result; *bytes is how much memory it holds. `drop_work` is called in any case after it. */
    enum passel_status (*finish)(const struct at *at, void *work, void **found, size_t *bytes,
                                 struct passel_error *error);
    void (*drop_work)(void *work); /* NULL is fine */
    void (*drop_found)(void *found);
};

struct kind {
    struct schema schema;
    const struct analysis *analysis; /* or NULL */
    bool geometric;                  /* has `transform`; ask 0 is the picture that is moved; the engine resamples */

    /* Settings → self (from `arena`, or with `release`). Errors at their place: recipe_error. NULL: self is NULL. */
    enum passel_status (*make)(const struct block *block, const struct recipe *recipe, const struct shot *shot,
                               struct arena *arena, void **self, struct passel_error *error);
    void (*release)(void *self); /* or NULL */

    enum passel_status (*open)(const struct at *at, void **state, struct passel_error *error); /* or NULL */
    /* Ends what `open` began; may add a line to `notes`, a warning about what was met (values that were no numbers). */
    void (*close)(void *state, struct text *notes);
    /* A source: the path of the `index`-th file that this picture reads (from 0), or NULL behind the last. Valid as
     * long as the state. The engine takes name, size and time of change into account. */
    const char *(*file)(const struct at *at, int index);

    /* True when the picture depends on at.frame beyond its settings and inputs (grain that differs from frame to
     * frame); NULL: no. */
    bool (*by_frame)(const struct at *at);

    /* NULL: no inputs (a source, a generator). Only at.self … at.state are there. */
    enum passel_status (*asks)(const struct at *at, struct ask_list *list, struct passel_error *error);
    /* NULL: as input 0, planes and all. */
    enum passel_status (*info)(const struct at *at, struct picture_info *info, struct passel_error *error);
    /* Part of input `ask` that is needed to fill `want`; NULL: the same part. The engine cuts it to the input's data
     * window and pads on delivery. */
    struct rect (*reach)(const struct at *at, int ask, struct rect want);
    /* Geometric kinds: output → input positions at this frame, in pixels of at.scale. `*ends_chain`: the picture has
     * more than this transform to it (a crop), so that no consumer may fold it into its own. */
    enum passel_status (*transform)(const struct at *at, struct transform *t, enum filter *filter, bool *ends_chain,
                                    struct passel_error *error);
    /* Geometric kinds that can be smeared by an open shutter; else NULL. How many moments the picture at this frame is
     * the mean of; 1: it stands still. Moment k of n lies `open` frames times (k + 1/2) / n - 1/2 beside the frame
     * (at.beside): `transform` and `fill` are called for each, info.data covers them all. Such a picture ends its
     * chain. at.inputs are there, at.found is not. A kind without geometry makes all its moments by itself and has
     * this so that its picture is known to follow from the settings at each. */
    int (*moments)(const struct at *at, double *open);
    /* Kinds whose analysis can be replaced by numbers in the recipe; else NULL. The setting that takes them, and its
     * values, in full-size pixels, that stand for what was found at this frame; returns how many, at most TOLD_MOST. */
    const char *told;
    int (*tell)(const struct at *at, double *numbers);
    /* out->area is inside info.data; out has the planes that are wanted. in[i] belongs to asks[i] and covers reach (or
     * the whole data window) – with BORDER_CLEAR zeros beyond the input's data window, with BORDER_HOLD its edge.
     * `in` may alias nothing that is written. `scratch` gives memory until the call returns. With info.whole set, it is
     * called once per picture with the whole data window.
     * A geometric kind may leave it NULL; if not, it is called where `ends_chain` was answered, and in[0] is the
     * resampled picture, of the same area as out. */
    enum passel_status (*fill)(const struct at *at, const struct picture *in, const struct picture *out,
                               struct arena *scratch, struct passel_error *error);
};

/* All kinds, sorted by schema name, ended by NULL (kinds/table.c). */
extern const struct kind *const kind_table[];
/* The kind whose schema this is. */
const struct kind *kind_of(const struct schema *schema);
/* A schema for each kind, as recipe_parse wants them (ended by NULL); for memory_free, NULL when memory is out. */
const struct schema **kind_schemas(void);

#endif
