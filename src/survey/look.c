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

/* Sums of one row of pixels, added to one row of blocks. */
static void add_row(const struct picture *picture, enum plane plane, int32_t y, const struct look *look, float *sums)
{
    const float *row = picture_row(picture, plane, y);
    const int32_t end = look->across * look->block;
    for (int32_t x = picture->area.x0 > 0 ? picture->area.x0 : 0; x < picture->area.x1 && x < end; x++)
        sums[x / look->block] += row[x - picture->area.x0];
}

enum passel_status look_make(const struct reading *reading, int32_t block, struct look *look,
                             struct passel_error *error)
{
    const int32_t across = reading->width / block, down = reading->height / block;
    const struct picture *picture = &reading->picture;
    const float share = 1.0F / ((float)block * (float)block);
    RETURN_IF_ERROR(look_new(across > 0 ? across : 1, down > 0 ? down : 1, block, look, error));
    for (int c = 0; c < 3; c++) {
        for (int32_t y = 0; y < look->down * block; y++) {
            if (y >= picture->area.y0 && y < picture->area.y1)
                add_row(picture, (enum plane)c, y, look, look->plane[c] + (size_t)(y / block) * (size_t)look->across);
        }
        for (size_t i = 0; i < look_count(look); i++)
            look->plane[c][i] *= share;
    }
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
