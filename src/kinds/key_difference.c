/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The kind `key difference`: what has come into a set, against the same set with nothing in it.
 *
 * A difference counts against the measured noise of both pictures, pooled over 3 x 3 pixels. A set that is only darker,
 * by one factor in all channels, lies in shadow and is still bare. Where nothing bare is near, the take is solid. In
 * the edges between, the foreground's colour F is the mean of the solid pixels around and the set behind is s K, so
 * that alpha is how far the pixel has gone from one to the other, each channel trusted by its noise. Things too thin to
 * be solid anywhere take the pixel near by that differs most for their F.
 */
#include <math.h>

#include "base/error.h"
#include "kinds/alpha_input.h"
#include "kinds/arena_picture.h"
#include "kinds/key_screens.h"
#include "kinds/kinds.h"

enum { PICTURE_CUT = 0, PICTURE_SHADOW = 1 };
enum shadows { SHADOWS_APART, SHADOWS_IN };

struct key_difference {
    struct takes takes; /* first: the analysis reads it */
    const struct value *garbage, *core, *tolerance, *darkest;
    enum shadows shadows;
};

#define EDGE 3   /* pixels: a soft edge is no wider to either side */
#define AROUND 8 /* pixels: colours and shadows are learnt so far around */
#define REACH 20 /* both, EDGE once more, the pooling and the boxes of shadows */
#define BARE_MOST                                                                                                      \
    2.2F /* pooled difference per channel, in variances; 1 is noise alone, and never above 2 by chance                 \
          */
#define CLEAR_LEAST 5.0F
#define SOLID_FROM 0.25F /* of the difference next to it: what has gone less far is not solid */
#define SOLID_TO 0.40F
#define STEPS 1e-3F      /* of a file, relative to the level */
#define SHADOW_BOX 2     /* pixels: half of the window that a shadow fills */
#define SHADOW_MISS 2.0F /* most variances per channel that such a window is off */
#define BRIGHTEST 1.15F  /* more light than this on the set is something that has come in */
#define SHADOW_FROM 2.0F /* sigmas of the light's share that are no shadow */
#define SHADOW_TO 5.0F
#define POOLED_PIXELS 7.1F /* how many the weights of the pooling amount to */

static const struct choice shadow_choices[] = {
    [SHADOWS_APART] = { "apart", "not cut out; the picture NAME.shadow holds them" },
    [SHADOWS_IN] = { "in", "cut out with what throws them" },
    { NULL, NULL },
};

static const struct value_spec one_picture[] = { { .label = "NAME", .type = VALUE_PICTURE }, { .label = NULL } };

static const struct setting_spec head = {
    .values = one_picture,
    .tags =
        (const struct tag_spec[]){
            { .word = "empty", .help = "the set with nothing in it, under the same light", .values = one_picture },
            { .word = NULL } },
};

static const struct setting_spec settings[] = {
    { .word = "tolerance",
      .help = "how many times the measured noise counts as noise; more for a set that rustles or creeps",
      .values =
          (const struct value_spec[]){
              { .label = "N", .type = VALUE_NUMBER, .may_change = true, .limited = true, .least = 0.1, .most = 100 },
              { .label = NULL } },
      .standard = "1" },
    { .word = "shadows",
      .help = "what becomes of the shadows on the set",
      .values = (const struct value_spec[]){ { .label = "HOW", .type = VALUE_CHOICE, .choices = shadow_choices },
                                             { .label = NULL } },
      .standard = "apart" },
    { .word = "darkest",
      .help = "how much of its light the set keeps in the darkest shadow; what is darker has come in",
      .values = (const struct value_spec[]){ { .label = "N",
                                               .type = VALUE_NUMBER,
                                               .may_change = true,
                                               .unit = UNIT_FRACTION,
                                               .limited = true,
                                               .least = 0,
                                               .most = 1 },
                                             { .label = NULL } },
      .standard = "50%" },
    { .word = "garbage", .help = "a matte of what must not show, such as stands and cables", .values = one_picture },
    { .word = "core", .help = "a matte of what is solid for certain", .values = one_picture },
    { .word = "trust",
      .help = "turns the correction off that fits the empty to the take's brightness",
      .values =
          (const struct value_spec[]){
              { .label = "WHAT",
                .type = VALUE_CHOICE,
                .choices =
                    (const struct choice[]){ { "levels", "take and empty were lit exactly alike" }, { NULL, NULL } } },
              { .label = NULL } } },
    { .help = NULL },
};

