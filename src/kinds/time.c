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
#include "kinds/time_between.h"
#include "kinds/time_settings.h"

enum {
    TAKEN_LIMIT = 4,   /* two moments of two frames */
    PICTURE_LIGHT = -1 /* a picture of its own, not for recipes: the light of what is read, cell by cell */
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

/* ---- which frames ---------------------------------------------------------------------------------------------- */

static void take_frame(struct time_state *state, int32_t frame, double weight, int part)
{
    state->taken[state->taken_count++] = (struct taken){ frame, weight, part };
}

static enum passel_status find_taken(const struct at *at, struct time_state *state, struct passel_error *error)
{
    const struct time *time = at->self;
    switch (time_moments(time, at->frame, state->moments, &state->moment_count)) {
    case CLIP_RUNS_OFF:
        return time_runs_off(time, at->recipe, at->frame, error);
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

/* ---- even light and motion ------------------------------------------------------------------------------------- */

/* The frames that one input is compared with: a range of its part around it, or frames spread over the clip. */
static int even_frames(const struct time *time, const struct shot *shot, const struct taken *taken,
                       int32_t frames[EVEN_LIMIT])
{
    const struct clip *clip = &time->clip;
    const double shown[2] = { time_position(time, shot->frames[0]),
                              time_position(time, shot->frames[shot->frame_count - 1]) };
    double low = clip->count > 0 ? 0 : clip->origin + floor(fmin(shown[0], shown[1]));
    double high = clip->count > 0 ? (double)clip_length(clip) - 1 : clip->origin + ceil(fmax(shown[0], shown[1]));
    if (time->even_over == 0) {
        const double step = ceil((high - low + 1) / EVEN_LIMIT);
        int count = 0;
        for (double position = low; position <= high; position += step) {
            struct clip_moment moments[2] = { { .frame = (int32_t)position } };
            int shows;
            if (clip->count > 0)
                (void)clip_at(clip, position, true, moments, &shows);
            frames[count++] = moments[0].frame;
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
        int32_t frames[EVEN_LIMIT];
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
        int32_t frames[EVEN_LIMIT];
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

/* ---- pixels ---------------------------------------------------------------------------------------------------- */

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
                    "`even-light` compares what most of the frame shows; what moves does not count. Light that is in "
                    "the pass but does not flicker (the room, a lights-off pass) should be taken off first.",
                .example = "slow = time sign\n"
                           "  use       1-60 then 90-120\n"
                           "  dissolve  4 frames\n"
                           "  speed     20%\n"
                           "  start     1008\n"
                           "  beyond    freeze\n"
                           "  between   flow\n",
                .form = HEAD_NAMED,
                .makes = MAKES_PICTURE,
                .head = &time_head,
                .settings = time_settings },
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
