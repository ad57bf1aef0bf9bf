/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The lines `strike` and `flicker` of a curve. Chance comes from their seeds alone; without one, the first line of a
 * block has the seed 1, the second 2, so that two strikes differ and neither changes when it is moved.
 */
#include "language/generators.h"

#include <math.h>
#include <string.h>

#include "language/parser.h"
#include "picture/function.h"

double generators_steady(const struct generators *generators, double keys, double frame)
{
    double sum = keys;
    for (int i = 0; i < generators->strike_count; i++)
        sum += strike_at(&generators->strikes[i], frame);
    return sum;
}

double generators_at(const struct generators *generators, double keys, double frame)
{
    double number = generators_steady(generators, keys, frame);
    for (int i = 0; i < generators->flicker_count; i++) {
        const struct lamp_flicker *flicker = &generators->flickers[i];
        const double unrest = flicker_at(&flicker->noise, frame);
        number *= function_exp2(flicker->stops * unrest) * (1 + flicker->share * unrest);
    }
    return number;
}

void generators_swing(const struct generators *generators, double *least, double *most)
{
    *least = *most = 1;
    for (int i = 0; i < generators->flicker_count; i++) {
        const struct lamp_flicker *flicker = &generators->flickers[i];
        *least *= function_exp2(-flicker->stops * FLICKER_MOST) * (1 - flicker->share * FLICKER_MOST);
        *most *= function_exp2(flicker->stops * FLICKER_MOST) * (1 + flicker->share * FLICKER_MOST);
    }
}

/* ---- reading ----------------------------------------------------------------------------------------------------- */

static bool is_line(const struct setting *setting, const char *word)
{
    return setting->spec->word != NULL && strcmp(setting->spec->word, word) == 0;
}

static double tag_number(const struct setting *setting, const char *word, double otherwise)
{
    const struct value *value = setting_tag_value(setting, word, 0);
    return value != NULL ? value_at(value, 0, 0, 1) : otherwise;
}

static bool read_strike(struct parser *parser, const struct setting *setting, int ordinal, struct strike *strike)
{
    if (setting_tag(setting, "at") == NULL) {
        message_add(&parser->messages, setting->where, "expected the frame of the strike: strike at 1010");
        return false;
    }
    *strike = (struct strike){ .at = tag_number(setting, "at", 0),
                               .peak = tag_number(setting, "peak", 1),
                               .length = tag_number(setting, "over", 12),
                               .rise = tag_number(setting, "rise", 1),
                               .count = (int)tag_number(setting, "strokes", 3) };
    if (strike->length < STROKE_GAP * strike->count) {
        const struct tag *over = setting_tag(setting, "over"), *strokes = setting_tag(setting, "strokes");
        const struct tag *blamed = over != NULL ? over : strokes;
        message_add(&parser->messages, blamed != NULL ? blamed->where : setting->where,
                    "%d strokes take at least %d frames, this strike lasts %.15g", strike->count,
                    STROKE_GAP * strike->count, strike->length);
        return false;
    }
    strike_make(strike, (uint64_t)tag_number(setting, "seed", ordinal));
    return true;
}

static bool read_flicker(struct parser *parser, const struct setting *setting, int ordinal,
                         struct lamp_flicker *flicker)
{
    const struct value *stops = setting_value(setting, 0), *share = setting_tag_value(setting, "by", 0);
    if ((stops == NULL) == (share == NULL)) {
        message_add(&parser->messages, setting->where,
                    "expected how strong the flicker is, in one way: flicker 0.3 stops, or flicker by 6%%");
        return false;
    }
    *flicker = (struct lamp_flicker){ .noise = { .seed = (uint64_t)tag_number(setting, "seed", ordinal),
                                                 .fastest = tag_number(setting, "every", 1) },
                                      .stops = stops != NULL ? value_at(stops, 0, 0, 1) : 0,
                                      .share = share != NULL ? value_at(share, 0, 0, 1) : 0 };
    return true;
}

bool generators_make(struct parser *parser, const struct generators **made)
{
    const struct block *block = parser->block;
    int strikes = 0, flickers = 0;
    for (int i = 0; i < block->setting_count; i++) {
        strikes += is_line(&block->settings[i], "strike");
        flickers += is_line(&block->settings[i], "flicker");
    }
    *made = NULL;
    if (strikes + flickers == 0)
        return true;
    struct generators *generators = parser_array(parser, 1, sizeof *generators);
    struct strike *strike = parser_array(parser, (size_t)strikes, sizeof *strike);
    struct lamp_flicker *flicker = parser_array(parser, (size_t)flickers, sizeof *flicker);
    if (generators == NULL || strike == NULL || flicker == NULL)
        return false;
    *generators = (struct generators){ .strikes = strike, .flickers = flicker };
    bool fine = true;
    for (int i = 0; i < block->setting_count; i++) {
        const struct setting *setting = &block->settings[i];
        if (is_line(setting, "strike")) {
            const int ordinal = ++generators->strike_count;
            fine = read_strike(parser, setting, ordinal, &strike[ordinal - 1]) && fine;
        } else if (is_line(setting, "flicker")) {
            const int ordinal = ++generators->flicker_count;
            fine = read_flicker(parser, setting, ordinal, &flicker[ordinal - 1]) && fine;
        }
    }
    *made = generators;
    return fine;
}
