/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What a page shows of a subject before screens: which of two keys which part.
 */
#include "survey/page.h"
#include "survey/survey_screens.h"

static const char *screen_word(const struct survey *survey, int pass, bool first)
{
    static const char *const words[] = { "red", "green", "blue" };
    const enum screen_hue hue = survey->passes[pass].portrait->hue;
    return hue >= HUE_RED && hue <= HUE_BLUE ? words[hue] : first ? "first" : "second";
}

static void say_map(const struct survey *survey, const struct screen_choice *choice, struct text *text)
{
    const char *words[2];
    for (int k = 0; k < 2; k++)
        words[k] = screen_word(survey, choice->passes[k], k == 0);
    page_open_map(text, "Which screen keys which part");
    text_print(text, "aria-label=\"Parts that one of the screens keys better: ");
    for (int i = 0; i < choice->count; i++) {
        text_print(text, i > 0 ? "; " : "");
        piece_words(survey, choice, &choice->pieces[i], text);
        text_print(text, " from the %s one", words[choice->pieces[i].better]);
    }
    text_print(text, "%s\">\n", choice->count == 0 ? "none; either keys all of it" : "");
    for (int i = 0; i < PARTS; i++) {
        if (choice->map[i] == CHOICE_NONE)
            page_empty_cell(i, text);
        else if (choice->map[i] == CHOICE_EITHER)
            page_cell(i, "#8d8d8d", "#000", "either", false, text);
        else
            page_cell(i, "#e3e3e3", "#000", words[choice->map[i]], true, text);
    }
    text_print(text, "</svg>\n");
    for (int i = 0; i < choice->count; i++) {
        const struct screen_piece *piece = &choice->pieces[i];
        text_print(text, "<p class=\"why\">");
        piece_words(survey, choice, piece, text);
        text_print(text, " (%.1f%%): from ", 100 * piece->share);
        page_escape(text, survey->passes[choice->passes[piece->better]].label);
        text_print(text, "</p>\n");
    }
    text_print(text, "</figure>\n");
}

void page_choice(const struct survey *survey, int index, struct text *text)
{
    for (int i = 0; i < survey->choice_count; i++) {
        const struct screen_choice *choice = &survey->choices[i];
        if (choice->passes[0] != index && choice->passes[1] != index)
            continue;
        say_map(survey, choice, text);
        return;
    }
}
