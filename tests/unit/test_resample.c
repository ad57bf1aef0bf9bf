/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/* Resampling: kernels, the spline's coefficients, accuracy, borders, and the same bits from any strip. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "fail_memory.h"
#include "pattern.h"
#include "picture/geometry.h"
#include "picture/kernel.h"

static const enum filter filters[] = { FILTER_NEAREST, FILTER_LINEAR, FILTER_MITCHELL, FILTER_LANCZOS, FILTER_SPLINE };
#define FILTERS 5

static void assert_near(double a, double b, double tolerance)
{
    if (!(fabs(a - b) <= tolerance))
        fail_msg("%.9g is not %.9g within %g", a, b, tolerance);
}

/* Output → input: turned by `degrees`, `across` and `down` times as large, about (x, y), then moved a little. */
static struct transform turned(double degrees, double across, double down, double x, double y)
{
    const double angle = degrees * acos(-1) / 180, c = degrees == 0 ? 1 : cos(angle), s = degrees == 0 ? 0 : sin(angle);
    const double xx = c / across, xy = s / across, yx = -s / down, yy = c / down;
    const struct transform t = { { xx, xy, x - xx * x - xy * y + 0.37, yx, yy, y - yx * x - yy * y + 0.21, 0, 0, 1 } };
    return t;
}

static struct transform in_perspective(void)
{
    const struct transform t = { { 1.1, 0.2, -3, -0.1, 0.9, 4, 0.002, 0.012, 1 } };
    return t;
}

/* Fills `out` from all of `in`, of which a copy is turned into coefficients where that is wanted. */
static void resample(const struct picture *out, const struct picture *in, bool hold, const struct transform *t,
                     enum filter filter)
{
    struct picture copy;
    assert_int_equal(picture_new(&copy, in->area, picture_planes(in), NULL), PASSEL_OK);
    picture_copy(&copy, in);
    if (transform_wants_spline(t, filter))
        assert_int_equal(spline_prepare(&copy, NULL), PASSEL_OK);
    assert_int_equal(picture_resample(out, &copy, in->area, hold, t, filter, NULL), PASSEL_OK);
    picture_release(&copy);
}

static struct picture resampled(struct rect area, const struct picture *in, bool hold, const struct transform *t,
                                enum filter filter)
{
    struct picture out = pattern_picture(area, picture_planes(in), 99);
    resample(&out, in, hold, t, filter);
    return out;
}

/* ---- kernels ----------------------------------------------------------------------------------------------------- */

static enum filter filter_of_row(const char *line)
{
    return strncmp(line, "mitchell", 8) == 0   ? FILTER_MITCHELL
           : strncmp(line, "lanczos3", 8) == 0 ? FILTER_LANCZOS
                                               : FILTER_LINEAR;
}

static FILE *open_reference(const char *name)
{
    char path[1024];
    snprintf(path, sizeof path, "%s/tests/reference/%s", PASSEL_SOURCE_DIR, name);
    FILE *file = fopen(path, "r");
    assert_non_null(file);
    return file;
}

static void test_published_kernels(void **state)
{
    (void)state;
    FILE *file = open_reference("picture_kernels.csv");
    char line[256];
    int rows = 0;
    while (fgets(line, sizeof line, file) != NULL) {
        double x, value;
        struct kernel kernel;
        if (line[0] == '#' || sscanf(strchr(line, ','), ",%lf,%lf", &x, &value) != 2)
            continue;
        kernel_init(&kernel, filter_of_row(line));
        assert_near(kernel_at(&kernel, &kernel.value, x), value, 1e-9);
        rows++;
    }
    fclose(file);
    assert_int_equal(rows, 30);
}

