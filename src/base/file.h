/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Files and folders. A file that Passel writes is whole or absent: it is written under a temporary name beside its
 * place, flushed and closed with every result checked, and renamed. All calls of the C library that touch the disk
 * for Passel's own purposes are made here, so that tests can fail them (linker --wrap).
 */
#ifndef BASE_FILE_H
#define BASE_FILE_H

#include <passel/error.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct file_facts {
    uint64_t size;          /* bytes */
    int64_t modified_ns;    /* time of last change, ns since the epoch */
    uint64_t device, inode; /* identity, to find out whether two paths are one file */
    bool is_folder;
};

/* What the disk knows of `path`. PASSEL_NO_FILE when it does not exist. */
enum passel_status file_facts(const char *path, struct file_facts *facts, struct passel_error *error);

/* Reads a whole file of at most `limit` bytes; *bytes (NUL-terminated behind *size) is the caller's, to be given to
 * memory_free. PASSEL_UNSUPPORTED when it is larger. */
enum passel_status file_read(const char *path, size_t limit, char **bytes, size_t *size, struct passel_error *error);

/* A file on its way to its place. */
struct new_file {
    char *path;      /* where it will be */
    char *temporary; /* where it is being written: same folder, hidden, unique to process and call */
    int descriptor;  /* open for writing and reading, or -1 */
};

/* Opens a temporary file beside `path`. The caller ends it with new_file_keep or new_file_drop. */
enum passel_status new_file_open(struct new_file *file, const char *path, struct passel_error *error);
enum passel_status new_file_write(struct new_file *file, const void *bytes, size_t size, struct passel_error *error);

/* Writes at a position of the file; safe from several threads at once. */
enum passel_status new_file_write_at(struct new_file *file, const void *bytes, size_t size, uint64_t offset,
                                     struct passel_error *error);

/* fsync, close, rename over `path`. On failure the temporary file is deleted. Releases `file` in any case. */
enum passel_status new_file_keep(struct new_file *file, struct passel_error *error);

/* All of it at once: a whole file of these bytes at `path`, or none. */
enum passel_status file_write(const char *path, const void *bytes, size_t size, struct passel_error *error);

/* Deletes the temporary file and releases `file`. A zeroed-out or already ended one is fine. */
void new_file_drop(struct new_file *file);

/* Makes the folder and its missing parents. */
enum passel_status folder_make(const char *path, struct passel_error *error);

/* Names in a folder, sorted by bytes, without "." and ".."; *names is one array to give to folder_free. */
enum passel_status folder_list(const char *path, char ***names, size_t *count, struct passel_error *error);
void folder_free(char **names, size_t count);

/* `folder`/`name` when name is relative, else a copy of name; for memory_free; NULL when memory is out. */
char *path_join(const char *folder, const char *name);
/* The folder part of a path ("." when there is none); for memory_free; NULL when memory is out. */
char *path_folder(const char *path);
/* The text behind the last dot of the last name, lower-cased into `extension` (at most 15 letters, else ""). */
void path_extension(const char *path, char extension[16]);

#endif
