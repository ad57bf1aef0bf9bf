/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Comparing recipes, deep and without places.
 */
#include "recipe_same.h"

#include <string.h>

static bool same_text(const char *a, const char *b)
{
    return a == NULL || b == NULL ? a == b : strcmp(a, b) == 0;
}

static bool same_doubles(const double *a, const double *b, int count)
{
    return count == 0 || memcmp(a, b, (size_t)count * sizeof *a) == 0;
}

static bool same_track(const struct track *a, const struct track *b)
{
    if (a == NULL || b == NULL)
        return a == b;
    return a->count == b->count && a->width == b->width && same_doubles(a->frames, b->frames, a->count) &&
           same_doubles(a->numbers, b->numbers, a->count * a->width) &&
           same_doubles(a->slopes, b->slopes, a->count * a->width) &&
           memcmp(a->leave, b->leave, (size_t)a->count * sizeof *a->leave) == 0;
}

static bool same_block(const struct block *a, const struct block *b)
{
    return a == NULL || b == NULL ? a == b : a->index == b->index;
}

static bool same_value(const struct value *a, const struct value *b)
{
    if (a->spec != b->spec)
        return false;
    if (a->spec == NULL)
        return true;
    const bool numbers = a->numbers != NULL;
    return a->choice == b->choice && a->count == b->count && numbers == (b->numbers != NULL) &&
           (!numbers || same_doubles(a->numbers, b->numbers, a->count)) && same_track(a->track, b->track) &&
           same_block(a->curve, b->curve) && same_block(a->block, b->block) && a->picture == b->picture &&
           a->first == b->first && a->last == b->last && a->frame_count == b->frame_count &&
           (a->frame_count == 0 || memcmp(a->frames, b->frames, (size_t)a->frame_count * sizeof *a->frames) == 0) &&
           (a->spec->type == VALUE_FRAMES || same_text(a->text, b->text));
}

static bool same_values(const struct value *a, int a_count, const struct value *b, int b_count)
{
    if (a_count != b_count)
        return false;
    for (int i = 0; i < a_count; i++)
        if (!same_value(&a[i], &b[i]))
            return false;
    return true;
}

static bool same_setting(const struct setting *a, const struct setting *b)
{
    if (a == NULL || b == NULL)
        return a == b;
    if (a->spec != b->spec || a->given != b->given || a->operator_index != b->operator_index ||
        a->tag_count != b->tag_count || !same_values(a->values, a->value_count, b->values, b->value_count))
        return false;
    for (int i = 0; i < a->tag_count; i++)
        if (a->tags[i].spec != b->tags[i].spec ||
            !same_values(a->tags[i].values, a->tags[i].value_count, b->tags[i].values, b->tags[i].value_count))
            return false;
    return true;
}

static const char *block_difference(const struct block *a, const struct block *b)
{
    if (a->schema != b->schema || strcmp(a->name, b->name) != 0)
        return "a head";
    if (!same_setting(a->head, b->head))
        return "what stands behind a kind";
    if (a->setting_count != b->setting_count)
        return "how many settings there are";
    for (int i = 0; i < a->setting_count; i++)
        if (!same_setting(&a->settings[i], &b->settings[i]))
            return "a setting";
    return same_track(a->track, b->track) ? NULL : "a curve";
}

const char *recipe_difference(const struct recipe *a, const struct recipe *b)
{
    if (a->block_count != b->block_count)
        return "how many blocks there are";
    if (!same_block(a->shot, b->shot))
        return "the shot";
    for (int i = 0; i < a->block_count; i++) {
        const char *difference = block_difference(a->blocks[i], b->blocks[i]);
        if (difference != NULL)
            return difference;
    }
    return NULL;
}
