/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "survey/survey_screens.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"

/* ---- measuring --------------------------------------------------------------------------------------------------- */

/* A small picture of the take; the empty's, where it has the same shape. */
static bool view_of(const struct survey *survey, int index, struct screen_view *view)
{
    const struct pass_gauge *pass = &survey->passes[index];
    const struct portrait *portrait = pass->portrait;
    *view = (struct screen_view){ .take = &pass->thumb };
    if (portrait->role != ROLE_SCREEN || pass->thumb.plane[0] == NULL || portrait->bare == NULL)
        return false;
    if (portrait->empty >= 0) {
        const struct look *empty = &survey->passes[portrait->empty].thumb;
        if (empty->plane[0] != NULL && empty->across == pass->thumb.across && empty->down == pass->thumb.down)
            view->empty = empty;
    }
    memcpy(view->noise, pass->noise, sizeof view->noise);
    return screen_view_settle(view, &portrait->look, portrait->bare);
}

static bool same_shape(const struct screen_view *a, const struct screen_view *b)
{
    return a->take->across == b->take->across && a->take->down == b->take->down;
}

/* Takes that moved against each other, or are not equally long, are measured apart. */
static bool measured_together(const struct survey *survey, int index, int partner)
{
    const struct pass_gauge *a = &survey->passes[index], *b = &survey->passes[partner];
    const double moved = a->pair >= 0 ? a->pair : b->pair;
    return a->frame_count == b->frame_count && moved <= survey->limits[LIMIT_SCREENS].care;
}

static enum passel_status measure_one(struct survey *survey, int index, struct passel_error *error)
{
    const int partner = survey->passes[index].portrait->partner;
    const bool pair = partner > index && measured_together(survey, index, partner);
    const int members[2] = { index, partner };
    struct screen_view views[2];
    struct screen_gauge *gauges[2] = { &survey->passes[index].screen, NULL };
    struct subject subject;
    if (gauges[0]->hue >= 0 || !view_of(survey, index, &views[0]))
        return PASSEL_OK;
    const bool both = pair && view_of(survey, partner, &views[1]) && same_shape(&views[0], &views[1]);
    if (both)
        gauges[1] = &survey->passes[partner].screen;
    RETURN_IF_ERROR(subject_find(views, both ? 2 : 1, &subject, error));
    enum passel_status status = gauge_hue(&subject, gauges, error);
    if (status == PASSEL_OK && gauges[0]->hue >= 0)
        status = gauge_spill(&subject, gauges, error);
    if (status == PASSEL_OK && both && gauges[0]->hue_both >= 0) {
        struct screen_choice *choice = &survey->choices[survey->choice_count++];
        memcpy(choice->passes, members, sizeof members);
        status = screen_choose(&subject, choice, error);
    }
    subject_release(&subject);
    return status;
}

enum passel_status survey_screens(struct survey *survey, struct passel_error *error)
{
    survey->choices = memory_zeros((size_t)survey->count + 1, sizeof *survey->choices);
    if (survey->choices == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int i = 0; i < survey->count; i++)
        RETURN_IF_ERROR(measure_one(survey, i, error));
    return PASSEL_OK;
}

/* ---- judging ----------------------------------------------------------------------------------------------------- */

static void judge_hue(struct survey *survey, int index)
{
    const struct screen_gauge *screen = &survey->passes[index].screen;
    const int partner = survey->passes[index].portrait->partner;
    char where[160], name[PART_NAME];
    /* Both screens together are judged once. */
    if (screen->hue_both >= 0 && partner < index)
        return;
    (void)snprintf(where, sizeof where, "most of it in the %s", part_name(screen->hue_part, name));
    survey_judge(survey, LIMIT_HUE, index, screen->hue_both >= 0 ? screen->hue_both : screen->hue, where);
}

