/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * passel survey: are the passes good, before the set is struck?
 */
#include <stdio.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "base/error.h"
#include "base/file.h"
#include "base/memory.h"
#include "base/pool.h"
#include "command/command.h"
#include "command/open_recipe.h"
#include "command/progress.h"
#include "engine/recipe_handle.h"
#include "kinds/shot.h"
#include "survey/survey.h"
#include "survey/survey_recipe.h"
#include "survey/survey_words.h"
#include "survey/takes.h"

static const struct option options[] = {
    { "--lock", "PASS", false, "the pass that the others are held against, by its block's or file's name" },
    { "--limit", "NAME=CARE,SHOOT", true, "other limits for this run; may be given several times" },
    { "--limits", NULL, false, "print the table of limits and where they come from; looks at nothing" },
    { "--html", "FILE", false, "also one page with pictures and plots, to be read with any browser, also on a phone" },
    { "--json", NULL, false, "one JSON object instead of text" },
    { "--takes", NULL, false, "the places are takes of one pass: which one, and why" },
    { "--set", "'BLOCK: LINE'", true, "a setting of the recipe for this run only; may be given several times" },
    { "--threads", "N", false, "how many threads work; as many as the machine offers when not given" },
    { "--quiet", NULL, false, "no progress" },
    { NULL, NULL, false, NULL },
};

/* Lines of the shot block that are read; each limit needs one. */
enum { SHOT_LIMITS_MOST = 256 };

/* A few times a second is enough for the eye. */
#define REDRAW 0.2

struct watching {
    struct progress line;
    double begun, drawn; /* seconds */
};

static double now(void)
{
    struct timespec time;
    (void)clock_gettime(CLOCK_MONOTONIC, &time);
    return (double)time.tv_sec + 1e-9 * (double)time.tv_nsec;
}

