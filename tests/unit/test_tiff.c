/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Reading TIFF: files that libtiff writes here in every layout that is served, against the samples they were made of;
 * what is refused; files that are cut and changed.
 */
#include "media/media.h"

#include "base/file.h"
#include "base/memory.h"
#include "fail_memory.h"
#include "scratch.h"

#include <lcms2.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <tiffio.h>

#include <cmocka.h>

enum { WIDTH = 21, HEIGHT = 19, TILE = 16 };

static struct scratch scratch;
static char path[1024];

static int make_folder(void **state)
{
    (void)state;
    scratch_init(&scratch);
    scratch_path(&scratch, "plate.tif", path);
    return 0;
}

static int drop_folder(void **state)
{
    (void)state;
    scratch_release(&scratch);
    return 0;
}

/* How a file is made. Zeros: rows in strips, interleaved, upright, uncompressed, integers, no alpha. */
struct make {
    int samples, bits, kind, photometric;
    int alpha; /* EXTRASAMPLE_… + 1, or 0 for none */
    int compression, orientation;
    bool apart, tiled;
    const char *mode; /* "w", "wb" (big-endian), "w8" (BigTIFF) */
};

/* A sample as an integer of `bits` bits. */
static uint32_t sample_at(int x, int y, int c, int bits)
{
    uint32_t mixed = (uint32_t)(x * 7919 + y * 104729 + c * 15485863);
    mixed = (mixed ^ mixed >> 15) * 2246822519u;
    mixed ^= mixed >> 13;
    return bits == 32 ? mixed : mixed & ((1u << bits) - 1);
}

/* Between −1 and 3, exact as half. */
static float float_at(int x, int y, int c)
{
    return ((float)sample_at(x, y, c, 11) - 512.0f) / 512.0f;
}

static uint16_t half_of(float value)
{
    uint32_t bits;
    memcpy(&bits, &value, sizeof bits);
    const uint32_t exponent = bits >> 23 & 255;
    if (exponent == 0)
        return 0;
    return (uint16_t)(bits >> 16 & 0x8000) | (uint16_t)((exponent - 112) << 10) | (uint16_t)(bits >> 13 & 0x3ff);
}

static size_t put_sample(const struct make *make, unsigned char *to, int x, int y, int c)
{
    const uint32_t value = sample_at(x, y, c, make->bits);
    const uint16_t word = (uint16_t)value, half = half_of(float_at(x, y, c));
    const float number = float_at(x, y, c);
    const bool is_float = make->kind == SAMPLEFORMAT_IEEEFP;
    if (make->bits == 8)
        to[0] = (unsigned char)value;
    else if (make->bits == 16)
        memcpy(to, is_float ? &half : &word, 2);
    else
        memcpy(to, is_float ? (const void *)&number : &value, 4);
    return (size_t)make->bits / 8;
}

static size_t put_row(const struct make *make, unsigned char *to, int x0, int x1, int y, int sample)
{
    size_t size = 0;
    for (int x = x0; x < x1; x++)
        for (int c = make->apart ? sample : 0; c < (make->apart ? sample + 1 : make->samples); c++)
            size += put_sample(make, to + size, x, y, c);
    return size;
}

static void write_tiles(TIFF *tiff, const struct make *make, int sample)
{
    static unsigned char tile[TILE * TILE * 4 * 4];
    for (int ty = 0; ty < HEIGHT; ty += TILE)
        for (int tx = 0; tx < WIDTH; tx += TILE) {
            size_t size = 0;
            for (int y = ty; y < ty + TILE; y++)
                size += put_row(make, tile + size, tx, tx + TILE, y, sample);
            assert_true(TIFFWriteTile(tiff, tile, (uint32_t)tx, (uint32_t)ty, 0, (uint16_t)sample) > 0);
        }
}

