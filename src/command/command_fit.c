/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * passel fit: which settings of a `lights` block make a reference picture; what an `align` block finds, in numbers.
 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "command/command.h"
#include "engine/fit.h"
#include "engine/fit_told.h"

static const struct option options[] = {
    { "--frames", "LIST", false,
      "which frames are compared; nine over the shot when not given, or its first when the reference is a still" },
    { "--tint", NULL, false, "find a tint for each light too, in the place of its own" },
    { "--write", NULL, false, "put the lines into the recipe, comments and all else as they are" },
    { "--threads", "N", false, "how many threads work; as many as the machine offers when not given" },
    { NULL, NULL, false, NULL },
};

static void say_line(const struct fit_line *line)
{
    (void)printf("  %s  # ", line->line);
    if (isinf(line->sigma))
        (void)printf("left open");
    else if (line->dark)
        (void)printf("gain +- %.1g", line->sigma);
    else
        (void)printf("+- %.4f stops", line->sigma);
    (void)printf("%s\n", line->changes ? ", in the place of a curve" : "");
}

static void say_answer(const struct fit_answer *answer)
{
    for (int i = 0; i < answer->count; i++)
        say_line(&answer->lines[i]);
    (void)printf(
        "R2 %.6f over %.1f %% of %zu blocks of 8 x 8 pixels; the rest is clipped, moved or not of these lights\n",
        answer->r2, 100.0 * (double)answer->believed / (double)answer->blocks, answer->blocks);
    for (int i = 0; i < answer->group_count; i++) {
        const char *between = "cannot be told apart, only their sum is sure:";
        for (int k = 0; k < answer->count; k++) {
            if (!answer->groups[i * answer->count + k])
                continue;
            (void)printf("%s %s", between, answer->lines[k].name);
            between = ",";
        }
        (void)printf("\n");
    }
}

static enum passel_status write_lines(const struct fit_wish *wish, const struct fit_answer *answer,
                                      struct passel_error *error)
{
    int written;
    const enum passel_status status = fit_write(wish, answer, &written, error);
    if (status != PASSEL_OK)
        return status;
    (void)printf("%s: %d lines written", wish->path, written);
    if (written < answer->count)
        (void)printf("; lights that follow a curve keep their lines");
    (void)printf("\n");
    return PASSEL_OK;
}

static enum passel_status fit_reference(const struct call *call, int threads, struct text *messages,
                                        struct passel_error *error)
{
    const struct fit_wish wish = { .path = call->arguments[0],
                                   .block = call->arguments[1],
                                   .reference = call->arguments[2],
                                   .frames = call_value(call, "--frames"),
                                   .tint = call_has(call, "--tint"),
                                   .threads = threads };
    struct fit_answer answer;
    enum passel_status status = fit_find(&wish, &answer, messages, error);
    if (status == PASSEL_OK) {
        say_answer(&answer);
        if (call_has(call, "--write"))
            status = write_lines(&wish, &answer, error);
        fit_answer_release(&answer);
    }
    return status;
}

static enum passel_status fit_looking(const struct call *call, int threads, struct text *messages,
                                      struct passel_error *error)
{
    const struct told_wish wish = { .path = call->arguments[0],
                                    .block = call->arguments[1],
                                    .frames = call_value(call, "--frames"),
                                    .threads = threads };
    struct text line = { 0 };
    enum passel_status status = told_find(&wish, &line, messages, error);
    if (status == PASSEL_OK) {
        (void)printf("  %s\n", line.bytes);
        if (call_has(call, "--write"))
            status = told_write(&wish, line.bytes, error);
        if (status == PASSEL_OK && call_has(call, "--write"))
            (void)printf("%s: 1 line written\n", wish.path);
    }
    text_release(&line);
    return status;
}

static enum exit_code run(const struct call *call)
{
    long threads;
    if (!call_number(call, "--threads", 1, 1024, 0, &threads))
        return EXIT_USE;
    struct passel_error error = { 0 };
    struct text messages = { 0 };
    const enum passel_status status = call->argument_count > 2 ? fit_reference(call, (int)threads, &messages, &error)
                                                               : fit_looking(call, (int)threads, &messages, &error);
    enum exit_code code = exit_code_of(status);
    if (messages.length > 0)
        (void)fprintf(stderr, "%s", messages.bytes);
    if (status == PASSEL_OK || messages.length == 0 || strstr(messages.bytes, error.text) == NULL)
        code = end_with(status, &error);
    text_release(&messages);
    return code;
}

const struct command command_fit = {
    .name = "fit",
    .arguments = "RECIPE BLOCK [REFERENCE]",
    .summary = "Finds the lights that make a reference picture; the numbers of an `align`.",
    .notes = "BLOCK is of the kind `lights`; REFERENCE is a file or a pattern of files, of the size of the passes and\n"
             "read as a `pass` reads it. The lines printed can stand in the recipe. Lights that are off stay so. What\n"
             "stands behind a line is its standard deviation. Clipped parts and what is not lit by these lights do no\n"
             "harm as long as they are less than a third of the picture.\n"
             "Without REFERENCE, BLOCK is of the kind `align`: what it finds is told as its line `corners`, for every\n"
             "frame where it says `each frame`. With that line the block looks for nothing any more.\n",
    .least_arguments = 2,
    .most_arguments = 3,
    .options = options,
    .run = run,
};
