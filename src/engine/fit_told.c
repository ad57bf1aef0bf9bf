/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "engine/fit_told.h"

#include <math.h>
#include <string.h>

#include "base/error.h"
#include "base/file.h"
#include "base/memory.h"
#include "engine/render.h"

#define ALIKE 5e-5 /* pixels: half of the last digit that is written */

struct telling {
    const struct told_wish *wish;
    const struct schema **schemas;
    struct recipe *recipe;
    const struct block *block;
    struct graph *graph;
    int32_t *frames;
    int frame_count;
    double *numbers; /* TOLD_MOST per frame */
    int width;       /* numbers of a frame */
};

static enum passel_status find_block(struct telling *telling, struct passel_error *error)
{
    const struct told_wish *wish = telling->wish;
    telling->block = recipe_block(telling->recipe, wish->block);
    if (telling->block == NULL)
        return error_set(error, PASSEL_BAD_USE, "%s has no block `%s`", wish->path, wish->block);
    const struct kind *kind = kind_of(telling->block->schema);
    if (kind->tell == NULL)
        return error_set(error, PASSEL_BAD_USE,
                         "`%s` is of the kind `%s`; without a reference, fit writes what an `align` block finds",
                         wish->block, kind->schema.name);
    if (block_setting(telling->block, kind->told) != NULL)
        return error_set(error, PASSEL_BAD_USE,
                         "`%s` has a line `%s` already and looks for nothing: take the line out to look again",
                         wish->block, kind->told);
    return PASSEL_OK;
}

static enum passel_status choose_frames(struct telling *telling, struct passel_error *error)
{
    const struct shot *shot = &telling->graph->shot;
    if (telling->wish->frames != NULL)
        return frames_parse(telling->wish->frames, &telling->frames, &telling->frame_count, error);
    telling->frame_count = shot->frame_count;
    telling->frames = memory_zeros((size_t)shot->frame_count, sizeof *telling->frames);
    if (telling->frames == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    memcpy(telling->frames, shot->frames, (size_t)shot->frame_count * sizeof *shot->frames);
    return PASSEL_OK;
}

/* One answer serves all frames unless the block says `each frame`. */
static bool one_for_all(const struct telling *telling)
{
    return telling->wish->frames == NULL && block_setting(telling->block, "each") == NULL;
}

static enum passel_status ask_frames(struct telling *telling, struct passel_error *error)
{
    telling->frame_count = one_for_all(telling) ? 1 : telling->frame_count;
    telling->numbers = memory_zeros((size_t)telling->frame_count * TOLD_MOST, sizeof *telling->numbers);
    if (telling->numbers == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int i = 0; i < telling->frame_count; i++) {
        RETURN_IF_ERROR(render_told(telling->graph, telling->block, telling->frames[i], telling->wish->threads,
                                    telling->numbers + (size_t)i * TOLD_MOST, &telling->width, error));
        if (telling->width == 0)
            return error_set(error, PASSEL_BAD_PICTURE, "`%s` found nothing at frame %d", telling->wish->block,
                             (int)telling->frames[i]);
    }
    return PASSEL_OK;
}

static bool all_alike(const struct telling *telling)
{
    for (int i = 1; i < telling->frame_count; i++)
        for (int k = 0; k < telling->width; k++)
            if (fabs(telling->numbers[(size_t)i * TOLD_MOST + (size_t)k] - telling->numbers[k]) > ALIKE)
                return false;
    return true;
}

static void write_numbers(const struct telling *telling, int i, struct text *line)
{
    for (int k = 0; k < telling->width; k++)
        text_print(line, " %.4f", telling->numbers[(size_t)i * TOLD_MOST + (size_t)k]);
}

static void write_line(const struct telling *telling, struct text *line)
{
    text_print(line, "%s ", kind_of(telling->block->schema)->told);
    if (all_alike(telling)) {
        write_numbers(telling, 0, line);
    } else {
        for (int i = 0; i < telling->frame_count; i++) {
            text_print(line, "%s%d", i == 0 ? "[" : ", ", (int)telling->frames[i]);
            write_numbers(telling, i, line);
        }
        text_print(line, "]");
    }
    text_print(line, " px");
}

enum passel_status told_find(const struct told_wish *wish, struct text *line, struct text *messages,
                             struct passel_error *error)
{
    struct telling telling = { .wish = wish, .schemas = kind_schemas() };
    enum passel_status status;
    if (telling.schemas == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    GOTO_IF_ERROR(recipe_read(wish->path, telling.schemas, NULL, 0, &telling.recipe, messages, error), out_telling);
    GOTO_IF_ERROR(find_block(&telling, error), out_telling);
    GOTO_IF_ERROR(graph_new(telling.recipe, (struct manner){ 0 }, &telling.block, 1, &telling.graph, messages, error),
                  out_telling);
    GOTO_IF_ERROR(choose_frames(&telling, error), out_telling);
    GOTO_IF_ERROR(ask_frames(&telling, error), out_telling);
    write_line(&telling, line);
    if (line->failed)
        status = error_set(error, PASSEL_NO_MEMORY, "out of memory");
out_telling:
    memory_free(telling.numbers);
    memory_free(telling.frames);
    graph_free(telling.graph);
    recipe_free(telling.recipe);
    memory_free(telling.schemas);
    return status;
}

enum passel_status told_write(const struct told_wish *wish, const char *line, struct passel_error *error)
{
    const struct schema **schemas = kind_schemas();
    struct text change = { 0 }, edited = { 0 };
    char *bytes = NULL;
    size_t size = 0;
    enum passel_status status;
    if (schemas == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    GOTO_IF_ERROR(file_read(wish->path, RECIPE_LIMIT, &bytes, &size, error), out_text);
    text_print(&change, "%s: %s", wish->block, line);
    if (change.failed)
        GOTO_IF_ERROR(error_set(error, PASSEL_NO_MEMORY, "out of memory"), out_text);
    GOTO_IF_ERROR(recipe_edit(wish->path, bytes, size, schemas, change.bytes, &edited, error), out_text);
    GOTO_IF_ERROR(file_write(wish->path, edited.bytes, edited.length, error), out_text);
out_text:
    text_release(&edited);
    text_release(&change);
    memory_free(bytes);
    memory_free(schemas);
    return status;
}
