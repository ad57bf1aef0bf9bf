/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * extend: holes filled from what is around them, from other frames and from an empty; texture; and the frames of a
 * flickering plate.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "key_scene.h"
#include "kinds/kinds.h"
#include "numerics/seeded.h"
#include "stage.h"

#define WIDTH 192
#define HEIGHT 128
#define FRAMES 5
#define INPUTS_MOST 32

static const struct camera camera = { 4e-5, 4e-6 };
static const struct kind *const kinds[] = { &kind_extend, NULL };

/* Pictures by hand, and the cells that extend makes of each frame for itself. */
struct set {
    struct stage stage;
    struct stage_input inputs[INPUTS_MOST];
    char names[INPUTS_MOST][16];
};

static void set_init(struct set *set, const char *text)
{
    *set = (struct set){ .stage = { .recipe = NULL } };
    stage_init(&set->stage, text, kinds);
    set->stage.inputs = set->inputs;
}

/* Takes ownership of the picture. */
static void set_add(struct set *set, const char *name, int32_t frame, struct picture picture, struct rect display,
                    int own)
{
    const int k = set->stage.input_count++;
    assert_true(k < INPUTS_MOST);
    if (own != 0)
        snprintf(set->names[k], sizeof set->names[k], "%s@%d:%d", name, (int)frame, own);
    else
        snprintf(set->names[k], sizeof set->names[k], "%s@%d", name, (int)frame);
    set->inputs[k] = (struct stage_input){ set->names[k], picture, display };
}

/* Of the block "sky" at a frame; `own` -1: of the plate, -2: of the other plate. */
static void set_add_cells(struct set *set, int32_t frame, int own)
{
    struct picture cells;
    struct picture_info info;
    set->stage.picture = own;
    assert_int_equal(stage_make(&set->stage, "sky", frame, 1, HAS_RGBA, 1 << 20, &cells, &info, NULL), PASSEL_OK);
    set->stage.picture = 0;
    set_add(set, "sky", frame, cells, info.display, own);
}

static void set_release(struct set *set)
{
    for (int i = 0; i < set->stage.input_count; i++)
        picture_release(&set->inputs[i].picture);
    stage_release(&set->stage);
}

static struct picture made(struct rect area, unsigned planes)
{
    struct picture picture;
    assert_int_equal(picture_new(&picture, area, planes, NULL), PASSEL_OK);
    return picture;
}

static float at(const struct picture *picture, int p, int32_t x, int32_t y)
{
    return picture_row(picture, (enum plane)p, y)[x - picture->area.x0];
}

/* A sky that grows lighter downwards and to one side. */
static double sky_light(int c, double x, double y)
{
    const double v = y / HEIGHT, u = x / WIDTH;
    return (0.1 + 0.05 * c) + 0.3 * v * v + 0.1 * u * v + 0.03 * u;
}

/* Waves, which only an empty can tell where something stands before them. */
static double waved_light(int c, double x, double y)
{
    return sky_light(c, x, y) * (1 + 0.3 * sin(0.25 * x + 0.1 * y));
}

static struct picture take(double (*light)(int, double, double), double gain, uint64_t seed)
{
    struct picture picture = made(rect_of(0, 0, WIDTH, HEIGHT), HAS_RGB);
    struct dice dice = { seed };
    for (int c = 0; c < 3; c++) {
        for (int32_t y = 0; y < HEIGHT; y++) {
            for (int32_t x = 0; x < WIDTH; x++)
                picture_row(&picture, (enum plane)c, y)[x] = (float)(gain * light(c, x, y));
        }
    }
    scene_add_noise(&picture, camera, &dice);
    return picture;
}

static void paint(const struct picture *picture, struct rect where, float light)
{
    for (int c = 0; c < 3; c++)
        picture_fill(picture, (enum plane)c, where, light);
}

static struct picture shape_of(struct rect where)
{
    struct picture shape = made(rect_of(0, 0, WIDTH, HEIGHT), HAS_A);
    picture_fill(&shape, PLANE_A, shape.area, 0);
    picture_fill(&shape, PLANE_A, where, 1);
    return shape;
}

static void assert_own_pixels(const struct picture *out, const struct picture *plate, struct rect hole)
{
    for (int32_t y = 0; y < HEIGHT; y++) {
        for (int32_t x = 0; x < WIDTH; x++) {
            if (rect_holds(hole, rect_of(x, y, x + 1, y + 1)))
                continue;
            for (int c = 0; c < 3; c++)
                assert_true(at(out, c, x, y) == at(plate, c, x, y));
        }
    }
}

