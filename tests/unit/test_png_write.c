/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Writing PNG: codes survive the round trip, dither keeps means and leaves codes alone, the bytes do not depend on the
 * order of strips or the number of threads, and a file is whole or absent.
 */
#include "media/media.h"

#include "base/file.h"
#include "base/memory.h"
#include "base/pool.h"
#include "fail_memory.h"
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
static int writes_left = -1; /* calls of write before one fails; -1: none fails */

ssize_t __real_write(int file, const void *bytes, size_t size);
ssize_t __wrap_write(int file, const void *bytes, size_t size);

ssize_t __wrap_write(int file, const void *bytes, size_t size)
{
    if (writes_left == 0) {
        errno = ENOSPC;
        return -1;
    }
    if (writes_left > 0)
        writes_left--;
    return __real_write(file, bytes, size);
}

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

static struct media_plan plan_of(int width, int height, const struct media_layer *layer, enum pixels pixels)
{
    return (struct media_plan){
        .display = rect_of(0, 0, width, height),
        .data = rect_of(0, 0, width, height),
        .pixel_aspect = 1,
        .layers = layer,
        .layer_count = 1,
        .pixels = pixels,
        .encoding = { ENCODING_SRGB, 0 },
        .primaries = *primaries_named("rec709"),
    };
}

static const struct media_layer rgb_layer = { "", HAS_RGB }, rgba_layer = { "", HAS_RGBA }, matte_layer = { "", HAS_A };

static enum passel_status write_file(const struct media_plan *plan, const struct picture *picture,
                                     struct passel_error *error)
{
    struct media_writer *writer = NULL;
    enum passel_status status = media_create(path, plan, &writer, error);
    if (status != PASSEL_OK)
        return status;
    status = media_write(writer, picture, error);
    if (status != PASSEL_OK) {
        media_discard(writer);
        return status;
    }
    return media_finish(writer, error);
}

static void read_back(struct media_info *info, struct picture *picture)
{
    struct media_reader *reader = NULL;
    struct media_faults faults = { 0, 0 };
    struct passel_error error = { 0 };
    if (media_open(path, NULL, &reader, &error) != PASSEL_OK)
        fail_msg("%s", error.text);
    *info = *media_info(reader);
    assert_int_equal(picture_new(picture, info->data, info->planes, NULL), PASSEL_OK);
    assert_int_equal(media_read(reader, 0, picture, &faults, &error), PASSEL_OK);
    media_close(reader);
}

/* A picture whose samples are codes of `top` + 1 values, all different where there is room. */
static void fill_codes(const struct picture *picture, unsigned top)
{
    unsigned code = 0;
    for (int p = 0; p < PLANE_COUNT; p++)
        for (int32_t y = picture->area.y0; picture->plane[p] && y < picture->area.y1; y++)
            for (int32_t x = 0; x < rect_width(picture->area); x++)
                picture_row(picture, (enum plane)p, y)[x] = (float)(code++ % (top + 1)) / (float)top;
}

static void codes_survive(void **state)
{
    (void)state;
    const struct media_layer *layers[] = { &matte_layer, &rgb_layer, &rgba_layer };
    static const enum pixels depths[] = { PIXELS_8, PIXELS_16 };
    for (int i = 0; i < 6; i++) {
        const struct media_layer *layer = layers[i / 2];
        const struct media_plan plan = plan_of(257, 256, layer, depths[i % 2]);
        struct picture picture, back;
        struct media_info info;
        assert_int_equal(picture_new(&picture, plan.data, layer->planes, NULL), PASSEL_OK);
        fill_codes(&picture, depths[i % 2] == PIXELS_8 ? 255 : 65535);
        assert_int_equal(write_file(&plan, &picture, NULL), PASSEL_OK);
        read_back(&info, &back);
        assert_int_equal(info.bits, depths[i % 2] == PIXELS_8 ? 8 : 16);
        assert_int_equal(info.planes, layer->planes == HAS_RGBA ? HAS_RGBA : HAS_RGB);
        for (int p = 0; p < PLANE_COUNT; p++)
            for (int32_t y = 0; picture.plane[p] && y < 256; y++) {
                const enum plane from = layer->planes == HAS_A ? PLANE_R : (enum plane)p;
                assert_memory_equal(picture_row(&picture, (enum plane)p, y), picture_row(&back, from, y),
                                    257 * sizeof(float));
            }
        picture_release(&picture);
        picture_release(&back);
    }
    assert_int_equal(scratch_count(&scratch), 1);
}

