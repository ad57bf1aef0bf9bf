/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Reading OpenEXR: files with known bytes, and every layout that the library's own encoders can make. The files in
 * tests/reference/exr_*.hex were written by OpenEXR 3.1.5 from the formulas given at the tests.
 */
#include "media/media.h"

#include "base/file.h"
#include "base/memory.h"
#include "base/pool.h"
#include "exr_make.h"
#include "fail_memory.h"
#include "scratch.h"

#include <errno.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

static struct scratch scratch;
static char path[1024];

static int reads_left = -1; /* calls of pread before all fail; -1: none fails */

ssize_t __real_pread64(int file, void *bytes, size_t size, off_t offset);
ssize_t __wrap_pread64(int file, void *bytes, size_t size, off_t offset);

ssize_t __wrap_pread64(int file, void *bytes, size_t size, off_t offset)
{
    if (reads_left == 0) {
        errno = EIO;
        return -1;
    }
    if (reads_left > 0)
        reads_left--;
    return __real_pread64(file, bytes, size, offset);
}

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

static void write_hex(const char *name)
{
    char from[1024], *digits = NULL;
    unsigned char bytes[4096];
    size_t size = 0;
    snprintf(from, sizeof from, "%s/tests/reference/%s", PASSEL_SOURCE_DIR, name);
    assert_int_equal(file_read(from, 8192, &digits, &size, NULL), PASSEL_OK);
    scratch_write(&scratch, "pass.exr", bytes, exr_hex(digits, bytes));
    memory_free(digits);
}

static struct media_reader *open_chosen(const char *channels, const char *part)
{
    const struct media_choice choice = { channels, part };
    struct media_reader *reader = NULL;
    struct passel_error error = { 0 };
    if (media_open(path, &choice, &reader, &error) != PASSEL_OK)
        fail_msg("%s", error.text);
    return reader;
}

static void expect_refusal(const char *channels, const char *part, enum passel_status status, const char *words)
{
    const struct media_choice choice = { channels, part };
    struct media_reader *reader = NULL;
    struct passel_error error = { 0 };
    assert_int_equal(media_open(path, &choice, &reader, &error), status);
    assert_null(reader);
    if (strstr(error.text, path) == NULL || strstr(error.text, words) == NULL)
        fail_msg("'%s' names not both %s and '%s'", error.text, path, words);
}

/* Reads an area into guarded memory: nothing beside the area may change. */
static void read_area(struct media_reader *reader, struct rect area, unsigned planes, struct picture *part)
{
    struct picture all;
    struct media_faults faults = { 0, 0 };
    struct passel_error error = { 0 };
    const struct rect around = { area.x0 - 3, area.y0 - 2, area.x1 + 3, area.y1 + 2 };
    assert_int_equal(picture_new(&all, around, planes, NULL), PASSEL_OK);
    for (int p = 0; p < PLANE_COUNT; p++)
        if ((planes >> p & 1u) != 0)
            picture_fill(&all, (enum plane)p, around, -77.0f);
    *part = picture_part(&all, area);
    if (media_read(reader, 0, part, &faults, &error) != PASSEL_OK)
        fail_msg("%s", error.text);
    for (int p = 0; p < PLANE_COUNT; p++)
        for (int y = around.y0; all.plane[p] != NULL && y < around.y1; y++)
            for (int x = around.x0; x < around.x1; x++)
                if (x < area.x0 || x >= area.x1 || y < area.y0 || y >= area.y1)
                    assert_true(picture_row(&all, (enum plane)p, y)[x - around.x0] == -77.0f);
    part->owned = all.owned;
}

static float pixel(const struct picture *picture, enum plane plane, int x, int y)
{
    return picture_row(picture, plane, y)[x - picture->area.x0];
}

