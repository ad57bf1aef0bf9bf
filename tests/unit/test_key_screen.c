/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * key screen: a keeper with fine hair before uneven screens of several hues, against the textbook's difference key;
 * solid is solid, bare is bare; mattes and despill.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/memory.h"
#include "fail_memory.h"
#include "key_scene.h"
#include "kinds/key_screens.h"
#include "kinds/kinds.h"

#define WIDTH 360
#define HEIGHT 240

static const double green[3] = { 0.08, 0.55, 0.12 };
static const struct camera camera = { 1.6e-4, 1e-5 };

static struct picture made(struct rect area, unsigned planes)
{
    struct picture picture;
    assert_int_equal(picture_new(&picture, area, planes, NULL), PASSEL_OK);
    return picture;
}

static double at(const struct picture *picture, int p, int32_t x, int32_t y)
{
    return (double)picture_row(picture, (enum plane)p, y)[x - picture->area.x0];
}

/* ---- a block by hand ------------------------------------------------------------------------------------------- */

struct desk {
    struct recipe *recipe;
    struct arena arena;
    struct at at;
    struct shot shot;
    struct picture_info infos[3];
    void *found;
};

static const int32_t one_frame[1] = { 1 };

/* `settings` stand below `cut = key screen take EMPTY`. */
static enum passel_status desk_open(struct desk *desk, const char *empty, const char *settings,
                                    struct passel_error *error)
{
    const struct schema *schemas[] = { &kind_shot.schema, &kind_flat.schema, &kind_key_screen.schema, NULL };
    const struct rect all = rect_of(0, 0, WIDTH, HEIGHT);
    struct text messages = { NULL, 0, 0, false };
    char text[512];
    snprintf(text, sizeof text,
             "take = flat\n  colour 1 1 1\nbare = flat\n  colour 1 1 1\nmatte = flat\n  colour 1 1 1\n"
             "cut = key screen take %s\n%s",
             empty, settings);
    *desk = (struct desk){ .shot = { .width = WIDTH, .height = HEIGHT, .frames = one_frame, .frame_count = 1 } };
    desk->shot.primaries = *primaries_named("rec709");
    const enum passel_status parsed =
        recipe_parse("test.passel", text, strlen(text), schemas, NULL, 0, &desk->recipe, &messages, error);
    if (parsed != PASSEL_OK && error != NULL)
        snprintf(error->text, sizeof error->text, "%s", messages.bytes);
    text_release(&messages);
    if (parsed != PASSEL_OK)
        return parsed;
    for (int i = 0; i < 3; i++)
        desk->infos[i] = (struct picture_info){ .display = all, .data = all, .planes = HAS_RGB, .pixel_aspect = 1 };
    desk->at = (struct at){ .block = desk->recipe->blocks[3],
                            .recipe = desk->recipe,
                            .shot = &desk->shot,
                            .inputs = desk->infos,
                            .frame = 1,
                            .scale = 1 };
    void *self = NULL;
    const enum passel_status status =
        kind_key_screen.make(desk->at.block, desk->recipe, &desk->shot, &desk->arena, &self, error);
    desk->at.self = self;
    return status;
}

static void desk_close(struct desk *desk)
{
    kind_key_screen.analysis->drop_found(desk->found);
    arena_release(&desk->arena);
    recipe_free(desk->recipe);
}

static enum passel_status desk_learn(struct desk *desk, const struct picture *take, const struct picture *empty,
                                     struct passel_error *error)
{
    const struct analysis *analysis = kind_key_screen.analysis;
    void *work = NULL;
    size_t bytes = 0;
    enum passel_status status = analysis->add(&desk->at, 0, empty, desk->infos, empty != NULL, &work, error);
    if (status == PASSEL_OK)
        status = analysis->add(&desk->at, 1, take, desk->infos, 1, &work, error);
    if (status == PASSEL_OK)
        status = analysis->finish(&desk->at, work, &desk->found, &bytes, error);
    analysis->drop_work(work);
    desk->at.found = desk->found;
    return status;
}

