/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * passel survey: are the passes good, before the set is struck?
 */
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "base/error.h"
#include "base/file.h"
#include "base/memory.h"
#include "base/pool.h"
#include "command/command.h"
#include "command/open_recipe.h"
#include "engine/recipe_handle.h"
#include "kinds/shot.h"
#include "survey/survey.h"
#include "survey/survey_recipe.h"

static const struct option options[] = {
    { "--lock", "PASS", false, "the pass that the others are held against, by its block's or file's name" },
    { "--limit", "NAME=CARE,SHOOT", true, "other limits for this run; may be given several times" },
    { "--limits", NULL, false, "print the table of limits and where they come from; looks at nothing" },
    { "--html", "FILE", false, "also one page with pictures and plots, to be read with any browser, also on a phone" },
    { "--json", NULL, false, "one JSON object instead of text" },
    { "--set", "'BLOCK: LINE'", true, "a setting of the recipe for this run only; may be given several times" },
    { "--threads", "N", false, "how many threads work; as many as the machine offers when not given" },
    { "--quiet", NULL, false, "no progress" },
    { NULL, NULL, false, NULL },
};

/* Lines of the shot block that are read; each limit needs one. */
enum { SHOT_LIMITS_MOST = 256 };

/* Called from any thread: one whole line each time, only on a terminal. */
static void show_progress(void *user, int done, int total)
{
    (void)user;
    if (done % 16 == 0 || done == total)
        (void)fprintf(stderr, "\r\033[K%d of %d frames%s", done, total, done == total ? "\n" : "");
}

/* Those of the recipe, then those of the command line: the last one counts. */
static bool read_limits(const struct call *call, const struct recipe *recipe, struct limit limits[LIMIT_COUNT])
{
    const char *changes[GIVEN_LIMIT];
    const int count = call_values(call, "--limit", changes);
    struct shot_limit own[SHOT_LIMITS_MOST];
    const int own_count = recipe != NULL ? shot_limits(recipe, own, SHOT_LIMITS_MOST) : 0;
    memcpy(limits, limit_table, LIMIT_COUNT * sizeof *limits);
    for (int i = 0; i < own_count; i++)
        (void)limits_set(limits, own[i].name, own[i].care, own[i].shoot);
    for (int i = 0; i < count; i++) {
        if (!limits_change(limits, changes[i])) {
            (void)fprintf(stderr,
                          "passel survey: --limit takes a name of the table and two numbers, such as bump=0.3,1, not "
                          "\"%s\"\n`passel survey --limits` lists them.\n",
                          changes[i]);
            return false;
        }
    }
    return true;
}

static enum exit_code print_survey(const struct call *call, const struct survey *survey)
{
    static const enum exit_code codes[] = { EXIT_FINE, EXIT_PARTLY, EXIT_PICTURES };
    struct text text = { 0 };
    if (call_has(call, "--json"))
        survey_json(survey, &text);
    else
        survey_text(survey, &text);
    const bool failed = text.failed;
    if (!failed)
        (void)fwrite(text.bytes, 1, text.length, stdout);
    text_release(&text);
    return failed ? EXIT_MACHINE : codes[survey->severity];
}

/* The page names the place as the command line does. */
static enum exit_code write_page(const struct call *call, const struct survey *survey)
{
    const char *path = call_value(call, "--html");
    struct text text = { 0 };
    struct passel_error error = { 0 };
    if (path == NULL)
        return EXIT_FINE;
    survey_html(survey, call->arguments[0], &text);
    const enum passel_status status = text.failed ? error_set(&error, PASSEL_NO_MEMORY, "no memory for the page")
                                                  : file_write(path, text.bytes, text.length, &error);
    text_release(&text);
    return end_with(status, &error);
}