/* Display (0,0)-(3,1), data (1,0)-(2,1), G = .18, 1, -.5, 65504, raw ZIPS chunks, 24000/1001, 01:02:03:04. */
static void a_file_with_known_bytes(void **state)
{
    (void)state;
    write_hex("exr_2x2_G_zips.hex");
    struct media_reader *reader = open_chosen(NULL, NULL);
    const struct media_info *info = media_info(reader);
    assert_string_equal(info->format, "OpenEXR");
    assert_string_equal(info->compression, "zips");
    assert_true(rect_same(info->display, rect_of(0, 0, 4, 2)));
    assert_true(rect_same(info->data, rect_of(1, 0, 3, 2)));
    assert_int_equal(info->planes, HAS_RGB);
    assert_int_equal(info->sample, SAMPLE_HALF);
    assert_int_equal(info->bits, 16);
    assert_int_equal(info->alpha, ALPHA_NONE);
    assert_int_equal(info->chunk_rows, 1);
    assert_false(info->whole);
    assert_false(info->has_primaries);
    assert_true(info->pixel_aspect == 1.0);
    assert_int_equal(info->metadata.rate_num, 24000);
    assert_int_equal(info->metadata.rate_den, 1001);
    assert_true(info->metadata.has_time_code);
    assert_int_equal(info->metadata.time_code[0], 0x01020304);
    assert_string_equal(info->channels[0], "G");
    assert_null(info->channels[1]);
    struct picture picture;
    read_area(reader, info->data, HAS_RGBA, &picture);
    static const float expected[] = { 0.1800537109375f, 1.0f, -0.5f, 65504.0f };
    for (int i = 0; i < 4; i++) {
        assert_true(pixel(&picture, PLANE_G, 1 + i % 2, i / 2) == expected[i]);
        assert_true(pixel(&picture, PLANE_R, 1 + i % 2, i / 2) == 0.0f);
        assert_true(pixel(&picture, PLANE_A, 1 + i % 2, i / 2) == 1.0f);
    }
    picture_release(&picture);
    media_close(reader);
}

/* 8x20, A = 0 for x < 4 else 1; B, G, R = k/4 + x/8 + y/16 with k = 1, 2, 3; none, RLE and ZIP. */
static void ramps_in_three_codecs(void **state)
{
    static const char *const names[] = { "exr_8x20_RGBA_none.hex", "exr_8x20_RGBA_rle.hex", "exr_8x20_RGBA_zip.hex" };
    (void)state;
    for (int i = 0; i < 3; i++) {
        write_hex(names[i]);
        struct media_reader *reader = open_chosen(NULL, NULL);
        struct picture picture;
        assert_int_equal(media_info(reader)->planes, HAS_RGBA);
        assert_int_equal(media_info(reader)->alpha, ALPHA_PREMULTIPLIED);
        read_area(reader, media_info(reader)->data, HAS_RGBA, &picture);
        for (int y = 0; y < 20; y++)
            for (int x = 0; x < 8; x++) {
                const float ramp = 0.125f * (float)x + 0.0625f * (float)y;
                assert_true(pixel(&picture, PLANE_B, x, y) == 0.25f + ramp);
                assert_true(pixel(&picture, PLANE_G, x, y) == 0.5f + ramp);
                assert_true(pixel(&picture, PLANE_R, x, y) == 0.75f + ramp);
                assert_true(pixel(&picture, PLANE_A, x, y) == (x < 4 ? 0.0f : 1.0f));
            }
        picture_release(&picture);
        media_close(reader);
    }
}

/* Sub-sampled channels hold their value up to the next sample. */
static int held(int at, int start, int sampling)
{
    int sample = at >= 0 ? at / sampling * sampling : -((-at + sampling - 1) / sampling) * sampling;
    if (sample < start)
        sample += sampling;
    return sample;
}

static void expect_channel(const struct picture *picture, enum plane plane, int number, struct rect data,
                           const struct made_channel *channel)
{
    const int xs = channel->x_sampling > 0 ? channel->x_sampling : 1;
    const int ys = channel->y_sampling > 0 ? channel->y_sampling : 1;
    for (int y = picture->area.y0; y < picture->area.y1; y++)
        for (int x = picture->area.x0; x < picture->area.x1; x++) {
            const float expected = exr_made_value(number, channel->name, held(x, data.x0, xs), held(y, data.y0, ys));
            if (pixel(picture, plane, x, y) != expected)
                fail_msg("%s at %d, %d: %g for %g", channel->name, x, y, (double)pixel(picture, plane, x, y),
                         (double)expected);
        }
}