/* Fills in tiles as the engine would: the take as far as reach goes, clear beyond the frame. */
static struct picture desk_fill(struct desk *desk, const struct picture *take, const struct picture *matte,
                                int32_t tile)
{
    const struct picture out = made(rect_of(0, 0, WIDTH, HEIGHT), HAS_RGBA);
    for (int32_t y = 0; y < HEIGHT; y += tile) {
        for (int32_t x = 0; x < WIDTH; x += tile) {
            const struct rect area = rect_cut(rect_of(x, y, x + tile, y + tile), out.area);
            struct picture view = picture_part(&out, area);
            struct picture in[2] = { made(kind_key_screen.reach(&desk->at, 0, area), HAS_RGB) };
            struct arena scratch = { 0 };
            for (int c = 0; c < 3; c++)
                picture_fill(&in[0], (enum plane)c, in[0].area, 0);
            picture_copy(&in[0], take);
            if (matte != NULL)
                in[1] = picture_part(matte, kind_key_screen.reach(&desk->at, 1, area));
            assert_int_equal(kind_key_screen.fill(&desk->at, in, &view, &scratch, NULL), PASSEL_OK);
            arena_release(&scratch);
            picture_release(&in[0]);
        }
    }
    return out;
}

/* ---- the set --------------------------------------------------------------------------------------------------- */

struct set {
    struct picture truth, screen, empty, take;
};

static void set_make(struct set *set, const double colour[3], double uneven, uint64_t seed)
{
    struct dice dice = { seed };
    set->truth = scene_keeper(WIDTH, HEIGHT);
    set->screen = scene_screen(WIDTH, HEIGHT, colour, uneven, false);
    set->empty = scene_take(NULL, &set->screen, 1);
    set->take = scene_take(&set->truth, &set->screen, 1);
    scene_add_noise(&set->empty, camera, &dice);
    scene_add_noise(&set->take, camera, &dice);
}

static void set_release(struct set *set)
{
    picture_release(&set->truth);
    picture_release(&set->screen);
    picture_release(&set->empty);
    picture_release(&set->take);
}

/* The textbook's normalised difference: 1 - (main - larger of the others) / the same of the screen, clipped. */
static double difference_key(const double pixel[3], const double screen[3], int main)
{
    const int a = (main + 1) % 3, b = (main + 2) % 3;
    return 1 - (pixel[main] - fmax(pixel[a], pixel[b])) / (screen[main] - fmax(screen[a], screen[b]));
}

/* Foreground, true alpha, what the formula gives before clipping. Derived from the definition. */
static void test_reference(void **state)
{
    (void)state;
    static const double rows[][5] = { { 0.6, 0.4, 0.3, 0, 0 },           { 0.6, 0.4, 0.3, 0.25, 0.2965116 },
                                      { 0.6, 0.4, 0.3, 0.5, 0.6860465 }, { 0.6, 0.4, 0.3, 1, 1.4651163 },
                                      { 0.2, 0.2, 0.2, 0.5, 0.5 },       { 0.05, 0.3, 0.05, 0.5, 0.2093023 },
                                      { 0.3, 0.3, 0.7, 0.75, 1.4476744 } };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        double pixel[3];
        for (int c = 0; c < 3; c++)
            pixel[c] = rows[i][c] * rows[i][3] + (1 - rows[i][3]) * green[c];
        assert_float_equal(difference_key(pixel, green, 1), rows[i][4], 1e-6);
    }
}

static double textbook_error(const struct set *set, int main)
{
    double sum = 0;
    for (int32_t y = 0; y < HEIGHT; y++) {
        for (int32_t x = 0; x < WIDTH; x++) {
            double pixel[3], screen[3];
            for (int c = 0; c < 3; c++) {
                pixel[c] = at(&set->take, c, x, y);
                screen[c] = at(&set->screen, c, x, y); /* without noise: better than it would have */
            }
            const double alpha = fmin(fmax(difference_key(pixel, screen, main), 0), 1);
            sum += (alpha - at(&set->truth, PLANE_A, x, y)) * (alpha - at(&set->truth, PLANE_A, x, y));
        }
    }
    return sum / (WIDTH * HEIGHT);
}

