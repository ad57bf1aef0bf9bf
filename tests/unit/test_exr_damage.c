/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Damaged OpenEXR files: small good ones of every compression and layout, cut anywhere and with bytes changed by a
 * fixed sequence of random numbers. They are read or refused with their name; they do not crash, hang, or ask for more
 * memory than their size can mean. Under the address sanitizer this is the fuzz test that every run repeats.
 */
#include "media/media.h"

#include "base/file.h"
#include "base/memory.h"
#include "exr_make.h"
#include "fail_memory.h"
#include "scratch.h"

#include <OpenEXR/ImfCRgbaFile.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

#include <cmocka.h>

enum { ROUNDS = 300, SEED_MOST = 1 << 16 };

static struct scratch scratch;
static char path[1024];
static uint32_t random_state;

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

static uint32_t random_below(uint32_t limit)
{
    random_state = random_state * 1664525u + 1013904223u;
    return (uint32_t)((uint64_t)random_state * limit >> 32);
}

static double seconds(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

/* Opens, reads all, closes; looks at what an error says and that nothing is kept. True when it could be read. */
static bool try_file(const char *bytes, size_t size)
{
    struct media_reader *reader = NULL;
    struct passel_error error = { 0 };
    const long blocks = fail_memory_open();
    const double start = seconds();
    remove(path); /* some file systems wait for the disk when a file is written over */
    scratch_write(&scratch, "pass.exr", bytes, size);
    enum passel_status status = media_open(path, NULL, &reader, &error);
    if (status == PASSEL_OK) {
        const struct media_info *info = media_info(reader);
        const uint64_t pixels = (uint64_t)rect_width(info->data) * (uint64_t)rect_height(info->data);
        struct picture picture;
        struct media_faults faults = { 0, 0 };
        assert_true(pixels <= 1100u * (uint64_t)size);
        assert_int_equal(picture_new(&picture, info->data, info->planes, NULL), PASSEL_OK);
        status = media_read(reader, 0, &picture, &faults, &error);
        picture_release(&picture);
    }
    media_close(reader);
    if (status != PASSEL_OK) {
        assert_non_null(strstr(error.text, path));
        assert_int_not_equal(status, PASSEL_NO_MEMORY);
    }
    assert_int_equal(fail_memory_open(), blocks);
    assert_true(seconds() - start < 5.0);
    return status == PASSEL_OK;
}

/* Half of the changes go to the header, where they do most. */
static void change(char *bytes, size_t size)
{
    const uint32_t header = size < 600 ? (uint32_t)size : 600u;
    for (uint32_t i = 0, count = 1 + random_below(4); i < count; i++) {
        char *at = bytes + random_below(random_below(2) == 0 ? header : (uint32_t)size);
        switch (random_below(4)) {
        case 0:
            *at = (char)(*at ^ (char)(1u << random_below(8)));
            break;
        case 1:
            *at = (char)random_below(256);
            break;
        case 2:
            *at = (char)0xff;
            break;
        default:
            *at = (char)(random_below(2) * 0x7f);
        }
    }
}

static void try_changes(const char *seed, size_t size)
{
    static char changed[SEED_MOST];
    int read = 0;
    assert_true(size <= SEED_MOST);
    assert_true(try_file(seed, size));
    random_state = 12345;
    for (int i = 0; i < ROUNDS; i++) {
        memcpy(changed, seed, size);
        change(changed, size);
        read += try_file(changed, size);
    }
    /* A change of a pixel or a name does no harm; most of the others are noticed. */
    assert_true(read < ROUNDS);
}

static void try_seed(const struct made_part *parts, int count)
{
    char *bytes = NULL;
    size_t size = 0;
    exr_make(path, rect_of(0, 0, 24, 40), rect_of(-4, 2, 20, 42), parts, count);
    assert_int_equal(file_read(path, SEED_MOST, &bytes, &size, NULL), PASSEL_OK);
    try_changes(bytes, size);
    memory_free(bytes);
}

static const struct made_channel mixed[] = {
    { "A", EXR_PIXEL_HALF, 0, 0 },
    { "B", EXR_PIXEL_UINT, 0, 0 },
    { "G", EXR_PIXEL_FLOAT, 0, 0 },
    { "R", EXR_PIXEL_HALF, 0, 0 },
};

static struct made_part part_of(exr_compression_t compression, int tile)
{
    struct made_part part = { .compression = compression, .tile_width = tile, .tile_height = tile, .channel_count = 4 };
    memcpy(part.channels, mixed, sizeof mixed);
    return part;
}

static void changed_lines(void **state)
{
    (void)state;
    for (int c = EXR_COMPRESSION_NONE; c <= EXR_COMPRESSION_B44A; c++) {
        const struct made_part part = part_of((exr_compression_t)c, 0);
        try_seed(&part, 1);
    }
}

static void changed_tiles(void **state)
{
    (void)state;
    for (int c = EXR_COMPRESSION_NONE; c <= EXR_COMPRESSION_B44A; c++) {
        struct made_part part = part_of((exr_compression_t)c, 16);
        part.levels = c % 2 == 0;
        try_seed(&part, 1);
    }
}

static void changed_parts(void **state)
{
    struct made_part parts[] = { part_of(EXR_COMPRESSION_ZIP, 0), part_of(EXR_COMPRESSION_PIZ, 16) };
    (void)state;
    parts[0].name = "moon";
    parts[1].name = "lamp";
    try_seed(parts, 2);
}

static void changed_sub_sampling(void **state)
{
    const struct made_part part = {
        .compression = EXR_COMPRESSION_PIZ,
        .channel_count = 3,
        .channels = { { "R", EXR_PIXEL_HALF, 2, 2 }, { "G", EXR_PIXEL_HALF, 0, 0 }, { "B", EXR_PIXEL_FLOAT, 4, 2 } }
    };
    (void)state;
    try_seed(&part, 1);
}

/* Luminance/chroma goes through the library's other interface. */
static void changed_chroma(void **state)
{
    const struct made_part part = {
        .compression = EXR_COMPRESSION_ZIP,
        .channel_count = 3,
        .channels = { { "BY", EXR_PIXEL_HALF, 2, 2 }, { "RY", EXR_PIXEL_HALF, 2, 2 }, { "Y", EXR_PIXEL_HALF, 0, 0 } }
    };
    (void)state;
    try_seed(&part, 1);
}

static void changed_dwa(void **state)
{
    static const exr_compression_t codecs[] = { EXR_COMPRESSION_DWAA, EXR_COMPRESSION_DWAB };
    (void)state;
    for (int i = 0; i < 2; i++) {
        char *bytes = NULL;
        size_t size = 0;
        exr_make_rgba(path, rect_of(0, 0, 40, 50), codecs[i], EXR_LINEORDER_INCREASING_Y, IMF_WRITE_RGBA);
        assert_int_equal(file_read(path, SEED_MOST, &bytes, &size, NULL), PASSEL_OK);
        try_changes(bytes, size);
        memory_free(bytes);
    }
}

/* A file that was cut is never read as if it were whole. */
static void cut_files(void **state)
{
    static const exr_compression_t codecs[] = { EXR_COMPRESSION_NONE, EXR_COMPRESSION_ZIP, EXR_COMPRESSION_PIZ };
    (void)state;
    for (int i = 0; i < 6; i++) {
        const struct made_part part = part_of(codecs[i % 3], i < 3 ? 0 : 16);
        char *bytes = NULL;
        size_t size = 0;
        exr_make(path, rect_of(0, 0, 24, 40), rect_of(0, 0, 24, 40), &part, 1);
        assert_int_equal(file_read(path, SEED_MOST, &bytes, &size, NULL), PASSEL_OK);
        for (size_t length = 0; length < size; length += length < 400 ? 1 : 37)
            assert_false(try_file(bytes, length));
        memory_free(bytes);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(changed_lines),  cmocka_unit_test(changed_tiles),
        cmocka_unit_test(changed_parts),  cmocka_unit_test(changed_sub_sampling),
        cmocka_unit_test(changed_chroma), cmocka_unit_test(changed_dwa),
        cmocka_unit_test(cut_files),
    };
    return cmocka_run_group_tests(tests, make_folder, drop_folder);
}
