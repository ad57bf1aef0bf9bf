/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Lists of frames as the command line and the shot write them.
 */
#include "fail_memory.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "base/memory.h"
#include "base/text.h"
#include "language/recipe.h"

/* The list as "1 2 3". */
static void expect(const char *text, const char *wanted)
{
    int32_t *frames;
    int count;
    struct passel_error error = { PASSEL_OK, "" };
    struct text seen = { NULL, 0, 0, false };
    if (frames_parse(text, &frames, &count, &error) != PASSEL_OK)
        fail_msg("'%s' is refused: %s", text, error.text);
    for (int i = 0; i < count; i++)
        text_print(&seen, "%s%d", i > 0 ? " " : "", frames[i]);
    assert_string_equal(seen.bytes, wanted);
    text_release(&seen);
    memory_free(frames);
}

static void refuse(const char *text, const char *message)
{
    int32_t *frames = NULL;
    int count = 0;
    struct passel_error error = { PASSEL_OK, "" };
    assert_int_equal(frames_parse(text, &frames, &count, &error), PASSEL_BAD_USE);
    assert_null(frames);
    if (strstr(error.text, message) == NULL)
        fail_msg("'%s' gives '%s', not '%s'", text, error.text, message);
    assert_int_equal(frames_parse(text, &frames, &count, NULL), PASSEL_BAD_USE);
}

static void parts_become_frames(void **state)
{
    (void)state;
    expect("1001", "1001");
    expect("1001-1004", "1001 1002 1003 1004");
    expect("7-7", "7");
    expect("-3--1", "-3 -2 -1");
    expect("-1-1", "-1 0 1");
    expect("1-10 every 3", "1 4 7 10");
    expect("1-9 every 3", "1 4 7");
    expect("5 every 2", "5");
    expect("1-5 every 2147483647", "1");
    expect(" 1 ,\t3-4 ", "1 3 4");
}

static void parts_are_sorted_without_doubles(void **state)
{
    (void)state;
    expect("1001-1003, 1020, 1000-1004 every 2", "1000 1001 1002 1003 1004 1020");
    expect("3,2,1", "1 2 3");
    expect("5,5,5", "5");
    expect("1-3,2-4", "1 2 3 4");
}

static void ends_of_the_range_are_reached(void **state)
{
    (void)state;
    expect("2147483646-2147483647", "2147483646 2147483647");
    expect("-2147483647--2147483646", "-2147483647 -2147483646");
    expect("-2147483647-2147483647 every 2000000000", "-2147483647 -147483647 1852516353");
    refuse("2147483648", "a frame number");
}

static void wrong_lists_are_refused(void **state)
{
    (void)state;
    refuse("", "expected a frame number, not the end");
    refuse("x", "expected a frame number, not 'x'");
    refuse("1,", "expected a frame number, not the end");
    refuse(",1", "expected a frame number, not ','");
    refuse("1-", "behind the dash, not the end");
    refuse("1-x", "behind the dash, not 'x'");
    refuse("4-2", "write 2-4");
    refuse("1 2", "expected a comma or the end, not '2'");
    refuse("1-5 every", "expected a comma or the end, not 'every'");
    refuse("1-5 every 0", "from 1 on behind 'every', not '0'");
    refuse("1-5 every -1", "from 1 on behind 'every', not '-1'");
    refuse("1-5 every x", "behind 'every', not 'x'");
    refuse("3 - 4", "expected a comma or the end, not '-'");
    refuse("1..5", "expected a comma or the end, not '..5'");
    refuse("1.5", "expected a comma or the end, not '.5'");
    refuse("1-5 every 2 3", "expected a comma or the end, not '3'");
}

static void a_million_frames_are_enough(void **state)
{
    (void)state;
    int32_t *frames;
    int count;
    assert_int_equal(frames_parse("1-1000000", &frames, &count, NULL), PASSEL_OK);
    assert_int_equal(count, 1000000);
    assert_int_equal(frames[999999], 1000000);
    memory_free(frames);
    refuse("1-1000001", "more than 1000000 frames");
    refuse("1-1000000, 1000002", "more than 1000000 frames");
    refuse("-2147483647-2147483647", "more than 1000000 frames");
}

/* The same range a thousand times over is no more than itself, and takes no room for more. */
static void repeated_ranges_do_not_pile_up(void **state)
{
    (void)state;
    struct text list = { NULL, 0, 0, false };
    int32_t *frames;
    int count;
    for (int i = 0; i < 100; i++)
        text_print(&list, "%s1-100000", i > 0 ? "," : "");
    assert_int_equal(frames_parse(list.bytes, &frames, &count, NULL), PASSEL_OK);
    assert_int_equal(count, 100000);
    memory_free(frames);
    text_release(&list);
}

static enum passel_status attempt(void *data)
{
    int32_t *frames = NULL;
    int count;
    struct passel_error error = { PASSEL_OK, "" };
    const enum passel_status status = frames_parse(data, &frames, &count, &error);
    memory_free(status == PASSEL_OK ? frames : NULL);
    return status;
}

static void memory_runs_out(void **state)
{
    (void)state;
    char list[] = "1-10, 20-90, 1-5000, 3";
    assert_true(fail_memory_each(attempt, list) >= 3);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(parts_become_frames),
        cmocka_unit_test(parts_are_sorted_without_doubles),
        cmocka_unit_test(ends_of_the_range_are_reached),
        cmocka_unit_test(wrong_lists_are_refused),
        cmocka_unit_test(a_million_frames_are_enough),
        cmocka_unit_test(repeated_ranges_do_not_pile_up),
        cmocka_unit_test(memory_runs_out),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
