/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The contact sheet: evenly chosen frames on one picture, each with its number, laid out for a page on its side.
 */
#ifndef COMMAND_SHEET_H
#define COMMAND_SHEET_H

#include <passel/error.h>
#include <stdint.h>

#define SHEET_MOST 12 /* frames on a sheet */

/* `pattern` names the frames, 8-bit PNG files of one size; of `count` frames at most SHEET_MOST are chosen. Files that
 * cannot be read leave their place empty and say so there. *path is where the sheet is, for memory_free; PASSEL_NO_FILE
 * (and no path) when none can be read. */
enum passel_status sheet_write(const char *pattern, const int32_t *frames, int count, const char *title, char **path,
                               struct passel_error *error);

#endif
