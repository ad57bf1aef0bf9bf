/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The public interface (include/passel/passel.h) over the engine.
 */
#include <passel/passel.h>

#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "engine/graph.h"
#include "engine/recipe_handle.h"
#include "engine/render.h"

const char *passel_version(void)
{
    return PASSEL_VERSION;
}

void passel_text_free(char *text)
{
    memory_free(text);
}

enum passel_status passel_recipe_load(const char *path, const char *const *changes, int change_count,
                                      struct passel_recipe **recipe, char **messages, struct passel_error *error)
{
    struct text said = { 0 };
    struct recipe_change *lines = NULL;
    enum passel_status status = PASSEL_NO_MEMORY;
    struct passel_recipe *handle = memory_zeros(1, sizeof *handle);
    *recipe = NULL;
    if (messages != NULL)
        *messages = NULL;
    if (handle == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    handle->schemas = kind_schemas();
    lines = memory_zeros((size_t)change_count + 1, sizeof *lines);
    if (handle->schemas == NULL || lines == NULL) {
        (void)error_set(error, PASSEL_NO_MEMORY, "out of memory");
        goto out_handle;
    }
    for (int i = 0; i < change_count; i++)
        lines[i].text = changes[i];
    status = recipe_read(path, handle->schemas, lines, change_count, &handle->recipe, &said, error);
out_handle:
    memory_free(lines);
    if (messages != NULL && said.length > 0)
        *messages = said.bytes;
    else
        text_release(&said);
    if (status == PASSEL_OK)
        *recipe = handle;
    else
        passel_recipe_free(handle);
    return status;
}

void passel_recipe_free(struct passel_recipe *recipe)
{
    if (recipe == NULL)
        return;
    recipe_free(recipe->recipe);
    memory_free(recipe->schemas);
    memory_free(recipe);
}

enum passel_status passel_render(const struct passel_recipe *recipe, const struct passel_render_options *options,
                                 struct passel_render_result *result, struct passel_error *error)
{
    struct graph *graph = NULL;
    const struct manner manner = { .scale = options->scale };
    if (result != NULL)
        *result = (struct passel_render_result){ 0 };
    RETURN_IF_ERROR(graph_make(recipe->recipe, manner, NULL, 0, &graph, error));
    const enum passel_status status = render_range(graph, options, NULL, result, error);
    graph_free(graph);
    return status;
}

/* Closes the gaps that padding leaves between rows. */
static void pack_rows(struct picture *picture)
{
    const size_t width = (size_t)rect_width(picture->area);
    for (int p = 0; p < PLANE_COUNT; p++) {
        if (picture->plane[p] == NULL)
            continue;
        for (size_t y = 1; y < (size_t)rect_height(picture->area); y++)
            memmove(picture->plane[p] + y * width, picture->plane[p] + y * picture->stride, width * sizeof(float));
    }
    picture->stride = width;
}

/* "final" or "cut.quality". */
static enum passel_status find_picture(const struct recipe *recipe, const char *name, const struct block **block,
                                       int *which, struct passel_error *error)
{
    const char *dot = strchr(name, '.');
    char head[256];
    const size_t length = dot != NULL ? (size_t)(dot - name) : strlen(name);
    *which = 0;
    if (length < sizeof head) {
        memcpy(head, name, length);
        head[length] = '\0';
        *block = recipe_block(recipe, head);
    } else {
        *block = NULL;
    }
    if (*block == NULL || (*block)->schema->makes != MAKES_PICTURE)
        return error_set(error, PASSEL_BAD_USE, "the recipe has no picture named \"%s\"", name);
    if (dot == NULL)
        return PASSEL_OK;
    const struct further_picture *pictures = (*block)->schema->pictures;
    for (int i = 0; pictures != NULL && pictures[i].name != NULL; i++) {
        if (strcmp(pictures[i].name, dot + 1) == 0)
            *which = i + 1;
    }
    return *which > 0 ? PASSEL_OK
                      : error_set(error, PASSEL_BAD_USE, "\"%s\" makes no picture named \"%s\"", head, dot + 1);
}

enum passel_status passel_picture_make(const struct passel_recipe *recipe, const char *name, int32_t frame, int scale,
                                       int threads, struct passel_picture *picture, struct passel_error *error)
{
    const struct block *block;
    int which;
    struct graph *graph = NULL;
    struct picture *made = memory_zeros(1, sizeof *made);
    struct picture_info info;
    *picture = (struct passel_picture){ 0 };
    if (made == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    enum passel_status status;
    GOTO_IF_ERROR(find_picture(recipe->recipe, name, &block, &which, error), out_made);
    GOTO_IF_ERROR(graph_make(recipe->recipe, (struct manner){ .scale = scale }, &block, 1, &graph, error), out_made);
    GOTO_IF_ERROR(render_picture(graph, block, which, frame, threads, made, &info, error), out_graph);
    pack_rows(made);
    picture->width = rect_width(info.display);
    picture->height = rect_height(info.display);
    for (int p = 0; p < PLANE_COUNT; p++)
        picture->plane[p] = made->plane[p];
    picture->owner = made;
    made = NULL;
out_graph:
    graph_free(graph);
out_made:
    if (made != NULL)
        picture_release(made);
    memory_free(made);
    return status;
}

void passel_picture_release(struct passel_picture *picture)
{
    struct picture *made = picture->owner;
    if (made != NULL)
        picture_release(made);
    memory_free(made);
    *picture = (struct passel_picture){ 0 };
}
