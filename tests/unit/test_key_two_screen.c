/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * key two-screen: published triangulation values; and an invented set with noise, where the key must be at least as
 * good as plain least squares and near the best that any pixel-wise method could do.
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
#include "kinds/key_disagree.h"
#include "kinds/key_screens.h"
#include "kinds/kinds.h"

#define WIDTH 480
#define HEIGHT 270

static const struct shot no_frames = { .name = "shot" }; /* nothing is told of all of it */

static const double green[3] = { 0.08, 0.55, 0.12 }, blue[3] = { 0.06, 0.14, 0.52 };
static const struct camera camera = { 1.6e-4, 1e-5 }; /* sigma 0.01 at 0.55 */

static const struct takes noisy; /* what a fill wants to know of the settings: nothing is trusted */

static struct picture made(struct rect area, unsigned planes)
{
    struct picture picture;
    assert_int_equal(picture_new(&picture, area, planes, NULL), PASSEL_OK);
    return picture;
}

/* ---- published values ------------------------------------------------------------------------------------------ */

/* Two screens, the two takes, alpha and foreground. Computed with numpy's lstsq of the 6x4 system, equal to the
 * two-screen formula of Smith and Blinn 1996 (Theorem 4) to 1e-12. */
static const double triangulation[][16] = {
    { 0.08, 0.55, 0.12, 0.06, 0.14, 0.52, 0.332, 0.42, 0.148, 0.324, 0.256, 0.308, 0.6, 0.3, 0.2, 0.1 },
    { 0, 1, 0, 0, 0, 1, 0.3, 0.6, 0.1, 0.3, 0.2, 0.5, 0.6, 0.3, 0.2, 0.1 },
    { 1, 1, 1, 0, 0, 0, 0.75, 0.65, 0.55, 0.25, 0.15, 0.05, 0.5, 0.25, 0.15, 0.05 },
    { 0.1, 0.6, 0.15, 0.05, 0.3, 0.075, 0.23, 0.48, 0.145, 0.215, 0.39, 0.1225, 0.7, 0.2, 0.3, 0.1 },
    { 0.1, 0.6, 0.15, 0.6, 0.1, 0.55, 0.1, 0.6, 0.15, 0.6, 0.1, 0.55, 0, 0, 0, 0 },
    { 0.08, 0.55, 0.12, 0.06, 0.14, 0.52, 0.5, 0.6, 0.4, 0.5, 0.6, 0.4, 1, 0.5, 0.6, 0.4 },
    { 0.08, 0.55, 0.12, 0.06, 0.14, 0.52, 2.052, 1.8575, 0.978, 2.039, 1.591, 1.238, 0.35, 2, 1.5, 0.9 },
    { 0.08, 0.55, 0.12, 0.06, 0.14, 0.52, 0.336, 0.414, 0.151, 0.321, 0.261, 0.31, 0.6145205, 0.3015164, 0.2045096,
      0.1071466 },
};

static struct picture constant(const double colour[3])
{
    const struct picture picture = made(rect_of(0, 0, 1, 1), HAS_RGB);
    for (int c = 0; c < 3; c++)
        picture.plane[c][0] = (float)colour[c];
    return picture;
}

static void test_published(void **state)
{
    (void)state;
    for (size_t row = 0; row < sizeof triangulation / sizeof triangulation[0]; row++) {
        const double *v = triangulation[row];
        struct screens screens = { .count = 2 };
        struct picture takes[2];
        for (int i = 0; i < 2; i++) {
            screens.screen[i].field = constant(v + 3 * i);
            takes[i] = constant(v + 6 + 3 * i);
            for (int c = 0; c < 3; c++)
                screens.screen[i].noise[c].floor = 1e-6F;
        }
        struct arena scratch = { 0 };
        const struct picture out = made(rect_of(0, 0, 1, 1), HAS_RGBA);
        const struct at at = { .self = &noisy, .found = &screens };
        assert_int_equal(kind_key_two_screen.fill(&at, takes, &out, &scratch, NULL), PASSEL_OK);
        assert_float_equal(out.plane[PLANE_A][0], v[12], 3e-6);
        for (int c = 0; c < 3; c++)
            assert_float_equal(out.plane[c][0], v[13 + c], 3e-6);
        struct picture all[] = { takes[0], takes[1], out, screens.screen[0].field, screens.screen[1].field };
        for (size_t i = 0; i < 5; i++)
            picture_release(&all[i]);
        arena_release(&scratch);
    }
}

