/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The kind `streak`: rain, sparks and other bright streaks that all run one way, made longer and thinner.
 *
 * Longer is a mean along the way they run, as a longer exposure would have spread them. Thinner takes light from their
 * flanks: with s the light, taken together over a few pixels along the way, and e the smaller of s half the amount to
 * either side, a pixel keeps (e + n) / (s + n) of its light. A streak of even light and sharp edges becomes that much
 * narrower and is as bright as it was. Where s is far below n there is nothing but noise, which stays as it is: the
 * smaller of two noises would be darker than black.
 */
#include <math.h>
#include <string.h>

#include "base/error.h"
#include "kinds/arena_picture.h"
#include "kinds/kinds.h"
#include "picture/function.h"

struct streak {
    const struct value *picture, *along, *longer, *thinner, *above;
};

/* A mean along a line: whole steps down or across, what is between pixels lies on the other axis. */
struct smear {
    bool down;
    double slope; /* pixels on the other axis for each step */
    double step;  /* how long a step is */
    double length;
    int32_t taps; /* to either side */
};

/* The block at one frame. */
struct streak_now {
    struct smear longer, along; /* along: what `thinner` looks at */
    double across_x, across_y;  /* half of what goes, to one side */
    float above;
};

enum { ALONG = 8 }; /* pixels */

static const struct setting_spec head = {
    .values = (const struct value_spec[]){ { .label = "NAME", .type = VALUE_PICTURE }, { .label = NULL } },
};

static const struct setting_spec settings[] = {
    { .word = "along",
      .help = "the way the streaks run: 0 to the right, 90 straight down, more than that leaning to the left",
      .values = (const struct value_spec[]){ { .label = "ANGLE",
                                               .type = VALUE_NUMBER,
                                               .unit = UNIT_DEGREES,
                                               .may_change = true,
                                               .limited = true,
                                               .least = -360,
                                               .most = 360 },
                                             { .label = NULL } },
      .standard = "90 deg" },
    { .word = "longer",
      .help = "by how much; their light is spread, so that one twice as long is half as bright",
      .values = (const struct value_spec[]){ { .label = "N",
                                               .type = VALUE_NUMBER,
                                               .unit = UNIT_PX,
                                               .may_change = true,
                                               .limited = true,
                                               .least = 0,
                                               .most = 500 },
                                             { .label = NULL } },
      .standard = "0 px" },
    { .word = "thinner",
      .help = "by how much; one that is not wider than that goes",
      .values = (const struct value_spec[]){ { .label = "N",
                                               .type = VALUE_NUMBER,
                                               .unit = UNIT_PX,
                                               .may_change = true,
                                               .limited = true,
                                               .least = 0,
                                               .most = 100 },
                                             { .label = NULL } },
      .standard = "0 px" },
    { .word = "above",
      .help = "light that is fainter is taken for noise, and `thinner` leaves it alone",
      .values =
          (const struct value_spec[]){
              { .label = "N", .type = VALUE_NUMBER, .may_change = true, .limited = true, .least = 1e-6, .most = 1000 },
              { .label = NULL } },
      .standard = "0.005" },
    { .help = NULL },
};

