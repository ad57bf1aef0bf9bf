/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * One pass on a survey's page: what it is, its picture, what is wrong, its figures beside their limits, its plots.
 */
#include <math.h>

#include "survey/page.h"

/* Pictures are shown so many stops brighter that their lights stand here, between these. */
#define SHOWN_LIGHT 0.5
enum { DARKENED_MOST = -4, BRIGHTENED_MOST = 5 };

static int shown_stops(const struct pass_gauge *pass)
{
    const double stops = floor(log2(SHOWN_LIGHT / fmax((double)pass->high, 1e-6)));
    return (int)fmin(fmax(stops, DARKENED_MOST), BRIGHTENED_MOST);
}

static void say_thumb(const struct pass_gauge *pass, int index, struct text *text)
{
    const struct look *thumb = &pass->thumb;
    const int stops = shown_stops(pass);
    if (thumb->plane[0] == NULL) {
        text_print(text, "<p class=\"nothing\">No picture: none of its frames can be read.</p>\n");
        return;
    }
    text_print(text, "<figure class=\"thumb\"><div><img width=\"%d\" height=\"%d\" alt=\"A frame of ",
               (int)thumb->across, (int)thumb->down);
    page_escape(text, pass->label);
    text_print(text, "\" src=\"");
    page_picture(thumb, stops, text);
    text_print(text, "\">\n");
    const bool clipped = page_clipped(pass, index, text);
    text_print(text, "</div><figcaption>");
    if (stops == 0)
        text_print(text, "As it is");
    else
        text_print(text, "Shown %d stop%s %s", stops < 0 ? -stops : stops, stops == 1 || stops == -1 ? "" : "s",
                   stops < 0 ? "darker" : "brighter");
    text_print(text, "%s</figcaption></figure>\n", clipped ? "; hatched where it is clipped" : "");
}

static void say_faults(const struct survey *survey, int index, struct text *text)
{
    bool any = false;
    for (int i = 0; i < survey->finding_count; i++) {
        const struct finding *finding = &survey->findings[i];
        if (finding->pass != index)
            continue;
        const struct finding_words words = finding_words(finding);
        text_print(text, "%s<li class=\"%s\"><b>%s %s</b> %s", any ? "" : "<ul class=\"faults\">\n",
                   page_class(finding->severity), page_mark(finding->severity), severity_word(finding->severity),
                   words.before);
        if (words.decimals >= 0)
            page_number(text, finding->value, words.decimals);
        text_print(text, "%s</li>\n", words.after);
        any = true;
    }
    if (any)
        text_print(text, "</ul>\n");
}

struct figure {
    const char *name, *key, *unit;
    double value, factor; /* shown is value · factor */
    int decimals, limit;  /* enum limit_kind, or -1 */
};

static void say_figure(const struct survey *survey, const struct figure *figure, struct text *text)
{
    if (!(figure->value >= 0) || !isfinite(figure->value))
        return;
    text_print(text, "<div><dt>%s</dt><dd><data data-of=\"%s\" value=\"%.6g\">%.*f</data>%s", figure->name, figure->key,
               figure->value, figure->decimals, figure->value * figure->factor, figure->unit);
    if (figure->limit >= 0) {
        const struct limit *limit = &survey->limits[figure->limit];
        text_print(text, " <small>%s %g</small>", limit->below ? "at least" : "limit", limit->care);
    }
    text_print(text, "</dd></div>\n");
}

static double most_of(const struct pass_gauge *pass, bool crushed)
{
    double most = 0;
    for (int i = 0; i < pass->frame_count; i++) {
        for (int c = 0; c < 3; c++)
            most = fmax(most, (double)(crushed ? pass->frames[i].crushed[c] : pass->frames[i].clipped[c]));
    }
    return most;
}

