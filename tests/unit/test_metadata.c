/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Time code arithmetic against counts by SMPTE ST 12-1, and copies of metadata.
 */
#include "media/media.h"

#include "fail_memory.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

/* Packs "hh:mm:ss:ff"; ';' before the frames stands for drop-frame. */
static uint32_t packed(const char *text)
{
    unsigned digits[8];
    int count = 0;
    for (const char *at = text; *at != '\0'; at++)
        if (*at >= '0' && *at <= '9')
            digits[count++] = (unsigned)(*at - '0');
    assert_int_equal(count, 8);
    uint32_t bits = 0;
    for (int i = 0; i < 8; i++)
        bits = bits << 4 | digits[i];
    return bits | (strchr(text, ';') != NULL ? 1u << 6 : 0u);
}

static void expect_advance(const char *from, int32_t frames, int32_t num, int32_t den, const char *to)
{
    uint32_t code[2] = { packed(from), 0xdeadbeef };
    time_code_advance(code, frames, num, den);
    assert_int_equal(code[0], packed(to));
    assert_int_equal(code[1], 0xdeadbeef);
}

/* Source: SMPTE ST 12-1, packing of OpenEXR's timeCode attribute, written by OpenEXR 3.1.5. */
static void packing_is_that_of_the_format(void **state)
{
    (void)state;
    assert_int_equal(packed("01:02:03:04"), 0x01020304);
    assert_int_equal(packed("23:59:59:23"), 0x23595923);
    assert_int_equal(packed("01:00:00;02"), 0x01000042);
    assert_int_equal(packed("12:34:56:21"), 0x12345621);
}

/* Source: SMPTE ST 12-1; counts derived from its rule and checked by their inverse over 200 000 frames. */
static void counts_follow_the_standard(void **state)
{
    static const struct {
        int32_t frame, num, den;
        const char *code;
    } rows[] = {
        { 0, 30000, 1001, "00:00:00;00" },
        { 1, 30000, 1001, "00:00:00;01" },
        { 29, 30000, 1001, "00:00:00;29" },
        { 30, 30000, 1001, "00:00:01;00" },
        { 1799, 30000, 1001, "00:00:59;29" },
        { 1800, 30000, 1001, "00:01:00;02" },
        { 1801, 30000, 1001, "00:01:00;03" },
        { 3597, 30000, 1001, "00:01:59;29" },
        { 3598, 30000, 1001, "00:02:00;02" },
        { 17981, 30000, 1001, "00:09:59;29" },
        { 17982, 30000, 1001, "00:10:00;00" },
        { 17983, 30000, 1001, "00:10:00;01" },
        { 19779, 30000, 1001, "00:10:59;27" },
        { 19780, 30000, 1001, "00:10:59;28" },
        { 19782, 30000, 1001, "00:11:00;02" },
        { 107892, 30000, 1001, "01:00:00;00" },
        { 2589407, 30000, 1001, "23:59:59;29" },
        { 23, 24, 1, "00:00:00:23" },
        { 24, 24, 1, "00:00:01:00" },
        { 1001, 24, 1, "00:00:41:17" },
        { 86400, 24, 1, "01:00:00:00" },
        { 2073599, 24, 1, "23:59:59:23" },
        { 24, 25, 1, "00:00:00:24" },
        { 25, 25, 1, "00:00:01:00" },
        { 90000, 25, 1, "01:00:00:00" },
        { 1800, 30, 1, "00:01:00:00" },
        { 17982, 30, 1, "00:09:59:12" },
        { 108000, 30, 1, "01:00:00:00" },
        { 1001, 24000, 1001, "00:00:41:17" }, /* 23.976 counts as 24 */
    };
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        const char *zero = strchr(rows[i].code, ';') != NULL ? "00:00:00;00" : "00:00:00:00";
        expect_advance(zero, rows[i].frame, rows[i].num, rows[i].den, rows[i].code);
        expect_advance(rows[i].code, -rows[i].frame, rows[i].num, rows[i].den, zero);
    }
}

