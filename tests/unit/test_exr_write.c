/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Writing OpenEXR: every compression and type there and back, what the header says, bytes that do not depend on who
 * wrote which strip when, and files that are whole or absent whatever the disk or the memory does.
 */
#include "media/media.h"

#include "base/file.h"
#include "base/memory.h"
#include "base/pool.h"
#include "fail_memory.h"
#include "picture/half.h"
#include "scratch.h"

#include <errno.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

static struct scratch scratch;
static char path[1024];
static int writes_left = -1; /* calls of pwrite before all fail; -1: none fails */

ssize_t __real_pwrite64(int file, const void *bytes, size_t size, off_t offset);
ssize_t __wrap_pwrite64(int file, const void *bytes, size_t size, off_t offset);

ssize_t __wrap_pwrite64(int file, const void *bytes, size_t size, off_t offset)
{
    if (writes_left == 0) {
        errno = ENOSPC;
        return -1;
    }
    if (writes_left > 0)
        writes_left--;
    return __real_pwrite64(file, bytes, size, offset);
}

/* Hundreds of small files need not reach the platter; test_file looks at that this call is made. */
int __wrap_fsync(int file);

int __wrap_fsync(int file)
{
    (void)file;
    return 0;
}

static int make_folder(void **state)
{
    (void)state;
    scratch_init(&scratch);
    scratch_path(&scratch, "frame.exr", path);
    return 0;
}

static int drop_folder(void **state)
{
    (void)state;
    scratch_release(&scratch);
    return 0;
}

static const struct media_layer rgba_layer = { "", HAS_RGBA };

static struct media_plan plan_of(struct rect display, struct rect data, const char *compression, enum pixels pixels)
{
    return (struct media_plan){
        .display = display,
        .data = data,
        .pixel_aspect = 1.0,
        .layers = &rgba_layer,
        .layer_count = 1,
        .pixels = pixels,
        .compression = compression,
        .primaries = *primaries_named("rec709"),
    };
}

/* A smooth picture with an edge and some noise: about what a filmed frame is to a codec. */
static void fill(const struct picture *picture, unsigned seed)
{
    uint32_t noise = seed;
    for (int p = 0; p < PLANE_COUNT; p++)
        for (int32_t y = picture->area.y0; picture->plane[p] != NULL && y < picture->area.y1; y++)
            for (int32_t x = picture->area.x0; x < picture->area.x1; x++) {
                noise = noise * 1664525u + 1013904223u;
                const float ramp = 0.01f * (float)(x * (p + 1)) - 0.02f * (float)y;
                const float edge = x * 2 > y ? 0.75f : 0.125f;
                picture_row(picture, (enum plane)p, y)[x - picture->area.x0] =
                    ramp * ramp + edge + 0.0001f * (float)(noise >> 24);
            }
}

static struct picture new_filled(struct rect area, unsigned planes, unsigned seed)
{
    struct picture picture;
    assert_int_equal(picture_new(&picture, area, planes, NULL), PASSEL_OK);
    fill(&picture, seed);
    return picture;
}

static enum passel_status write_file(const struct media_plan *plan, const struct picture *pictures,
                                     struct passel_error *error)
{
    struct media_writer *writer = NULL;
    remove(path); /* some file systems wait for the disk when a file takes the place of another */
    enum passel_status status = media_create(path, plan, &writer, error);
    if (status != PASSEL_OK)
        return status;
    status = media_write(writer, pictures, error);
    if (status == PASSEL_OK)
        return media_finish(writer, error);
    media_discard(writer);
    return status;
}

static void write_good(const struct media_plan *plan, const struct picture *pictures)
{
    struct passel_error error = { 0 };
    if (write_file(plan, pictures, &error) != PASSEL_OK)
        fail_msg("%s", error.text);
}

static struct media_reader *open_file(const char *channels)
{
    const struct media_choice choice = { channels, NULL };
    struct media_reader *reader = NULL;
    struct passel_error error = { 0 };
    if (media_open(path, &choice, &reader, &error) != PASSEL_OK)
        fail_msg("%s", error.text);
    return reader;
}

static struct picture read_back(const char *channels)
{
    struct media_reader *reader = open_file(channels);
    struct picture picture;
    struct media_faults faults = { 0, 0 };
    struct passel_error error = { 0 };
    assert_int_equal(picture_new(&picture, media_info(reader)->data, media_info(reader)->planes, NULL), PASSEL_OK);
    if (media_read(reader, 0, &picture, &faults, &error) != PASSEL_OK)
        fail_msg("%s", error.text);
    assert_int_equal(faults.nan + faults.infinite, 0);
    media_close(reader);
    return picture;
}

