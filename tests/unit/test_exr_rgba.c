/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * OpenEXR files that the library's core does not write: DWA compression, luminance/chroma, lines from the bottom up.
 * The reference is the library's RGBA interface.
 */
#include "media/media.h"

#include "exr_make.h"
#include "fail_memory.h"
#include "picture/half.h"
#include "scratch.h"

#include <OpenEXR/ImfCRgbaFile.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static struct scratch scratch;
static char path[1024];
static const struct rect windows[] = { { 0, 0, 64, 40 }, { -20, 10, 100, 310 }, { 6, -300, 8, 2 } };

static int make_folder(void **state)
{
    (void)state;
    scratch_init(&scratch);
    scratch_path(&scratch, "pass.exr", path);
    return 0;
}

static int drop_folder(void **state)
{
    (void)state;
    scratch_release(&scratch);
    return 0;
}

static struct media_reader *open_file(void)
{
    struct media_reader *reader = NULL;
    struct passel_error error = { 0 };
    if (media_open(path, NULL, &reader, &error) != PASSEL_OK)
        fail_msg("%s", error.text);
    return reader;
}

/* Every plane that the file has is bit for bit what the interface gives. */
static void expect_reference(struct rect data, unsigned planes, bool whole)
{
    struct media_reader *reader = open_file();
    struct picture picture;
    struct media_faults faults = { 0, 0 };
    struct passel_error error = { 0 };
    assert_true(rect_same(media_info(reader)->data, data));
    assert_int_equal(media_info(reader)->planes, planes);
    assert_int_equal(media_info(reader)->whole, whole);
    assert_int_equal(picture_new(&picture, data, planes, NULL), PASSEL_OK);
    if (media_read(reader, 0, &picture, &faults, &error) != PASSEL_OK)
        fail_msg("%s", error.text);
    uint16_t *pixels = exr_rgba_pixels(path, data), *at = pixels;
    for (int y = data.y0; y < data.y1; y++)
        for (int x = data.x0; x < data.x1; x++, at += 4)
            for (int p = 0; p < PLANE_COUNT; p++) {
                float expected;
                half_to_float(&at[p], &expected, 1);
                if (picture.plane[p] != NULL)
                    assert_true(picture_row(&picture, (enum plane)p, y)[x - data.x0] == expected);
            }
    free(pixels);
    picture_release(&picture);
    media_close(reader);
}

static void dwa_is_read_whole(void **state)
{
    (void)state;
    for (int w = 0; w < 3; w++) {
        exr_make_rgba(path, windows[w], EXR_COMPRESSION_DWAA, EXR_LINEORDER_INCREASING_Y, IMF_WRITE_RGBA);
        expect_reference(windows[w], HAS_RGBA, true);
        exr_make_rgba(path, windows[w], EXR_COMPRESSION_DWAB, EXR_LINEORDER_INCREASING_Y, IMF_WRITE_RGB);
        expect_reference(windows[w], HAS_RGB, true);
    }
}

static void chroma_is_read_whole(void **state)
{
    (void)state;
    for (int w = 0; w < 3; w++) {
        exr_make_rgba(path, windows[w], EXR_COMPRESSION_PIZ, EXR_LINEORDER_INCREASING_Y, IMF_WRITE_YC);
        expect_reference(windows[w], HAS_RGB, true);
        exr_make_rgba(path, windows[w], EXR_COMPRESSION_B44, EXR_LINEORDER_INCREASING_Y, IMF_WRITE_YCA);
        expect_reference(windows[w], HAS_RGBA, true);
    }
}

static void luminance_alone_is_grey(void **state)
{
    (void)state;
    exr_make_rgba(path, windows[1], EXR_COMPRESSION_ZIP, EXR_LINEORDER_INCREASING_Y, IMF_WRITE_Y);
    expect_reference(windows[1], HAS_RGB, false);
    exr_make_rgba(path, windows[1], EXR_COMPRESSION_ZIP, EXR_LINEORDER_INCREASING_Y, IMF_WRITE_YA);
    expect_reference(windows[1], HAS_RGBA, false);
}

static void lines_from_the_bottom_up(void **state)
{
    (void)state;
    for (int c = EXR_COMPRESSION_NONE; c <= EXR_COMPRESSION_B44A; c++)
        for (int w = 0; w < 3; w++) {
            exr_make_rgba(path, windows[w], (exr_compression_t)c, EXR_LINEORDER_DECREASING_Y, IMF_WRITE_RGBA);
            expect_reference(windows[w], HAS_RGBA, false);
        }
}

static void only_the_plain_picture_is_read_this_way(void **state)
{
    static const char *const wanted[] = { "A", "R", "nothing" };
    (void)state;
    exr_make_rgba(path, windows[0], EXR_COMPRESSION_DWAA, EXR_LINEORDER_INCREASING_Y, IMF_WRITE_RGBA);
    for (int i = 0; i < 3; i++) {
        const struct media_choice choice = { wanted[i], NULL };
        struct media_reader *reader = NULL;
        struct passel_error error = { 0 };
        assert_int_equal(media_open(path, &choice, &reader, &error), i < 2 ? PASSEL_UNSUPPORTED : PASSEL_BAD_USE);
        assert_non_null(strstr(error.text, path));
        assert_non_null(strstr(error.text, i < 2 ? "DWA" : "'nothing'"));
    }
    struct media_reader *reader = open_file();
    struct picture picture;
    struct media_faults faults = { 0, 0 };
    assert_int_equal(picture_new(&picture, rect_of(0, 0, 64, 20), HAS_RGB, NULL), PASSEL_OK);
    assert_int_equal(media_read(reader, 0, &picture, &faults, NULL), PASSEL_BAD_USE);
    picture_release(&picture);
    media_close(reader);
}

static enum passel_status read_once(void *data)
{
    struct media_reader *reader = NULL;
    struct media_faults faults = { 0, 0 };
    enum passel_status status = media_open(path, NULL, &reader, NULL);
    if (status == PASSEL_OK)
        status = media_read(reader, 0, data, &faults, NULL);
    media_close(reader);
    return status;
}

static void memory_may_run_out_anywhere(void **state)
{
    struct picture picture;
    (void)state;
    exr_make_rgba(path, windows[0], EXR_COMPRESSION_DWAA, EXR_LINEORDER_INCREASING_Y, IMF_WRITE_RGBA);
    assert_int_equal(picture_new(&picture, windows[0], HAS_RGBA, NULL), PASSEL_OK);
    assert_true(fail_memory_each(read_once, &picture) > 5);
    picture_release(&picture);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(dwa_is_read_whole),
        cmocka_unit_test(chroma_is_read_whole),
        cmocka_unit_test(luminance_alone_is_grey),
        cmocka_unit_test(lines_from_the_bottom_up),
        cmocka_unit_test(only_the_plain_picture_is_read_this_way),
        cmocka_unit_test(memory_may_run_out_anywhere),
    };
    return cmocka_run_group_tests(tests, make_folder, drop_folder);
}
