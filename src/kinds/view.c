/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The kind `view`: a picture as a person looks at it to judge a cut-out: over grey, a checker or a plain colour, or its
 * alpha, opaque, with what alpha should not be marked.
 */
#include <math.h>

#include "base/error.h"
#include "kinds/alpha_input.h"
#include "kinds/kinds.h"
#include "numerics/between.h"

enum show { SHOW_COLOUR, SHOW_ALPHA, SHOW_FAULTS, SHOW_RESIDUAL };
enum ground { GROUND_GREY, GROUND_CHECKER, GROUND_BLACK, GROUND_WHITE, GROUND_RED, GROUND_GREEN, GROUND_BLUE };

struct view {
    const struct value *picture, *size;
    enum show show;
    enum ground ground;
};

#define RESIDUAL_ZERO 0.18F
#define RESIDUAL_GAIN 8.0F
#define NEARLY (1.0F / 512) /* so little of alpha is none, or all */

static const struct choice show_choices[] = {
    [SHOW_COLOUR] = { "colour", "the picture over a ground" },
    [SHOW_ALPHA] = { "alpha", "alpha as a grey picture: 0 is black, 1 is white" },
    [SHOW_FAULTS] = { "faults", "alpha, with what is nearly nothing in blue and what is nearly solid in red, however "
                                "little is missing: grain in a bare screen and holes stand out" },
    [SHOW_RESIDUAL] = { "residual", "what may be below 0 too, 8 times as strong: 0 is 18% grey" },
    { NULL, NULL },
};

static const struct choice ground_choices[] = {
    [GROUND_GREY] = { "grey", "18% grey" },      [GROUND_CHECKER] = { "checker", "squares of two greys" },
    [GROUND_BLACK] = { "black", "no light" },    [GROUND_WHITE] = { "white", "full white" },
    [GROUND_RED] = { "red", "a strong red" },    [GROUND_GREEN] = { "green", "a strong green" },
    [GROUND_BLUE] = { "blue", "a strong blue" }, { NULL, NULL },
};

static const struct setting_spec head = {
    .values = (const struct value_spec[]){ { .label = "NAME", .type = VALUE_PICTURE }, { .label = NULL } },
};

static const struct setting_spec settings[] = {
    { .word = "show",
      .help = "what of the picture",
      .values = (const struct value_spec[]){ { .label = "WHAT", .type = VALUE_CHOICE, .choices = show_choices },
                                             { .label = NULL } },
      .standard = "colour" },
    { .word = "over",
      .help = "what its colour is laid over",
      .values = (const struct value_spec[]){ { .label = "GROUND", .type = VALUE_CHOICE, .choices = ground_choices },
                                             { .label = NULL } },
      .standard = "grey" },
    { .word = "squares",
      .help = "how large the squares of a checker are",
      .values =
          (const struct value_spec[]){
              { .label = "N", .type = VALUE_NUMBER, .unit = UNIT_PX, .limited = true, .least = 1, .most = 1024 },
              { .label = NULL } },
      .standard = "16 px" },
    { .help = NULL },
};

