/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Numbered files: patterns, what is found on the disk, and what is missing.
 */
#include "media/sequence.h"

#include "base/memory.h"
#include "fail_memory.h"
#include "scratch.h"

#include <fcntl.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include <cmocka.h>

static void touch(const struct scratch *scratch, const char *name)
{
    scratch_write(scratch, name, "", 0);
}

static void find(const struct scratch *scratch, const char *name, struct sequence *sequence)
{
    char path[1024];
    struct passel_error error = { 0 };
    assert_int_equal(sequence_find(scratch_path(scratch, name, path), sequence, &error), PASSEL_OK);
}

static void expect_gaps(const struct sequence *sequence, int32_t first, int32_t last, const char *expected)
{
    struct text gaps = { NULL, 0, 0, false };
    sequence_gaps(sequence, first, last, &gaps);
    assert_string_equal(gaps.bytes ? gaps.bytes : "", expected);
    text_release(&gaps);
}

static void patterns_are_told_apart(void **state)
{
    (void)state;
    static const struct {
        const char *pattern;
        enum passel_status status;
        bool numbered;
    } rows[] = {
        { "moon.####.exr", PASSEL_OK, true },       { "moon.##.exr", PASSEL_OK, true },
        { "moon.#.exr", PASSEL_OK, false },         { "moon.exr", PASSEL_OK, false },
        { "moon.%04d.exr", PASSEL_OK, true },       { "moon.%d.exr", PASSEL_OK, true },
        { "moon.%4d.exr", PASSEL_OK, false },       { "moon.%0d.exr", PASSEL_OK, false },
        { "moon.%x.exr", PASSEL_OK, false },        { "100%.exr", PASSEL_OK, false },
        { "take ####/moon.exr", PASSEL_OK, false }, { "take.##/moon.####.exr", PASSEL_OK, true },
        { "#1/moon.####.exr", PASSEL_OK, true },    { "moon.####.%04d.exr", PASSEL_BAD_USE, true },
        { "a##b##.exr", PASSEL_BAD_USE, true },     { "moon.%099d.exr", PASSEL_BAD_USE, true },
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct passel_error error = { 0 };
        bool numbered = !rows[i].numbered;
        assert_int_equal(pattern_numbered(rows[i].pattern, &numbered, &error), rows[i].status);
        assert_int_equal(numbered, rows[i].numbered);
        if (rows[i].status != PASSEL_OK)
            assert_non_null(strstr(error.text, rows[i].pattern));
    }
}

static void paths_are_padded(void **state)
{
    (void)state;
    static const struct {
        const char *pattern;
        int32_t frame;
        const char *path;
    } rows[] = {
        { "p/moon.####.exr", 7, "p/moon.0007.exr" },
        { "moon.####.exr", 12345, "moon.12345.exr" },
        { "moon.####.exr", -7, "moon.-0007.exr" },
        { "moon.%04d.exr", 1001, "moon.1001.exr" },
        { "moon.%d.exr", 7, "moon.7.exr" },
        { "moon.#.exr", 7, "moon.#.exr" },
        { "##/moon.##.exr", 3, "##/moon.03.exr" },
        { "moon.##", INT32_MIN, "moon.-2147483648" },
        { "moon.##########", INT32_MAX, "moon.2147483647" },
        { "a#b####", 1, "a#b0001" },
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char *path = pattern_path(rows[i].pattern, rows[i].frame);
        assert_string_equal(path, rows[i].path);
        memory_free(path);
    }
}

static void finds_frames_in_order(void **state)
{
    (void)state;
    struct scratch scratch;
    struct sequence sequence;
    scratch_init(&scratch);
    const char *const names[] = { "moon.0010.exr",  "moon.0002.exr",  "moon.-0003.exr",      "moon.12345.exr",
                                  "moon.0001.exr",  "moon.1.exr",     "moon.00002.exr",      "moon.-0000.exr",
                                  "moon.0003.exr~", "moon.003x.exr",  "noon.0004.exr",       "moon.0005.png",
                                  "moon.+007.exr",  "moon.--003.exr", "moon.99999999999.exr" };
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++)
        touch(&scratch, names[i]);
    find(&scratch, "moon.####.exr", &sequence);
    static const int32_t expected[] = { -3, 1, 2, 10, 12345 };
    assert_true(sequence.numbered);
    assert_int_equal(sequence.count, 5);
    assert_memory_equal(sequence.frames, expected, sizeof expected);
    assert_true(sequence_has(&sequence, -3));
    assert_true(sequence_has(&sequence, 12345));
    assert_false(sequence_has(&sequence, 3));
    assert_false(sequence_has(&sequence, INT32_MAX));
    assert_false(sequence_has(&sequence, INT32_MIN));
    sequence_release(&sequence);
    find(&scratch, "moon.%d.exr", &sequence);
    static const int32_t unpadded[] = { 1, 12345 };
    assert_int_equal(sequence.count, 2);
    assert_memory_equal(sequence.frames, unpadded, sizeof unpadded);
    sequence_release(&sequence);
    scratch_release(&scratch);
}

static void odd_names(void **state)
{
    (void)state;
    struct scratch scratch;
    struct sequence sequence;
    char path[1024];
    scratch_init(&scratch);
    touch(&scratch, "the m\xc3\xb6on (take 2) 0007 .exr");
    find(&scratch, "the m\xc3\xb6on (take 2) #### .exr", &sequence);
    assert_int_equal(sequence.count, 1);
    assert_int_equal(sequence.frames[0], 7);
    char *found = pattern_path(sequence.pattern, 7);
    assert_int_equal(access(found, F_OK), 0);
    memory_free(found);
    sequence_release(&sequence);
    assert_int_equal(mkdir(scratch_path(&scratch, "##", path), 0777), 0);
    touch(&scratch, "##/a#07");
    find(&scratch, "##/a#%02d", &sequence);
    assert_int_equal(sequence.count, 1);
    assert_true(sequence_has(&sequence, 7));
    sequence_release(&sequence);
    scratch_release(&scratch);
}

