/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "survey/takes.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/file.h"
#include "base/memory.h"
#include "media/sequence.h"
#include "survey/survey_words.h"

/* What two takes of the same may differ by though nothing differs but noise, measured on the demo's passes; `limit`
 * says whose limit makes one step behind; a lost frame weighs more than all else together. */
struct measure {
    const char *name, *words, *unit;
    double alike;
    enum limit_kind limit;
    int decimals;
};

static const struct measure measures[TAKE_MEASURES] = {
    [TAKE_LOST] = { "lost", "has lost frames", "", 0, LIMIT_MISSING, 0 },
    [TAKE_SHAKE] = { "shake", "shakes more", " px", 0.05, LIMIT_SHAKE, 2 },
    [TAKE_FOCUS] = { "focus", "is softer", " of the detail", 0.05, LIMIT_FOCUS, 2 },
    [TAKE_FLICKER] = { "flicker", "flickers more", "%", 0.3, LIMIT_FLICKER, 1 },
    [TAKE_CLIPPED] = { "clipped", "is clipped more", "% of area", 0.05, LIMIT_CLIPPED, 2 },
};
#define LOST_COST 1000.0

/* ---- ranking ----------------------------------------------------------------------------------------------------- */

static double lost_frames(const struct pass_gauge *pass)
{
    const struct clip *clip = pass->portrait->clip;
    int lost = pass->frame_count - pass->readable;
    if (clip->numbered && clip->count > 0)
        lost += clip->frames[clip->count - 1] - clip->frames[0] + 1 - clip->count;
    return lost;
}

static double most_clipped(const struct pass_gauge *pass)
{
    float most = 0;
    for (int i = 0; i < pass->frame_count; i++) {
        for (int c = 0; c < 3; c++)
            most = pass->frames[i].clipped[c] > most ? pass->frames[i].clipped[c] : most;
    }
    return 100 * (double)most;
}

/* The lock take is what the others' focus is measured against. */
static double detail(const struct survey *survey, int pass)
{
    return pass == survey->lock ? 1 : survey->passes[pass].focus;
}

static void measure_takes(const struct survey *survey, struct take_rank *ranks)
{
    double sharpest = -1;
    for (int i = 0; i < survey->count; i++)
        sharpest = fmax(sharpest, detail(survey, i));
    for (int i = 0; i < survey->count; i++) {
        const struct pass_gauge *pass = &survey->passes[i];
        const double focus = detail(survey, i);
        ranks[i] = (struct take_rank){ .pass = i };
        ranks[i].value[TAKE_LOST] = lost_frames(pass);
        ranks[i].value[TAKE_SHAKE] = pass->shake;
        ranks[i].value[TAKE_FOCUS] = focus >= 0 && sharpest > 0 ? focus / sharpest : -1;
        ranks[i].value[TAKE_FLICKER] = pass->flicker >= 0 ? 100 * pass->flicker : -1;
        ranks[i].value[TAKE_CLIPPED] = most_clipped(pass);
    }
}

/* Limits behind; what no take or not this one was measured for does not count. */
static double limits_behind(const struct survey *survey, enum take_measure kind, double value, double best)
{
    const struct limit *limit = &survey->limits[measures[kind].limit];
    const double apart = kind == TAKE_FOCUS ? best - value : value - best;
    if (value < 0 || apart <= measures[kind].alike)
        return 0;
    if (kind == TAKE_LOST)
        return LOST_COST * apart;
    return apart / fmax(kind == TAKE_FOCUS ? 1 - limit->care : limit->care, 0.01);
}

static int best_first(const void *pa, const void *pb)
{
    const struct take_rank *a = pa, *b = pb;
    if (a->cost != b->cost)
        return a->cost < b->cost ? -1 : 1;
    return a->pass - b->pass;
}

int takes_rank(const struct survey *survey, struct take_rank *ranks)
{
    int best = 0;
    measure_takes(survey, ranks);
    for (int k = 0; k < TAKE_MEASURES; k++) {
        double leader = -1;
        for (int i = 0; i < survey->count; i++) {
            const double value = ranks[i].value[k];
            if (value >= 0 && (leader < 0 || (k == TAKE_FOCUS ? value > leader : value < leader)))
                leader = value;
        }
        for (int i = 0; i < survey->count; i++) {
            ranks[i].behind[k] = limits_behind(survey, (enum take_measure)k, ranks[i].value[k], leader);
            ranks[i].cost += ranks[i].behind[k];
        }
    }
    qsort(ranks, (size_t)survey->count, sizeof *ranks, best_first);
    while (best < survey->count && ranks[best].cost == ranks[0].cost)
        best++;
    return best;
}

/* ---- in words ---------------------------------------------------------------------------------------------------- */

static const char *label_of(const struct survey *survey, const struct take_rank *rank)
{
    return survey->passes[rank->pass].label;
}

static void say_best(const struct survey *survey, const struct take_rank *ranks, int best, struct text *text)
{
    for (int i = 0; i < best; i++)
        text_print(text, "%s%s", i == 0 ? "" : i + 1 < best ? ", " : " and ", label_of(survey, &ranks[i]));
}

/* What sets a take back the most against the best one. */
static void say_behind(const struct survey *survey, const struct take_rank *rank, const struct take_rank *best,
                       struct text *text)
{
    int worst = 0;
    for (int k = 1; k < TAKE_MEASURES; k++) {
        if (rank->behind[k] - best->behind[k] > rank->behind[worst] - best->behind[worst])
            worst = k;
    }
    const struct measure *measure = &measures[worst];
    text_print(text, "%s %s (%.*f%s against %.*f)", label_of(survey, rank), measure->words, measure->decimals,
               rank->value[worst], measure->unit, measure->decimals, best->value[worst]);
}

