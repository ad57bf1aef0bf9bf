/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Growing text, UTF-8 and the nearest word.
 */
#include "base/text.h"

#include "fail_memory.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

static void text_grows(void **state)
{
    (void)state;
    struct text text = { NULL, 0, 0, false };
    text_add(&text, "", 0);
    assert_string_equal(text.bytes, "");
    for (int i = 0; i < 1000; i++)
        text_print(&text, "%d,", i);
    text_add(&text, "end\0x", 5);
    assert_false(text.failed);
    /* 10 + 2 * 90 + 3 * 900 digits, 1000 commas, 5 more bytes. */
    assert_int_equal(text.length, 10 + 180 + 2700 + 1000 + 5);
    assert_memory_equal(text.bytes, "0,1,2,3,", 8);
    assert_memory_equal(text.bytes + text.length - 9, "999,end\0x", 10);
    text_release(&text);
    assert_null(text.bytes);
    assert_int_equal(text.length, 0);
    text_release(&text);
}

/* Lengths around every doubling of the room. */
static void text_ends_in_nul_at_every_length(void **state)
{
    (void)state;
    struct text text = { NULL, 0, 0, false };
    for (size_t length = 1; length < 600; length++) {
        text_print(&text, "%s", "x");
        assert_int_equal(text.length, length);
        assert_true(text.room > length);
        assert_int_equal(strlen(text.bytes), length);
    }
    text_release(&text);
}

static void failed_text_stays_failed(void **state)
{
    (void)state;
    struct text text = { NULL, 0, 0, false };
    text_add(&text, "keep", 4);
    fail_memory_at(1, false);
    text_print(&text, "%500d", 1);
    assert_true(fail_memory_hit());
    assert_true(text.failed);
    text_add(&text, "more", 4);
    assert_string_equal(text.bytes, "keep");
    assert_int_equal(text.length, 4);
    text_release(&text);
    assert_false(text.failed);
}

static void sizes_that_do_not_fit_are_refused(void **state)
{
    (void)state;
    struct text text = { NULL, 0, 0, false };
    text_add(&text, "", SIZE_MAX);
    assert_true(text.failed);
    text_release(&text);
    text_add(&text, "", SIZE_MAX - 1);
    assert_true(text.failed);
    text_release(&text);
}

static enum passel_status write_some(void *data)
{
    (void)data;
    struct text text = { NULL, 0, 0, false };
    for (int i = 0; i < 50; i++)
        text_print(&text, "frame %d\n", i);
    const enum passel_status status = text.failed ? PASSEL_NO_MEMORY : PASSEL_OK;
    text_release(&text);
    return status;
}

static void failing_memory_leaks_nothing(void **state)
{
    (void)state;
    assert_true(fail_memory_each(write_some, NULL) > 2);
}

struct sequence {
    const char *bytes;
    size_t length;
    uint32_t point;
};

/* Source of the limits: RFC 3629, table in section 4. */
static void well_formed_sequences(void **state)
{
    (void)state;
    static const struct sequence good[] = {
        { "\0", 1, 0 },
        { "A", 1, 'A' },
        { "\x7F", 1, 0x7F },
        { "\xC2\x80", 2, 0x80 },
        { "\xDF\xBF", 2, 0x7FF },
        { "\xE0\xA0\x80", 3, 0x800 },
        { "\xED\x9F\xBF", 3, 0xD7FF },
        { "\xEE\x80\x80", 3, 0xE000 },
        { "\xEF\xBF\xBF", 3, 0xFFFF },
        { "\xF0\x90\x80\x80", 4, 0x10000 },
        { "\xF4\x8F\xBF\xBF", 4, 0x10FFFF },
    };
    for (size_t i = 0; i < sizeof good / sizeof *good; i++) {
        size_t used = 0;
        assert_int_equal(utf8_next(good[i].bytes, good[i].length, &used), good[i].point);
        assert_int_equal(used, good[i].length);
        assert_true(utf8_valid(good[i].bytes, good[i].length));
        /* Cut short, none of them is whole. */
        for (size_t cut = 1; cut < good[i].length; cut++) {
            assert_false(utf8_valid(good[i].bytes, cut));
            assert_int_equal(utf8_next(good[i].bytes, cut, &used), 0xFFFD);
            assert_int_equal(used, 1);
        }
    }
    assert_true(utf8_valid(NULL, 0));
}