static void values_beyond_are_clamped(void **state)
{
    (void)state;
    static const float values[] = { -1.0f, 2.0f, NAN, INFINITY, -INFINITY, 1e-30f };
    static const float expected[] = { 0, 1, 0, 1, 0, 0 };
    for (int depth = 0; depth < 2; depth++) {
        const struct media_plan plan = plan_of(6, 1, &matte_layer, depth ? PIXELS_16 : PIXELS_8);
        struct picture picture, back;
        struct media_info info;
        assert_int_equal(picture_new(&picture, plan.data, HAS_A, NULL), PASSEL_OK);
        memcpy(picture.plane[PLANE_A], values, sizeof values);
        assert_int_equal(write_file(&plan, &picture, NULL), PASSEL_OK);
        read_back(&info, &back);
        assert_memory_equal(back.plane[PLANE_R], expected, sizeof expected);
        picture_release(&picture);
        picture_release(&back);
    }
}

/* Every value between two codes has its mean over a tile of 16×16 kept to half a step of the matrix, and the same value
 * in three channels stays grey. */
static void dither_keeps_means(void **state)
{
    (void)state;
    enum { SIDE = 16, VALUES = 97 };
    const struct media_plan plan = plan_of(SIDE * VALUES, SIDE, &rgb_layer, PIXELS_8);
    struct picture picture, back;
    struct media_info info;
    assert_int_equal(picture_new(&picture, plan.data, HAS_RGB, NULL), PASSEL_OK);
    for (int p = 0; p < PLANE_A; p++)
        for (int y = 0; y < SIDE; y++)
            for (int x = 0; x < SIDE * VALUES; x++)
                picture_row(&picture, (enum plane)p, y)[x] = (100 + 3 * (float)(x / SIDE) / VALUES) / 255.0f;
    assert_int_equal(write_file(&plan, &picture, NULL), PASSEL_OK);
    read_back(&info, &back);
    double worst = 0;
    for (int v = 0; v < VALUES; v++) {
        double sum = 0;
        for (int y = 0; y < SIDE; y++)
            for (int x = v * SIDE; x < (v + 1) * SIDE; x++) {
                const float red = picture_row(&back, PLANE_R, y)[x];
                assert_true(red == picture_row(&back, PLANE_G, y)[x] && red == picture_row(&back, PLANE_B, y)[x]);
                sum += (double)red * 255;
            }
        worst = fmax(worst, fabs(sum / (SIDE * SIDE) - (100 + 3.0 * v / VALUES)));
    }
    print_message("largest error of a mean: %.5f codes\n", worst);
    assert_true(worst <= 0.5 / (SIDE * SIDE) + 1e-4);
    picture_release(&picture);
    picture_release(&back);
}

static void dither_of_a_ramp(void **state)
{
    (void)state;
    const struct media_plan plan = plan_of(1024, 16, &matte_layer, PIXELS_8);
    struct picture picture, back;
    struct media_info info;
    double before = 0, after = 0;
    assert_int_equal(picture_new(&picture, plan.data, HAS_A, NULL), PASSEL_OK);
    for (int y = 0; y < 16; y++)
        for (int x = 0; x < 1024; x++) {
            picture_row(&picture, PLANE_A, y)[x] = (float)x / 1023.0f;
            before += (double)picture_row(&picture, PLANE_A, y)[x];
        }
    assert_int_equal(write_file(&plan, &picture, NULL), PASSEL_OK);
    read_back(&info, &back);
    for (int y = 0; y < 16; y++) {
        for (int x = 0; x < 1024; x++) {
            after += (double)picture_row(&back, PLANE_R, y)[x];
            assert_true(fabs(picture_row(&back, PLANE_R, y)[x] - picture_row(&picture, PLANE_A, y)[x]) < 1.0f / 255);
        }
        assert_true(picture_row(&back, PLANE_R, y)[0] == 0 && picture_row(&back, PLANE_R, y)[1023] == 1);
    }
    assert_true(fabs(before - after) / (1024 * 16) * 255 < 0.01);
    picture_release(&picture);
    picture_release(&back);
}

/* Strips */

enum { STRIP_WIDTH = 301, STRIP_HEIGHT = 64, STRIP_ROWS = 5 };

struct strips {
    struct media_writer *writer;
    struct picture picture;
    struct strip_task {
        struct strips *strips;
        int32_t y0;
        enum passel_status status;
    } tasks[STRIP_HEIGHT];
};

