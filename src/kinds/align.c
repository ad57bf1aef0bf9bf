/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The kind `align`: a pass that the camera took from a slightly other place is put back in register, by what both
 * pictures show (numerics/register.h).
 *
 * `once` looks at up to nine frames spread over the shot, and one map serves them all; `each frame` finds one for every
 * frame, and with `smooth` takes out of it only what is quicker than the drift of so many frames around it.
 */
#include "kinds/align.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <xxhash.h>

#include "base/error.h"
#include "base/memory.h"
#include "kinds/align_path.h"
#include "kinds/kinds.h"

#define LOOKS 9       /* frames that `once` looks at */
#define DOUBTFUL 0.12 /* an expected error, in pixels, that is worth a word */

struct align {
    const struct value *picture, *to, *to_frame, *shape; /* the last two may be NULL */
    const struct value *corners;                         /* told, in the place of looking; or NULL */
    enum register_model model;
    bool each;
    int half; /* `smooth`: frames on either side; 0 without */
};

/* In the order of enum register_model. */
static const struct choice models[] = {
    { "move", "across and down" },
    { "move+turn", "and a turn" },
    { "move+turn+size", "and a change of size: the camera came nearer, or the focus breathed" },
    { "pin", "four corners, each by itself: the camera looks from a slightly other side" },
    { NULL, NULL },
};

static const struct choice each_choices[] = { { "frame", "for every frame of the shot" }, { NULL, NULL } };

static const struct tag_spec to_tags[] = {
    { .word = "frame",
      .help = "always this frame of it: to hold a shaking take still",
      .values = (const struct value_spec[]){ { .label = "N", .type = VALUE_INTEGER, .unit = UNIT_NONE },
                                             { .label = NULL } } },
    { .word = NULL },
};

static const struct tag_spec each_tags[] = {
    { .word = "smooth",
      .help = "keeps the drift over so many frames and takes out only what is quicker",
      .values =
          (const struct value_spec[]){
              { .label = "N", .type = VALUE_INTEGER, .unit = UNIT_FRAMES, .limited = true, .least = 3, .most = 61 },
              { .label = NULL } } },
    { .word = NULL },
};

static const struct setting_spec head = {
    .values = (const struct value_spec[]){ { .label = "NAME", .type = VALUE_PICTURE }, { .label = NULL } },
};

static const struct setting_spec settings[] = {
    { .word = "to",
      .help = "the picture it is laid on; lit as it may be",
      .values = (const struct value_spec[]){ { .label = "NAME", .type = VALUE_PICTURE }, { .label = NULL } },
      .tags = to_tags,
      .required = true },
    { .word = "find",
      .help = "what has happened to the camera. The less is looked for, the surer is what is found",
      .values = (const struct value_spec[]){ { .label = "WHAT", .type = VALUE_CHOICE, .choices = models },
                                             { .label = NULL } },
      .standard = "move+turn" },
    { .word = "once",
      .help = "one answer for all frames, from nine of them spread over the shot: the camera was bumped between the "
              "passes. This is so unless `each frame` is given" },
    { .word = "each",
      .help = "each frame by itself: the camera shook",
      .values = (const struct value_spec[]){ { .label = "frame", .type = VALUE_CHOICE, .choices = each_choices },
                                             { .label = NULL } },
      .tags = each_tags },
    { .word = "measure",
      .help = "look only where this matte is not empty, in the frame of `to`: at the set, not at what moves before it",
      .values = (const struct value_spec[]){ { .label = "SHAPE", .type = VALUE_PICTURE }, { .label = NULL } } },
    { .word = "corners",
      .help =
          "the answer in numbers, and nothing is looked for: where the corners of the frame lie in the picture, top "
          "left, top right, bottom right, bottom left. `passel fit RECIPE BLOCK --write` writes this line",
      .values = (const struct value_spec[]){ { .label = "X Y X Y X Y X Y",
                                               .type = VALUE_NUMBER,
                                               .may_change = true,
                                               .least_count = 8,
                                               .most_count = 8,
                                               .unit = UNIT_PX,
                                               .limited = true,
                                               .least = -100000,
                                               .most = 100000 },
                                             { .label = NULL } } },
    { .help = NULL },
};

