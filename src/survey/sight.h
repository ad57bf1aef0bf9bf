/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What is kept of a frame that was read, so that it is read once: whoever comes first, the recognising of passes or
 * their measuring, has all wanted things taken from the pixels before they are given back.
 */
#ifndef SURVEY_SIGHT_H
#define SURVEY_SIGHT_H

#include "survey/clips.h"
#include "survey/frame_gauge.h"
#include "survey/gauge.h"
#include "survey/gauge_flash.h"
#include "survey/gauge_low.h"
#include "survey/gauge_run.h"
#include "survey/look.h"

/* Frames that say what a pass is; blocks across a look: fine enough for a lamp-post, coarse enough to lose the noise.
 */
enum { PORTRAIT_SAMPLES = 5, PORTRAIT_ACROSS = 96 };

/* What can be wanted of a frame. */
enum {
    SIGHT_LOOK = 1,   /* the look that passes are recognised by */
    SIGHT_GAUGE = 2,  /* what every frame is measured for */
    SIGHT_TRACK = 4,  /* where the picture stands: a small grey picture, until it is held against another one */
    SIGHT_KEEN = 8,   /* what takes all pixels: noise, detail, what stands out, a grey picture of half the size */
    SIGHT_THUMB = 16, /* a small picture to show */
    SIGHT_FLASH = 32  /* a grid to judge flashes by */
};

struct keen {
    struct noise noise[3];
    struct spot *spots; /* SPOTS_MOST at most */
    int spot_count;
    struct detail_map detail;
    struct grey stance;
};

struct sight {
    unsigned has;
    bool told; /* was counted as done (telling.h) */
    bool read; /* tried; status and problem say how it went */
    enum passel_status status;
    char problem[240];
    struct reading header; /* no picture */
    struct look look;
    struct frame_gauge gauge;
    struct grey track; /* nothing once followed */
    bool followed;
    double x, y; /* pixels right and down of the frame it was held against */
    struct keen *keen;
    struct look thumb;
    struct low_map low; /* comes with the thumb */
    struct flash_grid *flash; /* or NULL */
};

/* What a thread works with from frame to frame. */
struct sight_room {
    struct reading_room reading;
    struct gauge_run gauge;
    struct look small;
};
struct sight_room *sight_rooms_new(int threads); /* one for each thread; NULL when memory is out */
void sight_rooms_free(struct sight_room *rooms, int threads);

/* Reads the frame when something wanted is not there yet, and the file was not found broken. `index` counts files, of a
 * movie frames. Not for one sight from two threads. */
void sight_take(struct sight *sight, const char *folder, const struct clip *clip, bool movie, int index, unsigned wants,
                struct sight_room *room);
/* What of `wants` makes sense for a frame of a pass of so many. */
unsigned sight_wants(unsigned wants, int frames, int index);
/* Up to PORTRAIT_SAMPLES frames, evenly spread, say what a pass is. */
int sight_sample(int frames, int k);
/* Holds the frame against another one; its track is given back. */
void sight_follow(struct sight *sight, const struct grey *first);
void sight_release(struct sight *sight);

/* Finds the first that has a track, for the others to be held against. False when none has. */
bool sights_stand(struct clip *clip);
/* One sight for each frame of the clip, where there are none yet. */
enum passel_status sights_begin(struct clip *clip, int count, struct passel_error *error);

#endif
