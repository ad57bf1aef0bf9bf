/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The kind `look`: steps that change how a picture looks, in the order of the lines: its light and colour, its
 * sharpness, what hangs in the air before it, and its grain.
 *
 * Steps that look around act on the field: the display window and all of the data. Outside its data a picture is
 * nothing within the field; where the field ends its edge is held, so that a blur does not darken the border.
 */
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "kinds/arena_picture.h"
#include "kinds/encoding_setting.h"
#include "kinds/kinds.h"
#include "kinds/look_steps.h"
#include "kinds/shot.h"
#include "numerics/aperture.h"
#include "picture/function.h"

struct look {
    const struct value *picture;
    const struct setting *const *steps;
    int count, grains;
    bool spreads;  /* some step looks around */
    bool by_alpha; /* some step needs to know what is solid */
    float weights[3];
};

struct look_frame {
    int32_t reach; /* of all steps */
    int count;
    struct look_step steps[];
};

#define ONE(kept, low, high)                                                                                           \
    VALUE_LIST({ .label = "N",                                                                                         \
                 .type = VALUE_NUMBER,                                                                                 \
                 .may_change = true,                                                                                   \
                 .unit = kept,                                                                                         \
                 .limited = true,                                                                                      \
                 .least = low,                                                                                         \
                 .most = high })
#define THREE(low, high)                                                                                               \
    VALUE_LIST({ .label = "R G B",                                                                                     \
                 .type = VALUE_NUMBER,                                                                                 \
                 .may_change = true,                                                                                   \
                 .least_count = 3,                                                                                     \
                 .most_count = 3,                                                                                      \
                 .limited = true,                                                                                      \
                 .least = low,                                                                                         \
                 .most = high })

static const struct tag_spec cdl_tags[] = {
    { .word = "slope", .help = "what each colour is multiplied by; 1 1 1 when not given", .values = THREE(0, 100) },
    { .word = "offset", .help = "what is then added; 0 0 0 when not given", .values = THREE(-10, 10) },
    { .word = "power",
      .help =
          "the exponent that it is then raised to; 1 1 1 when not given. What is below 0 becomes 0 where it is not 1",
      .values = THREE(0.01, 100) },
    { .word = "saturation",
      .help = "of the result: 0% is grey, 100% when not given",
      .values = ONE(UNIT_FRACTION, 0, 10) },
    { .word = "encoding",
      .help = "the codes on which all of this is done; linear when not given. Numbers from a grade were most often "
              "found on another one: ask",
      .values = VALUE_LIST({ .label = "ENCODING", .type = VALUE_CHOICE, .choices = encoding_choices }) },
    { .word = NULL },
};

static const struct tag_spec veil_tags[] = {
    { .word = "colour",
      .help = "of what hangs in the air, scene-linear; middle grey when not given",
      .values = THREE(0, 1000) },
    { .word = NULL },
};

static const struct tag_spec vignette_tags[] = {
    { .word = "from",
      .help = "where it begins, as a share of the way from the centre to a corner; the centre when not given",
      .values = ONE(UNIT_FRACTION, 0, 0.99) },
    { .word = NULL },
};

static const struct tag_spec sharpen_tags[] = {
    { .word = "radius",
      .help = "standard deviation of the blur it undoes; 1 px when not given",
      .values = ONE(UNIT_PX, 0, 100) },
    { .word = NULL },
};

static const struct tag_spec glow_tags[] = {
    { .word = "above", .help = "light below this does not glow; 1 when not given", .values = ONE(UNIT_NONE, 0, 1000) },
    { .word = "strength",
      .help = "how much of that light is spread; 20% when not given",
      .values = ONE(UNIT_FRACTION, 0, 10) },
    { .word = NULL },
};

static const struct tag_spec grain_tags[] = {
    { .word = "like", .help = "whose grain", .values = VALUE_LIST({ .label = "NAME", .type = VALUE_PICTURE }) },
    { .word = "strength", .help = "so much of it; 100% when not given", .values = ONE(UNIT_FRACTION, 0, 10) },
    { .word = "seed",
      .help = "another number, other grain of the same kind",
      .values = VALUE_LIST({ .label = "N", .type = VALUE_INTEGER }) },
    { .word = NULL },
};

static const struct setting_spec head = { .values = VALUE_LIST({ .label = "NAME", .type = VALUE_PICTURE }) };

