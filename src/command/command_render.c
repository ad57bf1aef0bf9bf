/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * passel render: makes the frames of a recipe's outputs.
 */
#include <passel/passel.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/error.h"
#include "base/file.h"
#include "base/memory.h"
#include "command/command.h"
#include "command/json.h"
#include "command/open_recipe.h"
#include "command/progress.h"
#include "command/quick.h"
#include "command/sheet.h"
#include "command/watch.h"
#include "engine/render.h"

static const struct option options[] = {
    { "--frames", "LIST", false,
      "which frames: \"1001-1010, 1020, 1001-1048 every 2\"; all of the shot when not given" },
    { "--output", "LABEL", true, "which output, by its label; may be given several times; all when not given" },
    { "--again", NULL, false, "make frames that are up to date, too" },
    { "--set", "'BLOCK: LINE'", true, "a setting for this run only; may be given several times" },
    { "--threads", "N", false, "how many threads work; as many as the machine offers when not given" },
    { "--memory", "MIB", false, "how much memory pictures may take; a quarter of the machine's when not given" },
    { "--quick", NULL, false,
      "small pictures to look at, of a few frames when --frames says nothing else, and a contact sheet: PNG in a "
      "folder "
      "quick beside the finished frames, which stay as they are" },
    { "--size", "SIZE", false,
      "how large quick pictures are: full, half or quarter; 480 to 959 pixels wide when not given" },
    { "--watch", NULL, false,
      "one quick picture, made anew whenever the recipe or a file that it reads is saved; ends with Ctrl-C" },
    { "--frame", "N", false, "the frame that --watch shows; the one in the middle of the shot when not given" },
    { "--quiet", NULL, false, "say nothing but warnings and errors" },
    { "--json", NULL, false, "say everything as JSON, one object a line, on standard output" },
    { NULL, NULL, false, NULL },
};

/* Set by the signal handler; a lock-free int, as the library wants it. The one variable of the program. */
static volatile int stop;

static void on_signal(int number)
{
    (void)number;
    __atomic_store_n(&stop, 1, __ATOMIC_RELAXED); /* other threads read it */
}

struct talk {
    bool quiet, json, terminal;
    struct progress line;
};

static void say_json(const struct passel_event *event)
{
    static const char *const kinds[] = { "done", "fresh", "failed", "warning" };
    (void)printf("{\"event\": \"%s\", \"frame\": %d, \"done\": %d, \"total\": %d, \"seconds\": %.3f",
                 kinds[event->kind], (int)event->frame, event->done, event->total, event->seconds);
    if (event->text[0] != '\0') {
        (void)printf(", \"text\": ");
        json_text(event->text);
    }
    (void)printf("}\n");
    (void)fflush(stdout);
}

static void say_progress(struct talk *talk, const struct passel_event *event)
{
    if (talk->terminal)
        progress_show(&talk->line, event->done, event->total, event->seconds, "");
    else if (event->kind == PASSEL_FRAME_DONE)
        (void)fprintf(stderr, "frame %d: done, %d of %d\n", (int)event->frame, event->done, event->total);
}

static void on_event(void *user, const struct passel_event *event)
{
    struct talk *talk = user;
    if (talk->json) {
        say_json(event);
        return;
    }
    if (event->kind == PASSEL_FRAME_FAILED || event->kind == PASSEL_WARNING) {
        progress_leave(&talk->line);
        (void)fprintf(stderr, "%s, frame %d: %s\n", event->kind == PASSEL_WARNING ? "warning" : "failed",
                      (int)event->frame, event->text);
    }
    if (!talk->quiet && event->kind != PASSEL_WARNING)
        say_progress(talk, event);
}

static void say_end(const struct talk *talk, enum passel_status status, const struct passel_render_result *result)
{
    if (talk->json) {
        (void)printf(
            "{\"event\": \"end\", \"made\": %d, \"fresh\": %d, \"failed\": %d, \"total\": %d, \"seconds\": %.3f, "
            "\"status\": ",
            result->made, result->fresh, result->failed, result->total, result->seconds);
        json_text(passel_status_text(status));
        (void)printf("}\n");
    } else if (!talk->quiet && result->made + result->fresh + result->failed > 0) {
        (void)fprintf(stderr, "%d made, %d up to date, %d failed, in %.1f s\n", result->made, result->fresh,
                      result->failed, result->seconds);
    }
}

static void listen_to_signals(void)
{
    struct sigaction action = { .sa_handler = on_signal };
    (void)sigemptyset(&action.sa_mask);
    (void)sigaction(SIGINT, &action, NULL);
    (void)sigaction(SIGTERM, &action, NULL);
}

static void say_sheet(const struct talk *talk, const char *path)
{
    if (talk->json) {
        (void)printf("{\"event\": \"sheet\", \"text\": ");
        json_text(path);
        (void)printf("}\n");
    } else if (!talk->quiet) {
        (void)fprintf(stderr, "contact sheet: %s\n", path);
    }
}

static void say_quick(const struct talk *talk, const struct graph *graph, const struct output *output, int frames)
{
    char *folder = path_folder(output->pattern);
    if (talk->json || talk->quiet || folder == NULL) {
        memory_free(folder);
        return;
    }
    (void)fprintf(stderr, "%s: %s size, %d of %d frames, highlights rolled off, to look at only, in %s\n",
                  output->pictures[0].value->text, quick_size_name(graph->scale), frames, graph->shot.frame_count,
                  folder);
    memory_free(folder);
}

/* The frames of a quick render, for memory_free. */
static enum passel_status quick_frames(const struct graph *graph, const char *list, int32_t **frames, int *count,
                                       struct passel_error *error)
{
    if (list != NULL)
        return frames_parse(list, frames, count, error);
    return preview_frames(&graph->shot, frames, count, error);
}