/* The taps are the kernel at the distances of the pixels, and add up to 1. */
static void test_taps(void **state)
{
    (void)state;
    for (int i = 1; i < FILTERS; i++) {
        struct kernel kernel;
        kernel_init(&kernel, filters[i]);
        for (double f = 0; f < 1; f += 1.0 / 64) {
            float weights[KERNEL_TAPS];
            double sum = 0, exact_sum = 0;
            int32_t first;
            kernel_weights(&kernel, 1, 7.5 + f, &first, weights);
            assert_int_equal(first, 7 - kernel.reach + 1);
            for (int k = 0; k < 2 * kernel.reach; k++)
                exact_sum += kernel_at(&kernel, &kernel.value, fabs(k - (kernel.reach - 1) - f));
            for (int k = 0; k < 2 * kernel.reach; k++) {
                const double exact = kernel_at(&kernel, &kernel.value, fabs(k - (kernel.reach - 1) - f));
                assert_near(weights[k], exact / exact_sum, 3e-7);
                sum += weights[k];
            }
            assert_near(sum, 1, 4e-7);
        }
    }
}

static void test_kernel_derivatives(void **state)
{
    (void)state;
    struct kernel kernel;
    kernel_init(&kernel, FILTER_SPLINE);
    for (double x = 0.01; x < 2.99; x += 0.0313) {
        const double h = 1e-4;
        const double before = kernel_at(&kernel, &kernel.value, x - h),
                     after = kernel_at(&kernel, &kernel.value, x + h);
        assert_near(kernel_at(&kernel, &kernel.slope, x), (after - before) / (2 * h), 1e-7);
        assert_near(kernel_at(&kernel, &kernel.bend, x),
                    (after - 2 * kernel_at(&kernel, &kernel.value, x) + before) / (h * h), 1e-6);
    }
}

#define SAMPLES 12

/* One row of samples resized through picture_resample, against the published values where no tap lies outside. */
static int check_resize(const char *line, const double *input)
{
    const enum filter filter = filter_of_row(line);
    int count = 0;
    char *rest;
    assert_int_equal(sscanf(strchr(line, ',') + 4, "%d", &count), 1);
    const double scale = (double)SAMPLES / count, reach = kernel_reach(filter) * fmax(scale, 1);
    const struct transform t = { { scale, 0, 0, 0, scale, 0, 0, 0, 1 } };
    struct picture in = pattern_picture(rect_of(0, 0, SAMPLES, 4), HAS_R, 1);
    for (int32_t y = 0; y < 4; y++)
        for (int i = 0; i < SAMPLES; i++)
            picture_row(&in, PLANE_R, y)[i] = (float)input[i];
    struct picture out = resampled(rect_of(0, 0, count, 1), &in, true, &t, filter);
    rest = strrchr(line, ',') + 1;
    int checked = 0;
    for (int i = 0; i < count; i++) {
        const double expected = strtod(rest, &rest), position = scale * (i + 0.5);
        if (position - reach < 0.49 || position + reach > SAMPLES - 0.49)
            continue;
        assert_near(pattern_at(&out, PLANE_R, i, 0), expected, 1e-6);
        checked++;
    }
    picture_release(&out);
    picture_release(&in);
    return checked;
}

static void test_published_resizing(void **state)
{
    (void)state;
    FILE *file = open_reference("picture_resize.csv");
    char line[1024];
    double input[SAMPLES];
    int checked = 0;
    while (fgets(line, sizeof line, file) != NULL) {
        char *rest = strrchr(line, ',') + 1;
        if (strncmp(line, "input", 5) == 0)
            for (int i = 0; i < SAMPLES; i++)
                input[i] = strtod(rest, &rest);
        else if (line[0] != '#' && strncmp(line, "filter", 6) != 0)
            checked += check_resize(line, input);
    }
    fclose(file);
    assert_true(checked > 80);
}

/* ---- the spline -------------------------------------------------------------------------------------------------- */

/* Coefficients c with (1 26 66 26 1)/120 * c = samples, mirrored at both ends, by Gaussian elimination in double: no
 * pole and no recursion in it. */