/* Three takes go the general way: exact light gives the truth. */
static void test_three(void **state)
{
    (void)state;
    static const double front[3] = { 0.3, 0.2, 0.1 },
                        screens3[3][3] = { { 0.08, 0.55, 0.12 }, { 0.06, 0.14, 0.52 }, { 0.5, 0.06, 0.05 } };
    struct screens screens = { .count = 3 };
    struct picture takes[3];
    for (int i = 0; i < 3; i++) {
        double seen[3];
        for (int c = 0; c < 3; c++) {
            seen[c] = front[c] + 0.4 * screens3[i][c];
            screens.screen[i].noise[c] = (struct noise){ 1e-4F, 1e-5F };
        }
        screens.screen[i].field = constant(screens3[i]);
        takes[i] = constant(seen);
    }
    struct arena scratch = { 0 };
    struct picture out = made(rect_of(0, 0, 1, 1), HAS_RGBA), quality = made(rect_of(0, 0, 1, 1), HAS_A);
    struct at at = { .self = &noisy, .found = &screens };
    assert_int_equal(kind_key_two_screen.fill(&at, takes, &out, &scratch, NULL), PASSEL_OK);
    assert_float_equal(out.plane[PLANE_A][0], 0.6, 3e-6);
    for (int c = 0; c < 3; c++)
        assert_float_equal(out.plane[c][0], front[c], 3e-6);
    at.picture = 1;
    assert_int_equal(kind_key_two_screen.fill(&at, takes, &quality, &scratch, NULL), PASSEL_OK);
    assert_float_equal(quality.plane[PLANE_A][0], 1, 1e-4);
    arena_release(&scratch);
    picture_release(&out);
    picture_release(&quality);
    for (int i = 0; i < 3; i++) {
        picture_release(&takes[i]);
        picture_release(&screens.screen[i].field);
    }
}

/* ---- a whole set ----------------------------------------------------------------------------------------------- */

struct set {
    struct picture truth, screen[2]; /* without noise, screens at the takes' level */
    struct picture empty[2], take[2];
};

static void set_make(struct set *set, double level, double uneven, bool marks, uint64_t seed)
{
    struct dice dice = { seed };
    const double *colours[2] = { green, blue };
    set->truth = scene_cottage(WIDTH, HEIGHT);
    for (int i = 0; i < 2; i++) {
        struct picture lit = scene_screen(WIDTH, HEIGHT, colours[i], uneven, marks);
        set->screen[i] = scene_take(NULL, &lit, level);
        set->take[i] = scene_take(&set->truth, &lit, level);
        set->empty[i] = scene_take(NULL, &lit, 1);
        scene_add_noise(&set->take[i], camera, &dice);
        scene_add_noise(&set->empty[i], camera, &dice);
        picture_release(&lit);
    }
}

static void set_release(struct set *set)
{
    picture_release(&set->truth);
    for (int i = 0; i < 2; i++) {
        picture_release(&set->screen[i]);
        picture_release(&set->empty[i]);
        picture_release(&set->take[i]);
    }
}

/* Analysis and fill as the engine calls them; `found` is for the kind's drop_found. */
static struct picture cut_out(const struct set *set, bool empties, bool trust, int which, struct screens **kept)
{
    static const struct value name = { .text = "gs" };
    const int32_t frames[1] = { 1 };
    const struct shot shot = { .width = WIDTH, .height = HEIGHT, .frames = frames, .frame_count = 1 };
    const struct takes takes = { .count = 2,
                                 .take = { { &name, empties ? &name : NULL }, { &name, empties ? &name : NULL } },
                                 .trust_levels = trust };
    const struct analysis *analysis = kind_key_two_screen.analysis;
    const struct rect all = rect_of(0, 0, WIDTH, HEIGHT);
    const struct picture_info info = { .display = all, .data = all, .planes = HAS_RGB };
    struct at at = { .self = &takes, .shot = &shot, .picture = which };
    void *work = NULL, *found = NULL;
    size_t bytes = 0;
    for (int i = 0; i < 2; i++) {
        if (empties)
            assert_int_equal(analysis->add(&at, 2 * i, &set->empty[i], &info, 1, &work, NULL), PASSEL_OK);
        assert_int_equal(analysis->add(&at, 2 * i + 1, &set->take[i], &info, 1, &work, NULL), PASSEL_OK);
    }
    assert_int_equal(analysis->finish(&at, work, &found, &bytes, NULL), PASSEL_OK);
    analysis->drop_work(work);
    assert_true(bytes >= picture_bytes(all, HAS_RGB) * 2);
    struct arena scratch = { 0 };
    const struct picture out = made(all, which == 0 ? HAS_RGBA : HAS_A);
    at.found = found;
    assert_int_equal(kind_key_two_screen.fill(&at, set->take, &out, &scratch, NULL), PASSEL_OK);
    arena_release(&scratch);
    *kept = found;
    return out;
}

