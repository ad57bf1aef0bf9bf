/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Reading PNG: every type, depth and interlace against samples computed here; windows, aspect and channels; files that
 * are cut, changed and untrue. What files say of their colour is in test_png_colour.c.
 */
#include "media/media.h"

#include "base/memory.h"
#include "fail_memory.h"
#include "png_make.h"
#include "scratch.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <zlib.h>

#include <cmocka.h>

enum { WIDTH = 11, HEIGHT = 9, PALETTE_SIZE = 16 };

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

static void keep(const struct made_png *png)
{
    scratch_write(&scratch, "picture.png", png->bytes, png->size);
}

/* Opens, reads all that the file gives, closes. */
static enum passel_status read_file(const struct media_choice *choice, struct media_info *info, struct picture *out,
                                    struct passel_error *error)
{
    struct media_reader *reader = NULL;
    struct media_faults faults = { 0, 0 };
    enum passel_status status = media_open(path, choice, &reader, error);
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

/* Samples of a picture that only this file knows. */

static unsigned sample_at(int x, int y, int channel, int bits)
{
    uint32_t mixed = (uint32_t)(x * 7919 + y * 104729 + channel * 15485863 + bits);
    mixed = (mixed ^ mixed >> 15) * 2246822519u;
    return (mixed ^ mixed >> 13) & ((1u << bits) - 1);
}

static int channels_of(int type)
{
    static const int counts[] = { 1, 0, 3, 1, 2, 0, 4 };
    return counts[type];
}

/* One filtered row (filter 0) of the pixels x0, x0 + step, … of row y, appended to `bytes`. */
static size_t pack_row(unsigned char *bytes, int y, int x0, int step, int bits, int type)
{
    size_t at = 1;
    int used = 0;
    bytes[0] = 0;
    for (int x = x0; x < WIDTH; x += step) {
        for (int c = 0; c < channels_of(type); c++) {
            const unsigned value = sample_at(x, y, c, bits);
            if (bits == 16) {
                bytes[at++] = (unsigned char)(value >> 8);
                bytes[at++] = (unsigned char)(value & 255);
                continue;
            }
            if (used == 0)
                bytes[at] = 0;
            bytes[at] = (unsigned char)(bytes[at] | value << (8 - used - bits));
            used = (used + bits) % 8;
            at += used == 0 ? 1 : 0;
        }
    }
    return at + (used ? 1 : 0);
}

static size_t pack_rows(unsigned char *bytes, int bits, int type, int interlace)
{
    /* The seven passes of Adam7: first column, first row, steps. */
    static const int passes[7][4] = { { 0, 0, 8, 8 }, { 4, 0, 8, 8 }, { 0, 4, 4, 8 }, { 2, 0, 4, 4 },
                                      { 0, 2, 2, 4 }, { 1, 0, 2, 2 }, { 0, 1, 1, 2 } };
    size_t size = 0;
    for (int pass = 0; interlace && pass < 7; pass++)
        for (int y = passes[pass][1]; y < HEIGHT; y += passes[pass][3])
            size += pack_row(bytes + size, y, passes[pass][0], passes[pass][2], bits, type);
    for (int y = 0; !interlace && y < HEIGHT; y++)
        size += pack_row(bytes + size, y, 0, 1, bits, type);
    return size;
}

static unsigned char palette_at(unsigned index, int channel)
{
    return (unsigned char)(index * 37 + (unsigned)channel * 91 + 5);
}

/* The transparent grey or colour of a file with tRNS is that of its pixel (3, 2). */
static void add_transparency(int bits, int type)
{
    unsigned char bytes[PALETTE_SIZE];
    size_t size = 0;
    if (type == 3) {
        for (unsigned i = 0; i < 2; i++)
            bytes[size++] = (unsigned char)(i * 100 + 20);
    } else {
        for (int c = 0; c < channels_of(type); c++) {
            bytes[size++] = (unsigned char)(sample_at(3, 2, c, bits) >> 8);
            bytes[size++] = (unsigned char)(sample_at(3, 2, c, bits) & 255);
        }
    }
    png_make_chunk(&made, "tRNS", bytes, size);
}

static void make(int bits, int type, int interlace, bool transparent)
{
    unsigned char rows[8192];
    png_make_begin(&made, WIDTH, HEIGHT, bits, type, interlace);
    if (type == 3) {
        unsigned char palette[3 * 256];
        const unsigned count = 1u << bits;
        for (unsigned i = 0; i < 3 * count; i++)
            palette[i] = palette_at(i / 3, (int)(i % 3));
        png_make_chunk(&made, "PLTE", palette, 3 * count);
    }
    if (transparent)
        add_transparency(bits, type);
    png_make_data(&made, rows, pack_rows(rows, bits, type, interlace));
    png_make_end(&made);
    keep(&made);
}

static float expected_colour(int x, int y, int plane, int bits, int type)
{
    const float top = (float)((1u << bits) - 1);
    if (type == 3)
        return (float)palette_at(sample_at(x, y, 0, bits), plane) / 255.0f;
    return (float)sample_at(x, y, type == 0 || type == 4 ? 0 : plane, bits) / top;
}

static float expected_alpha(int x, int y, int bits, int type)
{
    const float top = (float)((1u << bits) - 1);
    bool same = true;
    if (type == 4 || type == 6)
        return (float)sample_at(x, y, type == 4 ? 1 : 3, bits) / top;
    if (type == 3) {
        const unsigned index = sample_at(x, y, 0, bits);
        return index < 2 ? (float)(index * 100 + 20) / 255.0f : 1.0f;
    }
    for (int c = 0; c < channels_of(type); c++)
        same = same && sample_at(x, y, c, bits) == sample_at(3, 2, c, bits);
    return same ? 0.0f : 1.0f;
}

static void compare(const struct picture *picture, int bits, int type, bool alpha)
{
    for (int y = 0; y < HEIGHT; y++)
        for (int x = 0; x < WIDTH; x++) {
            for (int p = 0; p < PLANE_A; p++)
                assert_true(picture_row(picture, (enum plane)p, y)[x] == expected_colour(x, y, p, bits, type));
            if (alpha)
                assert_true(picture_row(picture, PLANE_A, y)[x] == expected_alpha(x, y, bits, type));
        }
}

static void every_kind_of_pixel(void **state)
{
    (void)state;
    static const struct {
        int type, bits;
    } kinds[] = { { 0, 1 }, { 0, 2 }, { 0, 4 }, { 0, 8 }, { 0, 16 }, { 2, 8 }, { 2, 16 }, { 3, 1 },
                  { 3, 2 }, { 3, 4 }, { 3, 8 }, { 4, 8 }, { 4, 16 }, { 6, 8 }, { 6, 16 } };
    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++) {
        for (int variant = 0; variant < 4; variant++) {
            const int type = kinds[i].type, bits = kinds[i].bits;
            const bool own_alpha = type == 4 || type == 6, transparent = variant >= 2;
            struct media_info info;
            struct picture picture;
            struct passel_error error = { 0 };
            if (own_alpha && transparent)
                continue;
            make(bits, type, variant % 2, transparent);
            if (read_file(NULL, &info, &picture, &error) != PASSEL_OK)
                fail_msg("type %d, %d bits, variant %d: %s", type, bits, variant, error.text);
            assert_string_equal(info.format, "PNG");
            assert_int_equal(info.bits, type == 3 ? 8 : bits);
            assert_int_equal(info.planes, own_alpha || transparent ? HAS_RGBA : HAS_RGB);
            assert_int_equal(info.alpha, own_alpha || transparent ? ALPHA_STRAIGHT : ALPHA_NONE);
            assert_true(info.whole && !info.has_encoding && !info.has_primaries && info.pixel_aspect == 1);
            compare(&picture, bits, type, own_alpha || transparent);
            picture_release(&picture);
        }
    }
}

