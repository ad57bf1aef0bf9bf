/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What a PNG says of its colour: the chunks by their bytes, their precedence, ICC profiles, and that what is written is
 * read back. Chunk bytes and checksums: W3C PNG Third Edition and ITU-T H.273, checksums computed with zlib.
 */
#include "media/png_colour.h"

#include "base/file.h"
#include "base/memory.h"
#include "fail_memory.h"
#include "media/media.h"
#include "png_make.h"
#include "scratch.h"

#include <lcms2.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <zlib.h>

#include <cmocka.h>

static struct scratch scratch;
static char path[1024];
static struct made_png made;

static int make_folder(void **state)
{
    (void)state;
    scratch_init(&scratch);
    scratch_path(&scratch, "picture.png", path);
    return 0;
}

static int drop_folder(void **state)
{
    (void)state;
    scratch_release(&scratch);
    return 0;
}

/* A file of one pixel (16, 126, 235) with the chunks that a line names: "gAMA:0000b18f sRGB:00". */
static void make_with(const char *chunks)
{
    const unsigned char row[4] = { 0, 16, 126, 235 };
    png_make_begin(&made, 1, 1, 8, 2, 0);
    for (const char *at = chunks; *at; at += strcspn(at, " ")) {
        unsigned char bytes[64];
        char type[5] = "", digits[128] = "";
        at += strspn(at, " ");
        if (sscanf(at, "%4[A-Za-z]:%127[0-9a-f]", type, digits) >= 1)
            png_make_chunk(&made, type, bytes, png_make_hex(digits, bytes));
    }
    png_make_data(&made, row, sizeof row);
    png_make_end(&made);
    scratch_write(&scratch, "picture.png", made.bytes, made.size);
}

static struct media_info read_info(float rgb[3])
{
    struct media_reader *reader = NULL;
    struct media_faults faults = { 0, 0 };
    struct passel_error error = { 0 };
    if (media_open(path, NULL, &reader, &error) != PASSEL_OK)
        fail_msg("%s", error.text);
    const struct media_info info = *media_info(reader);
    const struct picture one = { rect_of(0, 0, 1, 1), { rgb, rgb + 1, rgb + 2, NULL }, 1, NULL };
    assert_int_equal(media_read(reader, 0, &one, &faults, &error), PASSEL_OK);
    media_close(reader);
    return info;
}

#define CHRM_709 "cHRM:00007a26000080840000fa00000080e8000075300000ea6000003a9800001770 "
#define CHRM_P3 "cHRM:00007a2600008084000109a000007d000000678400010d8800003a9800001770 "

static void chunks_by_precedence(void **state)
{
    (void)state;
    static const struct {
        const char *chunks;
        bool has_encoding;
        struct encoding encoding;
        const char *primaries; /* or NULL */
        const char *unserved;
    } rows[] = {
        { "", false, { 0, 0 }, NULL, "" },
        { "sRGB:00", true, { ENCODING_SRGB, 0 }, "rec709", "" },
        { "sRGB:00 gAMA:000186a0", true, { ENCODING_SRGB, 0 }, "rec709", "" },
        { "gAMA:0000b18f", true, { ENCODING_GAMMA, 2.2 }, NULL, "" },
        { "gAMA:000186a0", true, { ENCODING_LINEAR, 0 }, NULL, "" },
        { "gAMA:0000a2c3", true, { ENCODING_GAMMA, 2.4 }, NULL, "" },
        { CHRM_709 "gAMA:0000d904", true, { ENCODING_GAMMA, 1.8 }, "rec709", "" },
        { CHRM_P3, false, { 0, 0 }, "p3d65", "" },
        { CHRM_P3 "sRGB:01", true, { ENCODING_SRGB, 0 }, "rec709", "" },
        { "cICP:0c0d0001 sRGB:00", true, { ENCODING_SRGB, 0 }, "p3d65", "" },
        { "sRGB:00 cICP:09080001", true, { ENCODING_LINEAR, 0 }, "rec2020", "" },
        { "cICP:01010001 gAMA:000186a0", true, { ENCODING_REC709, 0 }, "rec709", "" },
        { "cICP:01040001", true, { ENCODING_GAMMA, 2.2 }, "rec709", "" },
        { "cICP:09100001", false, { 0, 0 }, NULL, "cICP 9 16 0 1 is not served" },
        { "cICP:09120001 sRGB:00", true, { ENCODING_SRGB, 0 }, "rec709", "cICP 9 18 0 1 is not served" },
        { "cICP:01010101 gAMA:0000b18f", true, { ENCODING_GAMMA, 2.2 }, NULL, "cICP 1 1 1 1 is not served" },
        { "cICP:010100 gAMA:000186a0", true, { ENCODING_LINEAR, 0 }, NULL, "cICP is damaged" },
        { "sRGB:04", false, { 0, 0 }, NULL, "sRGB is damaged" },
        { "gAMA:00000000", false, { 0, 0 }, NULL, "gAMA 0 is not served" },
        { "iCCP:787800007801 sRGB:00", true, { ENCODING_SRGB, 0 }, "rec709", "iCCP is damaged" },
        { "cHRM:0000000000000000000000000000000000000000000000000000000000000000 gAMA:000186a0",
          true,
          { ENCODING_LINEAR, 0 },
          NULL,
          "cHRM has impossible primaries" },
        { "gAMA:000186a0 gAMA:0000b18f", true, { ENCODING_LINEAR, 0 }, NULL, "" },
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        float rgb[3];
        make_with(rows[i].chunks);
        const struct media_info info = read_info(rgb);
        if (info.has_encoding != rows[i].has_encoding || strcmp(info.unserved, rows[i].unserved) != 0)
            fail_msg("%s: encoding %d, '%s'", rows[i].chunks, info.has_encoding, info.unserved);
        if (info.has_encoding)
            assert_true(info.encoding.curve == rows[i].encoding.curve && info.encoding.gamma == rows[i].encoding.gamma);
        assert_int_equal(info.has_primaries, rows[i].primaries != NULL);
        if (info.has_primaries)
            assert_true(primaries_same(&info.primaries, primaries_named(rows[i].primaries)));
        assert_true(rgb[0] == 16 / 255.0f && rgb[1] == 126 / 255.0f && rgb[2] == 235 / 255.0f);
    }
}

