/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The kind `key luma`: a cut-out by brightness, for what shines or is lit before black: flame, smoke, sparks, rain.
 *
 * Before black the filmed light is the element itself, already premultiplied: y = Co + (1 - alpha) K, and K, the
 * backing, is as bright as the level where alpha begins. So nothing is multiplied by alpha; only the backing's share
 * is taken away. With `colour cut` the filmed colour is taken for the colour of something solid, and alpha multiplies
 * it.
 */
#include <math.h>

#include "base/error.h"
#include "kinds/alpha_input.h"
#include "kinds/arena_picture.h"
#include "kinds/kinds.h"

enum measure { BY_LARGEST, BY_LUMINANCE, BY_MEAN };
enum colour { COLOUR_FILMED, COLOUR_CUT };

struct key_luma {
    const struct value *picture, *levels, *knees;
    enum measure by;
    enum colour colour;
    float weights[3]; /* of `by` when it is a sum */
};

/* Alpha as a function of brightness: a toe, a straight part and a shoulder that meet without a corner. */
struct curve_of_alpha {
    float start, width; /* brightness where alpha is 0, and how much further it is 1; < 0: dark things are opaque */
    float toe, shoulder;
    float slope;
};

static const struct choice by_choices[] = {
    [BY_LARGEST] = { "largest", "the largest of red, green and blue: a flame's colour stays as full as it is" },
    [BY_LUMINANCE] = { "luminance", "as bright as the eye sees it" },
    [BY_MEAN] = { "mean", "the mean of red, green and blue" },
    { NULL, NULL },
};

static const struct choice colour_choices[] = {
    [COLOUR_FILMED] = { "filmed", "the light that was filmed, less the backing's: for what shines or drifts before "
                                  "black" },
    [COLOUR_CUT] = { "cut", "the filmed colour times alpha: for something solid, cut from darker or lighter "
                            "surroundings" },
    { NULL, NULL },
};

static const struct setting_spec head = {
    .values = (const struct value_spec[]){ { .label = "NAME", .type = VALUE_PICTURE }, { .label = NULL } },
};

static const struct setting_spec settings[] = {
    { .word = "levels",
      .help = "the brightness, scene-linear, where alpha begins and the one where it is full; the larger one first "
              "makes what is dark opaque",
      .values = (const struct value_spec[]){ { .label = "BEGINS FULL",
                                               .type = VALUE_NUMBER,
                                               .may_change = true,
                                               .least_count = 2,
                                               .most_count = 2,
                                               .limited = true,
                                               .least = -1,
                                               .most = 1000 },
                                             { .label = NULL } },
      .standard = "0 1" },
    { .word = "knees",
      .help = "how much of the way from one level to the other is rounded at its beginning and at its end, so that "
              "smoke sets in softly",
      .values = (const struct value_spec[]){ { .label = "TOE SHOULDER",
                                               .type = VALUE_NUMBER,
                                               .may_change = true,
                                               .unit = UNIT_FRACTION,
                                               .least_count = 2,
                                               .most_count = 2,
                                               .limited = true,
                                               .least = 0,
                                               .most = 1 },
                                             { .label = NULL } },
      .standard = "0 0" },
    { .word = "by",
      .help = "what counts as brightness",
      .values = (const struct value_spec[]){ { .label = "WHAT", .type = VALUE_CHOICE, .choices = by_choices },
                                             { .label = NULL } },
      .standard = "largest" },
    { .word = "colour",
      .help = "what the element's colour is",
      .values = (const struct value_spec[]){ { .label = "WHICH", .type = VALUE_CHOICE, .choices = colour_choices },
                                             { .label = NULL } },
      .standard = "filmed" },
    { .help = NULL },
};

