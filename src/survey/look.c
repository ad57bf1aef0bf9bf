/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "survey/look.h"

#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "numerics/order.h"

size_t look_count(const struct look *look)
{
    return (size_t)look->across * (size_t)look->down;
}

int32_t look_block(int32_t width, int32_t most)
{
    return width <= most ? 1 : (width + most - 1) / most;
}

/* What is in it is not yet known. */
static enum passel_status look_new(int32_t across, int32_t down, int32_t block, struct look *look,
                                   struct passel_error *error)
{
    *look = (struct look){ .across = across, .down = down, .block = block };
    float *values = memory_new(look_count(look) * 3 * sizeof *values);
    if (values == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int c = 0; c < 3; c++)
        look->plane[c] = values + (size_t)c * look_count(look);
    return PASSEL_OK;
}

static bool same_shape(const struct look *look, int32_t across, int32_t down)
{
    return look != NULL && look->plane[0] != NULL && look->across == across && look->down == down;
}

enum passel_status look_begin(int32_t width, int32_t height, int32_t block, struct look *spare,
                              struct look_maker *maker, struct passel_error *error)
{
    const int32_t across = width / block > 0 ? width / block : 1, down = height / block > 0 ? height / block : 1;
    *maker = (struct look_maker){ .end = across * block, .fresh = true };
    if (same_shape(spare, across, down)) {
        maker->look = *spare;
        maker->look.block = block;
        *spare = (struct look){ 0 };
    } else {
        if (spare != NULL)
            look_release(spare);
        RETURN_IF_ERROR(look_new(across, down, block, &maker->look, error));
    }
    maker->sums = memory_zeros((size_t)maker->end, 3 * sizeof *maker->sums);
    if (maker->sums != NULL)
        return PASSEL_OK;
    look_release(&maker->look);
    return error_set(error, PASSEL_NO_MEMORY, "out of memory");
}

static void add_row(const struct look_maker *maker, int channel, const float *row, int32_t x0, int32_t x1)
{
    const int32_t first = x0 > 0 ? x0 : 0, last = x1 < maker->end ? x1 : maker->end;
    float *restrict sums = maker->sums + (ptrdiff_t)channel * maker->end;
    const float *restrict from = row - x0;
    if (maker->fresh && last > first)
        memcpy(sums + first, from + first, (size_t)(last - first) * sizeof *sums);
    else
        for (int32_t x = first; x < last; x++)
            sums[x] += from[x];
}

/* A known number of pixels to a block is quicker. */
static inline void fold_row(const float *restrict sums, int32_t across, int32_t block, float share, float *restrict out)
{
    for (int32_t x = 0; x < across; x++) {
        float sum = 0;
        for (int32_t i = 0; i < block; i++)
            sum += sums[(ptrdiff_t)x * block + i];
        out[x] = sum * share;
    }
}

/* Ends the row of blocks, and begins the next one. */
static void fold(struct look_maker *maker)
{
    const struct look *look = &maker->look;
    const float share = 1.0F / ((float)look->block * (float)look->block);
    for (int c = 0; c < 3; c++) {
        const float *sums = maker->sums + (ptrdiff_t)c * maker->end;
        float *out = look->plane[c] + (ptrdiff_t)maker->down * look->across;
        if (maker->fresh)
            memset(out, 0, (size_t)look->across * sizeof *out);
        else if (look->block == 2)
            fold_row(sums, look->across, 2, share, out);
        else if (look->block == 4)
            fold_row(sums, look->across, 4, share, out);
        else
            fold_row(sums, look->across, look->block, share, out);
    }
    maker->down++;
    maker->fresh = true;
}

void look_rows(struct look_maker *maker, const struct picture *rows)
{
    const struct rect area = rows->area;
    for (int32_t y = area.y0 > 0 ? area.y0 : 0; y < area.y1 && y / maker->look.block < maker->look.down; y++) {
        while (maker->down < y / maker->look.block)
            fold(maker);
        for (int c = 0; c < 3; c++)
            add_row(maker, c, picture_row(rows, (enum plane)c, y), area.x0, area.x1);
        maker->fresh = false;
    }
}

struct look look_end(struct look_maker *maker)
{
    while (maker->down < maker->look.down)
        fold(maker);
    const struct look look = maker->look;
    memory_free(maker->sums);
    *maker = (struct look_maker){ 0 };
    return look;
}

enum passel_status look_make(const struct reading *reading, int32_t block, struct look *look,
                             struct passel_error *error)
{
    struct look_maker maker;
    *look = (struct look){ 0 };
    RETURN_IF_ERROR(look_begin(reading->width, reading->height, block, NULL, &maker, error));
    look_rows(&maker, &reading->picture);
    *look = look_end(&maker);
    return PASSEL_OK;
}

enum passel_status look_black(const struct look *like, struct look *look, struct passel_error *error)
{
    RETURN_IF_ERROR(look_new(like->across, like->down, like->block, look, error));
    memset(look->plane[0], 0, 3 * look_count(look) * sizeof *look->plane[0]);
    return PASSEL_OK;
}

void look_release(struct look *look)
{
    memory_free(look->plane[0]);
    *look = (struct look){ 0 };
}

float look_light(const struct look *look, size_t i)
{
    return 0.2126F * look->plane[0][i] + 0.7152F * look->plane[1][i] + 0.0722F * look->plane[2][i];
}

bool look_borders(const struct look *look, int32_t x, int32_t y)
{
    const int32_t rim = look->across / 24 + 1;
    return y < (look->down + 1) / 2 && (y < rim || x < rim || x >= look->across - rim);
}

float numbers_at(float *numbers, size_t count, double share)
{
    qsort(numbers, count, sizeof *numbers, rising_floats);
    return count == 0 ? 0 : numbers[(size_t)(share * (double)(count - 1) + 0.5)];
}