static enum passel_status align_make(const struct block *block, const struct recipe *recipe, const struct shot *shot,
                                     struct arena *arena, void **self, struct passel_error *error)
{
    struct align *align = arena_take(arena, sizeof *align);
    const struct setting *to = block_setting(block, "to"), *each = block_setting(block, "each");
    (void)shot;
    if (align == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    align->picture = setting_value(block->head, 0);
    align->to = setting_value(to, 0);
    align->to_frame = setting_tag_value(to, "frame", 0);
    align->corners = setting_value(block_setting(block, "corners"), 0);
    align->shape = setting_value(block_setting(block, "measure"), 0);
    align->model = (enum register_model)setting_value(block_setting(block, "find"), 0)->choice;
    align->each = each != NULL;
    const struct value *smooth = setting_tag_value(each, "smooth", 0);
    align->half = smooth != NULL ? (int)smooth->numbers[0] / 2 : 0;
    if (align->each && block_setting(block, "once") != NULL)
        return recipe_error(recipe, each->where, PASSEL_BAD_RECIPE, error, "either `once` or `each frame`, not both");
    *self = align;
    return PASSEL_OK;
}

/* ---- looking ----------------------------------------------------------------------------------------------------- */

/* What has been seen so far: one sight for each round. */
struct looking {
    struct rect window; /* of `to` */
    int count;
    struct sight sights[ASK_LIMIT];
    XXH64_hash_t seen[ASK_LIMIT]; /* what the pictures of a round hold */
};

static int index_of(const struct shot *shot, int32_t frame)
{
    int i = 0;
    while (i + 1 < shot->frame_count && shot->frames[i] < frame)
        i++;
    return i;
}

/* The frames looked at, rising. */
static int frames_looked_at(const struct at *at, int32_t frames[ASK_LIMIT])
{
    const struct align *align = at->self;
    const struct shot *shot = at->shot;
    int count = 0;
    if (align->each) {
        const int here = index_of(shot, at->frame);
        for (int i = here - align->half; i <= here + align->half; i++)
            if (i >= 0 && i < shot->frame_count)
                frames[count++] = i == here ? at->frame : shot->frames[i];
        return count;
    }
    const int looks = shot->frame_count < LOOKS ? shot->frame_count : LOOKS;
    for (int i = 0; i < looks; i++)
        frames[count++] = shot->frames[looks == 1 ? 0 : i * (shot->frame_count - 1) / (looks - 1)];
    return count;
}

static enum passel_status looking_asks(const struct at *at, struct ask_list *list, struct passel_error *error)
{
    const struct align *align = at->self;
    int32_t frames[ASK_LIMIT];
    const int count = align->corners != NULL ? 0 : frames_looked_at(at, frames);
    (void)error;
    for (int i = 0; i < count; i++) {
        const int32_t to = align->to_frame != NULL ? (int32_t)align->to_frame->numbers[0] : frames[i];
        ask_whole(list, align->picture, frames[i], PLANES_AS_WANTED, i);
        ask_whole(list, align->to, to, PLANES_AS_WANTED, i);
        if (align->shape != NULL)
            ask_whole(list, align->shape, frames[i], HAS_A, i);
    }
    return PASSEL_OK;
}

/* Equal pictures need not be compared again: of stills one look is enough. */
static XXH64_hash_t hash_of(const struct picture *pictures, int count)
{
    XXH64_hash_t hash = 0;
    for (int i = 0; i < count; i++) {
        const struct picture *picture = &pictures[i];
        hash = XXH3_64bits_withSeed(&picture->area, sizeof picture->area, hash);
        for (int p = 0; p < PLANE_COUNT; p++)
            for (int32_t y = picture->area.y0; picture->plane[p] != NULL && y < picture->area.y1; y++)
                hash = XXH3_64bits_withSeed(picture_row(picture, (enum plane)p, y),
                                            (size_t)rect_width(picture->area) * sizeof(float), hash);
    }
    return hash;
}

static enum passel_status see(const struct align *align, const struct looking *looking, const struct picture *pictures,
                              struct sight *sight, struct passel_error *error)
{
    struct registration found;
    struct passel_error refusal = { PASSEL_OK, "" };
    const struct picture *shape = align->shape != NULL ? &pictures[2] : NULL;
    if (rect_empty(pictures[0].area) || rect_empty(pictures[1].area))
        return PASSEL_OK;
    const enum passel_status status =
        register_pictures(&pictures[1], &pictures[0], shape, align->model, NULL, &found, &refusal);
    sight->expected = found.expected;
    sight->agreement = found.agreement;
    if (status == PASSEL_BAD_PICTURE) {
        sight->state = SIGHT_REFUSED;
        (void)snprintf(sight->reason, sizeof sight->reason, "%s", refusal.text);
        return PASSEL_OK;
    }
    if (status == PASSEL_OK) {
        sight->state = SIGHT_FOUND;
        corners_of_map(&found.map, looking->window, sight->corner);
        return PASSEL_OK;
    }
    return error_set(error, status, "%s", refusal.text);
}

static enum passel_status looking_add(const struct at *at, int round, const struct picture *pictures,
                                      const struct picture_info *infos, int count, void **work,
                                      struct passel_error *error)
{
    int32_t frames[ASK_LIMIT];
    struct looking *looking = *work;
    (void)frames_looked_at(at, frames);
    if (looking == NULL) {
        looking = memory_zeros(1, sizeof *looking);
        if (looking == NULL)
            return error_set(error, PASSEL_NO_MEMORY, "out of memory");
        looking->window = infos[1].display;
        *work = looking;
    }
    struct sight *sight = &looking->sights[round];
    const XXH64_hash_t hash = hash_of(pictures, count);
    looking->seen[round] = hash;
    looking->count = round + 1;
    for (int i = 0; i < round; i++) {
        if (looking->seen[i] != hash)
            continue;
        *sight = looking->sights[i];
        sight->frame = frames[round];
        return PASSEL_OK;
    }
    sight->frame = frames[round];
    return see(at->self, looking, pictures, sight, error);
}

/* ---- the answer -------------------------------------------------------------------------------------------------- */

static enum passel_status refuse(const struct at *at, const struct sight *sight, struct passel_error *error)
{
    const struct align *align = at->self;
    if (sight == NULL)
        return recipe_error(at->recipe, at->block->where, PASSEL_BAD_PICTURE, error,
                            "`%s` and `%s` have pixels together at none of the frames looked at", align->picture->text,
                            align->to->text);
    return recipe_error(at->recipe, at->block->where, PASSEL_BAD_PICTURE, error,
                        "`%s` cannot be laid on `%s`: at frame %d %s. Name with `measure` a shape around something "
                        "firm that both show%s, or use `place` with numbers of your own",
                        align->picture->text, align->to->text, (int)sight->frame, sight->reason,
                        align->model == REGISTER_MOVE ? "" : ", look for less with `find`");
}

static enum passel_status disagree(const struct at *at, const struct looking *looking, int near, int found,
                                   struct passel_error *error)
{
    const struct sight *first = NULL, *last = NULL;
    double move[2] = { 0, 0 };
    for (int i = 0; i < looking->count; i++) {
        if (looking->sights[i].state != SIGHT_FOUND)
            continue;
        first = first == NULL ? &looking->sights[i] : first;
        last = &looking->sights[i];
    }
    for (int k = 0; k < 8; k++)
        move[k & 1] += (last->corner[k] - first->corner[k]) / 4;
    return recipe_error(at->recipe, at->block->where, PASSEL_BAD_PICTURE, error,
                        "no one place fits the whole shot: %d of %d frames agree, and from frame %d to frame %d the "
                        "picture moves by %.2f %.2f px. Say `each frame`",
                        near, found, (int)first->frame, (int)last->frame, move[0], move[1]);
}

static const struct sight *first_refused(const struct looking *looking, int *refused)
{
    const struct sight *first = NULL;
    *refused = 0;
    for (int i = 0; i < looking->count; i++) {
        if (looking->sights[i].state != SIGHT_REFUSED)
            continue;
        first = first == NULL ? &looking->sights[i] : first;
        (*refused)++;
    }
    return first;
}

/* At frames where it is too dark to see there may be nothing to find; a third of those with pixels must do. */
static enum passel_status answer_once(const struct at *at, const struct looking *looking, struct align_found *answer,
                                      struct passel_error *error)
{
    const struct align *align = at->self;
    double corner[8];
    int found, refused;
    const struct sight *sight = first_refused(looking, &refused);
    const int near = path_one(looking->sights, looking->count, corner, &answer->expected, &found);
    if (found == 0 || found * 2 < refused)
        return refuse(at, sight, error);
    if (near * 2 <= found || !map_of_corners(corner, looking->window, align->model, &answer->map))
        return disagree(at, looking, near, found, error);
    for (int i = 0; i < looking->count; i++)
        if (looking->sights[i].state == SIGHT_FOUND)
            answer->agreement += looking->sights[i].agreement / found;
    return PASSEL_OK;
}

static enum passel_status answer_each(const struct at *at, const struct looking *looking, struct align_found *answer,
                                      struct passel_error *error)
{
    const struct align *align = at->self;
    const struct sight *here = &looking->sights[0];
    double corner[8];
    while (here->frame != at->frame)
        here++;
    if (here->state != SIGHT_FOUND)
        return refuse(at, here->state == SIGHT_NOTHING ? NULL : here, error);
    answer->expected = here->expected;
    answer->agreement = here->agreement;
    struct transform drift = transform_identity(), back = drift;
    bool fine = map_of_corners(here->corner, looking->window, align->model, &answer->map);
    if (align->half > 0) {
        path_drift(looking->sights, looking->count, at->frame, align->half, corner);
        fine = fine && map_of_corners(corner, looking->window, align->model, &drift) && transform_invert(drift, &back);
        answer->map = transform_chain(back, answer->map);
    }
    return fine ? PASSEL_OK : refuse(at, here, error);
}

static enum passel_status looking_finish(const struct at *at, void *work, void **found, size_t *bytes,
                                         struct passel_error *error)
{
    const struct align *align = at->self;
    struct align_found *answer = memory_zeros(1, sizeof *answer);
    if (answer == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    const enum passel_status status =
        align->each ? answer_each(at, work, answer, error) : answer_once(at, work, answer, error);
    if (status != PASSEL_OK) {
        memory_free(answer);
        return status;
    }
    *found = answer;
    *bytes = sizeof *answer;
    return PASSEL_OK;
}

static const struct analysis looking_analysis = {
    .settings_matter = false,
    .asks = looking_asks,
    .add = looking_add,
    .finish = looking_finish,
    .drop_work = memory_free,
    .drop_found = memory_free,
};

/* ---- the picture ------------------------------------------------------------------------------------------------- */

/* True when the picture ends where its data window ends, so that its edge may be held. One that was placed ends where
 * it was put and is transparent beyond. */
static bool ends_at_window(const struct value *picture)
{
    const struct block *block = picture->block;
    while (picture->picture == 0 && block->schema == &kind_align.schema) {
        picture = setting_value(block->head, 0);
        block = picture->block;
    }
    return picture->picture != 0 || !kind_of(block->schema)->geometric;
}

static enum passel_status align_asks(const struct at *at, struct ask_list *list, struct passel_error *error)
{
    const struct align *align = at->self;
    (void)error;
    ask_value(list, align->picture, at->frame);
    if (!list->failed && ends_at_window(align->picture))
        list->asks[list->count - 1].border = BORDER_HOLD;
    return PASSEL_OK;
}

static enum passel_status align_info(const struct at *at, struct picture_info *info, struct passel_error *error)
{
    (void)error;
    *info = at->inputs[0];
    info->whole = false;
    info->chunk_rows = 1;
    if (at->asks[0].border == BORDER_CLEAR)
        info->planes |= HAS_A;
    return PASSEL_OK;
}

/* What is said of the frame when it is done. */
struct remark {
    const char *name;
    double expected;
};

static enum passel_status align_open(const struct at *at, void **state, struct passel_error *error)
{
    struct remark *remark = memory_zeros(1, sizeof *remark);
    if (remark == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    remark->name = at->block->name;
    *state = remark;
    return PASSEL_OK;
}

static void align_close(void *state, struct text *notes)
{
    const struct remark *remark = state;
    if (remark != NULL && remark->expected > DOUBTFUL && notes != NULL)
        text_print(notes, "%s: aligned to within about %.2f px only\n", remark->name, remark->expected);
    memory_free(state);
}

/* As told in the recipe, at this frame. */
static enum passel_status told_map(const struct at *at, struct transform *map, struct passel_error *error)
{
    const struct align *align = at->self;
    double corner[8];
    for (int i = 0; i < 8; i++)
        corner[i] = value_at(align->corners, i, at->frame, at->scale);
    if (map_of_corners(corner, at->inputs[0].display, align->model, map))
        return PASSEL_OK;
    return recipe_error(at->recipe, align->corners->where, PASSEL_BAD_RECIPE, error,
                        "at frame %d these four corners are no outline of a plane seen from the front", (int)at->frame);
}

static int align_tell(const struct at *at, double *numbers)
{
    const struct align_found *found = at->found;
    if (found == NULL)
        return 0;
    corners_of_map(&found->map, at->inputs[0].display, numbers);
    return 8;
}

static enum passel_status align_transform(const struct at *at, struct transform *t, enum filter *filter,
                                          bool *ends_chain, struct passel_error *error)
{
    const struct align_found *found = at->found;
    *t = found != NULL ? found->map : transform_identity();
    *filter = FILTER_SPLINE;
    *ends_chain = false;
    if (((const struct align *)at->self)->corners != NULL)
        return told_map(at, t, error);
    if (found != NULL)
        ((struct remark *)at->state)->expected = found->expected * at->scale;
    return PASSEL_OK;
}

const struct kind kind_align = {
    .schema = { .name = "align",
                .summary = "A pass put back in register with another one.",
                .notes =
                    "The camera was bumped between two passes, or shook: the picture is laid on another one by what "
                    "both show, to a small part of a pixel. They may be lit by different lamps; brightness does not "
                    "matter, as long as paint, edges and texture of the set can be seen in both. What moves, and "
                    "grain, counts little. A move up to 10% of the size and a turn of about one degree are found. "
                    "When the pictures do not say enough the block fails with what was measured: it never guesses. "
                    "Its edge is held, and a `place` after it costs no second resampling.",
                .example = "steady = align blue\n"
                           "  to       green\n"
                           "  find     move+turn\n"
                           "  measure  tower-area\n",
                .form = HEAD_NAMED,
                .makes = MAKES_PICTURE,
                .head = &head,
                .settings = settings },
    .analysis = &looking_analysis,
    .geometric = true,
    .make = align_make,
    .open = align_open,
    .close = align_close,
    .asks = align_asks,
    .info = align_info,
    .transform = align_transform,
    .told = "corners",
    .tell = align_tell,
};