static void solve_coefficients(const double *samples, double *coefficients, int n)
{
    static double rows[64][65];
    static const double taps[5] = { 1, 26, 66, 26, 1 };
    memset(rows, 0, sizeof rows);
    for (int i = 0; i < n; i++) {
        for (int k = -2; k <= 2; k++) {
            int at = i + k;
            while (at < 0 || at >= n)
                at = at < 0 ? -1 - at : 2 * n - 1 - at;
            rows[i][at] += taps[k + 2] / 120;
        }
        rows[i][n] = samples[i];
    }
    for (int i = 0; i < n; i++)
        for (int j = 0; j < n; j++) {
            const double factor = rows[j][i] / rows[i][i];
            for (int k = i; j != i && k <= n; k++)
                rows[j][k] -= factor * rows[i][k];
        }
    for (int i = 0; i < n; i++)
        coefficients[i] = rows[i][n] / rows[i][i];
}

static void check_coefficients(int32_t width, int32_t height)
{
    struct picture picture = pattern_picture(rect_of(3, -2, 3 + width, -2 + height), HAS_G, 5);
    double grid[64][64], line[64], solved[64];
    for (int y = 0; y < height; y++) {
        for (int x = 0; x < width; x++)
            line[x] = pattern_at(&picture, PLANE_G, 3 + x, y - 2);
        solve_coefficients(line, grid[y], width);
    }
    assert_int_equal(spline_prepare(&picture, NULL), PASSEL_OK);
    for (int x = 0; x < width; x++) {
        for (int y = 0; y < height; y++)
            line[y] = grid[y][x];
        solve_coefficients(line, solved, height);
        for (int y = 0; y < height; y++)
            assert_near(pattern_at(&picture, PLANE_G, 3 + x, y - 2), solved[y], 3e-5);
    }
    picture_release(&picture);
}

static void test_spline_coefficients(void **state)
{
    (void)state;
    check_coefficients(1, 1);
    check_coefficients(2, 3);
    check_coefficients(5, 17);
    check_coefficients(37, 9);
    check_coefficients(48, 33);
}

static void test_spline_goes_through_the_pixels(void **state)
{
    (void)state;
    struct picture in = pattern_picture(rect_of(0, 0, 40, 30), HAS_RGBA, 3);
    const struct transform quarter = { { 0, 1, 0, -1, 0, 30, 0, 0, 1 } }; /* x_in = y_out, y_in = 30 - x_out */
    struct picture out = resampled(rect_of(0, 0, 30, 40), &in, false, &quarter, FILTER_SPLINE);
    for (int32_t y = 0; y < 40; y++)
        for (int32_t x = 0; x < 30; x++)
            for (int p = 0; p < PLANE_COUNT; p++)
                assert_near(pattern_at(&out, (enum plane)p, x, y), pattern_at(&in, (enum plane)p, y, 29 - x), 3e-6);
    picture_release(&out);
    picture_release(&in);
}

/* ---- accuracy ---------------------------------------------------------------------------------------------------- */

#define ZONE 256

/* Rings whose frequency grows from 0 in the middle to 1/2 a cycle per pixel at the sides. */
static double zone(double x, double y)
{
    const double dx = x - ZONE / 2.0, dy = y - ZONE / 2.0;
    return 0.5 + 0.5 * cos(acos(-1) / 2 / (ZONE / 2.0) * (dx * dx + dy * dy));
}

static struct picture zone_plate(void)
{
    struct picture picture = pattern_picture(rect_of(0, 0, ZONE, ZONE), HAS_G, 1);
    for (int32_t y = 0; y < ZONE; y++)
        for (int32_t x = 0; x < ZONE; x++)
            picture_row(&picture, PLANE_G, y)[x] = (float)zone(x + 0.5, y + 0.5);
    return picture;
}

/* Root mean square difference of a resampled zone plate from the true one (or, with `flat`, from its mean), where its
 * frequency in cycles per input pixel lies in [low, high). */
