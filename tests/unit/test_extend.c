/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * extend: where the plate comes to lie, held edges and mirrors pixel by pixel, and a sky that goes on without a seam.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/memory.h"
#include "fail_memory.h"
#include "key_scene.h"
#include "kinds/kinds.h"

/* A recipe with one `extend`, its plate given by hand. */
struct desk {
    struct recipe *recipe;
    struct arena arena;
    struct shot shot;
    struct at at;
    struct picture_info inputs[2], info; /* the plate, and its picture of cells */
    void *found;
};

static const int32_t only_frame[] = { 1 };

static enum passel_status desk_open(struct desk *desk, const char *settings, struct rect display, struct rect data,
                                    unsigned planes, int scale, struct passel_error *error)
{
    const struct schema *schemas[] = { &kind_shot.schema, &kind_flat.schema, &kind_extend.schema, NULL };
    struct text messages = { NULL, 0, 0, false };
    char text[512];
    snprintf(text, sizeof text, "dusk = flat\n  colour 1 1 1\nsky = extend dusk\n%s", settings);
    *desk = (struct desk){ 0 };
    const enum passel_status parsed =
        recipe_parse("test.passel", text, strlen(text), schemas, NULL, 0, &desk->recipe, &messages, error);
    text_release(&messages);
    if (parsed != PASSEL_OK)
        return parsed;
    desk->at = (struct at){
        .block = desk->recipe->blocks[1], .recipe = desk->recipe, .shot = &desk->shot, .frame = 1, .scale = scale
    };
    desk->shot = (struct shot){ .frames = only_frame, .frame_count = 1 };
    desk->inputs[0] = (struct picture_info){ .display = display, .data = data, .planes = planes, .pixel_aspect = 1 };
    desk->at.inputs = desk->inputs;
    void *self = NULL;
    enum passel_status status = kind_extend.make(desk->at.block, desk->recipe, NULL, &desk->arena, &self, error);
    desk->at.self = self;
    if (status == PASSEL_OK)
        status = kind_extend.info(&desk->at, &desk->info, error);
    desk->at.info = &desk->info;
    return status;
}

static void desk_close(struct desk *desk)
{
    kind_extend.analysis->drop_found(desk->found);
    arena_release(&desk->arena);
    recipe_free(desk->recipe);
}

static struct picture made(struct rect area, unsigned planes)
{
    struct picture picture;
    assert_int_equal(picture_new(&picture, area, planes, NULL), PASSEL_OK);
    return picture;
}

/* The picture of cells that extend makes of each frame for itself. */
static struct picture desk_levels(struct desk *desk, const struct picture *plate)
{
    struct at at = desk->at;
    struct picture_info info;
    struct picture in = made(plate->area, HAS_RGB);
    struct arena scratch = { 0 };
    at.picture = -1;
    picture_copy(&in, plate);
    assert_int_equal(kind_extend.info(&at, &info, NULL), PASSEL_OK);
    const struct picture out = made(info.data, HAS_RGBA);
    assert_true(rect_same(kind_extend.reach(&at, 0, info.data), plate->area));
    assert_int_equal(kind_extend.fill(&at, &in, &out, &scratch, NULL), PASSEL_OK);
    arena_release(&scratch);
    picture_release(&in);
    return out;
}

/* As the engine does: only what reach asks for, in memory of its own. */
static void desk_fill(struct desk *desk, const struct picture *plate, const struct picture *out)
{
    const struct rect reach = kind_extend.reach(&desk->at, 0, out->area);
    assert_true(rect_holds(plate->area, reach));
    struct picture in[2] = { made(reach, HAS_RGBA), desk_levels(desk, plate) };
    struct arena scratch = { 0 };
    picture_fill(&in[0], PLANE_A, reach, 1);
    picture_copy(&in[0], plate);
    desk->inputs[1] = (struct picture_info){ .data = in[1].area };
    assert_int_equal(kind_extend.fill(&desk->at, in, out, &scratch, NULL), PASSEL_OK);
    arena_release(&scratch);
    picture_release(&in[0]);
    picture_release(&in[1]);
}

