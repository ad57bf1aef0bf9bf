/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The kind `lights`: passes of one set under one lamp each, summed as light is:
 *
 *   ambient + Σ gain · tint · (pass − ambient)   =   ambient · (1 − Σ gain · tint) + Σ gain · tint · pass
 *
 * per channel. The second form costs one multiplication per input. Sums are made in double and rounded once, so the
 * order of the lights does not show. Noise below zero is kept.
 *
 * A light may have other things taken off than the ambient: passes that are part of it (`minus`), or the dark that is
 * found in the pass itself. A pass that stands in several places is read once, with the sum of its weights. Lights
 * behind one matte are summed, multiplied by it, and added.
 */
#include "kinds/lights.h"

#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "kinds/alpha_input.h"
#include "kinds/kinds.h"
#include "kinds/shot.h"
#include "numerics/white_locus.h"
#include "picture/function.h"

/* A share of a picture, or of the dark found in one. */
struct term {
    int matte;                   /* index into the block's mattes, or -1 */
    const struct value *picture; /* or NULL */
    int look;                    /* which of the found ones, when there is no picture */
    int ask;
    double weight[3];
};

/* One frame's sum. Terms behind one matte stand together, those without a matte first. */
struct lights_frame {
    const struct value **asks; /* pictures first, then mattes */
    int ask_count, picture_count;
    int *matte_asks; /* per matte of the block */
    struct term *terms;
    int term_count;
};

static const struct choice switches[] = {
    { "off", "this light is out" },
    { "solo", "only lights marked so are lit; the ambient stays" },
    { NULL, NULL },
};

static const struct choice ambient_switches[] = {
    { "off", "leave the ambient light out of the result; it is still taken off every pass" },
    { NULL, NULL },
};

static const struct choice blacks[] = {
    { "auto", "what stands still in the pass: for rain, flares and other elements before a dark ground" },
    { "none", "nothing: the pass is free of other light as it is" },
    { NULL, NULL },
};

static const struct value_spec one_picture[] = { { .label = "NAME", .type = VALUE_PICTURE }, { .label = NULL } };

static const struct tag_spec light_tags[] = {
    { .word = "gain",
      .help = "how much of the light is used, as a plain factor or a curve, instead of stops",
      .values = (const struct value_spec[]){ { .label = "N", .type = VALUE_NUMBER, .may_change = true },
                                             { .label = NULL } } },
    { .word = "tint",
      .help = "a factor for each of red, green and blue, like a gel before the lamp",
      .values =
          (const struct value_spec[]){
              { .label = "R G B", .type = VALUE_NUMBER, .may_change = true, .least_count = 3, .most_count = 3 },
              { .label = NULL } } },
    { .word = "colour",
      .help = "the lamp's colour when it was filmed white: 1900 K a candle, 3200 K a film lamp, 5600 K daylight; it "
              "grows no brighter by it",
      .values = (const struct value_spec[]){ { .label = "N",
                                               .type = VALUE_NUMBER,
                                               .may_change = true,
                                               .unit = UNIT_KELVIN,
                                               .limited = true,
                                               .least = WHITE_LOCUS_LEAST,
                                               .most = WHITE_LOCUS_MOST },
                                             { .label = NULL } } },
    { .word = "minus",
      .help = "a pass that is part of this one, because its lamp was left on; taken off before anything else",
      .values = one_picture,
      .repeats = true },
    { .word = "matte",
      .help = "where the light counts; such as one rain position left, another right",
      .values = one_picture },
    { .word = "black",
      .help = "what is taken off the pass instead of the ambient",
      .values = (const struct value_spec[]){ { .label = "WHAT", .type = VALUE_CHOICE, .choices = blacks },
                                             { .label = NULL } } },
    { .word = NULL },
};

