/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "survey/look.h"

#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"

size_t look_count(const struct look *look)
{
    return (size_t)look->across * (size_t)look->down;
}

int32_t look_block(int32_t width, int32_t most)
{
    return width <= most ? 1 : (width + most - 1) / most;
}

static enum passel_status look_new(int32_t across, int32_t down, int32_t block, struct look *look,
                                   struct passel_error *error)
{
    *look = (struct look){ .across = across, .down = down, .block = block };
    float *values = memory_zeros(look_count(look), 3 * sizeof *values);
    if (values == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int c = 0; c < 3; c++)
        look->plane[c] = values + (size_t)c * look_count(look);
    return PASSEL_OK;
}

enum passel_status look_begin(int32_t width, int32_t height, int32_t block, struct look_maker *maker,
                              struct passel_error *error)
{
    const int32_t across = width / block > 0 ? width / block : 1, down = height / block > 0 ? height / block : 1;
    *maker = (struct look_maker){ .end = across * block, .fresh = { true, true, true } };
    RETURN_IF_ERROR(look_new(across, down, block, &maker->look, error));
    maker->sums = memory_zeros((size_t)maker->end, 3 * sizeof *maker->sums);
    if (maker->sums != NULL)
        return PASSEL_OK;
    look_release(&maker->look);
    return error_set(error, PASSEL_NO_MEMORY, "out of memory");
}

void look_add(struct look_maker *maker, int channel, const float *row, int32_t x0, int32_t x1)
{
    const int32_t first = x0 > 0 ? x0 : 0, last = x1 < maker->end ? x1 : maker->end;
    float *restrict sums = maker->sums + (ptrdiff_t)channel * maker->end;
    const float *restrict from = row - x0;
    if (maker->fresh[channel] && last > first)
        memcpy(sums + first, from + first, (size_t)(last - first) * sizeof *sums);
    else
        for (int32_t x = first; x < last; x++)
            sums[x] += from[x];
    maker->fresh[channel] = false;
}

void look_fold(struct look_maker *maker, int32_t down)
{
    const struct look *look = &maker->look;
    for (int c = 0; c < 3 && down >= 0 && down < look->down && !maker->fresh[c]; c++) {
        const float *sums = maker->sums + (ptrdiff_t)c * maker->end;
        float *out = look->plane[c] + (ptrdiff_t)down * look->across;
        for (int32_t x = 0; x < look->across; x++) {
            for (int32_t i = 0; i < look->block; i++)
                out[x] += sums[(ptrdiff_t)x * look->block + i];
        }
    }
    maker->fresh[0] = maker->fresh[1] = maker->fresh[2] = true;
}

struct look look_end(struct look_maker *maker)
{
    const struct look look = maker->look;
    const float share = 1.0F / ((float)look.block * (float)look.block);
    for (size_t i = 0; i < 3 * look_count(&look); i++)
        look.plane[0][i] *= share;
    memory_free(maker->sums);
    *maker = (struct look_maker){ 0 };
    return look;
}

enum passel_status look_make(const struct reading *reading, int32_t block, struct look *look,
                             struct passel_error *error)
{
    const struct picture *picture = &reading->picture;
    struct look_maker maker;
    *look = (struct look){ 0 };
    RETURN_IF_ERROR(look_begin(reading->width, reading->height, block, &maker, error));
    for (int32_t y = picture->area.y0 > 0 ? picture->area.y0 : 0; y < picture->area.y1 && y < maker.look.down * block;
         y++) {
        for (int c = 0; c < 3; c++)
            look_add(&maker, c, picture_row(picture, (enum plane)c, y), picture->area.x0, picture->area.x1);
        if (y % block == block - 1 || y == picture->area.y1 - 1)
            look_fold(&maker, y / block);
    }
    *look = look_end(&maker);
    return PASSEL_OK;
}

enum passel_status look_black(const struct look *like, struct look *look, struct passel_error *error)
{
    return look_new(like->across, like->down, like->block, look, error);
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

static int rising(const void *a, const void *b)
{
    const float x = *(const float *)a, y = *(const float *)b;
    return (x > y) - (x < y);
}

float numbers_at(float *numbers, size_t count, double share)
{
    qsort(numbers, count, sizeof *numbers, rising);
    return count == 0 ? 0 : numbers[(size_t)(share * (double)(count - 1) + 0.5)];
}
