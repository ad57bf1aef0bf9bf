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

#include "command/command.h"
#include "command/json.h"
#include "command/open_recipe.h"

static const struct option options[] = {
    { "--frames", "LIST", false,
      "which frames: \"1001-1010, 1020, 1001-1048 every 2\"; all of the shot when not given" },
    { "--output", "LABEL", true, "which output, by its label; may be given several times; all when not given" },
    { "--again", NULL, false, "make frames that are up to date, too" },
    { "--set", "'BLOCK: LINE'", true, "a setting for this run only; may be given several times" },
    { "--threads", "N", false, "how many threads work; as many as the machine offers when not given" },
    { "--memory", "MIB", false, "how much memory pictures may take; a quarter of the machine's when not given" },
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
    bool line_open; /* a progress line stands on the terminal */
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

static void end_line(struct talk *talk)
{
    if (talk->line_open)
        (void)fprintf(stderr, "\n");
    talk->line_open = false;
}

static void say_progress(struct talk *talk, const struct passel_event *event)
{
    const double rate = event->seconds > 0 ? event->done / event->seconds : 0;
    const int left = event->total - event->done;
    if (talk->terminal) {
        (void)fprintf(stderr, "\r\033[K%d of %d frames", event->done, event->total);
        if (rate > 0 && left > 0)
            (void)fprintf(stderr, ", %.1f a second, %.0f s left", rate, left / rate);
        talk->line_open = true;
        (void)fflush(stderr);
    } else if (event->kind == PASSEL_FRAME_DONE) {
        (void)fprintf(stderr, "frame %d: done, %d of %d\n", (int)event->frame, event->done, event->total);
    }
}

static void on_event(void *user, const struct passel_event *event)
{
    struct talk *talk = user;
    if (talk->json) {
        say_json(event);
        return;
    }
    if (event->kind == PASSEL_FRAME_FAILED || event->kind == PASSEL_WARNING) {
        end_line(talk);
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

static enum exit_code run(const struct call *call)
{
    long threads, memory;
    if (!call_number(call, "--threads", 1, 1024, 0, &threads) ||
        !call_number(call, "--memory", 1, 1L << 30, 0, &memory))
        return EXIT_USE;
    struct passel_recipe *recipe;
    enum exit_code code = open_recipe(call, &recipe);
    if (code != EXIT_FINE)
        return code;
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
    struct passel_render_result result;
    struct passel_error error = { 0 };
    listen_to_signals();
    const enum passel_status status = passel_render(recipe, &wish, &result, &error);
    end_line(&talk);
    say_end(&talk, status, &result);
    /* Failures of frames have been said one by one. */
    if (result.failed == 0 || status == PASSEL_STOPPED)
        code = end_with(status, &error);
    else
        code = exit_code_of(status);
    passel_recipe_free(recipe);
    return code;
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