static void single_files(void **state)
{
    (void)state;
    struct scratch scratch;
    struct sequence sequence;
    struct passel_error error = { 0 };
    char path[1024];
    scratch_init(&scratch);
    touch(&scratch, "still #.exr");
    find(&scratch, "still #.exr", &sequence);
    assert_false(sequence.numbered);
    assert_int_equal(sequence.count, 1);
    assert_null(sequence.frames);
    assert_true(sequence_has(&sequence, 0));
    expect_gaps(&sequence, 1, 10, "");
    sequence_release(&sequence);
    assert_int_equal(sequence_find(scratch_path(&scratch, "none.exr", path), &sequence, &error), PASSEL_NO_FILE);
    assert_non_null(strstr(error.text, "none.exr"));
    assert_int_equal(sequence_find(scratch.folder, &sequence, &error), PASSEL_NO_FILE);
    assert_int_equal(sequence_find("-", &sequence, &error), PASSEL_OK);
    assert_int_equal(sequence.count, 1);
    sequence_release(&sequence);
    scratch_release(&scratch);
}

static void nothing_is_no_error(void **state)
{
    (void)state;
    struct scratch scratch;
    struct sequence sequence;
    scratch_init(&scratch);
    find(&scratch, "moon.####.exr", &sequence);
    assert_int_equal(sequence.count, 0);
    expect_gaps(&sequence, 1, 3, "1-3");
    sequence_release(&sequence);
    find(&scratch, "no folder/moon.####.exr", &sequence);
    assert_int_equal(sequence.count, 0);
    sequence_release(&sequence);
    scratch_release(&scratch);
}

static void gaps_are_named(void **state)
{
    (void)state;
    int32_t frames[] = { -3, -2, 1, 2, 4, 8 };
    const struct sequence sequence = { .numbered = true, .frames = frames, .count = 6 };
    expect_gaps(&sequence, -3, 8, "-1-0, 3, 5-7");
    expect_gaps(&sequence, 1, 2, "");
    expect_gaps(&sequence, 0, 3, "0, 3");
    expect_gaps(&sequence, 5, 6, "5-6");
    expect_gaps(&sequence, 8, 10, "9-10");
    expect_gaps(&sequence, 9, 9, "9");
    expect_gaps(&sequence, -6, -6, "-6");
    expect_gaps(&sequence, 5, 4, "");
    expect_gaps(&sequence, INT32_MIN, INT32_MAX, "-2147483648--4, -1-0, 3, 5-7, 9-2147483647");
}

static void large_folder(void **state)
{
    (void)state;
    enum { FRAMES = 40000 };
    struct scratch scratch;
    struct sequence sequence;
    struct timespec from, to;
    scratch_init(&scratch);
    char path[1024], name[64];
    for (int frame = 0; frame < FRAMES; frame++) {
        snprintf(name, sizeof name, "moon.%04d.exr", (frame * 7919) % FRAMES);
        const int file = open(scratch_path(&scratch, name, path), O_WRONLY | O_CREAT, 0666);
        assert_true(file >= 0);
        close(file);
    }
    assert_int_equal(unlink(scratch_path(&scratch, "moon.20000.exr", path)), 0);
    clock_gettime(CLOCK_MONOTONIC, &from);
    find(&scratch, "moon.####.exr", &sequence);
    clock_gettime(CLOCK_MONOTONIC, &to);
    const double seconds = (double)(to.tv_sec - from.tv_sec) + (double)(to.tv_nsec - from.tv_nsec) * 1e-9;
    print_message("%d names in %.3f s\n", FRAMES - 1, seconds);
    assert_int_equal(sequence.count, FRAMES - 1);
    expect_gaps(&sequence, 0, FRAMES - 1, "20000");
    for (int i = 1; i < sequence.count; i++)
        assert_true(sequence.frames[i - 1] < sequence.frames[i]);
    sequence_release(&sequence);
    assert_true(seconds < 5); /* a search per frame, or a quadratic sort, takes far longer */
    scratch_release(&scratch);
}

static enum passel_status find_attempt(void *data)
{
    struct sequence sequence;
    const enum passel_status status = sequence_find(data, &sequence, NULL);
    if (status == PASSEL_OK)
        sequence_release(&sequence);
    return status;
}

static void memory_runs_out(void **state)
{
    (void)state;
    struct scratch scratch;
    char path[1024];
    scratch_init(&scratch);
    touch(&scratch, "moon.0001.exr");
    touch(&scratch, "moon.0002.exr");
    assert_true(fail_memory_each(find_attempt, (void *)(uintptr_t)scratch_path(&scratch, "moon.####.exr", path)) > 3);
    scratch_release(&scratch);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(patterns_are_told_apart),
        cmocka_unit_test(paths_are_padded),
        cmocka_unit_test(finds_frames_in_order),
        cmocka_unit_test(odd_names),
        cmocka_unit_test(single_files),
        cmocka_unit_test(nothing_is_no_error),
        cmocka_unit_test(gaps_are_named),
        cmocka_unit_test(large_folder),
        cmocka_unit_test(memory_runs_out),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
