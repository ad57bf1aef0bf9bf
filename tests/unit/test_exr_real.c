/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * OpenEXR files made by others, when they are there: the folder `exr` below the one that the environment variable
 * PASSEL_REAL names. Every file in `damaged` is refused with its name, soon, without much memory; luminance/chroma and
 * DWA files read as the library's RGBA interface reads them. Values of all other files are compared with OpenImageIO
 * by tests/reference/exr_compare.py.
 */
#include "media/media.h"

#include "base/file.h"
#include "base/memory.h"
#include "exr_make.h"
#include "picture/half.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <time.h>

#include <cmocka.h>

enum { SKIPPED = 77 };

static const char *real_folder(void)
{
    const char *folder = getenv("PASSEL_REAL");
    struct file_facts facts;
    char exr[1024];
    snprintf(exr, sizeof exr, "%s/exr", folder != NULL ? folder : "");
    return folder != NULL && file_facts(exr, &facts, NULL) == PASSEL_OK ? folder : NULL;
}

static double seconds(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static long peak_kilobytes(void)
{
    struct rusage usage;
    getrusage(RUSAGE_SELF, &usage);
    return usage.ru_maxrss;
}

static enum passel_status read_all(const char *path, struct picture *picture, struct passel_error *error)
{
    struct media_reader *reader = NULL;
    struct media_faults faults = { 0, 0 };
    *picture = (struct picture){ .owned = NULL };
    enum passel_status status = media_open(path, NULL, &reader, error);
    if (status == PASSEL_OK)
        status = picture_new(picture, media_info(reader)->data, media_info(reader)->planes, error);
    if (status == PASSEL_OK)
        status = media_read(reader, 0, picture, &faults, error);
    media_close(reader);
    return status;
}

static void damaged_files_are_refused(void **state)
{
    char folder[1024], path[2048], **names = NULL;
    size_t count = 0;
    (void)state;
    snprintf(folder, sizeof folder, "%s/exr/damaged", real_folder());
    assert_int_equal(folder_list(folder, &names, &count, NULL), PASSEL_OK);
    assert_true(count > 0);
    for (size_t i = 0; i < count; i++) {
        struct passel_error error = { 0 };
        struct picture picture;
        const double start = seconds();
        snprintf(path, sizeof path, "%s/%s", folder, names[i]);
        const enum passel_status status = read_all(path, &picture, &error);
        picture_release(&picture);
        if (status == PASSEL_OK || status == PASSEL_NO_MEMORY || strstr(error.text, names[i]) == NULL)
            fail_msg("%s: status %d, '%s'", names[i], (int)status, error.text);
        if (seconds() - start > 1.0)
            fail_msg("%s: %.2f s", names[i], seconds() - start);
    }
    /* With what the test itself and a sanitizer take. */
    assert_true(peak_kilobytes() < 200 * 1024);
    folder_free(names, count);
}

static void deep_data_are_refused(void **state)
{
    struct passel_error error = { 0 };
    struct picture picture;
    char path[1024];
    (void)state;
    snprintf(path, sizeof path, "%s/exr/odd/11.deep.exr", real_folder());
    assert_int_equal(read_all(path, &picture, &error), PASSEL_UNSUPPORTED);
    assert_non_null(strstr(error.text, "11.deep.exr"));
    assert_non_null(strstr(error.text, "deep"));
}

static float widened(uint16_t half)
{
    float value;
    half_to_float(&half, &value, 1);
    return value;
}

static void chroma_and_dwa_read_as_the_interface_does(void **state)
{
    static const char *const names[] = { "library/comp_b44.exr", "library/comp_dwaa_v2.exr", "odd/Rec709_YC.exr",
                                         "odd/night.exr", "photos/CrissyField.exr" };
    (void)state;
    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        struct passel_error error = { 0 };
        struct picture picture;
        char path[1024];
        snprintf(path, sizeof path, "%s/exr/%s", real_folder(), names[i]);
        if (read_all(path, &picture, &error) != PASSEL_OK)
            fail_msg("%s", error.text);
        uint16_t *pixels = exr_rgba_pixels(path, picture.area), *at = pixels;
        for (int y = picture.area.y0; y < picture.area.y1; y++)
            for (int x = 0; x < rect_width(picture.area); x++, at += 4)
                for (int p = 0; p < PLANE_COUNT; p++)
                    if (picture.plane[p] != NULL)
                        assert_true(picture_row(&picture, (enum plane)p, y)[x] == widened(at[p]));
        free(pixels);
        picture_release(&picture);
    }
}

/* One photograph, packed with and without loss: the difference that its makers state. */
static void dwa_is_near_to_what_was_packed(void **state)
{
    char path[1024];
    struct picture packed, plain;
    float worst = 0.0f;
    (void)state;
    snprintf(path, sizeof path, "%s/exr/library/comp_dwaa_v2.exr", real_folder());
    assert_int_equal(read_all(path, &packed, NULL), PASSEL_OK);
    snprintf(path, sizeof path, "%s/exr/library/comp_dwaa_piz.exr", real_folder());
    assert_int_equal(read_all(path, &plain, NULL), PASSEL_OK);
    for (int p = 0; p < PLANE_COUNT; p++)
        for (int y = 0; y < plain.area.y1; y++)
            for (int x = 0; x < plain.area.x1; x++) {
                const float a = picture_row(&packed, (enum plane)p, y)[x], b = picture_row(&plain, (enum plane)p, y)[x];
                worst = a - b > worst ? a - b : b - a > worst ? b - a : worst;
            }
    assert_true(worst < 0.006f);
    picture_release(&packed);
    picture_release(&plain);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(damaged_files_are_refused),
        cmocka_unit_test(deep_data_are_refused),
        cmocka_unit_test(chroma_and_dwa_read_as_the_interface_does),
        cmocka_unit_test(dwa_is_near_to_what_was_packed),
    };
    if (real_folder() == NULL) {
        printf("skipped: not present: exr below the folder that PASSEL_REAL names (%s)\n",
               getenv("PASSEL_REAL") != NULL ? getenv("PASSEL_REAL") : "unset");
        return SKIPPED;
    }
    return cmocka_run_group_tests(tests, NULL, NULL);
}