static enum passel_status streak_make(const struct block *block, const struct recipe *recipe, const struct shot *shot,
                                      struct arena *arena, void **self, struct passel_error *error)
{
    struct streak *streak = arena_take(arena, sizeof *streak);
    (void)recipe;
    (void)shot;
    if (streak == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    *streak = (struct streak){ .picture = setting_value(block->head, 0),
                               .along = setting_value(block_setting(block, "along"), 0),
                               .longer = setting_value(block_setting(block, "longer"), 0),
                               .thinner = setting_value(block_setting(block, "thinner"), 0),
                               .above = setting_value(block_setting(block, "above"), 0) };
    *self = streak;
    return PASSEL_OK;
}

static struct smear smear_of(double cosine, double sine, double length)
{
    struct smear smear = { .down = fabs(sine) >= fabs(cosine), .length = length };
    smear.slope = smear.down ? cosine / sine : sine / cosine;
    smear.step = 1 / fmax(fabs(sine), fabs(cosine));
    smear.taps = (int32_t)ceil(length / 2 / smear.step - 0.5);
    smear.taps = smear.taps < 0 ? 0 : smear.taps;
    return smear;
}

static struct streak_now now_of(const struct at *at)
{
    const struct streak *streak = at->self;
    const double angle = value_at(streak->along, 0, at->frame, at->scale) / 180;
    const double cosine = function_cospi(angle), sine = function_sinpi(angle);
    const double half = value_at(streak->thinner, 0, at->frame, at->scale) / 2;
    return (struct streak_now){ .longer = smear_of(cosine, sine, value_at(streak->longer, 0, at->frame, at->scale)),
                                .along = smear_of(cosine, sine, ALONG / at->scale),
                                .across_x = -half * sine,
                                .across_y = half * cosine,
                                .above = (float)value_at(streak->above, 0, at->frame, at->scale) };
}

static bool is_thinner(const struct streak_now *now)
{
    return now->across_x != 0 || now->across_y != 0;
}

/* ---- what is needed ---------------------------------------------------------------------------------------------- */

static enum passel_status streak_asks(const struct at *at, struct ask_list *list, struct passel_error *error)
{
    const struct streak *streak = at->self;
    const struct streak_now now = now_of(at);
    (void)error;
    ask_add(list, (struct ask){ .block = streak->picture->block,
                                .picture = streak->picture->picture,
                                .frame = at->frame,
                                .planes = PLANES_AS_WANTED | (is_thinner(&now) ? HAS_RGB : 0u),
                                .border = BORDER_HOLD });
    return PASSEL_OK;
}

static struct rect smear_reach(const struct smear *smear, struct rect area)
{
    const int32_t side = smear->taps > 0 ? (int32_t)ceil(smear->taps * fabs(smear->slope)) + 1 : 0;
    return smear->down ? rect_grow(area, side, smear->taps) : rect_grow(area, smear->taps, side);
}

static struct rect across_reach(const struct streak_now *now, struct rect area)
{
    return rect_grow(area, (int32_t)ceil(fabs(now->across_x)) + 1, (int32_t)ceil(fabs(now->across_y)) + 1);
}

/* Where the longer streaks are looked at to make them thinner. */
static struct rect thinner_reach(const struct streak_now *now, struct rect area)
{
    return is_thinner(now) ? smear_reach(&now->along, across_reach(now, area)) : area;
}

static struct rect streak_reach(const struct at *at, int ask, struct rect want)
{
    const struct streak_now now = now_of(at);
    (void)ask;
    return smear_reach(&now.longer, thinner_reach(&now, want));
}

static enum passel_status streak_info(const struct at *at, struct picture_info *info, struct passel_error *error)
{
    const struct streak_now now = now_of(at);
    (void)error;
    *info = at->inputs[0];
    info->whole = false;
    info->chunk_rows = 1;
    info->strip_rows = 64;
    const struct rect longer = smear_reach(&now.longer, info->data);
    info->data = rect_join(info->data, rect_cut(longer, info->display));
    return PASSEL_OK;
}

/* ---- pixels ------------------------------------------------------------------------------------------------------ */

static void add_two(float *restrict sums, const float *restrict a, const float *restrict b, float weight_a,
                    float weight_b, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        sums[x] += weight_a * a[x] + weight_b * b[x];
}

/* How much of the mean lies `tap` steps away. */
static double tap_weight(const struct smear *smear, int32_t tap)
{
    const double low = fmax((tap - 0.5) * smear->step, -smear->length / 2);
    const double high = fmin((tap + 0.5) * smear->step, smear->length / 2);
    return smear->taps == 0 ? 1 : fmax(high - low, 0) / smear->length;
}

static void smear_row(const struct smear *smear, const struct picture *in, enum plane plane, int32_t y, int32_t x0,
                      int32_t count, float *out)
{
    memset(out, 0, (size_t)count * sizeof *out);
    for (int32_t tap = -smear->taps; tap <= smear->taps; tap++) {
        const double aside = tap * smear->slope, whole = floor(aside), weight = tap_weight(smear, tap);
        const int32_t dx = smear->down ? (int32_t)whole : tap, dy = smear->down ? tap : (int32_t)whole;
        const float between = (float)(weight * (aside - whole)), own = (float)(weight * (1 - (aside - whole)));
        const float *a = picture_row(in, plane, y + dy) + (x0 + dx - in->area.x0);
        const float *b = a;
        if (between > 0)
            b = smear->down ? a + 1 : picture_row(in, plane, y + dy + 1) + (x0 + dx - in->area.x0);
        add_two(out, a, b, own, between, count);
    }
}

static void smear(const struct smear *by, const struct picture *in, const struct picture *out)
{
    for (int p = 0; p < PLANE_COUNT; p++) {
        for (int32_t y = out->area.y0; out->plane[p] != NULL && y < out->area.y1; y++)
            smear_row(by, in, (enum plane)p, y, out->area.x0, rect_width(out->area),
                      picture_row(out, (enum plane)p, y));
    }
}

/* The light of all channels together, as one plane. */
static void light_of(const struct picture *in, const struct picture *light)
{
    const int32_t width = rect_width(light->area);
    for (int32_t y = light->area.y0; y < light->area.y1; y++) {
        float *row = picture_row(light, PLANE_A, y);
        memset(row, 0, (size_t)width * sizeof *row);
        for (int p = PLANE_R; p <= PLANE_B; p++) {
            const float *from = picture_row(in, (enum plane)p, y) + (light->area.x0 - in->area.x0);
            add_two(row, from, from, 1.0F / 3, 0, width);
        }
    }
}

/* The row x, y away, between pixels. */
static void row_aside(const struct picture *light, double x, double y, int32_t row, int32_t x0, int32_t count,
                      float *out)
{
    const double left = floor(x), top = floor(y);
    const float u = (float)(x - left), v = (float)(y - top);
    const float *a = picture_row(light, PLANE_A, row + (int32_t)top) + (x0 + (int32_t)left - light->area.x0);
    const float *b = picture_row(light, PLANE_A, row + (int32_t)top + 1) + (x0 + (int32_t)left - light->area.x0);
    memset(out, 0, (size_t)count * sizeof *out);
    add_two(out, a, a + 1, (1 - v) * (1 - u), (1 - v) * u, count);
    add_two(out, b, b + 1, v * (1 - u), v * u, count);
}

/* Turns one side's light into the share that pixels keep. */
static void find_share(float *restrict side, const float *restrict other, const float *restrict here, float above,
                       int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        const float least = side[x] < other[x] ? side[x] : other[x];
        const float low = least > 0 ? least : 0, light = here[x] > 0 ? here[x] : 0;
        side[x] = low < light ? (low + above) / (light + above) : 1;
    }
}

