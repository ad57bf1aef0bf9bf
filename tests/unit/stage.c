/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What the engine does for one block, in the plainest way.
 */
#include "stage.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "base/error.h"
#include "base/memory.h"
#include "fail_memory.h"
#include "kinds/kinds.h"
#include "kinds/shot.h"
#include "pattern.h"

void stage_init(struct stage *stage, const char *text, const struct kind *const *kinds)
{
    const struct schema *schemas[16] = { &kind_shot.schema, &kind_flat.schema };
    int count = 2;
    for (; *kinds != NULL; kinds++)
        schemas[count++] = &(*kinds)->schema;
    struct text messages = { NULL, 0, 0, false };
    struct passel_error error;
    *stage = (struct stage){ 0 };
    const enum passel_status status =
        recipe_parse("test.passel", text, strlen(text), schemas, NULL, 0, &stage->recipe, &messages, &error);
    if (status != PASSEL_OK)
        fail_msg("%s", messages.bytes != NULL ? messages.bytes : error.text);
    text_release(&messages);
    assert_int_equal(shot_read(stage->recipe, &stage->shot, NULL), PASSEL_OK);
}

void stage_release(struct stage *stage)
{
    recipe_free(stage->recipe);
    stage->recipe = NULL;
}

static const struct stage_input *input_of(const struct stage *stage, const struct ask *ask)
{
    for (int i = 0; i < stage->input_count; i++) {
        const char *name = stage->inputs[i].name, *frame = strchr(name, '@'), *own = strchr(name, ':');
        const size_t length = frame != NULL ? (size_t)(frame - name) : strlen(name);
        if (strlen(ask->block->name) == length && memcmp(name, ask->block->name, length) == 0 &&
            (frame == NULL || atoi(frame + 1) == ask->frame) && (own == NULL || atoi(own + 1) == ask->picture))
            return &stage->inputs[i];
    }
    fail_msg("no input %s", ask->block->name);
    return NULL;
}

/* Memory of the test's own, which never fails and is not counted. */
static struct picture own_picture(struct rect area, unsigned planes)
{
    struct picture made = { .area = area, .stride = (size_t)rect_width(area) };
    for (int p = 0; p < PLANE_COUNT; p++) {
        if ((planes & 1u << p) == 0)
            continue;
        made.plane[p] = malloc(made.stride * (size_t)rect_height(area) * sizeof(float) + 1);
        assert_non_null(made.plane[p]);
        picture_fill(&made, (enum plane)p, area, 0);
    }
    return made;
}

static void own_release(struct picture *picture)
{
    for (int p = 0; p < PLANE_COUNT; p++)
        free(picture->plane[p]);
}

/* Beyond `data` the nearest pixel in it. */
static void hold_border(const struct picture *made, struct rect data)
{
    for (int p = 0; p < PLANE_COUNT; p++) {
        for (int32_t y = made->area.y0; y < made->area.y1 && made->plane[p] != NULL; y++) {
            const int32_t from_y = y < data.y0 ? data.y0 : y >= data.y1 ? data.y1 - 1 : y;
            for (int32_t x = made->area.x0; x < made->area.x1; x++) {
                const int32_t from_x = x < data.x0 ? data.x0 : x >= data.x1 ? data.x1 - 1 : x;
                assert_true(rect_holds(made->area, rect_of(from_x, from_y, from_x + 1, from_y + 1)));
                picture_row(made, (enum plane)p, y)[x - made->area.x0] =
                    picture_row(made, (enum plane)p, from_y)[from_x - made->area.x0];
            }
        }
    }
}

static struct picture deliver(const struct stage_input *input, struct rect area, unsigned planes, enum border border)
{
    struct picture made = own_picture(area, planes);
    const unsigned has = picture_planes(&input->picture);
    picture_copy(&made, &input->picture);
    if ((has & HAS_A) == 0)
        picture_fill(&made, PLANE_A, input->picture.area, 1);
    if ((has & HAS_RGB) == 0) {
        for (int p = PLANE_R; p <= PLANE_B && made.plane[p] != NULL; p++) {
            struct picture grey = { .area = area, .stride = made.stride };
            grey.plane[PLANE_A] = made.plane[p];
            picture_copy(&grey, &input->picture);
        }
    }
    if (border == BORDER_HOLD)
        hold_border(&made, input->picture.area);
    return made;
}