static enum passel_status desk_learn(struct desk *desk, const struct picture *plate)
{
    const struct analysis *analysis = kind_extend.analysis;
    void *work = NULL;
    size_t bytes = 0;
    enum passel_status status = analysis->add(&desk->at, 0, plate, desk->inputs, 1, &work, NULL);
    if (status == PASSEL_OK)
        status = analysis->finish(&desk->at, work, &desk->found, &bytes, NULL);
    analysis->drop_work(work);
    desk->at.found = desk->found;
    return status;
}

static float at(const struct picture *picture, int p, int32_t x, int32_t y)
{
    return picture_row(picture, (enum plane)p, y)[x - picture->area.x0];
}

/* ---- placing --------------------------------------------------------------------------------------------------- */

static struct rect offset_of(const char *settings, int32_t width, int32_t height, int scale)
{
    struct desk desk;
    struct passel_error error = { PASSEL_OK, "" };
    const struct rect plate = rect_of(0, 0, width, height);
    const enum passel_status status = desk_open(&desk, settings, plate, plate, HAS_RGB, scale, &error);
    if (status != PASSEL_OK)
        fail_msg("%s", error.text);
    /* where the plate's pixels are wanted from shows where they lie */
    const struct rect first = kind_extend.reach(&desk.at, 0, desk.info.data);
    assert_true(rect_same(first, plate));
    int32_t x = 0, y = 0;
    while (rect_empty(kind_extend.reach(&desk.at, 0, rect_of(0, 0, x + 1, desk.info.data.y1))))
        x++;
    while (rect_empty(kind_extend.reach(&desk.at, 0, rect_of(0, 0, desk.info.data.x1, y + 1))))
        y++;
    const struct rect place = rect_of(x, y, desk.info.data.x1, desk.info.data.y1);
    desk_close(&desk);
    return place;
}

static void test_keep(void **state)
{
    (void)state;
    struct rect r = offset_of("  to 21x11\n", 10, 6, 1); /* 11 and 5 over: the odd pixel right and at the bottom */
    assert_true(rect_same(r, rect_of(5, 2, 21, 11)));
    r = offset_of("  to 21x11\n  keep bottom\n", 10, 6, 1);
    assert_true(rect_same(r, rect_of(5, 5, 21, 11)));
    r = offset_of("  to 21x11\n  keep top right\n", 10, 6, 1);
    assert_true(rect_same(r, rect_of(11, 0, 21, 11)));
    r = offset_of("  to 21x11\n  keep left middle\n", 10, 6, 1);
    assert_true(rect_same(r, rect_of(0, 2, 21, 11)));
    r = offset_of("  to 21x11\n  keep 3 1 px\n", 10, 6, 1);
    assert_true(rect_same(r, rect_of(3, 1, 21, 11)));
    r = offset_of("  to 21x11\n  keep 3 1 px\n", 5, 3, 2); /* at half size */
    assert_true(rect_same(r, rect_of(1, 0, 11, 6)));
}

static void refused(const char *settings, const char *because)
{
    struct desk desk;
    struct passel_error error = { PASSEL_OK, "" };
    const struct rect plate = rect_of(0, 0, 10, 6);
    assert_int_equal(desk_open(&desk, settings, plate, plate, HAS_RGB, 1, &error), PASSEL_BAD_RECIPE);
    if (strstr(error.text, because) == NULL)
        fail_msg("%s", error.text);
    desk_close(&desk);
}

static void test_refused(void **state)
{
    (void)state;
    refused("  to 9x11\n", "10 x 6 and does not fit into 9 x 11");
    refused("  to 21x11\n  keep 12 0 px\n", "stick out");
    refused("  to 21x11\n  keep top bottom\n", "one word for up and down");
    refused("  to 21x11\n  keep left right\n", "one for left and right");
}

/* ---- edge and mirror ------------------------------------------------------------------------------------------- */

static int32_t mirror_naively(int32_t i, int32_t count)
{
    while (i < 0 || i >= count)
        i = i < 0 ? -1 - i : 2 * count - 1 - i;
    return i;
}