static enum passel_status view_make(const struct block *block, const struct recipe *recipe, const struct shot *shot,
                                    struct arena *arena, void **self, struct passel_error *error)
{
    struct view *view = arena_take(arena, sizeof *view);
    (void)recipe;
    (void)shot;
    if (view == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    view->picture = setting_value(block->head, 0);
    view->size = setting_value(block_setting(block, "squares"), 0);
    view->show = (enum show)setting_value(block_setting(block, "show"), 0)->choice;
    view->ground = (enum ground)setting_value(block_setting(block, "over"), 0)->choice;
    *self = view;
    return PASSEL_OK;
}

static bool shows_colour(const struct view *view)
{
    return view->show == SHOW_COLOUR || view->show == SHOW_RESIDUAL;
}

static enum passel_status view_asks(const struct at *at, struct ask_list *list, struct passel_error *error)
{
    const struct view *view = at->self;
    (void)error;
    ask_add(list, (struct ask){ .block = view->picture->block,
                                .picture = view->picture->picture,
                                .frame = at->frame,
                                .planes = shows_colour(view) ? HAS_RGBA : HAS_A });
    return PASSEL_OK;
}

static enum passel_status view_info(const struct at *at, struct picture_info *info, struct passel_error *error)
{
    const struct view *view = at->self;
    if (!shows_colour(view))
        RETURN_IF_ERROR(alpha_check(at, 0, view->picture, error));
    *info = (struct picture_info){ .display = at->inputs[0].display,
                                   .data = rect_join(at->inputs[0].display, at->inputs[0].data),
                                   .planes = HAS_RGB,
                                   .chunk_rows = 1,
                                   .pixel_aspect = at->inputs[0].pixel_aspect };
    return PASSEL_OK;
}

/* ---- pixels ------------------------------------------------------------------------------------------------------ */

static bool dark_square(int32_t x, int32_t y, double size)
{
    return ((int64_t)floor(x / size) + (int64_t)floor(y / size)) % 2 != 0;
}

static float ground_at(enum ground ground, double size, int c, int32_t x, int32_t y)
{
    static const float colours[][3] = { [GROUND_GREY] = { 0.18F, 0.18F, 0.18F },
                                        [GROUND_CHECKER] = { 0.32F, 0.32F, 0.32F },
                                        [GROUND_BLACK] = { 0, 0, 0 },
                                        [GROUND_WHITE] = { 1, 1, 1 },
                                        [GROUND_RED] = { 0.8F, 0.01F, 0.01F },
                                        [GROUND_GREEN] = { 0.01F, 0.6F, 0.01F },
                                        [GROUND_BLUE] = { 0.01F, 0.02F, 0.8F } };
    const float colour = colours[ground][c];
    return ground == GROUND_CHECKER && dark_square(x, y, size) ? colour / 4 : colour;
}

/* Alpha as grey; a fault shows in its channel at no less than a fifth, so that the least of it is seen. */
static float fault_at(int c, float alpha)
{
    const float grey = alpha_clamped(alpha);
    if (alpha > NEARLY && alpha < 0.1F)
        return c == PLANE_B ? 0.2F + 8 * grey : 0;
    if (alpha < 1 - NEARLY && alpha > 0.9F)
        return c == PLANE_R ? 1 : alpha_clamped(10 * (alpha - 0.9F)) * 0.5F;
    return grey;
}

static void view_row(const struct view *view, double size, const struct picture *in, const struct picture *out, int c,
                     int32_t y)
{
    const int32_t shift = out->area.x0 - in->area.x0;
    const float *alpha = picture_row(in, PLANE_A, y) + shift;
    const float *colour = shows_colour(view) ? picture_row(in, (enum plane)c, y) + shift : NULL;
    float *to = picture_row(out, (enum plane)c, y);
    for (int32_t i = 0; i < rect_width(out->area); i++) {
        if (view->show == SHOW_COLOUR)
            to[i] = colour[i] + (1 - alpha_clamped(alpha[i])) * ground_at(view->ground, size, c, out->area.x0 + i, y);
        else if (view->show == SHOW_RESIDUAL)
            to[i] = larger(RESIDUAL_ZERO + RESIDUAL_GAIN * colour[i], 0);
        else
            to[i] = view->show == SHOW_ALPHA ? alpha_clamped(alpha[i]) : fault_at(c, alpha[i]);
    }
}

static enum passel_status view_fill(const struct at *at, const struct picture *in, const struct picture *out,
                                    struct arena *scratch, struct passel_error *error)
{
    const struct view *view = at->self;
    const double size = fmax(value_at(view->size, 0, at->frame, at->scale), 1);
    (void)scratch;
    (void)error;
    for (int c = 0; c < 3; c++) {
        for (int32_t y = out->area.y0; out->plane[c] != NULL && y < out->area.y1; y++)
            view_row(view, size, &in[0], out, c, y);
    }
    return PASSEL_OK;
}

const struct kind kind_view = {
    .schema = { .name = "view",
                .summary = "A cut-out laid out for the eye: over grey, checker or red, or its alpha.",
                .notes =
                    "Put it between any picture and an output: a key's further pictures, such as `cut.quality`, can "
                    "be looked at too. A picture without alpha is opaque; a matte over a ground is white.",
                .example = "proof = view cut\n"
                           "  over  checker\n"
                           "\n"
                           "output proof as proof\n"
                           "  file  proof/cut.####.png\n",
                .form = HEAD_NAMED,
                .makes = MAKES_PICTURE,
                .head = &head,
                .settings = settings },
    .make = view_make,
    .asks = view_asks,
    .info = view_info,
    .fill = view_fill,
};
