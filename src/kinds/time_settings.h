/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The settings of the kind `time`, read and checked, and the way from a shot frame to what the clip shows.
 */
#ifndef KINDS_TIME_SETTINGS_H
#define KINDS_TIME_SETTINGS_H

#include "kinds/even_light.h"
#include "kinds/kind.h"
#include "kinds/time_clip.h"

enum between { BETWEEN_NEAREST, BETWEEN_BLEND, BETWEEN_FLOW };

/* Frames that one is compared with for its light; four times as many fit into one list of asks. */
enum { EVEN_LIMIT = 61 };

struct time {
    const struct value *picture;
    const struct value *speed; /* or NULL: real_speed */
    double real_speed;
    double start;
    struct clip clip;
    struct span extent; /* the line that says how much there is to show */
    enum between between;
    bool even;
    enum even_light even_mode;
    int32_t even_over; /* 0: the whole clip */
};

extern const struct setting_spec time_head;
extern const struct setting_spec time_settings[];

enum passel_status time_make(const struct block *block, const struct recipe *recipe, const struct shot *shot,
                             struct arena *arena, void **self, struct passel_error *error);

/* Where in the clip a shot frame is. */
double time_position(const struct time *time, int32_t frame);
enum clip_answer time_moments(const struct time *time, int32_t frame, struct clip_moment moments[2], int *count);
/* The error for CLIP_RUNS_OFF. */
enum passel_status time_runs_off(const struct time *time, const struct recipe *recipe, int32_t frame,
                                 struct passel_error *error);

#endif