/* All of it, single rows and columns, and rectangles across the borders of chunks and tiles. */
static void expect_rectangles(struct media_reader *reader, int number, struct rect data, const struct made_channel *rgb)
{
    const int w = rect_width(data), h = rect_height(data);
    const struct rect areas[] = {
        data,
        { data.x0, data.y0, data.x0 + 1, data.y1 },
        { data.x1 - 1, data.y0, data.x1, data.y1 },
        { data.x0, data.y1 - 1, data.x1, data.y1 },
        { data.x0 + w / 3, data.y0 + h / 2, data.x1 - w / 4, data.y0 + h / 2 + 1 },
        { data.x0 + 5, data.y0 + 7, data.x0 + w / 2, data.y1 - 3 },
        { data.x0 + w - 2, data.y0 + h - 2, data.x1, data.y1 - 1 },
    };
    for (size_t i = 0; i < sizeof areas / sizeof *areas; i++) {
        struct picture picture;
        read_area(reader, areas[i], HAS_RGB, &picture);
        for (int p = 0; p < 3; p++)
            expect_channel(&picture, (enum plane)p, number, data, &rgb[p]);
        picture_release(&picture);
    }
}

static void every_layout(void **state)
{
    static const exr_compression_t codecs[] = { EXR_COMPRESSION_NONE, EXR_COMPRESSION_RLE, EXR_COMPRESSION_ZIPS,
                                                EXR_COMPRESSION_ZIP,  EXR_COMPRESSION_PIZ, EXR_COMPRESSION_PXR24 };
    static const struct {
        int tile_width, tile_height;
        exr_lineorder_t order;
        bool levels;
    } layouts[] = {
        { 0, 0, EXR_LINEORDER_INCREASING_Y, false },  { 16, 16, EXR_LINEORDER_INCREASING_Y, false },
        { 7, 11, EXR_LINEORDER_INCREASING_Y, false }, { 64, 64, EXR_LINEORDER_INCREASING_Y, true },
        { 8, 16, EXR_LINEORDER_INCREASING_Y, true },
    };
    static const struct rect windows[] = { { 0, 0, 29, 41 }, { -13, 6, 20, 72 } };
    static const struct made_channel mixed[] = {
        { "R", EXR_PIXEL_HALF, 0, 0 },  { "G", EXR_PIXEL_FLOAT, 0, 0 }, { "B", EXR_PIXEL_UINT, 0, 0 },
        { "Z", EXR_PIXEL_FLOAT, 0, 0 }, { "id", EXR_PIXEL_UINT, 0, 0 },
    };
    (void)state;
    for (size_t c = 0; c < sizeof codecs / sizeof *codecs; c++)
        for (size_t l = 0; l < sizeof layouts / sizeof *layouts; l++)
            for (int w = 0; w < 2; w++) {
                struct made_part part = { .compression = codecs[c],
                                          .order = layouts[l].order,
                                          .tile_width = layouts[l].tile_width,
                                          .tile_height = layouts[l].tile_height,
                                          .levels = layouts[l].levels,
                                          .channel_count = 5 };
                memcpy(part.channels, mixed, sizeof mixed);
                exr_make(path, rect_of(0, 0, 30, 50), windows[w], &part, 1);
                struct media_reader *reader = open_chosen(NULL, NULL);
                const struct media_info *info = media_info(reader);
                assert_true(rect_same(info->data, windows[w]));
                if (layouts[l].tile_height > 0)
                    assert_int_equal(info->chunk_rows, layouts[l].tile_height < rect_height(windows[w])
                                                           ? layouts[l].tile_height
                                                           : rect_height(windows[w]));
                assert_int_equal(info->bits, 32);
                expect_rectangles(reader, 0, windows[w], mixed);
                media_close(reader);
            }
}

/* A header that says "every third line" of a file in chunks of 16; the library cannot write one without harm. */
static void odd_sampling(void)
{
    static const char sampling[] = { 1, 0, 0, 0, 2, 0, 0, 0 };
    const struct made_part part = { .compression = EXR_COMPRESSION_ZIP,
                                    .channel_count = 1,
                                    .channels = { { "R", EXR_PIXEL_HALF, 1, 2 } } };
    char *bytes = NULL;
    size_t size = 0, at = 0;
    exr_make(path, rect_of(0, 0, 24, 36), rect_of(0, 0, 24, 36), &part, 1);
    assert_int_equal(file_read(path, 1 << 20, &bytes, &size, NULL), PASSEL_OK);
    while (memcmp(bytes + at, sampling, sizeof sampling) != 0)
        at++;
    bytes[at + 4] = 3;
    scratch_write(&scratch, "pass.exr", bytes, size);
    memory_free(bytes);
}

