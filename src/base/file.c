/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Files, folders and paths on a POSIX system. Calls that a signal interrupted are made again, and short reads and
 * writes are completed.
 */
#include "base/file.h"

#include "base/error.h"
#include "base/memory.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* One call of the system moves at most this much, which every system accepts. */
#define IO_STEP ((size_t)1 << 30)

/* Fills in the error for a failed call of the system: "PATH: WHAT: reason". Sorts full disks from missing files. */
static enum passel_status system_error(struct passel_error *error, enum passel_status status, const char *path,
                                       const char *what, int number)
{
    char reason[128];
    if (strerror_r(number, reason, sizeof reason) != 0)
        snprintf(reason, sizeof reason, "error %d", number);
    if (number == ENOMEM)
        status = PASSEL_NO_MEMORY;
    else if (number == ENOSPC || number == EDQUOT || number == EIO)
        status = PASSEL_BAD_DISK;
    return error_set(error, status, "%s: %s: %s", path, what, reason);
}

static enum passel_status no_memory(struct passel_error *error, const char *path)
{
    return error_set(error, PASSEL_NO_MEMORY, "%s: memory is out", path);
}

enum passel_status file_facts(const char *path, struct file_facts *facts, struct passel_error *error)
{
    struct stat found;
    if (stat(path, &found) != 0)
        return system_error(error, PASSEL_NO_FILE, path, "cannot be opened", errno);
    *facts = (struct file_facts){
        .size = (uint64_t)found.st_size,
        .modified_ns = (int64_t)found.st_mtim.tv_sec * 1000000000 + found.st_mtim.tv_nsec,
        .device = (uint64_t)found.st_dev,
        .inode = (uint64_t)found.st_ino,
        .is_folder = S_ISDIR(found.st_mode),
    };
    return PASSEL_OK;
}

/* Reading */

struct read_bytes {
    char *bytes;
    size_t size, room; /* room counts the NUL at the end */
};

static bool read_room(struct read_bytes *into, size_t room)
{
    char *bytes = memory_grow(into->bytes, into->size, room, 1);
    if (bytes == NULL)
        return false;
    into->bytes = bytes;
    into->room = room;
    return true;
}

/* Reads up to the end of the file, or up to one byte more than `limit`. Files in /proc do not know their size. */
static enum passel_status read_all(int descriptor, const char *path, size_t limit, struct read_bytes *into,
                                   struct passel_error *error)
{
    while (into->size <= limit) {
        if (into->size + 1 >= into->room && !read_room(into, into->room < SIZE_MAX / 2 ? 2 * into->room : SIZE_MAX))
            return no_memory(error, path);
        const size_t left = into->room - 1 - into->size;
        const ssize_t got = read(descriptor, into->bytes + into->size, left < IO_STEP ? left : IO_STEP);
        if (got < 0 && errno == EINTR)
            continue;
        if (got < 0)
            return system_error(error, PASSEL_BAD_DISK, path, "cannot be read", errno);
        if (got == 0)
            return PASSEL_OK;
        into->size += (size_t)got;
    }
    return error_set(error, PASSEL_UNSUPPORTED, "%s: larger than the %zu bytes allowed here", path, limit);
}

/* Reads an open file into a fresh block that is `into`'s, also on failure. */
static enum passel_status read_open(int descriptor, const char *path, size_t limit, struct read_bytes *into,
                                    struct passel_error *error)
{
    struct stat found;
    if (fstat(descriptor, &found) != 0)
        return system_error(error, PASSEL_BAD_DISK, path, "cannot be read", errno);
    if (S_ISDIR(found.st_mode))
        return error_set(error, PASSEL_NO_FILE, "%s: a folder, not a file", path);
    const uint64_t size = (uint64_t)found.st_size;
    if (size > limit)
        return error_set(error, PASSEL_UNSUPPORTED, "%s: larger than the %zu bytes allowed here", path, limit);
    if (!read_room(into, size < 4096 ? 4098 : (size_t)size + 2))
        return no_memory(error, path);
    RETURN_IF_ERROR(read_all(descriptor, path, limit, into, error));
    into->bytes[into->size] = '\0';
    return PASSEL_OK;
}

enum passel_status file_read(const char *path, size_t limit, char **bytes, size_t *size, struct passel_error *error)
{
    *bytes = NULL;
    *size = 0;
    const int descriptor = open(path, O_RDONLY | O_CLOEXEC);
    if (descriptor < 0)
        return system_error(error, PASSEL_NO_FILE, path, "cannot be opened", errno);
    struct read_bytes into = { NULL, 0, 0 };
    const enum passel_status status = read_open(descriptor, path, limit, &into, error);
    close(descriptor);
    if (status != PASSEL_OK) {
        memory_free(into.bytes);
        return status;
    }
    *bytes = into.bytes;
    *size = into.size;
    return PASSEL_OK;
}