static float to_half(float value)
{
    uint16_t half;
    half_from_float(&value, &half, 1);
    half_to_float(&half, &value, 1);
    return value;
}

/* The largest difference relative to 1 or the value, whichever is larger. */
static double difference(const struct picture *a, const struct picture *b, bool half)
{
    double worst = 0.0;
    assert_true(rect_same(a->area, b->area));
    assert_int_equal(picture_planes(a), picture_planes(b));
    for (int p = 0; p < PLANE_COUNT; p++)
        for (int32_t y = a->area.y0; a->plane[p] != NULL && y < a->area.y1; y++)
            for (int32_t i = 0; i < rect_width(a->area); i++) {
                float expected = picture_row(a, (enum plane)p, y)[i];
                expected = half ? to_half(expected) : expected;
                const double apart = fabs((double)picture_row(b, (enum plane)p, y)[i] - (double)expected);
                worst = fmax(worst, apart / fmax(1.0, fabs((double)expected)));
            }
    return worst;
}

static void every_codec_there_and_back(void **state)
{
    static const struct {
        const char *name;
        int rows;
        double half_error, float_error;
    } codecs[] = {
        { "none", 1, 0, 0 }, { "rle", 1, 0, 0 },         { "zips", 1, 0, 0 },   { "zip", 16, 0, 0 },
        { "piz", 32, 0, 0 }, { "pxr24", 16, 0, 2.0e-5 }, { "b44", 32, 0.2, 0 }, { "b44a", 32, 0.2, 0 },
    };
    static const struct rect windows[] = {
        { 0, 0, 1, 1 }, { 0, 0, 64, 48 }, { -7, -33, 30, 2 }, { 100, 5, 133, 40 }, { 3, 4, 4, 101 }, { 0, 0, 257, 3 },
    };
    (void)state;
    for (size_t c = 0; c < sizeof codecs / sizeof *codecs; c++)
        for (size_t w = 0; w < sizeof windows / sizeof *windows; w++)
            for (int floats = 0; floats < 2; floats++) {
                const struct media_plan plan =
                    plan_of(rect_of(0, 0, 60, 40), windows[w], codecs[c].name, floats ? PIXELS_FLOAT : PIXELS_HALF);
                struct picture picture = new_filled(windows[w], HAS_RGBA, 7);
                write_good(&plan, &picture);
                struct media_reader *reader = open_file(NULL);
                assert_string_equal(media_info(reader)->compression, codecs[c].name);
                assert_int_equal(media_info(reader)->chunk_rows, codecs[c].rows);
                assert_int_equal(media_info(reader)->bits, floats ? 32 : 16);
                assert_true(rect_same(media_info(reader)->display, rect_of(0, 0, 60, 40)));
                media_close(reader);
                struct picture back = read_back(NULL);
                const double apart = difference(&picture, &back, !floats);
                if (apart > (floats ? codecs[c].float_error : codecs[c].half_error))
                    fail_msg("%s, window %zu, float %d: %g", codecs[c].name, w, floats, apart);
                picture_release(&back);
                picture_release(&picture);
            }
}

/* Flat and random data: the one shrinks to nothing, the other not at all and is stored as it is. */
static void data_that_shrink_much_or_not(void **state)
{
    static const char *const codecs[] = { "rle", "zips", "zip", "piz", "pxr24" };
    const struct rect window = { 0, 0, 300, 70 };
    (void)state;
    for (size_t c = 0; c < sizeof codecs / sizeof *codecs; c++)
        for (int flat = 0; flat < 2; flat++) {
            const struct media_plan plan = plan_of(window, window, codecs[c], PIXELS_HALF);
            struct picture picture = new_filled(window, HAS_RGBA, 3);
            uint32_t random = 1;
            for (int p = 0; p < PLANE_COUNT; p++)
                for (int32_t y = 0; y < 70; y++)
                    for (int32_t x = 0; x < 300; x++) {
                        random = random * 1664525u + 1013904223u;
                        const uint16_t half = (uint16_t)(random >> 16 & 0xbbff);
                        half_to_float(flat ? &(uint16_t){ 0x3c00 } : &half, picture_row(&picture, (enum plane)p, y) + x,
                                      1);
                    }
            write_good(&plan, &picture);
            struct picture back = read_back(NULL);
            assert_true(difference(&picture, &back, true) == 0.0);
            picture_release(&back);
            picture_release(&picture);
        }
}