static void say_figures(const struct survey *survey, const struct pass_gauge *pass, struct text *text)
{
    const struct figure figures[] = {
        { "Off the others", "bump", " px", pass->bump, 1, 2, LIMIT_BUMP },
        { "Off its other screen", "screens", " px", pass->pair, 1, 2, LIMIT_SCREENS },
        { "Shake", "shake", " px", pass->shake, 1, 2, LIMIT_SHAKE },
        { "Flicker", "flicker", "%", pass->flicker, 100, 2, LIMIT_FLICKER },
        { "Flashes over", "flash", "%", pass->flash.share, 100, 1, LIMIT_FLASH },
        { "Detail against lock", "focus", "\xC3\x97", pass->focus, 1, 2, LIMIT_FOCUS },
        { "Light over noise", "light_over_noise", "\xC3\x97", pass->light_over_noise, 1, 0, LIMIT_NOISE },
        { "Screen uneven by", "evenness", " stops", pass->evenness, 1, 2, LIMIT_EVENNESS },
        { "Hue from the screen", "hue", "&deg;", pass->screen.hue, 1, 0, pass->screen.hue_both >= 0 ? -1 : LIMIT_HUE },
        { pass->screen.how == SPILL_ESTIMATED ? "Screen light at edges, estimated" : "Screen light on it", "spill", "%",
          pass->screen.spill, 100, 1, pass->screen.how == SPILL_ESTIMATED ? LIMIT_EDGES : LIMIT_SPILL },
        { "Lamps leave", "sum", "%", pass->sum, 100, 1, LIMIT_SUM },
        { "Level wanders", "dark_wander", "%", pass->dark_wander, 100, 0, LIMIT_DARK },
        { "Clipped area", "clipped", "%", most_of(pass, false), 100, 2, LIMIT_CLIPPED },
        { "Crushed area", "crushed", "%", most_of(pass, true), 100, 2, -1 },
        { "Crushed, of what is lit", "crushed_set", "%", pass->crushed.share, 100, 1, LIMIT_CRUSHED },
    };
    text_print(text, "<dl class=\"figures\">\n");
    for (size_t i = 0; i < sizeof figures / sizeof *figures; i++)
        say_figure(survey, &figures[i], text);
    text_print(text, "</dl>\n");
}

static void say_kind(const struct survey *survey, const struct pass_gauge *pass, struct text *text)
{
    const struct portrait *portrait = pass->portrait;
    text_print(text, "<p class=\"kind\">%s%s", role_words(portrait),
               survey->lock >= 0 && pass == &survey->passes[survey->lock] ? ", the lock pass" : "");
    if (portrait->width > 0)
        text_print(text, " &middot; %d&times;%d", (int)portrait->width, (int)portrait->height);
    text_print(text, " &middot; %d frame%s", pass->frame_count, pass->frame_count == 1 ? "" : "s");
    if (pass->readable < pass->frame_count)
        text_print(text, ", %d readable", pass->readable);
    if (portrait->rate > 0)
        text_print(text, " &middot; %.6g a second", portrait->rate);
    text_print(text, "</p>\n<p class=\"why\">Taken for that: ");
    page_escape(text, portrait->why);
    text_print(text, "</p>\n");
}

void page_pass(const struct survey *survey, int index, struct text *text)
{
    const struct pass_gauge *pass = &survey->passes[index];
    const enum severity severity = pass_severity(survey, index);
    text_print(text, "<article class=\"pass %s\" id=\"p%d\">\n<h3>", page_class(severity), index);
    page_escape(text, pass->label);
    text_print(text, "</h3>\n");
    if (severity == SEVERITY_GOOD)
        text_print(text, "<p class=\"verdict\">%s good</p>\n", page_mark(severity));
    say_kind(survey, pass, text);
    say_faults(survey, index, text);
    text_print(text, "<div class=\"parts\">\n<div>\n");
    say_thumb(pass, index, text);
    say_figures(survey, pass, text);
    text_print(text, "</div>\n<div class=\"plots\">\n");
    page_levels(pass, text);
    page_track(survey, pass, text);
    page_steps(survey, pass, text);
    page_evenness(pass, text);
    page_rest(survey, pass, text);
    page_choice(survey, index, text);
    page_crushed(pass, text);
    text_print(text, "</div>\n</div>\n</article>\n");
}