struct marks {
    double error, edge; /* mean squared error of alpha; mean |error| where the truth is in between */
    double colour;      /* mean squared error of premultiplied colour */
    double solid, bare; /* shares of solid and bare pixels that are exactly so, 4 pixels from any edge */
};

static bool far_from_edges(const struct picture *truth, int32_t x, int32_t y)
{
    const double here = at(truth, PLANE_A, x, y);
    for (int32_t j = y - 4; j <= y + 4; j++) {
        for (int32_t i = x - 4; i <= x + 4; i++) {
            if (i >= 0 && j >= 0 && i < WIDTH && j < HEIGHT && fabs(at(truth, PLANE_A, i, j) - here) > 1e-6)
                return false;
        }
    }
    return true;
}

static struct marks mark(const struct picture *cut, const struct picture *truth)
{
    struct marks marks = { 0 };
    double edges = 0, solids = 0, bares = 0;
    for (int32_t y = 0; y < HEIGHT; y++) {
        for (int32_t x = 0; x < WIDTH; x++) {
            const double alpha = at(cut, PLANE_A, x, y), wanted = at(truth, PLANE_A, x, y), off = alpha - wanted;
            marks.error += off * off / (WIDTH * HEIGHT);
            if (wanted > 0.01 && wanted < 0.99) {
                marks.edge += fabs(off);
                edges++;
            }
            for (int c = 0; c < 3; c++) {
                const double miss = at(cut, c, x, y) - at(truth, c, x, y);
                marks.colour += miss * miss / (3 * WIDTH * HEIGHT);
            }
            if (wanted > 0.9999 && far_from_edges(truth, x, y)) {
                marks.solid += alpha == 1;
                solids++;
            } else if (wanted < 1e-4 && far_from_edges(truth, x, y)) {
                marks.bare += alpha == 0;
                bares++;
            }
        }
    }
    marks.edge /= edges;
    marks.solid /= solids;
    marks.bare /= bares;
    return marks;
}

static struct marks run(const struct set *set, bool empty, const char *settings)
{
    struct desk desk;
    struct passel_error error = { PASSEL_OK, "" };
    if (desk_open(&desk, empty ? "empty bare" : "", settings, &error) != PASSEL_OK ||
        desk_learn(&desk, &set->take, empty ? &set->empty : NULL, &error) != PASSEL_OK)
        fail_msg("%s", error.text);
    struct picture cut = desk_fill(&desk, &set->take, NULL, 1000);
    const struct marks marks = mark(&cut, &set->truth);
    picture_release(&cut);
    desk_close(&desk);
    return marks;
}

static void check_hue(const char *name, const double colour[3], int main, double uneven, bool empty)
{
    struct set set;
    set_make(&set, colour, uneven, 3);
    const double textbook = main < 0 ? 0 : textbook_error(&set, main);
    const struct marks marks = run(&set, empty, "");
    print_message("%s%s: alpha mse %.3g (textbook %.3g), edge %.4f, colour %.3g, solid %.4f, bare %.4f\n", name,
                  empty ? " with empty" : "", marks.error, textbook, marks.edge, marks.colour, marks.solid, marks.bare);
    if (main >= 0)
        assert_true(marks.error < 0.3 * textbook);
    assert_true(marks.edge < 0.055);
    assert_true(marks.solid > 0.99);
    assert_true(marks.bare > 0.98);
    set_release(&set);
}

static void test_hues(void **state)
{
    (void)state;
    static const double blue[3] = { 0.06, 0.14, 0.52 }, teal[3] = { 0.05, 0.45, 0.35 },
                        magenta[3] = { 0.5, 0.08, 0.45 };
    check_hue("green", green, 1, 0.3, true);
    check_hue("green", green, 1, 0.3, false);
    check_hue("uneven green", green, 1, 0.8, false);
    check_hue("blue", blue, 2, 0.3, true);
    check_hue("blue", blue, 2, 0.3, false);
    check_hue("teal", teal, -1, 0.3, false);
    check_hue("magenta", magenta, -1, 0.3, false);
}

