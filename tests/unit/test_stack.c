/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Operators against published tables, whole stacks against the design's formula in double, light wrap against a direct
 * convolution, and what is asked for.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "kinds/blend.h"
#include "kinds/kinds.h"
#include "pattern.h"
#include "stage.h"

/* One pixel of grey. */
struct grey {
    double colour, alpha;
};

static struct grey blended(enum blend blend, struct grey below, struct grey layer)
{
    float bc[3] = { (float)below.colour, (float)below.colour, (float)below.colour }, ba = (float)below.alpha;
    const float lc[3] = { (float)layer.colour, (float)layer.colour, (float)layer.colour }, la = (float)layer.alpha;
    float *const rows[PLANE_COUNT] = { &bc[0], &bc[1], &bc[2], &ba };
    const float *const layers[PLANE_COUNT] = { &lc[0], &lc[1], &lc[2], &la };
    blend_row(blend, rows, layers, 1);
    assert_true(bc[0] == bc[1] && bc[1] == bc[2]);
    return (struct grey){ (double)bc[0], (double)ba };
}

static FILE *open_table(const char *name)
{
    char path[1024];
    snprintf(path, sizeof path, "%s/tests/reference/%s", PASSEL_SOURCE_DIR, name);
    FILE *file = fopen(path, "r");
    assert_non_null(file);
    return file;
}

struct named_blend {
    const char *name;
    enum blend blend;
};

static const struct named_blend *find_blend(const struct named_blend *names, const char *name)
{
    while (names->name != NULL && strcmp(names->name, name) != 0)
        names++;
    return names->name != NULL ? names : NULL;
}

/* Layer and below are named src and dst there. Rows of operators that a stack does not have are passed over. */
static void porter_duff_as_published(void **state)
{
    (void)state;
    static const struct named_blend names[] = { { "src_over", BLEND_OVER }, { "src_in", BLEND_IN },
                                                { "src_out", BLEND_OUT },   { "src_atop", BLEND_ATOP },
                                                { "xor", BLEND_XOR },       { NULL, 0 } };
    FILE *file = open_table("matte_porter_duff.csv");
    char line[256], name[32];
    int rows = 0;
    while (fgets(line, sizeof line, file) != NULL) {
        double v[8];
        if (sscanf(line, "%31[^,],%lf,%lf,%lf,%lf,%lf,%lf,%lf,%lf", name, &v[0], &v[1], &v[2], &v[3], &v[4], &v[5],
                   &v[6], &v[7]) != 9)
            continue;
        const struct named_blend *named = find_blend(names, name);
        if (named == NULL)
            continue;
        const struct grey made = blended(named->blend, (struct grey){ v[2], v[3] }, (struct grey){ v[0], v[1] });
        assert_true(fabs(made.colour - v[6]) < 1e-6 && fabs(made.alpha - v[7]) < 1e-6);
        rows++;
    }
    fclose(file);
    assert_int_equal(rows, 26);
}

static void blends_as_published(void **state)
{
    (void)state;
    static const struct named_blend names[] = { { "normal", BLEND_OVER },
                                                { "multiply", BLEND_MULTIPLY },
                                                { "screen", BLEND_SCREEN },
                                                { "darken", BLEND_DARKEN },
                                                { "lighten", BLEND_LIGHTEN },
                                                { "difference", BLEND_DIFFERENCE },
                                                { NULL, 0 } };
    FILE *file = open_table("matte_blend.csv");
    char line[256], name[32];
    int rows = 0;
    while (fgets(line, sizeof line, file) != NULL) {
        double cb, ab, cs, as, b, co, ao;
        if (sscanf(line, "%31[^,],%lf,%lf,%lf,%lf,%lf,%lf,%lf", name, &cb, &ab, &cs, &as, &b, &co, &ao) != 8)
            continue;
        const struct named_blend *named = find_blend(names, name);
        assert_non_null(named);
        const struct grey made = blended(named->blend, (struct grey){ cb * ab, ab }, (struct grey){ cs * as, as });
        assert_true(fabs(made.colour - co) < 1e-6 && fabs(made.alpha - ao) < 1e-6);
        rows++;
    }
    fclose(file);
    assert_int_equal(rows, 42);
}

