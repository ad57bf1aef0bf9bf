/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The kind `flat`: one colour everywhere.
 */
#include "base/error.h"
#include "kinds/kinds.h"
#include "kinds/shot.h"

struct flat {
    const struct value *colour, *alpha;
    const struct value *size; /* or NULL: the shot's */
};

static const struct setting_spec settings[] = {
    { .word = "colour",
      .help = "scene-linear red, green and blue in the shot's primaries; 1 is diffuse white, more is allowed",
      .values =
          (const struct value_spec[]){
              { .label = "R G B", .type = VALUE_NUMBER, .may_change = true, .least_count = 3, .most_count = 3 },
              { .label = NULL } },
      .required = true },
    { .word = "alpha",
      .help = "how much it covers; the colour is multiplied by it",
      .values = (const struct value_spec[]){ { .label = "N",
                                               .type = VALUE_NUMBER,
                                               .may_change = true,
                                               .unit = UNIT_FRACTION,
                                               .limited = true,
                                               .least = 0,
                                               .most = 1 },
                                             { .label = NULL } },
      .standard = "1" },
    { .word = "size",
      .help = "width and height in pixels, when they are not the shot's",
      .values = (const struct value_spec[]){ { .label = "WIDTHxHEIGHT", .type = VALUE_SIZE }, { .label = NULL } } },
    { .help = NULL },
};

static enum passel_status flat_make(const struct block *block, const struct recipe *recipe, const struct shot *shot,
                                    struct arena *arena, void **self, struct passel_error *error)
{
    (void)recipe;
    (void)shot;
    struct flat *flat = arena_take(arena, sizeof *flat);
    if (flat == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    flat->colour = setting_value(block_setting(block, "colour"), 0);
    flat->alpha = setting_value(block_setting(block, "alpha"), 0);
    flat->size = setting_value(block_setting(block, "size"), 0);
    *self = flat;
    return PASSEL_OK;
}

static enum passel_status flat_info(const struct at *at, struct picture_info *info, struct passel_error *error)
{
    (void)error;
    const struct flat *flat = at->self;
    const struct rect window = flat->size != NULL
                                   ? rect_reduce(rect_of(0, 0, flat->size->first, flat->size->last), at->scale)
                                   : shot_window(at->shot, at->scale);
    *info = (struct picture_info){
        .display = window, .data = window, .planes = HAS_RGBA, .chunk_rows = 1, .pixel_aspect = 1
    };
    return PASSEL_OK;
}

static enum passel_status flat_fill(const struct at *at, const struct picture *in, const struct picture *out,
                                    struct arena *scratch, struct passel_error *error)
{
    (void)in;
    (void)scratch;
    (void)error;
    const struct flat *flat = at->self;
    const double alpha = value_at(flat->alpha, 0, at->frame, at->scale);
    for (int p = PLANE_R; p <= PLANE_B; p++)
        picture_fill(out, (enum plane)p, out->area, (float)(alpha * value_at(flat->colour, p, at->frame, at->scale)));
    picture_fill(out, PLANE_A, out->area, (float)alpha);
    return PASSEL_OK;
}

const struct kind kind_flat = {
    .schema = { .name = "flat",
                .summary = "One colour everywhere.",
                .example = "dusk = flat\n"
                           "  colour  [1001 0.30 0.22 0.18, 1048 0.05 0.06 0.12]\n",
                .form = HEAD_NAMED,
                .makes = MAKES_PICTURE,
                .settings = settings },
    .make = flat_make,
    .info = flat_info,
    .fill = flat_fill,
};
