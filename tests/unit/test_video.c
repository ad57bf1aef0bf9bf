/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * YUV4MPEG2: published code values, where chroma lies, every depth and sampling, files with frames at random, pipes in
 * order, and streams that are cut, changed or refused.
 */
#include "media/media.h"

#include "fail_memory.h"
#include "scratch.h"

#include <fcntl.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cmocka.h>

static struct scratch scratch;
static char path[1024];
static unsigned char stream[1 << 20];
static size_t stream_size;

static int make_folder(void **state)
{
    (void)state;
    scratch_init(&scratch);
    scratch_path(&scratch, "clip.y4m", path);
    return 0;
}

static int drop_folder(void **state)
{
    (void)state;
    scratch_release(&scratch);
    return 0;
}

static void begin(const char *header)
{
    stream_size = (size_t)sprintf((char *)stream, "%s\n", header);
}

static void add(const void *bytes, size_t size)
{
    memcpy(stream + stream_size, bytes, size);
    stream_size += size;
}

static void add_line(const char *line)
{
    add(line, strlen(line));
}

static void add_sample(unsigned value, int bits)
{
    const unsigned char bytes[2] = { (unsigned char)(value & 255), (unsigned char)(value >> 8) };
    add(bytes, bits > 8 ? 2 : 1);
}

static void keep(void)
{
    scratch_write(&scratch, "clip.y4m", stream, stream_size);
}

static enum passel_status read_frame(int32_t frame, struct media_info *info, struct picture *out,
                                     struct passel_error *error)
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
        status = media_read(reader, frame, out, &faults, error);
    if (status != PASSEL_OK)
        picture_release(out);
    media_close(reader);
    return status;
}

static void expect_frame(int32_t frame, struct media_info *info, struct picture *out)
{
    struct passel_error error = { 0 };
    keep();
    if (read_frame(frame, info, out, &error) != PASSEL_OK)
        fail_msg("%s", error.text);
}

/* Code values computed with colour-science 0.4.6 from BT.709-6 and BT.601-7: R'G'B', then Y' Cb Cr of 8 and 10 bits for
 * BT.709, then for BT.601. */
static const struct published {
    double rgb[3];
    int codes[4][3];
} published[] = {
    { { 0, 0, 0 }, { { 16, 128, 128 }, { 64, 512, 512 }, { 16, 128, 128 }, { 64, 512, 512 } } },
    { { 1, 1, 1 }, { { 235, 128, 128 }, { 940, 512, 512 }, { 235, 128, 128 }, { 940, 512, 512 } } },
    { { 1, 0, 0 }, { { 63, 102, 240 }, { 250, 409, 960 }, { 81, 90, 240 }, { 326, 361, 960 } } },
    { { 0, 1, 0 }, { { 173, 42, 26 }, { 691, 167, 105 }, { 145, 54, 34 }, { 578, 215, 137 } } },
    { { 0, 0, 1 }, { { 32, 240, 118 }, { 127, 960, 471 }, { 41, 240, 110 }, { 164, 960, 439 } } },
    { { 0, 1, 1 }, { { 188, 154, 16 }, { 754, 615, 64 }, { 170, 166, 16 }, { 678, 663, 64 } } },
    { { 1, 0, 1 }, { { 78, 214, 230 }, { 313, 857, 919 }, { 106, 202, 222 }, { 426, 809, 887 } } },
    { { 1, 1, 0 }, { { 219, 16, 138 }, { 877, 64, 553 }, { 210, 16, 146 }, { 840, 64, 585 } } },
    { { 0.5, 0.5, 0.5 }, { { 126, 128, 128 }, { 502, 512, 512 }, { 126, 128, 128 }, { 502, 512, 512 } } },
    { { 0.75, 0, 0 }, { { 51, 109, 212 }, { 204, 435, 848 }, { 65, 100, 212 }, { 260, 399, 848 } } },
    { { 0.2, 0.6, 0.4 }, { { 126, 116, 85 }, { 502, 463, 341 }, { 116, 121, 87 }, { 465, 483, 347 } } },
};

