/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The kind `time`: what another block shows, cut, re-timed and made even. Every shot frame is a position in a clip
 * (time_clip.h), a position is one frame or a few with weights, and these are asked for: nothing here reads files.
 */
#include <math.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "kinds/arena_picture.h"
#include "kinds/even_light.h"
#include "kinds/kinds.h"
#include "kinds/pass.h"
#include "kinds/shot.h"
#include "kinds/time_between.h"
#include "kinds/time_clip.h"

enum between { BETWEEN_NEAREST, BETWEEN_BLEND, BETWEEN_FLOW };

enum {
    TAKEN_LIMIT = 4,      /* two moments of two frames */
    EVEN_FRAMES = 33,     /* that stand for the whole clip */
    EVEN_OVER_LIMIT = 61, /* four times as many fit into one list of asks */
    PICTURE_LIGHT = -1    /* a picture of its own, not for recipes: the light of what is read, cell by cell */
};

struct time {
    const struct value *picture;
    const struct value *speed; /* or NULL: real_speed */
    double real_speed;
    double start;
    struct clip clip;
    struct span extent; /* the line that says how much there is to show */
    enum between between;
    bool even;
    enum even_light even_mode;
    int32_t even_over; /* 0: the whole clip */
};

/* One input, with its share in the picture. */
struct taken {
    int32_t frame;
    double weight;
    int part;
};

struct time_state {
    struct clip_moment moments[2];
    int moment_count; /* 0: nothing is shown, and the one input is there for its size */
    struct taken taken[TAKEN_LIMIT];
    int taken_count;
};

struct time_found {
    struct gain_field gains[TAKEN_LIMIT];
    struct motion *motions[2]; /* per moment, or NULL */
};

static const struct choice beyond_choices[] = {
    [CLIP_ERROR] = { "error", "a recipe whose shot goes there is refused" },
    [CLIP_FREEZE] = { "freeze", "the first or last frame stands still" },
    [CLIP_NOTHING] = { "nothing", "the picture is empty there" },
    [CLIP_REPEAT] = { "repeat", "it begins again" },
    [CLIP_TO_AND_FRO] = { "to-and-fro", "it runs backwards, then forwards again" },
    { NULL, NULL },
};

static const struct choice between_choices[] = {
    [BETWEEN_NEAREST] = { "nearest", "the nearest frame stands; half way the earlier one" },
    [BETWEEN_BLEND] = { "blend", "the two frames are mixed in linear light" },
    [BETWEEN_FLOW] = { "flow",
                       "what moves is found in both frames and put where it was in between; where that is not certain "
                       "they are mixed" },
    { NULL, NULL },
};

static const struct choice speed_choices[] = {
    { "real", "the true pace of the action: the pass's rate divided by the shot's" },
    { NULL, NULL },
};

static const struct choice even_choices[] = {
    { "areas", "the gain may differ slowly over the frame: several lamps that flicker apart" },
    { "bands", "the gain may differ from row to row: a filmed display whose bands roll" },
    { NULL, NULL },
};

#define ONE_CHOICE(name, list)                                                                                         \
    (const struct value_spec[])                                                                                        \
    {                                                                                                                  \
        { .label = name, .type = VALUE_CHOICE, .choices = list },                                                      \
        {                                                                                                              \
            .label = NULL                                                                                              \
        }                                                                                                              \
    }
#define ONE_RANGE(name)                                                                                                \
    (const struct value_spec[])                                                                                        \
    {                                                                                                                  \
        { .label = name, .type = VALUE_RANGE },                                                                        \
        {                                                                                                              \
            .label = NULL                                                                                              \
        }                                                                                                              \
    }

static const struct setting_spec head = {
    .values = (const struct value_spec[]){ { .label = "NAME", .type = VALUE_PICTURE }, { .label = NULL } },
};