static void narrow_range(void **state)
{
    (void)state;
    float rgb[3];
    make_with("cICP:01010000");
    const struct media_info info = read_info(rgb);
    assert_true(info.has_encoding && info.encoding.curve == ENCODING_REC709);
    assert_true(fabsf(rgb[0]) < 1e-6f && fabsf(rgb[1] - 110 / 219.0f) < 1e-6f && fabsf(rgb[2] - 1) < 1e-6f);
}

static void chunks_behind_the_picture_say_nothing(void **state)
{
    (void)state;
    const unsigned char row[4] = { 0, 1, 2, 3 }, intent = 0;
    float rgb[3];
    png_make_begin(&made, 1, 1, 8, 2, 0);
    png_make_data(&made, row, sizeof row);
    png_make_chunk(&made, "sRGB", &intent, 1);
    png_make_end(&made);
    scratch_write(&scratch, "picture.png", made.bytes, made.size);
    assert_false(read_info(rgb).has_encoding);
}

/* ICC profiles, made by Little CMS */

static void make_profile_file(cmsHPROFILE profile, const char *more)
{
    unsigned char bytes[32768] = "icc\0\0", profile_bytes[16384];
    const unsigned char row[4] = { 0, 1, 2, 3 };
    cmsUInt32Number size = sizeof profile_bytes;
    uLongf packed = sizeof bytes - 5;
    assert_true(cmsSaveProfileToMem(profile, profile_bytes, &size));
    cmsCloseProfile(profile);
    assert_int_equal(compress(bytes + 5, &packed, profile_bytes, size), Z_OK);
    png_make_begin(&made, 1, 1, 8, 2, 0);
    png_make_chunk(&made, "iCCP", bytes, packed + 5);
    if (more)
        png_make_chunk(&made, more, "\0", 1);
    png_make_data(&made, row, sizeof row);
    png_make_end(&made);
    scratch_write(&scratch, "picture.png", made.bytes, made.size);
}

static cmsHPROFILE profile_of(const struct primaries *primaries, cmsToneCurve *curve, double version)
{
    const cmsCIExyY white = { primaries->white[0], primaries->white[1], 1 };
    const cmsCIExyYTRIPLE colours = { { primaries->red[0], primaries->red[1], 1 },
                                      { primaries->green[0], primaries->green[1], 1 },
                                      { primaries->blue[0], primaries->blue[1], 1 } };
    cmsToneCurve *curves[3] = { curve, curve, curve };
    cmsHPROFILE profile = cmsCreateRGBProfile(&white, &colours, curves);
    cmsSetProfileVersion(profile, version);
    return profile;
}

