/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The kind `lens`: bends a straight picture as a lens does, or straightens a bent one, so that a painted plate and a
 * filmed foreground fit together. Not a plane's map, so it resamples by itself (picture/lens.h).
 */
#include <math.h>

#include "base/error.h"
#include "base/memory.h"
#include "kinds/kinds.h"
#include "picture/lens.h"

struct lens_block {
    const struct value *picture, *amounts, *about; /* about: NULL for the centre of the frame */
    bool straighten;
};

static const struct choice ways[] = {
    { "bend", "a straight picture gets the lens's distortion: a painting behind a filmed set. This is so unless "
              "`straighten` is given" },
    { "straighten", "the lens's distortion is taken out of a filmed picture" },
    { NULL, NULL },
};

static const struct setting_spec head = {
    .values = (const struct value_spec[]){ { .label = "NAME", .type = VALUE_PICTURE }, { .label = NULL } },
};

static const struct setting_spec settings[] = {
    { .word = "radial",
      .help = "K1 and K2 of the lens, at radius 1 = half the diagonal of the frame: a point at radius r of a straight "
              "picture lies at r (1 + K1 r^2 + K2 r^4) in the filmed one. K1 below 0 is a barrel, above 0 a cushion",
      .values = (const struct value_spec[]){ { .label = "K1 K2",
                                               .type = VALUE_NUMBER,
                                               .may_change = true,
                                               .least_count = 2,
                                               .most_count = 2,
                                               .limited = true,
                                               .least = -1,
                                               .most = 1 },
                                             { .label = NULL } },
      .operators = ways,
      .required = true },
    { .word = "about",
      .help = "the lens's axis; without it, the centre of the picture's display window",
      .values = (const struct value_spec[]){ { .label = "X Y",
                                               .type = VALUE_NUMBER,
                                               .may_change = true,
                                               .least_count = 2,
                                               .most_count = 2,
                                               .unit = UNIT_PX,
                                               .limited = true,
                                               .least = -100000,
                                               .most = 100000 },
                                             { .label = NULL } } },
    { .help = NULL },
};

static enum passel_status lens_make(const struct block *block, const struct recipe *recipe, const struct shot *shot,
                                    struct arena *arena, void **self, struct passel_error *error)
{
    struct lens_block *lens = arena_take(arena, sizeof *lens);
    const struct setting *radial = block_setting(block, "radial");
    (void)recipe;
    (void)shot;
    if (lens == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    lens->picture = setting_value(block->head, 0);
    lens->amounts = setting_value(radial, 0);
    lens->straighten = radial->operator_index == 1;
    lens->about = setting_value(block_setting(block, "about"), 0);
    *self = lens;
    return PASSEL_OK;
}

static enum passel_status lens_asks(const struct at *at, struct ask_list *list, struct passel_error *error)
{
    const struct lens_block *lens = at->self;
    (void)error;
    ask_value(list, lens->picture, at->frame);
    if (!list->failed)
        list->asks[list->count - 1].border = BORDER_HOLD;
    return PASSEL_OK;
}

static enum passel_status lens_info(const struct at *at, struct picture_info *info, struct passel_error *error)
{
    (void)error;
    *info = at->inputs[0];
    info->data = rect_empty(at->inputs[0].data) ? rect_of(0, 0, 0, 0) : at->inputs[0].display;
    info->planes |= HAS_A;
    info->whole = false;
    info->chunk_rows = 1;
    return PASSEL_OK;
}

static void lens_of(const struct at *at, struct lens *lens)
{
    const struct lens_block *block = at->self;
    const struct rect frame = at->inputs[0].display;
    const double width = rect_width(frame), height = rect_height(frame);
    double x = (frame.x0 + frame.x1) / 2.0, y = (frame.y0 + frame.y1) / 2.0;
    if (block->about != NULL) {
        x = value_at(block->about, 0, at->frame, at->scale);
        y = value_at(block->about, 1, at->frame, at->scale);
    }
    const double far_x = fmax(fabs(frame.x0 - x), fabs(frame.x1 - x)) + 1;
    const double far_y = fmax(fabs(frame.y0 - y), fabs(frame.y1 - y)) + 1;
    lens_init(lens, value_at(block->amounts, 0, at->frame, at->scale),
              value_at(block->amounts, 1, at->frame, at->scale), x, y, sqrt(width * width + height * height) / 2,
              block->straighten, sqrt(far_x * far_x + far_y * far_y));
}

static struct rect lens_needs(const struct at *at, int ask, struct rect want)
{
    struct lens lens;
    (void)ask;
    lens_of(at, &lens);
    return lens_reach(&lens, want);
}

static enum passel_status lens_fill(const struct at *at, const struct picture *in, const struct picture *out,
                                    struct arena *scratch, struct passel_error *error)
{
    struct lens lens;
    (void)scratch;
    (void)error;
    lens_of(at, &lens);
    lens_resample(&lens, out, &in[0], at->inputs[0].data);
    return PASSEL_OK;
}

const struct kind kind_lens = {
    .schema = { .name = "lens",
                .summary = "Bends a picture as a lens does, or straightens it.",
                .notes = "For a straight plate behind a filmed foreground, or the other way round. The frame keeps its "
                         "size; where the bent picture does not reach it is transparent. `bend` and `straighten` with "
                         "the same numbers undo each other.",
                .example = "bent-sky = lens sky\n"
                           "  radial  -0.06 0.01\n",
                .form = HEAD_NAMED,
                .makes = MAKES_PICTURE,
                .head = &head,
                .settings = settings },
    .make = lens_make,
    .asks = lens_asks,
    .info = lens_info,
    .reach = lens_needs,
    .fill = lens_fill,
};
