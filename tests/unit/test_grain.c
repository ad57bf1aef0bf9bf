/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/* Grain measured in pictures whose grain is known, and drawn again. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <string.h>

#include "fail_memory.h"
#include "key_scene.h"
#include "numerics/grain.h"

#define WIDTH 320
#define HEIGHT 240

/* Grain to be found again: white noise through b, 1, b both ways, partly the same in all colours. */
struct made_grain {
    struct camera camera;
    double across, down, common;
};

static double light_at(int c, double x, double y)
{
    return 0.05 + 0.1 * c + 0.5 * x / WIDTH + 0.1 * y / HEIGHT;
}

static void white(float *plane, struct dice *dice)
{
    for (int i = 0; i < WIDTH * HEIGHT; i++)
        plane[i] = (float)dice_gauss(dice);
}

static void taps(float *plane, double across, double down)
{
    static float once[WIDTH * HEIGHT];
    const float scale = (float)(1 / sqrt((1 + 2 * across * across) * (1 + 2 * down * down)));
    for (int y = 0; y < HEIGHT; y++) {
        for (int x = 0; x < WIDTH; x++) {
            const float *row = plane + (size_t)y * WIDTH;
            once[y * WIDTH + x] =
                row[x] + (float)across * (row[x > 0 ? x - 1 : 1] + row[x + 1 < WIDTH ? x + 1 : x - 1]);
        }
    }
    for (int y = 0; y < HEIGHT; y++) {
        const int above = y > 0 ? y - 1 : 1, below = y + 1 < HEIGHT ? y + 1 : y - 1;
        for (int x = 0; x < WIDTH; x++)
            plane[y * WIDTH + x] =
                scale * (once[y * WIDTH + x] + (float)down * (once[above * WIDTH + x] + once[below * WIDTH + x]));
    }
}

static struct picture grainy(const struct made_grain *made, double wave, uint64_t seed)
{
    static float shared[WIDTH * HEIGHT], own[WIDTH * HEIGHT];
    struct picture picture;
    struct dice dice = { seed };
    assert_int_equal(picture_new(&picture, rect_of(0, 0, WIDTH, HEIGHT), HAS_RGB, NULL), PASSEL_OK);
    white(shared, &dice);
    for (int c = 0; c < 3; c++) {
        white(own, &dice);
        for (int i = 0; i < WIDTH * HEIGHT; i++)
            own[i] = (float)(sqrt(1 - made->common) * (double)own[i] + sqrt(made->common) * (double)shared[i]);
        taps(own, made->across, made->down);
        for (int i = 0; i < WIDTH * HEIGHT; i++) {
            const int x = i % WIDTH, y = i / WIDTH;
            const double light = light_at(c, x, y) * (1 + wave * sin(0.25 * x + 0.1 * y));
            picture_row(&picture, (enum plane)c, y)[x] =
                (float)(light + sqrt(made->camera.gain * light + made->camera.floor) * (double)own[i]);
        }
    }
    return picture;
}

static struct grain measured(const struct picture *picture)
{
    struct grain grain;
    assert_int_equal(grain_measure(&grain, picture, NULL, &picture->area, 1, NULL), PASSEL_OK);
    return grain;
}

/* Rows of new grain on a light; out: variance, likeness across and down, and of red and green. */
static void draw(const struct grain *grain, float light, double found[4])
{
    static float planes[3][200][300], room[12 * 302], flat[300];
    double own = 0, across = 0, down = 0, colours = 0, green = 0;
    for (int x = 0; x < 300; x++)
        flat[x] = light;
    for (int y = 0; y < 200; y++) {
        const float *const in[3] = { flat, flat, flat };
        float *const out[3] = { planes[0][y], planes[1][y], planes[2][y] };
        grain_row(grain, 5, 0, y, 300, in, out, room);
    }
    for (int y = 0; y + 1 < 200; y++) {
        for (int x = 0; x + 1 < 300; x++) {
            const double here = (double)planes[0][y][x];
            own += here * here;
            across += here * (double)planes[0][y][x + 1];
            down += here * (double)planes[0][y + 1][x];
            colours += here * (double)planes[1][y][x];
            green += (double)planes[1][y][x] * (double)planes[1][y][x];
        }
    }
    found[0] = own / (199 * 299);
    found[1] = across / own;
    found[2] = down / own;
    found[3] = colours / sqrt(own * green);
}

/* What is drawn is like what was measured: strength at three levels, likeness of neighbours, of colours. */
static void check(const struct made_grain *made, double wave, double most)
{
    const struct picture picture = grainy(made, wave, 9);
    const struct grain grain = measured(&picture);
    const double alike[3] = { 2 * made->across / (1 + 2 * made->across * made->across),
                              2 * made->down / (1 + 2 * made->down * made->down), made->common };
    for (int k = 0; k < 3; k++) {
        const double light = 0.15 + 0.15 * k;
        double found[4];
        draw(&grain, (float)light, found);
        const double wanted = made->camera.gain * light + made->camera.floor;
        print_message("light %.2f: strength %.3f of the camera's; alike %.2f across (%.2f), %.2f down (%.2f), colours "
                      "%.2f (%.2f)\n",
                      light, sqrt(found[0] / wanted), found[1], alike[0], found[2], alike[1], found[3], alike[2]);
        assert_true(fabs(sqrt(found[0] / wanted) - 1) < most);
        for (int i = 0; i < 3; i++)
            assert_true(fabs(found[1 + i] - alike[i]) < most);
    }
    struct picture gone = picture;
    picture_release(&gone);
}