/* The hue that is given wins over the one that is found. */
static void test_colour(void **state)
{
    (void)state;
    struct set set;
    struct desk desk;
    struct passel_error error;
    set_make(&set, green, 0.3, 5);
    const struct marks marks = run(&set, false, "  colour 0.1 0.6 0.15\n");
    assert_true(marks.solid > 0.999 && marks.bare > 0.98);
    assert_int_equal(desk_open(&desk, "", "  colour 0.4 0.4 0.4\n", &error), PASSEL_BAD_RECIPE);
    assert_non_null(strstr(error.text, "grey has no hue"));
    desk_close(&desk);
    set_release(&set);
}

/* Only the keeper and a dark wall: there is no screen to be found. */
static void test_no_screen(void **state)
{
    (void)state;
    struct set set;
    struct desk desk;
    struct passel_error error;
    static const double wall[3] = { 0.02, 0.02, 0.02 };
    set_make(&set, wall, 0.3, 6);
    assert_int_equal(desk_open(&desk, "", "  colour 0.1 0.6 0.15\n", NULL), PASSEL_OK);
    assert_int_equal(desk_learn(&desk, &set.take, NULL, &error), PASSEL_BAD_PICTURE);
    assert_non_null(strstr(error.text, "no bare screen was found in take"));
    desk_close(&desk);
    set_release(&set);
}

static void test_mattes(void **state)
{
    (void)state;
    struct set set;
    struct desk desk;
    struct picture matte = made(rect_of(0, 0, WIDTH, HEIGHT), HAS_A);
    picture_fill(&matte, PLANE_A, matte.area, 0);
    picture_fill(&matte, PLANE_A, rect_of(10, 10, 40, 40), 1);    /* bare screen */
    picture_fill(&matte, PLANE_A, rect_of(170, 90, 190, 110), 1); /* the face */
    set_make(&set, green, 0.3, 7);

    assert_int_equal(desk_open(&desk, "", "  garbage matte\n", NULL), PASSEL_OK);
    assert_int_equal(desk_learn(&desk, &set.take, NULL, NULL), PASSEL_OK);
    struct picture cut = desk_fill(&desk, &set.take, &matte, 1000);
    for (int p = 0; p < 4; p++)
        assert_true(at(&cut, p, 180, 100) == 0);
    assert_true(at(&cut, PLANE_A, 180, 120) == 1);
    picture_release(&cut);
    desk_close(&desk);

    assert_int_equal(desk_open(&desk, "", "  core matte\n  despill to none\n", NULL), PASSEL_OK);
    assert_int_equal(desk_learn(&desk, &set.take, NULL, NULL), PASSEL_OK);
    cut = desk_fill(&desk, &set.take, &matte, 1000);
    assert_true(at(&cut, PLANE_A, 20, 20) == 1);
    for (int c = 0; c < 3; c++) /* solid: the take as it is */
        assert_float_equal(at(&cut, c, 20, 20), at(&set.take, c, 20, 20), 1e-6);
    picture_release(&cut);
    desk_close(&desk);
    picture_release(&matte);
    set_release(&set);
}

