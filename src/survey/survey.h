/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Are the passes good? Every file is read once, frame by frame, by all threads; what is found is held against the
 * limits (limits.h) and said in plain words, the worst first.
 */
#ifndef SURVEY_SURVEY_H
#define SURVEY_SURVEY_H

#include <stdatomic.h>

#include "numerics/noise_model.h"
#include "survey/frame_gauge.h"
#include "survey/gauge.h"
#include "survey/gauge_flash.h"
#include "survey/gauge_low.h"
#include "survey/gauge_screen.h"
#include "survey/limits.h"
#include "survey/portrait.h"
#include "survey/telling.h"

enum severity { SEVERITY_GOOD, SEVERITY_CARE, SEVERITY_SHOOT };

struct finding {
    enum severity severity;
    enum limit_kind kind;
    int pass; /* index, or -1: all of them */
    double value;
    char where[160]; /* frames, or part of the picture; or "" */
};

/* Where the picture stood in a frame, in pixels right and down of another one, the same for all of the pass. */
struct track_point {
    int frame; /* index */
    double x, y;
};

struct pass_gauge {
    struct portrait *portrait;
    const char *label;
    struct frame_gauge *frames;
    int frame_count, readable;
    atomic_int left;         /* frames that are still to be looked at */
    float low, middle, high; /* light: 1, 50, 99 % of the picture lie below */
    struct noise noise[3];
    double light_over_noise; /* -1: not measured; so below */
    double flicker, shake, bump, bump_x, bump_y, focus, evenness, dark_wander, sum, bands;
    double pair, pair_x, pair_y;        /* against the pass before the other screen */
    float focus_regions[FOCUS_REGIONS]; /* -1: too little detail there */
    const struct keen *first;           /* what was taken of the first frame, or NULL */
    struct track_point *track;
    int track_count; /* 0: not measured */
    struct flash_gauge flash;
    struct look thumb;  /* the middle frame, small; nothing when it cannot be read */
    struct spot *spots; /* pixels that stand out in the first frame and in the last */
    int spot_count;
    struct crushed_gauge crushed;
    struct screen_gauge screen; /* of a subject before a screen */
};

struct survey {
    struct portraits portraits;
    struct pass_gauge *passes;
    int count;
    int lock;                 /* index of the lock pass, or -1 */
    struct finding *findings; /* worst first */
    int finding_count, finding_room;
    struct screen_choice *choices; /* for each two screens of one subject */
    int choice_count;
    enum severity severity; /* the worst */
    int files, frames;      /* read */
    struct limit limits[LIMIT_COUNT];
};

struct survey_wish {
    const char *folder;
    struct clip_list *clips;
    const char *const *labels; /* per clip (settled ones only), or NULL: their names */
    double rate;               /* frames a second of the shot, or 0 */
    const char *lock;          /* label of the lock pass, or NULL */
    int threads;
    const struct limit *limits;                                           /* LIMIT_COUNT, or NULL */
    void (*progress)(void *user, const struct survey_progress *progress); /* from any thread, one at a time; or NULL */
    void *user;
};

/* For survey_release. */
enum passel_status survey_take(const struct survey_wish *wish, struct survey *survey, struct passel_error *error);
void survey_release(struct survey *survey);

/* Adds what lies beyond its limit; nothing otherwise. */
void survey_judge(struct survey *survey, enum limit_kind kind, int pass, double value, const char *where);

/* The number in the name of a frame's file, else its place from 1. */
int survey_frame_number(const struct pass_gauge *pass, int index);

/* Reports. */
void survey_text(const struct survey *survey, struct text *text);
void survey_json(const struct survey *survey, struct text *text);
void survey_json_string(struct text *text, const char *bytes); /* in quotation marks, escaped */
void survey_html(const struct survey *survey, const char *title, struct text *text);
const char *severity_word(enum severity severity);
const char *role_words(const struct portrait *portrait);

#endif
