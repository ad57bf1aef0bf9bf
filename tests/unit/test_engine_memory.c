/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A render in which every allocation fails in turn: nothing leaks, no half file is left, and either the status says
 * that memory was out or the frames are right.
 */
#include <passel/passel.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "base/file.h"
#include "base/memory.h"
#include "fail_memory.h"
#include "scratch.h"

/* Lights, an analysis, stored and turned pictures, a far-reaching matte, two outputs, one with layers. */
static const char text[] = "shot tiny\n  frames 1001-1002\n  size 48x32\n  lock plate\n"
                           "plate = pass plate.exr\n"
                           "front = flat\n  colour 0.6 0.4 0.3\n"
                           "disc = shape\n  ellipse 24 16 9 9 px\n  feather 3 px\n"
                           "green = flat\n  colour 0.1 0.7 0.1\n"
                           "blue = flat\n  colour 0.1 0.1 0.7\n"
                           "gs = stack\n  layer green\n  layer front matte disc\n"
                           "bs = stack\n  layer blue\n  layer front matte disc\n"
                           "cut = key two-screen\n  on gs empty green\n  on bs empty blue\n"
                           "edge = matte cut\n  choke 0.7 px\n  soften 2 px\n"
                           "sky = extend plate\n  to 48x32\n  keep bottom\n"
                           "night = lights\n  light sky gain [1001 0.5, 1002 1]\n"
                           "turned = place night\n  turn 12 deg\n"
                           "final = stack\n  layer night\n  layer turned opacity 50%\n  layer front matte edge\n"
                           "output final\n  file final.####.exr\n  layers edge\n"
                           "output turned\n  file turned.####.png\n";

static const char plate_text[] = "shot plate\n  frames 1\n  size 40x20\n"
                                 "dusk = ramp\n  from 0 0 px colour 0.1 0.2 0.4\n  to 0 20 px colour 1 0.5 0.2\n"
                                 "output dusk\n  file plate.exr\n  pixels float\n";

static const char *const names[] = { "final.1001.exr", "final.1002.exr", "turned.1001.png", "turned.1002.png" };
enum { NAME_COUNT = sizeof names / sizeof names[0] };

struct wanted {
    struct scratch scratch;
    char *bytes[NAME_COUNT];
    size_t sizes[NAME_COUNT];
};

static enum passel_status render(const struct scratch *scratch, const char *name, int threads,
                                 struct passel_error *error)
{
    char path[1024];
    struct passel_recipe *recipe;
    const struct passel_render_options options = { .threads = threads };
    enum passel_status status = passel_recipe_load(scratch_path(scratch, name, path), NULL, 0, &recipe, NULL, error);
    if (status == PASSEL_OK)
        status = passel_render(recipe, &options, NULL, error);
    passel_recipe_free(recipe);
    return status;
}

static void delete_frames(const struct scratch *scratch)
{
    char path[1024];
    for (int i = 0; i < NAME_COUNT; i++)
        (void)unlink(scratch_path(scratch, names[i], path));
}

static void wanted_init(struct wanted *wanted)
{
    struct passel_error error = { 0 };
    char path[1024];
    scratch_init(&wanted->scratch);
    scratch_write(&wanted->scratch, "plate.passel", plate_text, strlen(plate_text));
    scratch_write(&wanted->scratch, "shot.passel", text, strlen(text));
    if (render(&wanted->scratch, "plate.passel", 1, &error) != PASSEL_OK ||
        render(&wanted->scratch, "shot.passel", 1, &error) != PASSEL_OK)
        fail_msg("%s", error.text);
    for (int i = 0; i < NAME_COUNT; i++)
        assert_int_equal(file_read(scratch_path(&wanted->scratch, names[i], path), 1 << 20, &wanted->bytes[i],
                                   &wanted->sizes[i], NULL),
                         PASSEL_OK);
}

static void wanted_release(struct wanted *wanted)
{
    for (int i = 0; i < NAME_COUNT; i++)
        memory_free(wanted->bytes[i]);
    scratch_release(&wanted->scratch);
}

/* How many of the files are there; those must be right. */
static int count_right(const struct wanted *wanted, long n)
{
    int count = 0;
    char path[1024];
    for (int i = 0; i < NAME_COUNT; i++) {
        char *bytes;
        size_t size;
        if (file_read(scratch_path(&wanted->scratch, names[i], path), 1 << 20, &bytes, &size, NULL) != PASSEL_OK)
            continue;
        if (size != wanted->sizes[i] || memcmp(bytes, wanted->bytes[i], size) != 0)
            fail_msg("allocation %ld failing: %s is wrong", n, names[i]);
        memory_free(bytes);
        count++;
    }
    return count;
}

/* One render with the n-th allocation failing; false when there is none. */
static bool attempt(const struct wanted *wanted, int threads, long n, bool for_good)
{
    struct passel_error error = { 0 };
    const long before = fail_memory_open();
    delete_frames(&wanted->scratch);
    fail_memory_at(n, for_good);
    const enum passel_status status = render(&wanted->scratch, "shot.passel", threads, &error);
    const bool hit = fail_memory_hit();
    fail_memory_never();
    if (fail_memory_open() != before)
        fail_msg("allocation %ld failing: %ld blocks left behind", n, fail_memory_open() - before);
    const int right = count_right(wanted, n);
    if (scratch_count(&wanted->scratch) != (size_t)right + 3)
        fail_msg("allocation %ld failing: something half is left behind", n);
    if (status != PASSEL_OK && status != PASSEL_NO_MEMORY && status != PASSEL_PARTLY)
        fail_msg("allocation %ld failing: status %d: %s", n, (int)status, error.text);
    if (status == PASSEL_OK && right != NAME_COUNT)
        fail_msg("allocation %ld failing: all is well, but files are missing", n);
    if (!hit && status != PASSEL_OK)
        fail_msg("no allocation failing: status %d: %s", (int)status, error.text);
    return hit;
}

static long attempts(const struct wanted *wanted, int threads, bool for_good)
{
    long n = 1;
    while (attempt(wanted, threads, n, for_good))
        n++;
    return n - 1;
}

static void test_one_thread(void **state)
{
    (void)state;
    struct wanted wanted;
    wanted_init(&wanted);
    const long count = attempts(&wanted, 1, false);
    assert_true(count > 100);
    assert_true(attempts(&wanted, 1, true) > 100);
    (void)printf("%ld allocations\n", count);
    wanted_release(&wanted);
}

static void test_three_threads(void **state)
{
    (void)state;
    struct wanted wanted;
    wanted_init(&wanted);
    for (long n = 1; attempt(&wanted, 3, n, false); n += 7) {
    }
    wanted_release(&wanted);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_one_thread),
        cmocka_unit_test(test_three_threads),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
