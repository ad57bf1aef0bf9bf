/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Pictures for tests.
 */
#include "pattern.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

double pattern_noise(uint32_t seed, int32_t x, int32_t y)
{
    uint32_t h = seed * 0x9e3779b9u + (uint32_t)x * 0x85ebca6bu + (uint32_t)y * 0xc2b2ae35u;
    h ^= h >> 15;
    h *= 0x2c1b3c6du;
    h ^= h >> 12;
    h *= 0x297a2d39u;
    h ^= h >> 15;
    return (double)h / 4294967296.0;
}

struct picture pattern_picture(struct rect area, unsigned planes, uint32_t seed)
{
    struct picture picture;
    assert_int_equal(picture_new(&picture, area, planes, NULL), PASSEL_OK);
    for (int p = 0; p < PLANE_COUNT; p++) {
        for (int32_t y = area.y0; y < area.y1 && picture.plane[p] != NULL; y++) {
            for (int32_t x = area.x0; x < area.x1; x++)
                picture_row(&picture, (enum plane)p, y)[x - area.x0] =
                    (float)pattern_noise(seed * PLANE_COUNT + (uint32_t)p, x, y);
        }
    }
    return picture;
}

float pattern_at(const struct picture *picture, enum plane plane, int32_t x, int32_t y)
{
    return picture_row(picture, plane, y)[x - picture->area.x0];
}

void pattern_assert_same(const struct picture *part, const struct picture *whole, enum plane plane)
{
    const struct rect area = rect_cut(part->area, whole->area);
    for (int32_t y = area.y0; y < area.y1; y++) {
        for (int32_t x = area.x0; x < area.x1; x++) {
            const float a = pattern_at(part, plane, x, y), b = pattern_at(whole, plane, x, y);
            if (memcmp(&a, &b, sizeof a) != 0)
                fail_msg("plane %d at %d, %d: %.9g and %.9g", (int)plane, (int)x, (int)y, (double)a, (double)b);
        }
    }
}
