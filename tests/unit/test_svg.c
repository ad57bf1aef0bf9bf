/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * SVG outlines: every command of path data against its definition, transforms, pages, ids, and files that are wrong.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "fail_memory.h"
#include "media/svg.h"
#include "media/svg_parts.h"
#include "scratch.h"

static const struct svg_matrix identity = { { 1, 0, 0, 1, 0, 0 } };

/* ---- numbers ----------------------------------------------------------------------------------------------------- */

static void numbers_as_the_grammar_says(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        double number;
        const char *rest;
    } right[] = {
        { "12.5,", 12.5, "," },   { " , -.5.5", -0.5, ".5" },
        { "+1e3-2", 1000, "-2" }, { "1e-2 7", 0.01, " 7" },
        { "0.1", 0.1, "" },       { "123456789.125", 123456789.125, "" },
        { "3em", 3, "em" },       { "1.7976931348623157e1", 17.976931348623157, "" },
        { "5.", 5, "" },          { "00012", 12, "" },
        { "1e-400", 0, "" },      { "0.30000000000000004", 0.30000000000000004, "" },
    };
    for (size_t i = 0; i < sizeof right / sizeof *right; i++) {
        const char *text = right[i].text;
        double number;
        assert_true(svg_number(&text, &number));
        assert_true(fabs(number - right[i].number) <= fabs(right[i].number) * 3e-16);
        assert_string_equal(text, right[i].rest);
    }
    static const char *const wrong[] = { "", ".", "-", "e5", ",,1", "1e999", "nan" };
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        const char *text = wrong[i];
        double number;
        assert_false(svg_number(&text, &number));
    }
}

/* ---- path data --------------------------------------------------------------------------------------------------- */

static void point_at(const struct svg_drawn *drawn, int part, int next, double t, double *x, double *y)
{
    const double *a = drawn->numbers + 6 * part, *b = drawn->numbers + 6 * next, s = 1 - t;
    *x = s * s * s * a[0] + 3 * s * s * t * a[2] + 3 * s * t * t * a[4] + t * t * t * b[0];
    *y = s * s * s * a[1] + 3 * s * s * t * a[3] + 3 * s * t * t * a[5] + t * t * t * b[1];
}

/* The area inside, by many small steps. */
static double area_of(const struct svg_drawn *drawn)
{
    double area = 0;
    for (int c = 0, first = 0; c < drawn->contours; first += drawn->segments[c++]) {
        for (int k = 0; k < drawn->segments[c]; k++) {
            double x0, y0, x1, y1;
            for (int i = 0; i < 2000; i++) {
                const int next = first + (k + 1) % drawn->segments[c];
                point_at(drawn, first + k, next, i / 2000.0, &x0, &y0);
                point_at(drawn, first + k, next, (i + 1) / 2000.0, &x1, &y1);
                area += (x0 * y1 - x1 * y0) / 2;
            }
        }
    }
    return area;
}

#define PI 3.14159265358979323846

static void areas_of_every_command(void **state)
{
    (void)state;
    static const struct {
        const char *data;
        double area;
        int contours;
    } paths[] = {
        { "M1 2h10v4h-10z", 40, 1 },
        { "m1,2 10,0 0,4 -10,0", 40, 1 }, /* further pairs are lines; left open */
        { "M1 2H11V6H1ZM20 20L22,20 22 22 20 22Z", 44, 2 },
        { "M1 2h10v4h-10z m1 1 v1 h1 v-1 z", 40 - 1, 2 }, /* the second begins at the first's start */
        { "M0 0Q10 0 10 10L0 10Z", 100 - 100.0 / 6, 1 },
        { "M0 0Q5 0 5 5T10 10L0 10Z", 50, 1 }, /* the second half mirrors the first */
        { "M0 0C10 0 10 0 10 10L0 10Z", 95.0, 1 },
        { "M0,0c0,0 5,0 5,5s5,5 5,5h-10z", 50, 1 },
        { "M-3 0A3 3 0 0 1 3 0A3 3 0 0 1 -3 0", PI * 9, 1 },
        { "M0 0a3 2 0 1 1 0 .0001z", PI * 6, 1 },
        { "M0 0a5 5 0 0 1 5 5l-5 0z", PI * 25 / 4, 1 },
        { "M0 0A5 5 0 015 5L0 5z", PI * 25 / 4, 1 },   /* flags may touch */
        { "M0 0A1 1 0 0 0 10 0z", -PI * 25 / 2, 1 },   /* too small: grown */
        { "M0 0 A 0 5 0 0 0 10 0 L 10 5 0 5", 50, 1 }, /* no radius: a line */
        { "M3 0A5 2 37 1 1 3 0.0000001z", PI * 10, 1 },
    };
    for (size_t i = 0; i < sizeof paths / sizeof *paths; i++) {
        struct svg_drawn drawn = { 0 };
        assert_null(svg_path(paths[i].data, &identity, &drawn));
        assert_int_equal(drawn.contours, paths[i].contours);
        if (fabs(area_of(&drawn) - paths[i].area) > 2e-3)
            fail_msg("%s: area %g, not %g", paths[i].data, area_of(&drawn), paths[i].area);
        svg_drawn_release(&drawn);
    }
}