static void malformed_sequences(void **state)
{
    (void)state;
    static const char *const bad[] = {
        "\x80",             /* a follower alone */
        "\xBF",             /* a follower alone */
        "\xC0\xAF",         /* overlong '/' */
        "\xC1\xBF",         /* overlong */
        "\xE0\x9F\xBF",     /* overlong U+07FF */
        "\xF0\x8F\xBF\xBF", /* overlong U+FFFF */
        "\xED\xA0\x80",     /* surrogate U+D800 */
        "\xED\xBF\xBF",     /* surrogate U+DFFF */
        "\xF4\x90\x80\x80", /* U+110000 */
        "\xF5\x80\x80\x80", /* lead byte of no sequence */
        "\xFE",             /* lead byte of no sequence */
        "\xFF",             /* lead byte of no sequence */
        "\xC3(",            /* the follower is a letter */
        "\xE2\x82(",        /* the second follower is a letter */
    };
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        size_t used = 0;
        assert_int_equal(utf8_next(bad[i], strlen(bad[i]), &used), 0xFFFD);
        assert_int_equal(used, 1);
        assert_false(utf8_valid(bad[i], strlen(bad[i])));
    }
    assert_false(utf8_valid("ab\xC3", 3));
}

/* Every code point, encoded here by another road, is read back; every surrogate is refused. */
static void every_code_point(void **state)
{
    (void)state;
    for (uint32_t point = 0x80; point <= 0x10FFFF; point++) {
        char bytes[4];
        const size_t length = point < 0x800 ? 2 : point < 0x10000 ? 3 : 4;
        for (size_t i = length; i-- > 0;)
            bytes[i] = (char)(0x80 | (point >> (6 * (length - 1 - i)) & 0x3F));
        bytes[0] = (char)((length == 2 ? 0xC0 : length == 3 ? 0xE0 : 0xF0) | point >> (6 * (length - 1)));
        size_t used = 0;
        const uint32_t read = utf8_next(bytes, length, &used);
        const int surrogate = point >= 0xD800 && point <= 0xDFFF;
        if (read != (surrogate ? 0xFFFD : point) || used != (surrogate ? 1 : length))
            fail_msg("U+%04X was read as U+%04X, %zu bytes", (unsigned)point, (unsigned)read, used);
    }
}

static void nearest_word(void **state)
{
    (void)state;
    static const char *const words[] = { "shot", "pass", "lights", "stack", "place", "extend", "output", NULL };
    assert_string_equal(text_nearest("lihgts", words), "lights");  /* a swap */
    assert_string_equal(text_nearest("light", words), "lights");   /* a letter missing */
    assert_string_equal(text_nearest("outputt", words), "output"); /* a letter too many */
    assert_string_equal(text_nearest("stick", words), "stack");    /* a wrong letter */
    assert_string_equal(text_nearest("extend", words), "extend");  /* none at all */
    assert_string_equal(text_nearest("plase", words), "place");
    assert_null(text_nearest("keeper", words));
    assert_null(text_nearest("", words));
    assert_null(text_nearest("pass", (const char *const[]){ NULL }));
}

static void nearest_word_knows_its_limits(void **state)
{
    (void)state;
    /* Length 3 allows one change, length 4 two. */
    assert_null(text_nearest("abc", (const char *const[]){ "axx", NULL }));
    assert_string_equal(text_nearest("abcd", (const char *const[]){ "abxx", NULL }), "abxx");
    assert_null(text_nearest("abcd", (const char *const[]){ "axxx", NULL }));
    /* Two swaps cost two, and a tie goes to the first. */
    assert_string_equal(text_nearest("badc", (const char *const[]){ "abcd", NULL }), "abcd");
    assert_string_equal(text_nearest("moan", (const char *const[]){ "mean", "moon", NULL }), "mean");
    /* One letter is one letter, however many bytes it takes. */
    assert_string_equal(text_nearest("m\xC3\xB6n", (const char *const[]){ "mon", NULL }), "mon");
    assert_string_equal(text_nearest("\xE2\x82\xAC", (const char *const[]){ "e", NULL }), "e");
}

static void very_long_words_are_not_compared(void **state)
{
    (void)state;
    char longest[65], longer[66];
    memset(longest, 'a', 64);
    memset(longer, 'a', 65);
    longest[64] = longer[65] = '\0';
    assert_string_equal(text_nearest(longest, (const char *const[]){ longer, longest, NULL }), longest);
    assert_null(text_nearest(longer, (const char *const[]){ longer, longest, NULL }));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(text_grows),
        cmocka_unit_test(text_ends_in_nul_at_every_length),
        cmocka_unit_test(failed_text_stays_failed),
        cmocka_unit_test(sizes_that_do_not_fit_are_refused),
        cmocka_unit_test(failing_memory_leaks_nothing),
        cmocka_unit_test(well_formed_sequences),
        cmocka_unit_test(malformed_sequences),
        cmocka_unit_test(every_code_point),
        cmocka_unit_test(nearest_word),
        cmocka_unit_test(nearest_word_knows_its_limits),
        cmocka_unit_test(very_long_words_are_not_compared),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
