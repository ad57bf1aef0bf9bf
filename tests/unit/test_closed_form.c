/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Closed-form matting: its Laplacian against published code's, its solution against elimination, and the number of
 * steps as pictures grow.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "fail_memory.h"
#include "numerics/closed_form.h"
#include "pattern.h"

/* source: pymatting (MIT licence) at revision 35c4159, cf_laplacian of this 4 x 4 picture with epsilon 1e-5, radius 1;
 * computed with its code and numpy */
static const double colours[16][3] = { { 0.2, 0.7, 0.3 },   { 0.35, 0.7, 0.55 }, { 0.5, 0.7, 0.45 },
                                       { 0.65, 0.7, 0.35 }, { 0.22, 0.6, 0.45 }, { 0.37, 0.6, 0.35 },
                                       { 0.52, 0.6, 0.6 },  { 0.67, 0.6, 0.5 },  { 0.24, 0.5, 0.6 },
                                       { 0.39, 0.5, 0.5 },  { 0.54, 0.5, 0.4 },  { 0.69, 0.5, 0.3 },
                                       { 0.26, 0.4, 0.4 },  { 0.41, 0.4, 0.3 },  { 0.56, 0.4, 0.55 },
                                       { 0.71, 0.4, 0.45 } };
static const double laplacian[16][16] = {
    { 0.388928364, -0.111108897, -0.111102806, 0.0, -0.277769418, -0.277763327, 0.222199412, 0.0, 0.0555328,
      0.055538891, 0.055544982, 0.0, 0.0, 0.0, 0.0, 0.0 },
    { -0.111108897, 1.088984214, -0.544384257, -0.066652612, -0.111114038, -0.144467816, -0.477743724, -6.938e-06,
      -0.111119179, -0.077827283, 0.288804246, 0.266636284, 0.0, 0.0, 0.0, 0.0 },
    { -0.111102806, -0.544384257, 1.272300773, -0.299961014, 0.055539014, -0.261107835, -0.344435959, -0.083339567,
      0.222180835, 0.122155432, -0.061159537, 0.033314922, 0.0, 0.0, 0.0, 0.0 },
    { 0.0, -0.066652612, -0.299961014, 0.466730583, 0.0, -0.099986856, 0.066636207, -0.166672196, 0.0, 0.266610365,
      0.033301962, -0.20000644, 0.0, 0.0, 0.0, 0.0 },
    { -0.277769418, -0.111114038, 0.055539014, 0.0, 1.273552028, -0.418771306, -0.034189348, 0.0, -0.521350412,
      -0.213673746, 0.09400292, 0.0, -0.115399833, 0.02562378, 0.243550358, 0.0 },
    { -0.277763327, -0.144467816, -0.261107835, -0.099986856, -0.418771306, 2.133971051, -0.00090911, 0.160221346,
      0.18370079, -0.554707427, -0.812326353, -0.215358409, 0.025604413, -0.371802792, 0.410153274, 0.243550358 },
    { 0.222199412, -0.477743724, -0.344435959, 0.066636207, -0.034189348, -0.00090911, 2.050606163, -0.64095883,
      -0.226501781, -0.695709428, -0.421384021, 0.194835609, 0.24354751, 0.410186312, -0.371802792, 0.02562378 },
    { 0.0, -6.938e-06, -0.083339567, -0.166672196, 0.0, 0.160221346, -0.64095883, 1.134704295, 0.0, 0.038436809,
      -0.185900066, -0.410236941, 0.0, 0.24354751, 0.025604413, -0.115399833 },
    { 0.0555328, -0.111119179, 0.222180835, 0.0, -0.521350412, 0.18370079, -0.226501781, 0.0, 0.837717116, -0.457231683,
      0.247819518, 0.0, -0.243566596, 0.128184592, -0.115366, 0.0 },
    { 0.055538891, -0.077827283, 0.122155432, 0.266610365, -0.213673746, -0.554707427, -0.695709428, 0.038436809,
      -0.457231683, 2.781303247, -0.698237796, 0.125616898, -0.10256235, -0.243585466, -0.38458374, 0.038457277 },
    { 0.055544982, 0.288804246, -0.061159537, 0.033301962, 0.09400292, -0.812326353, -0.421384021, -0.185900066,
      0.247819518, -0.698237796, 2.631322179, -0.479455652, 0.038441896, -0.384603108, -0.243604834, -0.102566337 },
    { 0.0, 0.266636284, 0.033314922, -0.20000644, 0.0, -0.215358409, 0.194835609, -0.410236941, 0.0, 0.125616898,
      -0.479455652, 0.915471798, 0.0, -0.115389355, 0.128161237, -0.243589951 },
    { 0.0, 0.0, 0.0, 0.0, -0.115399833, 0.025604413, 0.24354751, 0.0, -0.243566596, -0.10256235, 0.038441896, 0.0,
      0.551327791, -0.307667963, -0.089724866, 0.0 },
    { 0.0, 0.0, 0.0, 0.0, 0.02562378, -0.371802792, 0.410186312, 0.24354751, 0.128184592, -0.243585466, -0.384603108,
      -0.115389355, -0.307667963, 0.961625114, -0.256385783, -0.089732841 },
    { 0.0, 0.0, 0.0, 0.0, 0.243550358, 0.410153274, -0.371802792, 0.025604413, -0.115366, -0.38458374, -0.243604834,
      0.128161237, -0.089724866, -0.256385783, 0.961658152, -0.307659419 },
    { 0.0, 0.0, 0.0, 0.0, 0.0, 0.243550358, 0.02562378, -0.115399833, 0.0, 0.038457277, -0.102566337, -0.243589951, 0.0,
      -0.089732841, -0.307659419, 0.551316967 }
};