/* A whole file of one pixel 1234 8000 ffff, by its bytes (W3C PNG Third Edition; OpenCV 4.6 reads the same). */
static void one_pixel_of_16_bits(void **state)
{
    (void)state;
    struct media_info info;
    struct picture picture;
    made.size = png_make_hex("89504e470d0a1a0a0000000d4948445200000001000000011002000000c0e78f9d00000012494441547801"
                             "010700f8ff0012348000ffff067402c5556dae560000000049454e44ae426082",
                             made.bytes);
    keep(&made);
    assert_int_equal(read_file(NULL, &info, &picture, NULL), PASSEL_OK);
    assert_int_equal(info.bits, 16);
    assert_true(picture.plane[PLANE_R][0] == 0x1234 / 65535.0f);
    assert_true(picture.plane[PLANE_G][0] == 0x8000 / 65535.0f);
    assert_true(picture.plane[PLANE_B][0] == 1.0f);
    picture_release(&picture);
}

static void one_channel_by_name(void **state)
{
    (void)state;
    struct media_info info;
    struct picture picture;
    struct passel_error error = { 0 };
    make(8, 6, 0, false);
    assert_int_equal(read_file(&(struct media_choice){ "A", NULL }, &info, &picture, NULL), PASSEL_OK);
    assert_int_equal(info.planes, HAS_A);
    assert_true(picture_row(&picture, PLANE_A, 4)[5] == expected_alpha(5, 4, 8, 6));
    picture_release(&picture);
    assert_int_equal(read_file(&(struct media_choice){ "G", NULL }, &info, &picture, NULL), PASSEL_OK);
    assert_int_equal(info.planes, HAS_RGB);
    for (int p = 0; p < PLANE_A; p++)
        assert_true(picture_row(&picture, (enum plane)p, 4)[5] == expected_colour(5, 4, PLANE_G, 8, 6));
    picture_release(&picture);
    assert_int_equal(read_file(&(struct media_choice){ "lamp", NULL }, &info, &picture, &error), PASSEL_BAD_USE);
    assert_non_null(strstr(error.text, "picture.png"));
    assert_non_null(strstr(error.text, "R, G, B, A"));
    assert_int_equal(read_file(&(struct media_choice){ NULL, "left" }, &info, &picture, &error), PASSEL_BAD_USE);
}