/* The code of a value, by the standards' forward formulas; `plane` is 0 for Y', 1 for Cb, 2 for Cr. */
static double encode(const float rgb[3], bool bt601, int bits, int plane)
{
    const double kr = bt601 ? 0.299 : 0.2126, kb = bt601 ? 0.114 : 0.0722;
    const double r = (double)rgb[0], g = (double)rgb[1], b = (double)rgb[2], k = 1 << (bits - 8);
    const double luma = kr * r + (1 - kr - kb) * g + kb * b;
    if (plane == 0)
        return (219 * luma + 16) * k;
    return (224 * (plane == 1 ? (b - luma) / (2 * (1 - kb)) : (r - luma) / (2 * (1 - kr))) + 128) * k;
}

static void published_codes(void **state)
{
    (void)state;
    enum { COUNT = sizeof published / sizeof published[0] };
    for (int standard = 0; standard < 4; standard++) {
        const bool bt601 = standard >= 2;
        const int bits = standard % 2 ? 10 : 8, height = bt601 ? 1 : 720;
        struct media_info info;
        struct picture picture;
        char header[80];
        sprintf(header, "YUV4MPEG2 W%d H%d F24:1 Ip C444%s", COUNT, height, bits == 10 ? "p10" : "");
        begin(header);
        add_line("FRAME\n");
        for (int plane = 0; plane < 3; plane++)
            for (int y = 0; y < height; y++)
                for (int x = 0; x < COUNT; x++)
                    add_sample((unsigned)published[x].codes[standard][plane], bits);
        expect_frame(0, &info, &picture);
        for (int x = 0; x < COUNT; x++) {
            float rgb[3];
            for (int p = 0; p < 3; p++) {
                rgb[p] = picture_row(&picture, (enum plane)p, height - 1)[x];
                /* Half a code of Y' and, at most 1.86 times, half a code of C. */
                assert_true(fabs((double)rgb[p] - published[x].rgb[p]) < (bits == 8 ? 0.0075 : 0.0019));
            }
            for (int plane = 0; plane < 3; plane++)
                assert_true(fabs(encode(rgb, bt601, bits, plane) - published[x].codes[standard][plane]) < 1e-3);
        }
        picture_release(&picture);
    }
}

static void header_is_understood(void **state)
{
    (void)state;
    struct media_info info;
    struct picture picture;
    begin("YUV4MPEG2 W4 H2 F24000:1001 Ip A8:9 C444 XYSCSS=444 XCOLORRANGE=LIMITED");
    add_line("FRAME Ixyz\n");
    for (int i = 0; i < 24; i++)
        add_sample(128, 8);
    expect_frame(0, &info, &picture);
    assert_string_equal(info.format, "YUV4MPEG2");
    assert_int_equal(info.metadata.rate_num, 24000);
    assert_int_equal(info.metadata.rate_den, 1001);
    assert_true(info.pixel_aspect == 8.0 / 9.0);
    assert_int_equal(info.frame_count, 1);
    assert_int_equal(info.bits, 8);
    assert_int_equal(info.planes, HAS_RGB);
    assert_true(info.has_encoding && info.encoding.curve == ENCODING_REC709);
    picture_release(&picture);
    begin("YUV4MPEG2 W2 H1 F0:0 A0:0 Cmono");
    add_line("FRAME\n\x10\xeb");
    expect_frame(0, &info, &picture);
    assert_int_equal(info.metadata.rate_num, 0);
    assert_int_equal(info.metadata.rate_den, 0);
    assert_true(info.pixel_aspect == 1);
    assert_true(picture.plane[PLANE_B][0] == 0 && picture.plane[PLANE_B][1] == 1);
    picture_release(&picture);
}

static void full_range(void **state)
{
    (void)state;
    struct media_info info;
    struct picture picture;
    for (int deep = 0; deep < 2; deep++) {
        const unsigned top = deep ? 4095 : 255, middle = deep ? 2048 : 128;
        begin(deep ? "YUV4MPEG2 W2 H1 C444p12 XCOLORRANGE=FULL" : "YUV4MPEG2 W2 H1 C444 XCOLORRANGE=FULL");
        add_line("FRAME\n");
        const unsigned codes[] = { 0, top, middle, middle, middle, middle };
        for (int i = 0; i < 6; i++)
            add_sample(codes[i], deep ? 12 : 8);
        expect_frame(0, &info, &picture);
        for (int p = 0; p < PLANE_A; p++)
            assert_true(picture.plane[p][0] == 0 && picture.plane[p][1] == 1);
        picture_release(&picture);
    }
}

