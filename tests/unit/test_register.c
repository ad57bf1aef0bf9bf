/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Registration against pictures that are known at every position: paint and relief are sums of sines, so a moved,
 * turned or pinned picture is computed, not resampled. The two pictures are lit from opposite sides.
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
#include "numerics/register.h"

#define WAVES 100
#define RELIEF 0.12 /* depth of the shading */
#define WIDTH 176
#define HEIGHT 128

/* The generator of many textbooks: x = 1664525 x + 1013904223. */
static double uniform(uint32_t *seed)
{
    *seed = *seed * 1664525U + 1013904223U;
    return *seed / 4294967296.0;
}

static double normal(uint32_t *seed)
{
    double sum = -6;
    for (int i = 0; i < 12; i++)
        sum += uniform(seed);
    return sum;
}

struct waves {
    double u[WAVES], v[WAVES], phase[WAVES], size[WAVES];
};

/* Amplitudes fall with frequency; the sum has a standard deviation of about 1. */
static struct waves waves_of(uint32_t seed)
{
    struct waves w;
    double squares = 0;
    for (int i = 0; i < WAVES; i++) {
        const double frequency = 0.01 + 0.4 * uniform(&seed), direction = 6.283185307179586 * uniform(&seed);
        w.u[i] = frequency * cos(direction);
        w.v[i] = frequency * sin(direction);
        w.phase[i] = uniform(&seed);
        w.size[i] = 1 / sqrt(frequency);
        squares += w.size[i] * w.size[i] / 2;
    }
    for (int i = 0; i < WAVES; i++)
        w.size[i] /= sqrt(squares);
    return w;
}

static double wave_at(const struct waves *w, double x, double y)
{
    double sum = 0;
    for (int i = 0; i < WAVES; i++)
        sum += w->size[i] * sin(6.283185307179586 * (w->u[i] * x + w->v[i] * y + w->phase[i]));
    return sum;
}

struct set {
    struct waves paint, relief;
};

static struct set set_of(uint32_t seed)
{
    const struct set set = { waves_of(seed), waves_of(seed + 1000) };
    return set;
}

/* How a picture of a set is taken. */
struct shooting {
    double lamp;           /* shading: 1 from the left, -1 from the right */
    struct transform back; /* from the picture to the set */
    double level, noise;
    uint32_t seed;
};

static struct picture shoot(const struct set *set, struct shooting how)
{
    struct picture picture;
    assert_int_equal(picture_new(&picture, rect_of(0, 0, WIDTH, HEIGHT), HAS_R, NULL), PASSEL_OK);
    for (int32_t y = 0; y < HEIGHT; y++)
        for (int32_t x = 0; x < WIDTH; x++) {
            double u, v;
            transform_point(&how.back, x + 0.5, y + 0.5, &u, &v);
            const double paint = 0.5 * exp(0.35 * wave_at(&set->paint, u, v));
            const double shade = fmax(1 + how.lamp * RELIEF * wave_at(&set->relief, u, v), 0.05);
            picture_row(&picture, PLANE_R, y)[x] = (float)(how.level * (paint * shade + how.noise * normal(&how.seed)));
        }
    return picture;
}

static struct transform shift(double dx, double dy)
{
    const struct transform t = { { 1, 0, dx, 0, 1, dy, 0, 0, 1 } };
    return t;
}

static struct transform turned(double degrees, double size, double dx, double dy)
{
    const double c = size * cos(degrees / 57.29577951308232), s = size * sin(degrees / 57.29577951308232);
    const struct transform t = { { c, -s, 0, s, c, 0, 0, 0, 1 } };
    return transform_chain(transform_chain(shift(-WIDTH / 2.0, -HEIGHT / 2.0), t),
                           shift(WIDTH / 2.0 + dx, HEIGHT / 2.0 + dy));
}

static struct transform inverse(struct transform t)
{
    struct transform back;
    assert_true(transform_invert(t, &back));
    return back;
}

