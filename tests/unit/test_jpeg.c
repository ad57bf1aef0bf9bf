/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Reading JPEG: the values libjpeg decodes, grey and colour, baseline and progressive; colour profile, aspect and
 * orientation; what is refused; files that are cut and changed.
 */
#include "media/media.h"

#include "base/file.h"
#include "base/memory.h"
#include "fail_memory.h"
#include "scratch.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>
#include <jpeglib.h>
#include <lcms2.h>

enum { WIDTH = 37, HEIGHT = 29 };

static struct scratch scratch;
static char path[1024];

static int make_folder(void **state)
{
    (void)state;
    scratch_init(&scratch);
    scratch_path(&scratch, "still.jpg", path);
    return 0;
}

static int drop_folder(void **state)
{
    (void)state;
    scratch_release(&scratch);
    return 0;
}

struct make {
    J_COLOR_SPACE space;
    int components;
    bool progressive;
    int across, down;    /* density, or 0 */
    unsigned turned;     /* EXIF orientation, or 0 */
    const void *profile; /* or NULL */
    unsigned profile_size;
};

static unsigned char value_at(int x, int y, int c)
{
    return (unsigned char)(128 + 100 * sin(x * 0.2 + c) * cos(y * 0.15 - c));
}

static void write_exif(j_compress_ptr jpeg, unsigned turned)
{
    unsigned char exif[32] = "Exif\0\0MM\0*\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01";
    exif[25] = (unsigned char)turned;
    jpeg_write_marker(jpeg, JPEG_APP0 + 1, exif, sizeof exif);
}

static void make_file(const struct make *make)
{
    struct jpeg_compress_struct jpeg;
    struct jpeg_error_mgr errors;
    FILE *file = fopen(path, "wb");
    assert_non_null(file);
    jpeg.err = jpeg_std_error(&errors);
    jpeg_create_compress(&jpeg);
    jpeg_stdio_dest(&jpeg, file);
    jpeg.image_width = WIDTH;
    jpeg.image_height = HEIGHT;
    jpeg.input_components = make->components;
    jpeg.in_color_space = make->space;
    jpeg_set_defaults(&jpeg);
    jpeg_set_quality(&jpeg, 95, TRUE);
    if (make->progressive)
        jpeg_simple_progression(&jpeg);
    if (make->across) {
        jpeg.X_density = (UINT16)make->across;
        jpeg.Y_density = (UINT16)make->down;
    }
    jpeg_start_compress(&jpeg, TRUE);
    if (make->turned)
        write_exif(&jpeg, make->turned);
    if (make->profile)
        jpeg_write_icc_profile(&jpeg, make->profile, make->profile_size);
    for (int y = 0; y < HEIGHT; y++) {
        unsigned char row[WIDTH * 4];
        JSAMPROW rows = row;
        for (int i = 0; i < WIDTH * make->components; i++)
            row[i] = value_at(i / make->components, y, i % make->components);
        jpeg_write_scanlines(&jpeg, &rows, 1);
    }
    jpeg_finish_compress(&jpeg);
    jpeg_destroy_compress(&jpeg);
    fclose(file);
}

static enum passel_status read_file(struct media_info *info, struct picture *out, struct passel_error *error)
{
    struct media_reader *reader = NULL;
    struct media_faults faults = { 0, 0 };
    enum passel_status status = media_open(path, NULL, &reader, error);
    memset(out, 0, sizeof *out);
    if (status != PASSEL_OK)
        return status;
    *info = *media_info(reader);
    status = picture_new(out, info->data, info->planes, error);
    if (status == PASSEL_OK)
        status = media_read(reader, 0, out, &faults, error);
    if (status != PASSEL_OK)
        picture_release(out);
    media_close(reader);
    return status;
}

/* The file as libjpeg itself decodes it. */
static void decode_plainly(unsigned char pixels[HEIGHT][WIDTH * 3])
{
    struct jpeg_decompress_struct jpeg;
    struct jpeg_error_mgr errors;
    FILE *file = fopen(path, "rb");
    assert_non_null(file);
    jpeg.err = jpeg_std_error(&errors);
    jpeg_create_decompress(&jpeg);
    jpeg_stdio_src(&jpeg, file);
    jpeg_read_header(&jpeg, TRUE);
    jpeg.out_color_space = JCS_RGB;
    jpeg_start_decompress(&jpeg);
    for (int y = 0; y < HEIGHT; y++) {
        JSAMPROW row = pixels[y];
        jpeg_read_scanlines(&jpeg, &row, 1);
    }
    jpeg_finish_decompress(&jpeg);
    jpeg_destroy_decompress(&jpeg);
    fclose(file);
}

static void pixels_are_those_of_libjpeg(void **state)
{
    (void)state;
    static const struct make makes[] = {
        { .space = JCS_RGB, .components = 3 },
        { .space = JCS_RGB, .components = 3, .progressive = true },
        { .space = JCS_GRAYSCALE, .components = 1 },
        { .space = JCS_GRAYSCALE, .components = 1, .progressive = true },
    };
    for (size_t i = 0; i < sizeof makes / sizeof makes[0]; i++) {
        static unsigned char pixels[HEIGHT][WIDTH * 3];
        struct media_info info;
        struct picture picture;
        struct passel_error error = { 0 };
        double apart = 0;
        make_file(&makes[i]);
        decode_plainly(pixels);
        if (read_file(&info, &picture, &error) != PASSEL_OK)
            fail_msg("%s", error.text);
        assert_string_equal(info.format, "JPEG");
        assert_string_equal(info.compression, makes[i].progressive ? "progressive" : "baseline");
        assert_true(info.planes == HAS_RGB && info.bits == 8 && !info.has_encoding && info.pixel_aspect == 1);
        for (int y = 0; y < HEIGHT; y++)
            for (int x = 0; x < WIDTH; x++)
                for (int p = 0; p < PLANE_A; p++) {
                    const float value = picture_row(&picture, (enum plane)p, y)[x];
                    assert_true(value == (float)pixels[y][3 * x + p] / 255.0f);
                    apart += fabs((double)value * 255 - value_at(x, y, makes[i].components == 1 ? 0 : p));
                }
        assert_true(apart / (WIDTH * HEIGHT * 3) < 4); /* and those are near what was put in */
        picture_release(&picture);
    }
}