static double zone_error(const struct transform *t, enum filter filter, double low, double high, bool flat)
{
    struct picture in = zone_plate();
    struct picture out = resampled(in.area, &in, false, t, filter);
    double sum = 0;
    int count = 0;
    for (int32_t y = 0; y < ZONE; y++)
        for (int32_t x = 0; x < ZONE; x++) {
            double px, py;
            transform_point(t, x + 0.5, y + 0.5, &px, &py);
            const double frequency = hypot(px - ZONE / 2.0, py - ZONE / 2.0) / ZONE;
            if (frequency < low || frequency >= high)
                continue;
            const double difference = pattern_at(&out, PLANE_G, x, y) - (flat ? 0.5 : zone(px, py));
            sum += difference * difference;
            count++;
        }
    picture_release(&out);
    picture_release(&in);
    assert_true(count > 20);
    return sqrt(sum / count);
}

static void test_turned_zone_plate(void **state)
{
    (void)state;
    const struct transform t = turned(17, 1, 1, ZONE / 2.0, ZONE / 2.0);
    assert_true(zone_error(&t, FILTER_SPLINE, 0, 0.1, false) < 2e-6);
    assert_true(zone_error(&t, FILTER_SPLINE, 0.1, 0.2, false) < 1e-4);
    assert_true(zone_error(&t, FILTER_SPLINE, 0.2, 0.3, false) < 2e-3);
    for (double low = 0; low < 0.25; low += 0.1) {
        const double spline = zone_error(&t, FILTER_SPLINE, low, low + 0.1, false);
        const double lanczos = zone_error(&t, FILTER_LANCZOS, low, low + 0.1, false);
        const double mitchell = zone_error(&t, FILTER_MITCHELL, low, low + 0.1, false);
        assert_true(spline < lanczos / 5 && lanczos < mitchell);
    }
}

/* What is too fine for the smaller picture goes to its mean; what is not stays. Plain cubic taps (the widening left
 * out) would leave all of the rings: 0.35. */
static void test_reduced_zone_plate(void **state)
{
    (void)state;
    for (int turn = 0; turn <= 23; turn += 23) {
        const struct transform quarter = turned(turn, 0.25, 0.25, ZONE / 2.0, ZONE / 2.0);
        for (int i = 1; i < FILTERS; i++)
            assert_true(zone_error(&quarter, filters[i], 0.19, 0.45, true) < 0.01);
        assert_true(zone_error(&quarter, FILTER_SPLINE, 0, 0.05, false) < 0.025);
        assert_true(zone_error(&quarter, FILTER_LANCZOS, 0, 0.05, false) < 0.01);
        assert_true(zone_error(&quarter, FILTER_NEAREST, 0.19, 0.45, true) > 0.3);
    }
}

/* Smaller in one direction only, and that one slanting: it is averaged there, and stays as sharp across it. */
static void test_reduced_along_a_slanting_axis(void **state)
{
    (void)state;
    struct picture in = pattern_picture(rect_of(0, 0, 160, 160), HAS_R, 1);
    const struct transform t = turned(30, 0.25, 1, 80, 80);
    for (int along = 0; along < 2; along++) {
        /* stripes of 1/5 cycle per pixel, along or across the direction that shrinks (the input's x) */
        const double pi = acos(-1), fx = along ? 0.2 : 0, fy = along ? 0 : 0.2;
        for (int32_t y = 0; y < 160; y++)
            for (int32_t x = 0; x < 160; x++)
                picture_row(&in, PLANE_R, y)[x] = (float)cos(2 * pi * (fx * (x + 0.5) + fy * (y + 0.5)));
        struct picture out = resampled(rect_of(60, 60, 100, 100), &in, false, &t, FILTER_SPLINE);
        for (int32_t y = 70; y < 90; y++)
            for (int32_t x = 76; x < 84; x++) {
                double px, py;
                transform_point(&t, x + 0.5, y + 0.5, &px, &py);
                const double value = pattern_at(&out, PLANE_R, x, y);
                assert_near(value, along ? 0 : cos(2 * pi * fy * py), along ? 0.02 : 0.05);
            }
        picture_release(&out);
    }
    picture_release(&in);
}

