/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Kinds made up for tests.
 */
#include "language_schemas.h"

#include <stddef.h>

#define VALUES (const struct value_spec[])
#define TAGS (const struct tag_spec[])
#define SETTINGS (const struct setting_spec[])
#define LAST_VALUE                                                                                                     \
    {                                                                                                                  \
        .label = NULL                                                                                                  \
    }
#define LAST_TAG                                                                                                       \
    {                                                                                                                  \
        .word = NULL                                                                                                   \
    }
#define LAST_SETTING                                                                                                   \
    {                                                                                                                  \
        .help = NULL                                                                                                   \
    }

static const struct choice leavings[] = {
    { "linear", "straight" }, { "smooth", "soft" }, { "hold", "stays" }, { NULL, NULL }
};
static const struct choice switches[] = { { "off", "left out" }, { "solo", "alone" }, { NULL, NULL } };
static const struct choice meetings[] = {
    { "over", "above" }, { "add", "sum" }, { "screen", "light" }, { NULL, NULL }
};
static const struct choice filters[] = {
    { "nearest", "none" }, { "spline", "soft" }, { "8", "eight" }, { NULL, NULL }
};
static const struct choice edges[] = { { "top", "up" }, { "bottom", "down" }, { NULL, NULL } };

static const struct schema shot = {
    .name = "shot",
    .summary = "the frame",
    .form = HEAD_SHOT,
    .settings =
        SETTINGS{
            { .word = "frames",
              .help = "the frames of the shot",
              .values = VALUES{ { .label = "FRAMES", .type = VALUE_FRAMES }, LAST_VALUE },
              .required = true },
            { .word = "rate",
              .help = "frames per second",
              .values = VALUES{ { .label = "RATE", .type = VALUE_NUMBER, .limited = true, .least = 1, .most = 1000 },
                                LAST_VALUE },
              .standard = "24" },
            { .word = "size",
              .help = "width and height",
              .values = VALUES{ { .label = "SIZE", .type = VALUE_SIZE }, LAST_VALUE } },
            { .word = "lock",
              .help = "the reference",
              .values = VALUES{ { .label = "NAME", .type = VALUE_PICTURE }, LAST_VALUE } },
            LAST_SETTING },
};

static const struct schema output = {
    .name = "output",
    .summary = "files",
    .form = HEAD_OUTPUT,
    .settings = SETTINGS{ { .word = "file",
                            .help = "where the frames go",
                            .values = VALUES{ { .label = "PATH", .type = VALUE_PATH }, LAST_VALUE },
                            .required = true },
                          { .word = "note",
                            .help = "a remark",
                            .values = VALUES{ { .label = "TEXT", .type = VALUE_TEXT }, LAST_VALUE } },
                          LAST_SETTING },
};

static const struct schema pass = {
    .name = "pass",
    .summary = "a picture from files",
    .makes = MAKES_PICTURE,
    .head = &(const struct setting_spec){ .values = VALUES{ { .label = "FILE", .type = VALUE_PATH }, LAST_VALUE } },
    .settings = SETTINGS{ { .word = "use",
                            .help = "which frames",
                            .values = VALUES{ { .label = "A-B", .type = VALUE_RANGE }, LAST_VALUE },
                            .tags = TAGS{ { .word = "then",
                                            .help = "the next part",
                                            .values = VALUES{ { .label = "C-D", .type = VALUE_RANGE }, LAST_VALUE },
                                            .repeats = true },
                                          LAST_TAG } },
                          { .word = "start",
                            .help = "its first frame",
                            .values = VALUES{ { .label = "FRAME", .type = VALUE_INTEGER }, LAST_VALUE } },
                          LAST_SETTING },
};

static const struct schema curve = {
    .name = "curve",
    .summary = "a number over frames",
    .makes = MAKES_NUMBER,
    .settings =
        SETTINGS{
            { .word = NULL,
              .help = "a key",
              .values = VALUES{ { .label = "FRAME", .type = VALUE_NUMBER },
                                { .label = "NUMBER", .type = VALUE_NUMBER },
                                { .label = "LEAVES", .type = VALUE_CHOICE, .optional = true, .choices = leavings },
                                LAST_VALUE },
              .repeats = true,
              .required = true },
            LAST_SETTING },
};