static void layers_keep_their_names(void **state)
{
    static const struct media_layer layers[] = {
        { "", HAS_RGB },
        { "matte", HAS_A },
        { "lamp", HAS_RGBA },
        { "rain.left", HAS_RGB },
        { "a-layer-name-that-is-longer-than-thirty-one-letters", HAS_RGB },
    };
    static const char *const names[] = { "B",      "G",       "R",           "lamp.A",      "lamp.B",     "lamp.G",
                                         "lamp.R", "matte.A", "rain.left.B", "rain.left.G", "rain.left.R" };
    const struct rect window = { 0, 0, 33, 20 };
    struct media_plan plan = plan_of(window, window, NULL, PIXELS_HALF);
    struct picture pictures[5];
    (void)state;
    plan.layers = layers;
    plan.layer_count = 5;
    for (int i = 0; i < 5; i++)
        pictures[i] = new_filled(window, layers[i].planes, (unsigned)i);
    write_good(&plan, pictures);
    struct media_reader *reader = open_file(NULL);
    assert_string_equal(media_info(reader)->compression, "zip");
    for (int i = 0; i < 3; i++)
        assert_string_equal(media_info(reader)->channels[i], names[i]);
    for (int i = 3; i < 11; i++)
        assert_string_equal(media_info(reader)->channels[i + 3], names[i]);
    media_close(reader);
    for (int i = 0; i < 5; i++) {
        struct picture back = read_back(layers[i].name);
        assert_true(difference(&pictures[i], &back, true) == 0.0);
        picture_release(&back);
        picture_release(&pictures[i]);
    }
}

static void the_header_keeps_what_it_was_told(void **state)
{
    const struct rect window = { 0, 0, 8, 8 };
    struct media_plan plan = plan_of(window, window, "zips", PIXELS_HALF);
    struct picture picture = new_filled(window, HAS_RGBA, 1);
    char *digest = NULL;
    (void)state;
    plan.pixel_aspect = 2.0;
    plan.primaries = *primaries_named("acescg");
    plan.metadata = (struct metadata){ .has_time_code = true,
                                       .time_code = { 0x01020304, 99 },
                                       .rate_num = 24000,
                                       .rate_den = 1001,
                                       .owner = (char[]){ "the keeper" },
                                       .comments = (char[]){ "Skerry Light, w\xc3\xa4hrend des Sturms" } };
    plan.digest = "0123456789abcdef";
    write_good(&plan, &picture);
    struct media_reader *reader = open_file(NULL);
    const struct media_info *info = media_info(reader);
    assert_true(info->pixel_aspect == 2.0);
    assert_true(info->has_primaries && info->metadata.has_primaries);
    assert_true(primaries_same(&info->primaries, primaries_named("acescg")));
    assert_true(info->metadata.has_time_code);
    assert_int_equal(info->metadata.time_code[0], 0x01020304);
    assert_int_equal(info->metadata.time_code[1], 99);
    assert_int_equal(info->metadata.rate_num, 24000);
    assert_int_equal(info->metadata.rate_den, 1001);
    assert_string_equal(info->metadata.owner, plan.metadata.owner);
    assert_string_equal(info->metadata.comments, plan.metadata.comments);
    media_close(reader);
    assert_int_equal(media_digest(path, &digest, NULL), PASSEL_OK);
    assert_string_equal(digest, "0123456789abcdef");
    memory_free(digest);
    plan = plan_of(window, window, "zips", PIXELS_HALF);
    write_good(&plan, &picture);
    reader = open_file(NULL);
    assert_false(media_info(reader)->has_primaries);
    assert_false(media_info(reader)->metadata.has_time_code);
    assert_int_equal(media_info(reader)->metadata.rate_num, 0);
    assert_null(media_info(reader)->metadata.owner);
    media_close(reader);
    assert_int_equal(media_digest(path, &digest, NULL), PASSEL_OK);
    assert_null(digest);
    picture_release(&picture);
}