static const struct setting_spec settings[] = {
    { .word = "ambient",
      .help = "the pass with all lamps out: light that is in every pass and must count once",
      .values = (const struct value_spec[]){ { .label = "NAME", .type = VALUE_PICTURE }, { .label = NULL } },
      .operators = ambient_switches },
    { .word = "light",
      .help = "the pass of one lamp, brighter or darker by so many stops",
      .values = (const struct value_spec[]){ { .label = "NAME", .type = VALUE_PICTURE },
                                             { .label = "N",
                                               .type = VALUE_NUMBER,
                                               .optional = true,
                                               .may_change = true,
                                               .unit = UNIT_STOPS,
                                               .limited = true,
                                               .least = -100,
                                               .most = 100 },
                                             { .label = NULL } },
      .tags = light_tags,
      .operators = switches,
      .repeats = true,
      .required = true },
    { .help = NULL },
};

static bool is_setting(const struct setting *setting, const char *word)
{
    return strcmp(setting->spec->word, word) == 0;
}

static bool is_switched(const struct setting *setting, const char *word)
{
    const char *word_given = setting_operator(setting);
    return word_given != NULL && strcmp(word_given, word) == 0;
}

static bool any_solo(const struct block *block)
{
    for (int i = 0; i < block->setting_count; i++) {
        if (is_setting(&block->settings[i], "light") && is_switched(&block->settings[i], "solo"))
            return true;
    }
    return false;
}

bool light_is_lit(const struct block *block, const struct setting *setting)
{
    const bool solo = any_solo(block);
    return is_setting(setting, "light") && is_switched(setting, solo ? "solo" : "off") == solo;
}

static const struct value *given(const struct value *value)
{
    return value != NULL && value->spec != NULL ? value : NULL;
}

/* The passes behind every `minus` of the line. */
static bool read_minus(const struct setting *setting, struct arena *arena, struct light *light)
{
    light->minus = arena_array(arena, (size_t)setting->tag_count, sizeof *light->minus);
    for (int i = 0; i < setting->tag_count && light->minus != NULL; i++) {
        if (strcmp(setting->tags[i].spec->word, "minus") == 0)
            light->minus[light->minus_count++] = &setting->tags[i].values[0];
    }
    return light->minus != NULL;
}

static enum passel_status read_light(const struct setting *setting, const struct recipe *recipe, struct arena *arena,
                                     struct light *light, struct passel_error *error)
{
    const char *black = value_choice(setting_tag_value(setting, "black", 0));
    *light = (struct light){ .picture = setting_value(setting, 0),
                             .stops = given(setting_value(setting, 1)),
                             .gain = setting_tag_value(setting, "gain", 0),
                             .tint = setting_tag_value(setting, "tint", 0),
                             .colour = setting_tag_value(setting, "colour", 0),
                             .matte = -1 };
    if (black != NULL)
        light->black = strcmp(black, "auto") == 0 ? BLACK_AUTO : BLACK_NONE;
    if (!read_minus(setting, arena, light))
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    if (light->stops != NULL && light->gain != NULL)
        return recipe_error(recipe, light->gain->where, PASSEL_BAD_RECIPE, error,
                            "a light has stops or a gain, not both: gain 2 is the same as +1 stops");
    if (black != NULL && light->minus_count > 0)
        return recipe_error(recipe, setting_tag(setting, "black")->where, PASSEL_BAD_RECIPE, error,
                            "a light has `minus` or `black`, not both: each says what is taken off its pass");
    return PASSEL_OK;
}

static bool same_picture(const struct value *a, const struct value *b)
{
    return a->block == b->block && a->picture == b->picture;
}

/* The index of `picture` in a list without doubles; added when it is new. */
static int list_index(const struct value **list, int *count, int first, const struct value *picture)
{
    for (int i = first; i < *count; i++) {
        if (same_picture(list[i], picture))
            return i;
    }
    list[*count] = picture;
    return (*count)++;
}

static void keep_light(struct lights *lights, struct light light, const struct value *matte)
{
    if (light.black == BLACK_AUTO)
        light.look = lights->looks++;
    if (matte != NULL)
        light.matte = list_index(lights->mattes, &lights->matte_count, 0, matte);
    lights->lights[lights->count++] = light;
}