static void check_by(const char *settings, bool mirror, int32_t tile)
{
    const struct rect plate = rect_of(0, 0, 7, 5);
    struct desk desk;
    assert_int_equal(desk_open(&desk, settings, plate, plate, HAS_RGB, 1, NULL), PASSEL_OK);
    struct picture source = made(plate, HAS_RGB), out = made(desk.info.data, HAS_RGBA);
    for (int p = 0; p < 3; p++) {
        for (int32_t y = 0; y < 5; y++) {
            for (int32_t x = 0; x < 7; x++)
                picture_row(&source, (enum plane)p, y)[x] = (float)(100 * p + 10 * y + x);
        }
    }
    for (int32_t y0 = 0; y0 < 30; y0 += tile) {
        for (int32_t x0 = 0; x0 < 40; x0 += tile) {
            const struct rect part = rect_cut(rect_of(x0, y0, x0 + tile, y0 + tile), desk.info.data);
            struct picture view = picture_part(&out, part);
            desk_fill(&desk, &source, &view);
        }
    }
    for (int32_t y = 0; y < 30; y++) {
        for (int32_t x = 0; x < 40; x++) {
            int32_t sx = x - 16, sy = y - 12;
            sx = mirror ? mirror_naively(sx, 7) : sx < 0 ? 0 : sx > 6 ? 6 : sx;
            sy = mirror ? mirror_naively(sy, 5) : sy < 0 ? 0 : sy > 4 ? 4 : sy;
            assert_true(at(&out, 1, x, y) == (float)(100 + 10 * sy + sx));
            assert_true(at(&out, PLANE_A, x, y) == 1);
        }
    }
    picture_release(&source);
    picture_release(&out);
    desk_close(&desk);
}

static void test_edge(void **state)
{
    (void)state;
    check_by("  to 40x30\n  by edge\n", false, 64);
    check_by("  to 40x30\n  by edge\n", false, 3);
}

static void test_mirror(void **state)
{
    (void)state;
    check_by("  to 40x30\n  by mirror\n", true, 64);
    check_by("  to 40x30\n  by mirror\n", true, 3);
    check_by("  to 40x30\n  by mirror\n", true, 1);
}

/* ---- gradient -------------------------------------------------------------------------------------------------- */

static const struct camera camera = { 1.6e-4, 1e-5 };

/* A dusk sky: blue above, a glow below, one side brighter. */
static double dusk(int c, double x, double y)
{
    static const double high[3] = { 0.06, 0.10, 0.22 }, low[3] = { 0.85, 0.45, 0.22 }, glow[3] = { 1, 0.5, 0.2 };
    const double t = y < 0 ? 0 : y * y;
    return high[c] * (1 - t) + low[c] * t + glow[c] * exp(-((x - 0.3) * (x - 0.3) / 0.08 + (y - 1) * (y - 1) / 0.1));
}

static struct picture dusk_plate(struct rect area, const struct camera *noise, uint64_t seed)
{
    const struct picture plate = made(area, HAS_RGBA);
    struct dice dice = { seed };
    for (int c = 0; c < 3; c++) {
        for (int32_t y = area.y0; y < area.y1; y++) {
            for (int32_t x = area.x0; x < area.x1; x++)
                picture_row(&plate, (enum plane)c, y)[x - area.x0] = (float)dusk(c, (x + 0.5) / 320, (y + 0.5) / 150);
        }
    }
    picture_fill(&plate, PLANE_A, area, 1);
    if (noise != NULL)
        scene_add_noise(&plate, *noise, &dice);
    return plate;
}

#define SKY "  to 400x240\n  keep bottom\n  by gradient\n"
enum { SKY_X = 40, SKY_Y = 90, PLATE_W = 320, PLATE_H = 150 };

static struct picture sky_of(struct desk *desk, const char *settings, const struct picture *plate)
{
    assert_int_equal(desk_open(desk, settings, plate->area, plate->area, HAS_RGB, 1, NULL), PASSEL_OK);
    assert_int_equal(desk_learn(desk, plate), PASSEL_OK);
    const struct picture out = made(desk->info.data, HAS_RGBA);
    desk_fill(desk, plate, &out);
    return out;
}