static void reading_again_gives_the_same(void **state)
{
    (void)state;
    struct media_reader *reader = NULL;
    struct media_faults faults = { 0, 0 };
    struct picture picture;
    make(4, 3, 1, true);
    assert_int_equal(media_open(path, NULL, &reader, NULL), PASSEL_OK);
    assert_int_equal(picture_new(&picture, media_info(reader)->data, HAS_RGBA, NULL), PASSEL_OK);
    for (int i = 0; i < 2; i++) {
        picture_fill(&picture, PLANE_R, picture.area, -1);
        assert_int_equal(media_read(reader, 0, &picture, &faults, NULL), PASSEL_OK);
        compare(&picture, 4, 3, true);
    }
    picture_release(&picture);
    media_close(reader);
}

static void pixels_that_are_not_square(void **state)
{
    (void)state;
    struct media_info info;
    struct picture picture;
    unsigned char rows[64] = { 0 }, bytes[9] = { 0, 0, 0, 200, 0, 0, 1, 144, 0 };
    png_make_begin(&made, 2, 2, 8, 0, 0);
    png_make_chunk(&made, "pHYs", bytes, sizeof bytes);
    png_make_data(&made, rows, 6);
    png_make_end(&made);
    keep(&made);
    assert_int_equal(read_file(NULL, &info, &picture, NULL), PASSEL_OK);
    assert_true(info.pixel_aspect == 2.0); /* 400 pixels down for 200 across: each twice as wide as high */
    picture_release(&picture);
}

/* Reads what lies on the disk; a failure must name the file. Returns whether it was read. */
static bool try_file(void)
{
    struct media_info info;
    struct picture picture;
    struct passel_error error = { 0 };
    const enum passel_status status = read_file(NULL, &info, &picture, &error);
    if (status == PASSEL_OK) {
        picture_release(&picture);
        return true;
    }
    assert_int_equal(error.status, status);
    assert_non_null(strstr(error.text, "picture.png"));
    return false;
}

