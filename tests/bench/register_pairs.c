/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Registers pairs of pictures for tests/bench/align. For each pair it reads four 32-bit integers (width, height, model,
 * 0) and two planes of floats, and prints a line: status, expected error, clearness, agreement, milliseconds and the
 * nine numbers of the map.
 */
#include <stdio.h>
#include <time.h>

#include "numerics/register.h"

static bool read_plane(struct picture *picture, int32_t width, int32_t height)
{
    if (picture_new(picture, rect_of(0, 0, width, height), HAS_R, NULL) != PASSEL_OK)
        return false;
    for (int32_t y = 0; y < height; y++)
        if (fread(picture_row(picture, PLANE_R, y), sizeof(float), (size_t)width, stdin) != (size_t)width)
            return false;
    return true;
}

static double milliseconds(void)
{
    struct timespec now;
    (void)timespec_get(&now, TIME_UTC);
    return (double)now.tv_sec * 1e3 + (double)now.tv_nsec / 1e6;
}

int main(void)
{
    int32_t facts[4];
    while (fread(facts, sizeof facts, 1, stdin) == 1) {
        struct picture fixed = { 0 }, moved = { 0 };
        struct registration found;
        if (!read_plane(&fixed, facts[0], facts[1]) || !read_plane(&moved, facts[0], facts[1]))
            return 1;
        const double begun = milliseconds();
        const enum passel_status status =
            register_pictures(&fixed, &moved, NULL, (enum register_model)facts[2], NULL, &found, NULL);
        printf("%d %.5f %.3f %.4f %.1f", (int)status, found.expected, found.clearness, found.agreement,
               milliseconds() - begun);
        for (int i = 0; i < 9; i++)
            printf(" %.10g", found.map.m[i] / found.map.m[8]);
        printf("\n");
        (void)fflush(stdout);
        picture_release(&fixed);
        picture_release(&moved);
    }
    return 0;
}