static enum exit_code look(const struct call *call, const struct recipe *recipe, struct survey_wish *wish)
{
    struct limit limits[LIMIT_COUNT];
    struct passel_error error = { 0 };
    struct survey survey;
    long threads;
    if (!read_limits(call, recipe, limits) || !call_number(call, "--threads", 1, 1024, machine_threads(), &threads))
        return EXIT_USE;
    wish->threads = (int)threads;
    wish->limits = limits;
    if (call_value(call, "--lock") != NULL)
        wish->lock = call_value(call, "--lock");
    if (!call_has(call, "--quiet") && isatty(STDERR_FILENO))
        wish->progress = show_progress;
    const enum passel_status status = survey_take(wish, &survey, &error);
    if (status != PASSEL_OK)
        return end_with(status, &error);
    enum exit_code code = print_survey(call, &survey);
    const enum exit_code page = write_page(call, &survey);
    code = page != EXIT_FINE ? page : code;
    if (wish->lock != NULL && (survey.lock < 0 || strcmp(survey.passes[survey.lock].label, wish->lock) != 0)) {
        (void)fprintf(stderr, "passel survey: there is no pass \"%s\" to hold the others against\n", wish->lock);
        code = EXIT_USE;
    }
    survey_release(&survey);
    return code;
}

static enum exit_code survey_folder(const struct call *call, const char *folder)
{
    struct clip_list clips = { 0 };
    struct passel_error error = { 0 };
    enum passel_status status = clips_find(folder, &clips, &error);
    if (status == PASSEL_OK && clips.count == 0)
        status = error_set(&error, PASSEL_NO_FILE, "%s: no pictures in this folder", folder);
    enum exit_code code = end_with(status, &error);
    if (status == PASSEL_OK && clips.skipped.length > 0)
        (void)fprintf(stderr, "not looked at (folders, and what is no picture by its name):\n%s", clips.skipped.bytes);
    if (status == PASSEL_OK) {
        struct survey_wish wish = { .folder = folder, .clips = &clips };
        code = look(call, NULL, &wish);
    }
    clip_list_release(&clips);
    return code;
}

static enum exit_code survey_recipe(const struct call *call)
{
    struct passel_recipe *recipe;
    struct clip_list clips = { 0 };
    struct passel_error error = { 0 };
    struct shot shot = { 0 };
    const char **labels = NULL;
    enum exit_code code = open_recipe(call, &recipe);
    if (code != EXIT_FINE)
        return code;
    enum passel_status status = shot_read(recipe->recipe, &shot, &error);
    if (status == PASSEL_OK)
        status = clips_of_recipe(recipe->recipe, &clips, &labels, &error);
    if (status == PASSEL_OK && clips.count == 0)
        status = error_set(&error, PASSEL_BAD_RECIPE, "%s: no passes in this recipe", call->arguments[0]);
    code = end_with(status, &error);
    if (status == PASSEL_OK) {
        struct survey_wish wish = { .folder = recipe->recipe->folder, .clips = &clips, .labels = labels };
        wish.lock = shot.lock != NULL ? shot.lock->name : NULL;
        code = look(call, recipe->recipe, &wish);
    }
    memory_free(labels);
    clip_list_release(&clips);
    passel_recipe_free(recipe);
    return code;
}

static enum exit_code print_limits(void)
{
    struct text text = { 0 };
    limits_markdown(&text);
    const enum exit_code code = text.failed ? EXIT_MACHINE : EXIT_FINE;
    (void)fwrite(text.failed ? "" : text.bytes, 1, text.failed ? 0 : text.length, stdout);
    text_release(&text);
    return code;
}

static enum exit_code run(const struct call *call)
{
    struct file_facts facts;
    if (call_has(call, "--limits"))
        return print_limits();
    if (call->argument_count != 1) {
        (void)fprintf(stderr, "passel survey: expected a recipe or a folder\n`passel survey --help` tells more.\n");
        return EXIT_USE;
    }
    const bool folder = file_facts(call->arguments[0], &facts, NULL) == PASSEL_OK && facts.is_folder;
    return folder ? survey_folder(call, call->arguments[0]) : survey_recipe(call);
}

const struct command command_survey = {
    .name = "survey",
    .arguments = "PLACE",
    .summary = "Says whether the passes of a recipe or a folder are good, before the set is struck.",
    .notes =
        "PLACE is a recipe or a folder. Every file is read once: what is missing, unreadable or there twice, size,\n"
        "exposure, clipping, noise, focus, bumps against the lock pass, shake, flicker, evenness of screens, the sum\n"
        "of the lamps, dead pixels. Verdicts come worst first, each with its limit and what to do.\n"
        "Ends with 0 when all is good, 1 when passes are usable with care, 5 when one must be shot again.\n",
    .least_arguments = 0,
    .most_arguments = 1,
    .options = options,
    .run = run,
};
