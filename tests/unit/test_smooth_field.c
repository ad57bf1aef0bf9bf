/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/* Box means, cells and their completion, and the smooth field of an empty. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <string.h>

#include "fail_memory.h"
#include "key_scene.h"
#include "numerics/box_mean.h"
#include "numerics/cells.h"
#include "numerics/smooth_field.h"

static double at(const struct picture *picture, int p, int32_t x, int32_t y)
{
    return (double)picture_row(picture, (enum plane)p, y)[x - picture->area.x0];
}

static void check_box(int32_t width, int32_t height, int radius)
{
    float in[20 * 24], out[20 * 24];
    double columns[24];
    struct dice dice = { 2 };
    assert_true(height <= 20 && width <= 24);
    for (int i = 0; i < 20 * 24; i++)
        in[i] = (float)dice_uniform(&dice);
    box_mean(in, out, width, height, 24, radius, columns);
    for (int32_t y = 0; y < height; y++) {
        for (int32_t x = 0; x < width; x++) {
            double sum = 0, count = 0;
            for (int32_t j = y - radius; j <= y + radius; j++) {
                for (int32_t i = x - radius; i <= x + radius; i++) {
                    if (i >= 0 && j >= 0 && i < width && j < height) {
                        sum += (double)in[j * 24 + i];
                        count++;
                    }
                }
            }
            assert_float_equal(out[y * 24 + x], (float)(sum / count), 1e-6);
        }
    }
}

static void test_box(void **state)
{
    (void)state;
    check_box(24, 20, 0);
    check_box(24, 20, 3);
    check_box(23, 5, 4);
    check_box(3, 20, 9);
    check_box(1, 1, 2);
}

/* A surface of second order is completed exactly where cells are missing. */
static void test_cells(void **state)
{
    (void)state;
    struct cells cells;
    assert_int_equal(cells_new(&cells, rect_of(-8, 4, 152, 104), 8, 1, NULL), PASSEL_OK);
    assert_int_equal(cells.width, 20);
    assert_int_equal(cells.height, 13); /* the last row is cut */
    float wanted[20 * 13];
    for (int32_t j = 0; j < 13; j++) {
        for (int32_t i = 0; i < 20; i++) {
            const int32_t cell = j * 20 + i;
            wanted[cell] = (float)(0.5 + 0.01 * i - 0.02 * j + 0.001 * i * j - 0.0005 * i * i);
            cells.weight[cell] = (i - 10) * (i - 10) + (j - 6) * (j - 6) < 20 ? 0.0F : 1.0F;
            cells.value[0][cell] = cells.weight[cell] > 0 ? wanted[cell] : 99;
        }
    }
    assert_true(cells_fill(&cells));
    for (int32_t cell = 0; cell < 20 * 13; cell++)
        assert_float_equal(cells.value[0][cell], wanted[cell], 2e-5);
    memset(cells.weight, 0, 20 * 13 * sizeof *cells.weight);
    assert_false(cells_fill(&cells));
    cells_release(&cells);
    cells_release(&cells);
}

/* Between the cells: a plane is met exactly, away from the grid's edges, and rows cut anywhere are the same. */
static void test_cells_row(void **state)
{
    (void)state;
    struct cells cells;
    float row[160], part[40];
    assert_int_equal(cells_new(&cells, rect_of(0, 0, 160, 96), 8, 1, NULL), PASSEL_OK);
    for (int32_t j = 0; j < 12; j++) {
        for (int32_t i = 0; i < 20; i++)
            cells.value[0][j * 20 + i] = (float)(2 * (8 * i + 4) + 3 * (8 * j + 4));
    }
    cells_row(&cells, 0, 0, 50, 160, row);
    for (int32_t x = 16; x < 144; x++)
        assert_float_equal(row[x], (float)(2 * (x + 0.5) + 3 * 50.5), 1e-3);
    cells_row(&cells, 0, 61, 50, 40, part);
    assert_memory_equal(part, row + 61, sizeof part);
    cells_release(&cells);
}

static const struct noise noise[3] = { { 1.6e-4F, 1e-5F }, { 1.6e-4F, 1e-5F }, { 1.6e-4F, 1e-5F } };

/* Root mean square of smoothed minus true in a rectangle of plane G, in sigmas of the noise. */
static double rest_in(const struct picture *smooth, const struct picture *truth, struct rect area)
{
    double sum = 0;
    for (int32_t y = area.y0; y < area.y1; y++) {
        for (int32_t x = area.x0; x < area.x1; x++) {
            const double off = at(smooth, 1, x, y) - at(truth, 1, x, y);
            sum += off * off / (double)noise_variance(noise[1], (float)at(truth, 1, x, y));
        }
    }
    return sqrt(sum / (rect_width(area) * rect_height(area)));
}

static void test_smooth(void **state)
{
    (void)state;
    static const double green[3] = { 0.08, 0.55, 0.12 };
    struct dice dice = { 4 };
    struct picture truth = scene_screen(480, 300, green, 0.8, true), smooth = scene_take(NULL, &truth, 1);
    scene_add_noise(&smooth, (struct camera){ 1.6e-4, 1e-5 }, &dice);
    assert_int_equal(smooth_field(&smooth, noise, NULL), PASSEL_OK);
    const double bare = rest_in(&smooth, &truth, rect_of(120, 20, 380, 200));
    const double corner = rest_in(&smooth, &truth, rect_of(0, 0, 16, 16));
    const double tape = rest_in(&smooth, &truth, rect_of(63, 222, 82, 228)); /* 0.15 ± 0.02, 0.75 ± 0.006 */
    const double stand = rest_in(&smooth, &truth, rect_of(402, 130, 414, 300));
    print_message("rest of the noise: bare %.3f, corner %.3f; on the tape %.2f, around the stand %.2f\n", bare, corner,
                  tape, stand);
    assert_true(bare < 0.11);
    assert_true(corner < 0.3);
    assert_true(tape < 1.2); /* the mark itself is left: it stands out by 17 sigma */
    assert_true(stand < 1.2);
    picture_release(&truth);
    picture_release(&smooth);
}

/* Pictures smaller than a window or a cell. */
static void test_small(void **state)
{
    (void)state;
    for (int32_t size = 0; size < 6; size++) {
        struct picture picture;
        assert_int_equal(picture_new(&picture, rect_of(3, 3, 3 + size, 4 + size / 2), HAS_RGB, NULL), PASSEL_OK);
        for (int c = 0; c < 3; c++)
            picture_fill(&picture, (enum plane)c, picture.area, 0.5F);
        assert_int_equal(smooth_field(&picture, noise, NULL), PASSEL_OK);
        for (int32_t x = 3; x < 3 + size; x++)
            assert_float_equal(at(&picture, 1, x, 3), 0.5, 1e-6);
        picture_release(&picture);
    }
}

static enum passel_status smooth_once(void *data)
{
    return smooth_field(data, noise, NULL);
}

static void test_no_memory(void **state)
{
    (void)state;
    struct picture picture;
    assert_int_equal(picture_new(&picture, rect_of(0, 0, 50, 40), HAS_RGB, NULL), PASSEL_OK);
    for (int c = 0; c < 3; c++)
        picture_fill(&picture, (enum plane)c, picture.area, 0.5F);
    assert_true(fail_memory_each(smooth_once, &picture) >= 4);
    picture_release(&picture);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_box),    cmocka_unit_test(test_cells), cmocka_unit_test(test_cells_row),
        cmocka_unit_test(test_smooth), cmocka_unit_test(test_small), cmocka_unit_test(test_no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
