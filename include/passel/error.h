/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Status codes and the error that a caller owns.
 *
 * Every fallible function of Passel returns a status, 0 when all went well, and writes the details into the
 * `struct passel_error` that the caller handed in. A NULL error is allowed everywhere: the details are then lost.
 */
#ifndef PASSEL_ERROR_H
#define PASSEL_ERROR_H

#ifdef __cplusplus
extern "C" {
#endif

#if defined(__GNUC__)
#define PASSEL_API __attribute__((visibility("default")))
#define PASSEL_PRINTF(string, first) __attribute__((__format__(__printf__, string, first)))
#else
#define PASSEL_API
#define PASSEL_PRINTF(string, first)
#endif

enum passel_status {
    PASSEL_OK = 0,
    PASSEL_NO_MEMORY,   /* an allocation failed, or a size does not fit the machine */
    PASSEL_NO_FILE,     /* a file or folder does not exist or may not be opened */
    PASSEL_BAD_DISK,    /* reading or writing failed on the way: disk full, broken pipe */
    PASSEL_BAD_FILE,    /* a file is damaged: it is not what its format demands */
    PASSEL_UNSUPPORTED, /* a valid file or wish that Passel does not serve, refused by name */
    PASSEL_BAD_RECIPE,  /* the recipe is wrong: syntax, names, values, sizes that do not fit */
    PASSEL_BAD_USE,     /* the call or command line is wrong */
    PASSEL_BAD_PICTURE, /* the pictures do not allow the result: no bare screen, no register */
    PASSEL_STOPPED,     /* the caller asked to stop */
    PASSEL_PARTLY,      /* some frames were made, some failed */
    PASSEL_STATUS_COUNT
};

#define PASSEL_ERROR_TEXT 2048

/* What went wrong, on the thread that failed. `text` is a whole message, one or more lines, no newline at the end. */
struct passel_error {
    enum passel_status status;
    char text[PASSEL_ERROR_TEXT];
};

/* One short English phrase for a status code ("the file is damaged"); never NULL, whatever the number. */
PASSEL_API const char *passel_status_text(enum passel_status status);

#ifdef __cplusplus
}
#endif

#endif