/* In the order of enum look_action. */
static const struct setting_spec settings[] = {
    { .word = "exposure",
      .help = "lighter or darker; one stop is twice the light",
      .values = ONE(UNIT_STOPS, -30, 30),
      .repeats = true },
    { .word = "balance", .help = "each colour times a number", .values = THREE(0, 1000), .repeats = true },
    { .word = "cdl",
      .help = "slope, offset, power and saturation as the ASC's color decision list defines them",
      .tags = cdl_tags,
      .repeats = true },
    { .word = "saturation",
      .help = "how colourful: 0% is grey of the same luminance, 100% changes nothing",
      .values = ONE(UNIT_FRACTION, 0, 10),
      .repeats = true },
    { .word = "veil",
      .help = "mist or smoke evenly before it: so much of the picture gives way to the veil's colour, so that a model "
              "seems further away",
      .values = ONE(UNIT_FRACTION, 0, 1),
      .tags = veil_tags,
      .repeats = true },
    { .word = "vignette",
      .help = "darkens towards the corners, which lose so much",
      .values = ONE(UNIT_STOPS, 0, 10),
      .tags = vignette_tags,
      .repeats = true },
    { .word = "blur",
      .help = "a Gaussian of this standard deviation",
      .values = ONE(UNIT_PX, 0, 200),
      .repeats = true },
    { .word = "defocus",
      .help = "out of focus: every point becomes an even disc of this radius, bright points most of all",
      .values = ONE(UNIT_PX, 0, APERTURE_RADIUS_LIMIT),
      .repeats = true },
    { .word = "sharpen",
      .help = "adds so much of what a blur would take away",
      .values = ONE(UNIT_FRACTION, 0, 10),
      .tags = sharpen_tags,
      .repeats = true },
    { .word = "glow",
      .help = "light scattered around what is bright, as by a lens, with this standard deviation",
      .values = ONE(UNIT_PX, 0, 200),
      .tags = glow_tags,
      .repeats = true },
    { .word = "grain",
      .help = "grain as another picture has it, measured there at every level of light and laid on where this one is "
              "solid, new on every frame; for what has none of its own: painted, drawn, blurred or standing still",
      .tags = grain_tags,
      .repeats = true },
    { .help = NULL },
};

