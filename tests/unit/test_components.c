/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Holes and specks against their definition: flooding at every level that the picture has.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "fail_memory.h"
#include "numerics/components.h"
#include "pattern.h"

enum { MOST = 40 };

static const int beside[8][2] = {
    { 0, -1 }, { -1, 0 }, { 1, 0 }, { 0, 1 }, { -1, -1 }, { 1, -1 }, { -1, 1 }, { 1, 1 }
};

static float at(const struct picture *picture, int32_t x, int32_t y)
{
    return pattern_at(picture, PLANE_A, picture->area.x0 + x, picture->area.y0 + y);
}

/* True when (x, y) lies in a part beyond level t that is small and inside. */
static bool in_small_part(const struct picture *picture, int32_t x, int32_t y, float t, bool specks, double across)
{
    static int32_t stack[MOST * MOST];
    bool seen[MOST][MOST] = { { false } };
    const int32_t width = rect_width(picture->area), height = rect_height(picture->area);
    int32_t x0 = x, x1 = x, y0 = y, y1 = y, count = 0;
    if (specks ? !(at(picture, x, y) > t) : !(at(picture, x, y) < t))
        return false;
    stack[count++] = y * width + x;
    seen[y][x] = true;
    while (count > 0) {
        const int32_t u = stack[--count] % width, v = stack[count] / width;
        x0 = u < x0 ? u : x0;
        x1 = u > x1 ? u : x1;
        y0 = v < y0 ? v : y0;
        y1 = v > y1 ? v : y1;
        if (u == 0 || v == 0 || u == width - 1 || v == height - 1)
            return false;
        for (int k = 0; k < (specks ? 8 : 4); k++) {
            const int32_t p = u + beside[k][0], q = v + beside[k][1];
            if (!seen[q][p] && (specks ? at(picture, p, q) > t : at(picture, p, q) < t)) {
                seen[q][p] = true;
                stack[count++] = q * width + p;
            }
        }
    }
    return x1 - x0 + 1 < across && y1 - y0 + 1 < across;
}

static float by_definition(const struct picture *picture, int32_t x, int32_t y, bool specks, double across)
{
    const int32_t width = rect_width(picture->area), height = rect_height(picture->area);
    float best = at(picture, x, y);
    const float end = specks ? 0 : 1;
    for (int32_t i = -1; i < width * height; i++) {
        float t = i < 0 ? end : at(picture, i % width, i / width);
        if (specks ? t < 0 || t >= 0.5F || t >= best : t > 1 || t <= 0.5F || t <= best)
            continue;
        if (in_small_part(picture, x, y, t, specks, across))
            best = t;
    }
    return best;
}

/* Steps make flat parts and ties; the share of the ends and the parts of the range differ. */
static struct picture mottled(uint32_t seed, int32_t width, int32_t height, int steps, double stretch)
{
    struct picture picture = pattern_picture(rect_of(-5, 3, width - 5, height + 3), HAS_A, seed);
    for (int32_t y = 3; y < height + 3; y++) {
        float *row = picture_row(&picture, PLANE_A, y);
        for (int32_t x = 0; x < width; x++) {
            const double v = ((double)row[x] - 0.5) * stretch + 0.5;
            row[x] = (float)((int)(v * steps + 100) - 100) / (float)steps;
        }
    }
    return picture;
}

static void compare(uint32_t seed, int steps, double stretch, double across, bool specks)
{
    struct picture picture = mottled(seed, 23, 17, steps, stretch), made = mottled(seed, 23, 17, steps, stretch);
    assert_int_equal((specks ? components_drop_specks : components_fill_holes)(&made, PLANE_A, across, NULL),
                     PASSEL_OK);
    for (int32_t y = 0; y < 17; y++) {
        for (int32_t x = 0; x < 23; x++) {
            const float expected = by_definition(&picture, x, y, specks, across);
            if (at(&made, x, y) != expected)
                fail_msg("seed %u, %d steps, across %g, %d %d: %g, not %g", seed, steps, across, x, y,
                         (double)at(&made, x, y), (double)expected);
        }
    }
    picture_release(&picture);
    picture_release(&made);
}

static void as_defined(void **state)
{
    (void)state;
    static const double across[] = { 0, 1, 2, 3, 4.5, 7, 100 };
    for (uint32_t seed = 1; seed <= 6; seed++) {
        for (size_t k = 0; k < sizeof across / sizeof *across; k++) {
            for (int specks = 0; specks < 2; specks++) {
                compare(seed, 8, 1.4, across[k], specks != 0);
                compare(seed, 4, 2.5, across[k], specks != 0);
                compare(seed, 1 << 20, 1.2, across[k], specks != 0);
            }
        }
    }
}

/* A hole of 6 x 3 with a soft rim is filled when it is asked for 7, and not by 6. */
static void a_soft_hole(void **state)
{
    (void)state;
    for (int across = 6; across <= 7; across++) {
        struct picture picture = pattern_picture(rect_of(0, 0, 30, 20), HAS_A, 1);
        picture_fill(&picture, PLANE_A, picture.area, 1);
        picture_fill(&picture, PLANE_A, rect_of(10, 8, 16, 11), 0.75F);
        picture_fill(&picture, PLANE_A, rect_of(11, 9, 15, 10), 0.1F);
        assert_int_equal(components_fill_holes(&picture, PLANE_A, across, NULL), PASSEL_OK);
        assert_true(pattern_at(&picture, PLANE_A, 12, 9) == (across == 7 ? 1.0F : 0.75F));
        assert_true(pattern_at(&picture, PLANE_A, 10, 8) == (across == 7 ? 1.0F : 0.75F));
        picture_release(&picture);
    }
}

static enum passel_status fill_again(void *data)
{
    return components_fill_holes(data, PLANE_A, 4, NULL);
}

static void survives_no_memory(void **state)
{
    (void)state;
    struct picture picture = mottled(1, 20, 20, 8, 1.4);
    assert_true(fail_memory_each(fill_again, &picture) == 6);
    picture_release(&picture);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(as_defined),
        cmocka_unit_test(a_soft_hole),
        cmocka_unit_test(survives_no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
