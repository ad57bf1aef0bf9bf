/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The kind `take`: one thing whose state changes in mid-shot, such as a sign before and after the strike. It is one
 * picture until a frame, then another; the one that is not shown is not read.
 */
#include <string.h>

#include "base/error.h"
#include "kinds/kinds.h"

struct take {
    const struct value **pictures;
    int32_t *last; /* shot frame that pictures[i] is last shown at; the final one has none */
    int count;
};

static const struct setting_spec head = {
    .values = (const struct value_spec[]){ { .label = "NAME", .type = VALUE_PICTURE }, { .label = NULL } },
    .tags =
        (const struct tag_spec[]){
            { .word = "until",
              .help = "the last shot frame that shows what stands before it",
              .values = (const struct value_spec[]){ { .label = "FRAME", .type = VALUE_INTEGER }, { .label = NULL } },
              .repeats = true },
            { .word = "then",
              .help = "what is shown from the next frame on",
              .values = (const struct value_spec[]){ { .label = "NAME", .type = VALUE_PICTURE }, { .label = NULL } },
              .repeats = true },
            { .word = NULL } },
};

static const struct setting_spec settings[] = { { .help = NULL } };

/* After the first name, `until` and `then` take turns, and a `then` is the end. */
static enum passel_status check_turns(const struct block *block, const struct recipe *recipe,
                                      struct passel_error *error)
{
    const struct setting *taken = block->head;
    for (int i = 0; i < taken->tag_count; i++) {
        const char *word = i % 2 == 0 ? "until" : "then";
        if (strcmp(taken->tags[i].spec->word, word) != 0)
            return recipe_error(recipe, taken->tags[i].where, PASSEL_BAD_RECIPE, error,
                                "`%s` is expected here: take NAME until FRAME then NAME", word);
    }
    if (taken->tag_count == 0 || taken->tag_count % 2 != 0)
        return recipe_error(recipe, taken->tag_count == 0 ? block->where : taken->tags[taken->tag_count - 1].where,
                            PASSEL_BAD_RECIPE, error, "what is shown then? take NAME until FRAME then NAME");
    return PASSEL_OK;
}

static enum passel_status take_make(const struct block *block, const struct recipe *recipe, const struct shot *shot,
                                    struct arena *arena, void **self, struct passel_error *error)
{
    (void)shot;
    const struct setting *taken = block->head;
    RETURN_IF_ERROR(check_turns(block, recipe, error));
    const size_t count = (size_t)taken->tag_count / 2 + 1;
    struct take *take = arena_take(arena, sizeof *take);
    if (take != NULL) {
        take->pictures = arena_array(arena, count, sizeof *take->pictures);
        take->last = arena_array(arena, count, sizeof *take->last);
    }
    if (take == NULL || take->pictures == NULL || take->last == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    take->count = (int)count;
    take->pictures[0] = setting_value(taken, 0);
    for (int i = 0; i + 1 < take->count; i++) {
        const struct value *until = &taken->tags[2 * i].values[0];
        take->last[i] = (int32_t)until->numbers[0];
        take->pictures[i + 1] = &taken->tags[2 * i + 1].values[0];
        if (i > 0 && take->last[i] <= take->last[i - 1])
            return recipe_error(recipe, until->where, PASSEL_BAD_RECIPE, error,
                                "frames rise: this take has ended before it begins, at %d", (int)take->last[i - 1] + 1);
    }
    *self = take;
    return PASSEL_OK;
}

static enum passel_status take_asks(const struct at *at, struct ask_list *list, struct passel_error *error)
{
    (void)error;
    const struct take *take = at->self;
    int i = 0;
    while (i + 1 < take->count && at->frame > take->last[i])
        i++;
    ask_value(list, take->pictures[i], at->frame);
    return PASSEL_OK;
}

static enum passel_status take_fill(const struct at *at, const struct picture *in, const struct picture *out,
                                    struct arena *scratch, struct passel_error *error)
{
    (void)at;
    (void)scratch;
    (void)error;
    picture_copy(out, &in[0]);
    return PASSEL_OK;
}

const struct kind kind_take = {
    .schema = { .name = "take",
                .summary = "One picture until a frame, then another.",
                .notes =
                    "For what changes its state in mid-shot, such as a sign that is lit until the strike. The frame "
                    "named is the last of the take before it. What is not shown is not read.",
                .example = "sign = take sign-lit until 1019 then sign-dark\n",
                .form = HEAD_NAMED,
                .makes = MAKES_PICTURE,
                .head = &head,
                .settings = settings },
    .make = take_make,
    .asks = take_asks,
    .fill = take_fill,
};
