/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The texts of the status codes, and writing messages into an error that a caller owns.
 */
#include "base/error.h"

#include <stdarg.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>

static const char *const status_texts[PASSEL_STATUS_COUNT] = {
    [PASSEL_OK] = "all went well",
    [PASSEL_NO_MEMORY] = "memory is out",
    [PASSEL_NO_FILE] = "the file cannot be opened",
    [PASSEL_BAD_DISK] = "reading or writing failed",
    [PASSEL_BAD_FILE] = "the file is damaged",
    [PASSEL_UNSUPPORTED] = "this is not supported",
    [PASSEL_BAD_RECIPE] = "the recipe is wrong",
    [PASSEL_BAD_USE] = "the call is wrong",
    [PASSEL_BAD_PICTURE] = "the pictures do not allow this",
    [PASSEL_STOPPED] = "stopped on request",
    [PASSEL_PARTLY] = "some frames failed",
};

const char *passel_status_text(enum passel_status status)
{
    if ((unsigned)status >= PASSEL_STATUS_COUNT)
        return "unknown status";
    return status_texts[status];
}

/* Shortens `text` so that it does not end inside a UTF-8 sequence: cutting to a fixed room may have left part of one.
 */
static void drop_partial_character(char *text)
{
    const size_t length = strlen(text);
    size_t start = length;
    while (start > 0 && length - start < 4 && ((unsigned char)text[start - 1] & 0xC0u) == 0x80u)
        start--;
    if (start == 0)
        return;
    const unsigned char lead = (unsigned char)text[start - 1];
    const size_t wanted = lead >= 0xF0u ? 4 : lead >= 0xE0u ? 3 : lead >= 0xC0u ? 2 : 1;
    if (length - (start - 1) < wanted)
        text[start - 1] = '\0';
}

/* Replaces the message. `message` may be too long for it. */
static void put_text(struct passel_error *error, const char *message)
{
    const size_t length = strnlen(message, PASSEL_ERROR_TEXT);
    const bool cut = length >= PASSEL_ERROR_TEXT;
    memcpy(error->text, message, cut ? PASSEL_ERROR_TEXT - 1 : length);
    error->text[cut ? PASSEL_ERROR_TEXT - 1 : length] = '\0';
    if (cut)
        drop_partial_character(error->text);
}

enum passel_status error_set(struct passel_error *error, enum passel_status status, const char *format, ...)
{
    if (error == NULL)
        return status;
    /* Formatted aside, since an argument may be the message that stands in the error. */
    char message[PASSEL_ERROR_TEXT + 1];
    va_list arguments;
    va_start(arguments, format);
    const int length = vsnprintf(message, sizeof message, format, arguments);
    va_end(arguments);
    error->status = status;
    put_text(error, length < 0 ? passel_status_text(status) : message);
    return status;
}

enum passel_status error_prefix(struct passel_error *error, const char *format, ...)
{
    if (error == NULL)
        return PASSEL_OK;
    char message[2 * PASSEL_ERROR_TEXT + 2];
    va_list arguments;
    va_start(arguments, format);
    const int length = vsnprintf(message, PASSEL_ERROR_TEXT, format, arguments);
    va_end(arguments);
    if (length < 0)
        return error->status;
    const size_t used = strlen(message);
    snprintf(message + used, sizeof message - used, ": %s", error->text);
    put_text(error, message);
    return error->status;
}