static void sub_sampled_channels_are_held(void **state)
{
    static const struct made_channel channels[] = {
        { "R", EXR_PIXEL_HALF, 2, 4 },
        { "G", EXR_PIXEL_FLOAT, 1, 2 },
        { "B", EXR_PIXEL_HALF, 4, 1 },
    };
    static const struct rect windows[] = { { 0, 0, 24, 36 }, { -8, -12, 16, 24 } };
    static const exr_compression_t codecs[] = { EXR_COMPRESSION_NONE, EXR_COMPRESSION_ZIP };
    (void)state;
    for (int w = 0; w < 4; w++) {
        struct made_part part = { .compression = codecs[w / 2], .channel_count = 3 };
        memcpy(part.channels, channels, sizeof channels);
        exr_make(path, windows[w % 2], windows[w % 2], &part, 1);
        struct media_reader *reader = open_chosen(NULL, NULL);
        expect_rectangles(reader, 0, windows[w % 2], channels);
        media_close(reader);
    }
    odd_sampling();
    expect_refusal(NULL, NULL, PASSEL_UNSUPPORTED, "16 lines of a chunk");
}

static const struct made_channel layered[] = {
    { "A", EXR_PIXEL_HALF, 0, 0 },       { "B", EXR_PIXEL_HALF, 0, 0 },          { "G", EXR_PIXEL_HALF, 0, 0 },
    { "R", EXR_PIXEL_HALF, 0, 0 },       { "lamp.A", EXR_PIXEL_HALF, 0, 0 },     { "lamp.Y", EXR_PIXEL_HALF, 0, 0 },
    { "matte.A", EXR_PIXEL_HALF, 0, 0 }, { "set.lamp.G", EXR_PIXEL_HALF, 0, 0 },
};

static void expect_choice(const char *channels, unsigned planes, const int feeds[PLANE_COUNT])
{
    struct media_reader *reader = open_chosen(channels, NULL);
    struct picture picture;
    assert_int_equal(media_info(reader)->planes, planes);
    read_area(reader, media_info(reader)->data, planes, &picture);
    for (int p = 0; p < PLANE_COUNT; p++)
        if (feeds[p] >= 0)
            expect_channel(&picture, (enum plane)p, 0, media_info(reader)->data, &layered[feeds[p]]);
    picture_release(&picture);
    media_close(reader);
}

static void layers_and_channels_are_chosen_by_name(void **state)
{
    struct made_part part = { .compression = EXR_COMPRESSION_ZIP, .channel_count = 8 };
    (void)state;
    memcpy(part.channels, layered, sizeof layered);
    exr_make(path, rect_of(0, 0, 20, 20), rect_of(0, 0, 20, 20), &part, 1);
    expect_choice(NULL, HAS_RGBA, (const int[]){ 3, 2, 1, 0 });
    expect_choice("", HAS_RGBA, (const int[]){ 3, 2, 1, 0 });
    expect_choice("lamp", HAS_RGBA, (const int[]){ 5, 5, 5, 4 });
    expect_choice("matte", HAS_A, (const int[]){ -1, -1, -1, 6 });
    expect_choice("matte.A", HAS_A, (const int[]){ -1, -1, -1, 6 });
    expect_choice("A", HAS_A, (const int[]){ -1, -1, -1, 0 });
    expect_choice("G", HAS_RGB, (const int[]){ 2, 2, 2, -1 });
    expect_choice("lamp.Y", HAS_RGB, (const int[]){ 5, 5, 5, -1 });
    expect_choice("set.lamp", HAS_RGB, (const int[]){ -1, 7, -1, -1 });
    expect_refusal("moon", NULL, PASSEL_BAD_USE, "no layer or channel 'moon'; there are: A, B, G, R, lamp.A, lamp.Y");
    expect_refusal("lam", NULL, PASSEL_BAD_USE, "'lam'");
    expect_refusal("set", NULL, PASSEL_BAD_USE, "'set'");
}