static struct picture_info info_of(const struct stage_input *input)
{
    return (struct picture_info){ .display = input->display,
                                  .data = input->picture.area,
                                  .planes = picture_planes(&input->picture),
                                  .chunk_rows = 1,
                                  .pixel_aspect = 1 };
}

static void note_ask(struct stage *stage, const struct ask *ask)
{
    char *end = stage->asked + strlen(stage->asked);
    snprintf(end, sizeof stage->asked - (size_t)(end - stage->asked), "%s%s:%s%s%s%s%s",
             stage->asked[0] != '\0' ? " " : "", ask->block->name, ask->planes & HAS_R ? "R" : "",
             ask->planes & HAS_G ? "G" : "", ask->planes & HAS_B ? "B" : "", ask->planes & HAS_A ? "A" : "",
             ask->planes & PLANES_AS_WANTED ? "*" : "");
}

static enum passel_status fill_tile(const struct stage *stage, const struct kind *kind, const struct at *at,
                                    struct rect tile, unsigned planes, const struct picture *out,
                                    struct passel_error *error)
{
    struct picture in[ASK_LIMIT];
    for (int i = 0; i < at->ask_count; i++) {
        const struct ask *ask = &at->asks[i];
        const struct stage_input *input = input_of(stage, ask);
        const struct rect part = kind->reach != NULL ? kind->reach(at, i, tile) : tile;
        const struct rect area = ask->whole ? input->picture.area : part;
        const unsigned wanted = (ask->planes & HAS_RGBA) | (ask->planes & PLANES_AS_WANTED ? planes : 0);
        in[i] = deliver(input, area, wanted, ask->border);
    }
    struct arena scratch;
    struct picture part = own_picture(tile, planes);
    arena_init(&scratch);
    const enum passel_status status = kind->fill(at, in, &part, &scratch, error);
    picture_copy(out, &part);
    own_release(&part);
    arena_release(&scratch);
    for (int i = 0; i < at->ask_count; i++)
        own_release(&in[i]);
    return status;
}

static enum passel_status fill_tiles(const struct stage *stage, const struct kind *kind, const struct at *at,
                                     unsigned planes, int32_t tile, const struct picture *out,
                                     struct passel_error *error)
{
    const struct rect data = at->info->data;
    for (int32_t y = data.y0; y < data.y1; y += tile) {
        for (int32_t x = data.x0; x < data.x1; x += tile)
            RETURN_IF_ERROR(
                fill_tile(stage, kind, at, rect_cut(rect_of(x, y, x + tile, y + tile), data), planes, out, error));
    }
    return PASSEL_OK;
}

/* One round of an analysis: its pictures are there for the call alone. */
static enum passel_status feed_round(const struct stage *stage, const struct analysis *analysis, const struct at *at,
                                     const struct ask_list *list, int round, void **work, struct passel_error *error)
{
    struct picture pictures[ASK_LIMIT];
    struct picture_info infos[ASK_LIMIT];
    int count = 0;
    for (int i = 0; i < list->count; i++) {
        const struct stage_input *input = input_of(stage, &list->asks[i]);
        if (list->asks[i].round != round)
            continue;
        infos[count] = info_of(input);
        pictures[count++] = deliver(input, input->picture.area, list->asks[i].planes & HAS_RGBA, list->asks[i].border);
    }
    const enum passel_status status = analysis->add(at, round, pictures, infos, count, work, error);
    while (count > 0)
        own_release(&pictures[--count]);
    return status;
}

static enum passel_status analyse(struct stage *stage, const struct analysis *analysis, const struct at *at,
                                  void **found, struct passel_error *error)
{
    struct ask_list list = { NULL, 0, 0, false };
    void *work = NULL;
    size_t bytes;
    int last = 0;
    enum passel_status status = analysis->asks(at, &list, error);
    if (status == PASSEL_OK && list.failed)
        status = PASSEL_NO_MEMORY;
    for (int i = 0; i < list.count; i++)
        last = list.asks[i].round > last ? list.asks[i].round : last;
    for (int round = 0; round <= last && list.count > 0 && status == PASSEL_OK; round++)
        status = feed_round(stage, analysis, at, &list, round, &work, error);
    if (status == PASSEL_OK && list.count > 0)
        status = analysis->finish(at, work, found, &bytes, error);
    analysis->drop_work(work);
    memory_free(list.asks);
    return status;
}

