/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Status texts, and messages in a caller's error.
 */
#include "base/error.h"
#include "base/text.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

static void every_status_has_a_text_of_its_own(void **state)
{
    (void)state;
    for (int a = 0; a < PASSEL_STATUS_COUNT; a++) {
        const char *text = passel_status_text((enum passel_status)a);
        assert_non_null(text);
        assert_true(strlen(text) > 3);
        for (int b = 0; b < a; b++)
            assert_string_not_equal(text, passel_status_text((enum passel_status)b));
    }
}

static void unknown_numbers_have_a_text(void **state)
{
    (void)state;
    const char *unknown = passel_status_text(PASSEL_STATUS_COUNT);
    assert_non_null(unknown);
    assert_string_equal(passel_status_text((enum passel_status) - 1), unknown);
    assert_string_equal(passel_status_text((enum passel_status)12345), unknown);
}

static void set_writes_and_returns(void **state)
{
    (void)state;
    struct passel_error error;
    assert_int_equal(error_set(&error, PASSEL_BAD_FILE, "%s: row %d", "moon.exr", 7), PASSEL_BAD_FILE);
    assert_int_equal(error.status, PASSEL_BAD_FILE);
    assert_string_equal(error.text, "moon.exr: row 7");
}

static void null_error_is_fine(void **state)
{
    (void)state;
    assert_int_equal(error_set(NULL, PASSEL_NO_FILE, "%d", 1), PASSEL_NO_FILE);
    error_prefix(NULL, "%d", 1);
}

static void set_may_quote_the_old_message(void **state)
{
    (void)state;
    struct passel_error error;
    error_set(&error, PASSEL_BAD_FILE, "row 7");
    error_set(&error, PASSEL_PARTLY, "frame 3: %s", error.text);
    assert_int_equal(error.status, PASSEL_PARTLY);
    assert_string_equal(error.text, "frame 3: row 7");
}

static void prefix_goes_before(void **state)
{
    (void)state;
    struct passel_error error;
    error_set(&error, PASSEL_BAD_DISK, "disk full");
    assert_int_equal(error_prefix(&error, "frame %d", 12), PASSEL_BAD_DISK);
    assert_string_equal(error.text, "frame 12: disk full");
    assert_int_equal(error.status, PASSEL_BAD_DISK);
}

static void long_messages_are_cut(void **state)
{
    (void)state;
    struct passel_error error;
    error_set(&error, PASSEL_BAD_FILE, "%*s", 3 * PASSEL_ERROR_TEXT, "end");
    assert_int_equal(strlen(error.text), PASSEL_ERROR_TEXT - 1);
    error_prefix(&error, "frame 1");
    assert_int_equal(strlen(error.text), PASSEL_ERROR_TEXT - 1);
    assert_memory_equal(error.text, "frame 1:  ", 10);
    error_prefix(&error, "%*s", 3 * PASSEL_ERROR_TEXT, "long");
    assert_true(strlen(error.text) < PASSEL_ERROR_TEXT);
}

/* Messages quote file names, so they must not be cut inside a letter. Every shift of two-, three- and four-byte ones.
 */
static void a_cut_keeps_letters_whole(void **state)
{
    (void)state;
    static const char *const letters[] = { "\xC3\xA4", "\xE2\x82\xAC", "\xF0\x9F\x8C\x8A" };
    for (size_t l = 0; l < 3; l++) {
        for (int shift = 0; shift < 4; shift++) {
            struct text text = { NULL, 0, 0, false };
            text_add(&text, "abcd", (size_t)shift);
            while (text.length < PASSEL_ERROR_TEXT + 8)
                text_add(&text, letters[l], strlen(letters[l]));
            struct passel_error error;
            error_set(&error, PASSEL_BAD_FILE, "%s", text.bytes);
            const size_t length = strlen(error.text);
            assert_true(utf8_valid(error.text, length));
            assert_true(length > PASSEL_ERROR_TEXT - 1 - strlen(letters[l]));
            assert_memory_equal(error.text, text.bytes, length);
            text_release(&text);
        }
    }
}

static enum passel_status forward(enum passel_status inner)
{
    RETURN_IF_ERROR(inner);
    return PASSEL_PARTLY;
}

static enum passel_status jump(enum passel_status inner)
{
    enum passel_status status;
    GOTO_IF_ERROR(inner, out);
    status = PASSEL_PARTLY;
out:
    return status;
}

static void macros_forward_failures_only(void **state)
{
    (void)state;
    assert_int_equal(forward(PASSEL_OK), PASSEL_PARTLY);
    assert_int_equal(forward(PASSEL_BAD_USE), PASSEL_BAD_USE);
    assert_int_equal(jump(PASSEL_OK), PASSEL_PARTLY);
    assert_int_equal(jump(PASSEL_BAD_USE), PASSEL_BAD_USE);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_status_has_a_text_of_its_own),
        cmocka_unit_test(unknown_numbers_have_a_text),
        cmocka_unit_test(set_writes_and_returns),
        cmocka_unit_test(null_error_is_fine),
        cmocka_unit_test(set_may_quote_the_old_message),
        cmocka_unit_test(prefix_goes_before),
        cmocka_unit_test(long_messages_are_cut),
        cmocka_unit_test(a_cut_keeps_letters_whole),
        cmocka_unit_test(macros_forward_failures_only),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