/* The sharpness of the spline does not jump where a size passes 100%. */
static void test_no_jump_at_full_size(void **state)
{
    (void)state;
    struct picture in = pattern_picture(rect_of(0, 0, 64, 64), HAS_R, 8);
    for (int turn = 0; turn <= 30; turn += 30) {
        const struct transform larger = turned(turn, 1, 1, 32, 32), smaller = turned(turn, 0.9999, 0.99995, 32, 32);
        struct picture a = resampled(rect_of(16, 16, 48, 48), &in, false, &larger, FILTER_SPLINE);
        struct picture b = resampled(rect_of(16, 16, 48, 48), &in, false, &smaller, FILTER_SPLINE);
        for (int32_t y = 16; y < 48; y++)
            for (int32_t x = 16; x < 48; x++)
                assert_near(pattern_at(&a, PLANE_R, x, y), pattern_at(&b, PLANE_R, x, y), 0.01);
        picture_release(&a);
        picture_release(&b);
    }
    picture_release(&in);
}

/* A picture whose values are its positions shows where a homography leads. */
static void test_homography_leads_there(void **state)
{
    (void)state;
    const struct transform t = in_perspective();
    struct picture in = pattern_picture(rect_of(0, 0, 90, 90), HAS_R | HAS_G, 1);
    for (int32_t y = 0; y < 90; y++)
        for (int32_t x = 0; x < 90; x++) {
            picture_row(&in, PLANE_R, y)[x] = (float)(x + 0.5);
            picture_row(&in, PLANE_G, y)[x] = (float)(y + 0.5);
        }
    for (int i = 1; i < FILTERS; i++) {
        struct picture out = resampled(rect_of(10, 5, 50, 40), &in, false, &t, filters[i]);
        for (int32_t y = 5; y < 40; y++)
            for (int32_t x = 10; x < 50; x++) {
                double px, py;
                transform_point(&t, x + 0.5, y + 0.5, &px, &py);
                const double inside = fmin(fmin(px, 90 - px), fmin(py, 90 - py));
                if (inside < 8)
                    continue;
                assert_near(pattern_at(&out, PLANE_R, x, y), px, 0.02);
                assert_near(pattern_at(&out, PLANE_G, x, y), py, 0.02);
            }
        picture_release(&out);
    }
    picture_release(&in);
}

/* ---- borders ----------------------------------------------------------------------------------------------------- */

static const struct transform *cases(int *count)
{
    static struct transform all[7];
    all[0] = turned(0, 1.3, 0.8, 20, 15);
    all[1] = turned(0, 0.21, 0.33, 20, 15);
    all[2] = turned(27, 1, 1, 20, 15);
    all[3] = turned(-64, 0.37, 0.37, 20, 15);
    all[4] = turned(12, 0.4, 1.1, 20, 15);
    all[5] = in_perspective();
    all[6] = (struct transform){ { -1, 0, 40.5, 0, 1, 0.25, 0, 0, 1 } }; /* mirrored */
    *count = 7;
    return all;
}

/* A picture of one colour keeps it to its very border: colour and alpha fall together, by the covered share. */
static void test_no_fringe(void **state)
{
    (void)state;
    int count;
    const struct transform *all = cases(&count);
    struct picture in = pattern_picture(rect_of(0, 0, 40, 30), HAS_RGBA, 1);
    const float colour[4] = { 0.75f, 0.1f, 3, 0.5f };
    for (int p = 0; p < PLANE_COUNT; p++)
        picture_fill(&in, (enum plane)p, in.area, colour[p]);
    for (int c = 0; c < count; c++)
        for (int i = 0; i < FILTERS; i++) {
            struct picture out = resampled(rect_of(-30, -30, 90, 70), &in, false, &all[c], filters[i]);
            double area = 0;
            for (int32_t y = -30; y < 70; y++)
                for (int32_t x = -30; x < 90; x++) {
                    const double share = pattern_at(&out, PLANE_A, x, y) / colour[PLANE_A];
                    area += share;
                    assert_true(share >= 0 && share <= 1.000001);
                    for (int p = 0; p < 3; p++)
                        assert_near(pattern_at(&out, (enum plane)p, x, y), colour[p] * share, 4e-6);
                }
            struct transform forward;
            assert_true(transform_invert(all[c], &forward));
            if (all[c].m[6] == 0 && filters[i] != FILTER_NEAREST)
                assert_near(area, 1200 * fabs(forward.m[0] * forward.m[4] - forward.m[1] * forward.m[3]), 0.01);
            picture_release(&out);
        }
    picture_release(&in);
}

