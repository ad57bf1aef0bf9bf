/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "survey/limits.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define PRACTICE "common practice, no source"

const struct limit limit_table[LIMIT_COUNT] = {
    [LIMIT_UNREADABLE] = { "unreadable", "frames", "files that cannot be read to their end", 0, 0, false,
                           "definition: the frame is lost",
                           "Copy the files again from the card; if that fails, re-shoot the pass." },
    [LIMIT_MISSING] = { "missing", "frames", "numbers missing between the first and the last", 0, 0, false,
                        "definition: the frame is lost", "Copy the files again; if that fails, re-shoot the pass." },
    [LIMIT_SIZE] = { "size", "frames", "frames of another size than the pass or the set", 0, 0, false,
                     "definition: lights and keys need one size",
                     "Re-shoot with the camera set as for the other passes." },
    [LIMIT_SHORT] = { "short", "frames", "frames less than the other passes that begin at the same number", 0, 12,
                      false, "definition for 0; " PRACTICE " for 12",
                      "Re-shoot, or hold the last frame with `beyond freeze`." },
    [LIMIT_DUPLICATE] = { "duplicate", "frames", "frames whose pixels are another's, bit for bit", 0, 12, false,
                          "noise never repeats; " PRACTICE " for 12",
                          "Look at the copy; a dropped frame is seen as a jerk." },
    [LIMIT_NUMBERS] = { "numbers", "pixels", "pixels that hold no number, or infinity", 0, 1e6, false, PRACTICE,
                        "They are read as 0 and as the largest half; look where they are." },
    [LIMIT_BUMP] = { "bump", "px", "shift against the other passes of the set, whose light is another", 0.4, 0.8, false,
                     "lamps from opposite sides shift what is seen by up to 0.25 px (measured on filmed "
                     "passes); " PRACTICE,
                     "Re-shoot the pass: the camera moved. Or use `align`." },
    [LIMIT_SCREENS] = { "screens", "px", "shift between the two screens of one subject", 0.2, 0.6, false,
                        PRACTICE ": 0.1 to 0.2 px at delivery size; 0.6 by what an edge of full contrast shows",
                        "Re-shoot the pass: the camera moved. Or use `align`." },
    [LIMIT_SHAKE] = { "shake", "px", "movement along the pass, root mean square", 0.2, 0.6, false,
                      PRACTICE ": 0.1 to 0.2 px at delivery size; 0.6 by what an edge of full contrast shows",
                      "Re-shoot with the camera weighed down. Or use `align … each frame`." },
    [LIMIT_FLICKER] = { "flicker", "%", "frame-to-frame change of the light, root mean square", 2, 10, false,
                        "2 % is the exposure match that two-screen keys need (derived); 10 by " PRACTICE,
                        "Check the lamp and its dimmer; `passel plan flicker` tells steady shutter angles." },
    [LIMIT_BANDS] = { "bands", "%", "change of rows against the whole frame, frame to frame, root mean square", 1, 5,
                      false, PRACTICE,
                      "A lamp beats against the rolling shutter: `passel plan flicker` tells steady shutter angles." },
    [LIMIT_FLASH] = { "flash", "% of area", "parts that flash at once more than three times in a second", 25, 100,
                      false,
                      "WCAG 2.2, success criterion 2.3.1, and Rec. ITU-R BT.1702; no part is above 100 %: flashes are "
                      "never a reason to re-shoot",
                      "Where the pass is seen as it is, soften, lower or shorten its flashes; in a stack, heed what "
                      "`passel render` says of the picture. The broadcaster's own rules decide: docs/flashing.md." },
    [LIMIT_CLIPPED] = { "clipped", "% of area", "pixels that stand at the largest value, all alike", 0.1, 5, false,
                        PRACTICE, "Close down or take the lamp down; lit parts must stay below clipping." },
    [LIMIT_CRUSHED] = { "crushed", "% of what is lit", "where more than half of the pixels stand at the lowest value",
                        2, 80, false, PRACTICE,
                        "Record the pass with the noise about black in it (a raised black level, a log or a linear "
                        "recording): cut off, it lifts the blacks of every lamp that is added." },
    [LIMIT_NOISE] = { "noise", "times", "light over noise where the light of the pass is", 12, 5, true, PRACTICE,
                      "Open up, more light, or expose each frame longer." },
    [LIMIT_FOCUS] = { "focus", "times", "fine detail against that of the lock pass", 0.75, 0.4, true, PRACTICE,
                      "Re-shoot: the focus was touched." },
    [LIMIT_EVENNESS] = { "evenness", "stops", "across the screen, 1 % to 99 % of its area", 0.5, 1, false,
                         "magazine how-to and lighting notes: 1/3 stop good, 1/2 the outer limit; 1 by " PRACTICE,
                         "Relight the screen before the set is struck." },
    [LIMIT_HUE] = { "hue", "degrees", "1 % of the subject lies nearer to its screen's hue; of two screens, to both", 15,
                    8, true, PRACTICE,
                    "Repaint or cover what has the screen's hue, for it keys away with the screen; or film the subject "
                    "before "
                    "another screen as well (`key two-screen`)." },
    [LIMIT_SPILL] = { "spill", "% of its light", "light of the screen on the subject, measured from two screens", 5, 20,
                      false, PRACTICE,
                      "Move the subject away from the screen, or flag the screen's light; `despill` takes back what is "
                      "left." },
    [LIMIT_EDGES] = { "edges", "% of its light",
                      "light of the screen on the subject's edges, estimated from one screen (within 7 %)", 15, 40,
                      false, "twice what clean passes were estimated at; " PRACTICE,
                      "Move the subject away from the screen, or flag the screen's light; `despill` takes back what is "
                      "left." },
    [LIMIT_DARK] = { "dark", "%", "how far the lights-off level wanders", 20, 100, false, PRACTICE,
                     "Something is not off, or daylight comes in: shoot the lights-off pass again." },
    [LIMIT_SUM] = { "sum", "%", "all lamps together against the sum of the single ones", 4, 15, false,
                    PRACTICE "; light adds (superposition)",
                    "A lamp moved, or was dimmed between its pass and this one." },
    [LIMIT_ODD] = { "odd", "passes", "passes that fit no other", 0, 1, false, "definition",
                    "Is it a wrong take, or is the pass it belongs to missing?" },
    [LIMIT_DEAD] = { "dead", "pixels", "places that stand out in every pass", 0, 1e3, false, PRACTICE,
                     "Clean the sensor or remap it; until then, `extend … fill` a small shape." },
};