/* A file that was cut anywhere, or is none, has no digest. */
static void a_digest_is_that_of_a_whole_file(void **state)
{
    const struct rect window = { 0, 0, 20, 40 };
    struct media_plan plan = plan_of(window, window, "zips", PIXELS_HALF);
    struct picture picture = new_filled(window, HAS_RGBA, 1);
    char *bytes = NULL, *digest = NULL;
    size_t size = 0;
    (void)state;
    plan.digest = "whole";
    write_good(&plan, &picture);
    assert_int_equal(file_read(path, 1 << 20, &bytes, &size, NULL), PASSEL_OK);
    for (size_t length = 0; length < size; length++) {
        remove(path);
        scratch_write(&scratch, "frame.exr", bytes, length);
        assert_int_equal(media_digest(path, &digest, NULL), PASSEL_OK);
        assert_null(digest);
    }
    scratch_write(&scratch, "frame.exr", bytes, size);
    assert_int_equal(media_digest(path, &digest, NULL), PASSEL_OK);
    assert_string_equal(digest, "whole");
    memory_free(digest);
    memory_free(bytes);
    assert_int_equal(media_digest("/nowhere/frame.exr", &digest, NULL), PASSEL_OK);
    assert_null(digest);
    picture_release(&picture);
}

struct strip_task {
    struct media_writer *writer;
    struct picture strip;
    enum passel_status status;
};

static void write_strip(void *data, int worker)
{
    struct strip_task *task = data;
    (void)worker;
    task->status = media_write(task->writer, &task->strip, NULL);
}

/* Writes in strips of `rows`, in an order made from `order`, by `threads` threads; gives back the file's bytes. */
static char *write_shuffled(const struct media_plan *plan, const struct picture *picture, int rows, int order,
                            int threads, size_t *size)
{
    enum { MOST = 200 };
    static struct strip_task tasks[MOST];
    struct media_writer *writer = NULL;
    struct pool *pool = NULL;
    struct passel_error error = { 0 };
    char *bytes = NULL;
    const int count = (rect_height(plan->data) + rows - 1) / rows;
    assert_true(count <= MOST);
    remove(path);
    assert_int_equal(media_create(path, plan, &writer, NULL), PASSEL_OK);
    assert_int_equal(rows % media_writer_rows(writer), 0);
    assert_int_equal(pool_new(threads, &pool, NULL), PASSEL_OK);
    for (int s = 0; s < count; s++) {
        struct rect area = plan->data;
        area.y0 += s * rows;
        area.y1 = area.y0 + rows < area.y1 ? area.y0 + rows : area.y1;
        tasks[s] = (struct strip_task){ .writer = writer, .strip = picture_part(picture, area) };
        assert_int_equal(pool_submit(pool,
                                     order == 0   ? s
                                     : order == 1 ? -s
                                                  : s * 7 % 11,
                                     write_strip, &tasks[s]),
                         PASSEL_OK);
    }
    pool_free(pool);
    for (int s = 0; s < count; s++)
        assert_int_equal(tasks[s].status, PASSEL_OK);
    if (media_finish(writer, &error) != PASSEL_OK)
        fail_msg("%s", error.text);
    assert_int_equal(file_read(path, 1 << 26, &bytes, size, NULL), PASSEL_OK);
    return bytes;
}

static void bytes_do_not_depend_on_the_order(void **state)
{
    static const char *const codecs[] = { "none", "rle", "zips", "zip", "piz", "pxr24", "b44", "b44a" };
    const struct rect window = { -5, 3, 90, 3 + 250 };
    struct picture picture = new_filled(window, HAS_RGBA, 11);
    (void)state;
    for (size_t c = 0; c < sizeof codecs / sizeof *codecs; c++) {
        const struct media_plan plan = plan_of(window, window, codecs[c], PIXELS_HALF);
        size_t size = 0;
        char *first = write_shuffled(&plan, &picture, 32, 0, 1, &size);
        for (int i = 1; i < 6; i++) {
            size_t other_size = 0;
            char *other = write_shuffled(&plan, &picture, i < 3 ? 32 : 64, i % 3, i == 1 ? 1 : 4, &other_size);
            assert_int_equal(other_size, size);
            assert_memory_equal(other, first, size);
            memory_free(other);
        }
        memory_free(first);
    }
    picture_release(&picture);
}

