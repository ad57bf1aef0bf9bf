/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Subjects before screens, of flat colours: hue, spill and choice are what the colours make them. And crushed black,
 * however the rows come.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "base/memory.h"
#include "survey/gauge_low.h"
#include "survey/gauge_screen.h"

enum { ACROSS = 96, DOWN = 60, BLOCKS = ACROSS * DOWN };

static const float screens[2][3] = { { 0.055F, 0.46F, 0.085F }, { 0.04F, 0.105F, 0.52F } };
static const float grey[3] = { 0.2F, 0.2F, 0.2F }, copper[3] = { 0.06F, 0.33F, 0.12F };

struct scene {
    float values[2][3 * BLOCKS];
    struct look looks[2];
    bool bare[BLOCKS];
    struct screen_view views[2];
};

static bool inside(int32_t x, int32_t y, int32_t x0, int32_t y0, int32_t x1, int32_t y1)
{
    return x >= x0 && x < x1 && y >= y0 && y < y1;
}

/* Grey in the middle, copper in a part of it; so much of each screen lies on it, and the first take is so much brighter
 * than the second. */
static struct scene *scene_new(const float spill[2], float brighter)
{
    struct scene *scene = memory_zeros(1, sizeof *scene);
    assert_non_null(scene);
    for (int k = 0; k < 2; k++) {
        scene->looks[k] = (struct look){ .across = ACROSS, .down = DOWN, .block = 8 };
        for (int c = 0; c < 3; c++)
            scene->looks[k].plane[c] = scene->values[k] + (ptrdiff_t)c * BLOCKS;
        for (int32_t i = 0; i < BLOCKS; i++) {
            const int32_t x = i % ACROSS, y = i / ACROSS;
            const bool subject = inside(x, y, 24, 12, 72, 48);
            const float *own = inside(x, y, 40, 20, 52, 28) ? copper : grey;
            scene->bare[i] = !subject;
            for (int c = 0; c < 3; c++)
                scene->looks[k].plane[c][i] =
                    subject ? own[c] * (k == 0 ? 1 + brighter : 1) + spill[k] * screens[k][c] : screens[k][c];
        }
        scene->views[k] = (struct screen_view){ .take = &scene->looks[k] };
        assert_true(screen_view_settle(&scene->views[k], &scene->looks[k], scene->bare));
    }
    return scene;
}

static void measure(const struct scene *scene, int count, struct screen_gauge gauges[2], struct screen_choice *choice)
{
    struct screen_gauge *const both[2] = { &gauges[0], &gauges[1] };
    struct subject subject;
    for (int k = 0; k < 2; k++)
        screen_gauge_clear(&gauges[k]);
    assert_int_equal(subject_find(scene->views, count, &subject, NULL), PASSEL_OK);
    assert_int_equal(gauge_hue(&subject, both, NULL), PASSEL_OK);
    assert_int_equal(gauge_spill(&subject, both, NULL), PASSEL_OK);
    if (choice != NULL)
        assert_int_equal(screen_choose(&subject, choice, NULL), PASSEL_OK);
    subject_release(&subject);
}

static double degrees(const float a[3], const float b[3])
{
    double ab = 0, aa = 0, bb = 0;
    for (int c = 0; c < 3; c++) {
        ab += (double)a[c] * (double)b[c];
        aa += (double)a[c] * (double)a[c];
        bb += (double)b[c] * (double)b[c];
    }
    return acos(ab / sqrt(aa * bb)) * 180 / 3.14159265358979;
}

static void hue_is_the_angle(void **state)
{
    const float none[2] = { 0, 0 };
    struct scene *scene = scene_new(none, 0);
    struct screen_gauge gauges[2];
    (void)state;
    measure(scene, 2, gauges, NULL);
    assert_true(fabs(gauges[0].hue - degrees(copper, screens[0])) < 0.1);
    assert_true(fabs(gauges[1].hue - fmin(degrees(grey, screens[1]), degrees(copper, screens[1]))) < 0.1);
    /* Each place by the screen that is farther off. */
    const double wanted = fmin(fmax(degrees(grey, screens[0]), degrees(grey, screens[1])),
                               fmax(degrees(copper, screens[0]), degrees(copper, screens[1])));
    assert_true(fabs(gauges[0].hue_both - wanted) < 0.1);
    /* Before one screen the same, and no other to be farther off. */
    measure(scene, 1, gauges, NULL);
    assert_true(fabs(gauges[0].hue - degrees(copper, screens[0])) < 0.1);
    assert_true(gauges[0].hue_both < 0);
    memory_free(scene);
}

/* What lies three blocks deep and deeper: 44 by 32 blocks, 12 by 8 of them copper. */
static double share_of(float spill, const float screen[3], double brighter)
{
    const double light = (double)spill * ((double)screen[0] + (double)screen[1] + (double)screen[2]);
    const double own = (1 + brighter) * ((44 * 32 - 96) * 0.6 + 96 * 0.51) / (44 * 32);
    return light / (own + light);
}

