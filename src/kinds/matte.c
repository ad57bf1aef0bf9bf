/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The kind `matte`: steps that work on a matte, in the order of the lines.
 *
 * The steps act on the field: the display window of the first matte and all of its data. Outside its data a matte is 0
 * within the field; where the field ends its edge is held, so a frame border is never taken for an edge of the matte.
 */
#include <math.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "kinds/alpha_input.h"
#include "kinds/arena_picture.h"
#include "kinds/kinds.h"
#include "kinds/matte_steady.h"
#include "kinds/matte_steps.h"

#define STEADY_MOST 12 /* frames to either side */

struct step {
    enum matte_action action;
    const struct setting *setting;
    const struct value *amount; /* level, points, pixels or frames; NULL for a step without */
    const struct value *other;  /* a second matte, or the guide of `resolve`; or NULL */
};

struct matte {
    const struct value *picture;
    const struct step *steps;
    int count;
    int whole;  /* steps up to the last one that must see the whole matte; the analysis does these */
    int steady; /* frames to either side of the first step, or 0 */
};

struct matte_frame {
    int32_t reach; /* of all steps that `fill` does */
    int count;
    struct matte_step steps[];
};

#define LEVEL                                                                                                          \
    {                                                                                                                  \
        .label = "N", .type = VALUE_NUMBER, .may_change = true, .unit = UNIT_FRACTION, .limited = true, .least = 0,    \
        .most = 1                                                                                                      \
    }
#define ACROSS                                                                                                         \
    {                                                                                                                  \
        .label = "N", .type = VALUE_NUMBER, .may_change = true, .unit = UNIT_PX, .limited = true, .least = 0,          \
        .most = 4096                                                                                                   \
    }
#define PIXELS                                                                                                         \
    {                                                                                                                  \
        .label = "N", .type = VALUE_NUMBER, .may_change = true, .unit = UNIT_PX, .limited = true, .least = 0,          \
        .most = 200                                                                                                    \
    }
#define NAME                                                                                                           \
    {                                                                                                                  \
        .label = "NAME", .type = VALUE_PICTURE                                                                         \
    }

static const struct tag_spec floor_tags[] = {
    { .word = "ceiling", .help = "what is above becomes 1", .values = VALUE_LIST(LEVEL) },
    { .word = NULL },
};

static const struct tag_spec resolve_tags[] = {
    { .word = "radius",
      .help = "how far to either side of an edge alpha counts as unknown",
      .values = VALUE_LIST(PIXELS) },
    { .word = NULL },
};

static const struct choice response_forms[] = {
    { "smooth", "a smooth curve through the points that never swings beyond them" },
    { NULL, NULL },
};

static const struct setting_spec head = { .values = VALUE_LIST(NAME) };

