/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Numbers as text: the nearest double, whatever the locale, and where a number ends.
 */
#include "language/numbers.h"

#include <locale.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "scratch.h"

/* Reads from memory that ends where the text does, so that a look beyond it is found. */
static void reads(const char *text, double wanted, const char *rest)
{
    double number;
    size_t used;
    const size_t length = strlen(text);
    char *copy = malloc(length);
    memcpy(copy, text, length);
    if (!number_read(copy, length, &number, &used))
        fail_msg("'%s' is no number", text);
    if (number != wanted || signbit(number) != signbit(wanted))
        fail_msg("'%s' is read as %.17g, not %.17g", text, number, wanted);
    assert_string_equal(text + used, rest);
    free(copy);
}

static void forms_are_read(void **state)
{
    (void)state;
    reads("0", 0, "");
    reads("-0", -0.0, "");
    reads("+0.5", 0.5, "");
    reads(".5", 0.5, "");
    reads("5.", 5, "");
    reads("1e3", 1000, "");
    reads("1E-3", 0.001, "");
    reads("1e+3px", 1000, "px");
    reads("4px", 4, "px");
    reads("2%", 2, "%");
    reads("1e", 1, "e");
    reads("1e+", 1, "e+");
    reads("1.2.3", 1.2, ".3");
    reads("12-40", 12, "-40");
    reads("0x10", 0, "x10");
    reads("007", 7, "");
    reads("1,5", 1, ",5");
}

static void words_are_no_numbers(void **state)
{
    (void)state;
    static const char *const words[] = { "", "+", "-", ".", "-.", "e5", "nan", "inf", "-inf", "+-1", "x", ".e1" };
    for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
        double number;
        size_t used;
        assert_false(number_read(words[i], strlen(words[i]), &number, &used));
        assert_false(number_begins(words[i], strlen(words[i])));
    }
}

static void extremes_are_read(void **state)
{
    (void)state;
    reads("1e400", INFINITY, "");
    reads("-1e400", -INFINITY, "");
    reads("1e-400", 0, "");
    reads("1e999999999999999999999", INFINITY, "");
    reads("0e999999999999999999999", 0, "");
    reads("1e-999999999999999999999", 0, "");
    reads("1.7976931348623157e308", 1.7976931348623157e308, "");
    reads("4.9406564584124654e-324", 4.9406564584124654e-324, "");
    reads("9007199254740993", 9007199254740992.0, "");
    reads("9007199254740993.0000000000000000000000000000000000001", 9007199254740994.0, "");
    reads("0.1", 0.1, "");
    reads("123456789012345678901234567890", 123456789012345678901234567890.0, "");
}

/* A 1, a thousand zeros and more, and the exponent that takes them away again. */
static void long_digits_are_read(void **state)
{
    (void)state;
    static char text[3000];
    memset(text, '0', sizeof text);
    text[0] = '1';
    strcpy(text + 1001, "e-1000");
    reads(text, 1, "");
    memset(text, '0', sizeof text);
    memcpy(text, "0.", 2);
    strcpy(text + 1500, "15e1500");
    reads(text, 15, "");
    /* Half way between two doubles, and a digit far behind that decides. */
    memset(text, '0', sizeof text);
    memcpy(text, "9007199254740993.", 17);
    strcpy(text + 2000, "1");
    reads(text, 9007199254740994.0, "");
}

static uint64_t next_random(uint64_t *seed)
{
    *seed ^= *seed << 13;
    *seed ^= *seed >> 7;
    return *seed ^= *seed << 17;
}

/* Every double survives 17 digits; shorter prints are compared with strtod. */
static void random_numbers_agree_with_strtod(void **state)
{
    (void)state;
    uint64_t seed = 20260101;
    for (int i = 0; i < 200000; i++) {
        double number;
        const uint64_t bits = next_random(&seed);
        char text[64];
        memcpy(&number, &bits, sizeof number);
        if (!isfinite(number))
            continue;
        if (i % 2 == 0)
            number = (double)(int64_t)(bits >> 40) / 1000;
        snprintf(text, sizeof text, "%.*g", (int)(bits % 17) + 1, number);
        reads(text, strtod(text, NULL), "");
        snprintf(text, sizeof text, "%.17g", number);
        reads(text, number, "");
    }
}

/* Where a comma is the decimal sign, recipes still have a point. The locale is made for the test. */
static void locale_has_no_say(void **state)
{
    (void)state;
    struct scratch scratch;
    char command[1200];
    scratch_init(&scratch);
    snprintf(command, sizeof command, "localedef -i de_DE -f UTF-8 '%s/de_DE.UTF-8' >/dev/null 2>&1", scratch.folder);
    if (system(command) != 0) {
        scratch_release(&scratch);
        print_message("skipped: localedef cannot make a locale with a decimal comma here\n");
        skip();
    }
    setenv("LOCPATH", scratch.folder, 1);
    assert_non_null(setlocale(LC_ALL, "de_DE.UTF-8"));
    assert_string_equal(localeconv()->decimal_point, ",");
    assert_true(strtod("1,5", NULL) == 1.5);
    reads("1.5", 1.5, "");
    reads("1.50000000000000000000000000000000001", 1.5, "");
    assert_string_equal(localeconv()->decimal_point, ",");
    setlocale(LC_ALL, "C");
    scratch_release(&scratch);
}

static void integers_have_bounds(void **state)
{
    (void)state;
    int32_t number;
    size_t used;
    assert_true(integer_read("2147483647-", 11, &number, &used));
    assert_int_equal(number, 2147483647);
    assert_int_equal(used, 10);
    assert_true(integer_read("-2147483647", 11, &number, &used));
    assert_int_equal(number, -2147483647);
    assert_false(integer_read("2147483648", 10, &number, &used));
    assert_false(integer_read("99999999999999999999999", 23, &number, &used));
    assert_false(integer_read("", 0, &number, &used));
    assert_false(integer_read("-", 1, &number, &used));
    assert_false(integer_read("x", 1, &number, &used));
}

static void units_have_words(void **state)
{
    (void)state;
    for (int unit = UNIT_STOPS; unit < UNIT_COUNT; unit++) {
        const char *word = unit_word((enum unit)unit);
        const enum unit found = unit_named(word, strlen(word));
        assert_int_equal(found, unit == UNIT_FRACTION ? UNIT_PERCENT : unit);
    }
    assert_int_equal(unit_named("", 0), UNIT_COUNT);
    assert_int_equal(unit_named("pxs", 3), UNIT_COUNT);
    assert_int_equal(unit_named("k", 1), UNIT_COUNT);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(forms_are_read),
        cmocka_unit_test(words_are_no_numbers),
        cmocka_unit_test(extremes_are_read),
        cmocka_unit_test(long_digits_are_read),
        cmocka_unit_test(random_numbers_agree_with_strtod),
        cmocka_unit_test(locale_has_no_say),
        cmocka_unit_test(integers_have_bounds),
        cmocka_unit_test(units_have_words),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