static const struct setting_spec settings[] = {
    { .word = "use",
      .help = "which frames of what is read make the clip; parts are joined with a cut",
      .values = ONE_RANGE("A-B"),
      .tags =
          (const struct tag_spec[]){
              { .word = "then", .help = "the next part", .values = ONE_RANGE("C-D"), .repeats = true },
              { .word = NULL } } },
    { .word = "dissolve",
      .help = "how many frames neighbouring parts share, mixed in linear light; each joint makes the clip that much "
              "shorter",
      .values =
          (const struct value_spec[]){
              { .label = "N", .type = VALUE_INTEGER, .unit = UNIT_FRAMES, .limited = true, .least = 1, .most = 100000 },
              { .label = NULL } } },
    { .word = "reverse", .help = "the clip runs backwards, its last frame first" },
    { .word = "start",
      .help = "the shot frame that shows the first frame of the clip; the shot's first frame when nothing is said",
      .values = (const struct value_spec[]){ { .label = "FRAME", .type = VALUE_INTEGER }, { .label = NULL } } },
    { .word = "speed",
      .help = "frames of the clip per shot frame; a curve (1 is 100%) is summed up from the start on",
      .values = (const struct value_spec[]){ { .label = "N",
                                               .type = VALUE_NUMBER,
                                               .may_change = true,
                                               .unit = UNIT_PERCENT,
                                               .limited = true,
                                               .least = -10000,
                                               .most = 10000 },
                                             { .label = NULL } },
      .standard = "100%" },
    { .word = "speed",
      .help = "real: as fast as it was; the pass that is read says its rate",
      .values = ONE_CHOICE("WORD", speed_choices) },
    { .word = "beyond",
      .help = "what is shown before the clip's first and after its last frame",
      .values = ONE_CHOICE("WHAT", beyond_choices),
      .standard = "error" },
    { .word = "between",
      .help = "what is shown at a moment between two frames",
      .values = ONE_CHOICE("HOW", between_choices),
      .standard = "nearest" },
    { .word = "even-light",
      .help = "flicker is taken out: each frame is brought to the common brightness of the clip (of 33 frames spread "
              "over it when it is longer)",
      .tags =
          (const struct tag_spec[]){
              { .word = "over",
                .help = "only so many frames around each count, so that a slow change of light stays",
                .values = (const struct value_spec[]){ { .label = "N",
                                                         .type = VALUE_INTEGER,
                                                         .unit = UNIT_FRAMES,
                                                         .limited = true,
                                                         .least = 3,
                                                         .most = EVEN_OVER_LIMIT },
                                                       { .label = NULL } } },
              { .word = NULL } },
      .operators = even_choices },
    { .help = NULL },
};

/* ---- make ---------------------------------------------------------------------------------------------------------
 */

static enum passel_status read_parts(struct time *time, const struct block *block, struct arena *arena,
                                     struct passel_error *error)
{
    const struct setting *use = block_setting(block, "use");
    if (use == NULL)
        return PASSEL_OK;
    const int count = use->tag_count + 1;
    const bool reverse = block_setting(block, "reverse") != NULL;
    struct clip_part *parts = arena_array(arena, (size_t)count, sizeof *parts);
    if (parts == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int i = 0; i < count; i++) {
        const struct value *range = i == 0 ? setting_value(use, 0) : &use->tags[i - 1].values[0];
        if (reverse)
            parts[count - 1 - i] = (struct clip_part){ range->last, range->first };
        else
            parts[i] = (struct clip_part){ range->first, range->last };
    }
    time->clip.parts = parts;
    time->clip.count = count;
    time->extent = use->where;
    return PASSEL_OK;
}

/* What only a clip with ends can have. */
static enum passel_status refuse_endless(const struct block *block, const struct recipe *recipe,
                                         struct passel_error *error)
{
    static const char *const words[] = { "reverse", "beyond", "dissolve" };
    for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
        const struct setting *setting = block_setting(block, words[i]);
        if (setting != NULL && setting->given)
            return recipe_error(recipe, setting->where, PASSEL_BAD_RECIPE, error,
                                "`%s` needs `use A-B`, which says where the clip begins and ends", words[i]);
    }
    return PASSEL_OK;
}