static double corner_error(const struct transform *found, const struct transform *truth)
{
    double worst = 0;
    for (int i = 0; i < 4; i++) {
        double x, y, u, v;
        transform_point(found, i & 1 ? WIDTH : 0, i & 2 ? HEIGHT : 0, &x, &y);
        transform_point(truth, i & 1 ? WIDTH : 0, i & 2 ? HEIGHT : 0, &u, &v);
        worst = fmax(worst, sqrt((x - u) * (x - u) + (y - v) * (y - v)));
    }
    return worst;
}

/* The error at the worst corner when the second picture was moved by `truth`. */
static double error_of(uint32_t seed, enum register_model model, struct transform truth, double noise, double level)
{
    const struct set set = set_of(seed);
    struct picture fixed = shoot(&set, (struct shooting){ 1, transform_identity(), 1, noise, 1 });
    struct picture moved = shoot(&set, (struct shooting){ -1, inverse(truth), level, noise, 2 });
    struct registration found;
    struct passel_error error;
    if (register_pictures(&fixed, &moved, NULL, model, NULL, &found, &error) != PASSEL_OK)
        fail_msg("%s", error.text);
    picture_release(&fixed);
    picture_release(&moved);
    return corner_error(&found.map, &truth);
}

static void moves_are_found(void **state)
{
    static const double moves[][2] = { { 0, 0 },      { 0.1, 0 },   { 0.5, -0.5 }, { -0.25, 0.75 },
                                       { 2.3, -1.6 }, { -6, -3.4 }, { 8.5, 8.5 },  { 0, 12 } };
    double squares = 0, worst = 0;
    (void)state;
    for (uint32_t i = 0; i < 8; i++) {
        const double e = error_of(10 + i, REGISTER_MOVE, shift(moves[i][0], moves[i][1]), 0.005, 1);
        squares += e * e;
        worst = fmax(worst, e);
    }
    print_message("moves: rms %.4f, worst %.4f px\n", sqrt(squares / 8), worst);
    assert_true(sqrt(squares / 8) <= 0.06);
    assert_true(worst <= 0.12);
}

static void turns_and_sizes_are_found(void **state)
{
    const double turn = error_of(30, REGISTER_MOVE_TURN, turned(0.3, 1, 1.2, -0.7), 0.005, 1);
    const double size = error_of(31, REGISTER_MOVE_TURN_SIZE, turned(0.3, 1.003, -0.4, 0.9), 0.005, 1);
    const double back = error_of(32, REGISTER_MOVE_TURN_SIZE, turned(-0.3, 1 / 1.003, 3, 2), 0.005, 1);
    (void)state;
    print_message("turn %.4f, turn and size %.4f and %.4f px\n", turn, size, back);
    assert_true(turn <= 0.12 && size <= 0.12 && back <= 0.12);
}

static void four_corners_are_found(void **state)
{
    const struct transform seen = { { 1.002, 0.003, 0.7, -0.002, 0.999, -1.1, 1e-5, -2e-5, 1 } };
    const double e = error_of(40, REGISTER_PIN, seen, 0.005, 1);
    (void)state;
    print_message("pin %.4f px\n", e);
    assert_true(e <= 0.25);
}

/* The answer hangs on structure alone: ten stops darker is the same picture, to the last bits of its floats. */
static void level_does_not_matter(void **state)
{
    const struct transform truth = shift(1.3, -0.8);
    const double same = error_of(50, REGISTER_MOVE, truth, 0.005, 1);
    const double dark = error_of(50, REGISTER_MOVE, truth, 0.005, 1.0 / 1024);
    const double odd = error_of(50, REGISTER_MOVE, truth, 0.005, 3e-4);
    (void)state;
    assert_true(fabs(same - dark) < 1e-9);
    assert_true(fabs(same - odd) < 1e-3);
}

/* Paint and relief have a contrast of about 0.2 (standard deviation): three times this noise. */
static void much_noise_is_borne(void **state)
{
    double worst = 0;
    (void)state;
    for (uint32_t i = 0; i < 4; i++)
        worst = fmax(worst, error_of(60 + i, REGISTER_MOVE, shift(1.5 * i - 2, 0.7 * i), 0.065, 1));
    print_message("noise of a third of the contrast: worst %.4f px\n", worst);
    assert_true(worst <= 0.3);
}