/* In the order of enum matte_action. */
static const struct setting_spec settings[] = {
    { .word = "floor",
      .help = "what is below becomes 0; the rest is stretched up to the ceiling, or to 1; the result stays in 0 ... 1",
      .values = VALUE_LIST(LEVEL),
      .tags = floor_tags,
      .repeats = true },
    { .word = "ceiling",
      .help = "what is above becomes 1, the rest is stretched",
      .values = VALUE_LIST(LEVEL),
      .repeats = true },
    { .word = "response",
      .help = "a curve from what comes in to what goes out, through points that rise from left to right; before the "
              "first and behind the last it stays level",
      .values = VALUE_LIST({ .label = "IN OUT IN OUT …",
                             .type = VALUE_NUMBER,
                             .may_change = true,
                             .unit = UNIT_FRACTION,
                             .least_count = 4,
                             .most_count = 2 * RESPONSE_POINTS,
                             .limited = true,
                             .least = -1,
                             .most = 2 }),
      .operators = response_forms,
      .repeats = true },
    { .word = "invert", .help = "1 minus the matte", .repeats = true },
    { .word = "choke",
      .help = "moves the edge inwards, at right angles to it; fractions of a pixel count, soft edges stay soft",
      .values = VALUE_LIST(PIXELS),
      .repeats = true },
    { .word = "spread",
      .help = "moves the edge outwards, as choke does inwards",
      .values = VALUE_LIST(PIXELS),
      .repeats = true },
    { .word = "soften",
      .help = "blurs by a Gaussian of this standard deviation: a hard edge becomes about four times as wide",
      .values = VALUE_LIST(PIXELS),
      .repeats = true },
    { .word = "rim",
      .help = "the band along the edge alone, so wide and half of it to either side",
      .values = VALUE_LIST(PIXELS),
      .repeats = true },
    { .word = "holes",
      .help = "fills holes that are less than so wide and high: every part below a level above 50% that lies closed in "
              "is lifted to it, soft rims and all; what touches the border of the frame may go on there and stays",
      .values = VALUE_LIST(ACROSS),
      .repeats = true },
    { .word = "specks",
      .help = "removes what is less than so wide and high and stands alone, as holes fills",
      .values = VALUE_LIST(ACROSS),
      .repeats = true },
    { .word = "steady",
      .help =
          "takes the flicker out of edges: the mean with so many frames before and after, moved to where this frame "
          "has them, wherever they differ by no more than noise; the first step only",
      .values = VALUE_LIST({ .label = "N",
                             .type = VALUE_NUMBER,
                             .unit = UNIT_FRAMES,
                             .limited = true,
                             .least = 0,
                             .most = STEADY_MOST }) },
    { .word = "resolve",
      .help = "finds alpha anew from the colours of a picture, the guide, wherever it is soft or within the radius of "
              "an edge; the rest is taken for certain",
      .values = VALUE_LIST({ .label = "GUIDE", .type = VALUE_PICTURE }),
      .tags = resolve_tags,
      .repeats = true },
    { .word = "minus", .help = "takes another matte away: a x (1 - b)", .values = VALUE_LIST(NAME), .repeats = true },
    { .word = "union", .help = "joins another matte: a + b - a x b", .values = VALUE_LIST(NAME), .repeats = true },
    { .word = "within",
      .help = "keeps what lies within another matte: a x b",
      .values = VALUE_LIST(NAME),
      .repeats = true },
    { .help = NULL },
};

static int number_count(const struct value *value)
{
    return value->track != NULL ? value->track->width : value->curve != NULL ? 1 : value->count;
}

static enum passel_status check_step(const struct recipe *recipe, const struct step *step, int index,
                                     struct passel_error *error)
{
    const struct value *amount = step->amount;
    if (step->action == MATTE_RESPONSE && (number_count(amount) < 4 || number_count(amount) % 2 != 0))
        return recipe_error(recipe, amount->where, PASSEL_BAD_RECIPE, error,
                            "expected an IN and an OUT for each of two points or more, not %d numbers",
                            number_count(amount));
    if (step->action != MATTE_STEADY)
        return PASSEL_OK;
    if (index > 0)
        return recipe_error(recipe, step->setting->where, PASSEL_BAD_RECIPE, error,
                            "steady is the first step: put the ones before it into a matte block of their own, so "
                            "that each frame goes through them once");
    if (amount->numbers[0] != floor(amount->numbers[0]))
        return recipe_error(recipe, amount->where, PASSEL_BAD_RECIPE, error, "expected a whole number of frames");
    return PASSEL_OK;
}

static void read_step(const struct setting *setting, struct step *step)
{
    step->action = (enum matte_action)(setting->spec - settings);
    step->setting = setting;
    const struct value *value = setting_value(setting, 0);
    if (step->action >= MATTE_RESOLVE)
        step->other = value;
    else
        step->amount = value;
    if (step->action == MATTE_RESOLVE)
        step->amount = setting_tag_value(setting, "radius", 0);
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
    int asks = 1 + 2 * STEADY_MOST;
    for (int i = 0; i < block->setting_count; i++) {
        struct step *step = &steps[matte->count++];
        read_step(&block->settings[i], step);
        RETURN_IF_ERROR(check_step(recipe, step, i, error));
        if (matte_step_whole(step->action))
            matte->whole = matte->count;
        if (step->action == MATTE_STEADY)
            matte->steady = (int)step->amount->numbers[0];
        asks += step->other != NULL;
        if (asks > ASK_LIMIT)
            return recipe_error(recipe, block->settings[i].where, PASSEL_BAD_RECIPE, error,
                                "a matte block joins at most %d mattes", ASK_LIMIT - 1 - 2 * STEADY_MOST);
    }
    *self = matte;
    return PASSEL_OK;
}