static double value(const struct picture *picture, int p, int32_t x, int32_t y)
{
    return (double)picture_row(picture, (enum plane)p, y)[x];
}

static double alpha_error(const struct picture *cut, const struct picture *truth)
{
    double sum = 0;
    for (int32_t y = 0; y < HEIGHT; y++) {
        for (int32_t x = 0; x < WIDTH; x++) {
            const double off = value(cut, PLANE_A, x, y) - value(truth, PLANE_A, x, y);
            sum += off * off;
        }
    }
    return sum / (WIDTH * HEIGHT);
}

/* Mean squared error of alpha by the unweighted formula with the empties as they are, and the variance that no unbiased
 * pixel-wise estimate can go below even with the screens known (Cramer and Rao): 1 / Σ dK² / (v1 + v2). */
static void references(const struct set *set, double *plain, double *bound)
{
    double errors = 0, variances = 0;
    for (int32_t y = 0; y < HEIGHT; y++) {
        for (int32_t x = 0; x < WIDTH; x++) {
            double above = 0, below = 0, information = 0;
            const double t = 1 - value(&set->truth, PLANE_A, x, y);
            for (int c = 0; c < 3; c++) {
                const double arm = value(&set->empty[0], c, x, y) - value(&set->empty[1], c, x, y);
                above += arm * (value(&set->take[0], c, x, y) - value(&set->take[1], c, x, y));
                below += arm * arm;
                const double k0 = value(&set->screen[0], c, x, y), k1 = value(&set->screen[1], c, x, y);
                const double light = 2 * value(&set->truth, c, x, y) + t * (k0 + k1);
                information += (k0 - k1) * (k0 - k1) / (camera.gain * light + 2 * camera.floor);
            }
            errors += (t - above / below) * (t - above / below);
            variances += 1 / information;
        }
    }
    *plain = errors / (WIDTH * HEIGHT);
    *bound = variances / (WIDTH * HEIGHT);
}

static void check_set(double uneven, bool marks, uint64_t seed)
{
    struct set set;
    struct screens *found;
    double plain, bound;
    set_make(&set, 1, uneven, marks, seed);
    struct picture cut = cut_out(&set, true, false, 0, &found);
    references(&set, &plain, &bound);
    const double error = alpha_error(&cut, &set.truth);
    print_message("uneven %.1f marks %d seed %d: alpha mse %.4g, plain %.4g (x%.3f), bound %.4g (x%.3f)\n", uneven,
                  marks, (int)seed, error, plain, error / plain, bound, error / bound);
    assert_true(error < plain);
    assert_true(error < 0.3 * bound); /* neighbours help */
    kind_key_two_screen.analysis->drop_found(found);
    picture_release(&cut);
    set_release(&set);
}

static void test_noise(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= 3; seed++) {
        check_set(0.3, false, seed);
        check_set(0.8, true, seed);
    }
}

/* The measured noise of each take is the camera's. */
static void test_noise_found(void **state)
{
    (void)state;
    struct set set;
    struct screens *found;
    set_make(&set, 1, 0.5, true, 4);
    struct picture cut = cut_out(&set, true, false, 0, &found);
    for (int i = 0; i < 2; i++) {
        const double level = i == 0 ? green[1] : blue[2];
        const double sigma = sqrt((double)noise_variance(found->screen[i].noise[i + 1], (float)level));
        assert_float_equal(sigma, sqrt(camera.gain * level + camera.floor), 0.06F * (float)sigma);
    }
    kind_key_two_screen.analysis->drop_found(found);
    picture_release(&cut);
    set_release(&set);
}

