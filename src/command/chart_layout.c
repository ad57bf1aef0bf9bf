/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "command/chart_layout.h"

#include <stdlib.h>

#include "base/error.h"
#include "base/memory.h"

#define SWEEPS 8

static enum passel_status add_line(struct chart *chart, const struct chart_line *line, struct passel_error *error)
{
    for (int i = 0; i < chart->line_count; i++) {
        if (chart->lines[i].from == line->from && chart->lines[i].to == line->to &&
            chart->lines[i].further == line->further)
            return PASSEL_OK;
    }
    if (chart->line_count == chart->line_room) {
        const int room = chart->line_room == 0 ? 32 : chart->line_room * 2;
        struct chart_line *lines =
            memory_grow(chart->lines, (size_t)chart->line_room, (size_t)room, sizeof *lines);
        if (lines == NULL)
            return error_set(error, PASSEL_NO_MEMORY, "out of memory");
        chart->lines = lines;
        chart->line_room = room;
    }
    chart->lines[chart->line_count++] = *line;
    return PASSEL_OK;
}

static enum passel_status add_values(struct chart *chart, const struct value *values, int count, int to,
                                     const char *role, struct passel_error *error)
{
    for (int i = 0; i < count; i++) {
        if (values[i].spec == NULL)
            continue;
        const struct block *from = values[i].curve != NULL ? values[i].curve : values[i].block;
        if (from == NULL)
            continue;
        const int which = values[i].curve != NULL ? 0 : values[i].picture;
        const struct chart_line line = { .from = from->index,
                                         .to = to,
                                         .role = role,
                                         .further = which > 0 ? from->schema->pictures[which - 1].name : NULL };
        RETURN_IF_ERROR(add_line(chart, &line, error));
    }
    return PASSEL_OK;
}

static enum passel_status add_setting(struct chart *chart, const struct setting *setting, int to,
                                      struct passel_error *error)
{
    if (setting == NULL)
        return PASSEL_OK;
    RETURN_IF_ERROR(add_values(chart, setting->values, setting->value_count, to, setting->spec->word, error));
    for (int i = 0; i < setting->tag_count; i++)
        RETURN_IF_ERROR(add_values(chart, setting->tags[i].values, setting->tags[i].value_count, to,
                                   setting->tags[i].spec->word, error));
    return PASSEL_OK;
}

static enum passel_status find_lines(struct chart *chart, struct passel_error *error)
{
    for (int b = 0; b < chart->recipe->block_count; b++) {
        const struct block *block = chart->recipe->blocks[b];
        if (block->schema->form == HEAD_SHOT)
            continue;
        RETURN_IF_ERROR(add_setting(chart, block->head, b, error));
        for (int i = 0; i < block->setting_count; i++)
            RETURN_IF_ERROR(add_setting(chart, &block->settings[i], b, error));
    }
    return PASSEL_OK;
}

/* Column = longest way from a source; repeated until nothing moves (there are no cycles). */
static void find_columns(struct chart *chart)
{
    bool moved = true;
    while (moved) {
        moved = false;
        for (int i = 0; i < chart->line_count; i++) {
            const struct chart_line *line = &chart->lines[i];
            if (chart->column[line->to] <= chart->column[line->from]) {
                chart->column[line->to] = chart->column[line->from] + 1;
                moved = true;
            }
        }
    }
    for (int b = 0; b < chart->recipe->block_count; b++) {
        if (chart->recipe->blocks[b]->schema->form == HEAD_SHOT)
            chart->column[b] = -1;
        if (chart->column[b] + 1 > chart->columns)
            chart->columns = chart->column[b] + 1;
    }
}

struct placed {
    int block;
    double wish; /* the mean row of its neighbours */
};

static int by_wish(const void *a, const void *b)
{
    const struct placed *x = a, *y = b;
    if (x->wish != y->wish)
        return x->wish < y->wish ? -1 : 1;
    return x->block - y->block;
}

static double wished_row(const struct chart *chart, int block, bool from_left)
{
    double sum = 0;
    int count = 0;
    for (int i = 0; i < chart->line_count; i++) {
        const struct chart_line *line = &chart->lines[i];
        if ((from_left ? line->to : line->from) == block) {
            sum += chart->row[from_left ? line->from : line->to];
            count++;
        }
    }
    return count > 0 ? sum / count : chart->row[block];
}

static void order_column(struct chart *chart, int column, bool from_left, struct placed *placed)
{
    int count = 0;
    for (int b = 0; b < chart->recipe->block_count; b++) {
        if (chart->column[b] == column)
            placed[count++] = (struct placed){ b, wished_row(chart, b, from_left) };
    }
    qsort(placed, (size_t)count, sizeof *placed, by_wish);
    for (int i = 0; i < count; i++)
        chart->row[placed[i].block] = i;
    if (count > chart->rows)
        chart->rows = count;
}

enum passel_status chart_make(struct chart *chart, const struct recipe *recipe, struct passel_error *error)
{
    *chart = (struct chart){ .recipe = recipe };
    const size_t count = (size_t)recipe->block_count + 1;
    struct placed *placed = memory_zeros(count, sizeof *placed);
    chart->column = memory_zeros(count, sizeof *chart->column);
    chart->row = memory_zeros(count, sizeof *chart->row);
    enum passel_status status = PASSEL_OK;
    if (placed == NULL || chart->column == NULL || chart->row == NULL)
        status = error_set(error, PASSEL_NO_MEMORY, "out of memory");
    if (status == PASSEL_OK)
        status = find_lines(chart, error);
    if (status == PASSEL_OK) {
        find_columns(chart);
        for (int b = 0; b < recipe->block_count; b++)
            chart->row[b] = b;
        for (int sweep = 0; sweep < SWEEPS; sweep++) {
            for (int c = 0; c < chart->columns; c++)
                order_column(chart, sweep % 2 == 0 ? c : chart->columns - 1 - c, sweep % 2 == 0, placed);
        }
    }
    memory_free(placed);
    if (status != PASSEL_OK)
        chart_release(chart);
    return status;
}

void chart_release(struct chart *chart)
{
    memory_free(chart->lines);
    memory_free(chart->column);
    memory_free(chart->row);
    *chart = (struct chart){ 0 };
}