/* Mean of (out / truth - 1) in a rectangle, and the spread of out - truth in sigmas of the camera's grain. */
static void compare(const struct picture *out, double (*light)(int, double, double), struct rect where, double *off,
                    double *grain)
{
    double sum = 0, square = 0, count = 0, mean = 0;
    for (int32_t y = where.y0; y < where.y1; y++) {
        for (int32_t x = where.x0; x < where.x1; x++) {
            for (int c = 0; c < 3; c++) {
                const double truth = light(c, x, y), miss = (double)at(out, c, x, y) - truth;
                const double sigmas = miss / sqrt(camera.gain * truth + camera.floor);
                sum += miss / truth;
                mean += sigmas;
                square += sigmas * sigmas;
                count += 1;
            }
        }
    }
    *off = sum / count;
    *grain = sqrt(square / count - mean / count * mean / count);
}

static const char *const one_frame = "passel 1\nshot s\n  frames 1\n  size 192x128\n\nset = flat\n  colour 1 1 1\n\n"
                                     "rig = flat\n  colour 1 1 1\n\nempty = flat\n  colour 1 1 1\n\n";

static void text_of(char text[1024], const char *before, const char *block)
{
    snprintf(text, 1024, "%s%s", before, block);
}

/* A rig in the middle of a sky goes; the sky behind it and its grain come, and no other pixel changes. */
static void test_hole(void **state)
{
    (void)state;
    char text[1024];
    struct set set;
    const struct rect rig = rect_of(70, 40, 100, 75);
    double off, grain;
    text_of(text, one_frame, "sky = extend set\n  fill rig\n");
    set_init(&set, text);
    struct picture plate = take(sky_light, 1, 3);
    paint(&plate, rig, 1.5F);
    set_add(&set, "set", 1, plate, plate.area, 0);
    set_add(&set, "rig", 1, shape_of(rig), plate.area, 0);
    set_add_cells(&set, 1, -1);
    struct picture out = stage_picture(&set.stage, "sky", 1, HAS_RGB);
    assert_own_pixels(&out, &plate, rig);
    compare(&out, sky_light, rig, &off, &grain);
    print_message("hole: light off by %.2f %%, grain %.2f of the camera's\n", 100 * off, grain);
    assert_true(fabs(off) < 0.01);
    assert_true(fabs(grain - 1) < 0.2);
    picture_release(&out);
    stage_survives_no_memory(&set.stage, "sky", HAS_RGB);
    set_release(&set);
}

/* What the rig hides in one frame another one shows. */
static void test_moving_hole(void **state)
{
    (void)state;
    struct set set;
    const struct rect rigs[2] = { rect_of(40, 30, 60, 100), rect_of(120, 30, 140, 100) };
    double off, grain;
    set_init(&set, "passel 1\nshot s\n  frames 1-2\n  size 192x128\n\nset = flat\n  colour 1 1 1\n\n"
                   "rig = flat\n  colour 1 1 1\n\nsky = extend set\n  fill rig\n");
    for (int k = 0; k < 2; k++) {
        struct picture plate = take(waved_light, 1, 10 + (uint64_t)k);
        paint(&plate, rigs[k], 1.5F);
        set_add(&set, "set", 1 + k, plate, plate.area, 0);
        set_add(&set, "rig", 1 + k, shape_of(rigs[k]), plate.area, 0);
    }
    for (int k = 0; k < 2; k++)
        set_add_cells(&set, 1 + k, -1);
    for (int k = 0; k < 2; k++) {
        struct picture out = stage_picture(&set.stage, "sky", 1 + k, HAS_RGB);
        assert_own_pixels(&out, &set.inputs[2 * k].picture, rigs[k]);
        compare(&out, waved_light, rigs[k], &off, &grain);
        print_message("moving hole, frame %d: light off by %.2f %%, misses %.2f of the grain\n", k + 1, 100 * off,
                      grain);
        assert_true(fabs(off) < 0.01);
        assert_true(grain < 2); /* the waves are 10 times the grain, and one frame's noise stands under the new */
        picture_release(&out);
    }
    set_release(&set);
}

/* With a margin of other light. Takes the picture. */
static struct picture widened(struct picture *picture)
{
    struct picture wide = made(rect_grow(picture->area, 21, 13), HAS_RGB);
    paint(&wide, wide.area, 0.9F);
    picture_copy(&wide, picture);
    picture_release(picture);
    return wide;
}

/* The empty is brighter and of another colour; what it shows is brought to the plate's light. Once it reaches beyond
 * its window, as a moved picture does: its cells were laid otherwise in the analysis then, and the fill was too bright.
 */