static void test_own_pixels(void **state)
{
    (void)state;
    struct desk desk;
    struct picture plate = dusk_plate(rect_of(0, 0, PLATE_W, PLATE_H), &camera, 3);
    struct picture out = sky_of(&desk, SKY, &plate);
    assert_true(rect_same(out.area, rect_of(0, 0, 400, 240)));
    for (int p = 0; p < 4; p++) {
        for (int32_t y = 0; y < PLATE_H; y++)
            assert_memory_equal(picture_row(&out, (enum plane)p, y + SKY_Y) + SKY_X,
                                picture_row(&plate, (enum plane)p, y), PLATE_W * sizeof(float));
    }
    for (int32_t y = 0; y < 240; y++) {
        for (int32_t x = 0; x < 400; x++)
            assert_true(at(&out, PLANE_A, x, y) == 1);
    }
    picture_release(&out);
    desk_close(&desk);

    /* with a seam, pixels deep inside are still the plate's, those at the edge are not */
    out = sky_of(&desk, SKY "  seam 12 px\n", &plate);
    assert_true(at(&out, 1, 200, SKY_Y + 12) == at(&plate, 1, 200 - SKY_X, 12));
    assert_true(at(&out, 1, 200, 239) == at(&plate, 1, 200 - SKY_X, PLATE_H - 1)); /* the bottom is not carried on */
    assert_true(at(&out, 1, 200, SKY_Y) != at(&plate, 1, 200 - SKY_X, 0));
    picture_release(&out);
    desk_close(&desk);
    picture_release(&plate);
}

/* Means over a few columns, so that grain is small: value and slope do not jump at the seam, and the light stays within
 * what the plate could lead to. */
static void test_no_seam(void **state)
{
    (void)state;
    struct desk desk;
    struct picture plate = dusk_plate(rect_of(0, 0, PLATE_W, PLATE_H), &camera, 5);
    struct picture out = sky_of(&desk, SKY, &plate);
    double worst = 0, worst_slope = 0;
    for (int c = 0; c < 3; c++) {
        for (int32_t x0 = SKY_X; x0 + 32 <= SKY_X + PLATE_W; x0 += 32) {
            double rows[4] = { 0 }; /* means of 4 rows, above the seam and below */
            for (int k = 0; k < 4; k++) {
                for (int32_t i = 0; i < 128; i++)
                    rows[k] += (double)at(&out, c, x0 + i % 32, SKY_Y - 8 + 4 * k + i / 32) / 128;
            }
            const double sigma = sqrt(camera.gain * rows[2] + camera.floor) / sqrt(128);
            worst = fmax(worst, fabs((rows[2] - rows[1]) - 0.5 * (rows[1] - rows[0] + rows[3] - rows[2])) / sigma);
            worst_slope = fmax(worst_slope, fabs((rows[3] - rows[2]) - (rows[1] - rows[0])) / sigma);
        }
    }
    print_message("seam: jump %.1f sigma, change of slope %.1f sigma (of means of 128 pixels)\n", worst, worst_slope);
    assert_true(worst < 6);
    assert_true(worst_slope < 12);
    for (int c = 0; c < 3; c++) {
        for (int32_t y = 0; y < 240; y++) {
            for (int32_t x = 0; x < 400; x++)
                assert_true(at(&out, c, x, y) > -0.05F && at(&out, c, x, y) < 2.2F);
        }
    }
    picture_release(&out);
    desk_close(&desk);
    picture_release(&plate);
}

/* The withheld part of a larger plate is guessed well: far better than by holding the edge. */
static void test_guess(void **state)
{
    (void)state;
    struct desk desk;
    struct picture whole = dusk_plate(rect_of(-SKY_X, -30, 360, PLATE_H), NULL, 1);
    struct picture plate = dusk_plate(rect_of(0, 0, PLATE_W, PLATE_H), &camera, 8);
    struct picture by[2];
    by[0] = sky_of(&desk, "  to 400x180\n  keep bottom\n  by gradient\n", &plate);
    desk_close(&desk);
    by[1] = sky_of(&desk, "  to 400x180\n  keep bottom\n  by edge\n", &plate);
    desk_close(&desk);
    double errors[2] = { 0 };
    for (int k = 0; k < 2; k++) {
        for (int32_t y = 0; y < 180; y++) {
            for (int32_t x = 0; x < 400; x++) {
                const bool own = x >= SKY_X && x < SKY_X + PLATE_W && y >= 30;
                const double off = own ? 0 : (double)(at(&by[k], 1, x, y) - at(&whole, 1, x - SKY_X, y - 30));
                errors[k] += off * off;
            }
        }
        picture_release(&by[k]);
    }
    print_message("withheld border: squared error %.3g by gradient, %.3g by edge\n", errors[0], errors[1]);
    assert_true(errors[0] < 0.5 * errors[1]);
    picture_release(&plate);
    picture_release(&whole);
}