/* Green light on a solid pixel, declared solid by a core: what each limit leaves of it. */
static void test_despill(void **state)
{
    (void)state;
    static const struct {
        const char *setting;
        double left; /* of green, for red 0.4 and blue 0.1 */
    } limits[] = { { "  despill to none\n", 0.6 },
                   { "  despill to mean\n", 0.25 },
                   { "  despill to two-to-one\n", 0.3 },
                   { "  despill to larger\n", 0.4 } };
    static const double pure[3] = { 0, 0.6, 0 }, spilt[3] = { 0.4, 0.6, 0.1 };
    struct set set;
    struct picture matte = made(rect_of(0, 0, WIDTH, HEIGHT), HAS_A);
    picture_fill(&matte, PLANE_A, matte.area, 0);
    picture_fill(&matte, PLANE_A, rect_of(0, 0, 8, 8), 1);
    set_make(&set, pure, 0, 8);
    for (int c = 0; c < 3; c++)
        picture_fill(&set.take, (enum plane)c, rect_of(0, 0, 8, 8), (float)spilt[c]);
    for (size_t i = 0; i < 4; i++) {
        struct desk desk;
        char settings[64];
        snprintf(settings, sizeof settings, "  core matte\n%s", limits[i].setting);
        assert_int_equal(desk_open(&desk, "empty bare", settings, NULL), PASSEL_OK);
        assert_int_equal(desk_learn(&desk, &set.take, &set.empty, NULL), PASSEL_OK);
        struct picture cut = desk_fill(&desk, &set.take, &matte, 1000);
        assert_float_equal(at(&cut, 0, 4, 4), 0.4, 0.003);
        assert_float_equal(at(&cut, 1, 4, 4), limits[i].left, 0.003);
        assert_float_equal(at(&cut, 2, 4, 4), 0.1, 0.003);
        picture_release(&cut);
        desk_close(&desk);
    }
    picture_release(&matte);
    set_release(&set);
}

/* Soft shadows on the bare screen and at the keeper's edge. */
static double shadow_at(int32_t x, int32_t y)
{
    const double near = fmin(hypot(x - 60, y - 60) / 34, hypot(x - 200, y - 190) / 60);
    return 0.35 * fmin(fmax(1.5 - near, 0), 1);
}

static struct set shadowed_set(void)
{
    struct set set;
    struct dice dice = { 21 };
    set_make(&set, green, 0.3, 21);
    picture_release(&set.take);
    struct picture dark = made(set.screen.area, HAS_RGB);
    for (int c = 0; c < 3; c++) {
        for (int32_t i = 0; i < WIDTH * HEIGHT; i++)
            picture_row(&dark, (enum plane)c, i / WIDTH)[i % WIDTH] =
                (float)(at(&set.screen, c, i % WIDTH, i / WIDTH) * (1 - shadow_at(i % WIDTH, i / WIDTH)));
    }
    set.take = scene_take(&set.truth, &dark, 1);
    scene_add_noise(&set.take, camera, &dice);
    picture_release(&dark);
    return set;
}

/* Apart: the cut-out is as without shadows, and the matte holds them. In: a veil that darkens as the shadow does. */
static void test_shadows(void **state)
{
    (void)state;
    struct set set = shadowed_set();
    for (int apart = 0; apart < 2; apart++) {
        struct desk desk;
        assert_int_equal(desk_open(&desk, "empty bare", apart ? "  shadows apart\n" : "", NULL), PASSEL_OK);
        assert_int_equal(desk_learn(&desk, &set.take, &set.empty, NULL), PASSEL_OK);
        struct picture cut = desk_fill(&desk, &set.take, NULL, 1000);
        desk.at.picture = 2;
        struct picture shadow = desk_fill(&desk, &set.take, NULL, 1000);
        const struct marks marks = mark(&cut, &set.truth);
        print_message("shadows %s: alpha mse %.3g, bare %.4f, solid %.4f\n", apart ? "apart" : "in", marks.error,
                      marks.bare, marks.solid);
        double worst = 0, veil = 0;
        for (int32_t y = 20; y < 100; y++) {
            for (int32_t x = 20; x < 100; x++) {
                worst = fmax(worst, fabs(at(&shadow, PLANE_A, x, y) - shadow_at(x, y)));
                veil += at(&cut, PLANE_A, x, y) - shadow_at(x, y);
            }
        }
        assert_true(worst < 0.03);
        assert_true(!apart || (marks.error < 8e-5 && marks.bare > 0.97 && marks.solid > 0.99));
        assert_true(apart || fabs(veil / 6400) < 0.01);
        picture_release(&cut);
        picture_release(&shadow);
        desk_close(&desk);
    }
    set_release(&set);
}

