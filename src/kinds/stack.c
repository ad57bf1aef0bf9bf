/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The kind `stack`: layers on top of each other, bottom first, in the shot's window.
 *
 * A layer is picture · matte · opacity · (1 − holdout), premultiplied, and meets what lies below through its operator.
 * A light wrap looks at the neighbourhood of what lies below, so the layers under it are made over a larger area: as
 * much larger as the wraps above them reach. At the border of the shot its edge is held, as if the scene went on.
 */
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "kinds/alpha_input.h"
#include "kinds/arena_picture.h"
#include "kinds/blend.h"
#include "kinds/kinds.h"
#include "kinds/shot.h"
#include "numerics/blur.h"

struct layer {
    const struct value *picture;
    const struct value *matte, *opacity, *holdout, *wrap, *wrap_gain; /* each NULL when it was not given */
    enum blend blend;
};

struct stack {
    const struct layer *layers;
    int count;
};

/* A layer at one frame. Asks are indices, -1 for none. */
struct layer_frame {
    const struct layer *layer;
    float opacity;
    int picture, matte, holdout;
    double sigma; /* of the wrap; 0: none */
    float wrap_gain;
    int32_t reach_above; /* how far the wraps of the layers above look */
    int32_t reach;       /* that and its own */
};

struct stack_frame {
    int count; /* layers that change anything at this frame */
    struct layer_frame layers[];
};

static const struct choice operators[] = {
    [BLEND_OVER] = { "over", "covers what lies below by its alpha (when nothing is said)" },
    [BLEND_ADD] = { "add", "adds its light; alpha stops at 1" },
    [BLEND_SCREEN] = { "screen", "brightens, never beyond 1; where one is above 1, the larger of the two" },
    [BLEND_MULTIPLY] = { "multiply", "darkens like a filter before the lens" },
    [BLEND_LIGHTEN] = { "lighten", "the lighter of the two, per channel" },
    [BLEND_DARKEN] = { "darken", "the darker of the two, per channel" },
    [BLEND_DIFFERENCE] = { "difference", "how far the two are apart, per channel; for checking register" },
    [BLEND_IN] = { "in", "only where there is something below; the rest goes" },
    [BLEND_OUT] = { "out", "only where there is nothing below; the rest goes" },
    [BLEND_ATOP] = { "atop", "covers what lies below, but not beyond it" },
    [BLEND_XOR] = { "xor", "each where the other is not" },
    [BLEND_COUNT] = { NULL, NULL },
};

#define PICTURE_VALUE VALUE_LIST({ .label = "NAME", .type = VALUE_PICTURE })

static const struct tag_spec tags[] = {
    { .word = "matte", .help = "a matte that cuts the layer out", .values = PICTURE_VALUE },
    { .word = "opacity",
      .help = "how much of the layer is used: 40% or 0.4",
      .values = (const struct value_spec[]){ { .label = "N",
                                               .type = VALUE_NUMBER,
                                               .may_change = true,
                                               .unit = UNIT_FRACTION,
                                               .limited = true,
                                               .least = 0,
                                               .most = 1 },
                                             { .label = NULL } } },
    { .word = "holdout", .help = "a matte that keeps the layer away: what stands before it", .values = PICTURE_VALUE },
    { .word = "wrap",
      .help = "light wrap: light from below bleeds over the layer's edge, blurred by a Gaussian of this standard "
              "deviation",
      .values = (const struct value_spec[]){ { .label = "N",
                                               .type = VALUE_NUMBER,
                                               .may_change = true,
                                               .unit = UNIT_PX,
                                               .limited = true,
                                               .least = 0,
                                               .most = 200 },
                                             { .label = NULL } } },
    { .word = "wrap-gain",
      .help = "how strong the light wrap is; 30% when nothing is said",
      .values = (const struct value_spec[]){ { .label = "N",
                                               .type = VALUE_NUMBER,
                                               .may_change = true,
                                               .unit = UNIT_FRACTION,
                                               .limited = true,
                                               .least = 0,
                                               .most = 10 },
                                             { .label = NULL } } },
    { .word = NULL },
};

static const struct setting_spec settings[] = {
    { .word = "layer",
      .help = "a picture, laid on those of the lines above",
      .values = PICTURE_VALUE,
      .tags = tags,
      .operators = operators,
      .repeats = true,
      .required = true },
    { .help = NULL },
};