void judge_subject(struct survey *survey, int index)
{
    const struct screen_gauge *screen = &survey->passes[index].screen;
    char where[160] = "", name[PART_NAME];
    const bool measured = screen->how == SPILL_MEASURED;
    const enum limit_kind kind = measured ? LIMIT_SPILL : LIMIT_EDGES;
    /* The screen's light brings all colours nearer to its own. */
    if (screen->hue >= 0 && !(100 * screen->spill > survey->limits[kind].care))
        judge_hue(survey, index);
    if (screen->how == SPILL_NONE)
        return;
    if (screen->spill_part >= 0)
        (void)snprintf(where, sizeof where, "most in the %s, %.0f%%%s", part_name(screen->spill_part, name),
                       100 * (double)screen->spills[screen->spill_part],
                       measured ? "" : "; a second screen would measure it");
    survey_judge(survey, kind, index, 100 * screen->spill, where);
}

/* ---- telling ----------------------------------------------------------------------------------------------------- */

static const char *hue_word(const struct survey *survey, int pass)
{
    static const char *const words[] = { "the red", "the green", "the blue" };
    const enum screen_hue hue = survey->passes[pass].portrait->hue;
    return hue >= HUE_RED && hue <= HUE_BLUE ? words[hue] : "what is like its screen";
}

void piece_words(const struct survey *survey, const struct screen_choice *choice, const struct screen_piece *piece,
                 struct text *text)
{
    char name[PART_NAME];
    text_print(text, "%s at the %s", hue_word(survey, choice->passes[1 - piece->better]), part_name(piece->part, name));
}

static void say_choice(const struct survey *survey, const struct screen_choice *choice, struct text *text)
{
    text_print(text, "\n  which screen keys which part of the subject: %s or %s\n",
               survey->passes[choice->passes[0]].label, survey->passes[choice->passes[1]].label);
    for (int i = 0; i < choice->count; i++) {
        const struct screen_piece *piece = &choice->pieces[i];
        text_print(text, "    ");
        piece_words(survey, choice, piece, text);
        text_print(text, " (%.1f%%): from %s, %.0f degrees from its screen; %.0f from the other\n", 100 * piece->share,
                   survey->passes[choice->passes[piece->better]].label, piece->degrees[piece->better],
                   piece->degrees[1 - piece->better]);
    }
    text_print(text, "    %s from either; `key two-screen` takes what it needs of both\n",
               choice->count > 0 ? "all else:" : "all of it");
}

void screens_text(const struct survey *survey, struct text *text)
{
    for (int i = 0; i < survey->choice_count; i++)
        say_choice(survey, &survey->choices[i], text);
}

static void say_piece(const struct survey *survey, const struct screen_choice *choice, const struct screen_piece *piece,
                      struct text *text)
{
    text_print(text, "{\"box\": [%d, %d, %d, %d], \"share\": %.4g, \"from\": ", (int)piece->box.x0, (int)piece->box.y0,
               (int)(piece->box.x1 - piece->box.x0), (int)(piece->box.y1 - piece->box.y0), piece->share);
    survey_json_string(text, survey->passes[choice->passes[piece->better]].label);
    text_print(text, ", \"degrees\": [%.4g, %.4g]}", piece->degrees[0], piece->degrees[1]);
}

void screens_json(const struct survey *survey, struct text *text)
{
    static const char *const words[] = { "null", "0", "1", "\"either\"" };
    text_print(text, "\"keys\": [");
    for (int i = 0; i < survey->choice_count; i++) {
        const struct screen_choice *choice = &survey->choices[i];
        text_print(text, "%s{\"passes\": [", i > 0 ? ",\n  " : "\n  ");
        survey_json_string(text, survey->passes[choice->passes[0]].label);
        text_print(text, ", ");
        survey_json_string(text, survey->passes[choice->passes[1]].label);
        text_print(text, "], \"pieces\": [");
        for (int k = 0; k < choice->count; k++) {
            text_print(text, k > 0 ? ", " : "");
            say_piece(survey, choice, &choice->pieces[k], text);
        }
        text_print(text, "], \"map\": [");
        for (int k = 0; k < PARTS; k++)
            text_print(text, "%s%s", k > 0 ? ", " : "", words[choice->map[k] + 1]);
        text_print(text, "]}");
    }
    text_print(text, "]");
}
