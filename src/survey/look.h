/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A picture reduced to what can be seen from across the room: linear light, means over square blocks. Noise shrinks
 * with the blocks, so levels and colours can be believed.
 */
#ifndef SURVEY_LOOK_H
#define SURVEY_LOOK_H

#include "survey/reading.h"

struct look {
    int32_t across, down; /* blocks */
    int32_t block;        /* pixels that a block is wide and high */
    float *plane[3];      /* R, G, B; across * down each, in one piece of memory that plane[0] begins */
};

/* One plane of the same. */
struct grey {
    int32_t across, down, block;
    float *values;
};

/* `block` pixels on each side; the frame outside the data window is black. Rests at the right and bottom are left out.
 * For look_release. */
enum passel_status look_make(const struct reading *reading, int32_t block, struct look *look,
                             struct passel_error *error);
/* The same while rows come by, from the top: begin; any number of rows, over and over; end, which leaves nothing in
 * the maker. look_begin takes over the memory of `spare` (NULL: none) when it fits, and releases it otherwise. */
struct look_maker {
    struct look look;
    float *sums;  /* three rows, of the row of blocks that is being added up */
    int32_t end;  /* width that blocks cover */
    int32_t down; /* the row of blocks that is being added up */
    bool fresh;   /* nothing of it was added */
};
enum passel_status look_begin(int32_t width, int32_t height, int32_t block, struct look *spare,
                              struct look_maker *maker, struct passel_error *error);
void look_rows(struct look_maker *maker, const struct picture *rows);
struct look look_end(struct look_maker *maker);
/* Black, of the same shape as another one, for sums. */
enum passel_status look_black(const struct look *like, struct look *look, struct passel_error *error);
void look_release(struct look *look);
size_t look_count(const struct look *look); /* across * down */
/* The block that makes a width of at most `most` blocks. */
int32_t look_block(int32_t width, int32_t most);
/* Luminance of Rec. 709 (near enough for looking, whatever the primaries). */
float look_light(const struct look *look, size_t i);
/* How much looks of one pass differ from their mean, as a share of its light; noise does not count (look_change.c). */
float look_change(const struct look *const *looks, int count, const struct look *mean);
/* Does the block lie at the top, or at one of both sides in the upper half? There a set, which stands on the ground,
 * is not expected. */
bool look_borders(const struct look *look, int32_t x, int32_t y);
/* The value below which `share` of the numbers lie; sorts them. */
float numbers_at(float *numbers, size_t count, double share);

#endif
