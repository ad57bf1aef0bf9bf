/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Every turn begins from the files: the recipe is read, its folders are watched before they are looked into (so that
 * nothing is missed in between), and the frame is compared with the last turn's, block by block.
 */
#define _XOPEN_SOURCE 700 /* realpath */

#include "command/watch.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "base/error.h"
#include "base/file.h"
#include "base/memory.h"
#include "command/json.h"
#include "command/quick.h"
#include "command/watch_folders.h"
#include "engine/recipe_handle.h"
#include "engine/render.h"
#include "engine/snapshot.h"
#include "kinds/shot.h"
#include "media/sequence.h"

struct watch {
    const struct call *call;
    struct passel_render_options wish;
    int scale;
    const char *frame;
    bool json;
    struct watch_folders folders;
    struct snapshot shown; /* what the picture on the disk shows; empty before the first */
    struct store kept;     /* what earlier turns found out from files that are still the same */
    char *last_error;      /* that was said, while it stands; NULL */
    int64_t recipe_ns;     /* when the recipe was last saved */
    char failure[400];     /* what the render said of the frame */
};

static double seconds_since(const struct timespec *begin)
{
    struct timespec now;
    (void)clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)(now.tv_sec - begin->tv_sec) + (double)(now.tv_nsec - begin->tv_nsec) * 1e-9;
}

/* ---- what is said ---- */

static void say_error(struct watch *watch, const char *text)
{
    size_t length = strlen(text);
    if (watch->last_error != NULL && strcmp(watch->last_error, text) == 0)
        return;
    memory_free(watch->last_error);
    watch->last_error = memory_new(length + 1);
    if (watch->last_error != NULL)
        memcpy(watch->last_error, text, length + 1);
    if (watch->json) {
        (void)printf("{\"event\": \"waiting\", \"text\": ");
        json_text(text);
        (void)printf("}\n");
    } else {
        while (length > 0 && text[length - 1] == '\n')
            length--;
        (void)fprintf(stderr, "%.*s\nthe picture stays as it is until this is mended\n", (int)length, text);
    }
    (void)fflush(stdout);
}

static void say_picture(const struct watch *watch, int32_t frame, double seconds, const char *path, const char *changed)
{
    if (watch->json) {
        (void)printf("{\"event\": \"picture\", \"frame\": %d, \"seconds\": %.3f, \"path\": ", (int)frame, seconds);
        json_text(path);
        (void)printf(", \"changed\": ");
        json_text(changed);
        (void)printf("}\n");
        (void)fflush(stdout);
    } else {
        (void)fprintf(stderr, "frame %d in %.2f s: %s\n", (int)frame, seconds, changed[0] != '\0' ? changed : path);
    }
}

static void say_same(const struct watch *watch, int32_t frame)
{
    if (watch->json)
        (void)printf("{\"event\": \"same\", \"frame\": %d}\n", (int)frame);
    else
        (void)fprintf(stderr, "saved; frame %d shows the same\n", (int)frame);
    (void)fflush(stdout);
}

static void on_event(void *user, const struct passel_event *event)
{
    struct watch *watch = user;
    if (event->kind == PASSEL_FRAME_FAILED)
        (void)snprintf(watch->failure, sizeof watch->failure, "frame %d: %s", (int)event->frame, event->text);
}

/* ---- what is watched ---- */

