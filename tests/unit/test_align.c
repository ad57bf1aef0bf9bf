/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The kind `align` through the whole engine: passes on disk, lit from two sides and moved by known amounts, and the
 * picture that comes out beside the one that was never moved.
 */
#include <math.h>
#include <passel/passel.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "media/media.h"
#include "scratch.h"

#define WIDTH 144
#define HEIGHT 112
#define WAVES 60
#define BORDER 8 /* pixels that the moved pictures do not share */
#define SHOT "shot bump\n  frames 1001-1007\n  size 144x112\n"

static double chance(uint32_t *seed)
{
    *seed = *seed * 1664525U + 1013904223U;
    return *seed / 4294967296.0;
}

/* A sum of sines of many directions, standard deviation 1. */
struct ground {
    double x[WAVES], y[WAVES], phase[WAVES], size[WAVES];
};

static void ground_init(struct ground *ground, uint32_t seed)
{
    double squares = 0;
    for (int i = 0; i < WAVES; i++) {
        const double frequency = 0.02 + 0.33 * chance(&seed), direction = 6.283185307179586 * chance(&seed);
        ground->x[i] = 6.283185307179586 * frequency * cos(direction);
        ground->y[i] = 6.283185307179586 * frequency * sin(direction);
        ground->phase[i] = 6.283185307179586 * chance(&seed);
        ground->size[i] = 1 / sqrt(frequency);
        squares += ground->size[i] * ground->size[i] / 2;
    }
    for (int i = 0; i < WAVES; i++)
        ground->size[i] /= sqrt(squares);
}

static double height(const struct ground *ground, double x, double y)
{
    double sum = 0;
    for (int i = 0; i < WAVES; i++)
        sum += ground->size[i] * sin(ground->x[i] * x + ground->y[i] * y + ground->phase[i]);
    return sum;
}

struct set {
    struct ground paint, relief;
};

static void set_init(struct set *set, uint32_t seed)
{
    ground_init(&set->paint, seed);
    ground_init(&set->relief, seed + 99);
}

/* What the camera sees when the set lies (dx, dy) further right and down. */
static double seen(const struct set *set, double lamp, double x, double y, double dx, double dy)
{
    const double paint = 0.4 * exp(0.35 * height(&set->paint, x - dx, y - dy));
    return paint * (1 + lamp * 0.1 * height(&set->relief, x - dx, y - dy));
}

static void film(const struct scratch *scratch, const char *name, uint32_t seed, double lamp, double dx, double dy)
{
    struct set set;
    const struct media_layer layer = { "", HAS_RGB };
    const struct rect frame = rect_of(0, 0, WIDTH, HEIGHT);
    const struct media_plan plan = {
        .display = frame, .data = frame, .pixel_aspect = 1, .layers = &layer, .layer_count = 1, .pixels = PIXELS_FLOAT
    };
    char path[1024];
    struct picture picture;
    struct media_writer *writer;
    assert_int_equal(picture_new(&picture, frame, HAS_RGB, NULL), PASSEL_OK);
    set_init(&set, seed);
    for (int32_t y = 0; y < HEIGHT; y++)
        for (int32_t x = 0; x < WIDTH; x++) {
            const float light = (float)seen(&set, lamp, x + 0.5, y + 0.5, dx, dy);
            for (int p = PLANE_R; p <= PLANE_B; p++)
                picture_row(&picture, (enum plane)p, y)[x] = light * (0.5F + 0.25F * (float)p);
        }
    assert_int_equal(media_create(scratch_path(scratch, name, path), &plan, &writer, NULL), PASSEL_OK);
    assert_int_equal(media_write(writer, &picture, NULL), PASSEL_OK);
    assert_int_equal(media_finish(writer, NULL), PASSEL_OK);
    picture_release(&picture);
}

static void film_take(const struct scratch *scratch, const double *moves)
{
    for (int i = 0; i < 7; i++) {
        char name[64];
        (void)snprintf(name, sizeof name, "blue.%d.exr", 1001 + i);
        film(scratch, name, 5, -1, moves[2 * i], moves[2 * i + 1]);
    }
}

