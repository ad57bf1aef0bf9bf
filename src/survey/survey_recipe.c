/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "survey/survey_recipe.h"

#include <string.h>

#include "base/error.h"
#include "base/file.h"
#include "base/memory.h"
#include "kinds/encoding_setting.h"
#include "kinds/kinds.h"
#include "kinds/pass.h"
#include "media/sequence.h"

static struct reading_choice choice_of(const struct block *block)
{
    const struct value *channels = setting_value(block_setting(block, "channels"), 0);
    const struct value *part = setting_value(block_setting(block, "part"), 0);
    const struct setting *primaries = block_setting(block, "primaries");
    const struct setting *encoding = block_setting(block, "encoding");
    struct reading_choice choice = { .has_encoding = encoding != NULL };
    choice.media.channels = channels != NULL ? channels->text : NULL;
    choice.media.part = part != NULL ? part->text : NULL;
    choice.encoding = encoding_setting(encoding, (struct encoding){ ENCODING_LINEAR, 0 });
    choice.primaries = primaries != NULL ? value_choice(setting_value(primaries, 0)) : NULL;
    return choice;
}

static enum passel_status add_pass(const struct recipe *recipe, const struct block *block, struct clip_list *list,
                                   struct passel_error *error)
{
    const struct value *path = setting_value(block->head, 0);
    struct clip clip = { .count = 1, .settled = true, .choice = choice_of(block) };
    const struct block *pass;
    clip.rate = pass_rate(block, &pass);
    struct sequence sequence = { 0 };
    struct text name = { 0 };
    char *joined = path_join(recipe->folder, path->text);
    text_print(&name, "%s", path->text);
    enum passel_status status = joined == NULL || name.failed ? PASSEL_NO_MEMORY : PASSEL_OK;
    if (status == PASSEL_OK && sequence_find(joined, &sequence, NULL) == PASSEL_OK && sequence.numbered) {
        clip.numbered = true;
        clip.count = sequence.count;
        clip.frames = sequence.frames;
        sequence.frames = NULL;
    }
    clip.name = name.bytes;
    if (status == PASSEL_OK)
        status = clips_add(list, clip, error);
    else
        (void)error_set(error, status, "out of memory");
    if (status != PASSEL_OK) {
        memory_free(clip.frames);
        text_release(&name);
    }
    sequence_release(&sequence);
    memory_free(joined);
    return status;
}

enum passel_status clips_of_recipe(const struct recipe *recipe, struct clip_list *list, const char ***labels,
                                   struct passel_error *error)
{
    *list = (struct clip_list){ 0 };
    *labels = memory_zeros((size_t)recipe->block_count + 1, sizeof **labels);
    if (*labels == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    enum passel_status status = PASSEL_OK;
    for (int i = 0; i < recipe->block_count && status == PASSEL_OK; i++) {
        if (recipe->blocks[i]->schema != &kind_pass.schema)
            continue;
        (*labels)[list->count] = recipe->blocks[i]->name;
        status = add_pass(recipe, recipe->blocks[i], list, error);
    }
    if (status != PASSEL_OK) {
        clip_list_release(list);
        memory_free(*labels);
        *labels = NULL;
    }
    return status;
}