static void set_fields(TIFF *tiff, const struct make *make)
{
    TIFFSetField(tiff, TIFFTAG_IMAGEWIDTH, WIDTH);
    TIFFSetField(tiff, TIFFTAG_IMAGELENGTH, HEIGHT);
    TIFFSetField(tiff, TIFFTAG_SAMPLESPERPIXEL, make->samples);
    TIFFSetField(tiff, TIFFTAG_BITSPERSAMPLE, make->bits);
    TIFFSetField(tiff, TIFFTAG_SAMPLEFORMAT, make->kind ? make->kind : SAMPLEFORMAT_UINT);
    TIFFSetField(tiff, TIFFTAG_PHOTOMETRIC, make->photometric);
    TIFFSetField(tiff, TIFFTAG_COMPRESSION, make->compression ? make->compression : COMPRESSION_NONE);
    TIFFSetField(tiff, TIFFTAG_PLANARCONFIG, make->apart ? PLANARCONFIG_SEPARATE : PLANARCONFIG_CONTIG);
    TIFFSetField(tiff, TIFFTAG_ORIENTATION, make->orientation ? make->orientation : ORIENTATION_TOPLEFT);
    if (make->alpha) {
        const uint16_t extra = (uint16_t)(make->alpha - 1);
        TIFFSetField(tiff, TIFFTAG_EXTRASAMPLES, 1, &extra);
    }
    if (make->tiled) {
        TIFFSetField(tiff, TIFFTAG_TILEWIDTH, TILE);
        TIFFSetField(tiff, TIFFTAG_TILELENGTH, TILE);
    } else {
        TIFFSetField(tiff, TIFFTAG_ROWSPERSTRIP, 5);
    }
}

static void make_file(const struct make *make)
{
    TIFF *tiff = TIFFOpen(path, make->mode ? make->mode : "w");
    assert_non_null(tiff);
    set_fields(tiff, make);
    for (int sample = 0; sample < (make->apart ? make->samples : 1); sample++) {
        unsigned char row[WIDTH * 4 * 4];
        if (make->tiled)
            write_tiles(tiff, make, sample);
        for (int y = 0; !make->tiled && y < HEIGHT; y++) {
            put_row(make, row, 0, WIDTH, y, sample);
            assert_true(TIFFWriteScanline(tiff, row, (uint32_t)y, (uint16_t)sample) > 0);
        }
    }
    TIFFClose(tiff);
}

static enum passel_status read_file(struct media_info *info, struct picture *out, struct media_faults *faults,
                                    struct passel_error *error)
{
    struct media_reader *reader = NULL;
    enum passel_status status = media_open(path, NULL, &reader, error);
    memset(out, 0, sizeof *out);
    if (status != PASSEL_OK)
        return status;
    *info = *media_info(reader);
    status = picture_new(out, info->data, info->planes, error);
    if (status == PASSEL_OK)
        status = media_read(reader, 0, out, faults, error);
    if (status != PASSEL_OK)
        picture_release(out);
    media_close(reader);
    return status;
}

static float expected(const struct make *make, int x, int y, int c)
{
    const int turned = make->orientation;
    if (turned == ORIENTATION_TOPRIGHT || turned == ORIENTATION_BOTRIGHT)
        x = WIDTH - 1 - x;
    if (turned == ORIENTATION_BOTLEFT || turned == ORIENTATION_BOTRIGHT)
        y = HEIGHT - 1 - y;
    if (make->kind == SAMPLEFORMAT_IEEEFP)
        return float_at(x, y, c);
    const double top = make->bits == 32 ? 4294967295.0 : (double)((1u << make->bits) - 1);
    const float value = (float)(sample_at(x, y, c, make->bits) / top);
    return make->photometric == PHOTOMETRIC_MINISWHITE && c == 0 ? 1.0f - value : value;
}

