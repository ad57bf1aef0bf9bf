/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What each pass of a folder looks like, from a few of its frames, and what it is taken to be.
 */
#ifndef SURVEY_PORTRAIT_H
#define SURVEY_PORTRAIT_H

#include "survey/clips.h"
#include "survey/look.h"
#include "survey/sight.h"

enum role {
    ROLE_UNREADABLE,
    ROLE_ODD,  /* fits nothing */
    ROLE_DARK, /* lights off, or the black that an element was filmed against */
    ROLE_LAMP, /* the set under one light */
    ROLE_ALL_LAMPS,
    ROLE_ELEMENT, /* rain, a flash, a moving piece: on black */
    ROLE_SCREEN,  /* a subject before a screen */
    ROLE_EMPTY,   /* the screen alone */
    ROLE_PLATE    /* a picture without a dark surround */
};

enum screen_hue { HUE_NONE = -1, HUE_RED, HUE_GREEN, HUE_BLUE, HUE_OTHER };

struct portrait {
    struct clip *clip;
    int32_t width, height;
    double rate;
    int32_t frames; /* in all: files, or frames of a movie */
    bool movie;
    bool whole_numbers, said; /* see struct reading */
    struct encoding encoding;
    struct look look;           /* mean over the samples; nothing when the clip cannot be read */
    float change;               /* mean deviation between the samples, as a share of their mean, without noise */
    float middle, bright, peak; /* light: 50, 99 and 99.9 % of the blocks lie below */
    float noise;                /* deviation of the light of a block, from block to block where nothing is seen */
    float contrast;             /* how many times brighter the bright is than the surround, noise taken off */
    float fill;                 /* share of blocks brighter than a quarter of the bright */
    float surround;             /* light of the middle one of the blocks at the upper borders */
    float vivid;                /* the same of its strongest channel: a blue screen is dark to the eye */
    float screen;               /* share of blocks that look like the border does */
    float saturation;           /* of the border */
    enum screen_hue hue;        /* of the border, when the border is a screen */
    bool *bare;                 /* per block: looks like the screen */
    enum role role;
    int partner;    /* screens: the same subject before another screen; -1 for none */
    int empty;      /* screens: its screen alone; -1 for none */
    int dark;       /* what is to be subtracted; -1 for none */
    float residual; /* all lamps: what the single ones do not make of it, as a share of its light */
    bool in_sum;    /* one of those that add up to the pass under all lamps */
    bool under;     /* far underexposed */
    bool steady;    /* its light does not change from frame to frame */
    bool apart;     /* not seen by the camera that saw the set: another size, or another subject */
    char why[240];
    char doubt[240];   /* what speaks against it, or empty */
    char problem[240]; /* why it cannot be read */
};

struct telling;

struct portraits {
    struct portrait *list;
    int count;
    int32_t width, height; /* of the shot: the size that most passes have */
    float *common; /* light of each block that nearly all lit passes of that size have; NULL: there are too few */
};

struct portrait_wish {
    const char *folder;
    int threads;
    unsigned wants;          /* what is kept of the frames that are read for this (sight.h); 0: nothing */
    struct telling *telling; /* or NULL */
};

/* Looks at every clip, and settles which numbered files are sequences (clips may be split). */
enum passel_status portraits_take(const struct portrait_wish *wish, struct clip_list *clips,
                                  struct portraits *portraits, struct passel_error *error);
void portraits_release(struct portraits *portraits);

/* Gives each a role and a reason, and finds what belongs together. */
enum passel_status portraits_recognise(struct portraits *portraits, struct passel_error *error);
/* The parts of it: what is lit of the passes that are dim (recognise_dim.c); then pairs of screens, empties, darks,
 * passes under all lamps (recognise_pairs.c). */
/* Has it places much brighter than its surround? */
bool portrait_shaped(const struct portrait *portrait);
/* Is most of it lit, up to the borders? Exposure does not count. */
bool portrait_fills(const struct portrait *portrait);
enum passel_status recognise_dim(struct portraits *portraits, struct passel_error *error);
void recognise_pairs(struct portraits *portraits);
/* Of the pass under all lamps: what the single ones leave of block i, and the block's own light. */
float portraits_rest(const struct portraits *portraits, const struct portrait *all, size_t i, float *light);

#endif