static void test_white(void **state)
{
    (void)state;
    const struct made_grain made = { { 1e-4, 1e-5 }, 0, 0, 0 };
    check(&made, 0, 0.1);
}

static void test_soft(void **state)
{
    (void)state;
    const struct made_grain made = { { 1e-4, 1e-5 }, 0.3, 0.15, 0.4 };
    check(&made, 0, 0.1);
}

/* Energy of second differences both ways of plane 0, of means of `size` by `size` pixels. */
static double detail_at(const float *plane, int width, int height, int size)
{
    double sum = 0, count = 0;
    for (int y = 0; y + 3 * size <= height; y += size) {
        for (int x = 0; x + 3 * size <= width; x += size) {
            double value = 0;
            for (int k = 0; k < 9 * size * size; k++) {
                const int i = k % (3 * size), j = k / (3 * size);
                value += (i / size == 1 ? -2 : 1) * (j / size == 1 ? -2 : 1) * (double)plane[(y + j) * width + x + i];
            }
            sum += value * value / (size * size * size * size);
            count += 1;
        }
    }
    return sum / count;
}

/* Compression drops the finest detail, the diagonal of every two by two pixels: neighbours are more alike then, but
 * there is not the coarse detail that soft grain has. It was laid on as blotches. */
static void test_compressed(void **state)
{
    (void)state;
    const struct made_grain made = { { 1e-4, 1e-5 }, 0, 0, 0 };
    struct picture picture = grainy(&made, 0, 9);
    static float own[WIDTH * HEIGHT], drawn[WIDTH * HEIGHT], room[12 * (WIDTH + 2)];
    for (int c = 0; c < 3; c++) {
        for (int y = 0; y + 1 < HEIGHT; y += 2) {
            float *above = picture_row(&picture, (enum plane)c, y),
                  *below = picture_row(&picture, (enum plane)c, y + 1);
            for (int x = 0; x + 1 < WIDTH; x += 2) {
                const float off = 0.25F * (above[x] - above[x + 1] - below[x] + below[x + 1]);
                above[x] -= off;
                above[x + 1] += off;
                below[x] += off;
                below[x + 1] -= off;
            }
        }
    }
    for (int y = 0; y < HEIGHT; y++)
        memcpy(own + (ptrdiff_t)y * WIDTH, picture_row(&picture, PLANE_R, y), WIDTH * sizeof *own);
    const struct grain grain = measured(&picture);
    for (int y = 0; y < HEIGHT; y++) {
        float *const out[3] = { drawn + y * WIDTH, NULL, NULL };
        const float *const light[3] = { own + y * WIDTH, own + y * WIDTH, own + y * WIDTH };
        grain_row(&grain, 5, 0, y, WIDTH, light, out, room);
    }
    for (int size = 1; size <= 2; size++) {
        const double times = sqrt(detail_at(drawn, WIDTH, HEIGHT, size) / detail_at(own, WIDTH, HEIGHT, size));
        print_message("compressed, means of %d by %d: drawn %.2f of what there is\n", size, size, times);
        assert_true(fabs(times - 1) < 0.08);
    }
    picture_release(&picture);
}

/* Waves everywhere leave no quiet block: their slow change is no grain. */
static void test_waves(void **state)
{
    (void)state;
    const struct made_grain made = { { 1e-4, 1e-5 }, 0, 0, 0 };
    check(&made, 0.3, 0.2);
}

/* The same wherever a row is cut; another seed, other grain. */
static void test_place(void **state)
{
    (void)state;
    const struct made_grain made = { { 1e-4, 1e-5 }, 0.3, 0.15, 0.4 };
    struct picture picture = grainy(&made, 0, 9);
    const struct grain grain = measured(&picture);
    float light[64], whole[3][64], part[3][64], room[12 * 66];
    for (int i = 0; i < 64; i++)
        light[i] = 0.01F * (float)i;
    const float *const in[3] = { light, light, light }, *const rest[3] = { light + 20, light + 20, light + 20 };
    float *const out[3] = { whole[0], whole[1], whole[2] }, *const tail[3] = { part[0], part[1], NULL };
    grain_row(&grain, 3, -7, 11, 64, in, out, room);
    grain_row(&grain, 3, 13, 11, 44, rest, tail, room);
    for (int c = 0; c < 2; c++)
        assert_memory_equal(whole[c] + 20, part[c], 44 * sizeof(float));
    grain_row(&grain, 4, 13, 11, 44, rest, tail, room);
    assert_true(memcmp(whole[0] + 20, part[0], 44 * sizeof(float)) != 0);
    picture_release(&picture);
}

static enum passel_status measure_once(void *data)
{
    const struct picture *picture = data;
    struct grain grain;
    return grain_measure(&grain, picture, NULL, &picture->area, 1, NULL);
}

static void test_no_memory(void **state)
{
    (void)state;
    const struct made_grain made = { { 1e-4, 1e-5 }, 0, 0, 0 };
    struct picture picture = grainy(&made, 0, 9);
    assert_true(fail_memory_each(measure_once, &picture) > 1);
    picture_release(&picture);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_white), cmocka_unit_test(test_soft),  cmocka_unit_test(test_compressed),
        cmocka_unit_test(test_waves), cmocka_unit_test(test_place), cmocka_unit_test(test_no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