static float layer_at(int32_t y)
{
    return y < 72 ? 0.5F : y < 86 ? 1.5F : 0.05F;
}

/* Sky, a glow as narrow as 14 pixels, and ground go on past a side. Cells are 4 pixels wide here: the plate ends with
 * whole cells, or a pixel after them, which once left the right side without any guess of its own. */
static void test_layers(void **state)
{
    (void)state;
    float least = 1;
    for (int k = 0; k < 4; k++) {
        struct desk desk;
        const int32_t width = k < 2 ? 320 : 321, first = k % 2 == 0 ? width : 0;
        char settings[64];
        snprintf(settings, sizeof settings, "  to %dx150\n  keep %s\n  grain off\n", width + 40,
                 k % 2 == 0 ? "left" : "right");
        struct picture plate = made(rect_of(0, 0, width, 150), HAS_RGBA);
        struct dice dice = { 4 };
        for (int p = 0; p < 4; p++) {
            for (int32_t y = 0; y < 150; y++)
                picture_fill(&plate, (enum plane)p, rect_of(0, y, width, y + 1), p == PLANE_A ? 1 : layer_at(y));
        }
        scene_add_noise(&plate, camera, &dice);
        struct picture out = sky_of(&desk, settings, &plate);
        for (int32_t x = first; x < first + 40; x++) {
            assert_true(fabsf(at(&out, 1, x, 30) / layer_at(30) - 1) < 0.05F);
            assert_true(fabsf(at(&out, 1, x, 78) / layer_at(78) - 1) < 0.15F);
            assert_true(fabsf(at(&out, 1, x, 120) / layer_at(120) - 1) < 0.05F);
            for (int32_t y = 0; y < 150; y++)
                least = fminf(least, at(&out, 1, x, y));
        }
        picture_release(&out);
        picture_release(&plate);
        desk_close(&desk);
    }
    /* the ground under the glow once was half as bright as it is, or black under a brighter one */
    print_message("the darkest of the fill: %.4f\n", (double)least);
    assert_true(least > 0.03F);
}

/* First row at which a column is darker than halfway, in ratio, from 0.5 to 0.05. */
static int32_t ridge_in(const struct picture *picture, int32_t x)
{
    for (int32_t y = 0; y < 150; y++) {
        if (at(picture, 1, x, y) + at(picture, 1, x, y + 1) < 2 * 0.158F)
            return y;
    }
    return 150;
}

/* A ridge that slants before a sky goes on as it slants, past either side. */
static void test_ridge(void **state)
{
    (void)state;
    static const double slants[] = { -1, -0.6, -0.3, 0.3, 0.6, 1 };
    for (int k = 0; k < 12; k++) {
        struct desk desk;
        const bool right = k % 2 == 0;
        const int32_t border = right ? 320 : 0;
        struct picture plate = made(rect_of(0, 0, 320, 150), HAS_RGBA);
        struct dice dice = { 5 };
        int32_t worst = 0;
        picture_fill(&plate, PLANE_A, plate.area, 1);
        for (int32_t x = 0; x < 320; x++) {
            const double ridge = 75 + slants[k / 2] * fmax(fmin(x - border, 70), -70);
            for (int32_t y = 0; y < 150; y++) {
                const float above = (float)fmin(fmax(ridge - y, 0), 1);
                for (int p = 0; p < 3; p++)
                    picture_row(&plate, (enum plane)p, y)[x] = 0.05F + 0.45F * above;
            }
        }
        scene_add_noise(&plate, camera, &dice);
        struct picture out =
            sky_of(&desk, right ? "  to 360x150\n  keep left\n" : "  to 360x150\n  keep right\n", &plate);
        for (int32_t i = 0; i < 40; i++) {
            const int32_t x = right ? 320 + i : 39 - i;
            const int32_t off = ridge_in(&out, x) - 75 - (int32_t)lround(slants[k / 2] * (right ? i : -1 - i));
            worst = abs(off) > worst ? abs(off) : worst;
        }
        print_message("ridge of slant %+.1f past the %s side: off by at most %d px\n", slants[k / 2],
                      right ? "right" : "left", (int)worst);
        assert_true(worst <= 3 + 10 * fabs(slants[k / 2]));
        picture_release(&out);
        picture_release(&plate);
        desk_close(&desk);
    }
}