static void spill_is_what_two_takes_differ_by(void **state)
{
    static const float spills[][2] = { { 0, 0 }, { 0.07F, 0.03F }, { 0.15F, 0 } };
    static const float brighter[] = { 0, 0.03F, -0.05F };
    (void)state;
    for (int i = 0; i < 3; i++) {
        for (int k = 0; k < 3; k++) {
            struct scene *scene = scene_new(spills[i], brighter[k]);
            struct screen_gauge gauges[2];
            measure(scene, 2, gauges, NULL);
            for (int view = 0; view < 2; view++) {
                const double wanted = share_of(spills[i][view], screens[view], view == 0 ? (double)brighter[k] : 0);
                assert_int_equal(gauges[view].how, SPILL_MEASURED);
                assert_true(fabs(gauges[view].spill - wanted) < 0.03 * wanted + 1e-6);
            }
            memory_free(scene);
        }
    }
}

/* Takes lit from other sides are not measured: their difference is no spill. */
static void other_light_is_no_spill(void **state)
{
    const float none[2] = { 0, 0 };
    struct scene *scene = scene_new(none, 0);
    struct screen_gauge gauges[2];
    (void)state;
    for (int32_t i = 0; i < BLOCKS; i++) {
        for (int c = 0; c < 3 && !scene->bare[i]; c++)
            scene->looks[0].plane[c][i] *= 0.7F + 0.6F * (float)(i % ACROSS) / ACROSS;
    }
    measure(scene, 2, gauges, NULL);
    assert_int_equal(gauges[0].how, SPILL_NONE);
    assert_true(gauges[0].hue > 0);
    memory_free(scene);
}

static void copper_is_for_the_blue_screen(void **state)
{
    const float none[2] = { 0, 0 };
    struct scene *scene = scene_new(none, 0);
    struct screen_gauge gauges[2];
    struct screen_choice choice;
    (void)state;
    measure(scene, 2, gauges, &choice);
    assert_int_equal(choice.count, 1);
    assert_int_equal(choice.pieces[0].better, 1);
    assert_true(rect_same(choice.pieces[0].box, (struct rect){ .x0 = 320, .y0 = 160, .x1 = 416, .y1 = 224 }));
    assert_true(fabs(choice.pieces[0].degrees[0] - degrees(copper, screens[0])) < 0.1);
    /* x 40 to 52 of 96 in eighths, y 20 to 28 of 60 in fifths. */
    for (int part = 0; part < PARTS; part++) {
        const bool theirs = inside(part % PARTS_ACROSS, part / PARTS_ACROSS, 3, 1, 5, 3);
        assert_true((choice.map[part] == CHOICE_SECOND) == theirs);
    }
    assert_int_equal(choice.map[0], CHOICE_NONE);
    memory_free(scene);
}

static struct low_map map_in_strips(const struct picture *picture, int32_t height)
{
    struct low_run run;
    struct low_map map;
    assert_int_equal(low_begin(ACROSS, DOWN, 24, &run, NULL), PASSEL_OK);
    for (int32_t y = 0; y < DOWN; y += height) {
        const struct picture rows = picture_part(
            picture, (struct rect){ .x0 = 0, .y0 = y, .x1 = ACROSS, .y1 = y + height < DOWN ? y + height : DOWN });
        low_rows(&run, &rows);
    }
    assert_int_equal(low_end(&run, &map, NULL), PASSEL_OK);
    return map;
}

/* Black comes late: what stood lower than all before it does not count any more. */
static void crushed_however_the_rows_come(void **state)
{
    struct picture picture;
    (void)state;
    assert_int_equal(picture_new(&picture, rect_of(0, 0, ACROSS, DOWN), HAS_RGB, NULL), PASSEL_OK);
    for (int32_t i = 0; i < BLOCKS; i++) {
        const int32_t x = i % ACROSS, y = i / ACROSS;
        for (int c = 0; c < 3; c++)
            picture_row(&picture, (enum plane)c, y)[x] = y < 8 ? 0.1F : 0.2F + 0.001F * (float)(i % 13);
        if (inside(x, y, 48, 40, 60, 48))
            picture_row(&picture, PLANE_B, y)[x] = 0;
    }
    for (int32_t height = 1; height <= DOWN; height = height * 3 + 1) {
        struct low_map map = map_in_strips(&picture, height);
        assert_int_equal(map.across, 24);
        for (int32_t i = 0; i < map.across * map.down; i++) {
            const int32_t x = i % map.across, y = i / map.across;
            assert_int_equal(map.channels[i], (y < 2 ? 3 : 0) | (inside(x, y, 12, 10, 15, 12) ? 4 : 0));
        }
        low_map_release(&map);
    }
    picture_release(&picture);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(hue_is_the_angle),
        cmocka_unit_test(spill_is_what_two_takes_differ_by),
        cmocka_unit_test(other_light_is_no_spill),
        cmocka_unit_test(copper_is_for_the_blue_screen),
        cmocka_unit_test(crushed_however_the_rows_come),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
