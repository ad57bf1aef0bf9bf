/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A survey as a page: the verdict, what to do about it, the passes at a glance, each pass, the limits.
 */
#include "survey/page.h"

#include <string.h>

const char *page_class(enum severity severity)
{
    static const char *const classes[] = { "good", "care", "shoot" };
    return classes[severity];
}

/* A disc, a triangle, a square: told apart without their colours. */
const char *page_mark(enum severity severity)
{
    static const char *const marks[] = {
        "<span class=\"mark\" aria-hidden=\"true\">\xE2\x97\x8F</span>",
        "<span class=\"mark\" aria-hidden=\"true\">\xE2\x96\xB2</span>",
        "<span class=\"mark\" aria-hidden=\"true\">\xE2\x96\xA0</span>",
    };
    return marks[severity];
}

void page_escape(struct text *text, const char *words)
{
    size_t left = strlen(words), used;
    for (; left > 0; words += used, left -= used) {
        const uint32_t code = utf8_next(words, left, &used);
        if (code == '<')
            text_print(text, "&lt;");
        else if (code == '>')
            text_print(text, "&gt;");
        else if (code == '&')
            text_print(text, "&amp;");
        else if (code == '"')
            text_print(text, "&quot;");
        else if (code == '\'')
            text_print(text, "&#39;");
        else if (code == 0xFFFD || (code < 0x20 && code != '\n' && code != '\t') || (code >= 0x7F && code < 0xA0))
            text_print(text, "\xEF\xBF\xBD");
        else
            text_add(text, words, used);
    }
}

void page_number(struct text *text, double value, int decimals)
{
    text_print(text, "<data value=\"%.6g\">%.*f</data>", value, decimals, value);
}

/* Words between backticks are what to type. */
static void say_advice(struct text *text, const char *advice)
{
    bool code = false;
    for (const char *c = advice; *c != '\0'; c++) {
        const char letter[2] = { *c, '\0' };
        if (*c == '`') {
            code = !code;
            text_print(text, code ? "<code>" : "</code>");
        } else if ((unsigned char)*c >= 0x80) {
            text_add(text, c, 1);
        } else {
            page_escape(text, letter);
        }
    }
    text_print(text, code ? "</code>" : "");
}

static void say_head(const struct survey *survey, const char *title, struct text *text)
{
    text_print(text, "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
                     "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
                     "<title>");
    verdict_words(survey, text);
    text_print(text, ": ");
    page_escape(text, title);
    text_print(text, "</title>\n<style>\n");
    page_style(text);
    text_print(text, "</style>\n</head>\n<body>\n<p class=\"light\"><input type=\"checkbox\" id=\"bright\"> "
                     "<label for=\"bright\">Dark on light</label></p>\n");
}

static void say_verdict(const struct survey *survey, const char *title, struct text *text)
{
    const int again = count_passes(survey, SEVERITY_SHOOT), care = count_passes(survey, SEVERITY_CARE);
    text_print(text, "<header class=\"%s\">\n<p class=\"place\">", page_class(survey->severity));
    page_escape(text, title);
    text_print(text, "</p>\n<h1>%s ", page_mark(survey->severity));
    verdict_words(survey, text);
    text_print(text, "</h1>\n<p>");
    if (again > 0)
        text_print(text, "%d to shoot again, ", again);
    if (care > 0)
        text_print(text, "%d usable with care, ", care);
    text_print(text, "%d good: %d pass%s, %d frame%s read once", survey->count - again - care, survey->count,
               survey->count == 1 ? "" : "es", survey->frames, survey->frames == 1 ? "" : "s");
    if (survey->lock >= 0) {
        text_print(text, ", held against <b>");
        page_escape(text, survey->passes[survey->lock].label);
        text_print(text, "</b>");
    }
    text_print(text, ".</p>\n</header>\n");
}

static void say_problem(const struct pass_gauge *pass, struct text *text)
{
    for (int i = 0; i < pass->frame_count; i++) {
        if (pass->frames[i].status != PASSEL_OK) {
            text_print(text, "<p class=\"where\">");
            page_escape(text, pass->frames[i].problem);
            text_print(text, "</p>\n");
            return;
        }
    }
}