/* ---- one frame --------------------------------------------------------------------------------------------------- */

static enum passel_status read_response(const struct at *at, const struct step *step, struct response *response,
                                        struct passel_error *error)
{
    response->count = number_count(step->amount) / 2;
    response->smooth = step->setting->operator_index >= 0;
    for (int k = 0; k < response->count; k++) {
        response->in[k] = value_at(step->amount, 2 * k, at->frame, 1);
        response->out[k] = value_at(step->amount, 2 * k + 1, at->frame, 1);
        if (k > 0 && !(response->in[k] > response->in[k - 1]))
            return recipe_error(at->recipe, step->amount->where, PASSEL_BAD_RECIPE, error,
                                "the points of a response go from left to right: IN must rise, and %g follows %g",
                                response->in[k], response->in[k - 1]);
    }
    response_prepare(response);
    return PASSEL_OK;
}

static enum passel_status step_at(const struct step *step, const struct at *at, struct matte_step *now,
                                  struct passel_error *error)
{
    *now = (struct matte_step){ .action = step->action, .ceiling = 1 };
    const double amount = step->amount != NULL ? value_at(step->amount, 0, at->frame, at->scale) : 0;
    const struct value *ceiling = setting_tag_value(step->setting, "ceiling", 0);
    if (step->action == MATTE_RESPONSE)
        return read_response(at, step, &now->response, error);
    if (step->action == MATTE_FLOOR) {
        now->floor = (float)amount;
        if (ceiling != NULL)
            now->ceiling = (float)value_at(ceiling, 0, at->frame, at->scale);
    } else if (step->action == MATTE_CEILING) {
        now->ceiling = (float)amount;
    } else {
        now->pixels = amount;
        now->reach = step->action == MATTE_STEADY ? STEADY_REACH : matte_step_reach(step->action, amount);
    }
    return PASSEL_OK;
}

static void matte_close(void *state, struct text *notes)
{
    (void)notes;
    memory_free(state);
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
        const enum passel_status status = step_at(&matte->steps[i], at, &frame->steps[i], error);
        if (status != PASSEL_OK) {
            memory_free(frame);
            return status;
        }
        if (matte->steps[i].other != NULL)
            frame->steps[i].ask = asks++;
    }
    for (int i = matte->count - 1; i >= matte->whole; i--) {
        frame->steps[i].reach_after = frame->reach;
        frame->reach += frame->steps[i].reach;
    }
    *state = frame;
    return PASSEL_OK;
}

/* ---- asks -------------------------------------------------------------------------------------------------------- */

static bool in_shot(const struct shot *shot, int32_t frame)
{
    for (int i = 0; i < shot->frame_count; i++) {
        if (shot->frames[i] == frame)
            return true;
    }
    return false;
}

/* The first matte, the second ones and guides in the order of the steps, and the frames around of the first. */
static void ask_all(const struct at *at, struct ask_list *list, bool whole)
{
    const struct matte *matte = at->self;
    const int first = list->count;
    alpha_ask(list, matte->picture, at->frame);
    for (int i = 0; i < matte->count; i++) {
        const struct step *step = &matte->steps[i];
        if (step->other == NULL)
            continue;
        const int ask = alpha_ask(list, step->other, at->frame);
        if (step->action == MATTE_RESOLVE && !list->failed)
            list->asks[ask].planes = whole ? HAS_RGB : 0;
    }
    for (int32_t k = -matte->steady; k <= matte->steady; k++) {
        if (k != 0 && in_shot(at->shot, at->frame + k))
            alpha_ask(list, matte->picture, at->frame + k);
    }
    for (int i = first; i < list->count; i++)
        list->asks[i].whole = whole;
}