static void grey_and_strange_channels(void **state)
{
    const struct rect window = { 0, 0, 20, 20 };
    struct made_part part = { .compression = EXR_COMPRESSION_NONE,
                              .channel_count = 1,
                              .channels = { { "Y", EXR_PIXEL_FLOAT, 0, 0 } } };
    struct picture picture;
    (void)state;
    exr_make(path, window, window, &part, 1);
    struct media_reader *reader = open_chosen(NULL, NULL);
    assert_int_equal(media_info(reader)->planes, HAS_RGB);
    assert_int_equal(media_info(reader)->sample, SAMPLE_FLOAT);
    read_area(reader, window, HAS_RGB, &picture);
    for (int p = 0; p < 3; p++)
        expect_channel(&picture, (enum plane)p, 0, window, &part.channels[0]);
    picture_release(&picture);
    media_close(reader);
    part.channels[0].name = "depth";
    exr_make(path, window, window, &part, 1);
    expect_refusal(NULL, NULL, PASSEL_BAD_USE, "there are: depth");
}

static void parts_are_chosen_by_name_or_number(void **state)
{
    const struct rect window = { -4, 2, 26, 45 };
    struct made_part parts[] = {
        { .name = "moon",
          .compression = EXR_COMPRESSION_ZIP,
          .channel_count = 3,
          .channels = { { "R", EXR_PIXEL_HALF, 0, 0 }, { "G", EXR_PIXEL_HALF, 0, 0 }, { "B", EXR_PIXEL_HALF, 0, 0 } } },
        { .name = "rain.left",
          .compression = EXR_COMPRESSION_PIZ,
          .tile_width = 16,
          .tile_height = 8,
          .channel_count = 3,
          .channels = { { "R", EXR_PIXEL_HALF, 0, 0 }, { "G", EXR_PIXEL_HALF, 0, 0 }, { "B", EXR_PIXEL_HALF, 0, 0 } } },
        { .name = "0",
          .compression = EXR_COMPRESSION_RLE,
          .channel_count = 3,
          .channels = { { "R", EXR_PIXEL_UINT, 0, 0 }, { "G", EXR_PIXEL_UINT, 0, 0 }, { "B", EXR_PIXEL_UINT, 0, 0 } } },
    };
    static const struct {
        const char *wanted;
        int number;
    } rows[] = { { NULL, 0 }, { "moon", 0 }, { "rain.left", 1 }, { "1", 1 }, { "2", 2 }, { "0", 2 } };
    (void)state;
    exr_make(path, window, window, parts, 3);
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct media_reader *reader = open_chosen(NULL, rows[i].wanted);
        assert_string_equal(media_info(reader)->parts[1], "rain.left");
        assert_null(media_info(reader)->parts[3]);
        expect_rectangles(reader, rows[i].number, window, parts[rows[i].number].channels);
        media_close(reader);
    }
    expect_refusal(NULL, "sun", PASSEL_BAD_USE, "no part 'sun'; there are: moon, rain.left, 0");
    expect_refusal(NULL, "3", PASSEL_BAD_USE, "no part '3'");
    expect_refusal(NULL, "-1", PASSEL_BAD_USE, "no part '-1'");
}

/* Strips of one open file, read by four threads at once in every order they come to. */
struct strip_task {
    struct media_reader *reader;
    struct picture strip;
    enum passel_status status;
    struct media_faults faults;
};

static void read_strip(void *data, int worker)
{
    struct strip_task *task = data;
    (void)worker;
    task->status = media_read(task->reader, 0, &task->strip, &task->faults, NULL);
}

