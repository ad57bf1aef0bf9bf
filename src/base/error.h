/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Filling in a caller-owned error, and the only two error macros of the house.
 */
#ifndef BASE_ERROR_H
#define BASE_ERROR_H

#include <passel/error.h>

/* Writes status and the formatted message into `error` (NULL is fine) and returns `status`. Text too long is cut. */
enum passel_status error_set(struct passel_error *error, enum passel_status status, const char *format, ...)
    PASSEL_PRINTF(3, 4);

/* Puts "prefix: " before the message that stands in `error` (NULL is fine); returns its status. */
enum passel_status error_prefix(struct passel_error *error, const char *format, ...) PASSEL_PRINTF(2, 3);

/* Leaves the function with the status of `call` when that is not 0. Only where nothing has to be released. */
#define RETURN_IF_ERROR(call)                         \
    do {                                              \
        const enum passel_status status_of_ = (call); \
        if (status_of_ != PASSEL_OK)                  \
            return status_of_;                        \
    } while (0)

/* Keeps the status of `call` in the local `status` and jumps to `label` when it is not 0. */
#define GOTO_IF_ERROR(call, label)   \
    do {                             \
        status = (call);             \
        if (status != PASSEL_OK)     \
            goto label;              \
    } while (0)

#endif