/* ---- make and plan --------------------------------------------------------------------------------------------- */

static enum passel_status difference_make(const struct block *block, const struct recipe *recipe,
                                          const struct shot *shot, struct arena *arena, void **self,
                                          struct passel_error *error)
{
    struct key_difference *key = arena_take(arena, sizeof *key);
    (void)shot;
    if (key == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    key->takes.count = 1;
    key->takes.take[0] =
        (struct take_names){ .on = setting_value(block->head, 0), .empty = setting_tag_value(block->head, "empty", 0) };
    if (key->takes.take[0].empty == NULL)
        return recipe_error(recipe, block->where, PASSEL_BAD_RECIPE, error,
                            "a difference needs the set with nothing in it:\n  %s = key difference %s  empty NAME",
                            block->name, key->takes.take[0].on->text);
    key->takes.trust_levels = block_setting(block, "trust") != NULL;
    key->garbage = setting_value(block_setting(block, "garbage"), 0);
    key->core = setting_value(block_setting(block, "core"), 0);
    key->tolerance = setting_value(block_setting(block, "tolerance"), 0);
    key->darkest = setting_value(block_setting(block, "darkest"), 0);
    key->shadows = (enum shadows)setting_value(block_setting(block, "shadows"), 0)->choice;
    *self = key;
    return PASSEL_OK;
}

static enum passel_status difference_asks(const struct at *at, struct ask_list *list, struct passel_error *error)
{
    const struct key_difference *key = at->self;
    const struct value *take = key->takes.take[0].on;
    (void)error;
    ask_add(list,
            (struct ask){ .block = take->block, .picture = take->picture, .frame = at->frame, .planes = HAS_RGB });
    if (at->picture == PICTURE_CUT && key->garbage != NULL)
        alpha_ask(list, key->garbage, at->frame);
    if (at->picture == PICTURE_CUT && key->core != NULL)
        alpha_ask(list, key->core, at->frame);
    return PASSEL_OK;
}

static enum passel_status difference_info(const struct at *at, struct picture_info *info, struct passel_error *error)
{
    const struct key_difference *key = at->self;
    int ask = 1;
    if (at->picture == PICTURE_CUT && key->garbage != NULL)
        RETURN_IF_ERROR(alpha_check(at, ask++, key->garbage, error));
    if (at->picture == PICTURE_CUT && key->core != NULL)
        RETURN_IF_ERROR(alpha_check(at, ask, key->core, error));
    *info = at->inputs[0];
    info->planes = at->picture == PICTURE_SHADOW ? HAS_A : HAS_RGBA;
    info->whole = false;
    return PASSEL_OK;
}

static struct rect difference_reach(const struct at *at, int ask, struct rect want)
{
    (void)at;
    return ask == 0 ? rect_grow(want, REACH, REACH) : want;
}

/* ---- what differs ---------------------------------------------------------------------------------------------- */

enum { SUM_RED, SUM_GREEN, SUM_BLUE, SUM_SOLID, SUM_LIGHT, SUM_BARE, SUM_COUNT };

/* Everything one fill works on; all planes cover `around`. */
struct work {
    const struct screen *screen;
    const struct picture *take;
    struct rect around; /* what is seen of the take */
    float tolerance, least_light, most_light;
    float *apart; /* how far a pixel is from the set, pooled: 1 is noise alone */
    float *light; /* the share of its light that the set keeps there */
    float *solid; /* 1: nothing of the set shows near by */
    float *sure;  /* how many sigmas of noise that share has */
    float *
        sums[SUM_COUNT]; /* around each pixel: of solid colours, their count, of the light on the bare set, its count */
    float *spare[3];
};

static size_t place(const struct work *work, int32_t x, int32_t y)
{
    return (size_t)(y - work->around.y0) * (size_t)rect_width(work->around) + (size_t)(x - work->around.x0);
}

/* One row of the take and the set, and the trust in each channel. */
struct rows {
    const float *take[3], *set[3];
};

static struct rows rows_at(const struct work *work, int32_t y)
{
    struct rows rows;
    const int32_t count = rect_width(work->around);
    for (int c = 0; c < 3; c++) {
        rows.take[c] = picture_row(work->take, (enum plane)c, y) + (work->around.x0 - work->take->area.x0);
        rows.set[c] = screen_row(work->screen, c, work->around.x0, y, count, work->spare[c]);
    }
    return rows;
}

/* 1 / variance of take minus set in channel c; a file's own steps (half floats: 1 in 2048) count as noise too. */
static float trust_in(const struct work *work, const struct rows *rows, int c, int32_t i)
{
    const float take = rows->take[c][i], set = rows->set[c][i];
    return 1 / (noise_variance(work->screen->noise[c], take) + noise_variance(work->screen->empty_noise[c], set) +
                STEPS * STEPS * (1e-2F + set * set));
}

/* Sums of the difference's square form: |take - s set|² = both[0] - 2 s both[1] + s² both[2]. */
static void find_moments(const struct work *work, float *const moments[3])
{
    for (int32_t y = work->around.y0; y < work->around.y1; y++) {
        const struct rows rows = rows_at(work, y);
        const size_t at = place(work, work->around.x0, y);
        for (int32_t i = 0; i < rect_width(work->around); i++) {
            float sum[3] = { 0 };
            for (int c = 0; c < 3; c++) {
                const float trust = trust_in(work, &rows, c, i), take = rows.take[c][i], set = rows.set[c][i];
                sum[0] += trust * take * take;
                sum[1] += trust * take * set;
                sum[2] += trust * set * set;
            }
            for (int k = 0; k < 3; k++)
                moments[k][at + (size_t)i] = sum[k];
        }
    }
}

/* Sums over `radius` pixels either way along lines, added in the order of the pixels, cut to the plane. */
static void sum_along(const float *from, float *to, size_t step, int32_t count, size_t line_step, int32_t lines,
                      int32_t radius)
{
    for (int32_t line = 0; line < lines; line++) {
        for (int32_t i = 0; i < count; i++) {
            const int32_t first = i > radius ? i - radius : 0, last = i + radius < count ? i + radius : count - 1;
            float sum = 0;
            for (int32_t k = first; k <= last; k++)
                sum += from[(size_t)line * line_step + (size_t)k * step];
            to[(size_t)line * line_step + (size_t)i * step] = sum;
        }
    }
}

static void sum_near(const struct work *work, const float *from, float *to, float *spare, int32_t radius)
{
    const int32_t width = rect_width(work->around), height = rect_height(work->around);
    sum_along(from, spare, 1, width, (size_t)width, height, radius);
    sum_along(spare, to, (size_t)width, height, 1, width, radius);
}

/* The light at (x, y): of the windows that hold the pixel, the one that a single factor explains best; 1 when none is
 * explained, since a shadow is broad and what is fine is no shadow. */
static float light_at(const struct work *work, float *const boxes[3], int32_t x, int32_t y)
{
    const struct rect r = work->around;
    float best = SHADOW_MISS * work->tolerance * work->tolerance, light = 1;
    for (int32_t v = y - SHADOW_BOX; v <= y + SHADOW_BOX; v += SHADOW_BOX) {
        for (int32_t u = x - SHADOW_BOX; u <= x + SHADOW_BOX; u += SHADOW_BOX) {
            if (u < r.x0 || u >= r.x1 || v < r.y0 || v >= r.y1)
                continue;
            const size_t i = place(work, u, v);
            if (boxes[2][i] <= 0)
                continue;
            const float share = fminf(fmaxf(boxes[1][i] / boxes[2][i], work->least_light), work->most_light);
            const float rest = boxes[0][i] - 2 * share * boxes[1][i] + share * share * boxes[2][i];
            const float miss = rest / (3 * (2 * SHADOW_BOX + 1) * (2 * SHADOW_BOX + 1));
            if (miss < best) {
                best = miss;
                light = share;
            }
        }
    }
    return light;
}

/* `boxes` and `spare` are memory. */
static void find_light(struct work *work, float *const moments[3], float *const boxes[3], float *spare)
{
    for (int k = 0; k < 3; k++)
        sum_near(work, moments[k], boxes[k], spare, SHADOW_BOX);
    for (int32_t y = work->around.y0; y < work->around.y1; y++) {
        for (int32_t x = work->around.x0; x < work->around.x1; x++)
            work->light[place(work, x, y)] = light_at(work, boxes, x, y);
    }
}

/* The mean over 3 x 3 pixels with weights 1 2 1 both ways; the edge is held. */
static float pooled(const struct work *work, const float *plane, int32_t x, int32_t y)
{
    const struct rect r = work->around;
    const int32_t xs[3] = { x > r.x0 ? x - 1 : x, x, x + 1 < r.x1 ? x + 1 : x };
    const int32_t ys[3] = { y > r.y0 ? y - 1 : y, y, y + 1 < r.y1 ? y + 1 : y };
    static const float weights[3] = { 0.25F, 0.5F, 0.25F };
    float sum = 0;
    for (int j = 0; j < 3; j++) {
        const float *row = plane + place(work, r.x0, ys[j]) - r.x0;
        sum += weights[j] * (weights[0] * row[xs[0]] + weights[1] * row[xs[1]] + weights[2] * row[xs[2]]);
    }
    return sum;
}

static void find_apart(struct work *work, float *const moments[3])
{
    for (int32_t y = work->around.y0; y < work->around.y1; y++) {
        for (int32_t x = work->around.x0; x < work->around.x1; x++) {
            const size_t i = place(work, x, y);
            const float own = pooled(work, moments[0], x, y), both = pooled(work, moments[1], x, y);
            const float set = pooled(work, moments[2], x, y);
            const float light = work->light[i];
            const float rest = own - 2 * light * both + light * light * set;
            work->sure[i] = sqrtf(POOLED_PIXELS * set);
            work->apart[i] = rest / 3;
        }
    }
}

static float ramp(float value, float from, float to)
{
    const float share = alpha_clamped((value - from) / (to - from));
    return share * share * (3 - 2 * share);
}

static bool is_bare(const struct work *work, size_t i)
{
    return work->apart[i] < BARE_MOST * work->tolerance * work->tolerance;
}

enum extreme { LEAST, LARGEST };

/* The least or the largest within EDGE pixels along lines, cut to the plane. */
static void extreme_along(const float *from, float *to, size_t step, int32_t count, size_t line_step, int32_t lines,
                          enum extreme which)
{
    for (int32_t line = 0; line < lines; line++) {
        const float *in = from + (size_t)line * line_step;
        for (int32_t i = 0; i < count; i++) {
            const int32_t first = i > EDGE ? i - EDGE : 0, last = i + EDGE < count ? i + EDGE : count - 1;
            float found = in[(size_t)first * step];
            for (int32_t k = first + 1; k <= last; k++) {
                const float value = in[(size_t)k * step];
                found = which == LEAST ? fminf(found, value) : fmaxf(found, value);
            }
            to[(size_t)line * line_step + (size_t)i * step] = found;
        }
    }
}

static void extreme_near(const struct work *work, const float *from, float *to, float *spare, enum extreme which)
{
    const int32_t width = rect_width(work->around), height = rect_height(work->around);
    extreme_along(from, spare, 1, width, (size_t)width, height, which);
    extreme_along(spare, to, (size_t)width, height, 1, width, which);
}

/* How solid it is around each pixel: how far the least different one has gone from the set, compared with the most
 * different one next to it. `share` and `most` are memory. */
static void find_solid(struct work *work, float *const moments[3], float *share, float *most, float *spare)
{
    const size_t pixels = (size_t)rect_width(work->around) * (size_t)rect_height(work->around);
    const float noise = work->tolerance * work->tolerance;
    for (size_t i = 0; i < pixels; i++) {
        const float light = work->light[i];
        const float rest = moments[0][i] - 2 * light * moments[1][i] + light * light * moments[2][i];
        share[i] = fmaxf(rest / 3 - noise, 0);
    }
    extreme_near(work, share, most, spare, LARGEST);
    for (size_t i = 0; i < pixels; i++)
        share[i] = is_bare(work, i) ? 0 : sqrtf(share[i] / fmaxf(most[i], noise));
    extreme_near(work, share, work->solid, spare, LEAST);
    for (size_t i = 0; i < pixels; i++)
        work->solid[i] = ramp(work->solid[i], SOLID_FROM, SOLID_TO);
}

/* ---- what stands around ---------------------------------------------------------------------------------------- */

static void find_sums(struct work *work, float *spare)
{
    for (int32_t y = work->around.y0; y < work->around.y1; y++) {
        const struct rows rows = rows_at(work, y);
        for (int32_t x = work->around.x0; x < work->around.x1; x++) {
            const size_t i = place(work, x, y);
            const float bare = is_bare(work, i) ? 1.0F : 0.0F, solid = work->solid[i];
            for (int c = 0; c < 3; c++)
                work->sums[c][i] = solid * rows.take[c][x - work->around.x0];
            work->sums[SUM_SOLID][i] = solid;
            work->sums[SUM_LIGHT][i] = bare * work->light[i];
            work->sums[SUM_BARE][i] = bare;
        }
    }
    for (int k = 0; k < SUM_COUNT; k++)
        sum_near(work, work->sums[k], work->sums[k], spare, AROUND);
}

/* ---- alpha ----------------------------------------------------------------------------------------------------- */

/* How far the pixel has gone from the set to `front`, weighted by trust; *miss is what that leaves unexplained. */
static float gone(const float pixel[3], const float set[3], const float front[3], const float trust[3], float *miss)
{
    float along = 0, whole = 0;
    for (int c = 0; c < 3; c++) {
        along += trust[c] * (pixel[c] - set[c]) * (front[c] - set[c]);
        whole += trust[c] * (front[c] - set[c]) * (front[c] - set[c]);
    }
    const float alpha = whole > 0 ? alpha_clamped(along / whole) : 1;
    *miss = 0;
    for (int c = 0; c < 3; c++) {
        const float rest = pixel[c] - set[c] - alpha * (front[c] - set[c]);
        *miss += trust[c] * rest * rest;
    }
    return alpha;
}

/* The colour within EDGE pixels that is furthest from the set. */
static void furthest(const struct work *work, int32_t x, int32_t y, float front[3])
{
    const struct rect near = rect_cut(rect_of(x - EDGE, y - EDGE, x + EDGE + 1, y + EDGE + 1), work->around);
    float most = -1;
    for (int32_t v = near.y0; v < near.y1; v++) {
        for (int32_t u = near.x0; u < near.x1; u++) {
            const float apart = work->apart[place(work, u, v)];
            if (apart <= most)
                continue;
            most = apart;
            for (int c = 0; c < 3; c++)
                front[c] = picture_row(work->take, (enum plane)c, v)[u - work->take->area.x0];
        }
    }
}

/* Alpha of a pixel; set[] becomes the set behind it under its shadow. */
static float pixel_alpha(const struct work *work, const struct rows *rows, int32_t x, int32_t y, float set[3])
{
    const size_t i = place(work, x, y);
    const int32_t column = x - work->around.x0;
    const float limit = work->tolerance * work->tolerance;
    const float light = work->sums[SUM_BARE][i] > 0 ? work->sums[SUM_LIGHT][i] / work->sums[SUM_BARE][i] : 1;
    float pixel[3], mean[3], far[3] = { 0 }, trust[3];
    for (int c = 0; c < 3; c++) {
        pixel[c] = rows->take[c][column];
        set[c] = light * rows->set[c][column];
        trust[c] = trust_in(work, rows, c, column);
        mean[c] = work->sums[SUM_SOLID][i] > 0 ? work->sums[c][i] / work->sums[SUM_SOLID][i] : pixel[c];
    }
    const float clear = ramp(work->apart[i], BARE_MOST * limit, CLEAR_LEAST * limit);
    /* Inside, one colour may pass through that of the set on its way to another: no bare set is near there. */
    const float solid = fmaxf(work->solid[i], 1 - fminf(work->sums[SUM_BARE][i] / AROUND, 1));
    if (solid == 1)
        return 1;
    if (clear == 0)
        return solid;
    float miss_thin, miss_mean;
    furthest(work, x, y, far);
    const float thin = gone(pixel, set, far, trust, &miss_thin), broad = gone(pixel, set, mean, trust, &miss_mean);
    const float known = fminf(work->sums[SUM_SOLID][i] / AROUND, 1) * (miss_thin + 1) / (miss_thin + miss_mean + 2);
    const float open = thin + known * (broad - thin);
    return clear * open + solid * (1 - clear * open);
}

static void cut_row(const struct work *work, const float *garbage, const float *core, const struct picture *out,
                    int32_t y)
{
    const struct rows rows = rows_at(work, y);
    for (int32_t x = out->area.x0; x < out->area.x1; x++) {
        const int32_t i = x - out->area.x0, column = x - work->around.x0;
        float set[3], alpha = pixel_alpha(work, &rows, x, y, set);
        if (core != NULL)
            alpha = fmaxf(alpha, alpha_clamped(core[i]));
        const float show = garbage != NULL ? 1 - alpha_clamped(garbage[i]) : 1;
        for (int c = 0; c < 3; c++) {
            const float colour = alpha > 0 ? rows.take[c][column] - (1 - alpha) * set[c] : 0;
            if (out->plane[c] != NULL)
                picture_row(out, (enum plane)c, y)[i] = show * colour;
        }
        if (out->plane[PLANE_A] != NULL)
            picture_row(out, PLANE_A, y)[i] = show * alpha;
    }
}

/* The light that is taken from the bare set; under what has come in, that of the set around it. */
static void shadow_row(const struct work *work, const struct picture *out, int32_t y)
{
    float *row = picture_row(out, PLANE_A, y);
    for (int32_t x = out->area.x0; x < out->area.x1; x++) {
        const size_t i = place(work, x, y);
        float taken = 1 - work->light[i];
        if (!is_bare(work, i))
            taken = work->sums[SUM_BARE][i] > 0 ? 1 - work->sums[SUM_LIGHT][i] / work->sums[SUM_BARE][i] : 0;
        row[x - out->area.x0] = fmaxf(taken, 0) * ramp(taken * work->sure[i], SHADOW_FROM, SHADOW_TO);
    }
}

/* ---- fill ------------------------------------------------------------------------------------------------------ */

static enum passel_status work_new(struct work *work, const struct at *at, const struct picture *take, struct rect area,
                                   struct arena *scratch, struct passel_error *error)
{
    const struct key_difference *key = at->self;
    const struct screens *screens = at->found;
    *work = (struct work){ .screen = &screens->screen[0],
                           .take = take,
                           .around = rect_cut(rect_grow(area, REACH, REACH), at->info->data),
                           .tolerance = (float)value_at(key->tolerance, 0, at->frame, 1),
                           .least_light = 1,
                           .most_light = 1 };
    if (key->shadows == SHADOWS_APART || at->picture == PICTURE_SHADOW) {
        work->least_light = (float)value_at(key->darkest, 0, at->frame, 1);
        work->most_light = BRIGHTEST;
    }
    const size_t width = (size_t)rect_width(work->around), pixels = width * (size_t)rect_height(work->around);
    float **const planes[] = { &work->apart,   &work->light,   &work->sure,    &work->solid,   &work->sums[0],
                               &work->sums[1], &work->sums[2], &work->sums[3], &work->sums[4], &work->sums[5] };
    for (size_t k = 0; k < sizeof planes / sizeof *planes; k++) {
        *planes[k] = arena_array(scratch, pixels, sizeof(float));
        if (*planes[k] == NULL)
            return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    }
    float *spare = arena_array(scratch, pixels, sizeof(float));
    for (int c = 0; c < 3; c++) {
        work->spare[c] = arena_array(scratch, width, sizeof(float));
        if (work->spare[c] == NULL || spare == NULL)
            return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    }
    find_moments(work, work->sums); /* the first three sums are not needed yet */
    find_light(work, work->sums, work->sums + 3, spare);
    find_apart(work, work->sums);
    find_solid(work, work->sums, work->sums[3], work->sums[4], spare);
    find_sums(work, spare);
    return PASSEL_OK;
}

static const float *matte_row(const struct picture *matte, int32_t x0, int32_t y)
{
    return matte != NULL ? picture_row(matte, PLANE_A, y) + (x0 - matte->area.x0) : NULL;
}

static enum passel_status difference_fill(const struct at *at, const struct picture *in, const struct picture *out,
                                          struct arena *scratch, struct passel_error *error)
{
    const struct key_difference *key = at->self;
    const struct picture *garbage = key->garbage != NULL ? &in[1] : NULL;
    const struct picture *core = key->core != NULL ? &in[1 + (garbage != NULL)] : NULL;
    struct work work;
    RETURN_IF_ERROR(work_new(&work, at, &in[0], out->area, scratch, error));
    for (int32_t y = out->area.y0; y < out->area.y1; y++) {
        if (at->picture == PICTURE_CUT)
            cut_row(&work, matte_row(garbage, out->area.x0, y), matte_row(core, out->area.x0, y), out, y);
        else if (out->plane[PLANE_A] != NULL)
            shadow_row(&work, out, y);
    }
    return PASSEL_OK;
}

const struct kind kind_key_difference = {
    .schema = { .name = "key difference",
                .summary = "A cut-out of what has come into a set, against the set with nothing in it.",
                .notes = "Camera and light must stand still. How noisy the pictures are is measured, of take and empty "
                         "apart where one is the mean of many frames, and a lamp that drifted is corrected. What looks "
                         "like the set behind it leaves a hole: close it with `holes` in a matte block, or name a "
                         "`core`. The picture `shadow` is the share of its light that the set loses: multiply the new "
                         "background by 1 minus it.",
                .example = "boat = key difference harbour-boat   empty harbour\n"
                           "  darkest  40%\n"
                           "  garbage  rods\n",
                .form = HEAD_NAMED,
                .makes = MAKES_PICTURE,
                .head = &head,
                .settings = settings,
                .pictures = (const struct further_picture[]){ { "shadow", "a matte of the shadows on the set" },
                                                              { NULL, NULL } } },
    .analysis = &screens_analysis,
    .make = difference_make,
    .asks = difference_asks,
    .info = difference_info,
    .reach = difference_reach,
    .fill = difference_fill,
};
