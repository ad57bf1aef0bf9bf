/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A survey for programs: one JSON object (RFC 8259), as docs/survey.md describes it.
 */
#include <math.h>
#include <string.h>

#include "survey/gauge.h"
#include "survey/survey.h"
#include "survey/survey_screens.h"

void survey_json_string(struct text *text, const char *bytes)
{
    size_t left = strlen(bytes), used;
    text_print(text, "\"");
    for (; left > 0; bytes += used, left -= used) {
        const uint32_t code = utf8_next(bytes, left, &used);
        if (code == '"' || code == '\\')
            text_print(text, "\\%c", (char)code);
        else if (code < 0x20)
            text_print(text, "\\u%04x", (unsigned)code);
        else if (code == 0xFFFD)
            text_print(text, "\xEF\xBF\xBD");
        else
            text_add(text, bytes, used);
    }
    text_print(text, "\"");
}

/* What was not measured is null. */
static void say_measure(struct text *text, const char *name, double value)
{
    if (value >= 0 && isfinite(value))
        text_print(text, ", \"%s\": %.6g", name, value);
    else
        text_print(text, ", \"%s\": null", name);
}

static void say_finding(const struct survey *survey, const struct finding *finding, struct text *text)
{
    const struct limit *limit = &survey->limits[finding->kind];
    text_print(text, "{\"severity\": \"%s\", \"kind\": \"%s\", \"pass\": ", severity_word(finding->severity),
               limit->name);
    if (finding->pass >= 0)
        survey_json_string(text, survey->passes[finding->pass].label);
    else
        text_print(text, "null");
    text_print(text, ", \"value\": %.6g, \"unit\": \"%s\", \"care\": %g, \"reshoot\": %g, \"where\": ", finding->value,
               limit->unit, limit->care, limit->shoot);
    survey_json_string(text, finding->where);
    text_print(text, ", \"advice\": ");
    survey_json_string(text, limit->advice);
    text_print(text, "}");
}

static float worst(const struct pass_gauge *pass, bool crushed)
{
    float most = 0;
    for (int i = 0; i < pass->frame_count; i++) {
        for (int c = 0; c < 3; c++)
            most = fmaxf(most, crushed ? pass->frames[i].crushed[c] : pass->frames[i].clipped[c]);
    }
    return most;
}

/* Frame by frame, as far as they can be read. */
static void say_frames(const struct pass_gauge *pass, struct text *text)
{
    bool first = true;
    text_print(text, ", \"levels\": [");
    for (int i = 0; i < pass->frame_count; i++) {
        const struct frame_gauge *frame = &pass->frames[i];
        if (frame->status != PASSEL_OK)
            continue;
        text_print(text, "%s[%d, %.4g, %.4g, %.4g]", first ? "" : ", ", survey_frame_number(pass, i),
                   (double)frame->levels[0], (double)frame->levels[1], (double)frame->levels[2]);
        first = false;
    }
    text_print(text, "], \"steps\": [");
    for (int i = 1; pass->flicker >= 0 && i + 1 < pass->frame_count; i++)
        text_print(text, "%s[%d, %.4g]", i > 1 ? ", " : "", survey_frame_number(pass, i),
                   gauge_step(pass->frames, pass->frame_count, i));
    text_print(text, "], \"track\": [");
    for (int i = 0; i < pass->track_count; i++) {
        const struct track_point *point = &pass->track[i];
        text_print(text, "%s[%d, %.4g, %.4g]", i > 0 ? ", " : "", survey_frame_number(pass, point->frame), point->x,
                   point->y);
    }
    text_print(text, "]");
}

static void say_flashes(const struct flash_gauge *flash, struct text *text)
{
    say_measure(text, "flash", flash->share);
    text_print(text, ", \"flash_rate\": %.6g, \"flash_rate_from\": \"%s\", \"flashes\": [", flash->rate,
               rate_from_word(flash->from));
    for (int i = 0; i < flash->stretch_count; i++) {
        const struct flash_stretch *stretch = &flash->stretches[i];
        text_print(text, "%s{\"red\": %s, \"first\": %d, \"last\": %d, \"share\": %.6g}", i > 0 ? ", " : "",
                   stretch->kind == FLASH_RED ? "true" : "false", (int)stretch->first, (int)stretch->last,
                   stretch->share);
    }
    text_print(text, "]");
}

