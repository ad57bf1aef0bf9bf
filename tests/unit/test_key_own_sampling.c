/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * key two-screen with a blue take that was bumped by (0.6, -0.4) px and moved back: invented sets painted five times as
 * fine, so that a bump is whole fine pixels and the truth is exact.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <string.h>

#include "key_scene.h"
#include "kinds/key_disagree.h"
#include "kinds/key_screens.h"
#include "kinds/kinds.h"
#include "numerics/between.h"
#include "picture/geometry.h"

#define FINE 5
#define WIDTH 192
#define HEIGHT 108
#define MARGIN 8 /* at the frame's edge the bumped take has nothing to give */

static const double green[3] = { 0.08, 0.55, 0.12 }, blue[3] = { 0.06, 0.14, 0.52 };
static const struct camera camera = { 2e-5, 1e-6 };
static const struct rect frame = { 0, 0, WIDTH, HEIGHT };
static const struct value names[2] = { { .text = "gs" }, { .text = "bs" } };
static const struct takes both = { .count = 2, .take = { { &names[0], &names[0] }, { &names[1], &names[1] } } };
static const struct shot no_frames = { .name = "shot" };

static struct picture made(struct rect area, unsigned planes)
{
    struct picture picture;
    assert_int_equal(picture_new(&picture, area, planes, NULL), PASSEL_OK);
    return picture;
}

static double value(const struct picture *picture, int p, int32_t x, int32_t y)
{
    return (double)picture_row(picture, (enum plane)p, y)[x];
}

/* Pixels of FINE x FINE, the camera bumped by whole fine pixels. */
static struct picture averaged(const struct picture *fine, unsigned planes, int32_t dx, int32_t dy)
{
    const struct picture small = made(frame, planes);
    for (int p = 0; p < PLANE_COUNT; p++) {
        for (int32_t i = 0; small.plane[p] != NULL && i < WIDTH * HEIGHT; i++) {
            float sum = 0;
            for (int32_t k = 0; k < FINE * FINE; k++) {
                const int32_t x = i % WIDTH * FINE + k % FINE - dx, y = i / WIDTH * FINE + k / FINE - dy;
                sum += picture_row(fine, (enum plane)p,
                                   place_between(y, 0, HEIGHT * FINE - 1))[place_between(x, 0, WIDTH * FINE - 1)];
            }
            picture_row(&small, (enum plane)p, i / WIDTH)[i % WIDTH] = sum * (1.0F / (FINE * FINE));
        }
    }
    return small;
}

/* The bump undone, as the engine does it. */
static void move_back(struct picture *take, int32_t dx, int32_t dy)
{
    const struct transform back = { { 1, 0, dx / (double)FINE, 0, 1, dy / (double)FINE, 0, 0, 1 } };
    const struct picture moved = made(frame, HAS_RGB);
    assert_int_equal(spline_prepare(take, NULL), PASSEL_OK);
    assert_int_equal(picture_resample(&moved, take, frame, true, &back, FILTER_SPLINE, NULL), PASSEL_OK);
    picture_release(take);
    *take = moved;
}

struct set {
    struct picture truth, take[2], empty[2];
};

static void set_make(struct set *set, const struct picture *cut, int32_t dx, int32_t dy, uint64_t seed)
{
    struct dice dice = { seed };
    const double *colours[2] = { green, blue };
    set->truth = averaged(cut, HAS_RGBA, 0, 0);
    for (int i = 0; i < 2; i++) {
        struct picture lit = scene_screen(WIDTH * FINE, HEIGHT * FINE, colours[i], 0.3, false);
        struct picture seen = scene_take(cut, &lit, 1), empty = scene_take(NULL, &lit, 1);
        set->take[i] = averaged(&seen, HAS_RGB, i == 0 ? 0 : dx, i == 0 ? 0 : dy);
        set->empty[i] = averaged(&empty, HAS_RGB, 0, 0);
        scene_add_noise(&set->take[i], camera, &dice);
        scene_add_noise(&set->empty[i], camera, &dice);
        picture_release(&lit);
        picture_release(&seen);
        picture_release(&empty);
    }
    if (dx != 0 || dy != 0)
        move_back(&set->take[1], dx, dy);
}

static void set_release(struct set *set)
{
    picture_release(&set->truth);
    for (int i = 0; i < 2; i++) {
        picture_release(&set->take[i]);
        picture_release(&set->empty[i]);
    }
}