/* Stars two to five pixels behind the border, a hundred times as bright as the sky, once left blots above it. One on
 * the border is carried on for no more than a few pixels. */
static void test_stars(void **state)
{
    (void)state;
    struct desk desk;
    struct picture plate = made(rect_of(0, 0, PLATE_W, PLATE_H), HAS_RGBA);
    struct dice dice = { 9 };
    for (int p = 0; p < 4; p++)
        picture_fill(&plate, (enum plane)p, plate.area, p == PLANE_A ? 1 : 0.2F);
    for (int c = 0; c < 3; c++) {
        for (int32_t k = 0; k < 4; k++)
            picture_fill(&plate, (enum plane)c, rect_of(40 + 50 * k, 2 + k, 43 + 50 * k, 5 + k), 20);
        picture_fill(&plate, (enum plane)c, rect_of(260, 0, 263, 3), 20);
    }
    scene_add_noise(&plate, camera, &dice);
    struct picture out = sky_of(&desk, SKY "  grain off\n", &plate);
    float worst = 0;
    for (int32_t y = 0; y < SKY_Y; y++) {
        for (int32_t x = SKY_X; x < SKY_X + PLATE_W; x++) {
            if (abs(x - SKY_X - 261) > 20 || y < SKY_Y - 12)
                worst = fmaxf(worst, fabsf(at(&out, 1, x, y) - 0.2F));
        }
    }
    print_message("stars at the border: the fill is off by at most %.4f\n", (double)worst);
    assert_true(worst < 0.01F);
    picture_release(&out);
    picture_release(&plate);
    desk_close(&desk);
}

/* Standard deviation of the finest detail (Immerkaer) of plane c in a rectangle. */
static double grain_in(const struct picture *picture, int c, struct rect area)
{
    double sum = 0;
    for (int32_t y = area.y0 + 1; y < area.y1 - 1; y++) {
        for (int32_t x = area.x0 + 1; x < area.x1 - 1; x++) {
            double value = 0;
            for (int k = 0; k < 9; k++) {
                const int weight = (k % 3 == 1 ? -2 : 1) * (k / 3 == 1 ? -2 : 1);
                value += weight * (double)at(picture, c, x + k % 3 - 1, y + k / 3 - 1);
            }
            sum += value * value;
        }
    }
    return sqrt(sum / ((rect_width(area) - 2) * (rect_height(area) - 2))) / 6;
}

static void test_grain(void **state)
{
    (void)state;
    struct desk desk;
    struct picture plates[2], skies[3];
    for (int i = 0; i < 2; i++) {
        plates[i] = dusk_plate(rect_of(0, 0, PLATE_W, PLATE_H), &camera, 20 + (uint64_t)i);
        skies[i] = sky_of(&desk, SKY, &plates[i]);
        desk_close(&desk);
    }
    skies[2] = sky_of(&desk, SKY, &plates[0]);
    desk_close(&desk);
    const struct rect above = rect_of(60, 20, 340, 80);
    for (int c = 0; c < 3; c++) {
        double light = 0;
        for (int32_t y = above.y0; y < above.y1; y++) {
            for (int32_t x = above.x0; x < above.x1; x++)
                light += (double)at(&skies[0], c, x, y) / (rect_width(above) * rect_height(above));
        }
        const double wanted = sqrt(camera.gain * light + camera.floor), got = grain_in(&skies[0], c, above);
        print_message("grain of plane %d: %.5f, the camera's there %.5f\n", c, got, wanted);
        assert_true(fabs(got / wanted - 1) < 0.1);
    }
    /* the same plate, the same grain; another frame of noise, other grain */
    assert_memory_equal(picture_row(&skies[0], PLANE_G, 40), picture_row(&skies[2], PLANE_G, 40), 400 * sizeof(float));
    int same = 0;
    for (int32_t x = 0; x < 400; x++)
        same += at(&skies[0], 1, x, 40) == at(&skies[1], 1, x, 40);
    assert_true(same < 5);
    for (int i = 0; i < 3; i++)
        picture_release(&skies[i]);
    picture_release(&plates[0]);
    picture_release(&plates[1]);
}