/* A chroma plane that is a straight line over the picture comes back as that line, wherever its samples lie, but for
 * the border, where the last sample holds. */
static void chroma_lies_where_it_should(void **state)
{
    (void)state;
    enum { WIDTH = 16, HEIGHT = 12 };
    static const struct {
        const char *name;
        int across, down, bits;
        double x, cb_y, cr_y;
    } rows[] = {
        { "420jpeg", 2, 2, 8, 0.5, 0.5, 0.5 }, { "420mpeg2", 2, 2, 8, 0, 0.5, 0.5 }, { "420paldv", 2, 2, 8, 0, 1, 0 },
        { "420", 2, 2, 8, 0.5, 0.5, 0.5 },     { "422", 2, 1, 8, 0, 0, 0 },          { "411", 4, 1, 8, 0, 0, 0 },
        { "444", 1, 1, 8, 0, 0, 0 },           { "420p10", 2, 2, 10, 0, 0.5, 0.5 },  { "422p10", 2, 1, 10, 0, 0, 0 },
        { "444p12", 1, 1, 12, 0, 0, 0 },       { "420p14", 2, 2, 14, 0, 0.5, 0.5 },  { "422p16", 2, 1, 16, 0, 0, 0 },
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const int k = 1 << (rows[i].bits - 8);
        struct media_info info;
        struct picture picture;
        char header[80];
        sprintf(header, "YUV4MPEG2 W%d H%d C%s", WIDTH, HEIGHT, rows[i].name);
        begin(header);
        add_line("FRAME\n");
        for (int at = 0; at < WIDTH * HEIGHT; at++)
            add_sample(126u * (unsigned)k, rows[i].bits);
        for (int plane = 0; plane < 2; plane++)
            for (int y = 0; y < HEIGHT / rows[i].down; y++)
                for (int x = 0; x < WIDTH / rows[i].across; x++) {
                    const double at_x = x * rows[i].across + rows[i].x;
                    const double at_y = y * rows[i].down + (plane ? rows[i].cr_y : rows[i].cb_y);
                    add_sample((unsigned)((100 + 2 * at_x + (plane ? 4 : 6) * at_y) * k), rows[i].bits);
                }
        expect_frame(0, &info, &picture);
        for (int y = 2; y < HEIGHT - 2; y++)
            for (int x = 1; x < WIDTH - 4; x++) {
                const float rgb[3] = { picture_row(&picture, PLANE_R, y)[x], picture_row(&picture, PLANE_G, y)[x],
                                       picture_row(&picture, PLANE_B, y)[x] };
                const double cb = encode(rgb, true, rows[i].bits, 1) / k, cr = encode(rgb, true, rows[i].bits, 2) / k;
                assert_true(fabs(cb - (100 + 2 * x + 6 * y)) < 1e-3);
                assert_true(fabs(cr - (100 + 2 * x + 4 * y)) < 1e-3);
            }
        picture_release(&picture);
    }
}

static void odd_sizes_and_alpha(void **state)
{
    (void)state;
    struct media_info info;
    struct picture picture;
    begin("YUV4MPEG2 W5 H3 C420jpeg");
    for (int frame = 0; frame < 2; frame++) {
        add_line("FRAME\n");
        for (int i = 0; i < 15; i++)
            add_sample(16u + 73u * (unsigned)frame, 8);
        for (int i = 0; i < 12; i++) /* 3×2 samples of each chroma */
            add_sample(128, 8);
    }
    expect_frame(1, &info, &picture);
    assert_int_equal(info.frame_count, 2);
    assert_true(fabsf(picture_row(&picture, PLANE_G, 2)[4] - 73.0f / 219.0f) < 1e-6f);
    picture_release(&picture);
    begin("YUV4MPEG2 W1 H1 C444alpha");
    add_line("FRAME\n\xeb\x80\x80\x10");
    expect_frame(0, &info, &picture);
    assert_int_equal(info.planes, HAS_RGBA);
    assert_int_equal(info.alpha, ALPHA_STRAIGHT);
    assert_true(picture.plane[PLANE_A][0] == 0 && picture.plane[PLANE_R][0] == 1);
    picture_release(&picture);
}