/* Any place of an arc lies on its ellipse. */
static void arcs_are_round(void **state)
{
    (void)state;
    struct svg_drawn drawn = { 0 };
    assert_null(svg_path("M100 0A100 100 0 1 1 0 -100L0 0Z", &identity, &drawn));
    for (int k = 0; k < drawn.count - 2; k++) {
        for (int i = 0; i <= 8; i++) {
            double x, y;
            point_at(&drawn, k, k + 1, i / 8.0, &x, &y);
            assert_true(fabs(hypot(x, y) - 100) < 2e-5);
        }
    }
    assert_true(fabs(area_of(&drawn) - PI * 1e4 * 3 / 4) < 1e-2);
    svg_drawn_release(&drawn);
}

static void path_data_that_stop(void **state)
{
    (void)state;
    static const char *const wrong[][2] = {
        { "L1 2", "L1 2" },
        { "M1 2 3", "3" },
        { "M1 2L3 4 X", "X" },
        { "M0 0h", "h" },
        { "M0 0A1 1 0 2 0 3 3", "A1 1 0 2 0 3 3" },
        { "M0 0z5", "5" },
        { "1 2", "1 2" },
    };
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        struct svg_drawn drawn = { 0 };
        const char *place = svg_path(wrong[i][0], &identity, &drawn);
        assert_non_null(place);
        assert_string_equal(place, wrong[i][1]);
        svg_drawn_release(&drawn);
    }
}

/* ---- files ------------------------------------------------------------------------------------------------------- */

static enum passel_status read_text(const char *text, const char *id, struct arena *arena, struct svg_outline *outline,
                                    struct passel_error *error)
{
    struct scratch scratch;
    char path[1024];
    scratch_init(&scratch);
    scratch_write(&scratch, "drawing.svg", text, strlen(text));
    const enum passel_status status = svg_read(scratch_path(&scratch, "drawing.svg", path), id, arena, outline, error);
    scratch_release(&scratch);
    return status;
}

#define DRAWING                                                                                                        \
    "<?xml version='1.0' encoding='UTF-8'?>\n"                                                                         \
    "<svg xmlns='http://www.w3.org/2000/svg' width='300mm' viewBox='10 20 400 200'>\n"                                 \
    "<defs><path id='hidden' d='M0 0h1v1z'/></defs>\n"                                                                 \
    "<g id='gate' transform='translate(5 7) scale(2)'>\n"                                                              \
    "<path id='left' d='M0 0H10V10H0Z'/><path id='right' transform='rotate(90, 1 1)' d='M0 0H10V10H0Z'/></g>\n"        \
    "<rect id='sign' width='5' height='5'/>\n"                                                                         \
    "<path id='ring' style='fill:#000;fill-rule: evenodd' d='M0 0H20V20H0ZM5 5H10V10H5Z'/>\n"                          \
    "<path id='skew' transform='matrix(1,2,3,4,5,6) skewX(45)' d='M1 1h1v1z'/>\n"                                      \
    "</svg>\n"