static enum passel_status make(const struct scratch *scratch, const char *blocks, int32_t frame,
                               struct passel_picture *picture, struct passel_error *error)
{
    char text[2048], path[1024], *messages = NULL;
    struct passel_recipe *recipe;
    const int length = snprintf(text, sizeof text, SHOT "green = pass green.exr\n%s", blocks);
    scratch_write(scratch, "bump.passel", text, (size_t)length);
    *picture = (struct passel_picture){ 0 };
    const enum passel_status status =
        passel_recipe_load(scratch_path(scratch, "bump.passel", path), NULL, 0, &recipe, &messages, error);
    if (status != PASSEL_OK)
        fail_msg("%s", messages != NULL ? messages : error->text);
    const enum passel_status made = passel_picture_make(recipe, "fixed", frame, 1, 1, picture, error);
    passel_recipe_free(recipe);
    return made;
}

/* The root of the mean squared difference from the set at (dx, dy), of its own light, away from the border. */
static double off_by(const struct passel_picture *picture, double dx, double dy)
{
    double sum = 0, light = 0;
    struct set set;
    set_init(&set, 5);
    for (int y = BORDER; y < HEIGHT - BORDER; y++)
        for (int x = BORDER; x < WIDTH - BORDER; x++) {
            const double truth = 0.75 * seen(&set, -1, x + 0.5, y + 0.5, dx, dy);
            const double found = (double)picture->plane[1][y * WIDTH + x];
            sum += (found - truth) * (found - truth);
            light += truth * truth;
        }
    return sqrt(sum / light);
}

static double made_off(const struct scratch *scratch, const char *blocks, int32_t frame, double dx, double dy)
{
    struct passel_picture picture;
    struct passel_error error = { 0 };
    if (make(scratch, blocks, frame, &picture, &error) != PASSEL_OK)
        fail_msg("%s", error.text);
    const double off = off_by(&picture, dx, dy);
    passel_picture_release(&picture);
    return off;
}

static void one_answer_for_the_shot(void **state)
{
    struct scratch scratch;
    (void)state;
    scratch_init(&scratch);
    film(&scratch, "green.exr", 5, 1, 0, 0);
    film(&scratch, "blue.exr", 5, -1, 0.6, -0.4);
    const double left = made_off(&scratch, "fixed = place blue\nblue = pass blue.exr\n", 1001, 0, 0);
    for (int frame = 1001; frame <= 1007; frame += 6) {
        const double off = made_off(&scratch, "blue = pass blue.exr\nfixed = align blue\n  to green\n", frame, 0, 0);
        print_message("bump left %.4f, aligned %.4f\n", left, off);
        assert_true(off < 0.1 * left);
    }
    scratch_release(&scratch);
}

static void placed_after_it_costs_no_second_resampling(void **state)
{
    static const char told[] = "blue = pass blue.exr\nfixed = place blue\n  move 1.9 2.6 px\n";
    static const char found[] = "blue = pass blue.exr\nput = align blue\n  to green\n  find move\n"
                                "fixed = place put\n  move 2.5 2.2 px\n";
    struct scratch scratch;
    (void)state;
    scratch_init(&scratch);
    film(&scratch, "green.exr", 5, 1, 0, 0);
    film(&scratch, "blue.exr", 5, -1, 0.6, -0.4);
    const double once = made_off(&scratch, told, 1001, 2.5, 2.2);
    const double both = made_off(&scratch, found, 1001, 2.5, 2.2);
    print_message("placed by the truth %.5f, aligned and placed %.5f\n", once, both);
    assert_true(both < once + 0.02);
    scratch_release(&scratch);
}