/* A fifth of the second picture shows something that went elsewhere. */
static void moving_parts_do_not_pull(void **state)
{
    const struct set set = set_of(70), actor = set_of(71);
    const struct transform truth = shift(0.6, -0.4);
    struct picture fixed = shoot(&set, (struct shooting){ 1, transform_identity(), 1, 0.005, 1 });
    struct picture moved = shoot(&set, (struct shooting){ -1, inverse(truth), 1, 0.005, 2 });
    struct picture here = shoot(&actor, (struct shooting){ 1, transform_identity(), 1, 0.005, 3 });
    struct picture there = shoot(&actor, (struct shooting){ 1, shift(-3, -2), 1, 0.005, 4 });
    const struct rect part = rect_of(60, 30, 140, 100);
    const struct picture from = picture_part(&here, part), to = picture_part(&there, part);
    struct registration found;
    (void)state;
    picture_copy(&fixed, &from);
    picture_copy(&moved, &to);
    assert_int_equal(register_pictures(&fixed, &moved, NULL, REGISTER_MOVE, NULL, &found, NULL), PASSEL_OK);
    print_message("moving part: %.4f px\n", corner_error(&found.map, &truth));
    assert_true(corner_error(&found.map, &truth) <= 0.12);
    picture_release(&fixed);
    picture_release(&moved);
    picture_release(&here);
    picture_release(&there);
}

/* Left of the middle the picture moved one way, right of it another: the shape says which counts. The shape covers
 * less than the picture and lies apart from its corner. */
static void a_shape_says_where(void **state)
{
    const struct set set = set_of(80);
    const struct transform ways[2] = { shift(1.7, 0.6), shift(-2.2, 1.1) };
    struct picture fixed = shoot(&set, (struct shooting){ 1, transform_identity(), 1, 0.005, 1 });
    struct picture moved = shoot(&set, (struct shooting){ -1, inverse(ways[0]), 1, 0.005, 2 });
    struct picture other = shoot(&set, (struct shooting){ -1, inverse(ways[1]), 1, 0.005, 3 });
    const struct picture right = picture_part(&other, rect_of(WIDTH / 2, 0, WIDTH, HEIGHT));
    (void)state;
    picture_copy(&moved, &right);
    for (int side = 0; side < 2; side++) {
        struct picture shape;
        struct registration found;
        const int32_t x0 = side == 0 ? 0 : WIDTH / 2;
        assert_int_equal(picture_new(&shape, rect_of(x0, 0, x0 + WIDTH / 2 - 4, HEIGHT), HAS_A, NULL), PASSEL_OK);
        picture_fill(&shape, PLANE_A, shape.area, 1);
        assert_int_equal(register_pictures(&fixed, &moved, &shape, REGISTER_MOVE, NULL, &found, NULL), PASSEL_OK);
        print_message("side %d: %.4f px\n", side, corner_error(&found.map, &ways[side]));
        assert_true(corner_error(&found.map, &ways[side]) <= 0.15);
        picture_release(&shape);
    }
    picture_release(&fixed);
    picture_release(&moved);
    picture_release(&other);
}

/* Areas that do not begin at 0: the map is between their coordinates. And the same bits every time. */
static void places_of_areas_count(void **state)
{
    const struct set set = set_of(90);
    const struct transform truth = shift(0.9, 1.4);
    struct picture fixed = shoot(&set, (struct shooting){ 1, transform_identity(), 1, 0.005, 1 });
    struct picture moved = shoot(&set, (struct shooting){ -1, inverse(truth), 1, 0.005, 2 });
    struct registration first, again, apart;
    (void)state;
    assert_int_equal(register_pictures(&fixed, &moved, NULL, REGISTER_MOVE_TURN, NULL, &first, NULL), PASSEL_OK);
    assert_int_equal(register_pictures(&fixed, &moved, NULL, REGISTER_MOVE_TURN, NULL, &again, NULL), PASSEL_OK);
    assert_memory_equal(&first, &again, sizeof first);
    fixed.area = rect_shift(fixed.area, 100, -40);
    moved.area = rect_shift(moved.area, 30, 7);
    assert_int_equal(register_pictures(&fixed, &moved, NULL, REGISTER_MOVE_TURN, NULL, &apart, NULL), PASSEL_OK);
    for (int i = 0; i < 4; i++) {
        double x, y, u, v;
        transform_point(&first.map, 50.0 * i, 20.0 * i, &x, &y);
        transform_point(&apart.map, 50.0 * i + 100, 20.0 * i - 40, &u, &v);
        assert_true(fabs(u - 30 - x) < 1e-3 && fabs(v - 7 - y) < 1e-3);
    }
    picture_release(&fixed);
    picture_release(&moved);
}