static enum passel_status add_file(struct watch *watch, const char *path, struct passel_error *error)
{
    char *folder = path_folder(path);
    enum passel_status status = PASSEL_NO_MEMORY;
    if (folder == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    status = watch_folders_add(&watch->folders, folder, error);
    memory_free(folder);
    return status;
}

/* The folders of the files that a setting names. */
static enum passel_status add_values(struct watch *watch, const struct recipe *recipe, const struct setting *setting,
                                     struct passel_error *error)
{
    for (int i = 0; setting != NULL && i < setting->value_count; i++) {
        const struct value *value = &setting->values[i];
        if (value->spec == NULL || value->spec->type != VALUE_PATH)
            continue;
        char *path = path_join(recipe->folder, value->text);
        const enum passel_status status =
            path != NULL ? add_file(watch, path, error) : error_set(error, PASSEL_NO_MEMORY, "out of memory");
        memory_free(path);
        RETURN_IF_ERROR(status);
    }
    return PASSEL_OK;
}

/* The recipe's folder, that of the file behind it when it is a link, and those of all files that blocks read. `recipe`
 * may be NULL: then the folders of the last good one stay, too. */
static enum passel_status watch_files(struct watch *watch, const struct recipe *recipe, struct passel_error *error)
{
    const char *path = watch->call->arguments[0];
    char *real = realpath(path, NULL);
    if (recipe != NULL)
        watch_folders_begin(&watch->folders);
    enum passel_status status = add_file(watch, path, error);
    if (status == PASSEL_OK && real != NULL)
        status = add_file(watch, real, error);
    free(real);
    for (int i = 0; recipe != NULL && status == PASSEL_OK && i < recipe->block_count; i++) {
        const struct block *block = recipe->blocks[i];
        if (block->schema->form == HEAD_OUTPUT)
            continue;
        status = add_values(watch, recipe, block->head, error);
        for (int k = 0; k < block->setting_count && status == PASSEL_OK; k++)
            status = add_values(watch, recipe, &block->settings[k], error);
    }
    if (recipe != NULL)
        watch_folders_end(&watch->folders);
    return status;
}

/* ---- a turn ---- */

static enum passel_status choose_frame(const struct watch *watch, const struct shot *shot, int32_t *frame,
                                       char text[16], struct passel_error *error)
{
    int32_t *frames = NULL;
    int count = 0;
    *frame = shot_look(shot, 1, 0);
    if (watch->frame != NULL) {
        RETURN_IF_ERROR(frames_parse(watch->frame, &frames, &count, error));
        *frame = frames[0];
        memory_free(frames);
        if (count != 1)
            return error_set(error, PASSEL_BAD_USE, "--frame takes one frame, not %d", count);
    }
    (void)snprintf(text, 16, "%d", (int)*frame);
    return PASSEL_OK;
}

static enum passel_status make_picture(struct watch *watch, const struct graph *graph, const char *frame,
                                       struct passel_error *error)
{
    struct passel_render_options wish = watch->wish;
    wish.frames = frame;
    wish.event = on_event;
    wish.user = watch;
    watch->failure[0] = '\0';
    const enum passel_status status = render_range(graph, &wish, &watch->kept, NULL, error);
    if (status != PASSEL_OK && watch->failure[0] != '\0')
        return error_set(error, status, "%s", watch->failure);
    return status;
}

static enum passel_status say_result(struct watch *watch, const struct graph *graph, const struct snapshot *now,
                                     int32_t frame, double seconds, struct passel_error *error)
{
    struct text changed = { 0 };
    if (watch->shown.block_count > 0)
        snapshot_differences(&watch->shown, now, &changed);
    for (int i = 0; i < graph->output_count; i++) {
        char *path = render_chooses(graph, &watch->wish, i) ? pattern_path(graph->outputs[i].pattern, frame) : NULL;
        if (path != NULL)
            say_picture(watch, frame, seconds, path, changed.bytes != NULL ? changed.bytes : "");
        memory_free(path);
    }
    const bool failed = changed.failed;
    text_release(&changed);
    return failed ? error_set(error, PASSEL_NO_MEMORY, "out of memory") : PASSEL_OK;
}

/* The picture of a recipe that could be read. */
static enum passel_status show(struct watch *watch, const struct passel_recipe *recipe, bool saved,
                               const struct timespec *begin, struct passel_error *error)
{
    struct graph *graph = NULL;
    struct snapshot now = { 0 };
    int32_t frame;
    char text[16];
    enum passel_status status;
    RETURN_IF_ERROR(quick_graph(recipe, watch->scale, &graph, error));
    GOTO_IF_ERROR(choose_frame(watch, &graph->shot, &frame, text, error), out_graph);
    GOTO_IF_ERROR(snapshot_take(graph, &watch->wish, frame, &now, error), out_graph);
    const bool same = watch->last_error == NULL && snapshot_same(&watch->shown, &now);
    if (!snapshot_files_same(&watch->shown, &now))
        store_release(&watch->kept);
    if (!same)
        GOTO_IF_ERROR(make_picture(watch, graph, text, error), out_snapshot);
    if (!same)
        status = say_result(watch, graph, &now, frame, seconds_since(begin), error);
    else if (saved)
        say_same(watch, frame);
    snapshot_release(&watch->shown);
    watch->shown = now;
    now = (struct snapshot){ 0 };
    memory_free(watch->last_error);
    watch->last_error = NULL;
out_snapshot:
    snapshot_release(&now);
out_graph:
    graph_free(graph);
    return status;
}

/* True when the recipe has been saved since the last turn. */
static bool was_saved(struct watch *watch)
{
    struct file_facts facts;
    if (file_facts(watch->call->arguments[0], &facts, NULL) != PASSEL_OK || facts.modified_ns == watch->recipe_ns)
        return false;
    watch->recipe_ns = facts.modified_ns;
    return true;
}

/* PASSEL_OK also when the recipe or a file is wrong: that has been said, and may be mended. */
static enum passel_status turn(struct watch *watch, struct passel_error *error)
{
    const char *changes[GIVEN_LIMIT];
    const int count = call_values(watch->call, "--set", changes);
    struct passel_recipe *recipe = NULL;
    struct passel_error wrong = { 0 };
    struct timespec begin;
    char *messages = NULL;
    (void)clock_gettime(CLOCK_MONOTONIC, &begin);
    const bool saved = was_saved(watch);
    enum passel_status status =
        passel_recipe_load(watch->call->arguments[0], changes, count, &recipe, &messages, &wrong);
    const bool read = status == PASSEL_OK;
    const enum passel_status watching = watch_files(watch, read ? recipe->recipe : NULL, error);
    if (read && watching == PASSEL_OK)
        status = show(watch, recipe, saved, &begin, &wrong);
    if (status != PASSEL_OK && status != PASSEL_STOPPED)
        say_error(watch, !read && messages != NULL ? messages : wrong.text);
    passel_text_free(messages);
    passel_recipe_free(recipe);
    if (watching != PASSEL_OK)
        return watching;
    return status == PASSEL_NO_MEMORY ? error_set(error, status, "%s", wrong.text) : PASSEL_OK;
}

enum exit_code watch_recipe(const struct call *call, const struct passel_render_options *wish, int scale,
                            const char *frame)
{
    struct watch watch = {
        .call = call, .wish = *wish, .scale = scale, .frame = frame, .json = call_has(call, "--json")
    };
    struct passel_error error = { 0 };
    enum passel_status status = watch_folders_open(&watch.folders, &error);
    if (status == PASSEL_OK)
        status = turn(&watch, &error);
    while (status == PASSEL_OK && watch_folders_wait(&watch.folders, wish->stop))
        status = turn(&watch, &error);
    watch_folders_close(&watch.folders);
    store_release(&watch.kept);
    snapshot_release(&watch.shown);
    memory_free(watch.last_error);
    return end_with(status, &error);
}
