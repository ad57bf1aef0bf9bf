/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The one table of kinds, and the small things that all of them share. A new kind is one file and one row here.
 */
#include "base/memory.h"
#include "kinds/kinds.h"

const struct kind *const kind_table[] = {
    &kind_align,      &kind_curve,          &kind_extend, &kind_flat,   &kind_key_difference, &kind_key_luma,
    &kind_key_screen, &kind_key_two_screen, &kind_lens,   &kind_lights, &kind_look,           &kind_matte,
    &kind_output,     &kind_pass,           &kind_place,  &kind_ramp,   &kind_shape,          &kind_shot,
    &kind_stack,      &kind_streak,         &kind_take,   &kind_time,   &kind_view,           NULL,
};

const struct kind *kind_of(const struct schema *schema)
{
    for (int i = 0; kind_table[i] != NULL; i++) {
        if (&kind_table[i]->schema == schema)
            return kind_table[i];
    }
    return NULL;
}

const struct schema **kind_schemas(void)
{
    const struct schema **schemas = memory_zeros(sizeof kind_table / sizeof kind_table[0], sizeof *schemas);
    for (int i = 0; schemas != NULL && kind_table[i] != NULL; i++)
        schemas[i] = &kind_table[i]->schema;
    return schemas;
}

void ask_add(struct ask_list *list, struct ask ask)
{
    if (list->count == list->room) {
        const int room = list->room == 0 ? 8 : list->room * 2;
        struct ask *asks = memory_grow(list->asks, (size_t)list->count, (size_t)room, sizeof *asks);
        if (asks == NULL) {
            list->failed = true;
            return;
        }
        list->asks = asks;
        list->room = room;
    }
    list->asks[list->count++] = ask;
}

void ask_value(struct ask_list *list, const struct value *value, int32_t frame)
{
    ask_add(list, (struct ask){
                      .block = value->block, .picture = value->picture, .frame = frame, .planes = PLANES_AS_WANTED });
}

void ask_whole(struct ask_list *list, const struct value *value, int32_t frame, unsigned planes, int round)
{
    ask_add(list, (struct ask){ .block = value->block,
                                .picture = value->picture,
                                .frame = frame,
                                .planes = planes,
                                .whole = true,
                                .round = round });
}
