/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "kinds/time_settings.h"

#include "base/error.h"
#include "kinds/pass.h"

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

const struct setting_spec time_head = {
    .values = (const struct value_spec[]){ { .label = "NAME", .type = VALUE_PICTURE }, { .label = NULL } },
};

const struct setting_spec time_settings[] = {
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
      .help =
          "flicker is taken out: each frame is brought to the common brightness of the clip, or of 61 frames at most "
          "that are spread over it; with one gain for the whole frame when nothing more is said",
      .tags =
          (const struct tag_spec[]){
              { .word = "over",
                .help = "only so many frames around each count, so that a slow change of light stays",
                .values = (const struct value_spec[]){ { .label = "N",
                                                         .type = VALUE_INTEGER,
                                                         .unit = UNIT_FRAMES,
                                                         .limited = true,
                                                         .least = 3,
                                                         .most = EVEN_LIMIT },
                                                       { .label = NULL } } },
              { .word = NULL } },
      .operators = even_choices },
    { .help = NULL },
};

/* ---- make ------------------------------------------------------------------------------------------------------ */

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
    if (setting->given)
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

double time_position(const struct time *time, int32_t frame)
{
    if (time->speed == NULL)
        return time->real_speed * (frame - time->start);
    return clip_distance(time->speed, time->start, frame);
}

enum clip_answer time_moments(const struct time *time, int32_t frame, struct clip_moment moments[2], int *count)
{
    return clip_at(&time->clip, time_position(time, frame), time->between == BETWEEN_NEAREST, moments, count);
}

enum passel_status time_runs_off(const struct time *time, const struct recipe *recipe, int32_t frame,
                                 struct passel_error *error)
{
    const double position = time_position(time, frame);
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
        if (time_moments(time, shot->frames[i], moments, &count) == CLIP_RUNS_OFF)
            return time_runs_off(time, recipe, shot->frames[i], error);
    }
    return PASSEL_OK;
}

enum passel_status time_make(const struct block *block, const struct recipe *recipe, const struct shot *shot,
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
