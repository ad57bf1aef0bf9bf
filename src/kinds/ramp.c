/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The kind `ramp`: colours that run into each other along a line or away from a point: a sky, a glow, a vignette.
 *
 * Colours are premultiplied first and then blended, in scene-linear light. A pixel's place along the ramp follows from
 * its centre alone.
 */
#include <math.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "kinds/kinds.h"
#include "kinds/shot.h"

struct ramp {
    const struct setting *from, *to;
    const struct setting *lines; /* all of the block */
    int line_count;
    int stop_count; /* `through` lines */
    bool round, smooth;
};

struct stop {
    double place;
    double colour[PLANE_COUNT];
};

struct ramp_frame {
    double x, y;   /* the start */
    double dx, dy; /* from there to the end */
    int count;
    struct stop stops[]; /* rising; the first at 0, the last at 1 */
};

#define COLOUR_TAGS                                                                                                    \
    { .word = "colour",                                                                                                \
      .help = "scene-linear red, green and blue in the shot's primaries",                                              \
      .values = VALUE_LIST(                                                                                            \
          { .label = "R G B", .type = VALUE_NUMBER, .may_change = true, .least_count = 3, .most_count = 3 }) },        \
    {                                                                                                                  \
        .word = "alpha", .help = "how much it covers there; 1 when nothing is said",                                   \
        .values = VALUE_LIST({ .label = "N",                                                                           \
                               .type = VALUE_NUMBER,                                                                   \
                               .may_change = true,                                                                     \
                               .unit = UNIT_FRACTION,                                                                  \
                               .limited = true,                                                                        \
                               .least = 0,                                                                             \
                               .most = 1 })                                                                            \
    }

static const struct tag_spec colour_tags[] = { COLOUR_TAGS, { .word = NULL } };

#define PLACE_VALUE                                                                                                    \
    VALUE_LIST({ .label = "X Y",                                                                                       \
                 .type = VALUE_NUMBER,                                                                                 \
                 .may_change = true,                                                                                   \
                 .least_count = 2,                                                                                     \
                 .most_count = 2,                                                                                      \
                 .unit = UNIT_PX,                                                                                      \
                 .limited = true,                                                                                      \
                 .least = -100000,                                                                                     \
                 .most = 100000 })

static const struct choice forms[] = {
    { "straight", "along the line between the two points" },
    { "round", "away from the first point; the second lies on the rim" },
    { NULL, NULL },
};

static const struct choice paces[] = {
    { "even", "in proportion to the way" },
    { "smooth", "gently out of one colour and into the next" },
    { NULL, NULL },
};

static const struct setting_spec settings[] = {
    { .word = "from",
      .help = "where the ramp begins; before it the colour stays",
      .values = PLACE_VALUE,
      .tags = colour_tags,
      .required = true },
    { .word = "through",
      .help = "a colour on the way, so far along it: 30%; in rising order",
      .values = (const struct value_spec[]){ { .label = "N",
                                               .type = VALUE_NUMBER,
                                               .may_change = true,
                                               .unit = UNIT_FRACTION,
                                               .limited = true,
                                               .least = 0,
                                               .most = 1 },
                                             { .label = NULL } },
      .tags = colour_tags,
      .repeats = true },
    { .word = "to",
      .help = "where the ramp ends; behind it the colour stays",
      .values = PLACE_VALUE,
      .tags = colour_tags,
      .required = true },
    { .word = "form",
      .help = "how the colours lie",
      .values =
          (const struct value_spec[]){ { .label = "FORM", .type = VALUE_CHOICE, .choices = forms }, { .label = NULL } },
      .standard = "straight" },
    { .word = "pace",
      .help = "how one colour runs into the next",
      .values =
          (const struct value_spec[]){ { .label = "PACE", .type = VALUE_CHOICE, .choices = paces }, { .label = NULL } },
      .standard = "even" },
    { .help = NULL },
};

static bool is_colour_line(const struct setting *setting)
{
    return setting->spec->tags == colour_tags;
}