/* With a held edge nothing is transparent, and far outside the nearest edge pixel stands. */
static void test_held_edge(void **state)
{
    (void)state;
    struct picture in = pattern_picture(rect_of(0, 0, 12, 9), HAS_R, 4);
    const struct transform t = { { 1, 0, 0.3, 0, 1, 0.4, 0, 0, 1 } };
    const struct transform slanting = turned(0.01, 1, 1, 6, 4);
    for (int i = 1; i < FILTERS; i++)
        for (int k = 0; k < 2; k++) {
            struct picture out = resampled(rect_of(-40, -40, 50, 50), &in, true, k ? &slanting : &t, filters[i]);
            assert_near(pattern_at(&out, PLANE_R, -30, -30), pattern_at(&in, PLANE_R, 0, 0), 1e-6);
            assert_near(pattern_at(&out, PLANE_R, 45, -20), pattern_at(&in, PLANE_R, 11, 0), 1e-6);
            assert_near(pattern_at(&out, PLANE_R, 45, 45), pattern_at(&in, PLANE_R, 11, 8), 1e-6);
            assert_near(pattern_at(&out, PLANE_R, -30, 45), pattern_at(&in, PLANE_R, 0, 8), 1e-6);
            picture_release(&out);
        }
    picture_release(&in);
}

static void test_whole_pixels_copy_bits(void **state)
{
    (void)state;
    struct picture in = pattern_picture(rect_of(-3, 2, 30, 25), HAS_RGBA, 6);
    const struct transform t = { { 1, 0, -7, 0, 1, 4, 0, 0, 1 } }; /* x_in = x - 7, y_in = y + 4 */
    for (int i = 0; i < FILTERS; i++)
        for (int hold = 0; hold < 2; hold++) {
            struct picture out = resampled(rect_of(-5, -9, 44, 30), &in, hold, &t, filters[i]);
            for (int32_t y = -9; y < 30; y++)
                for (int32_t x = -5; x < 44; x++)
                    for (int p = 0; p < PLANE_COUNT; p++) {
                        const int32_t wx = x - 7, wy = y + 4;
                        const int32_t hx = wx < -3 ? -3 : wx > 29 ? 29 : wx, hy = wy < 2 ? 2 : wy > 24 ? 24 : wy;
                        const bool inside = hx == wx && hy == wy;
                        const float expected = inside || hold ? pattern_at(&in, (enum plane)p, hx, hy) : 0;
                        assert_true(pattern_at(&out, (enum plane)p, x, y) == expected);
                    }
            picture_release(&out);
        }
    picture_release(&in);
}

/* An input without alpha is opaque: its coverage becomes the alpha. */
static void test_missing_planes(void **state)
{
    (void)state;
    const struct transform all[] = { { { 1, 0, 0.25, 0, 1, 0, 0, 0, 1 } },
                                     turned(31, 1, 1, 8, 8),
                                     { { 1, 0, 3, 0, 1, 0, 0, 0, 1 } } };
    struct picture in = pattern_picture(rect_of(0, 0, 16, 16), HAS_G, 2);
    for (int k = 0; k < 3; k++)
        for (int i = 0; i < FILTERS; i++) {
            struct picture out = pattern_picture(rect_of(-4, -4, 20, 20), HAS_RGBA, 9);
            resample(&out, &in, false, &all[k], filters[i]);
            assert_true(pattern_at(&out, PLANE_A, 8, 8) == 1);
            assert_true(pattern_at(&out, PLANE_A, -4, -4) == 0 && pattern_at(&out, PLANE_G, -4, -4) == 0);
            assert_true(pattern_at(&out, PLANE_R, 8, 8) == 0);
            picture_release(&out);
        }
    picture_release(&in);
}