static void check_empty(bool beyond)
{
    char text[1024];
    struct set set;
    const struct rect rig = rect_of(70, 40, 100, 75);
    double off, grain;
    text_of(text, one_frame, "sky = extend set\n  fill rig\n  by plate empty\n");
    set_init(&set, text);
    struct picture plate = take(waved_light, 1, 3), empty = take(waved_light, 1.4, 4);
    paint(&plate, rig, 1.5F);
    for (int32_t y = 0; y < HEIGHT; y++) {
        for (int32_t x = 0; x < WIDTH; x++)
            picture_row(&empty, PLANE_R, y)[x] *= 0.8F;
    }
    set_add(&set, "set", 1, plate, plate.area, 0);
    set_add(&set, "rig", 1, shape_of(rig), plate.area, 0);
    set_add(&set, "empty", 1, beyond ? widened(&empty) : empty, plate.area, 0);
    set_add_cells(&set, 1, -1);
    set_add_cells(&set, 1, -2);
    struct picture out = stage_picture(&set.stage, "sky", 1, HAS_RGB);
    assert_own_pixels(&out, &plate, rig);
    compare(&out, waved_light, rig, &off, &grain);
    print_message("empty%s: light off by %.2f %%, grain %.2f of the camera's\n", beyond ? " beyond its window" : "",
                  100 * off, grain);
    assert_true(fabs(off) < 0.01);
    assert_true(grain < 1.3);
    picture_release(&out);
    if (!beyond)
        stage_survives_no_memory(&set.stage, "sky", HAS_RGB);
    set_release(&set);
}

static void test_empty(void **state)
{
    (void)state;
    check_empty(false);
    check_empty(true);
}

/* Clouds of three sizes from seeded numbers on grids. */
static double cloud_light(int c, double x, double y)
{
    double sum = 0;
    for (int k = 0; k < 3; k++) {
        const double size = 6 << k, u = x / size + 100, v = y / size + 100;
        const int64_t i = (int64_t)u, j = (int64_t)v;
        const double a = u - (double)i, b = v - (double)j;
        const double s = a * a * (3 - 2 * a), t = b * b * (3 - 2 * b);
        double corner[4];
        for (int q = 0; q < 4; q++)
            corner[q] = seeded_share(77, (uint64_t)k, (i + q % 2) * 1000 + j + q / 2) - 0.5;
        sum += ((1 - s) * corner[0] + s * corner[1]) * (1 - t) + ((1 - s) * corner[2] + s * corner[3]) * t;
    }
    return (0.3 + 0.05 * c) * (1 + 0.5 * sum);
}

static void mean_and_spread(const struct picture *picture, struct rect where, double *mean, double *spread)
{
    double sum = 0, square = 0;
    const double count = (double)rect_width(where) * rect_height(where);
    for (int32_t y = where.y0; y < where.y1; y++) {
        for (int32_t x = where.x0; x < where.x1; x++) {
            const double light = (double)at(picture, 1, x, y);
            sum += light / count;
            square += light * light / count;
        }
    }
    *mean = sum;
    *spread = sqrt(fmax(square - sum * sum, 0));
}

/* Mean |step| from row y - 1 to row y. */
static double step_at(const struct picture *picture, int32_t y)
{
    double sum = 0;
    for (int32_t x = 0; x < WIDTH; x++)
        sum += fabs((double)at(picture, 1, x, y) - (double)at(picture, 1, x, y - 1)) / WIDTH;
    return sum;
}

/* Clouds go on as clouds: as bright, as lively, and without a step where they begin. */
static void test_texture(void **state)
{
    (void)state;
    struct set set;
    double mean[2], spread[2], usual = 0;
    set_init(&set, "passel 1\nshot s\n  frames 1\n  size 192x168\n\nset = flat\n  colour 1 1 1\n\n"
                   "sky = extend set\n  to 192x168\n  keep bottom\n  by texture\n");
    struct picture plate = take(cloud_light, 1, 5);
    set_add(&set, "set", 1, plate, plate.area, 0);
    set_add_cells(&set, 1, -1);
    struct picture out = stage_picture(&set.stage, "sky", 1, HAS_RGB);
    mean_and_spread(&out, rect_of(0, 0, WIDTH, 38), &mean[0], &spread[0]);
    mean_and_spread(&out, rect_of(0, 42, WIDTH, 168), &mean[1], &spread[1]);
    for (int32_t y = 50; y < 150; y++)
        usual += step_at(&out, y) / 100;
    print_message("texture: light %.3f of the plate's, liveliness %.2f, step at the seam %.2f of the usual\n",
                  mean[0] / mean[1], spread[0] / spread[1], step_at(&out, 40) / usual);
    assert_true(fabs(mean[0] / mean[1] - 1) < 0.1);
    assert_true(spread[0] > 0.7 * spread[1] && spread[0] < 1.4 * spread[1]);
    assert_true(step_at(&out, 40) < 1.5 * usual);
    picture_release(&out);
    set_release(&set);
}

