/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Pictures from the scratch memory of a fill.
 */
#include "kinds/arena_picture.h"

#include "base/error.h"
#include "base/memory.h"

enum passel_status arena_picture(struct arena *scratch, struct rect area, unsigned planes, struct picture *picture,
                                 struct passel_error *error)
{
    size_t pixels;
    *picture = (struct picture){ .area = area, .stride = (size_t)rect_width(area) };
    if (!size_multiply((size_t)rect_width(area), (size_t)rect_height(area), &pixels))
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int p = 0; p < PLANE_COUNT; p++) {
        if ((planes & 1u << p) == 0)
            continue;
        picture->plane[p] = arena_array(scratch, pixels, sizeof(float));
        if (picture->plane[p] == NULL)
            return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    }
    return PASSEL_OK;
}

float *arena_row(struct arena *scratch, int32_t count)
{
    return arena_array(scratch, (size_t)count, sizeof(float));
}