static enum passel_status read_dissolve(struct time *time, const struct block *block, const struct recipe *recipe,
                                        struct passel_error *error)
{
    const struct setting *setting = block_setting(block, "dissolve");
    const struct clip *clip = &time->clip;
    if (setting == NULL)
        return PASSEL_OK;
    if (clip->count < 2)
        return recipe_error(recipe, setting->where, PASSEL_BAD_RECIPE, error,
                            "a dissolve joins parts: `use A-B then C-D`");
    const int32_t shared = (int32_t)setting_value(setting, 0)->numbers[0];
    for (int i = 0; i < clip->count; i++) {
        const int32_t length = clip_part_length(clip->parts[i]);
        const bool inner = i > 0 && i + 1 < clip->count;
        if (inner ? 2 * (int64_t)shared >= length : shared > length)
            return recipe_error(recipe, setting->where, PASSEL_BAD_RECIPE, error,
                                "the part of %d %s is too short for a dissolve of %d %s", (int)length,
                                length == 1 ? "frame" : "frames", (int)shared, inner ? "at either end" : "frames");
    }
    time->clip.dissolve = shared;
    return PASSEL_OK;
}

static enum passel_status read_speed(struct time *time, const struct block *block, const struct recipe *recipe,
                                     const struct shot *shot, struct passel_error *error)
{
    const struct setting *setting = block_setting(block, "speed");
    if (setting->given && time->clip.count == 0)
        time->extent = setting->where;
    if (setting_value(setting, 0)->spec->type != VALUE_CHOICE) {
        time->speed = setting_value(setting, 0);
        return PASSEL_OK;
    }
    const struct block *pass = NULL;
    const double rate = pass_rate(time->picture->block, &pass);
    if (pass == NULL)
        return recipe_error(recipe, setting->where, PASSEL_BAD_RECIPE, error,
                            "`speed real` needs a pass with a rate, and `%s` reads none", time->picture->text);
    if (rate <= 0)
        return recipe_error(recipe, setting->where, PASSEL_BAD_RECIPE, error,
                            "`speed real` needs to know how fast `%s` was filmed: give it a line `rate 120`",
                            pass->name);
    time->real_speed = rate / shot->rate;
    return PASSEL_OK;
}

static void read_even_light(struct time *time, const struct block *block)
{
    const struct setting *setting = block_setting(block, "even-light");
    const struct value *over = setting_tag_value(setting, "over", 0);
    time->even = setting != NULL;
    if (setting != NULL && setting->operator_index >= 0)
        time->even_mode = setting->operator_index == 0 ? EVEN_AREAS : EVEN_BANDS;
    if (over != NULL)
        time->even_over = (int32_t)over->numbers[0];
}

static double position_at(const struct time *time, int32_t frame)
{
    if (time->speed == NULL)
        return time->real_speed * (frame - time->start);
    return clip_distance(time->speed, time->start, frame);
}

static enum clip_answer moments_at(const struct time *time, int32_t frame, struct clip_moment moments[2], int *count)
{
    return clip_at(&time->clip, position_at(time, frame), time->between == BETWEEN_NEAREST, moments, count);
}

static enum passel_status runs_off(const struct time *time, const struct recipe *recipe, int32_t frame,
                                   struct passel_error *error)
{
    const double position = position_at(time, frame);
    if (time->clip.count == 0)
        return recipe_error(recipe, time->extent, PASSEL_BAD_RECIPE, error,
                            "this speed leads out of all frame numbers at shot frame %d", (int)frame);
    return recipe_error(recipe, time->extent, PASSEL_BAD_RECIPE, error,
                        "the clip has %lld frames, counted from 0, and shot frame %d asks for %.6g; `beyond freeze`, "
                        "`nothing`, `repeat` or `to-and-fro` says what is shown there",
                        (long long)clip_length(&time->clip), (int)frame, position);
}

static enum passel_status check_extent(const struct time *time, const struct recipe *recipe, const struct shot *shot,
                                       struct passel_error *error)
{
    for (int i = 0; i < shot->frame_count; i++) {
        struct clip_moment moments[2];
        int count;
        if (moments_at(time, shot->frames[i], moments, &count) == CLIP_RUNS_OFF)
            return runs_off(time, recipe, shot->frames[i], error);
    }
    return PASSEL_OK;
}

