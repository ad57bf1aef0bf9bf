/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "survey/units.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define INCH 0.0254
#define FOOT (12 * INCH)

const struct unit_name length_units[] = {
    { "m", 1 },     { "mm", 1e-3 }, { "cm", 1e-2 }, { "km", 1e3 },
    { "um", 1e-6 }, { "in", INCH }, { "ft", FOOT }, { NULL, 0 },
};

const struct unit_name speed_units[] = {
    { "m/s", 1 }, { "km/h", 1 / 3.6 }, { "ft/s", FOOT }, { "mph", 5280 * FOOT / 3600 }, { NULL, 0 },
};

bool quantity_read(const char *text, const struct unit_name *units, double bare, double *value)
{
    char *end = NULL;
    double size = bare;
    *value = strtod(text, &end);
    if (end == text)
        return false;
    while (*end == ' ')
        end++;
    if (*end != '\0') {
        while (units->word != NULL && strcmp(units->word, end) != 0)
            units++;
        if (units->word == NULL)
            return false;
        size = units->size;
    }
    *value *= size;
    return isfinite(*value) && *value > 0;
}

const char *length_text(double metres, char text[QUANTITY_TEXT])
{
    if (!isfinite(metres)) {
        (void)snprintf(text, QUANTITY_TEXT, "infinity");
    } else if (metres < 1e-4) {
        (void)snprintf(text, QUANTITY_TEXT, "%.3g um (%.2g in)", metres * 1e6, metres / INCH);
    } else if (metres < 0.3) {
        (void)snprintf(text, QUANTITY_TEXT, "%.4g mm (%.3g in)", metres * 1e3, metres / INCH);
    } else {
        /* Tenths of an inch, rounded before they are split: never 11 ft 12.0 in. */
        const double tenths = round(metres / INCH * 10);
        const double feet = floor(tenths / 120);
        (void)snprintf(text, QUANTITY_TEXT, "%.4g m (%.0f ft %.1f in)", metres, feet, (tenths - feet * 120) / 10);
    }
    return text;
}

const char *speed_text(double speed, char text[QUANTITY_TEXT])
{
    (void)snprintf(text, QUANTITY_TEXT, "%.3g m/s (%.3g ft/s)", speed, speed / FOOT);
    return text;
}