static void refused(struct picture fixed, struct picture moved, const char *why)
{
    struct registration found;
    struct passel_error error;
    for (int model = REGISTER_MOVE; model <= REGISTER_PIN; model += REGISTER_PIN) {
        assert_int_equal(register_pictures(&fixed, &moved, NULL, (enum register_model)model, NULL, &found, &error),
                         PASSEL_BAD_PICTURE);
        if (strstr(error.text, why) == NULL)
            fail_msg("expected \"%s\" in \"%s\"", why, error.text);
    }
    picture_release(&fixed);
    picture_release(&moved);
}

static struct picture flat(int32_t width, int32_t height, float value)
{
    struct picture picture;
    assert_int_equal(picture_new(&picture, rect_of(0, 0, width, height), HAS_R, NULL), PASSEL_OK);
    picture_fill(&picture, PLANE_R, picture.area, value);
    return picture;
}

static void wrong_pairs_are_refused(void **state)
{
    const struct set one = set_of(100);
    const struct shooting still = { 1, transform_identity(), 1, 0.005, 1 };
    (void)state;
    for (uint32_t i = 0; i < 4; i++) {
        const struct set two = set_of(101 + i);
        refused(shoot(&one, still), shoot(&two, still), "standard deviations");
    }
    refused(shoot(&one, still), shoot(&one, (struct shooting){ -1, shift(60, 30), 1, 0.005, 2 }), "within 10%");
    refused(flat(WIDTH, HEIGHT, 0.4F), flat(WIDTH, HEIGHT, 0.4F), "nothing to hold on to");
    refused(shoot(&one, still), flat(WIDTH, HEIGHT, 0), "nothing to hold on to");
    refused(flat(63, 200, 1), flat(63, 200, 1), "64 pixels");
}

static enum passel_status attempt(void *data)
{
    const struct picture *pictures = data;
    const struct transform guess = shift(0.3, 0); /* no search: fewer steps to fail at */
    struct registration found;
    return register_pictures(&pictures[0], &pictures[1], &pictures[2], REGISTER_MOVE, &guess, &found, NULL);
}

static void memory_may_fail(void **state)
{
    const struct set set = set_of(120);
    struct picture whole = shoot(&set, (struct shooting){ 1, transform_identity(), 1, 0, 1 }), shape;
    const struct rect part = rect_of(0, 0, 72, 64);
    assert_int_equal(picture_new(&shape, part, HAS_A, NULL), PASSEL_OK);
    picture_fill(&shape, PLANE_A, part, 1);
    struct picture pictures[3] = { picture_part(&whole, part), picture_part(&whole, part), shape };
    (void)state;
    assert_true(fail_memory_each(attempt, pictures) > 10);
    picture_release(&whole);
    picture_release(&shape);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(moves_are_found),         cmocka_unit_test(turns_and_sizes_are_found),
        cmocka_unit_test(four_corners_are_found),  cmocka_unit_test(level_does_not_matter),
        cmocka_unit_test(much_noise_is_borne),     cmocka_unit_test(moving_parts_do_not_pull),
        cmocka_unit_test(a_shape_says_where),      cmocka_unit_test(places_of_areas_count),
        cmocka_unit_test(wrong_pairs_are_refused), cmocka_unit_test(memory_may_fail),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
