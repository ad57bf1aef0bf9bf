/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The kind `lights`: passes of one set under one lamp each, summed as light is:
 *
 *   ambient + Σ gain · tint · (pass − ambient)   =   ambient · (1 − Σ gain · tint) + Σ gain · tint · pass
 *
 * per channel. The second form costs one multiplication per input. Sums are made in double and rounded once, so the
 * order of the lights does not show. Noise below zero is kept.
 */
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "kinds/kinds.h"
#include "kinds/shot.h"
#include "picture/function.h"

struct light {
    const struct value *picture;
    const struct value *stops, *gain, *tint; /* each NULL when it was not given */
};

struct lights {
    const struct value *ambient; /* or NULL */
    struct light *lights;        /* those that are lit */
    int count;
};

/* The inputs of one frame, in the order of the asks; none has weight 0 in all channels. */
struct lights_frame {
    int count;
    struct weighted {
        const struct value *picture;
        double weight[3];
    } inputs[];
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

static const struct value *given(const struct value *value)
{
    return value != NULL && value->spec != NULL ? value : NULL;
}

static enum passel_status read_light(const struct setting *setting, const struct recipe *recipe, struct light *light,
                                     struct passel_error *error)
{
    light->picture = setting_value(setting, 0);
    light->stops = given(setting_value(setting, 1));
    light->gain = setting_tag_value(setting, "gain", 0);
    light->tint = setting_tag_value(setting, "tint", 0);
    if (light->stops != NULL && light->gain != NULL)
        return recipe_error(recipe, light->gain->where, PASSEL_BAD_RECIPE, error,
                            "a light has stops or a gain, not both: gain 2 is the same as +1 stops");
    return PASSEL_OK;
}

static enum passel_status lights_make(const struct block *block, const struct recipe *recipe, const struct shot *shot,
                                      struct arena *arena, void **self, struct passel_error *error)
{
    (void)shot;
    struct lights *lights = arena_take(arena, sizeof *lights);
    if (lights != NULL)
        lights->lights = arena_array(arena, (size_t)block->setting_count, sizeof *lights->lights);
    if (lights == NULL || lights->lights == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    lights->ambient = setting_value(block_setting(block, "ambient"), 0);
    const bool solo = any_solo(block);
    for (int i = 0; i < block->setting_count; i++) {
        const struct setting *setting = &block->settings[i];
        if (!is_setting(setting, "light"))
            continue;
        struct light light;
        RETURN_IF_ERROR(read_light(setting, recipe, &light, error));
        if (is_switched(setting, solo ? "solo" : "off") != solo)
            continue;
        if (lights->count + 1 == ASK_LIMIT)
            return recipe_error(recipe, setting->where, PASSEL_BAD_RECIPE, error,
                                "a `lights` block holds at most %d lights", ASK_LIMIT - 1);
        lights->lights[lights->count++] = light;
    }
    *self = lights;
    return PASSEL_OK;
}

static void light_weight(const struct light *light, const struct at *at, double weight[3])
{
    double gain = 1;
    if (light->stops != NULL)
        gain = function_exp2(value_at(light->stops, 0, at->frame, at->scale));
    if (light->gain != NULL)
        gain = value_at(light->gain, 0, at->frame, at->scale);
    for (int c = 0; c < 3; c++)
        weight[c] = light->tint != NULL ? gain * value_at(light->tint, c, at->frame, at->scale) : gain;
}

static void add_weighted(struct lights_frame *frame, const struct value *picture, const double weight[3])
{
    if (weight[0] == 0 && weight[1] == 0 && weight[2] == 0)
        return;
    struct weighted *input = &frame->inputs[frame->count++];
    input->picture = picture;
    memcpy(input->weight, weight, sizeof input->weight);
}

static enum passel_status lights_open(const struct at *at, void **state, struct passel_error *error)
{
    const struct lights *lights = at->self;
    struct lights_frame *frame = memory_zeros(1, sizeof *frame + ((size_t)lights->count + 1) * sizeof *frame->inputs);
    if (frame == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    const bool kept = !is_switched(block_setting(at->block, "ambient"), "off");
    double ambient[3] = { kept, kept, kept };
    for (int i = 0; i < lights->count; i++) {
        double weight[3];
        light_weight(&lights->lights[i], at, weight);
        for (int c = 0; c < 3; c++)
            ambient[c] -= weight[c];
        add_weighted(frame, lights->lights[i].picture, weight);
    }
    if (lights->ambient != NULL)
        add_weighted(frame, lights->ambient, ambient);
    *state = frame;
    return PASSEL_OK;
}

static void lights_close(void *state, struct text *notes)
{
    (void)notes;
    memory_free(state);
}

static enum passel_status lights_asks(const struct at *at, struct ask_list *list, struct passel_error *error)
{
    (void)error;
    const struct lights_frame *frame = at->state;
    for (int i = 0; i < frame->count; i++)
        ask_value(list, frame->inputs[i].picture, at->frame);
    return PASSEL_OK;
}

static enum passel_status check_sizes(const struct at *at, struct passel_error *error)
{
    const struct lights_frame *frame = at->state;
    const struct rect first = at->inputs[0].display;
    for (int i = 1; i < at->ask_count; i++) {
        const struct rect other = at->inputs[i].display;
        if (rect_width(other) == rect_width(first) && rect_height(other) == rect_height(first))
            continue;
        return recipe_error(at->recipe, frame->inputs[i].picture->where, PASSEL_BAD_RECIPE, error,
                            "lights are summed pixel by pixel and must have one size: `%s` is %dx%d, `%s` is %dx%d",
                            frame->inputs[0].picture->text, (int)rect_width(first), (int)rect_height(first),
                            frame->inputs[i].picture->text, (int)rect_width(other), (int)rect_height(other));
    }
    return PASSEL_OK;
}

static enum passel_status lights_info(const struct at *at, struct picture_info *info, struct passel_error *error)
{
    *info = (struct picture_info){ .planes = HAS_RGB, .chunk_rows = 1, .pixel_aspect = 1 };
    if (at->ask_count == 0) {
        info->display = shot_window(at->shot, at->scale);
        return PASSEL_OK;
    }
    RETURN_IF_ERROR(check_sizes(at, error));
    info->display = at->inputs[0].display;
    info->pixel_aspect = at->inputs[0].pixel_aspect;
    for (int i = 0; i < at->ask_count; i++) {
        const struct picture_info *input = &at->inputs[i];
        info->data = rect_join(info->data, input->data);
        info->planes |= input->planes & HAS_A;
        if (input->chunk_rows > info->chunk_rows)
            info->chunk_rows = input->chunk_rows;
    }
    return PASSEL_OK;
}

enum { RUN = 512 }; /* pixels summed at a time: the sums stay in the first-level cache */

static void add_run(double *restrict sums, const float *restrict in, double weight, size_t count)
{
    for (size_t x = 0; x < count; x++)
        sums[x] += weight * (double)in[x];
}

static void add_run_2(double *restrict sums, const float *restrict a, const float *restrict b, double weight_a,
                      double weight_b, size_t count)
{
    for (size_t x = 0; x < count; x++)
        sums[x] += weight_a * (double)a[x] + weight_b * (double)b[x];
}

static void sum_run(const struct lights_frame *frame, const struct picture *in, enum plane plane, int32_t y, int32_t x0,
                    float *restrict out, size_t count)
{
    double sums[RUN] = { 0 };
    int i = 0;
    for (; i + 1 < frame->count; i += 2)
        add_run_2(sums, picture_row(&in[i], plane, y) + (x0 - in[i].area.x0),
                  picture_row(&in[i + 1], plane, y) + (x0 - in[i + 1].area.x0), frame->inputs[i].weight[plane],
                  frame->inputs[i + 1].weight[plane], count);
    if (i < frame->count)
        add_run(sums, picture_row(&in[i], plane, y) + (x0 - in[i].area.x0), frame->inputs[i].weight[plane], count);
    for (size_t x = 0; x < count; x++)
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
    for (int p = PLANE_R; p <= PLANE_B; p++) {
        for (int32_t y = out->area.y0; y < out->area.y1 && out->plane[p] != NULL; y++) {
            float *row = picture_row(out, (enum plane)p, y);
            for (int32_t x = out->area.x0; x < out->area.x1; x += RUN) {
                const int32_t count = out->area.x1 - x < RUN ? out->area.x1 - x : RUN;
                sum_run(frame, in, (enum plane)p, y, x, row + (x - out->area.x0), (size_t)count);
            }
        }
    }
    if (out->plane[PLANE_A] != NULL)
        fill_alpha(in, frame->count, out);
    return PASSEL_OK;
}

const struct kind kind_lights = {
    .schema = { .name = "lights",
                .summary = "The sum of passes lit by one lamp each, rebalanced as if on the set.",
                .notes =
                    "ambient + the sum of gain x tint x (pass - ambient), per channel, in scene-linear light. Stops "
                    "mean a factor of two each. Gains never touch alpha: the result has the largest alpha of its "
                    "inputs. A light of gain 0, or one that is off, is not read. All passes must have one size.",
                .example = "night = lights\n"
                           "  ambient  dark\n"
                           "  light    moon  -1.5 stops  tint 0.75 0.85 1\n"
                           "  light    lamp  +0.5 stops\n"
                           "  light    bolt  gain strike\n",
                .form = HEAD_NAMED,
                .makes = MAKES_PICTURE,
                .settings = settings },
    .make = lights_make,
    .open = lights_open,
    .close = lights_close,
    .asks = lights_asks,
    .info = lights_info,
    .fill = lights_fill,
};