static void test_nothing_to_read(void **state)
{
    (void)state;
    struct picture in = pattern_picture(rect_of(0, 0, 8, 8), HAS_R, 1);
    struct picture out = pattern_picture(rect_of(100, 100, 104, 104), HAS_R, 2);
    const struct transform t = turned(10, 1, 1, 4, 4);
    const struct picture none = picture_part(&in, rect_of(0, 0, 0, 0));
    assert_int_equal(picture_resample(&out, &none, in.area, false, &t, FILTER_LANCZOS, NULL), PASSEL_OK);
    for (int32_t y = 100; y < 104; y++)
        for (int32_t x = 100; x < 104; x++)
            assert_true(pattern_at(&out, PLANE_R, x, y) == 0);
    picture_release(&out);
    picture_release(&in);
}

/* ---- the same bits ----------------------------------------------------------------------------------------------- */

/* Fills `part` of the output from no more of the input than the contract promises. */
static void resample_part(const struct picture *whole, struct rect part, const struct picture *in, bool hold,
                          const struct transform *t, enum filter filter)
{
    const struct rect reach = transform_reach_in(t, filter, part);
    struct rect held = hold ? reach_held(reach, in->area) : rect_cut(reach, in->area);
    if (transform_wants_spline(t, filter))
        held = in->area;
    struct picture cut = { .area = { 0 } };
    assert_int_equal(picture_new(&cut, held, HAS_R | HAS_A, NULL), PASSEL_OK);
    picture_copy(&cut, in);
    struct picture out = pattern_picture(part, HAS_R | HAS_A, 77);
    assert_int_equal(picture_resample(&out, &cut, in->area, hold, t, filter, NULL), PASSEL_OK);
    pattern_assert_same(&out, whole, PLANE_R);
    pattern_assert_same(&out, whole, PLANE_A);
    picture_release(&out);
    picture_release(&cut);
}

static void check_parts(const struct picture *in, bool hold, const struct transform *t, enum filter filter)
{
    const struct rect area = rect_of(-12, -9, 55, 42);
    struct picture whole = pattern_picture(area, HAS_R | HAS_A, 55);
    struct picture source = pattern_picture(in->area, HAS_R | HAS_A, 0);
    picture_copy(&source, in);
    if (transform_wants_spline(t, filter))
        assert_int_equal(spline_prepare(&source, NULL), PASSEL_OK);
    assert_int_equal(picture_resample(&whole, &source, in->area, hold, t, filter, NULL), PASSEL_OK);
    for (int32_t y = area.y0; y < area.y1; y += 13)
        for (int32_t x = area.x0; x < area.x1; x += 19)
            resample_part(&whole, rect_cut(area, rect_of(x, y, x + 19, y + 13)), &source, hold, t, filter);
    picture_release(&source);
    picture_release(&whole);
}

static void test_same_bits_from_any_part(void **state)
{
    (void)state;
    int count;
    const struct transform *all = cases(&count);
    struct picture in = pattern_picture(rect_of(-2, 1, 41, 33), HAS_R | HAS_A, 12);
    for (int c = 0; c < count; c++)
        for (int i = 0; i < FILTERS; i++)
            for (int hold = 0; hold < 2; hold++)
                check_parts(&in, hold, &all[c], filters[i]);
    const struct transform shift = { { 1, 0, 5, 0, 1, -3, 0, 0, 1 } };
    check_parts(&in, false, &shift, FILTER_SPLINE);
    check_parts(&in, true, &shift, FILTER_SPLINE);
    picture_release(&in);
}

/* Transforms that no recipe is likely to want: tiny, huge, singular, through the horizon. Nothing but numbers of the
 * input's size comes out, and nothing is read outside of what the contract promises. */