static struct screens *find(const struct set *set)
{
    const int32_t frames[1] = { 1 };
    const struct shot shot = { .width = WIDTH, .height = HEIGHT, .frames = frames, .frame_count = 1 };
    const struct picture_info info = { .display = frame, .data = frame, .planes = HAS_RGB };
    const struct at at = { .self = &both, .shot = &shot };
    const struct analysis *analysis = kind_key_two_screen.analysis;
    void *work = NULL, *found = NULL;
    size_t bytes = 0;
    for (int i = 0; i < 2; i++) {
        assert_int_equal(analysis->add(&at, 2 * i, &set->empty[i], &info, 1, &work, NULL), PASSEL_OK);
        assert_int_equal(analysis->add(&at, 2 * i + 1, &set->take[i], &info, 1, &work, NULL), PASSEL_OK);
    }
    assert_int_equal(analysis->finish(&at, work, &found, &bytes, NULL), PASSEL_OK);
    analysis->drop_work(work);
    return found;
}

/* Which take has been resampled is what the engine would tell. */
static struct picture cut_out(const struct set *set, struct screens *found, bool first, bool second, struct rect part,
                              struct disagreement *told)
{
    const struct picture_info inputs[2] = { { .display = frame, .data = frame, .resampled = first },
                                            { .display = frame, .data = frame, .resampled = second } };
    const struct at at = { .self = &both,
                           .shot = &no_frames,
                           .found = found,
                           .inputs = inputs,
                           .ask_count = 2,
                           .info = &inputs[0],
                           .state = told };
    const struct picture out = made(part, HAS_RGBA);
    const struct rect seen = rect_cut(kind_key_two_screen.reach(&at, 0, part), frame);
    const struct picture in[2] = { picture_part(&set->take[0], seen), picture_part(&set->take[1], seen) };
    struct arena scratch = { 0 };
    assert_int_equal(kind_key_two_screen.fill(&at, in, &out, &scratch, NULL), PASSEL_OK);
    arena_release(&scratch);
    return out;
}

static double error_of(const struct picture *cut, const struct picture *truth, int first, int last)
{
    double sum = 0;
    for (int p = first; p <= last; p++) {
        for (int32_t y = MARGIN; y < HEIGHT - MARGIN; y++) {
            for (int32_t x = MARGIN; x < WIDTH - MARGIN; x++) {
                const double off = value(cut, p, x, y) - value(truth, p, x, y);
                sum += off * off;
            }
        }
    }
    return sum / ((last - first + 1.0) * (HEIGHT - 2 * MARGIN) * (WIDTH - 2 * MARGIN));
}

static void check_bump(struct picture (*paint)(int32_t, int32_t), const char *name, int32_t dx, int32_t dy,
                       uint64_t seed, double alpha_share, double colour_share)
{
    struct picture fine = paint(WIDTH * FINE, HEIGHT * FINE);
    struct set set, still;
    set_make(&set, &fine, dx, dy, seed);
    set_make(&still, &fine, 0, 0, seed);
    struct screens *found = find(&set), *found_still = find(&still);
    struct picture cuts[] = { cut_out(&set, found, false, false, frame, NULL),
                              cut_out(&set, found, false, true, frame, NULL),
                              cut_out(&still, found_still, false, false, frame, NULL) };
    double alpha[3], colour[3];
    for (int i = 0; i < 3; i++) {
        alpha[i] = error_of(&cuts[i], &set.truth, PLANE_A, PLANE_A);
        colour[i] = error_of(&cuts[i], &set.truth, PLANE_R, PLANE_B);
        picture_release(&cuts[i]);
    }
    print_message("%s bumped by %d, %d fifths of a pixel, seed %d: mse of alpha as if alike %.2e, own sampling %.2e, "
                  "never bumped %.2e; of colour %.2e, %.2e, %.2e\n",
                  name, dx, dy, (int)seed, alpha[0], alpha[1], alpha[2], colour[0], colour[1], colour[2]);
    assert_true(alpha[1] < alpha_share * alpha[0]);
    assert_true(colour[1] < colour_share * colour[0]);
    kind_key_two_screen.analysis->drop_found(found);
    kind_key_two_screen.analysis->drop_found(found_still);
    set_release(&set);
    set_release(&still);
    picture_release(&fine);
}

static void test_bumped(void **state)
{
    (void)state;
    check_bump(scene_keeper, "keeper", 3, -2, 1, 0.1, 0.1);
    check_bump(scene_keeper, "keeper", 8, 4, 2, 0.1, 0.1);
    check_bump(scene_cottage, "cottage", 3, -2, 3, 0.5, 0.5); /* has paint of the screens' colours */
}

static void assert_same(const struct picture *part, const struct picture *whole)
{
    for (int p = 0; p < PLANE_COUNT; p++) {
        for (int32_t y = part->area.y0; y < part->area.y1; y++)
            assert_memory_equal(picture_row(part, (enum plane)p, y),
                                picture_row(whole, (enum plane)p, y) + part->area.x0,
                                (size_t)rect_width(part->area) * sizeof(float));
    }
}