static enum passel_status time_make(const struct block *block, const struct recipe *recipe, const struct shot *shot,
                                    struct arena *arena, void **self, struct passel_error *error)
{
    struct time *time = arena_take(arena, sizeof *time);
    if (time == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    const struct value *start = setting_value(block_setting(block, "start"), 0);
    time->picture = setting_value(block->head, 0);
    time->start = start != NULL ? start->numbers[0] : shot->frames[0];
    time->extent = block->where;
    time->clip.origin = shot->frames[0];
    time->clip.beyond = (enum clip_beyond)setting_value(block_setting(block, "beyond"), 0)->choice;
    time->between = (enum between)setting_value(block_setting(block, "between"), 0)->choice;
    read_even_light(time, block);
    RETURN_IF_ERROR(read_parts(time, block, arena, error));
    if (time->clip.count == 0)
        RETURN_IF_ERROR(refuse_endless(block, recipe, error));
    RETURN_IF_ERROR(read_dissolve(time, block, recipe, error));
    RETURN_IF_ERROR(read_speed(time, block, recipe, shot, error));
    RETURN_IF_ERROR(check_extent(time, recipe, shot, error));
    *self = time;
    return PASSEL_OK;
}

/* ---- which frames -------------------------------------------------------------------------------------------------
 */

static void take_frame(struct time_state *state, int32_t frame, double weight, int part)
{
    state->taken[state->taken_count++] = (struct taken){ frame, weight, part };
}

static enum passel_status find_taken(const struct at *at, struct time_state *state, struct passel_error *error)
{
    const struct time *time = at->self;
    switch (moments_at(time, at->frame, state->moments, &state->moment_count)) {
    case CLIP_RUNS_OFF:
        return runs_off(time, at->recipe, at->frame, error);
    case CLIP_SHOWS_NOTHING:
        take_frame(state, time->clip.parts[0].first, 0, 0);
        return PASSEL_OK;
    default:
        break;
    }
    for (int i = 0; i < state->moment_count; i++) {
        const struct clip_moment *moment = &state->moments[i];
        take_frame(state, moment->frame, moment->weight * (1 - moment->next_share), moment->part);
        if (moment->next_share > 0)
            take_frame(state, moment->next, moment->weight * moment->next_share, moment->part);
    }
    return PASSEL_OK;
}

static enum passel_status time_open(const struct at *at, void **opened, struct passel_error *error)
{
    struct time_state *state = memory_zeros(1, sizeof *state);
    if (state == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    enum passel_status status = PASSEL_OK;
    if (at->picture == PICTURE_LIGHT)
        take_frame(state, at->frame, 1, 0);
    else
        status = find_taken(at, state, error);
    if (status != PASSEL_OK)
        memory_free(state);
    else
        *opened = state;
    return status;
}

static void time_close(void *state, struct text *notes)
{
    (void)notes;
    memory_free(state);
}

/* The shares of several inputs follow from the frame, not from the settings at it. */
static bool time_by_frame(const struct at *at)
{
    const struct time_state *state = at->state;
    return state->taken_count > 1 || state->moment_count == 0;
}

static bool is_flow(const struct at *at, int moment)
{
    const struct time *time = at->self;
    const struct time_state *state = at->state;
    return time->between == BETWEEN_FLOW && state->moments[moment].next_share > 0;
}

static enum passel_status time_asks(const struct at *at, struct ask_list *list, struct passel_error *error)
{
    (void)error;
    const struct time *time = at->self;
    const struct time_state *state = at->state;
    for (int i = 0; i < state->taken_count; i++)
        ask_value(list, time->picture, state->taken[i].frame);
    if (list->failed)
        return PASSEL_OK;
    if (at->picture == PICTURE_LIGHT)
        list->asks[0].planes = HAS_RGB;
    for (int m = 0, i = 0; m<state->moment_count; i += state->moments[m++].next_share> 0 ? 2 : 1) {
        if (is_flow(at, m))
            list->asks[i].whole = list->asks[i + 1].whole = true;
    }
    return PASSEL_OK;
}

static struct light_grid grid_of(const struct at *at)
{
    const struct time *time = at->self;
    return light_grid_over(at->inputs[0].display, time->even_mode, at->scale);
}

static enum passel_status time_info(const struct at *at, struct picture_info *info, struct passel_error *error)
{
    (void)error;
    const struct time_state *state = at->state;
    *info = at->inputs[0];
    info->whole = false;
    if (at->picture == PICTURE_LIGHT) {
        const struct light_grid grid = grid_of(at);
        *info = (struct picture_info){ .planes = HAS_A, .chunk_rows = 1, .pixel_aspect = 1 };
        info->display = info->data = rect_of(0, 0, grid.columns, grid.rows);
        return PASSEL_OK;
    }
    if (state->moment_count == 0)
        info->data = (struct rect){ 0 };
    for (int i = 1; i < at->ask_count; i++) {
        info->data = rect_join(info->data, at->inputs[i].data);
        info->planes |= at->inputs[i].planes;
    }
    return PASSEL_OK;
}

static struct rect time_reach(const struct at *at, int ask, struct rect want)
{
    (void)ask;
    if (at->picture != PICTURE_LIGHT)
        return want;
    const struct light_grid grid = grid_of(at);
    return light_grid_pixels(&grid, want);
}

/* ---- even light and motion ----------------------------------------------------------------------------------------
 */

/* The frames that one input is compared with: a range of its part around it, or frames spread over the clip. */
static int even_frames(const struct time *time, const struct shot *shot, const struct taken *taken,
                       int32_t frames[EVEN_OVER_LIMIT])
{
    const struct clip *clip = &time->clip;
    const double shown[2] = { position_at(time, shot->frames[0]),
                              position_at(time, shot->frames[shot->frame_count - 1]) };
    double low = clip->count > 0 ? 0 : clip->origin + floor(fmin(shown[0], shown[1]));
    double high = clip->count > 0 ? (double)clip_length(clip) - 1 : clip->origin + ceil(fmax(shown[0], shown[1]));
    if (time->even_over == 0) {
        const int count = high - low + 1 < EVEN_FRAMES ? (int)(high - low) + 1 : EVEN_FRAMES;
        for (int i = 0; i < count; i++) {
            const double position = count > 1 ? low + floor(i * (high - low) / (count - 1)) : low;
            struct clip_moment moments[2] = { { .frame = (int32_t)position } };
            int shows;
            if (clip->count > 0)
                (void)clip_at(clip, position, true, moments, &shows);
            frames[i] = moments[0].frame;
        }
        return count;
    }
    if (clip->count > 0) {
        const struct clip_part part = clip->parts[taken->part];
        low = part.first < part.last ? part.first : part.last;
        high = part.first < part.last ? part.last : part.first;
    }
    low = fmin(low, taken->frame);
    high = fmax(high, taken->frame);
    const int count = high - low + 1 < time->even_over ? (int)(high - low) + 1 : time->even_over;
    const double first = fmin(fmax(taken->frame - (count - 1) / 2, low), high - count + 1);
    for (int i = 0; i < count; i++)
        frames[i] = (int32_t)first + i;
    return count;
}

static void look_for_light(const struct at *at, struct ask_list *list)
{
    const struct time *time = at->self;
    const struct time_state *state = at->state;
    struct ask ask = { .block = at->block, .picture = PICTURE_LIGHT, .planes = HAS_A };
    for (int i = 0; i < state->taken_count; i++) {
        int32_t frames[EVEN_OVER_LIMIT];
        const int count = even_frames(time, at->shot, &state->taken[i], frames);
        ask.frame = state->taken[i].frame;
        ask_add(list, ask);
        for (int k = 0; k < count; k++) {
            ask.frame = frames[k];
            ask_add(list, ask);
        }
    }
}

/* Round 0 is the light of frames, when it is wanted; the last round the pairs that something moves between. */
static enum passel_status time_looks(const struct at *at, struct ask_list *list, struct passel_error *error)
{
    (void)error;
    const struct time *time = at->self;
    const struct time_state *state = at->state;
    if (state->moment_count == 0)
        return PASSEL_OK;
    if (time->even)
        look_for_light(at, list);
    struct ask ask = { .block = time->picture->block,
                       .picture = time->picture->picture,
                       .planes = HAS_RGB,
                       .whole = true,
                       .round = time->even ? 1 : 0 };
    for (int m = 0; m < state->moment_count; m++) {
        if (!is_flow(at, m))
            continue;
        ask.frame = state->moments[m].frame;
        ask_add(list, ask);
        ask.frame = state->moments[m].next;
        ask_add(list, ask);
    }
    return PASSEL_OK;
}

static enum passel_status add_light(const struct at *at, const struct picture *pictures,
                                    const struct picture_info *infos, struct time_found *found,
                                    struct passel_error *error)
{
    const struct time *time = at->self;
    const struct time_state *state = at->state;
    const struct light_grid grid = grid_of(at);
    for (int i = 0, first = 0; i < state->taken_count; i++) {
        int32_t frames[EVEN_OVER_LIMIT];
        const int others = even_frames(time, at->shot, &state->taken[i], frames);
        for (int k = first; k <= first + others; k++) {
            if (rect_width(infos[k].data) != grid.columns || rect_height(infos[k].data) != grid.rows)
                return recipe_error(at->recipe, time->picture->where, PASSEL_UNSUPPORTED, error,
                                    "`even-light` compares frames of one size, and those of `%s` differ",
                                    time->picture->text);
        }
        RETURN_IF_ERROR(even_light_gain(&grid, time->even_mode, &pictures[first], &pictures[first + 1], others,
                                        &found->gains[i], error));
        first += 1 + others;
    }
    return PASSEL_OK;
}

static enum passel_status add_motion(const struct at *at, const struct picture *pictures,
                                     const struct picture_info *infos, struct time_found *found,
                                     struct passel_error *error)
{
    const struct time *time = at->self;
    const struct time_state *state = at->state;
    for (int m = 0, i = 0, taken = 0; m < state->moment_count; m++) {
        if (is_flow(at, m)) {
            const struct gain_field *gains = time->even ? &found->gains[taken] : NULL;
            RETURN_IF_ERROR(motion_find(&pictures[i], &infos[i], gains, &found->motions[m], error));
            i += 2;
        }
        taken += state->moments[m].next_share > 0 ? 2 : 1;
    }
    return PASSEL_OK;
}

static enum passel_status time_add(const struct at *at, int round, const struct picture *pictures,
                                   const struct picture_info *infos, int count, void **work, struct passel_error *error)
{
    const struct time *time = at->self;
    (void)count;
    if (*work == NULL)
        *work = memory_zeros(1, sizeof(struct time_found));
    if (*work == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    if (time->even && round == 0)
        return add_light(at, pictures, infos, *work, error);
    return add_motion(at, pictures, infos, *work, error);
}

static enum passel_status time_finish(const struct at *at, void *work, void **found, size_t *bytes,
                                      struct passel_error *error)
{
    (void)at;
    struct time_found *made = memory_zeros(1, sizeof *made);
    if (made == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    struct time_found *gathered = work;
    *made = *gathered;
    *gathered = (struct time_found){ 0 };
    *bytes = sizeof *made;
    for (int i = 0; i < TAKEN_LIMIT; i++)
        *bytes += (size_t)made->gains[i].columns * (size_t)made->gains[i].rows * sizeof *made->gains[i].gain;
    for (int m = 0; m < 2; m++)
        *bytes += motion_bytes(made->motions[m]);
    *found = made;
    return PASSEL_OK;
}

static void time_drop(void *dropped)
{
    struct time_found *found = dropped;
    if (found == NULL)
        return;
    for (int i = 0; i < TAKEN_LIMIT; i++)
        memory_free(found->gains[i].gain);
    for (int m = 0; m < 2; m++)
        motion_free(found->motions[m]);
    memory_free(found);
}

static const struct analysis analysis = {
    .asks = time_looks,
    .add = time_add,
    .finish = time_finish,
    .drop_work = time_drop,
    .drop_found = time_drop,
};

/* ---- pixels -------------------------------------------------------------------------------------------------------
 */

/* What is summed: an input, or the picture made between two of them. */
struct share {
    const struct picture *picture;
    double weight;
    const struct gain_field *gain; /* or NULL */
};

enum { RUN = 512 }; /* pixels summed at a time */

static void add_run(double *restrict sums, const float *restrict in, double weight, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        sums[x] += weight * (double)in[x];
}

static void sum_run(const struct share *shares, int count, enum plane plane, int32_t x0, int32_t y, float *out,
                    int32_t width)
{
    double sums[RUN] = { 0 };
    float lit[RUN];
    for (int i = 0; i < count; i++) {
        const float *in = picture_row(shares[i].picture, plane, y) + (x0 - shares[i].picture->area.x0);
        if (shares[i].gain != NULL && plane != PLANE_A) {
            memcpy(lit, in, (size_t)width * sizeof *lit);
            gain_field_row(shares[i].gain, x0, y, width, lit);
            in = lit;
        }
        add_run(sums, in, shares[i].weight, width);
    }
    for (int32_t x = 0; x < width; x++)
        out[x] = (float)sums[x];
}

static void sum_shares(const struct share *shares, int count, const struct picture *out)
{
    for (int p = 0; p < PLANE_COUNT; p++) {
        for (int32_t y = out->area.y0; y < out->area.y1 && out->plane[p] != NULL; y++) {
            float *row = picture_row(out, (enum plane)p, y);
            for (int32_t x = out->area.x0; x < out->area.x1; x += RUN)
                sum_run(shares, count, (enum plane)p, x, y, row + (x - out->area.x0),
                        out->area.x1 - x < RUN ? out->area.x1 - x : RUN);
        }
    }
}

static enum passel_status time_fill(const struct at *at, const struct picture *in, const struct picture *out,
                                    struct arena *scratch, struct passel_error *error)
{
    const struct time *time = at->self;
    const struct time_state *state = at->state;
    const struct time_found *found = at->found;
    struct share shares[TAKEN_LIMIT];
    struct picture between[2];
    int count = 0;
    if (at->picture == PICTURE_LIGHT) {
        const struct light_grid grid = grid_of(at);
        light_grid_measure(&grid, &in[0], out);
        return PASSEL_OK;
    }
    for (int m = 0, i = 0; m < state->moment_count; m++) {
        const int inputs = state->moments[m].next_share > 0 ? 2 : 1;
        const struct gain_field *gains = time->even ? &found->gains[i] : NULL;
        if (is_flow(at, m)) {
            RETURN_IF_ERROR(arena_picture(scratch, out->area, picture_planes(out), &between[m], error));
            motion_between(found->motions[m], &in[i], gains, state->moments[m].next_share, &between[m]);
            shares[count++] = (struct share){ &between[m], state->moments[m].weight, NULL };
        } else {
            for (int k = 0; k < inputs; k++)
                shares[count++] =
                    (struct share){ &in[i + k], state->taken[i + k].weight, gains != NULL ? &gains[k] : NULL };
        }
        i += inputs;
    }
    if (count == 1 && shares[0].weight == 1 && shares[0].gain == NULL)
        picture_copy(out, shares[0].picture);
    else
        sum_shares(shares, count, out);
    return PASSEL_OK;
}

const struct kind kind_time = {
    .schema = { .name = "time",
                .summary = "A clip cut, re-timed and made even.",
                .notes =
                    "`use` and `reverse` count in frames of what is read, `start` and curves in shot frames. The parts "
                    "of `use` make one clip, numbered from 0; a shot frame shows the position (frame - start) x speed "
                    "of it, a speed that changes being summed up. In-betweens never cross a cut: between a part's last "
                    "frame and the cut that frame stands. A dissolve of N frames gives its j-th frame, counted from 0, "
                    "the weight (j + 1) / (N + 1) of the later part. Without `use` the clip has no ends and begins "
                    "with what is read at the shot's first frame; what lies before and after is up to what is read "
                    "(a pass has its own `beyond`).\n\n"
                    "`even-light` takes one gain per frame from how most of the frame got brighter or darker; what "
                    "moves does not count. Light that is in the pass but does not flicker (the room, a lights-off "
                    "pass) should be taken off first.",
                .example = "slow = time sign\n"
                           "  use       1-60 then 90-120\n"
                           "  dissolve  4 frames\n"
                           "  speed     20%\n"
                           "  start     1008\n"
                           "  beyond    freeze\n"
                           "  between   flow\n",
                .form = HEAD_NAMED,
                .makes = MAKES_PICTURE,
                .head = &head,
                .settings = settings },
    .analysis = &analysis,
    .make = time_make,
    .open = time_open,
    .close = time_close,
    .by_frame = time_by_frame,
    .asks = time_asks,
    .info = time_info,
    .reach = time_reach,
    .fill = time_fill,
};