static void light_without_alpha_adds(void **state)
{
    (void)state;
    static const enum blend adding[] = { BLEND_OVER, BLEND_ADD, BLEND_LIGHTEN, BLEND_DIFFERENCE };
    for (int i = 0; i < 4; i++) {
        const struct grey made = blended(adding[i], (struct grey){ 0.5, 1 }, (struct grey){ 3, 0 });
        assert_true(made.colour == 3.5 && made.alpha == 1);
    }
}

static void bright_light_behaves(void **state)
{
    (void)state;
    const struct grey sum = blended(BLEND_ADD, (struct grey){ 5, 0.75 }, (struct grey){ 3, 0.75 });
    assert_true(sum.colour == 8 && sum.alpha == 1);
    assert_true(blended(BLEND_SCREEN, (struct grey){ 4, 1 }, (struct grey){ 0.5, 1 }).colour == 4);
    assert_true(blended(BLEND_SCREEN, (struct grey){ 0.5, 1 }, (struct grey){ 6, 1 }).colour == 6);
    /* No jump where the rule changes. */
    const double before = blended(BLEND_SCREEN, (struct grey){ 0.999999, 1 }, (struct grey){ 0.7, 1 }).colour;
    const double after = blended(BLEND_SCREEN, (struct grey){ 1.000001, 1 }, (struct grey){ 0.7, 1 }).colour;
    assert_true(fabs(after - before) < 3e-6);
    /* over: 1 replaces to the bit, nothing leaves to the bit. */
    assert_true(blended(BLEND_OVER, (struct grey){ 0.1, 0.3 }, (struct grey){ 0.7, 1 }).colour == (double)0.7f);
    assert_true(blended(BLEND_OVER, (struct grey){ 0.1, 0.3 }, (struct grey){ 0, 0 }).colour == (double)0.1f);
}

static void over_is_associative(void **state)
{
    (void)state;
    for (int i = 0; i < 1000; i++) {
        struct grey g[3];
        for (int k = 0; k < 3; k++)
            g[k] = (struct grey){ 2 * pattern_noise(1, i, k), pattern_noise(2, i, k) };
        const struct grey left = blended(BLEND_OVER, blended(BLEND_OVER, g[2], g[1]), g[0]);
        const struct grey right = blended(BLEND_OVER, g[2], blended(BLEND_OVER, g[1], g[0]));
        assert_true(fabs(left.colour - right.colour) < 2e-6 && fabs(left.alpha - right.alpha) < 2e-6);
    }
}

/* ---- whole stacks ------------------------------------------------------------------------------------------------ */

#define TEXT                                                                                                           \
    "shot storm\n  frames 1001-1010\n  size 40x21\n"                                                                   \
    "sky = flat\n  colour 0 0 0\n"                                                                                     \
    "night = flat\n  colour 0 0 0\n"                                                                                   \
    "edge = flat\n  colour 0 0 0\n"                                                                                    \
    "hold = flat\n  colour 0 0 0\n"

static const struct kind *const kinds[] = { &kind_stack, NULL };
static const struct rect window = { 0, 0, 40, 21 };

struct set {
    struct stage stage;
    struct stage_input inputs[4];
};

/* sky: colour alone, larger than the shot; night: with alpha, a part; edge and hold: mattes that leave 0 … 1. */
static void set_init(struct set *set, const char *text)
{
    static const char *const names[] = { "sky", "night", "edge", "hold" };
    static const unsigned planes[] = { HAS_RGB, HAS_RGBA, HAS_A, HAS_A };
    const struct rect areas[] = { { -4, -3, 44, 25 }, { 6, 2, 50, 19 }, window, { 10, 0, 30, 21 } };
    for (int i = 0; i < 4; i++) {
        struct picture picture = pattern_picture(areas[i], planes[i], (uint32_t)i + 1);
        for (int32_t y = areas[i].y0; y < areas[i].y1 && i > 1; y++) {
            float *row = picture_row(&picture, PLANE_A, y);
            for (int32_t x = 0; x < rect_width(areas[i]); x++)
                row[x] = row[x] * 1.4f - 0.2f;
        }
        set->inputs[i] = (struct stage_input){ names[i], picture, window };
    }
    stage_init(&set->stage, text, kinds);
    set->stage.inputs = set->inputs;
    set->stage.input_count = 4;
}