/* The same bits whatever part is filled. */
static void test_parts(void **state)
{
    (void)state;
    static const struct rect parts[] = {
        { 61, 33, 122, 40 }, { 0, 0, 9, 108 }, { 100, 90, 192, 108 }, { 90, 0, 91, 1 }
    };
    struct picture fine = scene_keeper(WIDTH * FINE, HEIGHT * FINE);
    struct set set;
    set_make(&set, &fine, 3, -2, 4);
    struct screens *found = find(&set);
    struct picture whole = cut_out(&set, found, false, true, frame, NULL);
    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++) {
        struct picture part = cut_out(&set, found, false, true, parts[i], NULL);
        assert_same(&part, &whole);
        picture_release(&part);
    }
    kind_key_two_screen.analysis->drop_found(found);
    picture_release(&whole);
    set_release(&set);
    picture_release(&fine);
}

/* A take that went through a geometric step and still agrees to within noise is keyed as any other; so are two that
 * were both resampled. */
static void test_alike(void **state)
{
    (void)state;
    struct picture fine = scene_keeper(WIDTH * FINE, HEIGHT * FINE);
    struct set set;
    set_make(&set, &fine, 0, 0, 5);
    struct screens *found = find(&set);
    struct picture plain = cut_out(&set, found, false, false, frame, NULL);
    struct picture one = cut_out(&set, found, true, false, frame, NULL);
    struct picture two = cut_out(&set, found, true, true, frame, NULL);
    assert_same(&two, &plain);
    assert_true(error_of(&one, &set.truth, PLANE_A, PLANE_A) < 1.02 * error_of(&plain, &set.truth, PLANE_A, PLANE_A));
    kind_key_two_screen.analysis->drop_found(found);
    picture_release(&plain);
    picture_release(&one);
    picture_release(&two);
    set_release(&set);
    picture_release(&fine);
}

static void paint_disc(const struct picture *take, int32_t x0, int32_t y0)
{
    static const float grey[3] = { 0.30F, 0.29F, 0.27F };
    for (int32_t y = -8; y <= 8; y++) {
        for (int32_t x = -8; x <= 8; x++) {
            for (int c = 0; c < 3 && x * x + y * y <= 64; c++)
                picture_row(take, (enum plane)c, y0 + y)[x0 + x] = grey[c];
        }
    }
}

static double mean_alpha(const struct picture *cut, int32_t x0, int32_t y0)
{
    double sum = 0;
    for (int32_t y = -3; y <= 3; y++) {
        for (int32_t x = -3; x <= 3; x++)
            sum += value(cut, PLANE_A, x0 + x, y0 + y) / 49;
    }
    return sum;
}

/* What really moved is where the take shows it that was not resampled, whichever that is, and the frame tells. The same
 * set without is told nothing about: hair that is sampled otherwise has not moved. */
static void test_moved(void **state)
{
    (void)state;
    struct picture fine = scene_keeper(WIDTH * FINE, HEIGHT * FINE);
    const int32_t at[2] = { 20, 45 }, down = 14;
    for (int own = 0; own < 2; own++) {
        struct set set;
        set_make(&set, &fine, 3, -2, 6);
        for (int ball = 0; ball < 2; ball++) {
            for (int i = 0; i < 2 && ball == 1; i++)
                paint_disc(&set.take[i], at[i], down);
            struct screens *found = find(&set);
            struct disagreement *told;
            struct text notes = { 0 };
            assert_int_equal(disagreement_new(&told, &both, "cut", NULL), PASSEL_OK);
            struct picture cut = cut_out(&set, found, own == 1, own == 0, frame, told);
            kind_key_two_screen.close(told, &notes);
            if (notes.bytes != NULL)
                print_message("%s", notes.bytes);
            assert_true((notes.bytes != NULL) == (ball == 1));
            if (ball == 1) {
                assert_non_null(strstr(notes.bytes, own == 0 ? "from gs alone" : "from bs alone"));
                assert_float_equal(mean_alpha(&cut, at[own], down), 1, 0.02);
                assert_float_equal(mean_alpha(&cut, at[1 - own], down), 0, 0.02);
            }
            text_release(&notes);
            kind_key_two_screen.analysis->drop_found(found);
            picture_release(&cut);
        }
        set_release(&set);
    }
    picture_release(&fine);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_bumped),
        cmocka_unit_test(test_parts),
        cmocka_unit_test(test_alike),
        cmocka_unit_test(test_moved),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