/* Takes 4 % brighter than their empties: the level is found, and alpha is as good as without drift. */
static void test_levels(void **state)
{
    (void)state;
    struct set set;
    struct screens *found;
    double plain, bound;
    set_make(&set, 1.04, 0.5, true, 7);
    references(&set, &plain, &bound);
    struct picture cut = cut_out(&set, true, false, 0, &found);
    for (int i = 0; i < 2; i++) {
        for (int c = 0; c < 3; c++)
            assert_float_equal(found->screen[i].level[c], 1.04, 0.006);
    }
    assert_true(alpha_error(&cut, &set.truth) < 0.3 * bound);
    kind_key_two_screen.analysis->drop_found(found);
    picture_release(&cut);

    cut = cut_out(&set, true, true, 0, &found);
    assert_true(found->screen[0].level[1] == 1);
    assert_true(alpha_error(&cut, &set.truth) > 1.5 * bound);
    kind_key_two_screen.analysis->drop_found(found);
    picture_release(&cut);
    set_release(&set);
}

/* Without empties the screens come from the bare parts: still good, though marks on the screen are not known. */
static void test_without_empties(void **state)
{
    (void)state;
    struct set set;
    struct screens *found;
    double plain, bound;
    set_make(&set, 1, 0.5, false, 9);
    references(&set, &plain, &bound);
    struct picture cut = cut_out(&set, false, false, 0, &found);
    const double error = alpha_error(&cut, &set.truth);
    print_message("without empties: alpha mse %.4g, plain with %.4g, bound %.4g; %d bare cells\n", error, plain, bound,
                  found->screen[0].bare_cells);
    assert_true(error < plain);
    kind_key_two_screen.analysis->drop_found(found);
    picture_release(&cut);
    set_release(&set);
}

/* A prop that moved between the takes shows in `quality`. */
static void test_quality(void **state)
{
    (void)state;
    struct set set;
    struct screens *found;
    set_make(&set, 1, 0.3, false, 11);
    for (int c = 0; c < 3; c++)
        picture_fill(&set.take[1], (enum plane)c, rect_of(200, 180, 210, 190), 0.9F);
    struct picture quality = cut_out(&set, true, false, 1, &found);
    double inside = 0, outside = 0;
    for (int32_t y = 180; y < 190; y++) {
        for (int32_t x = 0; x < 10; x++) {
            inside += value(&quality, PLANE_A, 200 + x, y) / 100;
            outside += value(&quality, PLANE_A, 10 + x, y) / 100;
        }
    }
    assert_true(inside < 0.1);
    assert_true(outside > 0.8);
    kind_key_two_screen.analysis->drop_found(found);
    picture_release(&quality);
    set_release(&set);
}

/* A ball that rolled between the takes is cut out of one take alone, whole, and where it was in the other one is bare;
 * the frame tells so. All else is as without it. */
static void paint_ball(const struct picture *take, int32_t x0, int32_t y0)
{
    static const float grey[3] = { 0.30F, 0.29F, 0.27F };
    for (int32_t y = -12; y <= 12; y++) {
        for (int32_t x = -12; x <= 12; x++) {
            for (int c = 0; c < 3 && x * x + y * y <= 144; c++)
                picture_row(take, (enum plane)c, y0 + y)[x0 + x] = grey[c];
        }
    }
}

static double mean_alpha(const struct picture *cut, int32_t x0, int32_t y0)
{
    double sum = 0;
    for (int32_t y = -4; y <= 4; y++) {
        for (int32_t x = -4; x <= 4; x++)
            sum += value(cut, PLANE_A, x0 + x, y0 + y) / 81;
    }
    return sum;
}

