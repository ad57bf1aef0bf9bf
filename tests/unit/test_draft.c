/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What a folder's names say: which files are one clip.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "base/memory.h"
#include "fail_memory.h"
#include "scratch.h"
#include "survey/clips.h"

static void touch(const struct scratch *scratch, const char *name)
{
    scratch_write(scratch, name, "", 0);
}

static const struct clip *clip_named(const struct clip_list *list, const char *name)
{
    for (int i = 0; i < list->count; i++) {
        if (strcmp(list->clips[i].name, name) == 0)
            return &list->clips[i];
    }
    fail_msg("no clip %s", name);
    return NULL;
}

static void find(const struct scratch *scratch, struct clip_list *list)
{
    struct passel_error error = { 0 };
    assert_int_equal(clips_find(scratch->folder, list, &error), PASSEL_OK);
}

static void numbers_make_clips(void **state)
{
    (void)state;
    struct scratch scratch;
    static const char *const names[] = { "moon.0001.exr", "moon.0002.exr", "moon.0004.exr", "moon.0001.png",
                                         "a9.tif",        "a10.tif",       "a11.tif",       "b08.tif",
                                         "b9.tif",        "still.exr",     "v2 take.jpg",   "take 1 of ##.exr",
                                         "notes.txt",     "\xff.exr",      "7.exr",         "8.exr" };
    struct clip_list list;
    scratch_init(&scratch);
    for (size_t i = 0; i < sizeof names / sizeof *names; i++)
        touch(&scratch, names[i]);
    find(&scratch, &list);
    const struct clip *moon = clip_named(&list, "moon.####.exr");
    assert_int_equal(moon->count, 3);
    assert_int_equal(moon->frames[2], 4);
    char *path = clip_path("x", moon, 2);
    assert_string_equal(path, "x/moon.0004.exr");
    memory_free(path);
    assert_false(clip_named(&list, "moon.0001.png")->numbered);
    assert_int_equal(clip_named(&list, "a%d.tif")->count, 3);
    assert_false(clip_named(&list, "b08.tif")->numbered);
    assert_false(clip_named(&list, "b9.tif")->numbered);
    assert_int_equal(clip_named(&list, "%d.exr")->count, 2);
    (void)clip_named(&list, "still.exr");
    (void)clip_named(&list, "v2 take.jpg");
    (void)clip_named(&list, "take 1 of ##.exr");
    assert_int_equal(list.count, 9);
    assert_string_equal(list.skipped.bytes, "notes.txt\n\xff.exr\n");
    clip_list_release(&list);
    assert_int_equal(list.count, 0);
    scratch_release(&scratch);
}

static void many_files(void **state)
{
    (void)state;
    struct scratch scratch;
    struct clip_list list;
    char name[32];
    scratch_init(&scratch);
    for (int i = 0; i < 40000; i++) {
        (void)snprintf(name, sizeof name, "rain.%05d.exr", i);
        touch(&scratch, name);
    }
    find(&scratch, &list);
    assert_int_equal(list.count, 1);
    assert_int_equal(list.clips[0].count, 40000);
    clip_list_release(&list);
    scratch_release(&scratch);
}

static void clips_are_taken_apart(void **state)
{
    (void)state;
    struct scratch scratch;
    static const bool ends[7] = { true, false, true, false, false, true, false };
    struct clip_list list;
    char name[32];
    scratch_init(&scratch);
    for (int i = 1; i <= 8; i++) {
        (void)snprintf(name, sizeof name, "C%04d.exr", i);
        touch(&scratch, name);
    }
    find(&scratch, &list);
    assert_int_equal(clips_split(&list, 0, ends, NULL), PASSEL_OK);
    /* 1 | 2 3 | 4 5 6 | 7 8: pieces of less than three are stills. */
    assert_int_equal(list.count, 6);
    const struct clip *run = clip_named(&list, "C####.exr");
    assert_true(run->piece);
    assert_int_equal(run->count, 3);
    assert_int_equal(run->frames[0], 4);
    (void)clip_named(&list, "C0001.exr");
    (void)clip_named(&list, "C0008.exr");
    clip_list_release(&list);
    scratch_release(&scratch);
}

static enum passel_status find_and_split(void *data)
{
    static const bool ends[3] = { true, true, false };
    const struct scratch *scratch = data;
    struct clip_list list;
    struct passel_error error = { 0 };
    enum passel_status status = clips_find(scratch->folder, &list, &error);
    if (status == PASSEL_OK)
        status = clips_split(&list, 0, ends, &error);
    clip_list_release(&list);
    return status;
}

static void memory_runs_out(void **state)
{
    struct scratch scratch;
    (void)state;
    scratch_init(&scratch);
    touch(&scratch, "a.1.exr");
    touch(&scratch, "a.2.exr");
    touch(&scratch, "a.3.exr");
    touch(&scratch, "a.4.exr");
    touch(&scratch, "notes.txt");
    assert_true(fail_memory_each(find_and_split, &scratch) > 5);
    scratch_release(&scratch);
}

static void no_folder(void **state)
{
    struct clip_list list;
    struct scratch scratch;
    (void)state;
    assert_int_equal(clips_find("/nowhere", &list, NULL), PASSEL_NO_FILE);
    scratch_init(&scratch);
    find(&scratch, &list);
    assert_int_equal(list.count, 0);
    clip_list_release(&list);
    scratch_release(&scratch);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(numbers_make_clips), cmocka_unit_test(many_files), cmocka_unit_test(clips_are_taken_apart),
        cmocka_unit_test(memory_runs_out),    cmocka_unit_test(no_folder),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