/* Frame after frame through an hour: the same as one long step, and no number is left out but those that drop. */
static void single_steps_add_up(void **state)
{
    static const struct {
        int32_t num, den;
        const char *start;
    } rows[] = { { 30000, 1001, "00:58:30;10" }, { 24, 1, "23:30:00:05" }, { 25, 1, "10:00:00:00" } };
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        uint32_t walked[2] = { packed(rows[i].start), 0 };
        for (int32_t frame = 1; frame < 100000; frame++) {
            uint32_t leapt[2] = { packed(rows[i].start), 0 };
            time_code_advance(walked, 1, rows[i].num, rows[i].den);
            time_code_advance(leapt, frame, rows[i].num, rows[i].den);
            assert_int_equal(walked[0], leapt[0]);
        }
    }
}

static void days_wrap_and_flags_stay(void **state)
{
    (void)state;
    expect_advance("23:59:59:23", 1, 24, 1, "00:00:00:00");
    expect_advance("23:59:59;29", 1, 30000, 1001, "00:00:00;00");
    expect_advance("00:00:00:00", -1, 25, 1, "23:59:59:24");
    uint32_t code[2] = { packed("01:00:00:23") | 1u << 7 | 1u << 15 | 1u << 30, 7 };
    time_code_advance(code, 1, 24, 1);
    assert_int_equal(code[0], packed("01:00:01:00") | 1u << 7 | 1u << 15 | 1u << 30);
}

/* Time codes number no more than 30 frames a second; faster footage shares a number between frames. */
static void fast_rates_share_numbers(void **state)
{
    (void)state;
    expect_advance("00:00:00:00", 47, 48, 1, "00:00:00:23");
    expect_advance("00:00:00:00", 48, 48, 1, "00:00:01:00");
    expect_advance("00:00:00:00", 101, 50, 1, "00:00:02:00");
    expect_advance("00:00:59;29", 2, 60000, 1001, "00:01:00;02");
    expect_advance("00:00:00:00", 96, 96, 1, "00:00:01:00");
}

static void an_unknown_rate_changes_nothing(void **state)
{
    (void)state;
    expect_advance("01:02:03:04", 10, 0, 0, "01:02:03:04");
    expect_advance("01:02:03:04", 10, 24, 0, "01:02:03:04");
    expect_advance("01:02:03:04", 10, -24, 1, "01:02:03:04");
}

static enum passel_status copy_once(void *data)
{
    struct metadata copy;
    struct passel_error error;
    const enum passel_status status = metadata_copy(&copy, data, &error);
    if (status == PASSEL_OK)
        metadata_release(&copy);
    return status;
}

static void copies_own_their_texts(void **state)
{
    char owner[] = "the keeper", comments[] = "storm, second take";
    struct metadata from = { .has_time_code = true,
                             .time_code = { 1, 2 },
                             .rate_num = 24,
                             .rate_den = 1,
                             .owner = owner,
                             .comments = comments };
    struct metadata copy;
    (void)state;
    assert_int_equal(metadata_copy(&copy, &from, NULL), PASSEL_OK);
    owner[0] = comments[0] = 'X';
    assert_string_equal(copy.owner, "the keeper");
    assert_string_equal(copy.comments, "storm, second take");
    assert_int_equal(copy.time_code[1], 2);
    metadata_release(&copy);
    assert_null(copy.owner);
    metadata_release(&copy);
    assert_int_equal(fail_memory_each(copy_once, &from), 2);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(packing_is_that_of_the_format), cmocka_unit_test(counts_follow_the_standard),
        cmocka_unit_test(single_steps_add_up),           cmocka_unit_test(days_wrap_and_flags_stay),
        cmocka_unit_test(fast_rates_share_numbers),      cmocka_unit_test(an_unknown_rate_changes_nothing),
        cmocka_unit_test(copies_own_their_texts),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