static enum passel_status lights_make(const struct block *block, const struct recipe *recipe, const struct shot *shot,
                                      struct arena *arena, void **self, struct passel_error *error)
{
    (void)shot;
    struct lights *lights = arena_take(arena, sizeof *lights);
    if (lights != NULL) {
        lights->lights = arena_array(arena, (size_t)block->setting_count, sizeof *lights->lights);
        lights->mattes = arena_array(arena, (size_t)block->setting_count, sizeof(*lights->mattes));
    }
    if (lights == NULL || lights->lights == NULL || lights->mattes == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    lights->ambient = setting_value(block_setting(block, "ambient"), 0);
    int pictures = lights->ambient != NULL;
    for (int i = 0; i < block->setting_count; i++) {
        const struct setting *setting = &block->settings[i];
        if (!is_setting(setting, "light"))
            continue;
        struct light light;
        RETURN_IF_ERROR(read_light(setting, recipe, arena, &light, error));
        if (!light_is_lit(block, setting))
            continue;
        const struct value *matte = setting_tag_value(setting, "matte", 0);
        pictures += 1 + light.minus_count + (matte != NULL);
        if (pictures > ASK_LIMIT)
            return recipe_error(recipe, setting->where, PASSEL_BAD_RECIPE, error,
                                "a `lights` block holds at most %d passes and mattes", ASK_LIMIT);
        keep_light(lights, light, matte);
    }
    *self = lights;
    return PASSEL_OK;
}

static void light_weight(const struct light *light, const struct at *at, double weight[3])
{
    double gain = 1, colour[3] = { 1, 1, 1 };
    if (light->stops != NULL)
        gain = function_exp2(value_at(light->stops, 0, at->frame, at->scale));
    if (light->gain != NULL)
        gain = value_at(light->gain, 0, at->frame, at->scale);
    if (light->colour != NULL)
        white_locus_rgb(value_at(light->colour, 0, at->frame, at->scale), &at->shot->primaries, colour);
    for (int c = 0; c < 3; c++) {
        weight[c] = gain * colour[c];
        if (light->tint != NULL)
            weight[c] *= value_at(light->tint, c, at->frame, at->scale);
    }
}

/* ---- one frame's sum --------------------------------------------------------------------------------------------- */

static bool is_dark(const double weight[3])
{
    return weight[0] == 0 && weight[1] == 0 && weight[2] == 0;
}

/* A picture that stands in several places behind one matte is one term. */
static void add_term(struct lights_frame *frame, struct term term, double share)
{
    for (int c = 0; c < 3; c++)
        term.weight[c] *= share;
    for (int i = 0; i < frame->term_count && term.picture != NULL; i++) {
        struct term *other = &frame->terms[i];
        if (other->picture == NULL || other->matte != term.matte || !same_picture(other->picture, term.picture))
            continue;
        for (int c = 0; c < 3; c++)
            other->weight[c] += term.weight[c];
        return;
    }
    frame->terms[frame->term_count++] = term;
}

/* A light's pass less what is taken off. Every pass has the ambient in it, so that n passes taken off take n - 1
 * ambients too many. */
static void add_light(const struct lights *lights, const struct light *light, const struct at *at,
                      struct lights_frame *frame)
{
    struct term term = { .matte = light->matte, .picture = light->picture, .look = light->look };
    light_weight(light, at, term.weight);
    if (is_dark(term.weight))
        return;
    add_term(frame, term, 1);
    for (int i = 0; i < light->minus_count; i++) {
        term.picture = light->minus[i];
        add_term(frame, term, -1);
    }
    term.picture = light->black == BLACK_AMBIENT ? lights->ambient : NULL;
    if (light->black == BLACK_AUTO)
        add_term(frame, term, -1);
    else if (term.picture != NULL)
        add_term(frame, term, light->minus_count - 1);
}

/* Drops terms of weight 0 and sorts those that are left by their mattes. */
static void settle_terms(struct lights_frame *frame)
{
    int kept = 0;
    for (int i = 0; i < frame->term_count; i++) {
        const struct term term = frame->terms[i];
        if (is_dark(term.weight))
            continue;
        int k = kept++;
        for (; k > 0 && frame->terms[k - 1].matte > term.matte; k--)
            frame->terms[k] = frame->terms[k - 1];
        frame->terms[k] = term;
    }
    frame->term_count = kept;
}

static void list_asks(const struct lights *lights, struct lights_frame *frame)
{
    for (int i = 0; i < frame->term_count; i++) {
        struct term *term = &frame->terms[i];
        if (term->picture != NULL)
            term->ask = list_index(frame->asks, &frame->ask_count, 0, term->picture);
    }
    frame->picture_count = frame->ask_count;
    for (int i = 0; i < frame->term_count; i++) {
        const int matte = frame->terms[i].matte;
        if (matte >= 0)
            frame->matte_asks[matte] =
                list_index(frame->asks, &frame->ask_count, frame->picture_count, lights->mattes[matte]);
    }
}

static void lights_close(void *state, struct text *notes)
{
    struct lights_frame *frame = state;
    (void)notes;
    if (frame == NULL)
        return;
    memory_free(frame->terms);
    memory_free(frame->asks);
    memory_free(frame->matte_asks);
    memory_free(frame);
}

/* At most this many terms; also of asks. */
static size_t term_limit(const struct lights *lights)
{
    size_t count = 1 + (size_t)lights->matte_count;
    for (int i = 0; i < lights->count; i++)
        count += 2 + (size_t)lights->lights[i].minus_count;
    return count;
}

static enum passel_status lights_open(const struct at *at, void **state, struct passel_error *error)
{
    const struct lights *lights = at->self;
    struct lights_frame *frame = memory_zeros(1, sizeof *frame);
    if (frame != NULL) {
        frame->terms = memory_zeros(term_limit(lights), sizeof *frame->terms);
        frame->asks = memory_zeros(term_limit(lights), sizeof(*frame->asks));
        frame->matte_asks = memory_zeros((size_t)lights->matte_count + 1, sizeof *frame->matte_asks);
    }
    if (frame == NULL || frame->terms == NULL || frame->asks == NULL || frame->matte_asks == NULL) {
        lights_close(frame, NULL);
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    }
    for (int i = 0; i < lights->count; i++)
        add_light(lights, &lights->lights[i], at, frame);
    if (lights->ambient != NULL && !is_switched(block_setting(at->block, "ambient"), "off"))
        add_term(frame, (struct term){ .matte = -1, .picture = lights->ambient, .weight = { 1, 1, 1 } }, 1);
    settle_terms(frame);
    list_asks(lights, frame);
    *state = frame;
    return PASSEL_OK;
}

static enum passel_status lights_asks(const struct at *at, struct ask_list *list, struct passel_error *error)
{
    (void)error;
    const struct lights_frame *frame = at->state;
    for (int i = 0; i < frame->picture_count; i++)
        ask_value(list, frame->asks[i], at->frame);
    for (int i = frame->picture_count; i < frame->ask_count; i++)
        (void)alpha_ask(list, frame->asks[i], at->frame);
    return PASSEL_OK;
}

/* ---- windows ----------------------------------------------------------------------------------------------------- */

static enum passel_status check_sizes(const struct at *at, struct passel_error *error)
{
    const struct lights_frame *frame = at->state;
    const struct rect first = at->inputs[0].display;
    for (int i = 1; i < at->ask_count; i++) {
        const struct rect other = at->inputs[i].display;
        if (rect_width(other) == rect_width(first) && rect_height(other) == rect_height(first))
            continue;
        return recipe_error(at->recipe, frame->asks[i]->where, PASSEL_BAD_RECIPE, error,
                            "lights are summed pixel by pixel and must have one size: `%s` is %dx%d, `%s` is %dx%d",
                            frame->asks[0]->text, (int)rect_width(first), (int)rect_height(first), frame->asks[i]->text,
                            (int)rect_width(other), (int)rect_height(other));
    }
    return PASSEL_OK;
}

static enum passel_status lights_info(const struct at *at, struct picture_info *info, struct passel_error *error)
{
    const struct lights_frame *frame = at->state;
    *info = (struct picture_info){ .planes = HAS_RGB, .chunk_rows = 1, .pixel_aspect = 1 };
    if (at->ask_count == 0) {
        info->display = shot_window(at->shot, at->scale);
        return PASSEL_OK;
    }
    RETURN_IF_ERROR(check_sizes(at, error));
    for (int i = frame->picture_count; i < at->ask_count; i++)
        RETURN_IF_ERROR(alpha_check(at, i, frame->asks[i], error));
    info->display = at->inputs[0].display;
    info->pixel_aspect = at->inputs[0].pixel_aspect;
    for (int i = 0; i < frame->picture_count; i++) {
        const struct picture_info *input = &at->inputs[i];
        info->data = rect_join(info->data, input->data);
        info->planes |= input->planes & HAS_A;
        if (input->chunk_rows > info->chunk_rows)
            info->chunk_rows = input->chunk_rows;
    }
    return PASSEL_OK;
}

/* ---- pixels ------------------------------------------------------------------------------------------------------ */

enum { RUN = 512 }; /* pixels summed at a time: the sums stay in the first-level cache */

/* What is being summed. */
struct run {
    const struct lights_frame *frame;
    const struct lights_dark *dark; /* or NULL */
    const struct picture *in;
    enum plane plane;
    int32_t y, x0, count;
};

static void add_run(double *restrict sums, const float *restrict in, double weight, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        sums[x] += weight * (double)in[x];
}

static void add_run_2(double *restrict sums, const float *restrict a, const float *restrict b, double weight_a,
                      double weight_b, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        sums[x] += weight_a * (double)a[x] + weight_b * (double)b[x];
}

static void add_matted(double *restrict sums, const double *restrict part, const float *restrict matte, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        sums[x] += part[x] * (double)alpha_clamped(matte[x]);
}

static const float *run_row(const struct run *run, int ask, enum plane plane)
{
    const struct picture *picture = &run->in[ask];
    return picture_row(picture, plane, run->y) + (run->x0 - picture->area.x0);
}

/* The dark of a pass ends where the pass does. */
static void add_dark(double *sums, const struct run *run, const struct term *term)
{
    const struct cells *cells = run->dark != NULL ? &run->dark->dark[term->look] : NULL;
    float row[RUN];
    if (cells == NULL || rect_empty(cells->area))
        return;
    const struct rect part = rect_cut(rect_of(run->x0, run->y, run->x0 + run->count, run->y + 1), cells->area);
    if (rect_empty(part))
        return;
    cells_row(cells, (int)run->plane, part.x0, run->y, rect_width(part), row);
    add_run(sums + (part.x0 - run->x0), row, term->weight[run->plane], rect_width(part));
}

/* Adds the terms of one matte from `first` on; returns the first of the next. Pictures are added in pairs. */
static int add_terms(double *sums, const struct run *run, int first)
{
    const struct term *terms = run->frame->terms, *waiting = NULL;
    int i = first;
    for (; i < run->frame->term_count && terms[i].matte == terms[first].matte; i++) {
        if (terms[i].picture == NULL) {
            add_dark(sums, run, &terms[i]);
        } else if (waiting == NULL) {
            waiting = &terms[i];
        } else {
            add_run_2(sums, run_row(run, waiting->ask, run->plane), run_row(run, terms[i].ask, run->plane),
                      waiting->weight[run->plane], terms[i].weight[run->plane], run->count);
            waiting = NULL;
        }
    }
    if (waiting != NULL)
        add_run(sums, run_row(run, waiting->ask, run->plane), waiting->weight[run->plane], run->count);
    return i;
}

static void sum_run(const struct run *run, float *restrict out)
{
    double sums[RUN] = { 0 };
    for (int i = 0; i < run->frame->term_count;) {
        const int matte = run->frame->terms[i].matte;
        if (matte < 0) {
            i = add_terms(sums, run, i);
        } else {
            double part[RUN] = { 0 };
            i = add_terms(part, run, i);
            add_matted(sums, part, run_row(run, run->frame->matte_asks[matte], PLANE_A), run->count);
        }
    }
    for (int32_t x = 0; x < run->count; x++)
        out[x] = (float)sums[x];
}

static void largest_row(float *restrict out, const float *restrict in, size_t count)
{
    for (size_t x = 0; x < count; x++)
        out[x] = in[x] > out[x] ? in[x] : out[x];
}

static void fill_alpha(const struct picture *in, int count, const struct picture *out)
{
    const size_t width = (size_t)rect_width(out->area);
    for (int32_t y = out->area.y0; y < out->area.y1; y++) {
        float *row = picture_row(out, PLANE_A, y);
        for (int i = 0; i < count; i++) {
            const float *alpha = picture_row(&in[i], PLANE_A, y) + (out->area.x0 - in[i].area.x0);
            if (i == 0)
                memcpy(row, alpha, width * sizeof *row);
            else
                largest_row(row, alpha, width);
        }
    }
}

static enum passel_status lights_fill(const struct at *at, const struct picture *in, const struct picture *out,
                                      struct arena *scratch, struct passel_error *error)
{
    (void)scratch;
    (void)error;
    const struct lights_frame *frame = at->state;
    struct run run = { .frame = frame, .dark = at->found, .in = in };
    for (int p = PLANE_R; p <= PLANE_B; p++) {
        run.plane = (enum plane)p;
        for (run.y = out->area.y0; run.y < out->area.y1 && out->plane[p] != NULL; run.y++) {
            float *row = picture_row(out, run.plane, run.y);
            for (run.x0 = out->area.x0; run.x0 < out->area.x1; run.x0 += RUN) {
                run.count = out->area.x1 - run.x0 < RUN ? out->area.x1 - run.x0 : RUN;
                sum_run(&run, row + (run.x0 - out->area.x0));
            }
        }
    }
    if (out->plane[PLANE_A] != NULL)
        fill_alpha(in, frame->picture_count, out);
    return PASSEL_OK;
}

const struct kind kind_lights = {
    .schema = { .name = "lights",
                .summary = "The sum of passes lit by one lamp each, rebalanced as if on the set.",
                .notes =
                    "ambient + the sum of gain x tint x matte x (pass - ambient), per channel, in scene-linear light. "
                    "Stops mean a factor of two each. Gains and mattes never touch alpha: the result has the largest "
                    "alpha of its inputs. A light of gain 0, or one that is off, is not read. All passes must have one "
                    "size. With `minus`, the light is what its pass has more than those named: both were filmed with "
                    "the ambient light in them. `black auto` looks at nine frames spread over the shot and takes for "
                    "dark what stands still there, smoothed over cells of 16 pixels; what is filmed must move and "
                    "cover the smaller part. `colour` is a glowing body's below 4000 K, daylight's above 5000 K; 6504 "
                    "K changes nothing in primaries whose white is D65.",
                .example = "night = lights\n"
                           "  ambient  dark\n"
                           "  light    moon      -1.5 stops  colour 7500 K\n"
                           "  light    lamp      +0.5 stops  tint 1 0.86 0.6\n"
                           "  light    windows   minus lamp\n"
                           "  light    bolt      gain strike\n"
                           "  light    rain-far  black auto  matte left-half  gain 0.8\n",
                .form = HEAD_NAMED,
                .makes = MAKES_PICTURE,
                .settings = settings },
    .analysis = &lights_analysis,
    .make = lights_make,
    .open = lights_open,
    .close = lights_close,
    .asks = lights_asks,
    .info = lights_info,
    .fill = lights_fill,
};