static void set_release(struct set *set)
{
    stage_release(&set->stage);
    for (int i = 0; i < 4; i++)
        picture_release(&set->inputs[i].picture);
}

static double input_at(const struct set *set, int i, enum plane plane, int32_t x, int32_t y)
{
    const struct picture *picture = &set->inputs[i].picture;
    const struct rect area = picture->area;
    if (x < area.x0 || x >= area.x1 || y < area.y0 || y >= area.y1)
        return 0;
    return picture->plane[plane] == NULL ? 1 : (double)pattern_at(picture, plane, x, y);
}

static double clamped(double v)
{
    return fmin(fmax(v, 0), 1);
}

static void layers_as_designed(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, TEXT "final = stack\n  layer sky\n  layer night matte edge opacity 40% holdout hold\n");
    struct picture out = stage_picture(&set.stage, "final", 1001, HAS_RGBA);
    assert_string_equal(set.stage.asked, "sky:A* night:A* edge:A hold:A");
    assert_true(rect_same(out.area, window));
    for (int32_t y = 0; y < 21; y++) {
        for (int32_t x = 0; x < 40; x++) {
            const double weight =
                clamped(input_at(&set, 2, PLANE_A, x, y)) * 0.4 * (1 - clamped(input_at(&set, 3, PLANE_A, x, y)));
            const double alpha = clamped(input_at(&set, 1, PLANE_A, x, y)) * weight;
            for (int p = 0; p < PLANE_COUNT; p++) {
                const double layer = p == PLANE_A ? alpha : weight * input_at(&set, 1, (enum plane)p, x, y);
                const double made = layer + (1 - alpha) * input_at(&set, 0, (enum plane)p, x, y);
                assert_true(fabs((double)pattern_at(&out, (enum plane)p, x, y) - made) < 3e-7);
            }
        }
    }
    struct picture colour = stage_picture(&set.stage, "final", 1001, HAS_R | HAS_B);
    pattern_assert_same(&colour, &out, PLANE_R);
    pattern_assert_same(&colour, &out, PLANE_B);
    picture_release(&colour);
    picture_release(&out);
    set_release(&set);
}

static void opacity_zero_is_not_asked_for(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, TEXT "final = stack\n  layer sky\n  layer night matte edge opacity [1001 0, 1003 1]\n"
                        "gone = stack\n  layer sky\n  layer night in opacity 0\n"
                        "none = stack\n  layer night opacity 0\n");
    struct picture out = stage_picture(&set.stage, "final", 1001, HAS_RGBA);
    assert_string_equal(set.stage.asked, "sky:A*");
    pattern_assert_same(&out, &set.inputs[0].picture, PLANE_G);
    picture_release(&out);
    out = stage_picture(&set.stage, "final", 1002, HAS_RGBA);
    assert_string_equal(set.stage.asked, "sky:A* night:A* edge:A");
    picture_release(&out);
    /* An empty layer `in` what is below leaves nothing. */
    out = stage_picture(&set.stage, "gone", 1001, HAS_RGBA);
    for (int32_t x = 0; x < 40; x++)
        assert_true(pattern_at(&out, PLANE_R, x, 9) == 0 && pattern_at(&out, PLANE_A, x, 9) == 0);
    picture_release(&out);
    out = stage_picture(&set.stage, "none", 1001, HAS_RGBA);
    assert_true(rect_empty(out.area));
    picture_release(&out);
    set_release(&set);
}