/* Writing */

static void new_file_release(struct new_file *file)
{
    memory_free(file->path);
    memory_free(file->temporary);
    *file = (struct new_file){ NULL, NULL, -1 };
}

/* Only plain files are replaced: a rename over a device or a pipe would destroy it. */
static enum passel_status check_replaceable(const char *path, struct passel_error *error)
{
    struct stat found;
    if (stat(path, &found) != 0)
        return PASSEL_OK;
    if (S_ISDIR(found.st_mode))
        return error_set(error, PASSEL_NO_FILE, "%s: a folder, not a file", path);
    if (!S_ISREG(found.st_mode))
        return error_set(error, PASSEL_UNSUPPORTED, "%s: not a plain file, so it cannot be replaced as a whole", path);
    return PASSEL_OK;
}

/* Opens the first free name of a row of names in `folder`; two threads never get the same one, since O_EXCL decides. */
static int open_temporary(const char *folder, char **temporary)
{
    for (unsigned attempt = 0; attempt < 100000; attempt++) {
        char name[64];
        snprintf(name, sizeof name, ".passel-%ld-%u.part", (long)getpid(), attempt);
        char *path = path_join(folder, name);
        if (path == NULL) {
            errno = ENOMEM;
            return -1;
        }
        const int descriptor = open(path, O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
        if (descriptor >= 0) {
            *temporary = path;
            return descriptor;
        }
        memory_free(path);
        if (errno != EEXIST && errno != EINTR)
            return -1;
    }
    return -1;
}

enum passel_status new_file_open(struct new_file *file, const char *path, struct passel_error *error)
{
    *file = (struct new_file){ NULL, NULL, -1 };
    RETURN_IF_ERROR(check_replaceable(path, error));
    char *folder = path_folder(path);
    file->path = path_join("", path);
    if (folder == NULL || file->path == NULL) {
        memory_free(folder);
        new_file_release(file);
        return no_memory(error, path);
    }
    file->descriptor = open_temporary(folder, &file->temporary);
    const int number = errno;
    memory_free(folder);
    if (file->descriptor >= 0)
        return PASSEL_OK;
    new_file_release(file);
    return system_error(error, PASSEL_NO_FILE, path, "cannot be made", number);
}

enum passel_status new_file_write(struct new_file *file, const void *bytes, size_t size, struct passel_error *error)
{
    const char *from = bytes;
    while (size > 0) {
        const ssize_t put = write(file->descriptor, from, size < IO_STEP ? size : IO_STEP);
        if (put < 0 && errno == EINTR)
            continue;
        if (put < 0)
            return system_error(error, PASSEL_BAD_DISK, file->path, "cannot be written", errno);
        from += put;
        size -= (size_t)put;
    }
    return PASSEL_OK;
}

enum passel_status new_file_write_at(struct new_file *file, const void *bytes, size_t size, uint64_t offset,
                                     struct passel_error *error)
{
    const char *from = bytes;
    if (offset > INT64_MAX || size > INT64_MAX - offset)
        return error_set(error, PASSEL_BAD_DISK, "%s: cannot be written: too large", file->path);
    while (size > 0) {
        const ssize_t put = pwrite(file->descriptor, from, size < IO_STEP ? size : IO_STEP, (off_t)offset);
        if (put < 0 && errno == EINTR)
            continue;
        if (put < 0)
            return system_error(error, PASSEL_BAD_DISK, file->path, "cannot be written", errno);
        from += put;
        size -= (size_t)put;
        offset += (uint64_t)put;
    }
    return PASSEL_OK;
}

enum passel_status new_file_keep(struct new_file *file, struct passel_error *error)
{
    enum passel_status status = PASSEL_OK;
    if (fsync(file->descriptor) != 0)
        status = system_error(error, PASSEL_BAD_DISK, file->path, "cannot be written", errno);
    if (close(file->descriptor) != 0 && status == PASSEL_OK)
        status = system_error(error, PASSEL_BAD_DISK, file->path, "cannot be written", errno);
    if (status == PASSEL_OK && rename(file->temporary, file->path) != 0)
        status = system_error(error, PASSEL_BAD_DISK, file->path, "cannot be put in place", errno);
    if (status != PASSEL_OK)
        unlink(file->temporary);
    new_file_release(file);
    return status;
}

void new_file_drop(struct new_file *file)
{
    if (file->temporary == NULL)
        return;
    close(file->descriptor);
    unlink(file->temporary);
    new_file_release(file);
}

enum passel_status file_write(const char *path, const void *bytes, size_t size, struct passel_error *error)
{
    struct new_file file;
    RETURN_IF_ERROR(new_file_open(&file, path, error));
    const enum passel_status status = new_file_write(&file, bytes, size, error);
    if (status == PASSEL_OK)
        return new_file_keep(&file, error);
    new_file_drop(&file);
    return status;
}

/* Folders */

static bool is_folder(const char *path)
{
    struct stat found;
    return stat(path, &found) == 0 && S_ISDIR(found.st_mode);
}

enum passel_status folder_make(const char *path, struct passel_error *error)
{
    if (is_folder(path))
        return PASSEL_OK;
    char *part = path_join("", path);
    if (part == NULL)
        return no_memory(error, path);
    enum passel_status status = PASSEL_OK;
    const size_t length = strlen(part);
    for (size_t end = length > 0; end <= length && status == PASSEL_OK; end++) {
        if (part[end] != '/' && part[end] != '\0')
            continue;
        const char kept = part[end];
        part[end] = '\0';
        /* Somebody else may make it at the same time, so the folder itself decides. */
        if (mkdir(part, 0777) != 0) {
            const int number = errno;
            if (!is_folder(part))
                status = system_error(error, PASSEL_NO_FILE, part, "the folder cannot be made", number);
        }
        part[end] = kept;
    }
    memory_free(part);
    return status;
}

static int compare_names(const void *a, const void *b)
{
    return strcmp(*(char *const *)a, *(char *const *)b);
}

struct names {
    char **list;
    size_t count, room;
};

static bool add_name(struct names *names, const char *name)
{
    if (names->count == names->room) {
        const size_t room = names->room == 0 ? 64 : 2 * names->room;
        char **list = memory_grow(names->list, names->count, room, sizeof *list);
        if (list == NULL)
            return false;
        names->list = list;
        names->room = room;
    }
    names->list[names->count] = path_join("", name);
    return names->list[names->count] != NULL && ++names->count > 0;
}

static enum passel_status read_names(DIR *folder, const char *path, struct names *names, struct passel_error *error)
{
    for (;;) {
        errno = 0;
        const struct dirent *entry = readdir(folder);
        if (entry == NULL && errno != 0)
            return system_error(error, PASSEL_BAD_DISK, path, "the folder cannot be read", errno);
        if (entry == NULL)
            return PASSEL_OK;
        if (strcmp(entry->d_name, ".") == 0 || strcmp(entry->d_name, "..") == 0)
            continue;
        if (!add_name(names, entry->d_name))
            return no_memory(error, path);
    }
}

enum passel_status folder_list(const char *path, char ***names, size_t *count, struct passel_error *error)
{
    *names = NULL;
    *count = 0;
    DIR *folder = opendir(path);
    if (folder == NULL)
        return system_error(error, PASSEL_NO_FILE, path, "the folder cannot be opened", errno);
    struct names found = { NULL, 0, 0 };
    const enum passel_status status = read_names(folder, path, &found, error);
    closedir(folder);
    if (status != PASSEL_OK) {
        folder_free(found.list, found.count);
        return status;
    }
    if (found.count > 1)
        qsort(found.list, found.count, sizeof *found.list, compare_names);
    *names = found.list;
    *count = found.count;
    return PASSEL_OK;
}

void folder_free(char **names, size_t count)
{
    for (size_t i = 0; i < count; i++)
        memory_free(names[i]);
    memory_free(names);
}

/* Paths */

/* The first `length` bytes of `text` as a text of its own. */
static char *copy_text(const char *text, size_t length)
{
    char *copy = memory_new(length + 1);
    if (copy == NULL)
        return NULL;
    memcpy(copy, text, length);
    copy[length] = '\0';
    return copy;
}

char *path_join(const char *folder, const char *name)
{
    const size_t folder_length = strlen(folder), name_length = strlen(name);
    if (name[0] == '/' || folder_length == 0)
        return copy_text(name, name_length);
    const size_t slash = folder[folder_length - 1] != '/';
    char *path = memory_new(folder_length + slash + name_length + 1);
    if (path == NULL)
        return NULL;
    memcpy(path, folder, folder_length);
    path[folder_length] = '/'; /* overwritten when the folder ends in one */
    memcpy(path + folder_length + slash, name, name_length + 1);
    return path;
}

char *path_folder(const char *path)
{
    size_t end = strlen(path);
    while (end > 1 && path[end - 1] == '/')
        end--;
    while (end > 0 && path[end - 1] != '/')
        end--;
    while (end > 1 && path[end - 1] == '/')
        end--;
    return end == 0 ? copy_text(".", 1) : copy_text(path, end);
}

void path_extension(const char *path, char extension[16])
{
    const char *slash = strrchr(path, '/');
    const char *dot = strrchr(slash != NULL ? slash : path, '.');
    extension[0] = '\0';
    if (dot == NULL || strlen(dot + 1) > 15)
        return;
    size_t i = 0;
    for (; dot[1 + i] != '\0'; i++)
        extension[i] = dot[1 + i] >= 'A' && dot[1 + i] <= 'Z' ? (char)(dot[1 + i] - 'A' + 'a') : dot[1 + i];
    extension[i] = '\0';
}