static void what_the_file_says(void **state)
{
    (void)state;
    struct media_info info;
    struct picture picture;
    unsigned char bytes[8192];
    cmsUInt32Number size = sizeof bytes;
    cmsToneCurve *curve = cmsBuildGamma(NULL, 1.8);
    cmsToneCurve *curves[3] = { curve, curve, curve };
    const cmsCIExyY white = { 0.3127, 0.3290, 1 };
    const cmsCIExyYTRIPLE p3 = { { 0.68, 0.32, 1 }, { 0.265, 0.69, 1 }, { 0.15, 0.06, 1 } };
    cmsHPROFILE profile = cmsCreateRGBProfile(&white, &p3, curves);
    assert_true(cmsSaveProfileToMem(profile, bytes, &size));
    cmsCloseProfile(profile);
    cmsFreeToneCurve(curve);
    make_file(&(struct make){ .space = JCS_RGB,
                              .components = 3,
                              .across = 2,
                              .down = 3,
                              .turned = 1,
                              .profile = bytes,
                              .profile_size = size });
    assert_int_equal(read_file(&info, &picture, NULL), PASSEL_OK);
    assert_true(info.has_encoding && info.encoding.curve == ENCODING_GAMMA && fabs(info.encoding.gamma - 1.8) < 1e-4);
    assert_true(info.has_primaries && primaries_same(&info.primaries, primaries_named("p3d65")));
    assert_true(info.pixel_aspect == 1.5);
    picture_release(&picture);
    make_file(&(struct make){ .space = JCS_RGB, .components = 3, .profile = "no profile", .profile_size = 10 });
    assert_int_equal(read_file(&info, &picture, NULL), PASSEL_OK);
    assert_false(info.has_encoding || info.has_primaries);
    assert_string_equal(info.unserved, "ICC profile is damaged");
    picture_release(&picture);
}

static void expect_refused(const struct make *make, const char *word)
{
    struct media_info info;
    struct picture picture;
    struct passel_error error = { 0 };
    make_file(make);
    assert_int_equal(read_file(&info, &picture, &error), PASSEL_UNSUPPORTED);
    assert_non_null(strstr(error.text, word));
    assert_non_null(strstr(error.text, "still.jpg"));
}

static void refusals(void **state)
{
    (void)state;
    expect_refused(&(struct make){ .space = JCS_CMYK, .components = 4 }, "CMYK");
    for (unsigned turned = 2; turned <= 8; turned++)
        expect_refused(&(struct make){ .space = JCS_RGB, .components = 3, .turned = turned }, "orientation");
}

static bool try_file(void)
{
    struct media_info info;
    struct picture picture;
    struct passel_error error = { 0 };
    if (read_file(&info, &picture, &error) == PASSEL_OK) {
        picture_release(&picture);
        return true;
    }
    assert_non_null(strstr(error.text, "still.jpg"));
    return false;
}

static void damaged_files(void **state)
{
    (void)state;
    uint32_t random = 12345;
    int read = 0, refused = 0;
    for (int progressive = 0; progressive < 2; progressive++) {
        char *bytes = NULL;
        size_t size = 0;
        make_file(&(struct make){ .space = JCS_RGB, .components = 3, .progressive = progressive != 0, .turned = 1 });
        assert_int_equal(file_read(path, 1 << 20, &bytes, &size, NULL), PASSEL_OK);
        for (size_t cut = 0; cut < size; cut += 7) {
            scratch_write(&scratch, "still.jpg", bytes, cut);
            assert_false(try_file());
        }
        for (int round = 0; round < 1000; round++) {
            char *changed = memory_new(size);
            memcpy(changed, bytes, size);
            for (int change = 0; change <= round % 4; change++) {
                random = random * 1664525u + 1013904223u;
                changed[3 + (random >> 8) % (round % 2 ? size - 3 : 650)] ^= (char)(1u << (random >> 29));
            }
            scratch_write(&scratch, "still.jpg", changed, size);
            *(try_file() ? &read : &refused) += 1;
            memory_free(changed);
        }
        memory_free(bytes);
    }
    print_message("%d changed files read, %d refused\n", read, refused);
    assert_true(refused > 300);
}

static enum passel_status read_attempt(void *data)
{
    struct media_info info;
    struct picture picture;
    const enum passel_status status = read_file(&info, &picture, data);
    if (status == PASSEL_OK)
        picture_release(&picture);
    return status;
}

static void memory_runs_out(void **state)
{
    (void)state;
    struct passel_error error = { 0 };
    make_file(&(struct make){ .space = JCS_RGB, .components = 3 });
    assert_true(fail_memory_each(read_attempt, &error) > 5);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(pixels_are_those_of_libjpeg),
        cmocka_unit_test(what_the_file_says),
        cmocka_unit_test(refusals),
        cmocka_unit_test(damaged_files),
        cmocka_unit_test(memory_runs_out),
    };
    return cmocka_run_group_tests(tests, make_folder, drop_folder);
}