static void the_edge_is_held(void **state)
{
    struct scratch scratch;
    struct passel_picture picture;
    (void)state;
    scratch_init(&scratch);
    film(&scratch, "green.exr", 5, 1, 0, 0);
    film(&scratch, "blue.exr", 5, -1, 4.5, 3.5);
    assert_int_equal(make(&scratch, "blue = pass blue.exr\nfixed = align blue\n  to green\n", 1001, &picture,
                          &(struct passel_error){ 0 }),
                     PASSEL_OK);
    const float *last = picture.plane[1] + (HEIGHT - 1) * WIDTH;
    for (int x = 0; x < WIDTH; x++)
        assert_true(last[x] > 0.05F && fabsf(last[x] - last[x - WIDTH]) < 0.02F);
    passel_picture_release(&picture);
    scratch_release(&scratch);
}

/* In a chain of steps that is resampled once, `place` over `align` used to take the edge away that `align` holds: the
 * whole chain had the border of its last step. The picture that goes through `stack` is not joined. */
static void the_edge_is_held_below_other_steps(void **state)
{
    static const char *const moves[] = { "-10 -6", "3.5 -2.25" };
    struct scratch scratch;
    (void)state;
    scratch_init(&scratch);
    film(&scratch, "green.exr", 5, 1, 0, 0);
    film(&scratch, "blue.exr", 5, -1, 4.5, 3.5);
    for (int i = 0; i < 2; i++) {
        static const char take[] = "blue = pass blue.exr\nput = align blue\n  to green\n";
        char joined[400], apart[400];
        struct passel_picture one, two;
        (void)snprintf(joined, sizeof joined, "%sfixed = place put\n  move %s px\n", take, moves[i]);
        (void)snprintf(apart, sizeof apart, "%slaid = stack\n  layer put\nfixed = place laid\n  move %s px\n", take,
                       moves[i]);
        assert_int_equal(make(&scratch, joined, 1001, &one, &(struct passel_error){ 0 }), PASSEL_OK);
        assert_int_equal(make(&scratch, apart, 1001, &two, &(struct passel_error){ 0 }), PASSEL_OK);
        for (int p = 1; p < 4; p += 2)
            for (int k = 0; k < WIDTH * HEIGHT; k++)
                if (!(fabsf(one.plane[p][k] - two.plane[p][k]) < (p == 3 || i % 2 == 0 ? 1e-5F : 0.1F)))
                    fail_msg("move %s, plane %d, pixel %d %d: %.4f, where %.4f is seen when it is not joined", moves[i],
                             p, k % WIDTH, k / WIDTH, (double)one.plane[p][k], (double)two.plane[p][k]);
        passel_picture_release(&one);
        passel_picture_release(&two);
    }
    scratch_release(&scratch);
}

static const double shaken[7][2] = { { 0.3, -0.2 }, { -0.8, 0.6 }, { 1.1, 0.4 }, { -0.4, -0.9 },
                                     { 0.9, 1.2 },  { -1.2, 0.1 }, { 0.2, -0.6 } };

static void a_shaking_take_is_steadied(void **state)
{
    static const char blocks[] =
        "blue = pass blue.####.exr\nfixed = align blue\n  to green\n  find move\n  each frame\n";
    struct scratch scratch;
    (void)state;
    scratch_init(&scratch);
    film(&scratch, "green.exr", 5, 1, 0, 0);
    film_take(&scratch, shaken[0]);
    for (int frame = 1001; frame <= 1007; frame += 2) {
        const double off = made_off(&scratch, blocks, frame, 0, 0);
        print_message("frame %d: %.4f\n", frame, off);
        assert_true(off < 0.03);
    }
    scratch_release(&scratch);
}