static const struct schema lights = {
    .name = "lights",
    .summary = "a sum",
    .makes = MAKES_PICTURE,
    .settings = SETTINGS{ { .word = "ambient",
                            .help = "the lights-off pass",
                            .values = VALUES{ { .label = "NAME", .type = VALUE_PICTURE }, LAST_VALUE },
                            .operators = switches },
                          { .word = "light",
                            .help = "one light",
                            .values = VALUES{ { .label = "NAME", .type = VALUE_PICTURE },
                                              { .label = "AMOUNT",
                                                .type = VALUE_NUMBER,
                                                .optional = true,
                                                .may_change = true,
                                                .unit = UNIT_STOPS },
                                              LAST_VALUE },
                            .tags = TAGS{ { .word = "gain",
                                            .help = "a factor",
                                            .values = VALUES{ { .label = "N",
                                                                .type = VALUE_NUMBER,
                                                                .may_change = true,
                                                                .limited = true,
                                                                .least = 0,
                                                                .most = 100 },
                                                              LAST_VALUE } },
                                          { .word = "tint",
                                            .help = "a colour",
                                            .values = VALUES{ { .label = "R G B",
                                                                .type = VALUE_NUMBER,
                                                                .may_change = true,
                                                                .least_count = 3,
                                                                .most_count = 3 },
                                                              LAST_VALUE } },
                                          LAST_TAG },
                            .operators = switches,
                            .repeats = true },
                          LAST_SETTING },
};

static const struct further_picture key_pictures[] = { { "quality", "how sure" },
                                                       { "shadow", "darker" },
                                                       { NULL, NULL } };

static const struct schema key_screen = {
    .name = "key screen",
    .summary = "a cut-out from one screen",
    .makes = MAKES_PICTURE,
    .head = &(const struct setting_spec){ .values = VALUES{ { .label = "NAME", .type = VALUE_PICTURE }, LAST_VALUE } },
    .pictures = key_pictures,
};

static const struct schema key_two_screen = {
    .name = "key two-screen",
    .summary = "a cut-out from two screens",
    .makes = MAKES_PICTURE,
    .settings =
        SETTINGS{ { .word = "on",
                    .help = "one screen",
                    .values = VALUES{ { .label = "NAME", .type = VALUE_PICTURE }, LAST_VALUE },
                    .tags = TAGS{ { .word = "empty",
                                    .help = "the bare screen",
                                    .values = VALUES{ { .label = "NAME", .type = VALUE_PICTURE }, LAST_VALUE } },
                                  LAST_TAG },
                    .repeats = true },
                  LAST_SETTING },
    .pictures = key_pictures,
};

static const struct schema matte = {
    .name = "matte",
    .summary = "steps on a matte",
    .makes = MAKES_PICTURE,
    .head = &(const struct setting_spec){ .values = VALUES{ { .label = "NAME", .type = VALUE_PICTURE }, LAST_VALUE } },
    .settings =
        SETTINGS{
            { .word = "floor",
              .help = "what is nothing",
              .values = VALUES{ { .label = "AMOUNT", .type = VALUE_NUMBER, .may_change = true, .unit = UNIT_PERCENT },
                                LAST_VALUE },
              .tags = TAGS{ { .word = "ceiling",
                              .help = "what is all",
                              .values = VALUES{ { .label = "AMOUNT",
                                                  .type = VALUE_NUMBER,
                                                  .unit = UNIT_PERCENT,
                                                  .limited = true,
                                                  .least = 0,
                                                  .most = 1 },
                                                LAST_VALUE } },
                            LAST_TAG },
              .repeats = true },
            { .word = "choke",
              .help = "smaller",
              .values = VALUES{ { .label = "AMOUNT",
                                  .type = VALUE_NUMBER,
                                  .may_change = true,
                                  .unit = UNIT_PX,
                                  .limited = true,
                                  .least = 0,
                                  .most = 50 },
                                LAST_VALUE },
              .repeats = true },
            { .word = "invert", .help = "the other way round", .repeats = true },
            LAST_SETTING },
};