static void check_file(const struct make *make)
{
    struct media_info info;
    struct picture picture;
    struct media_faults faults = { 0, 0 };
    struct passel_error error = { 0 };
    const bool colour = make->photometric == PHOTOMETRIC_RGB;
    const int alpha_at = colour ? 3 : 1;
    make_file(make);
    if (read_file(&info, &picture, &faults, &error) != PASSEL_OK)
        fail_msg("%d samples of %d bits, kind %d: %s", make->samples, make->bits, make->kind, error.text);
    const bool alpha = make->alpha > 1;
    assert_string_equal(info.format, "TIFF");
    assert_int_equal(info.planes, alpha ? HAS_RGBA : HAS_RGB);
    assert_int_equal(info.alpha, !alpha                                      ? ALPHA_NONE
                                 : make->alpha == EXTRASAMPLE_ASSOCALPHA + 1 ? ALPHA_PREMULTIPLIED
                                                                             : ALPHA_STRAIGHT);
    assert_int_equal(info.bits, make->bits);
    assert_int_equal(info.sample, make->kind != SAMPLEFORMAT_IEEEFP ? SAMPLE_UINT
                                  : make->bits == 16                ? SAMPLE_HALF
                                                                    : SAMPLE_FLOAT);
    for (int y = 0; y < HEIGHT; y++)
        for (int x = 0; x < WIDTH; x++)
            for (int p = 0; p < PLANE_COUNT; p++)
                if (picture.plane[p])
                    assert_true(picture_row(&picture, (enum plane)p, y)[x] == expected(make, x, y,
                                                                                       p == PLANE_A ? alpha_at
                                                                                       : colour     ? p
                                                                                                    : 0));
    picture_release(&picture);
}

static void every_layout(void **state)
{
    (void)state;
    static const struct {
        int bits, kind;
    } depths[] = { { 8, 0 }, { 16, 0 }, { 32, 0 }, { 16, SAMPLEFORMAT_IEEEFP }, { 32, SAMPLEFORMAT_IEEEFP } };
    for (size_t depth = 0; depth < sizeof depths / sizeof depths[0]; depth++)
        for (int samples = 1; samples <= 4; samples++)
            for (int way = 0; way < 4; way++) {
                struct make make = { .samples = samples, .bits = depths[depth].bits, .kind = depths[depth].kind };
                make.photometric = samples >= 3 ? PHOTOMETRIC_RGB : PHOTOMETRIC_MINISBLACK;
                make.alpha = samples == 4 ? EXTRASAMPLE_UNASSALPHA + 1 : samples == 2 ? EXTRASAMPLE_ASSOCALPHA + 1 : 0;
                make.apart = way % 2;
                make.tiled = way / 2;
                make.compression = way == 1 ? COMPRESSION_LZW : way == 2 ? COMPRESSION_ADOBE_DEFLATE : 0;
                check_file(&make);
            }
}

static void other_ways_to_store_the_same(void **state)
{
    (void)state;
    const struct make plain = { .samples = 3, .bits = 16, .photometric = PHOTOMETRIC_RGB };
    struct make make = plain;
    make.mode = "wb";
    check_file(&make);
    make.mode = "w8";
    check_file(&make);
    for (int orientation = 1; orientation <= 4; orientation++) {
        make = plain;
        make.orientation = orientation;
        check_file(&make);
        make.tiled = make.apart = true;
        check_file(&make);
    }
    make =
        (struct make){ .samples = 4, .bits = 8, .photometric = PHOTOMETRIC_RGB, .alpha = EXTRASAMPLE_UNSPECIFIED + 1 };
    check_file(&make);
    make = (struct make){
        .samples = 2, .bits = 8, .photometric = PHOTOMETRIC_MINISWHITE, .alpha = EXTRASAMPLE_UNASSALPHA + 1
    };
    check_file(&make);
    make.apart = true;
    check_file(&make);
    make = plain;
    make.compression = COMPRESSION_PACKBITS;
    check_file(&make);
}