static void keep_share(float *restrict row, const float *restrict share, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        row[x] *= share[x];
}

static enum passel_status make_thinner(const struct streak_now *now, const struct picture *longer,
                                       const struct picture *out, struct arena *scratch, struct passel_error *error)
{
    const int32_t width = rect_width(out->area), x0 = out->area.x0;
    struct picture light, along;
    RETURN_IF_ERROR(arena_picture(scratch, longer->area, HAS_A, &light, error));
    RETURN_IF_ERROR(arena_picture(scratch, across_reach(now, out->area), HAS_A, &along, error));
    float *one = arena_row(scratch, width);
    float *two = arena_row(scratch, width);
    if (one == NULL || two == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    light_of(longer, &light);
    smear(&now->along, &light, &along);
    for (int32_t y = out->area.y0; y < out->area.y1; y++) {
        row_aside(&along, now->across_x, now->across_y, y, x0, width, one);
        row_aside(&along, -now->across_x, -now->across_y, y, x0, width, two);
        find_share(one, two, picture_row(&along, PLANE_A, y) + (x0 - along.area.x0), now->above, width);
        for (int p = 0; p < PLANE_COUNT; p++) {
            if (out->plane[p] == NULL)
                continue;
            float *row = picture_row(out, (enum plane)p, y);
            memcpy(row, picture_row(longer, (enum plane)p, y) + (x0 - longer->area.x0), (size_t)width * sizeof *row);
            keep_share(row, one, width);
        }
    }
    return PASSEL_OK;
}

static enum passel_status streak_fill(const struct at *at, const struct picture *in, const struct picture *out,
                                      struct arena *scratch, struct passel_error *error)
{
    const struct streak_now now = now_of(at);
    struct picture longer;
    if (!is_thinner(&now)) {
        smear(&now.longer, &in[0], out);
        return PASSEL_OK;
    }
    RETURN_IF_ERROR(
        arena_picture(scratch, thinner_reach(&now, out->area), picture_planes(out) | HAS_RGB, &longer, error));
    smear(&now.longer, &in[0], &longer);
    return make_thinner(&now, &longer, out, scratch, error);
}

const struct kind kind_streak = {
    .schema = { .name = "streak",
                .summary = "Rain, sparks and other bright streaks, made longer and thinner.",
                .notes =
                    "For light on black that is added to a scene. All amounts may be curves; how bright the streaks "
                    "are, `lights` says. `longer` is the mean along the way they run. For `thinner`, each pixel "
                    "keeps as much of its light as there is half the amount to either side of it: a sharp streak "
                    "loses width and no brightness, a soft one some of both.",
                .example = "downpour = streak rain\n"
                           "  along    102 deg\n"
                           "  longer   [1001 0, 1040 60] px\n"
                           "  thinner  0.8 px\n",
                .form = HEAD_NAMED,
                .makes = MAKES_PICTURE,
                .head = &head,
                .settings = settings },
    .make = streak_make,
    .asks = streak_asks,
    .info = streak_info,
    .reach = streak_reach,
    .fill = streak_fill,
};
