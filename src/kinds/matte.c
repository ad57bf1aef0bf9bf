/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The kind `matte`: steps that work on a matte, in the order of the lines.
 *
 * The steps act on the field: the display window of the first matte and all of its data. Outside its data a matte is 0
 * within the field; where the field ends its edge is held, so a frame border is never taken for an edge of the matte.
 */
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "kinds/alpha_input.h"
#include "kinds/arena_picture.h"
#include "kinds/kinds.h"
#include "numerics/blur.h"
#include "numerics/disc.h"

enum action {
    MATTE_FLOOR,
    MATTE_CEILING,
    MATTE_INVERT,
    MATTE_CHOKE,
    MATTE_SPREAD,
    MATTE_SOFTEN,
    MATTE_MINUS,
    MATTE_UNION,
    MATTE_WITHIN,
    ACTION_COUNT
};

struct step {
    enum action action;
    const struct value *amount;  /* level or pixels; NULL for a step without */
    const struct value *ceiling; /* of a floor, or NULL */
    const struct value *other;   /* a second matte, or NULL */
};

struct matte {
    const struct value *picture;
    const struct step *steps;
    int count;
};

/* A step at one frame. */
struct step_frame {
    enum action action;
    float floor, ceiling;
    double pixels;
    int ask;             /* the second matte; 0: none (0 is the first matte) */
    int32_t reach;       /* how far it looks */
    int32_t reach_after; /* how far the steps behind it look, summed */
};

struct matte_frame {
    int32_t reach; /* of all steps */
    int count;
    struct step_frame steps[];
};

#define LEVEL                                                                                                          \
    {                                                                                                                  \
        .label = "N", .type = VALUE_NUMBER, .may_change = true, .unit = UNIT_FRACTION, .limited = true, .least = 0,    \
        .most = 1                                                                                                      \
    }
#define PIXELS                                                                                                         \
    {                                                                                                                  \
        .label = "N", .type = VALUE_NUMBER, .may_change = true, .unit = UNIT_PX, .limited = true, .least = 0,          \
        .most = 200                                                                                                    \
    }
#define VALUES(...)                                                                                                    \
    (const struct value_spec[])                                                                                        \
    {                                                                                                                  \
        __VA_ARGS__,                                                                                                   \
        {                                                                                                              \
            .label = NULL                                                                                              \
        }                                                                                                              \
    }
#define NAME                                                                                                           \
    {                                                                                                                  \
        .label = "NAME", .type = VALUE_PICTURE                                                                         \
    }

static const struct tag_spec floor_tags[] = {
    { .word = "ceiling", .help = "what is above becomes 1", .values = VALUES(LEVEL) },
    { .word = NULL },
};

static const struct setting_spec head = { .values = VALUES(NAME) };

/* In the order of enum action. */
static const struct setting_spec settings[] = {
    { .word = "floor",
      .help = "what is below becomes 0; the rest is stretched up to the ceiling, or to 1; the result stays in 0 ... 1",
      .values = VALUES(LEVEL),
      .tags = floor_tags,
      .repeats = true },
    { .word = "ceiling",
      .help = "what is above becomes 1, the rest is stretched",
      .values = VALUES(LEVEL),
      .repeats = true },
    { .word = "invert", .help = "1 minus the matte", .repeats = true },
    { .word = "choke",
      .help = "moves the edge inwards, at right angles to it; fractions of a pixel count, soft edges stay soft",
      .values = VALUES(PIXELS),
      .repeats = true },
    { .word = "spread",
      .help = "moves the edge outwards, as choke does inwards",
      .values = VALUES(PIXELS),
      .repeats = true },
    { .word = "soften",
      .help = "blurs by a Gaussian of this standard deviation: a hard edge becomes about four times as wide",
      .values = VALUES(PIXELS),
      .repeats = true },
    { .word = "minus", .help = "takes another matte away: a x (1 - b)", .values = VALUES(NAME), .repeats = true },
    { .word = "union", .help = "joins another matte: a + b - a x b", .values = VALUES(NAME), .repeats = true },
    { .word = "within",
      .help = "keeps what lies within another matte: a x b",
      .values = VALUES(NAME),
      .repeats = true },
    { .help = NULL },
};

static void read_step(const struct setting *setting, struct step *step)
{
    step->action = (enum action)(setting->spec - settings);
    const struct value *value = setting_value(setting, 0);
    if (step->action >= MATTE_MINUS)
        step->other = value;
    else
        step->amount = value;
    step->ceiling = setting_tag_value(setting, "ceiling", 0);
}