static void threads_share_a_reader(void **state)
{
    enum { STRIPS = 60 };
    const struct rect window = { 0, 0, 50, 240 };
    static struct strip_task tasks[STRIPS];
    struct made_part part = {
        .channel_count = 3,
        .channels = { { "R", EXR_PIXEL_HALF, 0, 0 }, { "G", EXR_PIXEL_FLOAT, 0, 0 }, { "B", EXR_PIXEL_UINT, 0, 0 } }
    };
    static const exr_compression_t codecs[] = { EXR_COMPRESSION_ZIP, EXR_COMPRESSION_PIZ, EXR_COMPRESSION_NONE };
    (void)state;
    for (int i = 0; i < 6; i++) {
        struct picture picture;
        struct pool *pool = NULL;
        part.compression = codecs[i % 3];
        part.tile_width = part.tile_height = i < 3 ? 0 : 24;
        exr_make(path, window, window, &part, 1);
        struct media_reader *reader = open_chosen(NULL, NULL);
        assert_int_equal(picture_new(&picture, window, HAS_RGB, NULL), PASSEL_OK);
        assert_int_equal(pool_new(4, &pool, NULL), PASSEL_OK);
        for (int s = 0; s < STRIPS; s++) {
            const struct rect strip = { 0, s * 4, 50, s * 4 + 4 };
            tasks[s] = (struct strip_task){ .reader = reader, .strip = picture_part(&picture, strip) };
            assert_int_equal(pool_submit(pool, (s * 37) % STRIPS, read_strip, &tasks[s]), PASSEL_OK);
        }
        pool_free(pool);
        for (int s = 0; s < STRIPS; s++)
            assert_int_equal(tasks[s].status, PASSEL_OK);
        for (int p = 0; p < 3; p++)
            expect_channel(&picture, (enum plane)p, 0, window, &part.channels[p]);
        picture_release(&picture);
        media_close(reader);
    }
}

/* NaN is read as 0, infinity as the largest half, and both are counted: once per value, in halves and in floats. */
static void values_that_are_no_numbers(void **state)
{
    enum { NANS = 5, INFINITIES = 3 };
    static const exr_pixel_type_t types[] = { EXR_PIXEL_HALF, EXR_PIXEL_FLOAT };
    const struct rect window = { 0, 0, 19, 1 };
    (void)state;
    for (int t = 0; t < 2; t++) {
        const size_t size = t == 0 ? 2 : 4;
        struct made_part part = { .compression = EXR_COMPRESSION_NONE,
                                  .channel_count = 1,
                                  .channels = { { "Y", types[t], 0, 0 } } };
        char *bytes = NULL;
        size_t length = 0;
        exr_make(path, window, window, &part, 1);
        assert_int_equal(file_read(path, 1 << 20, &bytes, &length, NULL), PASSEL_OK);
        char *row = bytes + length - 19 * size;
        for (size_t i = 0; i < NANS + INFINITIES; i++) {
            const uint32_t bits = i < NANS ? 0x7fc01000u : i % 2 == 0 ? 0x7f800000u : 0xff800000u;
            const uint16_t half = i < NANS ? 0xfe01 : i % 2 == 0 ? 0x7c00 : 0xfc00;
            memcpy(row + 2 * i * size, t == 0 ? (const void *)&half : &bits, size);
        }
        scratch_write(&scratch, "pass.exr", bytes, length);
        memory_free(bytes);
        struct media_reader *reader = open_chosen(NULL, NULL);
        struct picture picture;
        struct media_faults faults = { 100, 200 };
        assert_int_equal(picture_new(&picture, window, HAS_RGB, NULL), PASSEL_OK);
        assert_int_equal(media_read(reader, 0, &picture, &faults, NULL), PASSEL_OK);
        assert_int_equal(faults.nan, 100 + NANS);
        assert_int_equal(faults.infinite, 200 + INFINITIES);
        for (int x = 0; x < 19; x++)
            for (int p = 0; p < 3; p++) {
                const int i = x / 2;
                const float odd = i < NANS ? 0.0f : i % 2 == 0 ? 65504.0f : -65504.0f;
                const bool is_odd = x % 2 == 0 && i < NANS + INFINITIES;
                assert_true(pixel(&picture, (enum plane)p, x, 0) == (is_odd ? odd : exr_made_value(0, "Y", x, 0)));
            }
        picture_release(&picture);
        media_close(reader);
    }
}

static void wrong_requests_are_refused(void **state)
{
    struct picture picture;
    struct media_faults faults = { 0, 0 };
    struct passel_error error = { 0 };
    (void)state;
    write_hex("exr_2x2_G_zips.hex");
    struct media_reader *reader = open_chosen(NULL, NULL);
    assert_int_equal(picture_new(&picture, rect_of(0, 0, 3, 2), HAS_RGB, NULL), PASSEL_OK);
    assert_int_equal(media_read(reader, 0, &picture, &faults, &error), PASSEL_BAD_USE);
    assert_non_null(strstr(error.text, path));
    const struct picture inside = picture_part(&picture, rect_of(1, 0, 3, 2));
    assert_int_equal(media_read(reader, 1, &inside, &faults, &error), PASSEL_BAD_USE);
    assert_int_equal(media_read(reader, -1, &inside, &faults, &error), PASSEL_BAD_USE);
    assert_int_equal(media_read(reader, 0, &inside, &faults, &error), PASSEL_OK);
    picture_release(&picture);
    media_close(reader);
    media_close(NULL);
}

