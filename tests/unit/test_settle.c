/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * settle: noise goes where there is nothing but noise, and what is there stays, down to wires fainter than the noise.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <string.h>

#include "fail_memory.h"
#include "key_scene.h"
#include "numerics/settle.h"

#define WIDTH 200
#define HEIGHT 120
#define SIGMA 0.007

struct field {
    struct picture truth, noisy, variance; /* with SETTLE_REACH around */
};

static struct picture plane(void)
{
    struct picture picture;
    const struct rect area = rect_grow(rect_of(0, 0, WIDTH, HEIGHT), SETTLE_REACH, SETTLE_REACH);
    assert_int_equal(picture_new(&picture, area, HAS_A, NULL), PASSEL_OK);
    return picture;
}

static float *at(const struct picture *picture, int32_t x, int32_t y)
{
    return picture_row(picture, PLANE_A, y) + (x - picture->area.x0);
}

static struct field field_of(double (*truth)(int32_t x, int32_t y), double sigma, uint64_t seed)
{
    const struct field field = { plane(), plane(), plane() };
    struct dice dice = { seed };
    for (int32_t y = field.truth.area.y0; y < field.truth.area.y1; y++) {
        for (int32_t x = field.truth.area.x0; x < field.truth.area.x1; x++) {
            *at(&field.truth, x, y) = (float)truth(x, y);
            *at(&field.noisy, x, y) = (float)(truth(x, y) + sigma * dice_gauss(&dice));
            *at(&field.variance, x, y) = (float)(sigma * sigma);
        }
    }
    return field;
}

static void field_release(struct field *field)
{
    picture_release(&field->truth);
    picture_release(&field->noisy);
    picture_release(&field->variance);
}

static void settle_all(struct field *field, struct rect want)
{
    struct arena scratch = { 0 };
    assert_true(settle(&field->noisy, &field->variance, want, &scratch));
    arena_release(&scratch);
}

/* Mean and mean square of what is off the truth. */
static void off(const struct field *field, double *mean, double *square)
{
    *mean = *square = 0;
    for (int32_t y = 0; y < HEIGHT; y++) {
        for (int32_t x = 0; x < WIDTH; x++) {
            const double miss = (double)*at(&field->noisy, x, y) - (double)*at(&field->truth, x, y);
            *mean += miss / (WIDTH * HEIGHT);
            *square += miss * miss / (WIDTH * HEIGHT);
        }
    }
}

static double solid(int32_t x, int32_t y)
{
    (void)x;
    (void)y;
    return 0;
}

static double bare(int32_t x, int32_t y)
{
    (void)x;
    (void)y;
    return 1;
}

static double slope(int32_t x, int32_t y)
{
    return 0.2 + 0.003 * x + 0.001 * y;
}

static double smoke(int32_t x, int32_t y)
{
    return 0.5 + 0.2 * sin(x / 23.0) * cos(y / 17.0);
}

static double edge(int32_t x, int32_t y)
{
    return x + 0.4 * y < 100 ? 1 : 0;
}

static double wires(int32_t x, int32_t y)
{
    return (x + y) % 16 == 0 ? 0.93 : (x - y + 800) % 24 == 0 ? 0 : 1;
}

static void test_noise_goes(void **state)
{
    double (*const truths[])(int32_t, int32_t) = { solid, bare, slope, smoke };
    (void)state;
    for (size_t i = 0; i < 4; i++) {
        struct field field = field_of(truths[i], SIGMA, 3 + i);
        double mean, square;
        settle_all(&field, rect_of(0, 0, WIDTH, HEIGHT));
        off(&field, &mean, &square);
        print_message("field %d: %.3f of the noise's power, mean off %.1e\n", (int)i, square / (SIGMA * SIGMA), mean);
        assert_true(square < 0.2 * SIGMA * SIGMA);
        assert_true(fabs(mean) < 4 * SIGMA / sqrt(WIDTH * HEIGHT));
        field_release(&field);
    }
}