static void finds_what_is_asked_for(void **state)
{
    (void)state;
    struct arena arena;
    struct svg_outline outline;
    arena_init(&arena);
    assert_int_equal(read_text(DRAWING, NULL, &arena, &outline, NULL), PASSEL_OK);
    assert_int_equal(outline.contour_count, 5);
    assert_true(outline.has_page && outline.page[0] == 10 && outline.page[1] == 20 && outline.page[2] == 400);
    assert_int_equal(read_text(DRAWING, "gate", &arena, &outline, NULL), PASSEL_OK);
    assert_int_equal(outline.contour_count, 2);
    assert_int_equal(outline.segments[1], 4);
    /* (0, 0) turned a quarter about (1, 1) is (2, 0); twice that, moved: (9, 7). */
    assert_true(fabs(outline.numbers[6 * 4] - 9) < 1e-12 && fabs(outline.numbers[6 * 4 + 1] - 7) < 1e-12);
    assert_int_equal(read_text(DRAWING, "hidden", &arena, &outline, NULL), PASSEL_OK);
    assert_int_equal(outline.contour_count, 1);
    assert_int_equal(read_text(DRAWING, "skew", &arena, &outline, NULL), PASSEL_OK);
    /* (1, 1) skewed: (2, 1); by the matrix: (2 + 3 + 5, 4 + 4 + 6). */
    assert_true(fabs(outline.numbers[0] - 10) < 1e-12 && fabs(outline.numbers[1] - 14) < 1e-12);
    /* The inner square of the ring is turned round: 1 is no hole by the winding number, and 0 by even and odd. */
    assert_int_equal(read_text(DRAWING, "ring", &arena, &outline, NULL), PASSEL_OK);
    struct svg_drawn drawn = { .numbers = (double *)outline.numbers,
                               .segments = (int *)outline.segments,
                               .count = outline.segment_count,
                               .contours = outline.contour_count };
    assert_true(fabs(area_of(&drawn) - (400 - 25)) < 1e-6);
    arena_release(&arena);
}

static void a_page_by_its_size(void **state)
{
    (void)state;
    struct arena arena;
    struct svg_outline outline;
    arena_init(&arena);
    assert_int_equal(
        read_text("<svg width='640px' height='360'><path d='M0 0h1v1'/></svg>", NULL, &arena, &outline, NULL),
        PASSEL_OK);
    assert_true(outline.has_page && outline.page[2] == 640 && outline.page[3] == 360);
    assert_int_equal(
        read_text("<svg width='64mm' height='36mm'><path d='M0 0h1v1'/></svg>", NULL, &arena, &outline, NULL),
        PASSEL_OK);
    assert_false(outline.has_page);
    arena_release(&arena);
}

static void says_what_is_wrong(void **state)
{
    (void)state;
    static const struct {
        const char *text, *id;
        enum passel_status status;
        const char *says;
    } wrong[] = {
        { DRAWING, "gaet", PASSEL_BAD_FILE,
          "no path or group has the id 'gaet'; there are: hidden, gate, left, right" },
        { DRAWING, "sign", PASSEL_UNSUPPORTED, "'sign' is a <rect>; only paths are read" },
        { "<svg><rect/></svg>", NULL, PASSEL_BAD_FILE, "there is no path in it" },
        { "<svg>\n<path d='M0 0 5'/></svg>", NULL, PASSEL_BAD_FILE, "drawing.svg:2: this is no path data: 5" },
        { "<svg><path transform='turn(5)' d='M0 0h1v1'/></svg>", NULL, PASSEL_BAD_FILE,
          "this is no transform: turn(5)" },
        { "<svg><path d='M0 0h1v1'></svg>", NULL, PASSEL_BAD_FILE, "no well-formed XML: mismatched tag" },
        { "<html/>", NULL, PASSEL_BAD_FILE, "this is no SVG: it begins with html" },
        { "", NULL, PASSEL_BAD_FILE, "no well-formed XML" },
    };
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        struct arena arena;
        struct svg_outline outline;
        struct passel_error error;
        arena_init(&arena);
        assert_int_equal(read_text(wrong[i].text, wrong[i].id, &arena, &outline, &error), wrong[i].status);
        if (strstr(error.text, wrong[i].says) == NULL)
            fail_msg("%s", error.text);
        arena_release(&arena);
    }
}

static enum passel_status read_again(void *data)
{
    struct arena arena;
    struct svg_outline outline;
    arena_init(&arena);
    const enum passel_status status = svg_read(data, NULL, &arena, &outline, NULL);
    arena_release(&arena);
    return status;
}

static void survives_no_memory(void **state)
{
    (void)state;
    struct scratch scratch;
    char path[1024];
    scratch_init(&scratch);
    scratch_write(&scratch, "drawing.svg", DRAWING, strlen(DRAWING));
    (void)scratch_path(&scratch, "drawing.svg", path);
    assert_true(fail_memory_each(read_again, path) > 5);
    scratch_release(&scratch);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(numbers_as_the_grammar_says),
        cmocka_unit_test(areas_of_every_command),
        cmocka_unit_test(arcs_are_round),
        cmocka_unit_test(path_data_that_stop),
        cmocka_unit_test(finds_what_is_asked_for),
        cmocka_unit_test(a_page_by_its_size),
        cmocka_unit_test(says_what_is_wrong),
        cmocka_unit_test(survives_no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
