/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What is measured while rows come by, against plain sums over the whole picture; and the same however many rows come
 * at a time.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "survey/gauge.h"
#include "survey/gauge_run.h"

static float noise_of(uint32_t *seed)
{
    *seed = *seed * 1664525u + 1013904223u;
    return (float)(*seed >> 8) / 16777216.0F;
}

/* Brighter towards the right bottom; red clipped in a corner, green crushed, blue with values below 0. As half floats
 * are, 11 bits of each value count. */
static struct reading filmed(struct rect area, int32_t width, int32_t height)
{
    struct reading reading = { .width = width, .height = height };
    uint32_t seed = 7;
    assert_int_equal(picture_new(&reading.picture, area, HAS_RGB, NULL), PASSEL_OK);
    for (int32_t y = area.y0; y < area.y1; y++) {
        for (int32_t x = area.x0; x < area.x1; x++) {
            const float far = (float)(x + y) / (float)(width + height);
            const float values[3] = { fminf(far + 0.2F * noise_of(&seed), 0.83F), fmaxf(far - noise_of(&seed), 0),
                                      far - 0.4F * noise_of(&seed) };
            for (int c = 0; c < 3; c++) {
                uint32_t bits;
                memcpy(&bits, &values[c], sizeof bits);
                bits &= 0xffffe000u;
                memcpy(&picture_row(&reading.picture, (enum plane)c, y)[x - area.x0], &bits, sizeof bits);
            }
        }
    }
    return reading;
}

static struct frame_gauge gauge_of(const struct reading *reading, int32_t at_once, struct look *small)
{
    struct gauge_run run;
    struct frame_gauge gauge;
    const struct rect area = reading->picture.area;
    assert_int_equal(gauge_begin(reading, small, &run, NULL), PASSEL_OK);
    for (int32_t y = area.y0; y < area.y1; y += at_once) {
        const int32_t end = area.y1 - y > at_once ? y + at_once : area.y1;
        const struct picture rows = picture_part(&reading->picture, rect_of(area.x0, y, area.x1, end));
        gauge_rows(&run, &rows);
    }
    gauge_end(&run, reading, &gauge, small);
    return gauge;
}

static size_t count_from(const struct picture *picture, enum plane plane, struct rect area, float least, float most)
{
    size_t count = 0;
    for (int32_t y = area.y0; y < area.y1; y++) {
        for (int32_t x = area.x0; x < area.x1; x++) {
            const float value = picture_row(picture, plane, y)[x - picture->area.x0];
            count += value >= least && value <= most;
        }
    }
    return count;
}

static void ends_are_counted(void **state)
{
    const struct rect area = rect_of(-3, -2, 290, 171);
    struct reading reading = filmed(area, 288, 168);
    struct look small = { 0 };
    const struct frame_gauge gauge = gauge_of(&reading, 16, &small);
    const double pixels = 288.0 * 168;
    (void)state;
    const size_t high = count_from(&reading.picture, PLANE_R, area, 0.829F, 1), none = 0;
    const size_t low = count_from(&reading.picture, PLANE_G, area, -1, 0);
    assert_true(high > 1000 && low > 1000);
    assert_true(count_from(&reading.picture, PLANE_B, area, -1, -1e-6F) > none);
    assert_true(fabs((double)gauge.clipped[PLANE_R] * pixels - (double)high) < 0.5);
    assert_true(fabs((double)gauge.crushed[PLANE_G] * pixels - (double)low) < 0.5);
    assert_true(gauge.clipped[PLANE_G] == 0 && gauge.clipped[PLANE_B] == 0);
    assert_true(gauge.crushed[PLANE_R] == 0 && gauge.crushed[PLANE_B] == 0);
    look_release(&small);
    picture_release(&reading.picture);
}