static void show_progress(void *user, const struct survey_progress *progress)
{
    struct watching *watching = user;
    const double time = now();
    char passes[64];
    const bool last = progress->frames >= progress->frame_count && progress->passes >= progress->pass_count;
    if (time - watching->drawn < REDRAW && !last)
        return;
    watching->drawn = time;
    (void)snprintf(passes, sizeof passes, ", %d of %d passes", progress->passes, progress->pass_count);
    progress_show(&watching->line, progress->frames, progress->frame_count, time - watching->begun, passes);
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

static enum exit_code exit_of(enum severity severity)
{
    static const enum exit_code codes[] = { EXIT_FINE, EXIT_PARTLY, EXIT_PICTURES };
    return codes[severity];
}

/* Prints the text and gives it back; `code`, or that memory was out. */
static enum exit_code print_text(struct text *text, enum exit_code code)
{
    if (text->failed)
        code = EXIT_MACHINE;
    else
        (void)fwrite(text->bytes, 1, text->length, stdout);
    text_release(text);
    return code;
}

/* The exit code is that of the best take. */
static enum exit_code print_takes(const struct call *call, const struct survey *survey)
{
    struct take_rank *ranks = memory_new((size_t)survey->count * sizeof *ranks);
    struct text text = { 0 };
    if (ranks == NULL)
        return EXIT_MACHINE;
    const int best = takes_rank(survey, ranks);
    if (call_has(call, "--json"))
        takes_json(survey, ranks, best, &text);
    else
        takes_text(survey, ranks, best, &text);
    const enum severity severity = pass_severity(survey, ranks[0].pass);
    memory_free(ranks);
    return print_text(&text, exit_of(severity));
}

static enum exit_code print_survey(const struct call *call, const struct survey *survey)
{
    struct text text = { 0 };
    if (call_has(call, "--takes"))
        return print_takes(call, survey);
    if (call_has(call, "--json"))
        survey_json(survey, &text);
    else
        survey_text(survey, &text);
    return print_text(&text, exit_of(survey->severity));
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
    struct watching watching = { .begun = now() };
    if (!call_has(call, "--quiet") && isatty(STDERR_FILENO)) {
        wish->progress = show_progress;
        wish->user = &watching;
        progress_say(&watching.line, "looking at a few frames of each pass");
    }
    const enum passel_status status = survey_take(wish, &survey, &error);
    progress_clear(&watching.line);
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

/* A recipe and its passes. */
struct recipe_passes {
    struct passel_recipe *recipe;
    struct shot shot;
    struct clip_list clips;
    const char **labels; /* per clip */
};

static void passes_close(struct recipe_passes *passes)
{
    memory_free(passes->labels);
    clip_list_release(&passes->clips);
    passel_recipe_free(passes->recipe);
}

/* What is wrong has been said; passes_close is wanted in any case. */
static enum exit_code passes_open(const struct call *call, struct recipe_passes *passes)
{
    struct passel_error error = { 0 };
    *passes = (struct recipe_passes){ 0 };
    const enum exit_code code = open_recipe(call, &passes->recipe);
    if (code != EXIT_FINE)
        return code;
    enum passel_status status = shot_read(passes->recipe->recipe, &passes->shot, &error);
    if (status == PASSEL_OK)
        status = clips_of_recipe(passes->recipe->recipe, &passes->clips, &passes->labels, &error);
    return end_with(status, &error);
}

static enum exit_code survey_recipe(const struct call *call)
{
    struct recipe_passes passes;
    struct passel_error error = { 0 };
    enum exit_code code = passes_open(call, &passes);
    if (code == EXIT_FINE && passes.clips.count == 0)
        code =
            end_with(error_set(&error, PASSEL_BAD_RECIPE, "%s: no passes in this recipe", call->arguments[0]), &error);
    if (code == EXIT_FINE) {
        struct survey_wish wish = { .folder = passes.recipe->recipe->folder,
                                    .clips = &passes.clips,
                                    .labels = passes.labels,
                                    .lock = passes.shot.lock != NULL ? passes.shot.lock->name : NULL,
                                    .rate = passes.shot.rate };
        code = look(call, passes.recipe->recipe, &wish);
    }
    passes_close(&passes);
    return code;
}

static bool is_recipe(const char *place)
{
    char extension[16];
    path_extension(place, extension);
    return strcmp(extension, "passel") == 0;
}

/* Takes the passes that the call names out of all; false, and said, when one is not there. */
static bool pick_takes(const struct call *call, const char **labels, struct clip_list *all, struct clip_list *picked)
{
    for (int i = 1; i < call->argument_count; i++) {
        int found = -1;
        for (int k = 0; k < all->count && found < 0; k++)
            found =
                labels[k] != NULL && strcmp(labels[k], call->arguments[i]) == 0 && all->clips[k].name != NULL ? k : -1;
        if (found < 0) {
            (void)fprintf(stderr, "passel survey: %s has no pass \"%s\", or it is named twice\n", call->arguments[0],
                          call->arguments[i]);
            return false;
        }
        if (clips_add(picked, all->clips[found], NULL) != PASSEL_OK)
            return false;
        all->clips[found].name = NULL;
        all->clips[found].frames = NULL;
    }
    return true;
}

static enum exit_code takes_of_recipe(const struct call *call)
{
    struct recipe_passes all;
    struct clip_list picked = { 0 };
    enum exit_code code = passes_open(call, &all);
    if (code == EXIT_FINE && !pick_takes(call, all.labels, &all.clips, &picked))
        code = EXIT_USE;
    if (code == EXIT_FINE) {
        struct survey_wish wish = {
            .folder = all.recipe->recipe->folder, .clips = &picked, .labels = &call->arguments[1], .rate = all.shot.rate
        };
        code = look(call, all.recipe->recipe, &wish);
    }
    clip_list_release(&picked);
    passes_close(&all);
    return code;
}

static enum exit_code takes_of_places(const struct call *call)
{
    struct clip_list clips = { 0 };
    struct passel_error error = { 0 };
    enum exit_code code = EXIT_FINE;
    for (int i = 0; i < call->argument_count && code == EXIT_FINE; i++)
        code = end_with(take_clip(call->arguments[i], &clips, &error), &error);
    if (code == EXIT_FINE) {
        struct survey_wish wish = { .folder = ".", .clips = &clips, .labels = call->arguments };
        code = look(call, NULL, &wish);
    }
    clip_list_release(&clips);
    return code;
}

static enum exit_code survey_takes(const struct call *call)
{
    const bool recipe = call->argument_count > 0 && is_recipe(call->arguments[0]);
    if (call->argument_count < (recipe ? 3 : 2)) {
        (void)fprintf(stderr,
                      "passel survey: --takes needs two takes or more: folders, sequences, or a recipe and names of "
                      "its passes\n`passel survey --help` tells more.\n");
        return EXIT_USE;
    }
    return recipe ? takes_of_recipe(call) : takes_of_places(call);
}

static enum exit_code print_limits(void)
{
    struct text text = { 0 };
    limits_markdown(&text);
    return print_text(&text, EXIT_FINE);
}

static enum exit_code run(const struct call *call)
{
    struct file_facts facts;
    if (call_has(call, "--limits"))
        return print_limits();
    if (call_has(call, "--takes"))
        return survey_takes(call);
    if (call->argument_count != 1) {
        (void)fprintf(stderr, "passel survey: expected a recipe or a folder\n`passel survey --help` tells more.\n");
        return EXIT_USE;
    }
    const bool folder = file_facts(call->arguments[0], &facts, NULL) == PASSEL_OK && facts.is_folder;
    return folder ? survey_folder(call, call->arguments[0]) : survey_recipe(call);
}

const struct command command_survey = {
    .name = "survey",
    .arguments = "PLACE…",
    .summary = "Says whether the passes of a recipe or a folder are good, before the set is struck.",
    .notes =
        "PLACE is a recipe or a folder. Every file is read once: what is missing, unreadable or there twice, size,\n"
        "exposure, clipping, noise, focus, bumps against the lock pass, shake, flicker, evenness of screens, the sum\n"
        "of the lamps, dead pixels, flashes that can harm eyes. Verdicts come worst first, each with its limit and\n"
        "what to do.\n"
        "With --takes, the places are takes of one pass: folders, sequences (moon-2.####.exr), or a recipe and names "
        "of\n"
        "its passes. Says which one is steadiest, sharpest, calmest and whole; ends as the best one deserves.\n"
        "Ends with 0 when all is good, 1 when passes are usable with care, 5 when one must be shot again.\n",
    .least_arguments = 0,
    .most_arguments = GIVEN_LIMIT - 1,
    .options = options,
    .run = run,
};
