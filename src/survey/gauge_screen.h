/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A subject before a screen, or before two: how far its colours lie from the screen's, how much of the screen's light
 * lies on it, and which of two screens tells which of its parts from itself better. All of it from small pictures.
 */
#ifndef SURVEY_GAUGE_SCREEN_H
#define SURVEY_GAUGE_SCREEN_H

#include "numerics/noise_model.h"
#include "survey/parts.h"

/* A take before a screen. */
struct screen_view {
    const struct look *take;
    const struct look *empty; /* the screen alone, of the same shape; NULL for none */
    float gain;               /* how much brighter the screen is in the take than in the empty */
    float colour[3];          /* of the bare screen in the take */
    struct noise noise[3];    /* of a pixel */
};

enum spill_kind { SPILL_NONE, SPILL_MEASURED, SPILL_ESTIMATED };

struct screen_gauge {
    double hue;               /* 1 % of the subject's area lies nearer to the screen's hue than so many degrees */
    double hue_both;          /* the same of whichever of two screens lies farther off, place by place */
    double spill;             /* the screen's light on the subject, as a share of the subject's light */
    enum spill_kind how;      /* estimated: from its edges, one screen knows no better */
    int hue_part, spill_part; /* where it is worst */
    float hues[PARTS], spills[PARTS]; /* of each part: the middle one; the share */
};
/* Nothing measured: -1 everywhere. */
void screen_gauge_clear(struct screen_gauge *gauge);

/* A piece of the subject that one of two screens tells from itself far better than the other. */
struct screen_piece {
    int better;        /* the view to key it from */
    int part;          /* where most of it is */
    struct rect box;   /* in pixels */
    double share;      /* of the subject's area */
    double degrees[2]; /* from the screen of each view, mean */
};
enum { PIECES_MOST = 8 };
enum screen_side { CHOICE_NONE = -1, CHOICE_FIRST, CHOICE_SECOND, CHOICE_EITHER };
struct screen_choice {
    int passes[2];
    int count;
    struct screen_piece pieces[PIECES_MOST]; /* the largest first */
    enum screen_side map[PARTS];
};

/* The subject as all of the following see it. */
enum { HUE_UNKNOWN = -1, HUE_HARMLESS = 180 };
struct subject {
    struct screen_view views[2];
    int count; /* views: one, or two of one subject filmed alike */
    int32_t across, down, block;
    size_t area;       /* blocks of it */
    uint8_t *depth;    /* how many blocks each lies away from the screen, 255 at most; 0 is screen */
    float *degrees[2]; /* between each block's colour and its screen's; the two above where that says nothing */
};
/* Blocks this near to the screen may be half of it. */
enum { SUBJECT_DEPTH = 3 };
/* The view's `gain` and `colour` are found from where the screen is known to be bare (bools of another look's shape).
 * False when it is nowhere. */
bool screen_view_settle(struct screen_view *view, const struct look *shape, const bool *bare);
/* One view, or two of the same shape. For subject_release. */
enum passel_status subject_find(const struct screen_view *views, int count, struct subject *subject,
                                struct passel_error *error);
void subject_release(struct subject *subject);
/* The screen's light behind block i. */
void screen_behind(const struct screen_view *view, size_t i, float colour[3]);

/* Hue of each view's gauge; hue_both is that of both. Little subject is not measured. */
enum passel_status gauge_hue(const struct subject *subject, struct screen_gauge *const gauges[2],
                             struct passel_error *error);
/* Spill of each view's gauge. */
enum passel_status gauge_spill(const struct subject *subject, struct screen_gauge *const gauges[2],
                               struct passel_error *error);
/* Of two views. */
enum passel_status screen_choose(const struct subject *subject, struct screen_choice *choice,
                                 struct passel_error *error);

#endif
