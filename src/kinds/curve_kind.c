/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The kind `curve`: a number over frames. The parser turns its lines into block->track; values that name the block
 * read that. It makes no picture.
 */
#include "kinds/kinds.h"
#include "numerics/strike.h"

static const struct choice leaving[] = {
    { "linear", "a straight line to the next key (when nothing is said)" },
    { "smooth", "a gentle start and end, never beyond the two keys" },
    { "hold", "stays until the next key" },
    { NULL, NULL },
};

static const struct value_spec key[] = {
    { .label = "FRAME", .type = VALUE_INTEGER },
    { .label = "NUMBER", .type = VALUE_NUMBER },
    { .label = NULL },
};

#define FIELD(tag, text, ...)                                                                                          \
    {                                                                                                                  \
        .word = tag, .help = text, .values = (const struct value_spec[])                                               \
        {                                                                                                              \
            { __VA_ARGS__ },                                                                                           \
            {                                                                                                          \
                .label = NULL                                                                                          \
            }                                                                                                          \
        }                                                                                                              \
    }
#define SEED                                                                                                           \
    FIELD("seed", "another number, other chance; without it the first such line has seed 1, the second 2",             \
          .label = "N", .type = VALUE_INTEGER, .limited = true, .least = 0, .most = 999999)

static const struct tag_spec strike_tags[] = {
    FIELD("at", "the frame of the first and brightest stroke; must be given", .label = "FRAME", .type = VALUE_NUMBER),
    FIELD("peak", "how bright that is (1 when nothing is said)", .label = "N", .type = VALUE_NUMBER, .limited = true,
          .least = 0, .most = 10000),
    FIELD("over", "how long until it is dark again (12 frames)", .label = "N", .type = VALUE_NUMBER,
          .unit = UNIT_FRAMES, .limited = true, .least = 2, .most = 10000),
    FIELD("rise", "how long from dark to the first stroke (1 frame)", .label = "N", .type = VALUE_NUMBER,
          .unit = UNIT_FRAMES, .limited = true, .least = 0.01, .most = 10000),
    FIELD("strokes", "how many strokes, the re-strikes at chance times, each from 30 to 80 % of the peak (3)",
          .label = "N", .type = VALUE_INTEGER, .limited = true, .least = 1, .most = STROKES_MOST),
    SEED,
    { .word = NULL },
};

static const struct tag_spec flicker_tags[] = {
    FIELD("by", "the same as a share of the light, instead of stops", .label = "N", .type = VALUE_NUMBER,
          .unit = UNIT_PERCENT, .limited = true, .least = 0, .most = 0.4),
    FIELD("every", "how quick the quickest unrest is (1 frame)", .label = "N", .type = VALUE_NUMBER,
          .unit = UNIT_FRAMES, .limited = true, .least = 0.1, .most = 10000),
    SEED,
    { .word = NULL },
};

static const struct setting_spec settings[] = {
    { .word = NULL,
      .help = "a key: the shot frame, the number there, and how the curve leaves it",
      .values = key,
      .operators = leaving,
      .repeats = true },
    { .word = "strike",
      .help = "one discharge of lightning, added to the curve: a rise, strokes that decay, and dark again",
      .tags = strike_tags,
      .repeats = true },
    { .word = "flicker",
      .help = "the unrest of a flame or a worn lamp, multiplied into the curve: two thirds of the frames lie within so "
              "many stops, none beyond two and a half times as many",
      .values = (const struct value_spec[]){ { .label = "N",
                                               .type = VALUE_NUMBER,
                                               .optional = true,
                                               .unit = UNIT_STOPS,
                                               .limited = true,
                                               .least = 0,
                                               .most = 4 },
                                             { .label = NULL } },
      .tags = flicker_tags,
      .repeats = true },
    { .help = NULL },
};

const struct kind kind_curve = {
    .schema = { .name = "curve",
                .summary = "A number over frames, usable wherever a number may change.",
                .notes =
                    "Keys stand in rising order; before the first and after the last the curve holds. It is a bare "
                    "number in the base unit of the setting that uses it, and is read at the frame asked of the "
                    "block that names it. Strikes are added to the keys (to 0, when there are none), flickers multiply "
                    "the sum (or 1, when there is nothing else). Their chance comes from seeds, so every render of "
                    "every frame is the same. Lights, sky and exposure that name one curve flash together. For a curve "
                    "used once, the same keys can stand in the setting: "
                    "`opacity [1001 0, 1010 1 smooth]`.",
                .example = "dusk = curve\n"
                           "  1001  1     smooth\n"
                           "  1024  0.25  hold\n"
                           "  1030  0.3\n"
                           "storm = curve\n"
                           "  strike  at 1010\n"
                           "  strike  at 1031  peak 0.6  over 20 frames  strokes 5  seed 7\n"
                           "lamp-unrest = curve\n"
                           "  flicker  0.2 stops  every 2 frames\n",
                .form = HEAD_NAMED,
                .makes = MAKES_NUMBER,
                .settings = settings },
};