static void test_extreme_transforms(void **state)
{
    (void)state;
    struct picture in = pattern_picture(rect_of(-3, -2, 20, 15), HAS_R | HAS_A, 3);
    for (int n = 0; n < 400; n++) {
        double r[10];
        for (int i = 0; i < 10; i++)
            r[i] = 2 * pattern_noise((uint32_t)n, i, 0) - 1;
        const double size = pow(10, n % 3 == 0 ? 4 * r[9] : r[9]), far = n % 4 == 0 ? 0.1 : 0;
        struct transform t = { { r[0] * size, r[1] * size, r[2] * 20, r[3] * size, r[4] * size, r[5] * 20, far * r[6],
                                 far * r[7], 1 } };
        if (n % 5 == 0)
            t.m[1] = t.m[3] = 0;
        if (n % 37 == 0)
            t.m[0] = t.m[1] = 0;
        const bool hold = n & 1;
        const enum filter filter = filters[n / 2 % (FILTERS - 1)]; /* all but the spline, which reads everything */
        const struct rect area = rect_of(-9, -7, 8, 10), reach = transform_reach_in(&t, filter, area);
        struct picture cut = pattern_picture(hold ? reach_held(reach, in.area) : rect_cut(reach, in.area), HAS_R, 1);
        struct picture out = pattern_picture(area, HAS_R, 2);
        picture_copy(&cut, &in);
        assert_int_equal(picture_resample(&out, &cut, in.area, hold, &t, filter, NULL), PASSEL_OK);
        for (int32_t y = area.y0; y < area.y1; y++)
            for (int32_t x = area.x0; x < area.x1; x++)
                assert_true(fabsf(pattern_at(&out, PLANE_R, x, y)) < 4);
        picture_release(&out);
        picture_release(&cut);
    }
    picture_release(&in);
}

/* ---- memory ------------------------------------------------------------------------------------------------------ */

struct attempt {
    const struct picture *in, *out;
    const struct transform *t;
};

static enum passel_status attempt_resample(void *data)
{
    const struct attempt *attempt = data;
    const enum passel_status status = spline_prepare(attempt->in, NULL);
    if (status != PASSEL_OK)
        return status;
    return picture_resample(attempt->out, attempt->in, attempt->in->area, false, attempt->t, FILTER_SPLINE, NULL);
}

static void test_memory_out(void **state)
{
    (void)state;
    struct picture in = pattern_picture(rect_of(0, 0, 20, 20), HAS_R, 1);
    struct picture out = pattern_picture(rect_of(0, 0, 20, 20), HAS_R, 1);
    int count;
    const struct transform *all = cases(&count);
    for (int c = 0; c < count; c++) {
        struct attempt attempt = { &in, &out, &all[c] };
        assert_true(fail_memory_each(attempt_resample, &attempt) >= 6);
    }
    picture_release(&out);
    picture_release(&in);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_published_kernels),
        cmocka_unit_test(test_taps),
        cmocka_unit_test(test_kernel_derivatives),
        cmocka_unit_test(test_published_resizing),
        cmocka_unit_test(test_spline_coefficients),
        cmocka_unit_test(test_spline_goes_through_the_pixels),
        cmocka_unit_test(test_turned_zone_plate),
        cmocka_unit_test(test_reduced_zone_plate),
        cmocka_unit_test(test_reduced_along_a_slanting_axis),
        cmocka_unit_test(test_no_jump_at_full_size),
        cmocka_unit_test(test_homography_leads_there),
        cmocka_unit_test(test_no_fringe),
        cmocka_unit_test(test_held_edge),
        cmocka_unit_test(test_whole_pixels_copy_bits),
        cmocka_unit_test(test_missing_planes),
        cmocka_unit_test(test_nothing_to_read),
        cmocka_unit_test(test_same_bits_from_any_part),
        cmocka_unit_test(test_extreme_transforms),
        cmocka_unit_test(test_memory_out),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