static void clipped_tiles_are_where_they_are(void **state)
{
    const struct rect area = rect_of(0, 0, 12 * TILES_ACROSS, 12 * TILES_DOWN);
    struct reading reading = filmed(area, area.x1, area.y1);
    struct look small = { 0 };
    const struct frame_gauge gauge = gauge_of(&reading, 5, &small);
    (void)state;
    for (int32_t i = 0; i < TILES; i++) {
        const int32_t x = 12 * (i % TILES_ACROSS), y = 12 * (i / TILES_ACROSS);
        const size_t count = count_from(&reading.picture, PLANE_R, rect_of(x, y, x + 12, y + 12), 0.829F, 1);
        assert_int_equal(gauge.at_top[i], (int)ceil(255 * (double)count / 144));
    }
    look_release(&small);
    picture_release(&reading.picture);
}

static void blocks_are_means(void **state)
{
    const struct rect area = rect_of(-3, -2, 2 * SMALL_ACROSS + 1, 30);
    struct reading reading = filmed(area, 2 * SMALL_ACROSS + 1, 33);
    struct look small = { 0 };
    (void)gauge_of(&reading, 7, &small);
    (void)state;
    assert_int_equal(small.block, 3);
    assert_int_equal(small.down, 11);
    for (int32_t v = 0; v < small.down; v++) {
        for (int32_t u = 0; u < small.across; u++) {
            double sum = 0;
            for (int32_t y = 3 * v; y < 3 * v + 3 && y < area.y1; y++) {
                for (int32_t x = 3 * u; x < 3 * u + 3; x++)
                    sum += (double)picture_row(&reading.picture, PLANE_B, y)[x - area.x0];
            }
            assert_true(fabs((double)small.plane[2][v * small.across + u] - sum / 9) < 1e-6);
        }
    }
    look_release(&small);
    picture_release(&reading.picture);
}

static void any_number_of_rows_is_the_same(void **state)
{
    static const int32_t numbers[] = { 1, 3, 16, 61, 1000 };
    struct reading reading = filmed(rect_of(-3, -2, 1921, 203), 1920, 200);
    struct look small = { 0 }, other = { 0 };
    const struct frame_gauge gauge = gauge_of(&reading, 200, &small);
    (void)state;
    for (size_t i = 0; i < sizeof numbers / sizeof *numbers; i++) {
        const struct frame_gauge again = gauge_of(&reading, numbers[i], &other);
        assert_memory_equal(&again, &gauge, sizeof gauge);
        assert_memory_equal(other.plane[0], small.plane[0], 3 * look_count(&small) * sizeof(float));
    }
    picture_row(&reading.picture, PLANE_B, 88)[1000] += 0x1p-13F;
    assert_true(gauge_of(&reading, 16, &other).digest != gauge.digest);
    look_release(&small);
    look_release(&other);
    picture_release(&reading.picture);
}

/* A dot that goes to the next pixel, aside or down, makes other bits. */
static void the_digest_knows_places(void **state)
{
    struct reading reading = { .width = 200, .height = 100 };
    struct look small = { 0 };
    uint64_t seen[3];
    (void)state;
    assert_int_equal(picture_new(&reading.picture, rect_of(0, 0, 200, 100), HAS_RGB, NULL), PASSEL_OK);
    for (int i = 0; i < 3; i++) {
        for (int c = 0; c < 3; c++)
            picture_fill(&reading.picture, (enum plane)c, reading.picture.area, 0);
        picture_row(&reading.picture, PLANE_G, i == 1 ? 51 : 50)[i == 2 ? 101 : 100] = 1;
        seen[i] = gauge_of(&reading, 16, &small).digest;
    }
    assert_true(seen[0] != seen[1] && seen[0] != seen[2] && seen[1] != seen[2]);
    look_release(&small);
    picture_release(&reading.picture);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(ends_are_counted),        cmocka_unit_test(clipped_tiles_are_where_they_are),
        cmocka_unit_test(blocks_are_means),        cmocka_unit_test(any_number_of_rows_is_the_same),
        cmocka_unit_test(the_digest_knows_places),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