static void what_is_no_picture_is_refused(void **state)
{
    (void)state;
    scratch_path(&scratch, "none.exr", path);
    expect_refusal(NULL, NULL, PASSEL_NO_FILE, "no such file");
    scratch_write(&scratch, "none.exr", "", 0);
    expect_refusal(NULL, NULL, PASSEL_BAD_FILE, "empty");
    scratch_write(&scratch, "none.exr", "a letter home", 13);
    expect_refusal(NULL, NULL, PASSEL_UNSUPPORTED, "OpenEXR, ");
    scratch_write(&scratch, "none.exr", "\x76\x2f\x31\x01", 4);
    expect_refusal(NULL, NULL, PASSEL_BAD_FILE, "damaged");
    snprintf(path, sizeof path, "%s", scratch.folder);
    expect_refusal(NULL, NULL, PASSEL_NO_FILE, "folder");
    scratch_path(&scratch, "pass.exr", path);
}

static enum passel_status read_once(void *data)
{
    struct media_reader *reader = NULL;
    struct picture *picture = data;
    struct media_faults faults = { 0, 0 };
    struct passel_error error = { 0 };
    enum passel_status status = media_open(path, NULL, &reader, &error);
    if (status == PASSEL_OK)
        status = media_read(reader, 0, picture, &faults, &error);
    media_close(reader);
    assert_true(status == PASSEL_OK || strstr(error.text, path) != NULL);
    return status;
}

/* Whichever read of the disk fails, it is called that, and not a damaged file. */
static void a_failing_disk_is_no_damaged_file(void **state)
{
    struct picture picture;
    enum passel_status status = PASSEL_BAD_DISK;
    int reads = 0;
    (void)state;
    write_hex("exr_8x20_RGBA_zip.hex");
    assert_int_equal(picture_new(&picture, rect_of(0, 0, 8, 20), HAS_RGBA, NULL), PASSEL_OK);
    for (; status != PASSEL_OK; reads++) {
        reads_left = reads;
        status = read_once(&picture);
        reads_left = -1;
        assert_true(status == PASSEL_OK || status == PASSEL_BAD_DISK);
    }
    assert_true(reads > 5);
    picture_release(&picture);
}

static void memory_may_run_out_anywhere(void **state)
{
    static const exr_compression_t codecs[] = { EXR_COMPRESSION_NONE, EXR_COMPRESSION_RLE, EXR_COMPRESSION_ZIP,
                                                EXR_COMPRESSION_PIZ, EXR_COMPRESSION_B44 };
    const struct rect window = { 0, 0, 20, 40 };
    (void)state;
    for (size_t i = 0; i < sizeof codecs / sizeof *codecs; i++) {
        struct made_part part = { .compression = codecs[i],
                                  .channel_count = 1,
                                  .channels = { { "Y", EXR_PIXEL_HALF, 0, 0 } } };
        struct picture picture;
        exr_make(path, window, window, &part, 1);
        assert_int_equal(picture_new(&picture, window, HAS_RGB, NULL), PASSEL_OK);
        assert_true(fail_memory_each(read_once, &picture) > 5);
        picture_release(&picture);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_file_with_known_bytes),
        cmocka_unit_test(ramps_in_three_codecs),
        cmocka_unit_test(every_layout),
        cmocka_unit_test(sub_sampled_channels_are_held),
        cmocka_unit_test(layers_and_channels_are_chosen_by_name),
        cmocka_unit_test(grey_and_strange_channels),
        cmocka_unit_test(parts_are_chosen_by_name_or_number),
        cmocka_unit_test(threads_share_a_reader),
        cmocka_unit_test(values_that_are_no_numbers),
        cmocka_unit_test(wrong_requests_are_refused),
        cmocka_unit_test(what_is_no_picture_is_refused),
        cmocka_unit_test(a_failing_disk_is_no_damaged_file),
        cmocka_unit_test(memory_may_run_out_anywhere),
    };
    return cmocka_run_group_tests(tests, make_folder, drop_folder);
}