static enum passel_status make_at(struct stage *stage, const struct kind *kind, struct at *at, unsigned planes,
                                  int32_t tile, struct picture *out, struct picture_info *info,
                                  struct passel_error *error)
{
    struct ask_list list = { NULL, 0, 0, false };
    struct picture_info inputs[ASK_LIMIT];
    enum passel_status status = kind->asks != NULL ? kind->asks(at, &list, error) : PASSEL_OK;
    if (status == PASSEL_OK && list.failed)
        status = PASSEL_NO_MEMORY;
    for (int i = 0; i < list.count; i++) {
        inputs[i] = info_of(input_of(stage, &list.asks[i]));
        note_ask(stage, &list.asks[i]);
    }
    at->asks = list.asks;
    at->ask_count = list.count;
    at->inputs = inputs;
    if (status == PASSEL_OK && kind->info != NULL)
        status = kind->info(at, info, error);
    else if (status == PASSEL_OK)
        *info = inputs[0];
    at->info = info;
    void *found = NULL;
    if (status == PASSEL_OK && kind->analysis != NULL)
        status = analyse(stage, kind->analysis, at, &found, error);
    at->found = found;
    if (status == PASSEL_OK)
        status = picture_new(out, info->data, planes, error);
    if (status == PASSEL_OK)
        status = fill_tiles(stage, kind, at, planes, tile, out, error);
    if (kind->analysis != NULL)
        kind->analysis->drop_found(found);
    if (status != PASSEL_OK)
        picture_release(out);
    memory_free(list.asks);
    return status;
}

/* recipe_block needs memory for the normal form of the name; this does not. */
static const struct block *block_named(const struct stage *stage, const char *name)
{
    for (int i = 0; i < stage->recipe->block_count; i++) {
        if (strcmp(stage->recipe->blocks[i]->name, name) == 0)
            return stage->recipe->blocks[i];
    }
    fail_msg("no block %s", name);
    return NULL;
}

enum passel_status stage_make(struct stage *stage, const char *block, int32_t frame, int scale, unsigned planes,
                              int32_t tile, struct picture *out, struct picture_info *info, struct passel_error *error)
{
    struct at at = { .block = block_named(stage, block),
                     .recipe = stage->recipe,
                     .shot = &stage->shot,
                     .picture = stage->picture,
                     .frame = frame,
                     .scale = scale };
    const struct kind *kind = kind_of(at.block->schema);
    struct arena arena;
    void *self = NULL;
    arena_init(&arena);
    *out = (struct picture){ 0 };
    stage->asked[0] = '\0';
    enum passel_status status = kind->make(at.block, at.recipe, at.shot, &arena, &self, error);
    at.self = self;
    if (status == PASSEL_OK && kind->open != NULL)
        status = kind->open(&at, &at.state, error);
    if (status == PASSEL_OK)
        status = make_at(stage, kind, &at, planes, tile, out, info, error);
    if (kind->close != NULL && at.state != NULL)
        kind->close(at.state, NULL);
    if (kind->release != NULL && self != NULL)
        kind->release(self);
    arena_release(&arena);
    return status;
}

struct picture stage_picture(struct stage *stage, const char *block, int32_t frame, unsigned planes)
{
    struct picture whole, tiled;
    struct picture_info info;
    struct passel_error error = { PASSEL_OK, "" };
    if (stage_make(stage, block, frame, 1, planes, 1 << 20, &whole, &info, &error) != PASSEL_OK)
        fail_msg("%s", error.text);
    assert_int_equal(stage_make(stage, block, frame, 1, planes, 7, &tiled, &info, &error), PASSEL_OK);
    for (int p = 0; p < PLANE_COUNT; p++) {
        if (whole.plane[p] != NULL)
            pattern_assert_same(&tiled, &whole, (enum plane)p);
    }
    picture_release(&tiled);
    return whole;
}

struct attempt {
    struct stage *stage;
    const char *block;
    unsigned planes;
};

static enum passel_status make_and_drop(void *data)
{
    const struct attempt *attempt = data;
    struct picture out;
    struct picture_info info;
    const enum passel_status status = stage_make(attempt->stage, attempt->block, attempt->stage->shot.frames[0], 1,
                                                 attempt->planes, 1 << 20, &out, &info, NULL);
    picture_release(&out);
    return status;
}

void stage_survives_no_memory(struct stage *stage, const char *block, unsigned planes)
{
    struct attempt attempt = { stage, block, planes };
    assert_true(fail_memory_each(make_and_drop, &attempt) > 1);
}