/* The spill is the share of the screen's light that is gone; all of the brightness can come back. */
static void test_spill(void **state)
{
    (void)state;
    static const double pure[3] = { 0, 0.6, 0 };
    struct set set;
    struct desk desk;
    struct picture matte = made(rect_of(0, 0, WIDTH, HEIGHT), HAS_A);
    picture_fill(&matte, PLANE_A, matte.area, 0);
    picture_fill(&matte, PLANE_A, rect_of(0, 0, 8, 8), 1);
    set_make(&set, pure, 0, 8);
    for (int c = 0; c < 3; c++)
        picture_fill(&set.take, (enum plane)c, rect_of(0, 0, 8, 8), c == 1 ? 0.5F : 0.2F);
    assert_int_equal(desk_open(&desk, "empty bare", "  core matte\n  despill to larger restore 100%\n", NULL),
                     PASSEL_OK);
    assert_int_equal(desk_learn(&desk, &set.take, &set.empty, NULL), PASSEL_OK);
    struct picture cut = desk_fill(&desk, &set.take, &matte, 1000);
    desk.at.picture = 3;
    struct picture spill = desk_fill(&desk, &set.take, &matte, 1000);
    assert_float_equal(at(&spill, PLANE_A, 4, 4), 0.5, 0.01); /* 0.3 of 0.6 */
    for (int c = 0; c < 3; c++)                               /* 0.2 and the 0.7152 of 0.3 that green is to the eye */
        assert_float_equal(at(&cut, c, 4, 4), 0.4146F, 0.01);
    desk.at.picture = 4;
    struct picture rest = desk_fill(&desk, &set.take, &matte, 1000);
    for (int c = 0; c < 3; c++) /* the cut-out over the screen, and what was thrown away, are the take */
        assert_true(fabs(at(&rest, c, 4, 4) - at(&set.take, c, 4, 4) + at(&cut, c, 4, 4)) < 1e-6);
    picture_release(&rest);
    picture_release(&cut);
    picture_release(&spill);
    picture_release(&matte);
    desk_close(&desk);
    set_release(&set);
}

/* A grey board that mirrors up to a ninth of the screen's light in soft spots, at its edges too, is solid. */
static void test_reflections(void **state)
{
    (void)state;
    struct set set;
    struct desk desk;
    struct dice dice = { 41 };
    set_make(&set, green, 0.3, 41);
    for (int32_t y = 0; y < HEIGHT; y++) {
        for (int32_t x = 0; x < WIDTH; x++) {
            const bool board = x >= 60 && x < 300 && y >= 60 && y < 220;
            const double mirrored = 0.11 * pow(sin(0.06 * x) * sin(0.05 * y), 2);
            picture_row(&set.truth, PLANE_A, y)[x] = board ? 1 : 0;
            for (int c = 0; c < 3; c++)
                picture_row(&set.truth, (enum plane)c, y)[x] =
                    board ? (float)(0.3 + 0.1 * sin(0.3 * x) + mirrored * green[c]) : 0;
        }
    }
    picture_release(&set.take);
    set.take = scene_take(&set.truth, &set.screen, 1);
    scene_add_noise(&set.take, camera, &dice);
    assert_int_equal(desk_open(&desk, "empty bare", "", NULL), PASSEL_OK);
    assert_int_equal(desk_learn(&desk, &set.take, &set.empty, NULL), PASSEL_OK);
    struct picture cut = desk_fill(&desk, &set.take, NULL, 1000);
    double band = 0;
    int solid = 0;
    for (int32_t y = 60; y < 220; y++) {
        for (int32_t x = 60; x < 300; x++) {
            const bool inner = x >= 64 && x < 296 && y >= 64 && y < 216;
            solid += inner && at(&cut, PLANE_A, x, y) == 1;
            band += inner ? 0 : at(&cut, PLANE_A, x, y);
        }
    }
    print_message("reflections: %.5f solid, mean alpha along the edges %.4f\n", solid / (232.0 * 152), band / 3136);
    assert_true(solid > 0.999 * 232 * 152 && band > 0.97 * 3136);
    picture_release(&cut);
    desk_close(&desk);
    set_release(&set);
}