/* How many rows at the top of the plate are not its own, by `texture`. */
static int32_t rows_joined(const char *seam)
{
    struct set set;
    char text[256];
    int32_t row = 40;
    snprintf(text, sizeof text,
             "passel 1\nshot s\n  frames 1\n  size 192x168\n\nset = flat\n  colour 1 1 1\n\n"
             "sky = extend set\n  to 192x168\n  keep bottom\n  by texture\n%s",
             seam);
    set_init(&set, text);
    const struct picture plate = take(cloud_light, 1, 5);
    set_add(&set, "set", 1, plate, plate.area, 0);
    set_add_cells(&set, 1, -1);
    struct picture out = stage_picture(&set.stage, "sky", 1, HAS_RGB);
    while (memcmp(picture_row(&out, PLANE_G, row), picture_row(&plate, PLANE_G, row - 40), WIDTH * sizeof(float)) != 0)
        row++;
    picture_release(&out);
    set_release(&set);
    return row - 40;
}

/* Without a word about it the plate's edge is blended away, and showed as a line when it was not. */
static void test_texture_seam(void **state)
{
    (void)state;
    assert_int_equal(rows_joined(""), 192 / 24);
    assert_int_equal(rows_joined("  seam 0 px\n"), 0);
    assert_int_equal(rows_joined("  seam 20 px\n"), 20);
}

/* How alike the finest detail of two pictures is, 1: the same. */
static double alike(const struct picture *a, const struct picture *b, struct rect where)
{
    double both = 0, own[2] = { 0 };
    for (int32_t y = where.y0 + 1; y < where.y1; y++) {
        for (int32_t x = where.x0 + 1; x < where.x1; x++) {
            const double u = (double)at(a, 1, x, y) - (double)at(a, 1, x - 1, y) - (double)at(a, 1, x, y - 1) +
                             (double)at(a, 1, x - 1, y - 1);
            const double v = (double)at(b, 1, x, y) - (double)at(b, 1, x - 1, y) - (double)at(b, 1, x, y - 1) +
                             (double)at(b, 1, x - 1, y - 1);
            both += u * v;
            own[0] += u * u;
            own[1] += v * v;
        }
    }
    return both / sqrt(own[0] * own[1]);
}

/* The fill is as bright as its frame, and its grain is each frame's own. */
static void test_sequence(void **state)
{
    (void)state;
    static const double gains[FRAMES] = { 1, 1.05, 0.95, 1.03, 0.97 };
    const struct rect above = rect_of(0, 0, WIDTH, 30);
    struct set set;
    struct picture out[FRAMES];
    double first = 0;
    set_init(&set, "passel 1\nshot s\n  frames 1-5\n  size 192x158\n\nset = flat\n  colour 1 1 1\n\n"
                   "sky = extend set\n  to 192x158\n  keep bottom\n");
    for (int k = 0; k < FRAMES; k++) {
        struct picture plate = take(sky_light, gains[k], 30 + (uint64_t)k);
        set_add(&set, "set", 1 + k, plate, plate.area, 0);
    }
    for (int k = 0; k < FRAMES; k++)
        set_add_cells(&set, 1 + k, -1);
    for (int k = 0; k < FRAMES; k++) {
        double mean, spread;
        out[k] = stage_picture(&set.stage, "sky", 1 + k, HAS_RGB);
        mean_and_spread(&out[k], above, &mean, &spread);
        first = k == 0 ? mean : first;
        print_message("frame %d: %.4f of the first one's light, wanted %.4f\n", k + 1, mean / first, gains[k]);
        assert_true(fabs(mean / first / gains[k] - 1) < 0.005);
        if (k > 0)
            assert_true(fabs(alike(&out[k], &out[k - 1], above)) < 0.1);
    }
    for (int k = 0; k < FRAMES; k++)
        picture_release(&out[k]);
    set_release(&set);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_hole),    cmocka_unit_test(test_moving_hole),  cmocka_unit_test(test_empty),
        cmocka_unit_test(test_texture), cmocka_unit_test(test_texture_seam), cmocka_unit_test(test_sequence),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
