/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The kind `shot`: the frame that everything is made for. It makes no picture; shot_read turns its settings into the
 * struct that kinds and engine work with.
 */
#include "kinds/shot.h"

#include <math.h>
#include <string.h>

#include "base/error.h"
#include "kinds/kinds.h"

static const struct setting_spec settings[] = {
    { .word = "frames",
      .help = "the frames of the shot, first and last included",
      .values = (const struct value_spec[]){ { .label = "FRAMES", .type = VALUE_FRAMES }, { .label = NULL } },
      .required = true },
    { .word = "rate",
      .help = "frames per second; 23.976, 29.97 and 59.94 mean the exact 1000/1001 rates",
      .values =
          (const struct value_spec[]){
              { .label = "RATE", .type = VALUE_NUMBER, .limited = true, .least = 1, .most = 10000 },
              { .label = NULL } },
      .standard = "24" },
    { .word = "size",
      .help = "width and height of the finished picture in pixels",
      .values = (const struct value_spec[]){ { .label = "WIDTHxHEIGHT", .type = VALUE_SIZE }, { .label = NULL } },
      .required = true },
    { .word = "primaries",
      .help = "the red, green and blue that all sums are made in",
      .values =
          (const struct value_spec[]){ { .label = "PRIMARIES", .type = VALUE_CHOICE, .choices = primaries_choices },
                                       { .label = NULL } },
      .standard = "rec709" },
    { .word = "lock",
      .help = "the pass whose time code, rate and notes the outputs carry, and that others are put in register with; "
              "it moves nothing by itself",
      .values = (const struct value_spec[]){ { .label = "NAME", .type = VALUE_PICTURE }, { .label = NULL } } },
    { .word = "limit",
      .help =
          "what `passel survey` holds passes against: beyond the first number they are usable with care, beyond the "
          "second to be shot again; `passel survey --limits` tells units, and what holds without this",
      .values = (const struct value_spec[]){ { .label = "MEASURE", .type = VALUE_CHOICE, .choices = limit_choices },
                                             { .label = "CARE SHOOT",
                                               .type = VALUE_NUMBER,
                                               .least_count = 2,
                                               .most_count = 2,
                                               .limited = true,
                                               .least = 0,
                                               .most = 1e9 },
                                             { .label = NULL } },
      .repeats = true },
    { .help = NULL },
};

const struct choice limit_choices[] = {
    { "unreadable", "files that cannot be read" },
    { "missing", "frames missing" },
    { "size", "frames of another size" },
    { "short", "frames less than other passes have" },
    { "duplicate", "frames that are there twice" },
    { "numbers", "pixels that are no numbers" },
    { "bump", "shift against the other passes, pixels" },
    { "screens", "shift between two screens, pixels" },
    { "shake", "movement along the pass, pixels" },
    { "flicker", "change of the light, %" },
    { "bands", "change of rows against the whole frame, %" },
    { "flash", "share of the area that flashes too often at once, %" },
    { "clipped", "share of the area that is clipped, %" },
    { "crushed", "share of what is lit that is crushed to black, %" },
    { "noise", "light over noise; small values are the bad ones" },
    { "focus", "fine detail against the lock pass; small values are the bad ones" },
    { "evenness", "stops across a screen" },
    { "hue", "degrees from the screen's hue; small values are the bad ones" },
    { "spill", "light of the screen on the subject, %" },
    { "edges", "the same at its edges, estimated from one screen, %" },
    { "dark", "wander of the lights-off level, %" },
    { "sum", "what the lamps do not make of all lamps, %" },
    { "dead", "pixels that stand out in every pass" },
    { "odd", "passes that fit no other" },
    { NULL, NULL },
};

const struct choice primaries_choices[] = {
    { "rec709", "Rec. ITU-R BT.709, white D65; also those of sRGB" },
    { "rec2020", "Rec. ITU-R BT.2020, white D65" },
    { "p3d65", "P3 with white D65" },
    { "acescg", "AP1, white near D60" },
    { "aces", "AP0, white near D60" },
    { NULL, NULL },
};

void rate_exact(double rate, int32_t *num, int32_t *den)
{
    const double whole = floor(rate + 0.5);
    const double video = floor(rate * 1.001 + 0.5);
    if (fabs(rate - whole) < 1e-6) {
        *num = (int32_t)whole;
        *den = 1;
    } else if (fabs(rate - video / 1.001) < 0.005) {
        *num = (int32_t)video * 1000;
        *den = 1001;
    } else {
        *num = (int32_t)floor(rate * 1000 + 0.5);
        *den = 1000;
    }
}

enum passel_status shot_read(const struct recipe *recipe, struct shot *shot, struct passel_error *error)
{
    const struct block *block = recipe->shot;
    if (block == NULL)
        return error_set(error, PASSEL_BAD_RECIPE,
                         "%s: the recipe has no shot block; begin with\n  shot NAME\n    frames  1001-1048\n"
                         "    size    1920x1080",
                         recipe->path);
    const struct value *frames = setting_value(block_setting(block, "frames"), 0);
    const struct value *size = setting_value(block_setting(block, "size"), 0);
    const struct value *rate = setting_value(block_setting(block, "rate"), 0);
    const struct value *lock = setting_value(block_setting(block, "lock"), 0);
    *shot = (struct shot){ .name = block->name,
                           .width = size->first,
                           .height = size->last,
                           .frames = frames->frames,
                           .frame_count = frames->frame_count,
                           .lock = lock != NULL ? lock->block : NULL };
    rate_exact(value_at(rate, 0, 0, 1), &shot->rate_num, &shot->rate_den);
    shot->rate = (double)shot->rate_num / shot->rate_den;
    shot->primaries = *primaries_named(value_choice(setting_value(block_setting(block, "primaries"), 0)));
    return PASSEL_OK;
}

int shot_limits(const struct recipe *recipe, struct shot_limit *limits, int most)
{
    int count = 0;
    for (int i = 0; recipe->shot != NULL && i < recipe->shot->setting_count && count < most; i++) {
        const struct setting *setting = &recipe->shot->settings[i];
        if (setting->spec->word == NULL || strcmp(setting->spec->word, "limit") != 0)
            continue;
        const struct value *numbers = setting_value(setting, 1);
        limits[count++] = (struct shot_limit){ .name = value_choice(setting_value(setting, 0)),
                                               .care = value_at(numbers, 0, 0, 1),
                                               .shoot = value_at(numbers, 1, 0, 1) };
    }
    return count;
}

int shot_looks(const struct shot *shot, int most)
{
    return shot->frame_count < most ? shot->frame_count : most;
}

int32_t shot_look(const struct shot *shot, int most, int k)
{
    return shot->frames[(int64_t)shot->frame_count * (2 * k + 1) / (2 * shot_looks(shot, most))];
}

struct rect shot_window(const struct shot *shot, int scale)
{
    return rect_reduce(rect_of(0, 0, shot->width, shot->height), scale);
}

const struct kind kind_shot = {
    .schema = { .name = "shot",
                .summary = "The frame that everything is made for: which frames, how fast, how large.",
                .example = "shot storm\n"
                           "  frames  1001-1048\n"
                           "  rate    24\n"
                           "  size    1920x1080\n"
                           "  lock    moon\n"
                           "  limit   bump 0.2 0.5\n",
                .form = HEAD_SHOT,
                .makes = MAKES_NOTHING,
                .settings = settings },
};