/* What `cut` has to say of a take, in a text to be released. */
static struct text told(const struct set *set, bool empty)
{
    struct desk desk;
    struct text notes = { NULL, 0, 0, false };
    assert_int_equal(desk_open(&desk, empty ? "empty bare" : "", "", NULL), PASSEL_OK);
    assert_int_equal(desk_learn(&desk, &set->take, empty ? &set->empty : NULL, NULL), PASSEL_OK);
    assert_int_equal(kind_key_screen.open(&desk.at, &desk.at.state, NULL), PASSEL_OK);
    struct picture cut = desk_fill(&desk, &set->take, NULL, 100);
    kind_key_screen.close(desk.at.state, &notes);
    picture_release(&cut);
    desk_close(&desk);
    return notes;
}

static void expect_told(const struct set *set, bool empty, const char *wanted)
{
    struct text notes = told(set, empty);
    if (wanted == NULL && notes.bytes != NULL)
        fail_msg("unexpected: %s", notes.bytes);
    if (wanted != NULL && (notes.bytes == NULL || strstr(notes.bytes, wanted) == NULL))
        fail_msg("expected '%s' in '%s'", wanted, notes.bytes != NULL ? notes.bytes : "");
    text_release(&notes);
}

/* Takes that are not as they should be are told of, with numbers; others are not. */
static void test_faults(void **state)
{
    (void)state;
    struct set set;
    for (int empty = 0; empty < 2; empty++) {
        set_make(&set, green, 0.3, 31);
        expect_told(&set, empty, NULL);
        for (int32_t i = 0; i < WIDTH * HEIGHT; i++) { /* the camera clips green */
            float *v = picture_row(&set.take, PLANE_G, i / WIDTH) + i % WIDTH;
            *v = *v > 0.48F ? 0.48F : *v;
        }
        expect_told(&set, empty, "the screen is clipped: green of take stands at 0.48 in ");
        set_release(&set);

        set_make(&set, green, 0.3, 32);
        for (int32_t i = 0; i < WIDTH * HEIGHT; i++) { /* a keeper in the screen's green, half as bright */
            const double a = at(&set.truth, PLANE_A, i % WIDTH, i / WIDTH);
            for (int c = 0; c < 3; c++)
                picture_row(&set.truth, (enum plane)c, i / WIDTH)[i % WIDTH] = (float)(0.5 * a * green[c]);
        }
        picture_release(&set.take);
        set.take = scene_take(&set.truth, &set.screen, 1);
        struct dice dice = { 32 };
        scene_add_noise(&set.take, camera, &dice);
        expect_told(&set, empty, "of what stands before the screen in take has the screen's own hue");
        set_release(&set);
    }
    static const double blue[3] = { 0.06, 0.14, 0.52 };
    struct set other;
    set_make(&set, green, 0.3, 33);
    set_make(&other, blue, 0.3, 34);
    const struct picture own = set.empty;
    set.empty = other.empty;
    expect_told(&set, true, "nowhere does take look like bare, its empty");
    set.empty = own;
    for (int c = 0; c < 3; c++) {
        for (int32_t i = 0; i < WIDTH * HEIGHT; i++)
            picture_row(&set.empty, (enum plane)c, i / WIDTH)[i % WIDTH] *= 0.85F;
    }
    expect_told(&set, true, "take is 18% brighter than its empty");
    set_release(&other);
    set_release(&set);
}