static void write_strip(void *data, int worker)
{
    (void)worker;
    struct strip_task *task = data;
    const int32_t end = task->y0 + STRIP_ROWS < STRIP_HEIGHT ? task->y0 + STRIP_ROWS : STRIP_HEIGHT;
    const struct picture rows = picture_part(&task->strips->picture, rect_of(0, task->y0, STRIP_WIDTH, end));
    task->status = media_write(task->strips->writer, &rows, NULL);
}

static void fill_noise(const struct picture *picture)
{
    uint32_t random = 12345;
    for (int p = 0; p < PLANE_COUNT; p++)
        for (int32_t y = 0; picture->plane[p] && y < rect_height(picture->area); y++)
            for (int32_t x = 0; x < rect_width(picture->area); x++) {
                random = random * 1664525u + 1013904223u;
                picture_row(picture, (enum plane)p, y)[x] = (float)(random >> 8) / 16777216.0f;
            }
}

static void strips_in_any_order_give_the_same_bytes(void **state)
{
    (void)state;
    static struct strips strips;
    const struct media_plan plan = plan_of(STRIP_WIDTH, STRIP_HEIGHT, &rgba_layer, PIXELS_8);
    char *first = NULL;
    size_t first_size = 0;
    assert_int_equal(picture_new(&strips.picture, plan.data, HAS_RGBA, NULL), PASSEL_OK);
    fill_noise(&strips.picture);
    for (int threads = 0; threads < 4; threads++) {
        struct pool *pool = NULL;
        char *bytes = NULL;
        size_t size = 0;
        assert_int_equal(media_create(path, &plan, &strips.writer, NULL), PASSEL_OK);
        assert_int_equal(media_writer_rows(strips.writer), 1);
        if (threads > 0)
            assert_int_equal(pool_new(threads, &pool, NULL), PASSEL_OK);
        const int count = (STRIP_HEIGHT + STRIP_ROWS - 1) / STRIP_ROWS;
        for (int i = 0; i < count; i++) {
            struct strip_task *task = &strips.tasks[i];
            *task = (struct strip_task){ &strips, (threads == 0 ? i : i * 7 % count) * STRIP_ROWS, PASSEL_OK };
            if (threads == 0)
                write_strip(task, 0);
            else
                assert_int_equal(pool_submit(pool, 0, write_strip, task), PASSEL_OK);
        }
        pool_free(pool);
        for (int i = 0; i < count; i++)
            assert_int_equal(strips.tasks[i].status, PASSEL_OK);
        assert_int_equal(media_finish(strips.writer, NULL), PASSEL_OK);
        assert_int_equal(file_read(path, 1 << 24, &bytes, &size, NULL), PASSEL_OK);
        if (first) {
            assert_int_equal(size, first_size);
            assert_memory_equal(bytes, first, size);
            memory_free(bytes);
        } else {
            first = bytes;
            first_size = size;
        }
    }
    memory_free(first);
    picture_release(&strips.picture);
}

static void header_facts_come_back(void **state)
{
    (void)state;
    struct media_plan plan = plan_of(3, 2, &rgb_layer, PIXELS_8);
    struct picture picture, back;
    struct media_info info;
    char *digest = NULL, *bytes = NULL;
    size_t size = 0;
    assert_int_equal(picture_new(&picture, plan.data, HAS_RGB, NULL), PASSEL_OK);
    fill_codes(&picture, 255);
    assert_int_equal(write_file(&plan, &picture, NULL), PASSEL_OK);
    assert_int_equal(media_digest(path, &digest, NULL), PASSEL_OK);
    assert_null(digest);
    plan.pixel_aspect = 1.5;
    plan.digest = "0123456789abcdef";
    assert_int_equal(write_file(&plan, &picture, NULL), PASSEL_OK);
    read_back(&info, &back);
    assert_true(info.pixel_aspect == 1.5);
    picture_release(&back);
    assert_int_equal(media_digest(path, &digest, NULL), PASSEL_OK);
    assert_string_equal(digest, plan.digest);
    memory_free(digest);
    assert_int_equal(file_read(path, 1 << 20, &bytes, &size, NULL), PASSEL_OK);
    for (size_t cut = 0; cut < size; cut++) {
        scratch_write(&scratch, "picture.png", bytes, cut);
        assert_int_equal(media_digest(path, &digest, NULL), PASSEL_OK);
        assert_null(digest);
    }
    memory_free(bytes);
    picture_release(&picture);
}

static void expect_refused(const struct media_plan *plan, const char *word)
{
    struct media_writer *writer = NULL;
    struct passel_error error = { 0 };
    assert_int_equal(media_create(path, plan, &writer, &error), PASSEL_UNSUPPORTED);
    assert_null(writer);
    assert_non_null(strstr(error.text, word));
    assert_non_null(strstr(error.text, "picture.png"));
    assert_int_equal(scratch_count(&scratch), 0);
}