static cmsToneCurve *curve_of(struct encoding encoding, bool table)
{
    static const double srgb[] = { 2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045 };
    static const double rec709[] = { 1 / 0.45, 1 / 1.099, 0.099 / 1.099, 1 / 4.5, 0.081 };
    cmsToneCurve *curve = encoding.curve == ENCODING_SRGB     ? cmsBuildParametricToneCurve(NULL, 4, srgb)
                          : encoding.curve == ENCODING_REC709 ? cmsBuildParametricToneCurve(NULL, 4, rec709)
                                                              : cmsBuildGamma(NULL, encoding.gamma);
    if (!table)
        return curve;
    cmsUInt16Number values[1024];
    for (int i = 0; i < 1024; i++)
        values[i] = (cmsUInt16Number)(cmsEvalToneCurveFloat(curve, (float)i / 1023.0f) * 65535.0f + 0.5f);
    cmsFreeToneCurve(curve);
    return cmsBuildTabulatedToneCurve16(NULL, 1024, values);
}

static void profiles_of_matrix_and_curve(void **state)
{
    (void)state;
    static const char *const names[] = { "rec709", "rec2020", "p3d65", "acescg", "aces" };
    static const struct encoding encodings[] = { { ENCODING_SRGB, 0 },
                                                 { ENCODING_REC709, 0 },
                                                 { ENCODING_GAMMA, 2.2 },
                                                 { ENCODING_GAMMA, 1.8 },
                                                 { ENCODING_GAMMA, 1 } };
    for (int i = 0; i < 5 * 5 * 4; i++) {
        const struct primaries *primaries = primaries_named(names[i % 5]);
        const struct encoding encoding = encodings[i / 5 % 5];
        float rgb[3];
        cmsToneCurve *curve = curve_of(encoding, i / 25 % 2);
        make_profile_file(profile_of(primaries, curve, i / 50 ? 2.1 : 4.3), "sRGB");
        cmsFreeToneCurve(curve);
        const struct media_info info = read_info(rgb);
        if (!info.has_encoding || !info.has_primaries || info.unserved[0])
            fail_msg("%s, curve %d: '%s'", names[i % 5], i / 5 % 5, info.unserved);
        const bool linear = encoding.gamma == 1;
        assert_int_equal(info.encoding.curve, linear ? ENCODING_LINEAR : encoding.curve);
        if (!linear && encoding.curve == ENCODING_GAMMA)
            assert_true(fabs(info.encoding.gamma - encoding.gamma) <
                        (i < 50 ? 1e-3 : 1.0 / 256)); /* version 2 rounds */
        assert_true(primaries_same(&info.primaries, primaries));
    }
}

static void profiles_that_cannot_be_followed(void **state)
{
    (void)state;
    float rgb[3];
    struct media_info info;
    make_profile_file(cmsCreateLab4Profile(NULL), "sRGB");
    info = read_info(rgb);
    assert_true(info.encoding.curve == ENCODING_SRGB && info.has_primaries);
    assert_string_equal(info.unserved, "iCCP is built of tables, not of a matrix and curves");
    const cmsFloat32Number shape[] = { 0, 0.1f, 0.9f, 1 };
    cmsToneCurve *curve = cmsBuildTabulatedToneCurveFloat(NULL, 4, shape);
    make_profile_file(profile_of(primaries_named("rec709"), curve, 4.3), NULL);
    cmsFreeToneCurve(curve);
    info = read_info(rgb);
    assert_false(info.has_encoding || info.has_primaries);
    assert_string_equal(info.unserved, "iCCP has a curve of its own");
}

static void grey_profile(void **state)
{
    (void)state;
    float rgb[3];
    cmsToneCurve *curve = cmsBuildGamma(NULL, 2.2);
    make_profile_file(cmsCreateGrayProfile(cmsD50_xyY(), curve), NULL);
    cmsFreeToneCurve(curve);
    const struct media_info info = read_info(rgb);
    assert_true(info.has_encoding && info.encoding.curve == ENCODING_GAMMA && fabs(info.encoding.gamma - 2.2) < 1e-4);
    assert_false(info.has_primaries);
}

/* Writing */

static void write_pixel(struct encoding encoding, const char *primaries)
{
    const struct media_layer layer = { "", HAS_RGB };
    const struct media_plan plan = { .display = rect_of(0, 0, 1, 1),
                                     .data = rect_of(0, 0, 1, 1),
                                     .pixel_aspect = 1,
                                     .layers = &layer,
                                     .layer_count = 1,
                                     .pixels = PIXELS_8,
                                     .encoding = encoding,
                                     .primaries = *primaries_named(primaries) };
    float rgb[3] = { 0, 0.5f, 1 };
    const struct picture one = { rect_of(0, 0, 1, 1), { rgb, rgb + 1, rgb + 2, NULL }, 1, NULL };
    struct media_writer *writer = NULL;
    struct passel_error error = { 0 };
    if (media_create(path, &plan, &writer, &error) != PASSEL_OK)
        fail_msg("%s", error.text);
    assert_int_equal(media_write(writer, &one, NULL), PASSEL_OK);
    assert_int_equal(media_finish(writer, NULL), PASSEL_OK);
}

