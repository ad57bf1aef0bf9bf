/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * extend: the frames that its analysis looks at, and their mean.
 */
#ifndef KINDS_EXTEND_LOOK_H
#define KINDS_EXTEND_LOOK_H

#include "kinds/extend.h"

#define LOOKS 9

/* The frames of one picture, added up. */
struct mean {
    struct picture sum; /* R, G, B, A; A is the weight that a pixel has */
    struct picture one; /* a frame as it is, for its grain */
    double level[LOOKS][3];
    int frames;
    bool lively; /* the frames differ */
};

struct looks {
    struct windows windows;
    struct picture_info plate_info;
    bool begun;
    struct mean own, other;
    struct picture alpha;   /* the plate's own */
    struct rect other_area; /* in the output's coordinates */
};

/* The functions of the analysis (kinds/kind.h). Its work is a struct looks. */
enum passel_status extend_look_asks(const struct at *at, struct ask_list *list, struct passel_error *error);
enum passel_status extend_look_add(const struct at *at, int round, const struct picture *pictures,
                                   const struct picture_info *infos, int count, void **work,
                                   struct passel_error *error);
void extend_look_drop(void *work);

/* sum becomes the light of a frame of middling brightness, the very frame when all are the same; A stays the weight. */
void mean_finish(struct mean *mean);

#endif
