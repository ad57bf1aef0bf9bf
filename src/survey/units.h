/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Lengths and speeds as people write them, metric and imperial. 1 in is 0.0254 m, 1 ft is 12 in, 1 mile is 5280 ft
 * (international yard and pound agreement, 1959).
 */
#ifndef SURVEY_UNITS_H
#define SURVEY_UNITS_H

#include <stdbool.h>
#include <stddef.h>

struct unit_name {
    const char *word;
    double size; /* in metres, or metres a second */
};

/* mm cm m km in ft um; m/s km/h ft/s mph. Ended by a NULL word. */
extern const struct unit_name length_units[], speed_units[];

/* "1.2m", "50 mm", "12ft"; a bare number is in `bare`. False when it is none, or not above 0. */
bool quantity_read(const char *text, const struct unit_name *units, double bare, double *value);

#define QUANTITY_TEXT 64
/* "1.5 m (4 ft 11.1 in)", small ones "35 mm (1.38 in)"; "11 m/s (36.1 ft/s)". Returns `text`. */
const char *length_text(double metres, char text[QUANTITY_TEXT]);
const char *speed_text(double speed, char text[QUANTITY_TEXT]);

#endif