/* Six grey frames of one pixel, of codes 16, 17, …; the lines of the frames differ in length. */
static void make_six(void)
{
    begin("YUV4MPEG2 W1 H1 F25:1 Ip Cmono");
    for (unsigned frame = 0; frame < 6; frame++) {
        add_line(frame % 2 ? "FRAME Ip\n" : "FRAME\n");
        add_sample(16 + frame, 8);
    }
}

static float grey_of(struct media_reader *reader, int32_t frame)
{
    float value = -1;
    const struct picture one = { rect_of(0, 0, 1, 1), { &value, NULL, NULL, NULL }, 1, NULL };
    struct media_faults faults = { 0, 0 };
    assert_int_equal(media_read(reader, frame, &one, &faults, NULL), PASSEL_OK);
    return value * 219;
}

static void frames_at_random(void **state)
{
    (void)state;
    static const int32_t order[] = { 5, 0, 3, 3, 2, 4, 1 };
    struct media_reader *reader = NULL;
    struct passel_error error = { 0 };
    make_six();
    keep();
    assert_int_equal(media_open(path, NULL, &reader, NULL), PASSEL_OK);
    assert_int_equal(media_info(reader)->frame_count, 6);
    for (size_t i = 0; i < sizeof order / sizeof order[0]; i++)
        assert_true(fabsf(grey_of(reader, order[i]) - (float)order[i]) < 1e-4f);
    float value;
    const struct picture one = { rect_of(0, 0, 1, 1), { &value, NULL, NULL, NULL }, 1, NULL };
    assert_int_equal(media_read(reader, 6, &one, &(struct media_faults){ 0, 0 }, &error), PASSEL_BAD_USE);
    media_close(reader);
}

static void pipe_in_order(void **state)
{
    (void)state;
    struct media_reader *reader = NULL;
    struct passel_error error = { 0 };
    float value;
    const struct picture one = { rect_of(0, 0, 1, 1), { &value, NULL, NULL, NULL }, 1, NULL };
    int ends[2];
    make_six();
    assert_int_equal(pipe(ends), 0);
    assert_int_equal(write(ends[1], stream, stream_size), (ssize_t)stream_size);
    close(ends[1]);
    const int before = dup(STDIN_FILENO);
    dup2(ends[0], STDIN_FILENO);
    assert_int_equal(media_open("-", NULL, &reader, NULL), PASSEL_OK);
    assert_int_equal(media_info(reader)->frame_count, -1);
    assert_true(fabsf(grey_of(reader, 0)) < 1e-4f);
    assert_true(fabsf(grey_of(reader, 2) - 2) < 1e-4f);
    assert_true(fabsf(grey_of(reader, 2) - 2) < 1e-4f);
    assert_int_equal(media_read(reader, 1, &one, &(struct media_faults){ 0, 0 }, &error), PASSEL_BAD_USE);
    assert_non_null(strstr(error.text, "frame 1 has gone by"));
    assert_true(fabsf(grey_of(reader, 5) - 5) < 1e-4f);
    assert_int_equal(media_read(reader, 6, &one, &(struct media_faults){ 0, 0 }, &error), PASSEL_BAD_FILE);
    assert_non_null(strstr(error.text, "ends before it"));
    media_close(reader);
    dup2(before, STDIN_FILENO);
    close(before);
    close(ends[0]);
}

