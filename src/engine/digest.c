/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "engine/digest.h"

#include <string.h>

#include "base/error.h"

/* Counts up when the same recipe gives other pixels than before. */
#define PICTURES_VERSION 5

enum passel_status digest_begin(struct digest *digest, struct passel_error *error)
{
    digest->state = XXH3_createState();
    if (digest->state == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    (void)XXH3_128bits_reset(digest->state);
    const int version = PICTURES_VERSION;
    digest_bytes(digest, &version, sizeof version);
    return PASSEL_OK;
}

void digest_bytes(struct digest *digest, const void *bytes, size_t size)
{
    (void)XXH3_128bits_update(digest->state, bytes, size);
}

void digest_text(struct digest *digest, const char *text)
{
    digest_bytes(digest, text, strlen(text) + 1);
}

void digest_shot(struct digest *digest, const struct shot *shot, int scale)
{
    const int32_t numbers[] = { shot->width, shot->height, shot->rate_num, shot->rate_den, scale };
    digest_bytes(digest, numbers, sizeof numbers);
    digest_bytes(digest, &shot->primaries, sizeof shot->primaries);
}

static void digest_value(struct digest *digest, const struct value *value, double frame, bool changing)
{
    if (value->spec == NULL)
        return;
    const int32_t facts[] = { (int32_t)value->spec->type, value->choice, value->first, value->last,
                              value->frame_count };
    switch (value->spec->type) {
    case VALUE_NUMBER:
    case VALUE_INTEGER:
        if (!changing && value_changes(value))
            return;
        const int count = value->track != NULL ? value->track->width : value->curve != NULL ? 1 : value->count;
        for (int i = 0; i < count || i == 0; i++) {
            const double number =
                value->spec->type == VALUE_INTEGER ? value->numbers[0] : value_at(value, i, frame, 1);
            digest_bytes(digest, &number, sizeof number);
        }
        return;
    case VALUE_PICTURE:
        return;
    case VALUE_FRAMES:
        digest_bytes(digest, value->frames, (size_t)value->frame_count * sizeof *value->frames);
        return;
    case VALUE_CHOICE:
    case VALUE_RANGE:
    case VALUE_SIZE:
        digest_bytes(digest, facts, sizeof facts);
        return;
    default:
        digest_text(digest, value->text);
        return;
    }
}

static void digest_setting(struct digest *digest, const struct setting *setting, double frame, bool changing)
{
    if (setting == NULL)
        return;
    digest_text(digest, setting->spec->word != NULL ? setting->spec->word : "");
    digest_bytes(digest, &setting->operator_index, sizeof setting->operator_index);
    for (int i = 0; i < setting->value_count; i++)
        digest_value(digest, &setting->values[i], frame, changing);
    for (int i = 0; i < setting->tag_count; i++) {
        digest_text(digest, setting->tags[i].spec->word);
        for (int k = 0; k < setting->tags[i].value_count; k++)
            digest_value(digest, &setting->tags[i].values[k], frame, changing);
    }
}

void digest_block(struct digest *digest, const struct block *block, double frame, bool changing)
{
    digest_setting(digest, block->head, frame, changing);
    for (int i = 0; i < block->setting_count; i++)
        digest_setting(digest, &block->settings[i], frame, changing);
}

XXH128_hash_t digest_end(struct digest *digest)
{
    const XXH128_hash_t hash = XXH3_128bits_digest(digest->state);
    (void)XXH3_freeState(digest->state);
    digest->state = NULL;
    return hash;
}