/* Where there is more than noise, every bit is the pixel's own. */
static void test_structure_stays(void **state)
{
    struct field field = field_of(edge, SIGMA, 8), before = field_of(edge, SIGMA, 8);
    (void)state;
    settle_all(&field, rect_of(0, 0, WIDTH, HEIGHT));
    for (int32_t y = 0; y < HEIGHT; y++) {
        const int32_t border = (int32_t)ceil(100 - 0.4 * y);
        assert_int_equal(memcmp(at(&field.noisy, border - 1, y), at(&before.noisy, border - 1, y), 2 * sizeof(float)),
                         0);
    }
    field_release(&field);
    field_release(&before);
}

/* Wires of one pixel, some of them ten times the noise and crossing, keep their depth; so does their mean. */
static void test_wires_stay(void **state)
{
    struct field field = field_of(wires, SIGMA, 12);
    double faint = 0, dark = 0, count[2] = { 0 };
    (void)state;
    settle_all(&field, rect_of(0, 0, WIDTH, HEIGHT));
    for (int32_t y = 0; y < HEIGHT; y++) {
        for (int32_t x = 0; x < WIDTH; x++) {
            const double truth = wires(x, y), value = (double)*at(&field.noisy, x, y);
            if (truth > 0.9 && truth < 1)
                faint += value, count[0]++;
            else if (truth <= 0)
                dark += value, count[1]++;
        }
    }
    assert_true(fabs(faint / count[0] - 0.93) < 4 * SIGMA / sqrt(count[0]));
    assert_true(fabs(dark / count[1]) < 4 * SIGMA / sqrt(count[1]));
    field_release(&field);
}

/* A long wire of three times a pixel's noise is hardly paler: lines find what a pixel cannot tell. */
static double thread(int32_t x, int32_t y)
{
    return (x + y) % 40 == 0 ? 1 - 3 * SIGMA : 1;
}

static void test_faint_wire(void **state)
{
    struct field field = field_of(thread, SIGMA, 21);
    double sum = 0, count = 0;
    (void)state;
    settle_all(&field, rect_of(0, 0, WIDTH, HEIGHT));
    for (int32_t y = 0; y < HEIGHT; y++) {
        for (int32_t x = 0; x < WIDTH; x++) {
            if (thread(x, y) < 1)
                sum += 1 - (double)*at(&field.noisy, x, y), count++;
        }
    }
    print_message("a wire of three sigmas keeps %.2f of itself\n", sum / count / (3 * SIGMA));
    assert_true(sum / count > 0.9 * 3 * SIGMA);
    field_release(&field);
}

/* Values without noise are not touched, nor are those whose variance drowns in rounding. */
static void test_exact(void **state)
{
    struct field field = field_of(smoke, 0, 1);
    (void)state;
    settle_all(&field, rect_of(0, 0, WIDTH, HEIGHT));
    for (int32_t y = 0; y < HEIGHT; y++)
        assert_memory_equal(at(&field.noisy, 0, y), at(&field.truth, 0, y), WIDTH * sizeof(float));
    field_release(&field);
}

/* The bits of a part are those of the whole. */
static void test_parts(void **state)
{
    struct field whole = field_of(wires, SIGMA, 33);
    (void)state;
    settle_all(&whole, rect_of(0, 0, WIDTH, HEIGHT));
    for (int32_t k = 0; k < 4; k++) {
        const struct rect want = rect_of(13 * k, 7 * k, 13 * k + 50 + k, 7 * k + 31);
        struct field part = field_of(wires, SIGMA, 33);
        settle_all(&part, want);
        for (int32_t y = want.y0; y < want.y1; y++)
            assert_memory_equal(at(&part.noisy, want.x0, y), at(&whole.noisy, want.x0, y),
                                (size_t)rect_width(want) * sizeof(float));
        field_release(&part);
    }
    field_release(&whole);
}

static void test_memory(void **state)
{
    struct field field = field_of(bare, SIGMA, 2);
    (void)state;
    for (long n = 1; n <= 3; n++) {
        struct arena scratch = { 0 };
        fail_memory_at(n, true);
        assert_false(settle(&field.noisy, &field.variance, rect_of(0, 0, WIDTH, HEIGHT), &scratch));
        fail_memory_never();
        arena_release(&scratch);
    }
    field_release(&field);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_noise_goes), cmocka_unit_test(test_structure_stays), cmocka_unit_test(test_wires_stay),
        cmocka_unit_test(test_faint_wire), cmocka_unit_test(test_exact),           cmocka_unit_test(test_parts),
        cmocka_unit_test(test_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