static void palettes_are_converted(void **state)
{
    (void)state;
    struct media_info info;
    struct picture picture;
    struct media_faults faults = { 0, 0 };
    uint16_t map[3][16];
    unsigned char row[8] = { 0x01, 0x23, 0x45, 0x67, 0x89, 0xab, 0xcd, 0xef };
    for (int i = 0; i < 16; i++)
        for (int c = 0; c < 3; c++)
            map[c][i] = (uint16_t)(257 * (i * 13 + c * 20));
    TIFF *tiff = TIFFOpen(path, "w");
    set_fields(tiff, &(struct make){ .samples = 1, .bits = 4, .photometric = PHOTOMETRIC_PALETTE });
    TIFFSetField(tiff, TIFFTAG_IMAGEWIDTH, 16);
    TIFFSetField(tiff, TIFFTAG_IMAGELENGTH, 1);
    TIFFSetField(tiff, TIFFTAG_COLORMAP, map[0], map[1], map[2]);
    assert_true(TIFFWriteScanline(tiff, row, 0, 0) > 0);
    TIFFClose(tiff);
    assert_int_equal(read_file(&info, &picture, &faults, NULL), PASSEL_OK);
    assert_int_equal(info.planes, HAS_RGB);
    for (int x = 0; x < 16; x++)
        for (int p = 0; p < PLANE_A; p++)
            assert_true(picture.plane[p][x] == (float)(x * 13 + p * 20) / 255.0f);
    picture_release(&picture);
}

static void values_that_are_no_numbers(void **state)
{
    (void)state;
    struct media_info info;
    struct picture picture;
    struct media_faults faults = { 0, 0 };
    const float row[4] = { NAN, INFINITY, -INFINITY, 1e6f };
    TIFF *tiff = TIFFOpen(path, "w");
    set_fields(
        tiff,
        &(struct make){ .samples = 1, .bits = 32, .kind = SAMPLEFORMAT_IEEEFP, .photometric = PHOTOMETRIC_MINISBLACK });
    TIFFSetField(tiff, TIFFTAG_IMAGEWIDTH, 4);
    TIFFSetField(tiff, TIFFTAG_IMAGELENGTH, 1);
    assert_true(TIFFWriteScanline(tiff, (void *)(uintptr_t)row, 0, 0) > 0);
    TIFFClose(tiff);
    assert_int_equal(read_file(&info, &picture, &faults, NULL), PASSEL_OK);
    const float *red = picture.plane[PLANE_R];
    assert_true(red[0] == 0 && red[1] == 65504 && red[2] == -65504 && red[3] == 1e6f);
    assert_true(faults.nan == 1 && faults.infinite == 2);
    picture_release(&picture);
}

static void profile_and_aspect(void **state)
{
    (void)state;
    struct media_info info;
    struct picture picture;
    struct media_faults faults = { 0, 0 };
    unsigned char bytes[8192], pixel[3] = { 1, 2, 3 };
    cmsUInt32Number size = sizeof bytes;
    cmsHPROFILE profile = cmsCreate_sRGBProfile();
    assert_true(cmsSaveProfileToMem(profile, bytes, &size));
    cmsCloseProfile(profile);
    TIFF *tiff = TIFFOpen(path, "w");
    set_fields(tiff, &(struct make){ .samples = 3, .bits = 8, .photometric = PHOTOMETRIC_RGB });
    TIFFSetField(tiff, TIFFTAG_IMAGEWIDTH, 1);
    TIFFSetField(tiff, TIFFTAG_IMAGELENGTH, 1);
    TIFFSetField(tiff, TIFFTAG_ICCPROFILE, size, bytes);
    TIFFSetField(tiff, TIFFTAG_XRESOLUTION, 100.0);
    TIFFSetField(tiff, TIFFTAG_YRESOLUTION, 200.0);
    assert_true(TIFFWriteScanline(tiff, pixel, 0, 0) > 0);
    TIFFClose(tiff);
    assert_int_equal(read_file(&info, &picture, &faults, NULL), PASSEL_OK);
    assert_true(info.has_encoding && info.encoding.curve == ENCODING_SRGB);
    assert_true(info.has_primaries && primaries_same(&info.primaries, primaries_named("rec709")));
    assert_true(info.pixel_aspect == 2);
    picture_release(&picture);
}

static void expect_refused(const struct make *make, const char *word)
{
    struct media_info info;
    struct picture picture;
    struct media_faults faults = { 0, 0 };
    struct passel_error error = { 0 };
    make_file(make);
    assert_int_equal(read_file(&info, &picture, &faults, &error), PASSEL_UNSUPPORTED);
    assert_non_null(strstr(error.text, word));
    assert_non_null(strstr(error.text, "plate.tif"));
}