static const struct schema place = {
    .name = "place",
    .summary = "moves",
    .makes = MAKES_PICTURE,
    .head = &(const struct setting_spec){ .values = VALUES{ { .label = "NAME", .type = VALUE_PICTURE }, LAST_VALUE } },
    .settings =
        SETTINGS{ { .word = "move",
                    .help = "right and down",
                    .values = VALUES{ { .label = "X Y",
                                        .type = VALUE_NUMBER,
                                        .may_change = true,
                                        .unit = UNIT_PX,
                                        .least_count = 2,
                                        .most_count = 2 },
                                      LAST_VALUE },
                    .repeats = true },
                  { .word = "size",
                    .help = "larger",
                    .values = VALUES{ { .label = "S",
                                        .type = VALUE_NUMBER,
                                        .may_change = true,
                                        .unit = UNIT_PERCENT,
                                        .least_count = 1,
                                        .most_count = 2 },
                                      LAST_VALUE },
                    .repeats = true },
                  { .word = "keep",
                    .help = "where it stays",
                    .values = VALUES{ { .label = "WHERE", .type = VALUE_CHOICE, .choices = edges }, LAST_VALUE } },
                  { .word = "keep",
                    .help = "where it stays",
                    .values = VALUES{ { .label = "X Y",
                                        .type = VALUE_NUMBER,
                                        .unit = UNIT_PX,
                                        .may_change = true,
                                        .least_count = 1,
                                        .most_count = 2 },
                                      LAST_VALUE } },
                  { .word = "filter",
                    .help = "how pixels are made",
                    .values = VALUES{ { .label = "FILTER", .type = VALUE_CHOICE, .choices = filters },
                                      { .label = "N", .type = VALUE_NUMBER, .optional = true },
                                      LAST_VALUE },
                    .standard = "spline" },
                  LAST_SETTING },
};

static const struct schema stack = {
    .name = "stack",
    .summary = "layers",
    .makes = MAKES_PICTURE,
    .settings =
        SETTINGS{ { .word = "layer",
                    .help = "one layer",
                    .values = VALUES{ { .label = "NAME", .type = VALUE_PICTURE }, LAST_VALUE },
                    .tags = TAGS{ { .word = "matte",
                                    .help = "its matte",
                                    .values = VALUES{ { .label = "NAME", .type = VALUE_PICTURE }, LAST_VALUE } },
                                  { .word = "opacity",
                                    .help = "how much",
                                    .values = VALUES{ { .label = "N",
                                                        .type = VALUE_NUMBER,
                                                        .may_change = true,
                                                        .unit = UNIT_FRACTION,
                                                        .limited = true,
                                                        .least = 0,
                                                        .most = 1 },
                                                      LAST_VALUE } },
                                  LAST_TAG },
                    .operators = meetings,
                    .repeats = true,
                    .required = true },
                  LAST_SETTING },
};

#define UNIT_LINE(name, of)                                                                                            \
    {                                                                                                                  \
        .word = name, .help = name, .repeats = true, .values = VALUES                                                  \
        {                                                                                                              \
            { .label = "N", .type = VALUE_NUMBER, .may_change = true, .bare_curve = true, .unit = of }, LAST_VALUE     \
        }                                                                                                              \
    }

static const struct schema gauge = {
    .name = "gauge",
    .summary = "every unit",
    .makes = MAKES_PICTURE,
    .settings =
        SETTINGS{ UNIT_LINE("bare", UNIT_NONE),
                  UNIT_LINE("stops", UNIT_STOPS),
                  UNIT_LINE("px", UNIT_PX),
                  UNIT_LINE("percent", UNIT_PERCENT),
                  UNIT_LINE("fraction", UNIT_FRACTION),
                  UNIT_LINE("frames", UNIT_FRAMES),
                  UNIT_LINE("degrees", UNIT_DEGREES),
                  UNIT_LINE("kelvin", UNIT_KELVIN),
                  UNIT_LINE("seconds", UNIT_SECONDS),
                  UNIT_LINE("nits", UNIT_NITS),
                  { .word = "count",
                    .help = "a whole number",
                    .values = VALUES{ { .label = "N", .type = VALUE_INTEGER, .unit = UNIT_FRAMES }, LAST_VALUE },
                    .repeats = true },
                  { .word = "fixed",
                    .help = "a number that stays",
                    .values = VALUES{ { .label = "N", .type = VALUE_NUMBER }, LAST_VALUE },
                    .repeats = true },
                  { .word = "named",
                    .help = "a name",
                    .values = VALUES{ { .label = "NAME", .type = VALUE_NAME }, LAST_VALUE },
                    .repeats = true },
                  { .word = "text",
                    .help = "a text",
                    .values = VALUES{ { .label = "TEXT", .type = VALUE_TEXT }, LAST_VALUE },
                    .repeats = true },
                  LAST_SETTING },
};

const struct schema *const language_schemas[] = { &curve,  &gauge, &key_screen, &key_two_screen, &lights, &matte,
                                                  &output, &pass,  &place,      &shot,           &stack,  NULL };
