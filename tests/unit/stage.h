/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Makes pictures of one block by hand, without the engine: the test gives the pictures of its inputs. Every part is
 * delivered in memory of exactly the size that was asked for, so that a sanitizer sees a kind that reads beyond it.
 */
#ifndef TESTS_STAGE_H
#define TESTS_STAGE_H

#include "kinds/kind.h"

struct stage_input {
    const char
        *name; /* of a block in the recipe; "moon@1003": at this frame alone; "sky@1003:-1": that picture of it */
    struct picture picture;
    struct rect display;
};

struct stage {
    struct recipe *recipe;
    struct shot shot;
    const struct stage_input *inputs;
    int input_count;
    int picture;      /* which picture of the block is made; 0: the main one */
    char asked[1024]; /* by the last stage_make: names and planes, "moon:RGBA cut:A"; AS_WANTED is a * */
};

/* Parses the text with the kinds named (ended by NULL; shot and flat are there). Fails the test when it is wrong. */
void stage_init(struct stage *stage, const char *text, const struct kind *const *kinds);
void stage_release(struct stage *stage);

/* What the block is at this frame, filled in tiles of tile × tile pixels, each by its own call. *out holds `planes`
 * over the data window and is the caller's. */
enum passel_status stage_make(struct stage *stage, const char *block, int32_t frame, int scale, unsigned planes,
                              int32_t tile, struct picture *out, struct picture_info *info, struct passel_error *error);

/* The same in one tile, which must succeed; then in tiles of 7, which must give the same bits. */
struct picture stage_picture(struct stage *stage, const char *block, int32_t frame, unsigned planes);

/* Makes the block's picture at the first frame with every allocation failing in turn. */
void stage_survives_no_memory(struct stage *stage, const char *block, unsigned planes);

#endif