static void refusals(void **state)
{
    (void)state;
    expect_refused(&(struct make){ .samples = 4, .bits = 8, .photometric = PHOTOMETRIC_SEPARATED }, "CMYK");
    expect_refused(&(struct make){ .samples = 3, .bits = 8, .photometric = PHOTOMETRIC_CIELAB }, "Lab");
    expect_refused(
        &(struct make){ .samples = 3, .bits = 8, .photometric = PHOTOMETRIC_RGB, .orientation = ORIENTATION_LEFTTOP },
        "orientation 5");
    expect_refused(&(struct make){ .samples = 3, .bits = 16, .kind = SAMPLEFORMAT_INT, .photometric = PHOTOMETRIC_RGB },
                   "16 bits");
}

static bool try_file(void)
{
    struct media_info info;
    struct picture picture;
    struct media_faults faults = { 0, 0 };
    struct passel_error error = { 0 };
    if (read_file(&info, &picture, &faults, &error) == PASSEL_OK) {
        picture_release(&picture);
        return true;
    }
    assert_non_null(strstr(error.text, "plate.tif"));
    return false;
}

static void damaged_files(void **state)
{
    (void)state;
    static const struct make makes[] = {
        { .samples = 3, .bits = 8, .photometric = PHOTOMETRIC_RGB, .compression = COMPRESSION_LZW },
        { .samples = 4, .bits = 16, .kind = SAMPLEFORMAT_IEEEFP, .photometric = PHOTOMETRIC_RGB, .tiled = true },
        { .samples = 3,
          .bits = 8,
          .photometric = PHOTOMETRIC_RGB,
          .compression = COMPRESSION_ADOBE_DEFLATE,
          .apart = true },
        { .samples = 1, .bits = 8, .photometric = PHOTOMETRIC_MINISBLACK },
    };
    uint32_t random = 12345;
    int read = 0, refused = 0;
    for (size_t i = 0; i < sizeof makes / sizeof makes[0]; i++) {
        char *bytes = NULL;
        size_t size = 0;
        make_file(&makes[i]);
        assert_int_equal(file_read(path, 1 << 20, &bytes, &size, NULL), PASSEL_OK);
        for (size_t cut = 0; cut < size; cut += 37) {
            scratch_write(&scratch, "plate.tif", bytes, cut);
            assert_false(try_file());
        }
        for (int round = 0; round < 500; round++) {
            char *changed = memory_new(size);
            memcpy(changed, bytes, size);
            for (int change = 0; change <= round % 4; change++) {
                random = random * 1664525u + 1013904223u;
                /* Every other change goes to the directory, at the end of the file. */
                const size_t reach = round % 2 ? size : size < 250 ? size : 250;
                changed[size - 1 - (random >> 8) % reach] ^= (char)(1u << (random >> 29));
            }
            scratch_write(&scratch, "plate.tif", changed, size);
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
    struct media_faults faults = { 0, 0 };
    const enum passel_status status = read_file(&info, &picture, &faults, data);
    if (status == PASSEL_OK)
        picture_release(&picture);
    return status;
}

static void memory_runs_out(void **state)
{
    (void)state;
    struct passel_error error = { 0 };
    make_file(&(struct make){ .samples = 3, .bits = 8, .photometric = PHOTOMETRIC_RGB, .apart = true });
    assert_true(fail_memory_each(read_attempt, &error) > 5);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_layout),           cmocka_unit_test(other_ways_to_store_the_same),
        cmocka_unit_test(palettes_are_converted), cmocka_unit_test(values_that_are_no_numbers),
        cmocka_unit_test(profile_and_aspect),     cmocka_unit_test(refusals),
        cmocka_unit_test(damaged_files),          cmocka_unit_test(memory_runs_out),
    };
    TIFFSetErrorHandler(NULL);
    TIFFSetWarningHandler(NULL);
    return cmocka_run_group_tests(tests, make_folder, drop_folder);
}
