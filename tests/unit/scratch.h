/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A folder for one test, below TMPDIR (or /tmp). Linked with `passel_unit(test_thing scratch)`.
 */
#ifndef TESTS_SCRATCH_H
#define TESTS_SCRATCH_H

#include <stddef.h>

struct scratch {
    char folder[512];
};

/* Makes an empty folder; fails the test when it cannot. */
void scratch_init(struct scratch *scratch);

/* The path of `name` in the folder, written to `path`, which it also returns. */
const char *scratch_path(const struct scratch *scratch, const char *name, char path[1024]);

/* Writes a file in the folder. */
void scratch_write(const struct scratch *scratch, const char *name, const void *bytes, size_t size);

/* How many names are in the folder, hidden ones counted. */
size_t scratch_count(const struct scratch *scratch);

/* Deletes the folder with all that is in it. */
void scratch_release(struct scratch *scratch);

#endif