static void cut_files(void **state)
{
    (void)state;
    make(8, 6, 0, false);
    assert_true(try_file());
    const size_t size = made.size;
    for (made.size = 0; made.size < size; made.size++) {
        keep(&made);
        assert_false(try_file());
    }
}

static void untrue_headers(void **state)
{
    (void)state;
    static const struct {
        uint32_t width, height;
        int bits, type;
    } rows[] = { { 1000000, 1000000, 16, 6 },
                 { 1 << 20, 1, 16, 6 },
                 { 0, 1, 8, 2 },
                 { 1, 0, 8, 2 },
                 { UINT32_MAX, 1, 8, 2 },
                 { 1, 0x7fffffff, 8, 2 },
                 { 4, 4, 3, 0 },
                 { 4, 4, 16, 3 },
                 { 4, 4, 8, 1 },
                 { 4, 4, 4, 2 },
                 { 4, 4, 8, 7 },
                 { 5, 4, 8, 2 } };
    unsigned char pixels[64] = { 0 };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        png_make_begin(&made, rows[i].width, rows[i].height, rows[i].bits, rows[i].type, 0);
        png_make_data(&made, pixels, 52); /* 4 rows of 4 pixels of 3 bytes */
        png_make_end(&made);
        keep(&made);
        assert_false(try_file());
    }
}

/* Puts the right checksum on every chunk, so that a changed byte is not found at once. */
static void mend_checksums(unsigned char *bytes, size_t size)
{
    for (size_t at = 8; at + 12 <= size;) {
        const size_t length =
            (size_t)bytes[at] << 24 | (size_t)bytes[at + 1] << 16 | (size_t)bytes[at + 2] << 8 | bytes[at + 3];
        if (length > size - at - 12)
            return;
        const uLong sum = crc32(0, bytes + at + 4, (uInt)length + 4);
        for (int i = 0; i < 4; i++)
            bytes[at + 8 + length + (size_t)i] = (unsigned char)(sum >> (24 - 8 * i));
        at += length + 12;
    }
}

static void changed_files(void **state)
{
    (void)state;
    static const int kinds[][3] = { { 0, 1, 1 }, { 2, 8, 0 }, { 3, 4, 1 }, { 6, 16, 1 }, { 4, 8, 0 } };
    uint32_t random = 12345;
    long read = 0, refused = 0;
    for (size_t kind = 0; kind < sizeof kinds / sizeof kinds[0]; kind++) {
        make(kinds[kind][1], kinds[kind][0], kinds[kind][2], kinds[kind][0] == 3);
        const struct made_png original = made;
        for (int round = 0; round < 400; round++) {
            made = original;
            for (int change = 0; change <= round % 4; change++) {
                random = random * 1664525u + 1013904223u;
                made.bytes[8 + (random >> 8) % (made.size - 8)] ^= (unsigned char)(1u << (random >> 29));
            }
            if (round % 2)
                mend_checksums(made.bytes, made.size);
            keep(&made);
            if (try_file())
                read++;
            else
                refused++;
        }
    }
    print_message("%ld changed files read, %ld refused\n", read, refused);
    assert_true(refused > 1000);
}

static enum passel_status read_attempt(void *data)
{
    struct media_info info;
    struct picture picture;
    const enum passel_status status = read_file(NULL, &info, &picture, data);
    if (status == PASSEL_OK)
        picture_release(&picture);
    return status;
}

static void memory_runs_out(void **state)
{
    (void)state;
    struct passel_error error = { 0 };
    for (int interlace = 0; interlace < 2; interlace++) {
        make(8, 3, interlace, true);
        assert_true(fail_memory_each(read_attempt, &error) > 10);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_kind_of_pixel),
        cmocka_unit_test(one_pixel_of_16_bits),
        cmocka_unit_test(one_channel_by_name),
        cmocka_unit_test(reading_again_gives_the_same),
        cmocka_unit_test(pixels_that_are_not_square),
        cmocka_unit_test(cut_files),
        cmocka_unit_test(untrue_headers),
        cmocka_unit_test(changed_files),
        cmocka_unit_test(memory_runs_out),
    };
    return cmocka_run_group_tests(tests, make_folder, drop_folder);
}