static void laplacian_as_published(void **state)
{
    (void)state;
    const struct rect area = rect_of(-1, 2, 3, 6);
    struct picture guide = pattern_picture(area, HAS_RGB, 1), one = pattern_picture(area, HAS_A, 1);
    struct picture out = pattern_picture(area, HAS_A, 2);
    for (int i = 0; i < 16; i++) {
        for (int c = 0; c < 3; c++)
            picture_row(&guide, (enum plane)c, 2 + i / 4)[i % 4] = (float)colours[i][c];
    }
    for (int i = 0; i < 16; i++) {
        picture_fill(&one, PLANE_A, area, 0);
        picture_row(&one, PLANE_A, 2 + i / 4)[i % 4] = 1;
        assert_int_equal(closed_form_apply(&out, &one, &guide, 1e-5F, NULL), PASSEL_OK);
        for (int k = 0; k < 16; k++)
            assert_true(fabs((double)picture_row(&out, PLANE_A, 2 + k / 4)[k % 4] - laplacian[k][i]) < 1e-5);
    }
    picture_release(&guide);
    picture_release(&one);
    picture_release(&out);
}

/* Elimination with pivots. */
static void eliminate(double *matrix, double *right, int count)
{
    for (int k = 0; k < count; k++) {
        int pivot = k;
        for (int i = k + 1; i < count; i++)
            pivot = fabs(matrix[i * count + k]) > fabs(matrix[pivot * count + k]) ? i : pivot;
        for (int j = 0; j < count; j++) {
            const double held = matrix[k * count + j];
            matrix[k * count + j] = matrix[pivot * count + j];
            matrix[pivot * count + j] = held;
        }
        const double held = right[k];
        right[k] = right[pivot];
        right[pivot] = held;
        for (int i = 0; i < count; i++) {
            const double share = i == k ? 0 : matrix[i * count + k] / matrix[k * count + k];
            for (int j = k; j < count; j++)
                matrix[i * count + j] -= share * matrix[k * count + j];
            right[i] -= share * right[k];
        }
    }
    for (int k = 0; k < count; k++)
        right[k] /= matrix[k * count + k];
}

enum { WIDTH = 18, HEIGHT = 15, PIXELS = WIDTH * HEIGHT };

