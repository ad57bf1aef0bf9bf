/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A survey in plain words: verdicts, the worst first, then what was measured.
 */
#include <math.h>
#include <stdio.h>

#include "survey/survey.h"

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

static void say_finding(const struct survey *survey, const struct finding *finding, struct text *text)
{
    const struct limit *limit = &survey->limits[finding->kind];
    const double line = finding->severity == SEVERITY_SHOOT ? limit->shoot : limit->care;
    text_print(text, "%s: %s: %s", severity_word(finding->severity),
               finding->pass >= 0 ? survey->passes[finding->pass].label : "all passes", limit->name);
    text_print(text, " %.3g %s, limit %.3g", finding->value, limit->unit, line);
    if (finding->where[0] != '\0')
        text_print(text, " (%s)", finding->where);
    text_print(text, "\n    %s\n", limit->advice);
    for (int i = 0; finding->kind == LIMIT_UNREADABLE && i < survey->passes[finding->pass].frame_count; i++) {
        const struct frame_gauge *frame = &survey->passes[finding->pass].frames[i];
        if (frame->status != PASSEL_OK) {
            text_print(text, "    %s\n", frame->problem);
            return;
        }
    }
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

static void say_pass(const struct pass_gauge *pass, struct text *text)
{
    text_print(text, "  %-22.22s %-16s %6d", pass->label, role_words(pass->portrait), pass->frame_count);
    text_print(text, " %5.1f %5.1f %5.1f", stops((double)pass->low), stops((double)pass->middle),
               stops((double)pass->high));
    say_number(text, pass->light_over_noise, 6, 0);
    say_number(text, pass->bump, 5, 2);
    say_number(text, pass->shake, 5, 2);
    say_number(text, pass->flicker >= 0 ? 100 * pass->flicker : -1, 7, 2);
    say_number(text, pass->focus, 5, 2);
    say_number(text, pass->evenness, 5, 2);
    text_print(text, "\n");
}

void survey_text(const struct survey *survey, struct text *text)
{
    text_print(text, "%s: %d pass%s, %d frame%s", severity_word(survey->severity), survey->count,
               survey->count == 1 ? "" : "es", survey->frames, survey->frames == 1 ? "" : "s");
    if (survey->lock >= 0)
        text_print(text, ", held against %s", survey->passes[survey->lock].label);
    text_print(text, "\n");
    for (int i = 0; i < survey->finding_count; i++)
        say_finding(survey, &survey->findings[i], text);
    text_print(text, "\n  %-22s %-16s %6s %17s %6s %5s %5s %7s %5s %5s\n", "pass", "taken for", "frames",
               "stops 1 50 99 %", "l/noise", "bump", "shake", "flicker", "focus", "even");
    for (int i = 0; i < survey->count; i++)
        say_pass(&survey->passes[i], text);
}