static void test_moved(void **state)
{
    (void)state;
    static const struct value name = { .text = "gs" }, other = { .text = "bs" };
    static const struct takes takes = { .count = 2, .take = { { &name, &name }, { &other, &other } } };
    for (uint64_t seed = 3; seed < 6; seed++) {
        struct set set;
        struct screens *found;
        set_make(&set, 1, 0.3, false, seed);
        struct picture still = cut_out(&set, true, false, 0, &found);
        const int32_t at_first = 430, at_last = 390, down = 60;
        paint_ball(&set.take[0], at_first, down);
        paint_ball(&set.take[1], at_last, down);
        const struct picture_info info = { .display = rect_of(0, 0, WIDTH, HEIGHT) };
        struct disagreement *told;
        assert_int_equal(disagreement_new(&told, &takes, "cut", NULL), PASSEL_OK);
        const struct at at = { .self = &takes, .shot = &no_frames, .found = found, .info = &info, .state = told };
        struct picture cut = made(rect_of(0, 0, WIDTH, HEIGHT), HAS_RGBA);
        struct arena scratch = { 0 };
        struct text notes = { 0 };
        assert_int_equal(kind_key_two_screen.fill(&at, set.take, &cut, &scratch, NULL), PASSEL_OK);
        kind_key_two_screen.close(told, &notes);
        print_message("%s", notes.bytes);
        const bool green_believed = strstr(notes.bytes, "from gs alone") != NULL;
        assert_non_null(strstr(notes.bytes, "cut: the takes do not show the same thing at x 37"));
        assert_float_equal(mean_alpha(&cut, green_believed ? at_first : at_last, down), 1, 0.02);
        assert_float_equal(mean_alpha(&cut, green_believed ? at_last : at_first, down), 0, 0.02);
        for (int32_t y = 90; y < HEIGHT; y++)
            assert_memory_equal(picture_row(&cut, PLANE_A, y), picture_row(&still, PLANE_A, y), WIDTH * sizeof(float));
        text_release(&notes);
        arena_release(&scratch);
        kind_key_two_screen.analysis->drop_found(found);
        picture_release(&cut);
        picture_release(&still);
        set_release(&set);
    }
}

/* Takes that agree are told nothing about. */
static void test_agreed(void **state)
{
    (void)state;
    struct set set;
    struct screens *found;
    set_make(&set, 1, 0.5, true, 4);
    struct picture cut = cut_out(&set, true, false, 0, &found);
    struct disagreement *told;
    struct text notes = { 0 };
    struct arena scratch = { 0 };
    const struct picture_info info = { .display = rect_of(0, 0, WIDTH, HEIGHT) };
    assert_int_equal(disagreement_new(&told, &noisy, "cut", NULL), PASSEL_OK);
    const struct at at = { .self = &noisy, .shot = &no_frames, .found = found, .info = &info, .state = told };
    assert_int_equal(kind_key_two_screen.fill(&at, set.take, &cut, &scratch, NULL), PASSEL_OK);
    kind_key_two_screen.close(told, &notes);
    assert_null(notes.bytes);
    arena_release(&scratch);
    kind_key_two_screen.analysis->drop_found(found);
    picture_release(&cut);
    set_release(&set);
}

/* The same bits whatever part is filled. */
static void test_parts(void **state)
{
    (void)state;
    struct set set;
    struct screens *found;
    set_make(&set, 1, 0.3, false, 12);
    struct picture whole = cut_out(&set, true, false, 0, &found);
    const struct rect part = rect_of(101, 33, 222, 40);
    const struct picture out = made(part, HAS_RGBA);
    struct arena scratch = { 0 };
    const struct at at = { .self = &noisy, .found = found };
    const struct rect seen = kind_key_two_screen.reach(&at, 0, part);
    const struct picture in[2] = { picture_part(&set.take[0], seen), picture_part(&set.take[1], seen) };
    assert_int_equal(kind_key_two_screen.fill(&at, in, &out, &scratch, NULL), PASSEL_OK);
    for (int p = 0; p < PLANE_COUNT; p++) {
        for (int32_t y = part.y0; y < part.y1; y++)
            assert_memory_equal(picture_row(&out, (enum plane)p, y), picture_row(&whole, (enum plane)p, y) + part.x0,
                                (size_t)rect_width(part) * sizeof(float));
    }
    arena_release(&scratch);
    struct picture owned = out;
    picture_release(&owned);
    kind_key_two_screen.analysis->drop_found(found);
    picture_release(&whole);
    set_release(&set);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_published),   cmocka_unit_test(test_three),  cmocka_unit_test(test_noise),
        cmocka_unit_test(test_noise_found), cmocka_unit_test(test_levels), cmocka_unit_test(test_without_empties),
        cmocka_unit_test(test_quality),     cmocka_unit_test(test_parts),  cmocka_unit_test(test_moved),
        cmocka_unit_test(test_agreed),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