static enum passel_status look_make(const struct block *block, const struct recipe *recipe, const struct shot *shot,
                                    struct arena *arena, void **self, struct passel_error *error)
{
    struct look *look = arena_take(arena, sizeof *look);
    const struct setting **steps = arena_array(arena, (size_t)block->setting_count + 1, sizeof *steps);
    double weights[3];
    if (look == NULL || steps == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    look->picture = setting_value(block->head, 0);
    look->steps = steps;
    for (int i = 0; i < block->setting_count; i++) {
        const struct setting *setting = steps[look->count++] = &block->settings[i];
        const enum look_action action = (enum look_action)(setting->spec - settings);
        look->grains += action == LOOK_GRAIN;
        look->spreads = look->spreads || (action >= LOOK_BLUR && action <= LOOK_GLOW);
        look->by_alpha = look->by_alpha || action == LOOK_CDL || action == LOOK_VEIL || action == LOOK_GRAIN;
        if (action == LOOK_GRAIN && setting_tag(setting, "like") == NULL)
            return recipe_error(recipe, setting->where, PASSEL_BAD_RECIPE, error,
                                "grain needs the picture whose grain it is: `grain like NAME`");
        if (look->grains >= ASK_LIMIT)
            return recipe_error(recipe, setting->where, PASSEL_BAD_RECIPE, error, "too many grains: at most %d",
                                ASK_LIMIT - 1);
    }
    primaries_luminance(&shot->primaries, weights);
    for (int c = 0; c < 3; c++)
        look->weights[c] = (float)weights[c];
    *self = look;
    return PASSEL_OK;
}

/* ---- one frame --------------------------------------------------------------------------------------------------- */

/* The tag's number at this frame, or `otherwise` when it is not given. */
static double tag_number(const struct at *at, const struct setting *setting, const char *word, int component,
                         double otherwise)
{
    const struct value *value = setting_tag_value(setting, word, 0);
    return value != NULL ? value_at(value, component, at->frame, at->scale) : otherwise;
}

static void cdl_at(const struct at *at, const struct setting *setting, struct cdl *cdl)
{
    const struct value *encoding = setting_tag_value(setting, "encoding", 0);
    for (int c = 0; c < 3; c++) {
        cdl->slope[c] = (float)tag_number(at, setting, "slope", c, 1);
        cdl->offset[c] = (float)tag_number(at, setting, "offset", c, 0);
        cdl->power[c] = tag_number(at, setting, "power", c, 1);
    }
    cdl->saturation = (float)tag_number(at, setting, "saturation", 0, 1);
    cdl->encoding =
        (struct encoding){ .curve = encoding != NULL ? (enum encoding_curve)encoding->choice : ENCODING_LINEAR,
                           .gamma = 2.2 };
}

static struct look_step step_at(const struct at *at, const struct setting *setting)
{
    const struct look *look = at->self;
    struct look_step step = { .action = (enum look_action)(setting->spec - settings) };
    const struct value *value = setting_value(setting, 0);
    const double amount = value != NULL ? value_at(value, 0, at->frame, at->scale) : 1;
    step.amount = (float)amount;
    memcpy(step.weights, look->weights, sizeof step.weights);
    for (int c = 0; c < 3 && value != NULL; c++)
        step.colour[c] = (float)value_at(value, c, at->frame, at->scale);
    switch (step.action) {
    case LOOK_EXPOSURE:
        step.colour[0] = step.colour[1] = step.colour[2] = (float)function_exp2(amount);
        break;
    case LOOK_CDL:
        cdl_at(at, setting, &step.cdl);
        break;
    case LOOK_VEIL:
        for (int c = 0; c < 3; c++)
            step.colour[c] = (float)tag_number(at, setting, "colour", c, 0.18);
        break;
    case LOOK_VIGNETTE:
        step.level = (float)tag_number(at, setting, "from", 0, 0);
        break;
    case LOOK_SHARPEN:
        step.pixels = tag_number(at, setting, "radius", 0, 1.0 / at->scale);
        break;
    case LOOK_GLOW:
        step.amount = (float)tag_number(at, setting, "strength", 0, 0.2);
        step.level = (float)tag_number(at, setting, "above", 0, 1);
        step.pixels = amount;
        break;
    case LOOK_GRAIN:
        step.amount = (float)tag_number(at, setting, "strength", 0, 1);
        break;
    default:
        step.pixels = amount;
        break;
    }
    step.reach = look_step_reach(step.action, step.pixels);
    return step;
}

static uint64_t grain_seed(const struct at *at, const struct setting *setting, int index)
{
    const struct value *seed = setting_tag_value(setting, "seed", 0);
    const uint64_t given = (uint64_t)(int64_t)(seed != NULL ? seed->numbers[0] : 1);
    return (given << 40) + ((uint64_t)index << 32) + (uint32_t)at->frame;
}

static enum passel_status look_open(const struct at *at, void **state, struct passel_error *error)
{
    const struct look *look = at->self;
    struct look_frame *frame = memory_zeros(1, sizeof *frame + (size_t)look->count * sizeof *frame->steps);
    if (frame == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    frame->count = look->count;
    for (int i = look->count - 1; i >= 0; i--) {
        frame->steps[i] = step_at(at, look->steps[i]);
        frame->steps[i].seed = grain_seed(at, look->steps[i], i);
        frame->steps[i].reach_after = frame->reach;
        frame->reach += frame->steps[i].reach;
    }
    *state = frame;
    return PASSEL_OK;
}

static void look_close(void *state, struct text *notes)
{
    (void)notes;
    memory_free(state);
}

static bool look_by_frame(const struct at *at)
{
    const struct look *look = at->self;
    return look->grains > 0;
}

static enum passel_status look_asks(const struct at *at, struct ask_list *list, struct passel_error *error)
{
    const struct look *look = at->self;
    (void)error;
    ask_value(list, look->picture, at->frame);
    if (!list->failed)
        list->asks[list->count - 1].planes |= HAS_RGB | (look->by_alpha ? HAS_A : 0);
    return PASSEL_OK;
}

static enum passel_status look_info(const struct at *at, struct picture_info *info, struct passel_error *error)
{
    const struct look *look = at->self;
    (void)error;
    *info = (struct picture_info){ .display = at->inputs[0].display,
                                   .data = at->inputs[0].data,
                                   .planes = at->inputs[0].planes | HAS_RGB,
                                   .chunk_rows = at->inputs[0].chunk_rows,
                                   .pixel_aspect = at->inputs[0].pixel_aspect };
    if (look->spreads)
        info->data = rect_join(info->display, info->data);
    return PASSEL_OK;
}

static struct rect step_area(const struct at *at, struct rect want, int32_t reach)
{
    return rect_cut(rect_grow(want, reach, reach), at->info->data);
}

static struct rect look_reach(const struct at *at, int ask, struct rect want)
{
    const struct look_frame *frame = at->state;
    (void)ask;
    return step_area(at, want, frame->reach);
}

static enum passel_status look_fill(const struct at *at, const struct picture *in, const struct picture *out,
                                    struct arena *scratch, struct passel_error *error)
{
    const struct look_frame *frame = at->state;
    const struct grain *grain = at->found;
    struct picture picture;
    RETURN_IF_ERROR(
        arena_picture(scratch, step_area(at, out->area, frame->reach), picture_planes(&in[0]), &picture, error));
    picture_copy(&picture, &in[0]);
    for (int i = 0; i < frame->count; i++) {
        struct look_step step = frame->steps[i];
        step.frame = at->info->display;
        if (step.action == LOOK_GRAIN)
            step.grain = grain++;
        RETURN_IF_ERROR(look_step_run(&step, step_area(at, out->area, step.reach_after), &picture, scratch, error));
    }
    picture_copy(out, &picture);
    return PASSEL_OK;
}

/* ---- the grain of other pictures --------------------------------------------------------------------------------- */

/* Each picture in the middle of the shot: grain hardly changes, and one look is cheap. */
static enum passel_status grain_asks(const struct at *at, struct ask_list *list, struct passel_error *error)
{
    const struct look *look = at->self;
    (void)error;
    for (int i = 0; i < look->count; i++) {
        if (look->steps[i]->spec == &settings[LOOK_GRAIN])
            ask_whole(list, setting_tag_value(look->steps[i], "like", 0), shot_look(at->shot, 1, 0), HAS_RGB, 0);
    }
    return PASSEL_OK;
}

static enum passel_status grain_add(const struct at *at, int round, const struct picture *pictures,
                                    const struct picture_info *infos, int count, void **work,
                                    struct passel_error *error)
{
    struct grain *grain = memory_zeros((size_t)count, sizeof *grain);
    (void)at;
    (void)round;
    (void)infos;
    if (grain == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    *work = grain;
    for (int i = 0; i < count; i++)
        RETURN_IF_ERROR(grain_measure(&grain[i], &pictures[i], NULL, &pictures[i].area, 1, error));
    return PASSEL_OK;
}

static enum passel_status grain_finish(const struct at *at, void *work, void **found, size_t *bytes,
                                       struct passel_error *error)
{
    const struct look *look = at->self;
    const size_t size = (size_t)look->grains * sizeof(struct grain);
    *found = memory_zeros(1, size);
    if (*found == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    memcpy(*found, work, size);
    *bytes = size;
    return PASSEL_OK;
}

static const struct analysis grain_analysis = {
    .asks = grain_asks,
    .add = grain_add,
    .finish = grain_finish,
    .drop_work = memory_free,
    .drop_found = memory_free,
};

const struct kind kind_look = {
    .schema = { .name = "look",
                .summary = "How a picture looks: its light, colour, sharpness, mist, glow and grain.",
                .notes = "Steps are done in the order of the lines and may stand more than once. All of them work on "
                         "scene-linear light, so a blur or a defocus treats a lamp as the bright thing it is. Alpha "
                         "is blurred with the picture and changed by nothing else.",
                .example = "far = look cottage\n"
                           "  defocus  2 px\n"
                           "  veil     12%  colour 0.05 0.06 0.08\n"
                           "  grain    like moon\n",
                .form = HEAD_NAMED,
                .makes = MAKES_PICTURE,
                .head = &head,
                .settings = settings },
    .analysis = &grain_analysis,
    .make = look_make,
    .open = look_open,
    .close = look_close,
    .by_frame = look_by_frame,
    .asks = look_asks,
    .info = look_info,
    .reach = look_reach,
    .fill = look_fill,
};