/* A bar would end the cell. */
static void cell(struct text *text, const char *words)
{
    text_print(text, " %s |", words);
}

void limits_markdown(struct text *text)
{
    text_print(text, "| name | measured | unit | with care | re-shoot | where the limits come from |\n"
                     "|---|---|---|---|---|---|\n");
    for (int i = 0; i < LIMIT_COUNT; i++) {
        const struct limit *limit = &limit_table[i];
        text_print(text, "|");
        cell(text, limit->name);
        cell(text, limit->what);
        cell(text, limit->unit);
        text_print(text, " %s %g | %s %g |", limit->below ? "below" : "above", limit->care,
                   limit->below ? "below" : "above", limit->shoot);
        cell(text, limit->source);
        text_print(text, "\n");
    }
}

bool limits_set(struct limit limits[LIMIT_COUNT], const char *name, double care, double shoot)
{
    for (int i = 0; i < LIMIT_COUNT; i++) {
        if (strcmp(limits[i].name, name) != 0)
            continue;
        limits[i].care = care;
        limits[i].shoot = shoot;
        return true;
    }
    return false;
}

bool limits_change(struct limit limits[LIMIT_COUNT], const char *text)
{
    const char *equals = strchr(text, '=');
    char name[32], *end = NULL;
    if (equals == NULL || (size_t)(equals - text) >= sizeof name)
        return false;
    memcpy(name, text, (size_t)(equals - text));
    name[equals - text] = '\0';
    const double care = strtod(equals + 1, &end);
    if (end == equals + 1 || *end != ',')
        return false;
    const char *second = end + 1;
    const double shoot = strtod(second, &end);
    if (end == second || *end != '\0' || !(care >= 0) || !(shoot >= 0) || !isfinite(care) || !isfinite(shoot))
        return false;
    return limits_set(limits, name, care, shoot);
}