static enum passel_status matte_make(const struct block *block, const struct recipe *recipe, const struct shot *shot,
                                     struct arena *arena, void **self, struct passel_error *error)
{
    (void)shot;
    struct matte *matte = arena_take(arena, sizeof *matte);
    struct step *steps = arena_array(arena, (size_t)block->setting_count + 1, sizeof *steps);
    if (matte == NULL || steps == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    matte->picture = setting_value(block->head, 0);
    matte->steps = steps;
    int asks = 1;
    for (int i = 0; i < block->setting_count; i++) {
        struct step *step = &steps[matte->count++];
        read_step(&block->settings[i], step);
        asks += step->other != NULL;
        if (asks > ASK_LIMIT)
            return recipe_error(recipe, block->settings[i].where, PASSEL_BAD_RECIPE, error,
                                "a matte block joins at most %d mattes", ASK_LIMIT);
    }
    *self = matte;
    return PASSEL_OK;
}

static void step_at(const struct step *step, const struct at *at, struct step_frame *now)
{
    *now = (struct step_frame){ .action = step->action, .ceiling = 1 };
    const double amount = step->amount != NULL ? value_at(step->amount, 0, at->frame, at->scale) : 0;
    switch (step->action) {
    case MATTE_FLOOR:
        now->floor = (float)amount;
        if (step->ceiling != NULL)
            now->ceiling = (float)value_at(step->ceiling, 0, at->frame, at->scale);
        break;
    case MATTE_CEILING:
        now->ceiling = (float)amount;
        break;
    case MATTE_CHOKE:
    case MATTE_SPREAD:
        now->pixels = amount;
        now->reach = disc_reach(amount);
        break;
    case MATTE_SOFTEN:
        now->pixels = amount;
        now->reach = blur_radius(amount);
        break;
    default:
        break;
    }
}

static enum passel_status matte_open(const struct at *at, void **state, struct passel_error *error)
{
    const struct matte *matte = at->self;
    struct matte_frame *frame = memory_zeros(1, sizeof *frame + (size_t)matte->count * sizeof *frame->steps);
    if (frame == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    frame->count = matte->count;
    int asks = 1;
    for (int i = 0; i < matte->count; i++) {
        step_at(&matte->steps[i], at, &frame->steps[i]);
        if (matte->steps[i].other != NULL)
            frame->steps[i].ask = asks++;
    }
    for (int i = matte->count - 1; i >= 0; i--) {
        frame->steps[i].reach_after = frame->reach;
        frame->reach += frame->steps[i].reach;
    }
    *state = frame;
    return PASSEL_OK;
}

static void matte_close(void *state, struct text *notes)
{
    (void)notes;
    memory_free(state);
}

static enum passel_status matte_asks(const struct at *at, struct ask_list *list, struct passel_error *error)
{
    (void)error;
    const struct matte *matte = at->self;
    alpha_ask(list, matte->picture, at->frame);
    for (int i = 0; i < matte->count; i++) {
        if (matte->steps[i].other != NULL)
            alpha_ask(list, matte->steps[i].other, at->frame);
    }
    return PASSEL_OK;
}

static enum passel_status matte_info(const struct at *at, struct picture_info *info, struct passel_error *error)
{
    const struct matte *matte = at->self;
    const struct matte_frame *frame = at->state;
    RETURN_IF_ERROR(alpha_check(at, 0, matte->picture, error));
    for (int i = 0; i < matte->count; i++) {
        if (matte->steps[i].other != NULL)
            RETURN_IF_ERROR(alpha_check(at, frame->steps[i].ask, matte->steps[i].other, error));
    }
    *info = (struct picture_info){ .display = at->inputs[0].display,
                                   .data = rect_join(at->inputs[0].display, at->inputs[0].data),
                                   .planes = HAS_A,
                                   .chunk_rows = at->inputs[0].chunk_rows,
                                   .pixel_aspect = at->inputs[0].pixel_aspect };
    return PASSEL_OK;
}

static struct rect step_area(const struct at *at, struct rect want, int32_t reach)
{
    return rect_cut(rect_grow(want, reach, reach), at->info->data);
}

static struct rect matte_reach(const struct at *at, int ask, struct rect want)
{
    const struct matte_frame *frame = at->state;
    for (int i = 0; i < frame->count; i++) {
        if (ask > 0 && frame->steps[i].ask == ask)
            return step_area(at, want, frame->steps[i].reach_after);
    }
    return step_area(at, want, frame->reach);
}

/* ---- pixels ------------------------------------------------------------------------------------------------------ */

static void row_levels(float *restrict row, float least, float most, size_t count)
{
    const float width = most - least > 1e-30f ? most - least : 1e-30f;
    for (size_t x = 0; x < count; x++)
        row[x] = alpha_clamped((row[x] - least) / width);
}

static void row_invert(float *restrict row, size_t count)
{
    for (size_t x = 0; x < count; x++)
        row[x] = 1 - row[x];
}

static void row_minus(float *restrict row, const float *restrict other, size_t count)
{
    for (size_t x = 0; x < count; x++)
        row[x] *= 1 - alpha_clamped(other[x]);
}

static void row_union(float *restrict row, const float *restrict other, size_t count)
{
    for (size_t x = 0; x < count; x++) {
        const float b = alpha_clamped(other[x]);
        row[x] = b + (1 - b) * row[x];
    }
}

static void row_within(float *restrict row, const float *restrict other, size_t count)
{
    for (size_t x = 0; x < count; x++)
        row[x] *= alpha_clamped(other[x]);
}

static void step_row(const struct step_frame *step, float *row, const float *other, size_t count)
{
    switch (step->action) {
    case MATTE_INVERT:
        row_invert(row, count);
        break;
    case MATTE_MINUS:
        row_minus(row, other, count);
        break;
    case MATTE_UNION:
        row_union(row, other, count);
        break;
    case MATTE_WITHIN:
        row_within(row, other, count);
        break;
    default:
        row_levels(row, step->floor, step->ceiling, count);
        break;
    }
}

static void step_pixels(const struct step_frame *step, const struct picture *matte, const struct picture *in)
{
    const struct picture *other = step->ask > 0 ? &in[step->ask] : NULL;
    for (int32_t y = matte->area.y0; y < matte->area.y1; y++)
        step_row(step, picture_row(matte, PLANE_A, y),
                 other != NULL ? picture_row(other, PLANE_A, y) + (matte->area.x0 - other->area.x0) : NULL,
                 (size_t)rect_width(matte->area));
}

/* A step that looks around: replaces *matte by the smaller picture that it makes. */
static enum passel_status step_around(const struct step_frame *step, struct rect area, struct picture *matte,
                                      struct arena *scratch, struct passel_error *error)
{
    struct picture made;
    RETURN_IF_ERROR(arena_picture(scratch, area, HAS_A, &made, error));
    if (step->action == MATTE_SOFTEN)
        RETURN_IF_ERROR(blur_plane(&made, matte, PLANE_A, step->pixels, scratch, error));
    else
        RETURN_IF_ERROR(disc_plane(&made, matte, PLANE_A, step->action == MATTE_CHOKE ? DISC_LEAST : DISC_LARGEST,
                                   step->pixels, scratch, error));
    *matte = made;
    return PASSEL_OK;
}

static enum passel_status matte_fill(const struct at *at, const struct picture *in, const struct picture *out,
                                     struct arena *scratch, struct passel_error *error)
{
    const struct matte_frame *frame = at->state;
    struct picture matte;
    RETURN_IF_ERROR(arena_picture(scratch, step_area(at, out->area, frame->reach), HAS_A, &matte, error));
    picture_copy(&matte, &in[0]);
    for (int i = 0; i < frame->count; i++) {
        const struct step_frame *step = &frame->steps[i];
        if (step->action < MATTE_CHOKE || step->action > MATTE_SOFTEN)
            step_pixels(step, &matte, in);
        else if (step->pixels > 0)
            RETURN_IF_ERROR(step_around(step, step_area(at, out->area, step->reach_after), &matte, scratch, error));
    }
    picture_copy(out, &matte);
    return PASSEL_OK;
}

const struct kind kind_matte = {
    .schema = { .name = "matte",
                .summary = "A matte, worked on step by step.",
                .notes =
                    "The head names a matte, or a picture whose alpha is used. Steps are done in the order of the "
                    "lines and may stand more than once. A second matte is clamped to 0 ... 1 where it multiplies. "
                    "At the border of the frame the edge is held.",
                .example = "edge = matte cut\n"
                           "  floor   2%  ceiling 97%\n"
                           "  choke   0.7 px\n"
                           "  soften  1 px\n"
                           "  minus   rigging\n",
                .form = HEAD_NAMED,
                .makes = MAKES_PICTURE,
                .head = &head,
                .settings = settings },
    .make = matte_make,
    .open = matte_open,
    .close = matte_close,
    .asks = matte_asks,
    .info = matte_info,
    .reach = matte_reach,
    .fill = matte_fill,
};