/* A straight drift with a shake on it: of the line through five frames around the fourth the shake is what is left. */
static void the_drift_is_kept(void **state)
{
    static const char blocks[] = "blue = pass blue.####.exr\nfixed = align blue\n  to green\n  find move\n"
                                 "  each frame smooth 5 frames\n";
    static const double weights[7] = { 0, 1, 2, 3, 2, 1, 0 }; /* 1 - |t|/3 of a third, by hand */
    double moves[7][2], wanted[2] = { 0, 0 };
    struct scratch scratch;
    (void)state;
    scratch_init(&scratch);
    film(&scratch, "green.exr", 5, 1, 0, 0);
    for (int i = 0; i < 7; i++) {
        moves[i][0] = 0.8 * i + (i & 1 ? 0.5 : -0.5);
        moves[i][1] = -0.5 * i + (i % 3 == 0 ? 0.6 : 0);
        for (int k = 0; k < 2; k++)
            wanted[k] += weights[i] / 9 * moves[i][k];
    }
    film_take(&scratch, moves[0]);
    const double kept = made_off(&scratch, blocks, 1004, wanted[0], wanted[1]);
    print_message("drift %.4f, unsteadied %.4f\n", kept,
                  made_off(&scratch, "blue = pass blue.####.exr\nfixed = place blue\n", 1004, wanted[0], wanted[1]));
    assert_true(kept < 0.03);
    scratch_release(&scratch);
}

static void one_frame_holds_a_take(void **state)
{
    static const char blocks[] =
        "blue = pass blue.####.exr\nfixed = align blue\n  to blue frame 1003\n  find move\n  each frame\n";
    struct scratch scratch;
    (void)state;
    scratch_init(&scratch);
    film(&scratch, "green.exr", 5, 1, 0, 0);
    film_take(&scratch, shaken[0]);
    assert_true(made_off(&scratch, blocks, 1006, shaken[2][0], shaken[2][1]) < 0.03);
    scratch_release(&scratch);
}

static void refused(const struct scratch *scratch, const char *blocks, const char *const *parts)
{
    struct passel_picture picture;
    struct passel_error error = { 0 };
    assert_int_equal(make(scratch, blocks, 1001, &picture, &error), PASSEL_BAD_PICTURE);
    for (; *parts != NULL; parts++)
        if (strstr(error.text, *parts) == NULL)
            fail_msg("expected \"%s\" in \"%s\"", *parts, error.text);
}

static void what_does_not_fit_is_refused(void **state)
{
    static const char take[] = "blue = pass blue.####.exr\nfixed = align blue\n  to green\n  find move\n";
    static const char still[] = "fixed = align blue\n  to green\nblue = pass other.exr\n";
    static const char nowhere[] = "blue = pass green.exr\nnone = shape\n  ellipse 400 400 5 5 px\n"
                                  "fixed = align blue\n  to green\n  measure none\n";
    struct scratch scratch;
    (void)state;
    scratch_init(&scratch);
    film(&scratch, "green.exr", 5, 1, 0, 0);
    film(&scratch, "other.exr", 6, -1, 0, 0);
    film_take(&scratch, shaken[0]);
    refused(&scratch, take, (const char *const[]){ "bump.passel:6:", "each frame", "frames agree", NULL });
    refused(&scratch, still,
            (const char *const[]){ "bump.passel:5:", "`blue` cannot be laid on `green`", "standard deviations", NULL });
    refused(&scratch, nowhere, (const char *const[]){ "bump.passel:8:", "nothing to hold on to", NULL });
    scratch_release(&scratch);
}

static void once_and_each_exclude_each_other(void **state)
{
    struct scratch scratch;
    struct passel_picture picture;
    struct passel_error error = { 0 };
    (void)state;
    scratch_init(&scratch);
    film(&scratch, "green.exr", 5, 1, 0, 0);
    assert_int_equal(make(&scratch, "fixed = align green\n  to green\n  once\n  each frame\n", 1001, &picture, &error),
                     PASSEL_BAD_RECIPE);
    assert_non_null(strstr(error.text, "bump.passel:8:3"));
    scratch_release(&scratch);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_answer_for_the_shot),
        cmocka_unit_test(placed_after_it_costs_no_second_resampling),
        cmocka_unit_test(the_edge_is_held),
        cmocka_unit_test(the_edge_is_held_below_other_steps),
        cmocka_unit_test(a_shaking_take_is_steadied),
        cmocka_unit_test(the_drift_is_kept),
        cmocka_unit_test(one_frame_holds_a_take),
        cmocka_unit_test(what_does_not_fit_is_refused),
        cmocka_unit_test(once_and_each_exclude_each_other),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
