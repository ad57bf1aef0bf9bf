/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A survey in plain words: verdicts, the worst first, then what was measured.
 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "survey/survey_screens.h"
#include "survey/survey_words.h"

const char *severity_word(enum severity severity)
{
    static const char *const words[] = { "good", "usable with care", "re-shoot" };
    return words[severity];
}

const char *role_words(const struct portrait *portrait)
{
    static const char *const words[] = {
        [ROLE_UNREADABLE] = "cannot be read", [ROLE_ODD] = "fits nothing",
        [ROLE_DARK] = "lights off",           [ROLE_LAMP] = "one lamp",
        [ROLE_ALL_LAMPS] = "all lamps",       [ROLE_ELEMENT] = "element on black",
        [ROLE_SCREEN] = "before a screen",    [ROLE_EMPTY] = "screen alone",
        [ROLE_PLATE] = "background",
    };
    static const char *const screens[] = { "before red", "before green", "before blue", "before a screen" };
    static const char *const empties[] = { "red alone", "green alone", "blue alone", "screen alone" };
    if (portrait->hue >= HUE_RED && portrait->role == ROLE_SCREEN)
        return screens[portrait->hue];
    if (portrait->hue >= HUE_RED && portrait->role == ROLE_EMPTY)
        return empties[portrait->hue];
    return words[portrait->role];
}

/* Terminals are at least so wide. */
enum { TEXT_WIDTH = 79, NAME_WIDTH = 26 };

static int letters(const char *words, size_t length)
{
    int count = 0;
    for (size_t i = 0; i < length; i++)
        count += ((unsigned char)words[i] & 0xC0) != 0x80;
    return count;
}

/* Lines broken at spaces, each behind `indent` spaces; a word that is too long stands out. */
static void say_wrapped(const char *words, int indent, struct text *text)
{
    int column = 0;
    while (*words != '\0') {
        const size_t length = strcspn(words, " ");
        const int wide = letters(words, length);
        if (column > 0 && column + 1 + wide > TEXT_WIDTH) {
            text_print(text, "\n");
            column = 0;
        }
        text_print(text, "%*s", column == 0 ? indent : 1, "");
        text_add(text, words, length);
        column += wide + (column == 0 ? indent : 1);
        words += length;
        words += strspn(words, " ");
    }
    text_print(text, "\n");
}

static void say_problem(const struct pass_gauge *pass, struct text *text)
{
    for (int i = 0; i < pass->frame_count; i++) {
        if (pass->frames[i].status != PASSEL_OK) {
            say_wrapped(pass->frames[i].problem, 4, text);
            return;
        }
    }
}

static void say_finding(const struct survey *survey, const struct finding *finding, struct text *text)
{
    const struct finding_words words = finding_words(finding);
    const double limit = finding_limit(survey, finding);
    struct text line = { 0 };
    text_print(text, "\n%s: %s\n", severity_word(finding->severity),
               finding->pass >= 0 ? survey->passes[finding->pass].label : "all passes");
    text_print(&line, "%s", words.before);
    if (words.decimals >= 0)
        text_print(&line, "%.*f", words.decimals, finding->value);
    text_print(&line, "%s", words.after);
    if (words.decimals >= 0 && limit > 0)
        text_print(&line, "; the limit is %.3g", limit);
    if (finding->where[0] != '\0')
        text_print(&line, " (%s)", finding->where);
    text->failed = text->failed || line.failed;
    say_wrapped(line.failed ? "" : line.bytes, 4, text);
    if (finding->kind == LIMIT_UNREADABLE && finding->pass >= 0)
        say_problem(&survey->passes[finding->pass], text);
    say_wrapped(survey->limits[finding->kind].advice, 4, text);
    text_release(&line);
}

/* In a column; a name that is wider stands on a line of its own. */
static void say_name(const char *name, struct text *text)
{
    const int wide = letters(name, strlen(name));
    if (wide > NAME_WIDTH)
        text_print(text, "  %s\n  %*s", name, NAME_WIDTH, "");
    else
        text_print(text, "  %s%*s", name, NAME_WIDTH - wide, "");
}

static void say_number(struct text *text, double value, int width, int decimals)
{
    if (value < 0)
        text_print(text, " %*s", width, "-");
    else
        text_print(text, " %*.*f", width, decimals, value);
}

static double stops(double light)
{
    return log2(fmax(light, 1e-6) / 0.18);
}

static void say_passes(const struct survey *survey, struct text *text)
{
    text_print(text, "\n  %-*s %-17s %6s  stops about grey\n  %-*s %-17s %6s %5s %5s %5s\n", NAME_WIDTH, "", "", "",
               NAME_WIDTH, "pass", "taken for", "frames", "1%", "50%", "99%");
    for (int i = 0; i < survey->count; i++) {
        const struct pass_gauge *pass = &survey->passes[i];
        say_name(pass->label, text);
        text_print(text, " %-17s %6d %5.1f %5.1f %5.1f\n", role_words(pass->portrait), pass->frame_count,
                   stops((double)pass->low), stops((double)pass->middle), stops((double)pass->high));
    }
}

static void say_measures(const struct survey *survey, struct text *text)
{
    bool any = false;
    for (int i = 0; i < survey->count; i++) {
        const struct pass_gauge *pass = &survey->passes[i];
        if (pass->light_over_noise < 0 && pass->bump < 0 && pass->shake < 0 && pass->flicker < 0 && pass->focus < 0 &&
            pass->evenness < 0)
            continue;
        if (!any)
            text_print(text, "\n  %-*s %6s %5s %6s %8s %6s %7s\n  %-*s %6s %5s %6s %8s %6s %7s\n", NAME_WIDTH, "",
                       "light/", "bump", "shake", "flicker", "focus", "uneven", NAME_WIDTH, "pass", "noise", "px", "px",
                       "%", "x", "stops");
        any = true;
        say_name(pass->label, text);
        say_number(text, pass->light_over_noise, 6, 0);
        say_number(text, pass->bump, 5, 2);
        say_number(text, pass->shake, 6, 2);
        say_number(text, pass->flicker >= 0 ? 100 * pass->flicker : -1, 8, 2);
        say_number(text, pass->focus, 6, 2);
        say_number(text, pass->evenness, 7, 2);
        text_print(text, "\n");
    }
}

void survey_text(const struct survey *survey, struct text *text)
{
    verdict_words(survey, text);
    text_print(text, ": %d pass%s, %d frame%s", survey->count, survey->count == 1 ? "" : "es", survey->frames,
               survey->frames == 1 ? "" : "s");
    if (survey->lock >= 0)
        text_print(text, ", held against %s", survey->passes[survey->lock].label);
    text_print(text, "\n");
    for (int i = 0; i < survey->finding_count; i++)
        say_finding(survey, &survey->findings[i], text);
    say_passes(survey, text);
    say_measures(survey, text);
    screens_text(survey, text);
}