static void test_tiles(void **state)
{
    (void)state;
    struct desk desk;
    struct picture plate = dusk_plate(rect_of(0, 0, PLATE_W, PLATE_H), &camera, 30);
    struct picture out = sky_of(&desk, SKY "  seam 9 px\n", &plate), tiled = made(out.area, HAS_RGBA);
    for (int32_t y = 0; y < 240; y += 37) {
        for (int32_t x = 0; x < 400; x += 59) {
            struct picture part = picture_part(&tiled, rect_cut(rect_of(x, y, x + 59, y + 37), out.area));
            desk_fill(&desk, &plate, &part);
        }
    }
    for (int p = 0; p < 4; p++) {
        for (int32_t y = 0; y < 240; y++)
            assert_memory_equal(picture_row(&out, (enum plane)p, y), picture_row(&tiled, (enum plane)p, y),
                                400 * sizeof(float));
    }
    picture_release(&tiled);
    picture_release(&out);
    desk_close(&desk);
    picture_release(&plate);
}

/* A plate of one colour goes on as that colour, and one so small that it has a single cell is no trouble. */
static void test_flat_plates(void **state)
{
    (void)state;
    static const int32_t sizes[][2] = { { 320, 150 }, { 9, 7 }, { 1, 1 }, { 320, 1 } };
    for (size_t k = 0; k < sizeof sizes / sizeof sizes[0]; k++) {
        struct desk desk;
        struct picture plate = made(rect_of(0, 0, sizes[k][0], sizes[k][1]), HAS_RGBA);
        for (int p = 0; p < 3; p++)
            picture_fill(&plate, (enum plane)p, plate.area, 0.25F * (float)p);
        picture_fill(&plate, PLANE_A, plate.area, 1);
        struct picture out = sky_of(&desk, SKY, &plate);
        for (int32_t y = 0; y < 240; y++) {
            for (int32_t x = 0; x < 400; x++) {
                for (int p = 0; p < 3; p++)
                    assert_float_equal(at(&out, p, x, y), 0.25F * (float)p, 0.002);
            }
        }
        picture_release(&out);
        picture_release(&plate);
        desk_close(&desk);
    }
}

struct attempt {
    struct desk *desk;
    const struct picture *plate;
};

static enum passel_status learn_and_drop(void *data)
{
    const struct attempt *attempt = data;
    const enum passel_status status = desk_learn(attempt->desk, attempt->plate);
    kind_extend.analysis->drop_found(attempt->desk->found);
    attempt->desk->found = NULL;
    return status;
}

static void test_no_memory(void **state)
{
    (void)state;
    struct desk desk;
    struct picture plate = dusk_plate(rect_of(0, 0, 64, 48), &camera, 40);
    assert_int_equal(desk_open(&desk, "  to 90x70\n", plate.area, plate.area, HAS_RGB, 1, NULL), PASSEL_OK);
    struct attempt attempt = { &desk, &plate };
    assert_true(fail_memory_each(learn_and_drop, &attempt) > 5);
    desk_close(&desk);
    picture_release(&plate);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_keep),      cmocka_unit_test(test_refused),    cmocka_unit_test(test_edge),
        cmocka_unit_test(test_mirror),    cmocka_unit_test(test_own_pixels), cmocka_unit_test(test_no_seam),
        cmocka_unit_test(test_guess),     cmocka_unit_test(test_layers),     cmocka_unit_test(test_stars),
        cmocka_unit_test(test_grain),     cmocka_unit_test(test_tiles),      cmocka_unit_test(test_flat_plates),
        cmocka_unit_test(test_no_memory), cmocka_unit_test(test_ridge),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