static enum passel_status luma_make(const struct block *block, const struct recipe *recipe, const struct shot *shot,
                                    struct arena *arena, void **self, struct passel_error *error)
{
    struct key_luma *key = arena_take(arena, sizeof *key);
    double luminance[3];
    (void)recipe;
    if (key == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    key->picture = setting_value(block->head, 0);
    key->levels = setting_value(block_setting(block, "levels"), 0);
    key->knees = setting_value(block_setting(block, "knees"), 0);
    key->by = (enum measure)setting_value(block_setting(block, "by"), 0)->choice;
    key->colour = (enum colour)setting_value(block_setting(block, "colour"), 0)->choice;
    primaries_luminance(&shot->primaries, luminance);
    for (int c = 0; c < 3; c++)
        key->weights[c] = key->by == BY_LUMINANCE ? (float)luminance[c] : 1.0F / 3;
    *self = key;
    return PASSEL_OK;
}

static enum passel_status luma_asks(const struct at *at, struct ask_list *list, struct passel_error *error)
{
    const struct key_luma *key = at->self;
    (void)error;
    ask_add(list, (struct ask){ .block = key->picture->block,
                                .picture = key->picture->picture,
                                .frame = at->frame,
                                .planes = HAS_RGB });
    return PASSEL_OK;
}

static enum passel_status luma_info(const struct at *at, struct picture_info *info, struct passel_error *error)
{
    const struct key_luma *key = at->self;
    *info = at->inputs[0];
    info->planes = HAS_RGBA;
    info->whole = false;
    const double toe = value_at(key->knees, 0, at->frame, 1), shoulder = value_at(key->knees, 1, at->frame, 1);
    if (toe + shoulder > 1)
        return recipe_error(at->recipe, key->knees->where, PASSEL_BAD_RECIPE, error,
                            "the two knees together take more than the whole way: at most 100 %%");
    return PASSEL_OK;
}

/* Straight part of slope s between a toe s t²/2k and a shoulder 1 - s (1-t)²/2k: they meet when s (1 - (toe +
 * shoulder)/2) = 1. */
static struct curve_of_alpha curve_at(const struct key_luma *key, const struct at *at)
{
    struct curve_of_alpha curve = { .start = (float)value_at(key->levels, 0, at->frame, 1),
                                    .toe = (float)value_at(key->knees, 0, at->frame, 1),
                                    .shoulder = (float)value_at(key->knees, 1, at->frame, 1) };
    const float width = (float)value_at(key->levels, 1, at->frame, 1) - curve.start;
    curve.width = width >= 0 ? fmaxf(width, 1e-6F) : fminf(width, -1e-6F);
    curve.slope = 1 / (1 - (curve.toe + curve.shoulder) / 2);
    return curve;
}

static float alpha_of(const struct curve_of_alpha *curve, float brightness)
{
    const float t = alpha_clamped((brightness - curve->start) / curve->width), left = 1 - t;
    if (t < curve->toe)
        return curve->slope * t * t / (2 * curve->toe);
    if (left < curve->shoulder)
        return 1 - curve->slope * left * left / (2 * curve->shoulder);
    return fminf(curve->slope * (t - curve->toe / 2), 1);
}

static float brightness_of(const struct key_luma *key, const float colour[3])
{
    if (key->by == BY_LARGEST)
        return fmaxf(fmaxf(colour[0], colour[1]), colour[2]);
    return key->weights[0] * colour[0] + key->weights[1] * colour[1] + key->weights[2] * colour[2];
}

/* What the colour is multiplied by: alpha, or the share that is not the backing's. */
static float share_of(const struct key_luma *key, const struct curve_of_alpha *curve, float brightness, float alpha)
{
    if (key->colour == COLOUR_CUT)
        return alpha;
    const float backing = (1 - alpha) * curve->start;
    return brightness > 0 ? alpha_clamped((brightness - backing) / brightness) : 0;
}

static void luma_row(const struct key_luma *key, const struct curve_of_alpha *curve, const float *const from[3],
                     float *const to[PLANE_COUNT], int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        const float colour[3] = { from[0][x], from[1][x], from[2][x] };
        const float brightness = brightness_of(key, colour), alpha = alpha_of(curve, brightness);
        const float share = share_of(key, curve, brightness, alpha);
        for (int c = 0; c < 3; c++) {
            if (to[c] != NULL)
                to[c][x] = colour[c] * share;
        }
        if (to[PLANE_A] != NULL)
            to[PLANE_A][x] = alpha;
    }
}

static enum passel_status luma_fill(const struct at *at, const struct picture *in, const struct picture *out,
                                    struct arena *scratch, struct passel_error *error)
{
    const struct key_luma *key = at->self;
    const struct curve_of_alpha curve = curve_at(key, at);
    (void)scratch;
    (void)error;
    for (int32_t y = out->area.y0; y < out->area.y1; y++) {
        const float *from[3];
        float *to[PLANE_COUNT];
        for (int p = 0; p < PLANE_COUNT; p++) {
            to[p] = out->plane[p] != NULL ? picture_row(out, (enum plane)p, y) : NULL;
            if (p < 3)
                from[p] = picture_row(&in[0], (enum plane)p, y) + (out->area.x0 - in[0].area.x0);
        }
        luma_row(key, &curve, from, to, rect_width(out->area));
    }
    return PASSEL_OK;
}

const struct kind kind_key_luma = {
    .schema = { .name = "key luma",
                .summary = "A cut-out by brightness: flame, smoke, sparks or rain before black.",
                .notes = "Without any setting alpha is the largest of red, green and blue and the colour stays as it "
                         "was filmed: before black that is right for all that shines or is lit. Where the black is "
                         "not quite black, raise the first of the `levels`; its light is taken out of the colour too. "
                         "A key of something solid wants `colour cut`.",
                .example = "flame = key luma torch\n"
                           "  levels  0.004 0.8\n"
                           "  knees   10% 30%\n",
                .form = HEAD_NAMED,
                .makes = MAKES_PICTURE,
                .head = &head,
                .settings = settings },
    .make = luma_make,
    .asks = luma_asks,
    .info = luma_info,
    .fill = luma_fill,
};