static void say_pass(const struct pass_gauge *pass, struct text *text)
{
    const struct portrait *p = pass->portrait;
    text_print(text, "{\"pass\": ");
    survey_json_string(text, pass->label);
    text_print(text, ", \"file\": ");
    survey_json_string(text, p->clip->name);
    text_print(text, ", \"role\": \"%s\", \"why\": ", role_words(p));
    survey_json_string(text, p->why);
    text_print(text, ", \"width\": %d, \"height\": %d, \"rate\": %.6g, \"frames\": %d, \"readable\": %d", (int)p->width,
               (int)p->height, p->rate, pass->frame_count, pass->readable);
    text_print(text, ", \"light\": [%.6g, %.6g, %.6g], \"noise\": [", (double)pass->low, (double)pass->middle,
               (double)pass->high);
    for (int c = 0; c < 3; c++)
        text_print(text, "%s[%.4g, %.4g]", c > 0 ? ", " : "", (double)pass->noise[c].gain,
                   (double)pass->noise[c].floor);
    text_print(text, "]");
    say_measure(text, "clipped", (double)worst(pass, false));
    say_measure(text, "crushed", (double)worst(pass, true));
    say_measure(text, "light_over_noise", pass->light_over_noise);
    say_measure(text, "bump", pass->bump);
    say_measure(text, "screens", pass->pair);
    say_measure(text, "shake", pass->shake);
    say_measure(text, "flicker", pass->flicker);
    say_measure(text, "bands", pass->bands);
    say_measure(text, "focus", pass->focus);
    say_measure(text, "evenness", pass->evenness);
    say_measure(text, "dark_wander", pass->dark_wander);
    say_measure(text, "sum", pass->sum);
    say_flashes(&pass->flash, text);
    say_measure(text, "crushed_set", pass->crushed.share);
    say_measure(text, "hue", pass->screen.hue);
    say_measure(text, "hue_both", pass->screen.hue_both);
    say_measure(text, "spill", pass->screen.spill);
    text_print(text, ", \"spill_estimated\": %s", pass->screen.how == SPILL_ESTIMATED ? "true" : "false");
    text_print(text, ", \"focus_regions\": [");
    for (int i = 0; i < FOCUS_REGIONS; i++)
        text_print(text, pass->focus_regions[i] >= 0 ? "%s%.4g" : "%snull", i > 0 ? ", " : "",
                   (double)pass->focus_regions[i]);
    text_print(text, "], \"stops\": [");
    const float levels[3] = { pass->low, pass->middle, pass->high };
    for (int i = 0; i < 3; i++)
        text_print(text, "%s%.4g", i > 0 ? ", " : "", log2(fmax((double)levels[i], 1e-6) / 0.18));
    text_print(text, "]");
    say_frames(pass, text);
    text_print(text, "}");
}

void survey_json(const struct survey *survey, struct text *text)
{
    text_print(text, "{\"verdict\": \"%s\", \"lock\": ", severity_word(survey->severity));
    if (survey->lock >= 0)
        survey_json_string(text, survey->passes[survey->lock].label);
    else
        text_print(text, "null");
    text_print(text, ", \"findings\": [");
    for (int i = 0; i < survey->finding_count; i++) {
        text_print(text, i > 0 ? ",\n  " : "\n  ");
        say_finding(survey, &survey->findings[i], text);
    }
    text_print(text, "],\n");
    screens_json(survey, text);
    text_print(text, ",\n\"passes\": [");
    for (int i = 0; i < survey->count; i++) {
        text_print(text, i > 0 ? ",\n  " : "\n  ");
        say_pass(&survey->passes[i], text);
    }
    text_print(text, "]}\n");
}