static enum passel_status write_sheets(const struct talk *talk, const struct graph *graph,
                                       const struct passel_render_options *wish, const int32_t *frames, int count,
                                       struct passel_error *error)
{
    enum passel_status status = PASSEL_OK;
    for (int i = 0; i < graph->output_count && status == PASSEL_OK; i++) {
        char title[160], *path = NULL;
        if (!render_chooses(graph, wish, i))
            continue;
        (void)snprintf(title, sizeof title, "%s  %s  frames %d-%d  %s size", graph->shot.name,
                       graph->outputs[i].pictures[0].value->text, (int)frames[0], (int)frames[count - 1],
                       quick_size_name(graph->scale));
        status = sheet_write(graph->outputs[i].pattern, frames, count, title, &path, error);
        if (status == PASSEL_OK)
            say_sheet(talk, path);
        memory_free(path);
    }
    return status;
}

/* Small pictures and their sheets. The sheets are made of what could be made. */
static enum passel_status render_quick(struct talk *talk, const struct passel_recipe *recipe, int scale,
                                       const struct passel_render_options *wish, struct passel_render_result *result,
                                       struct passel_error *error)
{
    struct graph *graph = NULL;
    int32_t *frames = NULL;
    int count = 0;
    enum passel_status status;
    *result = (struct passel_render_result){ 0 };
    RETURN_IF_ERROR(quick_graph(recipe, scale, &graph, error));
    GOTO_IF_ERROR(quick_frames(graph, wish->frames, &frames, &count, error), out_graph);
    for (int i = 0; i < graph->output_count; i++) {
        if (render_chooses(graph, wish, i))
            say_quick(talk, graph, &graph->outputs[i], count);
    }
    status = render_range(graph, wish, NULL, result, error);
    progress_leave(&talk->line);
    if ((status == PASSEL_OK || status == PASSEL_PARTLY) && result->made + result->fresh > 0 && count > 1) {
        const enum passel_status sheets = write_sheets(talk, graph, wish, frames, count, error);
        status = status != PASSEL_OK ? status : sheets;
    }
out_graph:
    memory_free(frames);
    graph_free(graph);
    return status;
}

/* Options that go together. The size is 0 for the usual one; false (and said) when something is wrong. */
static bool read_quick(const struct call *call, int *scale)
{
    const char *word = call_value(call, "--size");
    const bool watch = call_has(call, "--watch");
    *scale = word != NULL ? quick_size(word) : 0;
    if (watch && (call_has(call, "--frames") || call_has(call, "--again")))
        (void)fprintf(stderr, "passel render: --watch shows one frame: --frame N, without --frames and --again\n");
    else if (!watch && call_has(call, "--frame"))
        (void)fprintf(stderr, "passel render: --frame belongs to --watch; --frames says which frames are made\n");
    else if (word != NULL && *scale == 0)
        (void)fprintf(stderr, "passel render: expected full, half or quarter behind --size, not %s\n", word);
    else if (word != NULL && !watch && !call_has(call, "--quick"))
        (void)fprintf(
            stderr,
            "passel render: --size belongs to --quick and --watch; finished frames have the size of the shot\n");
    else
        return true;
    return false;
}

static enum exit_code render_frames(const struct call *call, const struct passel_render_options *wish, int scale,
                                    struct talk *talk)
{
    struct passel_render_result result;
    struct passel_error error = { 0 };
    struct passel_recipe *recipe;
    enum exit_code code = open_recipe(call, &recipe);
    if (code != EXIT_FINE)
        return code;
    const enum passel_status status = call_has(call, "--quick")
                                          ? render_quick(talk, recipe, scale, wish, &result, &error)
                                          : passel_render(recipe, wish, &result, &error);
    progress_leave(&talk->line);
    say_end(talk, status, &result);
    /* Failures of frames have been said one by one. */
    if (result.failed == 0 || status == PASSEL_STOPPED)
        code = end_with(status, &error);
    else
        code = exit_code_of(status);
    passel_recipe_free(recipe);
    return code;
}

static enum exit_code run(const struct call *call)
{
    long threads, memory;
    int scale;
    if (!read_quick(call, &scale))
        return EXIT_USE;
    if (!call_number(call, "--threads", 1, 1024, 0, &threads) ||
        !call_number(call, "--memory", 1, 1L << 30, 0, &memory))
        return EXIT_USE;
    const char *labels[GIVEN_LIMIT];
    struct talk talk = { .quiet = call_has(call, "--quiet"),
                         .json = call_has(call, "--json"),
                         .terminal = isatty(STDERR_FILENO) != 0 };
    const struct passel_render_options wish = { .outputs = labels,
                                                .output_count = call_values(call, "--output", labels),
                                                .frames = call_value(call, "--frames"),
                                                .threads = (int)threads,
                                                .memory = (size_t)memory << 20,
                                                .again = call_has(call, "--again"),
                                                .stop = &stop,
                                                .event = on_event,
                                                .user = &talk };
    listen_to_signals();
    if (call_has(call, "--watch"))
        return watch_recipe(call, &wish, scale, call_value(call, "--frame"));
    return render_frames(call, &wish, scale, &talk);
}

const struct command command_render = {
    .name = "render",
    .arguments = "RECIPE",
    .summary = "Makes the frames of a recipe's outputs.",
    .notes = "Only frames that are missing, out of date or not whole are made. A frame that fails does not stop the\n"
             "others. An interrupted render leaves whole frames behind and goes on where it stopped.\n",
    .least_arguments = 1,
    .most_arguments = 1,
    .options = options,
    .run = run,
};
