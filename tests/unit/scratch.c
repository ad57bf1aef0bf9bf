/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Scratch folders, made with the C library alone, so that they do not lean on the code under test.
 */
#define _XOPEN_SOURCE 700 /* nftw */
#include "scratch.h"

#include <dirent.h>
#include <ftw.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include <cmocka.h>

void scratch_init(struct scratch *scratch)
{
    const char *top = getenv("TMPDIR");
    snprintf(scratch->folder, sizeof scratch->folder, "%s/passel-test-XXXXXX", top != NULL ? top : "/tmp");
    assert_non_null(mkdtemp(scratch->folder));
}

const char *scratch_path(const struct scratch *scratch, const char *name, char path[1024])
{
    snprintf(path, 1024, "%s/%s", scratch->folder, name);
    return path;
}

void scratch_write(const struct scratch *scratch, const char *name, const void *bytes, size_t size)
{
    char path[1024];
    FILE *file = fopen(scratch_path(scratch, name, path), "wb");
    assert_non_null(file);
    assert_int_equal(fwrite(bytes, 1, size, file), size);
    assert_int_equal(fclose(file), 0);
}

size_t scratch_count(const struct scratch *scratch)
{
    DIR *folder = opendir(scratch->folder);
    assert_non_null(folder);
    size_t count = 0;
    for (const struct dirent *entry = readdir(folder); entry != NULL; entry = readdir(folder))
        count += strcmp(entry->d_name, ".") != 0 && strcmp(entry->d_name, "..") != 0;
    closedir(folder);
    return count;
}

static int delete_one(const char *path, const struct stat *facts, int kind, struct FTW *where)
{
    (void)facts, (void)kind, (void)where;
    return remove(path);
}

void scratch_release(struct scratch *scratch)
{
    assert_int_equal(nftw(scratch->folder, delete_one, 16, FTW_DEPTH | FTW_PHYS), 0);
    scratch->folder[0] = '\0';
}