/* alpha (1 - blurred alpha) blurred light below, edges of the shot held. */
static void wrap_is_light_from_below(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, TEXT "plain = stack\n  layer sky\n  layer night matte edge\n"
                        "wrapped = stack\n  layer sky\n  layer night matte edge wrap 1.5 px wrap-gain 0.5\n");
    struct picture plain = stage_picture(&set.stage, "plain", 1001, HAS_RGBA);
    struct picture wrapped = stage_picture(&set.stage, "wrapped", 1001, HAS_RGBA);
    for (int32_t y = 0; y < 21; y++) {
        for (int32_t x = 0; x < 40; x++) {
            double light = 0, edge = 0, sum = 0;
            for (int v = -5; v <= 5; v++) {
                for (int u = -5; u <= 5; u++) {
                    const int32_t sx = (int32_t)fmin(fmax(x + u, 0), 39), sy = (int32_t)fmin(fmax(y + v, 0), 20);
                    const double w = exp(-(u * u + v * v) / (2 * 1.5 * 1.5));
                    light += w * input_at(&set, 0, PLANE_R, sx, sy);
                    edge +=
                        w * clamped(input_at(&set, 1, PLANE_A, sx, sy)) * clamped(input_at(&set, 2, PLANE_A, sx, sy));
                    sum += w;
                }
            }
            const double alpha = clamped(input_at(&set, 1, PLANE_A, x, y)) * clamped(input_at(&set, 2, PLANE_A, x, y));
            const double more = 0.5 * alpha * (1 - edge / sum) * light / sum;
            const double made = (double)pattern_at(&wrapped, PLANE_R, x, y) - (double)pattern_at(&plain, PLANE_R, x, y);
            assert_true(fabs(made - more) < 1e-6);
        }
    }
    pattern_assert_same(&wrapped, &plain, PLANE_A);
    picture_release(&plain);
    picture_release(&wrapped);
    set_release(&set);
}

/* Wraps above wraps: each looks at what is below it, over more and more of the picture. */
static void wraps_reach_through_each_other(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, TEXT "final = stack\n  layer sky\n  layer night wrap 1 px\n  layer sky add opacity 30%\n"
                        "  layer night screen matte edge wrap 0.6 px\n  layer hold xor\n");
    struct picture out = stage_picture(&set.stage, "final", 1001, HAS_RGBA);
    struct picture colour = stage_picture(&set.stage, "final", 1001, HAS_G);
    pattern_assert_same(&colour, &out, PLANE_G);
    picture_release(&colour);
    picture_release(&out);
    set_release(&set);
}

static void refuses_a_matte_without_alpha(void **state)
{
    (void)state;
    static const char *const texts[] = {
        TEXT "final = stack\n  layer night matte sky\n",
        TEXT "final = stack\n  layer night holdout sky\n",
    };
    for (int i = 0; i < 2; i++) {
        struct set set;
        struct picture out;
        struct picture_info info;
        struct passel_error error;
        set_init(&set, texts[i]);
        assert_int_equal(stage_make(&set.stage, "final", 1001, 1, HAS_RGBA, 64, &out, &info, &error),
                         PASSEL_BAD_RECIPE);
        assert_non_null(strstr(error.text, "key luma sky"));
        assert_non_null(strstr(error.text, "test.passel:"));
        set_release(&set);
    }
}

static void refuses_a_gain_without_a_wrap(void **state)
{
    (void)state;
    struct set set;
    struct picture out;
    struct picture_info info;
    struct passel_error error;
    set_init(&set, TEXT "final = stack\n  layer night wrap-gain 20%\n");
    assert_int_equal(stage_make(&set.stage, "final", 1001, 1, HAS_RGBA, 64, &out, &info, &error), PASSEL_BAD_RECIPE);
    assert_non_null(strstr(error.text, "needs a wrap"));
    set_release(&set);
}

static void survives_no_memory(void **state)
{
    (void)state;
    struct set set;
    set_init(&set, TEXT "final = stack\n  layer sky\n  layer night matte edge wrap 1 px\n");
    stage_survives_no_memory(&set.stage, "final", HAS_RGBA);
    set_release(&set);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(porter_duff_as_published),
        cmocka_unit_test(blends_as_published),
        cmocka_unit_test(light_without_alpha_adds),
        cmocka_unit_test(bright_light_behaves),
        cmocka_unit_test(over_is_associative),
        cmocka_unit_test(layers_as_designed),
        cmocka_unit_test(opacity_zero_is_not_asked_for),
        cmocka_unit_test(wrap_is_light_from_below),
        cmocka_unit_test(wraps_reach_through_each_other),
        cmocka_unit_test(refuses_a_matte_without_alpha),
        cmocka_unit_test(refuses_a_gain_without_a_wrap),
        cmocka_unit_test(survives_no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