static enum passel_status read_layer(const struct setting *setting, const struct recipe *recipe, struct layer *layer,
                                     struct passel_error *error)
{
    layer->picture = setting_value(setting, 0);
    layer->matte = setting_tag_value(setting, "matte", 0);
    layer->opacity = setting_tag_value(setting, "opacity", 0);
    layer->holdout = setting_tag_value(setting, "holdout", 0);
    layer->wrap = setting_tag_value(setting, "wrap", 0);
    layer->wrap_gain = setting_tag_value(setting, "wrap-gain", 0);
    layer->blend = setting->operator_index >= 0 ? (enum blend)setting->operator_index : BLEND_OVER;
    if (layer->wrap_gain != NULL && layer->wrap == NULL)
        return recipe_error(recipe, layer->wrap_gain->where, PASSEL_BAD_RECIPE, error,
                            "a wrap-gain needs a wrap: `wrap 4 px wrap-gain 30%%`");
    return PASSEL_OK;
}

static enum passel_status stack_make(const struct block *block, const struct recipe *recipe, const struct shot *shot,
                                     struct arena *arena, void **self, struct passel_error *error)
{
    (void)shot;
    struct stack *stack = arena_take(arena, sizeof *stack);
    struct layer *layers = arena_array(arena, (size_t)block->setting_count, sizeof *layers);
    if (stack == NULL || layers == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    stack->layers = layers;
    int asks = 0;
    for (int i = 0; i < block->setting_count; i++) {
        struct layer *layer = &layers[stack->count++];
        RETURN_IF_ERROR(read_layer(&block->settings[i], recipe, layer, error));
        asks += 1 + (layer->matte != NULL) + (layer->holdout != NULL);
        if (asks > ASK_LIMIT)
            return recipe_error(recipe, block->settings[i].where, PASSEL_BAD_RECIPE, error,
                                "a stack holds at most %d pictures, mattes and hold-outs; put some layers in a stack "
                                "of their own",
                                ASK_LIMIT);
    }
    *self = stack;
    return PASSEL_OK;
}

static double number_or(const struct value *value, const struct at *at, double otherwise)
{
    return value != NULL ? value_at(value, 0, at->frame, at->scale) : otherwise;
}

/* A layer of opacity 0 is not asked for; it counts only where an empty layer has an effect. */
static void read_frame(const struct layer *layer, const struct at *at, struct stack_frame *frame, int *asks)
{
    const float opacity = (float)number_or(layer->opacity, at, 1);
    if (opacity == 0 && blend_ignores_nothing(layer->blend))
        return;
    struct layer_frame *now = &frame->layers[frame->count];
    *now = (struct layer_frame){ .layer = layer, .opacity = opacity, .picture = -1, .matte = -1, .holdout = -1 };
    if (opacity != 0) {
        now->picture = (*asks)++;
        now->matte = layer->matte != NULL ? (*asks)++ : -1;
        now->holdout = layer->holdout != NULL ? (*asks)++ : -1;
        now->wrap_gain = (float)number_or(layer->wrap_gain, at, 0.3);
        now->sigma = frame->count > 0 && now->wrap_gain != 0 ? number_or(layer->wrap, at, 0) : 0;
    }
    frame->count++;
}

static enum passel_status stack_open(const struct at *at, void **state, struct passel_error *error)
{
    const struct stack *stack = at->self;
    struct stack_frame *frame = memory_zeros(1, sizeof *frame + (size_t)stack->count * sizeof *frame->layers);
    if (frame == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    int asks = 0;
    for (int i = 0; i < stack->count; i++)
        read_frame(&stack->layers[i], at, frame, &asks);
    int32_t reach = 0;
    for (int i = frame->count - 1; i >= 0; i--) {
        frame->layers[i].reach_above = reach;
        reach += blur_radius(frame->layers[i].sigma);
        frame->layers[i].reach = reach;
    }
    *state = frame;
    return PASSEL_OK;
}

static void stack_close(void *state, struct text *notes)
{
    (void)notes;
    memory_free(state);
}

static enum passel_status stack_asks(const struct at *at, struct ask_list *list, struct passel_error *error)
{
    (void)error;
    const struct stack_frame *frame = at->state;
    for (int i = 0; i < frame->count; i++) {
        const struct layer_frame *now = &frame->layers[i];
        if (now->picture < 0)
            continue;
        ask_add(list, (struct ask){ .block = now->layer->picture->block,
                                    .picture = now->layer->picture->picture,
                                    .frame = at->frame,
                                    .planes = PLANES_AS_WANTED | HAS_A });
        if (now->matte >= 0)
            alpha_ask(list, now->layer->matte, at->frame);
        if (now->holdout >= 0)
            alpha_ask(list, now->layer->holdout, at->frame);
    }
    return PASSEL_OK;
}

static enum passel_status stack_info(const struct at *at, struct picture_info *info, struct passel_error *error)
{
    const struct stack_frame *frame = at->state;
    *info = (struct picture_info){
        .display = shot_window(at->shot, at->scale), .planes = HAS_RGBA, .chunk_rows = 1, .pixel_aspect = 1
    };
    for (int i = 0; i < frame->count; i++) {
        const struct layer_frame *now = &frame->layers[i];
        if (now->picture < 0)
            continue;
        if (now->matte >= 0)
            RETURN_IF_ERROR(alpha_check(at, now->matte, now->layer->matte, error));
        if (now->holdout >= 0)
            RETURN_IF_ERROR(alpha_check(at, now->holdout, now->layer->holdout, error));
        const struct picture_info *input = &at->inputs[now->picture];
        info->data = rect_join(info->data, rect_cut(input->data, info->display));
        if (input->chunk_rows > info->chunk_rows)
            info->chunk_rows = input->chunk_rows;
    }
    return PASSEL_OK;
}

/* Where the result of a layer is needed when `want` is, if the wraps above it reach so far. */
static struct rect layer_area(const struct at *at, struct rect want, int32_t reach)
{
    return rect_cut(rect_grow(want, reach, reach), at->info->display);
}

static struct rect stack_reach(const struct at *at, int ask, struct rect want)
{
    const struct stack_frame *frame = at->state;
    int32_t reach = 0;
    for (int i = 0; i < frame->count; i++) {
        if (frame->layers[i].picture >= 0 && frame->layers[i].picture <= ask)
            reach = frame->layers[i].reach;
    }
    return layer_area(at, want, reach);
}

/* ---- rows -------------------------------------------------------------------------------------------------------- */

static void row_set(float *restrict out, float value, size_t count)
{
    for (size_t x = 0; x < count; x++)
        out[x] = value;
}

static void row_multiply(float *restrict out, const float *restrict in, const float *restrict weight, size_t count)
{
    for (size_t x = 0; x < count; x++)
        out[x] = in[x] * weight[x];
}

static void row_clamp(float *restrict out, const float *restrict in, size_t count)
{
    for (size_t x = 0; x < count; x++)
        out[x] = alpha_clamped(in[x]);
}

static void row_matte(float *restrict weight, const float *restrict matte, size_t count)
{
    for (size_t x = 0; x < count; x++)
        weight[x] *= alpha_clamped(matte[x]);
}

static void row_holdout(float *restrict weight, const float *restrict holdout, size_t count)
{
    for (size_t x = 0; x < count; x++)
        weight[x] *= 1 - alpha_clamped(holdout[x]);
}

/* `out` and `in` may be the same row. */
static void row_add(float *out, const float *in, const float *restrict more, size_t count)
{
    for (size_t x = 0; x < count; x++)
        out[x] = in[x] + more[x];
}

/* Light that wraps round an edge: strongest where the layer is solid and its blurred alpha is not. */
static void row_wrap(float *restrict strength, const float *restrict alpha, const float *restrict blurred, float gain,
                     size_t count)
{
    for (size_t x = 0; x < count; x++)
        strength[x] = gain * alpha[x] * (1 - alpha_clamped(blurred[x]));
}

/* ---- layers ------------------------------------------------------------------------------------------------------ */

/* What is being made: the layers so far, and memory for one row of the layer in hand. */
struct work {
    const struct at *at;
    const struct picture *in;
    struct picture below;
    float *row[PLANE_COUNT];
    float *weight;
};

static const float *row_from(const struct picture *picture, enum plane plane, int32_t y, int32_t x0)
{
    return picture_row(picture, plane, y) + (x0 - picture->area.x0);
}

/* matte · opacity · (1 − holdout) of one row, or NULL when that is 1 throughout. */
static const float *layer_weight(const struct work *work, const struct layer_frame *now, int32_t y, struct rect area)
{
    if (now->matte < 0 && now->holdout < 0 && now->opacity == 1)
        return NULL;
    const size_t count = (size_t)rect_width(area);
    row_set(work->weight, now->opacity, count);
    if (now->matte >= 0)
        row_matte(work->weight, row_from(&work->in[now->matte], PLANE_A, y, area.x0), count);
    if (now->holdout >= 0)
        row_holdout(work->weight, row_from(&work->in[now->holdout], PLANE_A, y, area.x0), count);
    return work->weight;
}

/* The layer's own alpha with the weight, for one row. `clamped` is memory that is written. */
static void layer_alpha(const struct work *work, const struct layer_frame *now, const float *weight, int32_t y,
                        struct rect area, float *clamped, float *out)
{
    const size_t count = (size_t)rect_width(area);
    const float *alpha = row_from(&work->in[now->picture], PLANE_A, y, area.x0);
    if (weight == NULL) {
        row_clamp(out, alpha, count);
        return;
    }
    row_clamp(clamped, alpha, count);
    row_multiply(out, clamped, weight, count);
}

/* Lays row y of one layer, over the columns of `area`, on what is below. `wrap`: light to add, or without planes. */
static void lay_row(const struct work *work, const struct layer_frame *now, const struct picture *wrap, int32_t y,
                    struct rect area)
{
    const size_t count = (size_t)rect_width(area);
    const float *weight = layer_weight(work, now, y, area);
    const float *layer[PLANE_COUNT] = { NULL };
    float *below[PLANE_COUNT] = { NULL };
    layer_alpha(work, now, weight, y, area, work->row[PLANE_R], work->row[PLANE_A]);
    layer[PLANE_A] = work->row[PLANE_A];
    below[PLANE_A] = picture_row(&work->below, PLANE_A, y) + (area.x0 - work->below.area.x0);
    for (int p = PLANE_R; p <= PLANE_B; p++) {
        if (work->below.plane[p] == NULL)
            continue;
        below[p] = picture_row(&work->below, (enum plane)p, y) + (area.x0 - work->below.area.x0);
        layer[p] = row_from(&work->in[now->picture], (enum plane)p, y, area.x0);
        if (weight != NULL) {
            row_multiply(work->row[p], layer[p], weight, count);
            layer[p] = work->row[p];
        }
        if (wrap->plane[p] != NULL) {
            row_add(work->row[p], layer[p], row_from(wrap, (enum plane)p, y, area.x0), count);
            layer[p] = work->row[p];
        }
    }
    blend_row(now->layer->blend, below, layer, count);
}

static void clear_row(const struct work *work, int32_t y, struct rect area)
{
    for (int p = 0; p < PLANE_COUNT; p++)
        picture_fill(&work->below, (enum plane)p, rect_of(area.x0, y, area.x1, y + 1), 0);
}

/* The light that wraps round the edge of a layer over `area`, from what is below. */
static enum passel_status make_wrap(const struct work *work, const struct layer_frame *now, struct rect area,
                                    struct rect around, struct picture *wrap, struct arena *scratch,
                                    struct passel_error *error)
{
    struct picture edge;
    const struct picture below = picture_part(&work->below, around);
    const unsigned colours = picture_planes(&below) & HAS_RGB;
    RETURN_IF_ERROR(arena_picture(scratch, around, HAS_A, &edge, error));
    RETURN_IF_ERROR(arena_picture(scratch, area, colours | HAS_A, wrap, error));
    for (int32_t y = around.y0; y < around.y1; y++)
        layer_alpha(work, now, layer_weight(work, now, y, around), y, around, work->row[PLANE_R],
                    picture_row(&edge, PLANE_A, y));
    RETURN_IF_ERROR(blur_plane(wrap, &edge, PLANE_A, now->sigma, scratch, error));
    const size_t count = (size_t)rect_width(area);
    for (int p = PLANE_R; p <= PLANE_B; p++) {
        if (below.plane[p] == NULL)
            continue;
        RETURN_IF_ERROR(blur_plane(wrap, &below, (enum plane)p, now->sigma, scratch, error));
        for (int32_t y = area.y0; y < area.y1; y++) {
            float *row = picture_row(wrap, (enum plane)p, y);
            row_wrap(work->weight, row_from(&edge, PLANE_A, y, area.x0), picture_row(wrap, PLANE_A, y), now->wrap_gain,
                     count);
            memcpy(work->row[p], row, count * sizeof *row);
            row_multiply(row, work->row[p], work->weight, count);
        }
    }
    return PASSEL_OK;
}

/* Lays the layers first … last-1, of which only the first may have a wrap, row by row. */
static enum passel_status lay_group(const struct work *work, int first, int last, struct rect want,
                                    struct arena *scratch, struct passel_error *error)
{
    const struct stack_frame *frame = work->at->state;
    const struct layer_frame *lowest = &frame->layers[first];
    const struct rect area = layer_area(work->at, want, lowest->reach_above);
    const struct picture no_wrap = { .plane = { NULL } };
    struct picture wrap = no_wrap;
    if (lowest->sigma > 0)
        RETURN_IF_ERROR(
            make_wrap(work, lowest, area, layer_area(work->at, want, lowest->reach), &wrap, scratch, error));
    for (int32_t y = area.y0; y < area.y1; y++) {
        if (first == 0)
            clear_row(work, y, area);
        for (int i = first; i < last; i++) {
            if (frame->layers[i].picture < 0)
                clear_row(work, y, area);
            else
                lay_row(work, &frame->layers[i], i == first ? &wrap : &no_wrap, y, area);
        }
    }
    return PASSEL_OK;
}

/* Memory for what lies below: `out` itself where that will do. */
static enum passel_status begin_work(struct work *work, const struct picture *out, struct rect area,
                                     struct arena *scratch, struct passel_error *error)
{
    work->below = *out;
    if (out->plane[PLANE_A] == NULL || !rect_same(area, out->area))
        RETURN_IF_ERROR(arena_picture(scratch, area, picture_planes(out) | HAS_A, &work->below, error));
    bool whole = (work->weight = arena_row(scratch, rect_width(area))) != NULL;
    for (int p = 0; p < PLANE_COUNT; p++)
        whole = (work->row[p] = arena_row(scratch, rect_width(area))) != NULL && whole;
    return whole ? PASSEL_OK : error_set(error, PASSEL_NO_MEMORY, "out of memory");
}

static enum passel_status stack_fill(const struct at *at, const struct picture *in, const struct picture *out,
                                     struct arena *scratch, struct passel_error *error)
{
    const struct stack_frame *frame = at->state;
    struct work work = { .at = at, .in = in };
    const struct rect area = layer_area(at, out->area, frame->layers[0].reach);
    RETURN_IF_ERROR(begin_work(&work, out, area, scratch, error));
    for (int first = 0, last; first < frame->count; first = last) {
        for (last = first + 1; last < frame->count && frame->layers[last].sigma <= 0;)
            last++;
        RETURN_IF_ERROR(lay_group(&work, first, last, out->area, scratch, error));
    }
    if (work.below.plane[PLANE_A] != out->plane[PLANE_A])
        picture_copy(out, &work.below);
    return PASSEL_OK;
}

const struct kind kind_stack = {
    .schema = { .name = "stack",
                .summary = "Layers on top of each other, bottom first.",
                .notes =
                    "A layer is picture x matte x opacity x (1 - holdout), premultiplied; then it meets what lies "
                    "below through its operator. Mattes are clamped to 0 ... 1 where they multiply. The result has "
                    "the size of the shot. A layer of opacity 0 is not read. `wrap` adds blurred light from below "
                    "inside the layer's edge: alpha x (1 - blurred alpha) x blurred light below x wrap-gain.",
                .example = "final = stack\n"
                           "  layer  sky\n"
                           "  layer  night   matte edge   wrap 3 px\n"
                           "  layer  keeper  over  holdout gallery\n"
                           "  layer  rain    add  opacity 40%\n",
                .form = HEAD_NAMED,
                .makes = MAKES_PICTURE,
                .settings = settings },
    .make = stack_make,
    .open = stack_open,
    .close = stack_close,
    .asks = stack_asks,
    .info = stack_info,
    .reach = stack_reach,
    .fill = stack_fill,
};