static void solution_by_elimination(void **state)
{
    (void)state;
    const struct rect area = rect_of(0, 0, WIDTH, HEIGHT);
    struct picture guide = pattern_picture(area, HAS_RGB, 4), matte = pattern_picture(area, HAS_A, 5);
    struct picture one = pattern_picture(area, HAS_A, 1), out = pattern_picture(area, HAS_A, 2);
    uint8_t unknown[PIXELS];
    int index[PIXELS], count = 0;
    for (int i = 0; i < PIXELS; i++) {
        const int x = i % WIDTH, y = i / WIDTH;
        unknown[i] = x > 4 && x < 13 && (y > 2 || x < 9); /* down to the edge of the picture */
        index[i] = unknown[i] ? count++ : -1;
        picture_row(&matte, PLANE_A, y)[x] = unknown[i] ? 0.5F : x < 9 ? 1 : 0;
        for (int c = 0; c < 3; c++) { /* two colours that meet slowly, and some noise */
            float *v = picture_row(&guide, (enum plane)c, y) + x;
            *v = 0.3F + 0.3F * (float)(c - 1) * (float)(x - 9) / 9 + 0.05F * *v;
        }
    }
    double *matrix = calloc((size_t)count * (size_t)count, sizeof *matrix);
    double *right = calloc((size_t)count, sizeof *right);
    assert_non_null(matrix);
    assert_non_null(right);
    for (int i = 0; i < PIXELS; i++) {
        picture_fill(&one, PLANE_A, area, 0);
        picture_row(&one, PLANE_A, i / WIDTH)[i % WIDTH] = 1;
        assert_int_equal(closed_form_apply(&out, &one, &guide, 1e-4F, NULL), PASSEL_OK);
        for (int k = 0; k < PIXELS; k++) {
            const double value = (double)picture_row(&out, PLANE_A, k / WIDTH)[k % WIDTH];
            if (index[k] >= 0 && index[i] >= 0)
                matrix[index[k] * count + index[i]] = value;
            else if (index[k] >= 0)
                right[index[k]] -= value * (double)picture_row(&matte, PLANE_A, i / WIDTH)[i % WIDTH];
        }
    }
    eliminate(matrix, right, count);
    struct picture known = pattern_picture(area, HAS_A, 1);
    picture_copy(&known, &matte);
    assert_int_equal(closed_form_solve(&matte, &guide, unknown, 1e-4F, NULL, NULL), PASSEL_OK);
    for (int i = 0; i < PIXELS; i++) {
        const double made = (double)picture_row(&matte, PLANE_A, i / WIDTH)[i % WIDTH];
        if (index[i] >= 0)
            assert_true(fabs(made - fmin(fmax(right[index[i]], 0), 1)) < 1e-3);
        else
            assert_true(made == (double)picture_row(&known, PLANE_A, i / WIDTH)[i % WIDTH]);
    }
    free(matrix);
    free(right);
    picture_release(&known);
    picture_release(&guide);
    picture_release(&matte);
    picture_release(&one);
    picture_release(&out);
}

/* A soft disc of one colour before a field of another, everything unknown but its middle and the rim of the picture:
 * alpha is an affine function of colour, so it is found, and the steps hardly grow with the picture. */
static int disc_steps(int32_t size, double *worst)
{
    const struct rect area = rect_of(0, 0, size, size);
    struct picture guide = pattern_picture(area, HAS_RGB, 6), matte = pattern_picture(area, HAS_A, 5);
    uint8_t *unknown = calloc((size_t)size, (size_t)size);
    int steps;
    assert_non_null(unknown);
    for (int pass = 0; pass < 2; pass++) {
        *worst = 0;
        for (int32_t y = 0; y < size; y++) {
            for (int32_t x = 0; x < size; x++) {
                const double r = hypot(x - size / 2.0, y - size / 2.0) / size;
                const double alpha = fmin(fmax((0.34 - r) / 0.18, 0), 1);
                float *a = picture_row(&matte, PLANE_A, y) + x;
                if (pass == 1) {
                    *worst = fmax(*worst, fabs((double)*a - alpha));
                    continue;
                }
                unknown[y * size + x] = r > 0.1 && r < 0.42;
                *a = unknown[y * size + x] ? 0.5F : (float)alpha;
                for (int c = 0; c < 3; c++) {
                    float *v = picture_row(&guide, (enum plane)c, y) + x;
                    const double behind = 0.2 + 0.1 * c + 0.002 * (double)*v, before = 0.6 - 0.15 * c;
                    *v = (float)(alpha * before + (1 - alpha) * behind);
                }
            }
        }
        if (pass == 0)
            assert_int_equal(closed_form_solve(&matte, &guide, unknown, 1e-6F, &steps, NULL), PASSEL_OK);
    }
    free(unknown);
    picture_release(&guide);
    picture_release(&matte);
    return steps;
}