/* Values that no half holds are held at its ends; floats are written as they are. */
static void no_infinity_is_delivered(void **state)
{
    const float values[] = { 1e9f, -1e9f, INFINITY, -INFINITY, 65520.0f, 1.0f };
    const float expected[] = { 65504.0f, -65504.0f, 65504.0f, -65504.0f, 65504.0f, 1.0f };
    const struct rect window = { 0, 0, 6, 1 };
    const struct media_plan plan = plan_of(window, window, "none", PIXELS_HALF);
    struct picture picture = new_filled(window, HAS_RGBA, 1);
    (void)state;
    for (int p = 0; p < PLANE_COUNT; p++)
        memcpy(picture.plane[p], values, sizeof values);
    write_good(&plan, &picture);
    struct picture back = read_back(NULL);
    for (int p = 0; p < PLANE_COUNT; p++)
        assert_memory_equal(back.plane[p], expected, sizeof expected);
    picture_release(&back);
    picture_release(&picture);
}

static void expect_no_writer(const char *name, const struct media_plan *plan, enum passel_status expected,
                             const char *words)
{
    struct media_writer *writer = NULL;
    struct passel_error error = { 0 };
    char where[1024];
    assert_int_equal(media_create(scratch_path(&scratch, name, where), plan, &writer, &error), expected);
    assert_null(writer);
    if (strstr(error.text, where) == NULL || strstr(error.text, words) == NULL)
        fail_msg("'%s' has not both the path and '%s'", error.text, words);
}

static void wrong_plans_are_refused(void **state)
{
    static const struct media_layer twice[] = { { "lamp", HAS_RGB }, { "lamp", HAS_A | HAS_R } }, none = { "", 0 };
    const struct rect window = { 0, 0, 8, 8 };
    struct media_plan plan = plan_of(window, window, "zip", PIXELS_HALF);
    const size_t before = scratch_count(&scratch);
    (void)state;
    expect_no_writer("frame.gif", &plan, PASSEL_UNSUPPORTED, ".exr");
    expect_no_writer("missing/frame.exr", &plan, PASSEL_NO_FILE, "");
    plan.compression = "dwaa";
    expect_no_writer("new.exr", &plan, PASSEL_UNSUPPORTED, "'dwaa'");
    plan = plan_of(window, window, "zip", PIXELS_8);
    expect_no_writer("new.exr", &plan, PASSEL_UNSUPPORTED, "half or float");
    plan = plan_of(window, (struct rect){ 0 }, "zip", PIXELS_HALF);
    expect_no_writer("new.exr", &plan, PASSEL_BAD_USE, "without pixels");
    plan = plan_of(window, window, "zip", PIXELS_HALF);
    plan.layers = twice;
    plan.layer_count = 2;
    expect_no_writer("new.exr", &plan, PASSEL_BAD_USE, "'lamp.R' is there twice");
    plan.layers = &none;
    plan.layer_count = 1;
    expect_no_writer("new.exr", &plan, PASSEL_BAD_USE, "no channels");
    assert_int_equal(scratch_count(&scratch), before);
}

static void rows_must_come_once_and_all(void **state)
{
    const struct rect window = { 0, 0, 20, 50 };
    const struct media_plan plan = plan_of(window, window, "zip", PIXELS_HALF);
    struct picture picture = new_filled(window, HAS_RGBA, 1);
    struct media_writer *writer = NULL;
    struct passel_error error = { 0 };
    (void)state;
    scratch_path(&scratch, "rows.exr", path);
    const size_t before = scratch_count(&scratch);
    assert_int_equal(media_create(path, &plan, &writer, &error), PASSEL_OK);
    const struct picture first = picture_part(&picture, rect_of(0, 0, 20, 16));
    const struct picture third = picture_part(&picture, rect_of(0, 32, 20, 48));
    const struct picture crooked = picture_part(&picture, rect_of(0, 16, 20, 30));
    const struct picture narrow = picture_part(&picture, rect_of(0, 16, 19, 32));
    struct picture bare = picture_part(&picture, rect_of(0, 16, 20, 32));
    bare.plane[PLANE_G] = NULL;
    assert_int_equal(media_write(writer, &third, &error), PASSEL_OK);
    assert_int_equal(media_write(writer, &third, &error), PASSEL_BAD_USE);
    assert_int_equal(media_write(writer, &first, &error), PASSEL_OK);
    assert_int_equal(media_write(writer, &first, &error), PASSEL_BAD_USE);
    assert_int_equal(media_write(writer, &crooked, &error), PASSEL_BAD_USE);
    assert_int_equal(media_write(writer, &narrow, &error), PASSEL_BAD_USE);
    assert_int_equal(media_write(writer, &bare, &error), PASSEL_BAD_USE);
    assert_int_equal(media_finish(writer, &error), PASSEL_BAD_DISK);
    assert_non_null(strstr(error.text, "rows from 16"));
    assert_int_equal(scratch_count(&scratch), before);
    assert_int_equal(media_create(path, &plan, &writer, &error), PASSEL_OK);
    assert_int_equal(media_write(writer, &first, &error), PASSEL_OK);
    media_discard(writer);
    media_discard(NULL);
    assert_int_equal(scratch_count(&scratch), before);
    picture_release(&picture);
    scratch_path(&scratch, "frame.exr", path);
}

