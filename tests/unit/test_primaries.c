/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/* Matrices between primaries against published and independently computed ones. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "picture/primaries.h"

/* The names in the table of matrices. */
static const struct primaries *table_primaries(const char *name, size_t length)
{
    static const char *const words[][2] = { { "Rec709", "rec709" },
                                            { "Rec2020", "rec2020" },
                                            { "P3-D65", "p3d65" },
                                            { "ACES_AP0", "aces" },
                                            { "ACES_AP1", "acescg" } };
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
        if (strlen(words[i][0]) == length && strncmp(words[i][0], name, length) == 0)
            return primaries_named(words[i][1]);
    return NULL;
}

static void check_row(const char *line, const char *to, const double expected[9])
{
    double m[9];
    const struct primaries *from = table_primaries(line, (size_t)(to - line));
    const struct primaries *target = table_primaries(to + 4, strcspn(to + 4, ","));
    assert_non_null(from);
    if (target != NULL)
        assert_true(primaries_matrix(from, target, m));
    else
        assert_true(primaries_to_xyz(from, m));
    for (int i = 0; i < 9; i++)
        assert_true(fabs(m[i] - expected[i]) < 1e-9);
}

static void test_published(void **state)
{
    (void)state;
    FILE *file = fopen(PASSEL_SOURCE_DIR "/tests/reference/picture_matrices.csv", "r");
    assert_non_null(file);
    char line[512];
    int rows = 0;
    while (fgets(line, sizeof line, file) != NULL) {
        double m[9];
        const char *to = strstr(line, "_to_");
        if (line[0] == '#' || to == NULL || strncmp(line, "XYZ", 3) == 0 || strncmp(line, "Bradford", 8) == 0)
            continue; /* there is no call for these two alone */
        assert_int_equal(sscanf(strchr(line, ','), ",%lf,%lf,%lf,%lf,%lf,%lf,%lf,%lf,%lf", &m[0], &m[1], &m[2], &m[3],
                                &m[4], &m[5], &m[6], &m[7], &m[8]),
                         9);
        check_row(line, to, m);
        rows++;
    }
    fclose(file);
    assert_int_equal(rows, 25);
}

static void test_white_stays_white(void **state)
{
    (void)state;
    const char *const names[] = { "rec709", "rec2020", "p3d65", "acescg", "aces" };
    for (int a = 0; a < 5; a++)
        for (int b = 0; b < 5; b++) {
            double m[9];
            assert_true(primaries_matrix(primaries_named(names[a]), primaries_named(names[b]), m));
            for (int row = 0; row < 3; row++) {
                assert_true(fabs(m[3 * row] + m[3 * row + 1] + m[3 * row + 2] - 1) < 1e-12);
                for (int column = 0; a == b && column < 3; column++)
                    assert_true(fabs(m[3 * row + column] - (row == column)) < 1e-12);
            }
        }
}

static void test_names(void **state)
{
    (void)state;
    assert_null(primaries_named("rec601"));
    struct primaries near = *primaries_named("p3d65");
    near.red[0] += 0.00005;
    assert_string_equal(primaries_name(&near), "p3d65");
    assert_true(primaries_same(&near, primaries_named("p3d65")));
    near.white[1] += 0.001;
    assert_null(primaries_name(&near));
}

static void test_impossible(void **state)
{
    (void)state;
    double m[9];
    struct primaries line = *primaries_named("rec709");
    line.blue[0] = (line.red[0] + line.green[0]) / 2; /* three corners on one line */
    line.blue[1] = (line.red[1] + line.green[1]) / 2;
    assert_false(primaries_to_xyz(&line, m));
    assert_false(primaries_matrix(primaries_named("rec709"), &line, m));
    struct primaries black = *primaries_named("rec709");
    black.white[1] = 0;
    assert_false(primaries_to_xyz(&black, m));
    struct primaries nothing = { { NAN, 0 }, { 0, NAN }, { 0, 0 }, { 0.3, 0.3 } };
    assert_false(primaries_to_xyz(&nothing, m));
}

static void test_apply(void **state)
{
    (void)state;
    double m[9];
    float r[37], g[37], b[37];
    assert_true(primaries_matrix(primaries_named("rec709"), primaries_named("acescg"), m));
    for (int i = 0; i < 37; i++) {
        r[i] = (float)i / 10;
        g[i] = (float)(i * i % 11) / 3;
        b[i] = (float)(i - 20) / 7;
    }
    matrix_apply(m, r, g, b, 37);
    for (int i = 0; i < 37; i++) {
        const double in[3] = { (float)i / 10, (float)(i * i % 11) / 3, (float)(i - 20) / 7 };
        const float out[3] = { r[i], g[i], b[i] };
        for (int c = 0; c < 3; c++)
            assert_true(fabs(out[c] - (m[3 * c] * in[0] + m[3 * c + 1] * in[1] + m[3 * c + 2] * in[2])) < 2e-6);
    }
}

/* ITU-R BT.709-6 item 3.2 and BT.2020-2 table 4, four digits. */
static void test_luminance(void **state)
{
    (void)state;
    double weights[3];
    primaries_luminance(primaries_named("rec709"), weights);
    assert_true(fabs(weights[0] - 0.2126) < 5e-5 && fabs(weights[1] - 0.7152) < 5e-5);
    assert_true(fabs(weights[2] - 0.0722) < 5e-5);
    primaries_luminance(primaries_named("rec2020"), weights);
    assert_true(fabs(weights[0] - 0.2627) < 5e-5 && fabs(weights[1] - 0.6780) < 5e-5);
    assert_true(fabs(weights[2] - 0.0593) < 5e-5);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_published), cmocka_unit_test(test_white_stays_white),
        cmocka_unit_test(test_names),     cmocka_unit_test(test_impossible),
        cmocka_unit_test(test_apply),     cmocka_unit_test(test_luminance),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