static enum passel_status ramp_make(const struct block *block, const struct recipe *recipe, const struct shot *shot,
                                    struct arena *arena, void **self, struct passel_error *error)
{
    (void)shot;
    struct ramp *ramp = arena_take(arena, sizeof *ramp);
    if (ramp == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    ramp->from = block_setting(block, "from");
    ramp->to = block_setting(block, "to");
    ramp->lines = block->settings;
    ramp->line_count = block->setting_count;
    for (int i = 0; i < block->setting_count; i++) {
        const struct setting *setting = &block->settings[i];
        if (is_colour_line(setting) && setting_tag(setting, "colour") == NULL)
            return recipe_error(recipe, setting->where, PASSEL_BAD_RECIPE, error,
                                "expected a colour in this line: `colour R G B`");
        ramp->stop_count += strcmp(setting->spec->word, "through") == 0;
    }
    ramp->round = setting_value(block_setting(block, "form"), 0)->choice == 1;
    ramp->smooth = setting_value(block_setting(block, "pace"), 0)->choice == 1;
    *self = ramp;
    return PASSEL_OK;
}

static void add_stop(const struct at *at, const struct setting *setting, double place, struct ramp_frame *frame)
{
    struct stop *stop = &frame->stops[frame->count++];
    const struct value *alpha = setting_tag_value(setting, "alpha", 0);
    const struct value *colour = setting_tag_value(setting, "colour", 0);
    stop->place = place;
    stop->colour[PLANE_A] = alpha != NULL ? value_at(alpha, 0, at->frame, at->scale) : 1;
    for (int p = PLANE_R; p <= PLANE_B; p++)
        stop->colour[p] = stop->colour[PLANE_A] * value_at(colour, p, at->frame, at->scale);
}

static enum passel_status ramp_open(const struct at *at, void **state, struct passel_error *error)
{
    const struct ramp *ramp = at->self;
    struct ramp_frame *frame = memory_zeros(1, sizeof *frame + ((size_t)ramp->stop_count + 2) * sizeof *frame->stops);
    if (frame == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    const struct value *from = setting_value(ramp->from, 0), *to = setting_value(ramp->to, 0);
    frame->x = value_at(from, 0, at->frame, at->scale);
    frame->y = value_at(from, 1, at->frame, at->scale);
    frame->dx = value_at(to, 0, at->frame, at->scale) - frame->x;
    frame->dy = value_at(to, 1, at->frame, at->scale) - frame->y;
    add_stop(at, ramp->from, 0, frame);
    for (int i = 0; i < ramp->line_count; i++) {
        const struct setting *setting = &ramp->lines[i];
        if (strcmp(setting->spec->word, "through") != 0)
            continue;
        /* Keys may carry one place past another: it then waits there. */
        const double place = value_at(setting_value(setting, 0), 0, at->frame, at->scale);
        add_stop(at, setting, fmax(place, frame->stops[frame->count - 1].place), frame);
    }
    add_stop(at, ramp->to, 1, frame);
    *state = frame;
    return PASSEL_OK;
}

static void ramp_close(void *state, struct text *notes)
{
    (void)notes;
    memory_free(state);
}

static enum passel_status ramp_info(const struct at *at, struct picture_info *info, struct passel_error *error)
{
    (void)error;
    const struct rect window = shot_window(at->shot, at->scale);
    *info = (struct picture_info){
        .display = window, .data = window, .planes = HAS_RGBA, .chunk_rows = 1, .pixel_aspect = 1
    };
    return PASSEL_OK;
}

/* How far along the ramp each pixel of the row is, 0 … 1. Two points in one place: everything is behind the end. */
static void places(const struct ramp *ramp, const struct ramp_frame *frame, int32_t x0, int32_t y, double *place,
                   int32_t count)
{
    const double length = frame->dx * frame->dx + frame->dy * frame->dy;
    const double py = y + 0.5 - frame->y;
    for (int32_t x = 0; x < count; x++) {
        const double px = x0 + x + 0.5 - frame->x;
        const double along =
            ramp->round ? sqrt((px * px + py * py) / length) : (px * frame->dx + py * frame->dy) / length;
        place[x] = !(length > 0) || along > 1 ? 1 : along > 0 ? along : 0;
    }
}

/* Turns places into: index of the stop before, plus the way to the next, 0 … 1. */
static void find_stops(const struct ramp *ramp, const struct ramp_frame *frame, double *place, int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        int i = 0;
        while (i + 2 < frame->count && place[x] >= frame->stops[i + 1].place)
            i++;
        const double width = frame->stops[i + 1].place - frame->stops[i].place;
        const double t = width > 0 ? (place[x] - frame->stops[i].place) / width : 1;
        place[x] = i + (ramp->smooth ? t * t * (3 - 2 * t) : t);
    }
}

static void ramp_row(const struct ramp_frame *frame, enum plane plane, const double *place, float *row, int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        const int last = frame->count - 2;
        const int i = (int)place[x] < last ? (int)place[x] : last;
        const double a = frame->stops[i].colour[plane], b = frame->stops[i + 1].colour[plane];
        row[x] = (float)(a + (place[x] - i) * (b - a));
    }
}

static enum passel_status ramp_fill(const struct at *at, const struct picture *in, const struct picture *out,
                                    struct arena *scratch, struct passel_error *error)
{
    (void)in;
    const int32_t width = rect_width(out->area);
    double *place = arena_array(scratch, (size_t)width, sizeof *place);
    if (place == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int32_t y = out->area.y0; y < out->area.y1; y++) {
        places(at->self, at->state, out->area.x0, y, place, width);
        find_stops(at->self, at->state, place, width);
        for (int p = 0; p < PLANE_COUNT; p++) {
            if (out->plane[p] != NULL)
                ramp_row(at->state, (enum plane)p, place, picture_row(out, (enum plane)p, y), width);
        }
    }
    return PASSEL_OK;
}

const struct kind kind_ramp = {
    .schema = { .name = "ramp",
                .summary = "Colours that run into each other: a sky, a glow, a vignette.",
                .notes = "Colours are blended in scene-linear light. `through` lines set colours on the way.",
                .example = "dawn = ramp\n"
                           "  from     960 0 px     colour 0.05 0.08 0.20\n"
                           "  through  70%          colour 0.45 0.32 0.30\n"
                           "  to       960 700 px   colour 1.40 0.75 0.35\n"
                           "  pace     smooth\n",
                .form = HEAD_NAMED,
                .makes = MAKES_PICTURE,
                .settings = settings },
    .make = ramp_make,
    .open = ramp_open,
    .close = ramp_close,
    .info = ramp_info,
    .fill = ramp_fill,
};