/* The disk fills up at the first, second, … write: never a file, always a reason. */
static void a_full_disk_leaves_nothing(void **state)
{
    static const char *const codecs[] = { "none", "zip" };
    const struct rect window = { 0, 0, 20, 40 };
    struct picture picture = new_filled(window, HAS_RGBA, 1);
    (void)state;
    scratch_path(&scratch, "full.exr", path);
    for (int c = 0; c < 2; c++) {
        const struct media_plan plan = plan_of(window, window, codecs[c], PIXELS_HALF);
        enum passel_status status = PASSEL_BAD_DISK;
        const size_t before = scratch_count(&scratch);
        int writes = 0;
        for (; status != PASSEL_OK; writes++) {
            struct passel_error error = { 0 };
            assert_int_equal(scratch_count(&scratch), before);
            writes_left = writes;
            status = write_file(&plan, &picture, &error);
            writes_left = -1;
            if (status != PASSEL_OK) {
                assert_int_equal(status, PASSEL_BAD_DISK);
                assert_non_null(strstr(error.text, path));
            }
        }
        assert_true(writes > 4);
        assert_int_equal(scratch_count(&scratch), before + 1);
        assert_int_equal(remove(path), 0);
    }
    picture_release(&picture);
    scratch_path(&scratch, "frame.exr", path);
}

struct attempt {
    struct media_plan plan;
    struct picture picture;
};

/* The second half comes first, so that chunks wait. */
static enum passel_status write_once(void *data)
{
    const struct attempt *attempt = data;
    const struct rect all = attempt->plan.data;
    const struct rect upper = { all.x0, all.y0, all.x1, all.y0 + 32 }, lower = { all.x0, all.y0 + 32, all.x1, all.y1 };
    const struct picture parts[] = { picture_part(&attempt->picture, lower), picture_part(&attempt->picture, upper) };
    struct media_writer *writer = NULL;
    struct passel_error error = { 0 };
    enum passel_status status = media_create(path, &attempt->plan, &writer, &error);
    for (int i = 0; i < 2 && status == PASSEL_OK; i++)
        status = media_write(writer, &parts[i], &error);
    if (status == PASSEL_OK)
        return media_finish(writer, &error);
    media_discard(writer);
    return status;
}

static void memory_may_run_out_anywhere(void **state)
{
    static const char *const codecs[] = { "none", "rle", "zip", "piz", "pxr24", "b44" };
    const struct rect window = { 0, 0, 20, 64 };
    struct attempt attempt = { .picture = new_filled(window, HAS_RGBA, 1) };
    (void)state;
    scratch_path(&scratch, "memory.exr", path);
    for (size_t c = 0; c < sizeof codecs / sizeof *codecs; c++) {
        attempt.plan = plan_of(window, window, codecs[c], PIXELS_HALF);
        attempt.plan.metadata.owner = (char[]){ "the keeper" };
        attempt.plan.digest = "digest";
        assert_true(fail_memory_each(write_once, &attempt) > 10);
        assert_int_equal(remove(path), 0);
    }
    picture_release(&attempt.picture);
    scratch_path(&scratch, "frame.exr", path);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_codec_there_and_back),       cmocka_unit_test(data_that_shrink_much_or_not),
        cmocka_unit_test(layers_keep_their_names),          cmocka_unit_test(the_header_keeps_what_it_was_told),
        cmocka_unit_test(a_digest_is_that_of_a_whole_file), cmocka_unit_test(bytes_do_not_depend_on_the_order),
        cmocka_unit_test(no_infinity_is_delivered),         cmocka_unit_test(wrong_plans_are_refused),
        cmocka_unit_test(rows_must_come_once_and_all),      cmocka_unit_test(a_full_disk_leaves_nothing),
        cmocka_unit_test(memory_may_run_out_anywhere),
    };
    return cmocka_run_group_tests(tests, make_folder, drop_folder);
}