static void say_finding(const struct survey *survey, const struct finding *finding, struct text *text)
{
    const struct limit *limit = &survey->limits[finding->kind];
    const struct finding_words words = finding_words(finding);
    const double line = finding_limit(survey, finding);
    text_print(text, "<li class=\"%s\" data-kind=\"%s\">\n<h3>%s ", page_class(finding->severity), limit->name,
               page_mark(finding->severity));
    if (finding->pass >= 0) {
        text_print(text, "<a href=\"#p%d\">", finding->pass);
        page_escape(text, survey->passes[finding->pass].label);
        text_print(text, "</a>");
    } else {
        text_print(text, "All passes");
    }
    text_print(text, " <small>%s</small></h3>\n<p>%s", severity_word(finding->severity), words.before);
    if (words.decimals >= 0)
        page_number(text, finding->value, words.decimals);
    text_print(text, "%s", words.after);
    if (line > 0 && words.decimals >= 0)
        text_print(text, "; the limit is %g", line);
    text_print(text, ".</p>\n");
    if (finding->where[0] != '\0') {
        text_print(text, "<p class=\"where\">");
        page_escape(text, finding->where);
        text_print(text, "</p>\n");
    }
    if (finding->kind == LIMIT_UNREADABLE && finding->pass >= 0)
        say_problem(&survey->passes[finding->pass], text);
    text_print(text, "<p class=\"advice\">");
    say_advice(text, limit->advice);
    text_print(text, "</p>\n</li>\n");
}

static void say_findings(const struct survey *survey, struct text *text)
{
    text_print(text, "<section aria-labelledby=\"todo\">\n<h2 id=\"todo\">What to do</h2>\n");
    if (survey->finding_count == 0)
        text_print(text, "<p>Nothing: all that was measured is within the limits. The set may be struck.</p>\n");
    else
        text_print(text, "<ol class=\"findings\">\n");
    for (int i = 0; i < survey->finding_count; i++)
        say_finding(survey, &survey->findings[i], text);
    text_print(text, "%s</section>\n", survey->finding_count > 0 ? "</ol>\n" : "");
}

static void say_glance(const struct survey *survey, struct text *text)
{
    text_print(text, "<nav aria-labelledby=\"glance\">\n<h2 id=\"glance\">The passes at a glance</h2>\n"
                     "<ul class=\"glance\">\n");
    for (int i = 0; i < survey->count; i++) {
        const enum severity severity = pass_severity(survey, i);
        text_print(text, "<li class=\"%s\">%s <span><a href=\"#p%d\">", page_class(severity), page_mark(severity), i);
        page_escape(text, survey->passes[i].label);
        text_print(text, "</a> <small>%s, %s</small></span></li>\n", role_words(survey->passes[i].portrait),
                   severity_word(severity));
    }
    text_print(text, "</ul>\n</nav>\n");
}

static void say_passes(const struct survey *survey, enum severity severity, const char *title, struct text *text)
{
    if (count_passes(survey, severity) == 0)
        return;
    text_print(text,
               "<section aria-labelledby=\"%s-passes\">\n<h2 id=\"%s-passes\">%s</h2>\n<div class=\"passes %s\">\n",
               page_class(severity), page_class(severity), title, page_class(severity));
    for (int i = 0; i < survey->count; i++) {
        if (pass_severity(survey, i) == severity)
            page_pass(survey, i, text);
    }
    text_print(text, "</div>\n</section>\n");
}

static void say_limits(const struct survey *survey, struct text *text)
{
    text_print(text, "<details>\n<summary>The limits, and where they come from</summary>\n<dl class=\"limits\">\n");
    for (int i = 0; i < LIMIT_COUNT; i++) {
        const struct limit *limit = &survey->limits[i];
        text_print(text, "<dt>%s</dt>\n<dd>", limit->name);
        page_escape(text, limit->what);
        text_print(text, ": with care %s %g, re-shoot %s %g %s. ", limit->below ? "below" : "above", limit->care,
                   limit->below ? "below" : "above", limit->shoot, limit->unit);
        page_escape(text, limit->source);
        text_print(text, ".</dd>\n");
    }
    text_print(text, "</dl>\n</details>\n");
}

static void say_key(struct text *text)
{
    text_print(
        text,
        "<p class=\"key\">In exposure plots the band is what lies between the darkest and the brightest hundredth "
        "of the picture, the line its middle. Shaded strips in the other plots are within the limit. Maps are the "
        "whole picture in 8 by 5 parts; frames mark the extremes, dots what was not measured.</p>\n");
}

void survey_html(const struct survey *survey, const char *title, struct text *text)
{
    say_head(survey, title, text);
    say_verdict(survey, title, text);
    text_print(text, "<main>\n");
    say_findings(survey, text);
    say_glance(survey, text);
    say_passes(survey, SEVERITY_SHOOT, "To shoot again", text);
    say_passes(survey, SEVERITY_CARE, "Usable with care", text);
    say_passes(survey, SEVERITY_GOOD, "Good", text);
    say_key(text);
    say_limits(survey, text);
    text_print(text, "</main>\n</body>\n</html>\n");
}
