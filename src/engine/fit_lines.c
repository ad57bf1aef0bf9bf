/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "engine/fit_lines.h"

#include <math.h>
#include <string.h>

#include "picture/function.h"

/* The words of the recipe that a place covers. */
static void add_place(const struct recipe *recipe, struct span where, struct text *out)
{
    const char *at = recipe->text, *end = at + recipe->text_length;
    size_t used;
    for (int line = 1; line < where.line && at < end; at++)
        line += *at == '\n';
    for (int column = 1; column < where.column && at < end; column++, at += used)
        (void)utf8_next(at, (size_t)(end - at), &used);
    const char *from = at;
    for (int i = 0; i < where.length && at < end; i++, at += used)
        (void)utf8_next(at, (size_t)(end - at), &used);
    text_add(out, from, (size_t)(at - from));
}

bool fit_replaces(const char *tag, bool tint)
{
    if (strcmp(tag, "gain") == 0)
        return true;
    return tint && (strcmp(tag, "tint") == 0 || strcmp(tag, "colour") == 0);
}

static void add_amount(double gain, struct text *out)
{
    if (gain > 0)
        text_print(out, "  %+.4f stops", function_log2(gain));
    else
        text_print(out, "  gain 0");
}

void fit_line(const struct recipe *recipe, const struct setting *setting, const double *gains, int gain_count,
              struct text *out)
{
    double most = gains[0];
    for (int i = 1; i < gain_count; i++)
        most = fmax(most, gains[i]);
    text_print(out, "light  ");
    add_place(recipe, setting_value(setting, 0)->where, out);
    add_amount(most, out);
    if (gain_count == 3 && most > 0)
        text_print(out, "  tint %.4f %.4f %.4f", gains[0] / most, gains[1] / most, gains[2] / most);
    for (int i = 0; i < setting->tag_count; i++) {
        const struct tag *tag = &setting->tags[i];
        if (fit_replaces(tag->spec->word, gain_count == 3))
            continue;
        text_print(out, "  %s", tag->spec->word);
        for (int k = 0; k < tag->value_count; k++) {
            text_print(out, " ");
            add_place(recipe, tag->values[k].where, out);
        }
    }
    if (setting_operator(setting) != NULL)
        text_print(out, "  %s", setting_operator(setting));
}