static enum passel_status matte_asks(const struct at *at, struct ask_list *list, struct passel_error *error)
{
    (void)error;
    ask_all(at, list, false);
    return PASSEL_OK;
}

static enum passel_status matte_info(const struct at *at, struct picture_info *info, struct passel_error *error)
{
    const struct matte *matte = at->self;
    const struct matte_frame *frame = at->state;
    RETURN_IF_ERROR(alpha_check(at, 0, matte->picture, error));
    for (int i = 0; i < matte->count; i++) {
        if (matte->steps[i].other != NULL && matte->steps[i].action != MATTE_RESOLVE)
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

/* What the analysis has read is not needed again. */
static struct rect matte_reach(const struct at *at, int ask, struct rect want)
{
    const struct matte *matte = at->self;
    const struct matte_frame *frame = at->state;
    for (int i = 0; i < frame->count; i++) {
        if (ask > 0 && frame->steps[i].ask == ask)
            return i < matte->whole ? rect_of(0, 0, 0, 0) : step_area(at, want, frame->steps[i].reach_after);
    }
    return matte->whole > 0 ? rect_of(0, 0, 0, 0) : step_area(at, want, frame->reach);
}

/* ---- pixels ------------------------------------------------------------------------------------------------------ */

/* The part of a picture over `area`, nothing where it is not; memory only when it does not cover it. */
static enum passel_status over_area(const struct picture *from, struct rect area, unsigned planes,
                                    struct picture *picture, struct arena *scratch, struct passel_error *error)
{
    if (rect_holds(from->area, area) && !rect_empty(area)) {
        *picture = picture_part(from, area);
        return PASSEL_OK;
    }
    RETURN_IF_ERROR(arena_picture(scratch, area, planes, picture, error));
    picture_copy(picture, from);
    return PASSEL_OK;
}

static int second_mattes(const struct matte *matte)
{
    int count = 0;
    for (int i = 0; i < matte->count; i++)
        count += matte->steps[i].other != NULL;
    return count;
}

/* Replaces *plane by the mean over the frames; `in` are all inputs. */
static enum passel_status run_steady(const struct matte *matte, const struct picture *in, int count, struct rect area,
                                     struct picture *plane, struct arena *scratch, struct passel_error *error)
{
    struct picture made, around[2 * STEADY_MOST];
    const int first = 1 + second_mattes(matte), frames = count - first;
    RETURN_IF_ERROR(arena_picture(scratch, area, HAS_A, &made, error));
    for (int k = 0; k < frames; k++)
        RETURN_IF_ERROR(over_area(&in[first + k], plane->area, HAS_A, &around[k], scratch, error));
    steady_plane(&made, plane, around, frames);
    *plane = made;
    return PASSEL_OK;
}

/* Steps from … to - 1 on *plane, which becomes what is left of it after their reach. `want` is what is wanted in the
 * end of all that `fill` does; the analysis wants everything. */
static enum passel_status run_steps(const struct at *at, int from, int to, struct rect want, const struct picture *in,
                                    int count, struct picture *plane, struct arena *scratch, struct passel_error *error)
{
    const struct matte_frame *frame = at->state;
    for (int i = from; i < to; i++) {
        const struct matte_step *step = &frame->steps[i];
        const struct rect area = step_area(at, want, step->reach_after);
        struct picture other = { .stride = 0 };
        if (step->action == MATTE_STEADY) {
            RETURN_IF_ERROR(run_steady(at->self, in, count, area, plane, scratch, error));
            continue;
        }
        if (step->ask > 0)
            RETURN_IF_ERROR(over_area(&in[step->ask], plane->area, step->action == MATTE_RESOLVE ? HAS_RGB : HAS_A,
                                      &other, scratch, error));
        RETURN_IF_ERROR(matte_step_run(step, area, plane, step->ask > 0 ? &other : NULL, scratch, error));
    }
    return PASSEL_OK;
}

static enum passel_status matte_fill(const struct at *at, const struct picture *in, const struct picture *out,
                                     struct arena *scratch, struct passel_error *error)
{
    const struct matte *matte = at->self;
    const struct matte_frame *frame = at->state;
    struct picture plane;
    RETURN_IF_ERROR(arena_picture(scratch, step_area(at, out->area, frame->reach), HAS_A, &plane, error));
    picture_copy(&plane, matte->whole > 0 ? at->found : &in[0]);
    RETURN_IF_ERROR(run_steps(at, matte->whole, matte->count, out->area, in, at->ask_count, &plane, scratch, error));
    picture_copy(out, &plane);
    return PASSEL_OK;
}

/* ---- steps on the whole matte ------------------------------------------------------------------------------------ */

static enum passel_status whole_asks(const struct at *at, struct ask_list *list, struct passel_error *error)
{
    const struct matte *matte = at->self;
    (void)error;
    if (matte->whole > 0)
        ask_all(at, list, true);
    return PASSEL_OK;
}

static void whole_drop(void *found)
{
    struct picture *picture = found;
    if (picture != NULL)
        picture_release(picture);
    memory_free(picture);
}

static enum passel_status whole_add(const struct at *at, int round, const struct picture *pictures,
                                    const struct picture_info *infos, int count, void **work,
                                    struct passel_error *error)
{
    const struct matte *matte = at->self;
    const struct rect field = at->info->data;
    struct picture *kept = memory_zeros(1, sizeof *kept), plane;
    struct arena scratch;
    (void)round;
    (void)infos;
    if (kept == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    *work = kept;
    RETURN_IF_ERROR(picture_new(kept, field, HAS_A, error));
    arena_init(&scratch);
    enum passel_status status = arena_picture(&scratch, field, HAS_A, &plane, error);
    if (status == PASSEL_OK) {
        picture_copy(&plane, &pictures[0]);
        status = run_steps(at, 0, matte->whole, field, pictures, count, &plane, &scratch, error);
    }
    if (status == PASSEL_OK)
        picture_copy(kept, &plane);
    arena_release(&scratch);
    return status;
}

static enum passel_status whole_finish(const struct at *at, void *work, void **found, size_t *bytes,
                                       struct passel_error *error)
{
    struct picture *picture = work, *kept = memory_zeros(1, sizeof *kept);
    (void)at;
    if (kept == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    *kept = *picture;
    *picture = (struct picture){ .owned = NULL };
    *found = kept;
    *bytes = sizeof *kept + picture_bytes(kept->area, HAS_A);
    return PASSEL_OK;
}

static const struct analysis whole_analysis = {
    .settings_matter = true,
    .asks = whole_asks,
    .add = whole_add,
    .finish = whole_finish,
    .drop_work = whole_drop,
    .drop_found = whole_drop,
};

const struct kind kind_matte = {
    .schema = { .name = "matte",
                .summary = "A matte, worked on step by step.",
                .notes =
                    "The head names a matte, or a picture whose alpha is used. Steps are done in the order of the "
                    "lines and may stand more than once. A second matte is clamped to 0 ... 1 where it multiplies. "
                    "At the border of the frame the edge is held. `holes`, `specks` and `resolve` look at the whole "
                    "matte: "
                    "put them first where you can.",
                .example = "edge = matte cut\n"
                           "  floor   2%  ceiling 97%\n"
                           "  choke   0.7 px\n"
                           "  soften  1 px\n"
                           "  minus   rigging\n",
                .form = HEAD_NAMED,
                .makes = MAKES_PICTURE,
                .head = &head,
                .settings = settings },
    .analysis = &whole_analysis,
    .make = matte_make,
    .open = matte_open,
    .close = matte_close,
    .asks = matte_asks,
    .info = matte_info,
    .reach = matte_reach,
    .fill = matte_fill,
};