/* The hue is in neither picture: there is nothing to key on. */
static void test_grey_screen(void **state)
{
    (void)state;
    static const double grey[3] = { 0.4, 0.4, 0.4 };
    struct set set;
    struct desk desk;
    struct passel_error error;
    struct arena scratch = { 0 };
    set_make(&set, grey, 0.1, 35);
    assert_int_equal(desk_open(&desk, "empty bare", "", NULL), PASSEL_OK);
    assert_int_equal(desk_learn(&desk, &set.take, &set.empty, NULL), PASSEL_OK);
    struct picture out = made(rect_of(0, 0, WIDTH, HEIGHT), HAS_RGBA);
    assert_int_equal(kind_key_screen.fill(&desk.at, &set.take, &out, &scratch, &error), PASSEL_BAD_PICTURE);
    assert_non_null(strstr(error.text, "the screen of take is grey"));
    arena_release(&scratch);
    picture_release(&out);
    desk_close(&desk);
    set_release(&set);
}

/* An empty of another size is refused where it is named, with both sizes. */
static void test_wrong_size(void **state)
{
    (void)state;
    struct set set;
    struct desk desk;
    struct passel_error error;
    set_make(&set, green, 0.3, 36);
    assert_int_equal(desk_open(&desk, "empty bare", "", NULL), PASSEL_OK);
    desk.infos[0].display = rect_of(0, 0, WIDTH / 2, HEIGHT);
    void *work = NULL;
    assert_int_equal(kind_key_screen.analysis->add(&desk.at, 0, &set.empty, desk.infos, 1, &work, &error), PASSEL_OK);
    assert_int_equal(kind_key_screen.analysis->add(&desk.at, 1, &set.take, desk.infos + 1, 1, &work, &error),
                     PASSEL_BAD_RECIPE);
    assert_non_null(strstr(error.text, "take is 360 x 240, the first is 180 x 240"));
    kind_key_screen.analysis->drop_work(work);
    desk_close(&desk);
    set_release(&set);
}

static void test_tiles(void **state)
{
    (void)state;
    struct set set;
    struct desk desk;
    set_make(&set, green, 0.3, 9);
    assert_int_equal(desk_open(&desk, "", "  shadows apart\n", NULL), PASSEL_OK);
    assert_int_equal(desk_learn(&desk, &set.take, NULL, NULL), PASSEL_OK);
    struct picture whole = desk_fill(&desk, &set.take, NULL, 1000), tiled = desk_fill(&desk, &set.take, NULL, 37);
    for (int p = 0; p < 4; p++) {
        for (int32_t y = 0; y < HEIGHT; y++)
            assert_memory_equal(picture_row(&whole, (enum plane)p, y), picture_row(&tiled, (enum plane)p, y),
                                WIDTH * sizeof(float));
    }
    picture_release(&whole);
    picture_release(&tiled);
    desk_close(&desk);
    set_release(&set);
}

struct attempt {
    struct desk *desk;
    const struct set *set;
    bool empty;
};

static enum passel_status learn_and_drop(void *data)
{
    const struct attempt *attempt = data;
    const enum passel_status status =
        desk_learn(attempt->desk, &attempt->set->take, attempt->empty ? &attempt->set->empty : NULL, NULL);
    kind_key_screen.analysis->drop_found(attempt->desk->found);
    attempt->desk->found = NULL;
    return status;
}

static void test_no_memory(void **state)
{
    (void)state;
    struct set set;
    set_make(&set, green, 0.3, 10);
    for (int empty = 0; empty < 2; empty++) {
        struct desk desk;
        assert_int_equal(desk_open(&desk, empty ? "empty bare" : "", "", NULL), PASSEL_OK);
        struct attempt attempt = { &desk, &set, empty };
        assert_true(fail_memory_each(learn_and_drop, &attempt) > 5);
        desk_close(&desk);
    }
    set_release(&set);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_reference),  cmocka_unit_test(test_hues),        cmocka_unit_test(test_colour),
        cmocka_unit_test(test_no_screen),  cmocka_unit_test(test_mattes),      cmocka_unit_test(test_despill),
        cmocka_unit_test(test_faults),     cmocka_unit_test(test_reflections), cmocka_unit_test(test_grey_screen),
        cmocka_unit_test(test_wrong_size), cmocka_unit_test(test_shadows),     cmocka_unit_test(test_spill),
        cmocka_unit_test(test_tiles),      cmocka_unit_test(test_no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