static void what_png_cannot_hold(void **state)
{
    (void)state;
    const struct media_layer two[] = { { "", HAS_RGB }, { "lamp", HAS_RGB } }, red = { "", HAS_R };
    struct media_plan plan = plan_of(4, 4, &rgb_layer, PIXELS_HALF);
    unlink(path);
    expect_refused(&plan, "half");
    plan.pixels = PIXELS_8;
    plan.compression = "zip";
    expect_refused(&plan, "zip");
    plan.compression = NULL;
    plan.data.x1 = 3;
    expect_refused(&plan, "whole frame");
    plan.data.x1 = 4;
    plan.layers = two;
    plan.layer_count = 2;
    expect_refused(&plan, "one layer");
    plan.layers = &red;
    plan.layer_count = 1;
    expect_refused(&plan, "RGBA");
    plan.layers = &rgb_layer;
    plan.encoding = (struct encoding){ ENCODING_REC709, 0 };
    plan.primaries = *primaries_named("acescg");
    expect_refused(&plan, "rec709");
}

static void rows_that_never_came(void **state)
{
    (void)state;
    const struct media_plan plan = plan_of(4, 4, &matte_layer, PIXELS_8);
    struct media_writer *writer = NULL;
    struct picture rows;
    struct passel_error error = { 0 };
    unlink(path);
    assert_int_equal(picture_new(&rows, rect_of(0, 2, 4, 4), HAS_A, NULL), PASSEL_OK);
    fill_codes(&(struct picture){ rows.area, { NULL, NULL, NULL, rows.plane[PLANE_A] }, rows.stride, NULL }, 255);
    assert_int_equal(media_create(path, &plan, &writer, NULL), PASSEL_OK);
    assert_int_equal(media_write(writer, &rows, NULL), PASSEL_OK);
    assert_int_equal(media_finish(writer, &error), PASSEL_BAD_DISK);
    assert_non_null(strstr(error.text, "picture.png"));
    assert_int_equal(media_create(path, &plan, &writer, NULL), PASSEL_OK);
    assert_int_equal(media_write(writer, &rows, NULL), PASSEL_OK);
    media_discard(writer);
    assert_int_equal(scratch_count(&scratch), 0);
    picture_release(&rows);
}

static void full_disk(void **state)
{
    (void)state;
    const struct media_plan plan = plan_of(256, 256, &rgba_layer, PIXELS_16);
    struct picture picture;
    struct passel_error error = { 0 };
    int failures = 0;
    unlink(path);
    assert_int_equal(picture_new(&picture, plan.data, HAS_RGBA, NULL), PASSEL_OK);
    fill_noise(&picture);
    for (int good = 0;; good++) {
        writes_left = good;
        const enum passel_status status = write_file(&plan, &picture, &error);
        writes_left = -1;
        if (status == PASSEL_OK)
            break;
        assert_int_equal(status, PASSEL_BAD_DISK);
        assert_non_null(strstr(error.text, "picture.png"));
        assert_int_equal(scratch_count(&scratch), 0);
        failures++;
    }
    assert_true(failures > 2);
    picture_release(&picture);
}

static enum passel_status write_attempt(void *data)
{
    const struct media_plan plan = plan_of(64, 16, &rgba_layer, PIXELS_8);
    return write_file(&plan, data, NULL);
}

static void memory_runs_out(void **state)
{
    (void)state;
    struct picture picture;
    assert_int_equal(picture_new(&picture, rect_of(0, 0, 64, 16), HAS_RGBA, NULL), PASSEL_OK);
    fill_noise(&picture);
    assert_true(fail_memory_each(write_attempt, &picture) > 5);
    assert_int_equal(scratch_count(&scratch), 1);
    picture_release(&picture);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(codes_survive),
        cmocka_unit_test(values_beyond_are_clamped),
        cmocka_unit_test(dither_keeps_means),
        cmocka_unit_test(dither_of_a_ramp),
        cmocka_unit_test(strips_in_any_order_give_the_same_bytes),
        cmocka_unit_test(header_facts_come_back),
        cmocka_unit_test(what_png_cannot_hold),
        cmocka_unit_test(rows_that_never_came),
        cmocka_unit_test(full_disk),
        cmocka_unit_test(memory_runs_out),
    };
    return cmocka_run_group_tests(tests, make_folder, drop_folder);
}