static void steps_hardly_grow(void **state)
{
    (void)state;
    double worst[3];
    const int steps[3] = { disc_steps(64, &worst[0]), disc_steps(128, &worst[1]), disc_steps(256, &worst[2]) };
    print_message("steps %d %d %d; alpha off by at most %.3f %.3f %.3f\n", steps[0], steps[1], steps[2], worst[0],
                  worst[1], worst[2]);
    /* The larger the disc, the less alpha changes from pixel to pixel beside the noise: that limits the rest. */
    assert_true(worst[0] < 0.02 && worst[1] < 0.05 && worst[2] < 0.1);
    assert_true(steps[2] <= 2 * steps[0]);
}

/* Strands a pixel or two wide, every second one light, before a field that changes slowly; noise of `sigma` and of seed
 * `seed`. The bulk they grow from and the field beyond their tips are known. Returns the rms error of alpha. With an
 * epsilon of 1e-7 it was 0.5: the slow change of the field explained any alpha. */
static double strand_error(double sigma, unsigned seed)
{
    enum { SIDE = 96 };
    const struct rect area = rect_of(0, 0, SIDE, SIDE);
    struct picture guide = pattern_picture(area, HAS_RGB, seed), matte = pattern_picture(area, HAS_A, 5);
    float truth[SIDE * SIDE];
    uint8_t unknown[SIDE * SIDE];
    double sum = 0;
    int count = 0;
    for (int i = 0; i < SIDE * SIDE; i++) {
        const int x = i % SIDE, y = i / SIDE;
        const double lane = (x + 3 * sin(0.11 * y)) / 8, strand = lane - floor(lane) - 0.5;
        const double wide = 0.9 * (1 - (y - 24) / 60.0);
        const double alpha = y < 24 ? 1 : y > 84 ? 0 : fmin(fmax(wide + 0.5 - fabs(8 * strand), 0), 1);
        const double tone = (int)floor(lane) % 2 == 0 ? 0.25 : 0.6;
        truth[i] = (float)alpha;
        unknown[i] = y >= 20 && y < 90;
        picture_row(&matte, PLANE_A, y)[x] = unknown[i] ? 0.5F : (float)alpha;
        for (int c = 0; c < 3; c++) {
            float *v = picture_row(&guide, (enum plane)c, y) + x;
            const double behind = 0.1 + 0.15 * c + 0.001 * y, noise = sigma * 3.4641 * ((double)*v - 0.5);
            *v = (float)(alpha * tone * (1 - 0.25 * c) + (1 - alpha) * behind + noise);
        }
    }
    assert_int_equal(closed_form_solve(&matte, &guide, unknown, 3e-6F, NULL, NULL), PASSEL_OK);
    for (int i = 0; i < SIDE * SIDE; i++) {
        const double off = (double)(picture_row(&matte, PLANE_A, i / SIDE)[i % SIDE] - truth[i]);
        sum += off * off;
        count += unknown[i];
    }
    picture_release(&guide);
    picture_release(&matte);
    return sqrt(sum / count);
}

static void strands_in_noise(void **state)
{
    (void)state;
    static const double sigmas[3] = { 0.0005, 0.002, 0.008 };
    for (unsigned seed = 11; seed < 14; seed++) {
        double error[3];
        for (int k = 0; k < 3; k++)
            error[k] = strand_error(sigmas[k], seed);
        print_message("strands, seed %u: rms %.4f %.4f %.4f\n", seed, error[0], error[1], error[2]);
        assert_true(error[0] < 0.04 && error[1] < 0.05 && error[2] < 0.07);
    }
}

struct pair {
    struct picture guide, matte;
};

static enum passel_status solve_again(void *data)
{
    const struct pair *pair = data;
    uint8_t unknown[24 * 24] = { 0 };
    memset(unknown + 24 * 8, 1, 24 * 6);
    return closed_form_solve(&pair->matte, &pair->guide, unknown, 1e-4F, NULL, NULL);
}

static void survives_no_memory(void **state)
{
    (void)state;
    const struct rect area = rect_of(0, 0, 24, 24);
    struct pair pair = { pattern_picture(area, HAS_RGB, 1), pattern_picture(area, HAS_A, 2) };
    assert_true(fail_memory_each(solve_again, &pair) > 20);
    picture_release(&pair.guide);
    picture_release(&pair.matte);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(laplacian_as_published), cmocka_unit_test(solution_by_elimination),
        cmocka_unit_test(steps_hardly_grow),      cmocka_unit_test(strands_in_noise),
        cmocka_unit_test(survives_no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