static void say_sentence(const struct survey *survey, const struct take_rank *ranks, int best, struct text *text)
{
    if (best == survey->count && best > 1) {
        say_best(survey, ranks, best, text);
        text_print(text, " are equal within what can be measured: take the one that is played best.");
        return;
    }
    text_print(text, best > 1 ? "Take one of " : "Take ");
    say_best(survey, ranks, best, text);
    if (best > 1)
        text_print(text, ", which are equal within what can be measured");
    for (int i = best; i < survey->count; i++) {
        text_print(text, i == best ? ": " : "; ");
        say_behind(survey, &ranks[i], &ranks[0], text);
    }
    text_print(text, ".");
}

static void say_value(const struct take_rank *rank, enum take_measure kind, int width, struct text *text)
{
    if (rank->value[kind] < 0)
        text_print(text, " %*s", width, "-");
    else
        text_print(text, " %*.*f", width, measures[kind].decimals, rank->value[kind]);
}

void takes_text(const struct survey *survey, const struct take_rank *ranks, int best, struct text *text)
{
    say_sentence(survey, ranks, best, text);
    text_print(text, "\n\n  %6s %5s %9s %6s %9s %10s  %s\n", "frames", "lost", "shake px", "focus", "flicker %",
               "clipped %", "take");
    for (int i = 0; i < survey->count; i++) {
        const struct pass_gauge *pass = &survey->passes[ranks[i].pass];
        text_print(text, "  %6d", pass->frame_count);
        say_value(&ranks[i], TAKE_LOST, 5, text);
        say_value(&ranks[i], TAKE_SHAKE, 9, text);
        say_value(&ranks[i], TAKE_FOCUS, 6, text);
        say_value(&ranks[i], TAKE_FLICKER, 9, text);
        say_value(&ranks[i], TAKE_CLIPPED, 10, text);
        text_print(text, "  %s: %s\n", pass->label, severity_word(pass_severity(survey, ranks[i].pass)));
    }
}

void takes_json(const struct survey *survey, const struct take_rank *ranks, int best, struct text *text)
{
    struct text sentence = { 0 };
    say_sentence(survey, ranks, best, &sentence);
    text_print(text, "{\"best\": [");
    for (int i = 0; i < best; i++) {
        text_print(text, i > 0 ? ", " : "");
        survey_json_string(text, label_of(survey, &ranks[i]));
    }
    text_print(text, "], \"why\": ");
    survey_json_string(text, sentence.failed ? "" : sentence.bytes);
    text->failed = text->failed || sentence.failed;
    text_print(text, ",\n\"takes\": [");
    for (int i = 0; i < survey->count; i++) {
        text_print(text, "%s{\"take\": ", i > 0 ? ",\n  " : "\n  ");
        survey_json_string(text, label_of(survey, &ranks[i]));
        text_print(text, ", \"verdict\": \"%s\", \"frames\": %d", severity_word(pass_severity(survey, ranks[i].pass)),
                   survey->passes[ranks[i].pass].frame_count);
        for (int k = 0; k < TAKE_MEASURES; k++) {
            if (ranks[i].value[k] < 0)
                text_print(text, ", \"%s\": null", measures[k].name);
            else
                text_print(text, ", \"%s\": %.6g", measures[k].name, ranks[i].value[k]);
        }
        text_print(text, ", \"behind\": %.6g}", ranks[i].cost);
    }
    text_print(text, "]}\n");
    text_release(&sentence);
}

/* ---- where takes are --------------------------------------------------------------------------------------------- */

/* The one pass of a folder, named with the folder. */
static enum passel_status folder_clip(const char *folder, struct clip *clip, struct passel_error *error)
{
    struct clip_list found = { 0 };
    RETURN_IF_ERROR(clips_find(folder, &found, error));
    enum passel_status status = PASSEL_OK;
    if (found.count != 1) {
        status = error_set(error, PASSEL_BAD_USE, "%s: a take is one pass, and this folder holds %d; name the sequence",
                           folder, found.count);
    } else {
        clip->name = path_join(folder, found.clips[0].name);
        clip->numbered = found.clips[0].numbered;
        clip->count = found.clips[0].count;
        clip->frames = found.clips[0].frames;
        found.clips[0].frames = NULL;
        if (clip->name == NULL)
            status = error_set(error, PASSEL_NO_MEMORY, "out of memory");
    }
    clip_list_release(&found);
    return status;
}

static enum passel_status sequence_clip(const char *place, struct clip *clip, struct passel_error *error)
{
    struct sequence sequence = { 0 };
    const enum passel_status status = sequence_find(place, &sequence, error);
    if (status == PASSEL_OK && sequence.numbered) {
        clip->numbered = true;
        clip->count = sequence.count;
        clip->frames = sequence.frames;
        sequence.frames = NULL;
    }
    sequence_release(&sequence);
    RETURN_IF_ERROR(status);
    clip->name = path_join(".", place);
    return clip->name != NULL ? PASSEL_OK : error_set(error, PASSEL_NO_MEMORY, "out of memory");
}

enum passel_status take_clip(const char *place, struct clip_list *list, struct passel_error *error)
{
    struct clip clip = { .count = 1, .settled = true };
    struct file_facts facts;
    const bool folder = file_facts(place, &facts, NULL) == PASSEL_OK && facts.is_folder;
    enum passel_status status = folder ? folder_clip(place, &clip, error) : sequence_clip(place, &clip, error);
    if (status == PASSEL_OK && clip.count == 0)
        status = error_set(error, PASSEL_NO_FILE, "%s: no file has this name", place);
    if (status == PASSEL_OK)
        status = clips_add(list, clip, error);
    if (status != PASSEL_OK) {
        memory_free(clip.name);
        memory_free(clip.frames);
    }
    return status;
}