static void refusals(void **state)
{
    (void)state;
    static const struct {
        const char *header;
        enum passel_status status;
        const char *word;
    } rows[] = {
        { "YUV4MPEG2 W2 H2 It", PASSEL_UNSUPPORTED, "interlaced" },
        { "YUV4MPEG2 W2 H2 Ib", PASSEL_UNSUPPORTED, "interlaced" },
        { "YUV4MPEG2 W2 H2 Im", PASSEL_UNSUPPORTED, "interlaced" },
        { "YUV4MPEG2 W2 H2 C410", PASSEL_UNSUPPORTED, "C410" },
        { "YUV4MPEG2 W2 H2 C420p11", PASSEL_UNSUPPORTED, "C420p11" },
        { "YUV4MPEG2 W2 H2 C420p", PASSEL_UNSUPPORTED, "C420p" },
        { "YUV4MPEG2 W2", PASSEL_BAD_FILE, "width or height" },
        { "YUV4MPEG2 W0 H2", PASSEL_BAD_FILE, "width or height" },
        { "YUV4MPEG2 W2x H2", PASSEL_BAD_FILE, "W2x" },
        { "YUV4MPEG2 W2 H-2", PASSEL_BAD_FILE, "H-2" },
        { "YUV4MPEG2 W2 H2 F24", PASSEL_BAD_FILE, "F24" },
        { "YUV4MPEG2 W99999999999 H2", PASSEL_BAD_FILE, "W99999999999" },
        { "YUV4MPEG2 W60000 H60000", PASSEL_UNSUPPORTED, "too large" },
        { "YUV4MPEG2 W2 H2", PASSEL_BAD_FILE, "no frame" },
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct media_info info;
        struct picture picture;
        struct passel_error error = { 0 };
        begin(rows[i].header);
        keep();
        assert_int_equal(read_frame(0, &info, &picture, &error), rows[i].status);
        assert_non_null(strstr(error.text, rows[i].word));
        assert_non_null(strstr(error.text, "clip.y4m"));
    }
}

static bool try_stream(void)
{
    struct media_info info;
    struct picture picture;
    struct passel_error error = { 0 };
    if (read_frame(0, &info, &picture, &error) == PASSEL_OK) {
        picture_release(&picture);
        return true;
    }
    assert_non_null(strstr(error.text, "clip.y4m"));
    return false;
}

static void make_small(void)
{
    begin("YUV4MPEG2 W6 H4 F24:1 Ip A1:1 C420p10");
    add_line("FRAME\n");
    for (unsigned i = 0; i < 36; i++)
        add_sample(64 + i * 20, 10);
}

static void cut_streams(void **state)
{
    (void)state;
    make_small();
    const size_t size = stream_size;
    for (stream_size = 0; stream_size < size; stream_size++) {
        keep();
        assert_false(try_stream());
    }
    keep();
    assert_true(try_stream());
}

static void changed_streams(void **state)
{
    (void)state;
    uint32_t random = 12345;
    int refused = 0;
    make_small();
    const size_t header = 50;
    for (int round = 0; round < 1500; round++) {
        make_small();
        for (int change = 0; change <= round % 3; change++) {
            random = random * 1664525u + 1013904223u;
            stream[(random >> 8) % header] ^= (unsigned char)(1u << (random >> 29));
        }
        keep();
        refused += try_stream() ? 0 : 1;
    }
    print_message("%d of 1500 changed streams refused\n", refused);
    assert_true(refused > 500);
}

static enum passel_status read_attempt(void *data)
{
    struct media_info info;
    struct picture picture;
    const enum passel_status status = read_frame(0, &info, &picture, data);
    if (status == PASSEL_OK)
        picture_release(&picture);
    return status;
}

static void memory_runs_out(void **state)
{
    (void)state;
    struct passel_error error = { 0 };
    make_small();
    keep();
    assert_true(fail_memory_each(read_attempt, &error) > 5);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(published_codes),     cmocka_unit_test(header_is_understood),
        cmocka_unit_test(full_range),          cmocka_unit_test(chroma_lies_where_it_should),
        cmocka_unit_test(odd_sizes_and_alpha), cmocka_unit_test(frames_at_random),
        cmocka_unit_test(pipe_in_order),       cmocka_unit_test(refusals),
        cmocka_unit_test(cut_streams),         cmocka_unit_test(changed_streams),
        cmocka_unit_test(memory_runs_out),
    };
    return cmocka_run_group_tests(tests, make_folder, drop_folder);
}
