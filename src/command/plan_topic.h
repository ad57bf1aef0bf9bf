/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The topics of `passel plan`: what was given, and how an answer is said.
 */
#ifndef COMMAND_PLAN_TOPIC_H
#define COMMAND_PLAN_TOPIC_H

#include <stdbool.h>

#include "command/command.h"

/* The options' values in base units (metres, degrees, …); 0 where nothing was given and nothing stands in. */
struct plan_given {
    double rate, shutter, speed, stop, lens, distance, focus, sensor, blur, scale, width, height, pitch, display, mains,
        strobe;
    int pixels_across, pixels_down;
    double numbers[16]; /* behind the topic */
    int number_count;
};

struct plan_topic {
    const char *name;
    const char *numbers; /* what stands behind the name, for help; "" for nothing */
    int least_numbers, most_numbers;
    const char *takes; /* its options, a space before and behind each */
    const char *needs; /* those that must be given, likewise */
    const char *summary;
    void (*answer)(const struct plan_given *given);
};

extern const struct plan_topic plan_topics[]; /* ended by a NULL name */

/* "  label   value", and below it, set in, where it comes from (NULL: nothing). */
void plan_say(const char *label, const char *source, const char *format, ...) PASSEL_PRINTF(3, 4);
/* A line of advice. */
void plan_note(const char *text);

void plan_scale(const struct plan_given *given);
void plan_focus(const struct plan_given *given);
void plan_ranks(const struct plan_given *given);
void plan_background(const struct plan_given *given);
void plan_screen(const struct plan_given *given);
void plan_display(const struct plan_given *given);
void plan_flicker(const struct plan_given *given);

#endif