/* The file holds these bytes: a chunk's type, data and checksum. */
static bool file_holds(const char *type, const char *data, const char *checksum)
{
    unsigned char wanted[64];
    char *bytes = NULL;
    size_t size = 0;
    bool found = false;
    memcpy(wanted, type, 4);
    size_t length = 4 + png_make_hex(data, wanted + 4);
    if (checksum)
        length += png_make_hex(checksum, wanted + length);
    assert_int_equal(file_read(path, 1 << 20, &bytes, &size, NULL), PASSEL_OK);
    for (size_t at = 0; at + length <= size; at++)
        found = found || memcmp(bytes + at, wanted, length) == 0;
    memory_free(bytes);
    return found;
}

static void published_chunks_are_written(void **state)
{
    (void)state;
    write_pixel((struct encoding){ ENCODING_SRGB, 0 }, "rec709");
    assert_true(file_holds("sRGB", "00", "aece1ce9"));
    assert_true(file_holds("gAMA", "0000b18f", "0bfc6105"));
    assert_true(file_holds("cHRM", "00007a26000080840000fa00000080e8000075300000ea6000003a9800001770", "9cba513c"));
    assert_true(file_holds("IEND", "", "ae426082"));
    assert_false(file_holds("cICP", "", NULL));
    write_pixel((struct encoding){ ENCODING_LINEAR, 0 }, "rec709");
    assert_true(file_holds("gAMA", "000186a0", "31e8965f"));
    assert_true(file_holds("cICP", "01080001", NULL));
    assert_false(file_holds("sRGB", "", NULL));
    write_pixel((struct encoding){ ENCODING_SRGB, 0 }, "p3d65");
    assert_true(file_holds("cICP", "0c0d0001", "6e03e3ef"));
    write_pixel((struct encoding){ ENCODING_LINEAR, 0 }, "aces");
    assert_false(file_holds("cICP", "", NULL));
    assert_true(file_holds("cHRM", "00007da8000083e700011efe000067a200000000000186a00000000affffe1ec", NULL));
}

static void what_is_written_is_read_back(void **state)
{
    (void)state;
    static const char *const names[] = { "rec709", "rec2020", "p3d65", "acescg", "aces" };
    static const struct encoding encodings[] = { { ENCODING_LINEAR, 0 },  { ENCODING_BT1886, 0 },
                                                 { ENCODING_GAMMA, 2.2 }, { ENCODING_GAMMA, 2.6 },
                                                 { ENCODING_SRGB, 0 },    { ENCODING_REC709, 0 } };
    for (int i = 0; i < 6 * 5; i++) {
        const struct encoding encoding = encodings[i / 5];
        float rgb[3];
        const bool power = encoding.curve != ENCODING_SRGB && encoding.curve != ENCODING_REC709;
        if (!power && i % 5 > 2)
            continue; /* refused: test_png_write.c */
        write_pixel(encoding, names[i % 5]);
        const struct media_info info = read_info(rgb);
        assert_true(info.has_encoding && info.has_primaries && info.unserved[0] == '\0');
        assert_true(primaries_same(&info.primaries, primaries_named(names[i % 5])));
        if (encoding.curve == ENCODING_BT1886)
            assert_true(info.encoding.curve == ENCODING_GAMMA && info.encoding.gamma == 2.4);
        else
            assert_true(info.encoding.curve == encoding.curve && info.encoding.gamma == encoding.gamma);
    }
}

static enum passel_status open_attempt(void *data)
{
    struct media_reader *reader = NULL;
    const enum passel_status status = media_open(path, NULL, &reader, data);
    media_close(reader);
    return status;
}

static void memory_runs_out(void **state)
{
    (void)state;
    struct passel_error error = { 0 };
    make_profile_file(cmsCreate_sRGBProfile(), "sRGB");
    assert_true(fail_memory_each(open_attempt, &error) > 5);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(chunks_by_precedence),
        cmocka_unit_test(narrow_range),
        cmocka_unit_test(chunks_behind_the_picture_say_nothing),
        cmocka_unit_test(profiles_of_matrix_and_curve),
        cmocka_unit_test(profiles_that_cannot_be_followed),
        cmocka_unit_test(grey_profile),
        cmocka_unit_test(published_chunks_are_written),
        cmocka_unit_test(what_is_written_is_read_back),
        cmocka_unit_test(memory_runs_out),
    };
    return cmocka_run_group_tests(tests, make_folder, drop_folder);
}
