/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Files are whole or absent, also when the disk is full, memory is out, or a call of the system fails. The calls of
 * the system are failed by the linker's --wrap; one test fills a real limit.
 */
#include "base/file.h"
#include "base/memory.h"

#include "fail_memory.h"
#include "scratch.h"

#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <setjmp.h>
#include <signal.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cmocka.h>

/* What the diverted calls do. A kind of call fails with `number` when its counter reaches 0. */
static struct {
    int write, fsync, close, rename; /* calls before the failing one; -1: none fails */
    int number;                      /* errno of the failure */
    size_t most;                     /* a write or read moves no more than this; 0: no limit */
    int interrupts;                  /* so many writes and reads are interrupted first */
} fault = { -1, -1, -1, -1, 0, 0, 0 };

static void no_faults(void)
{
    fault.write = fault.fsync = fault.close = fault.rename = -1;
    fault.most = 0;
    fault.interrupts = 0;
}

static bool fails(int *left)
{
    if (*left < 0 || (*left)-- > 0)
        return false;
    errno = fault.number;
    return true;
}

static bool interrupted(void)
{
    if (fault.interrupts <= 0)
        return false;
    fault.interrupts--;
    errno = EINTR;
    return true;
}

static size_t at_most(size_t size)
{
    return fault.most > 0 && size > fault.most ? fault.most : size;
}

ssize_t __real_write(int descriptor, const void *bytes, size_t size);
ssize_t __real_pwrite64(int descriptor, const void *bytes, size_t size, off_t offset);
ssize_t __real_read(int descriptor, void *bytes, size_t size);
int __real_fsync(int descriptor);
int __real_close(int descriptor);
int __real_rename(const char *from, const char *to);
ssize_t __wrap_write(int descriptor, const void *bytes, size_t size);
ssize_t __wrap_pwrite64(int descriptor, const void *bytes, size_t size, off_t offset);
ssize_t __wrap_read(int descriptor, void *bytes, size_t size);
int __wrap_fsync(int descriptor);
int __wrap_close(int descriptor);
int __wrap_rename(const char *from, const char *to);

ssize_t __wrap_write(int descriptor, const void *bytes, size_t size)
{
    return interrupted() || fails(&fault.write) ? -1 : __real_write(descriptor, bytes, at_most(size));
}

ssize_t __wrap_pwrite64(int descriptor, const void *bytes, size_t size, off_t offset)
{
    return interrupted() || fails(&fault.write) ? -1 : __real_pwrite64(descriptor, bytes, at_most(size), offset);
}

ssize_t __wrap_read(int descriptor, void *bytes, size_t size)
{
    return interrupted() ? -1 : __real_read(descriptor, bytes, at_most(size));
}

int __wrap_fsync(int descriptor)
{
    return fails(&fault.fsync) ? -1 : __real_fsync(descriptor);
}

/* As on Linux, the descriptor is gone even when close fails. */
int __wrap_close(int descriptor)
{
    const int closed = __real_close(descriptor);
    return fails(&fault.close) ? -1 : closed;
}

int __wrap_rename(const char *from, const char *to)
{
    return fails(&fault.rename) ? -1 : __real_rename(from, to);
}

static struct scratch scratch;

static int enter(void **state)
{
    (void)state;
    scratch_init(&scratch);
    return 0;
}

static int leave(void **state)
{
    (void)state;
    no_faults();
    scratch_release(&scratch);
    return 0;
}

static void assert_content(const char *path, const char *content)
{
    char *bytes;
    size_t size;
    assert_int_equal(file_read(path, 1 << 20, &bytes, &size, NULL), PASSEL_OK);
    assert_int_equal(size, strlen(content));
    assert_string_equal(bytes, content);
    memory_free(bytes);
}

/* Writes a whole file through new_file; the status of the first step that fails. */
static enum passel_status put(const char *path, const char *content, struct passel_error *error)
{
    struct new_file file;
    enum passel_status status = new_file_open(&file, path, error);
    if (status != PASSEL_OK)
        return status;
    status = new_file_write(&file, content, strlen(content), error);
    if (status == PASSEL_OK)
        return new_file_keep(&file, error);
    new_file_drop(&file);
    return status;
}

static void kept_file_is_in_its_place(void **state)
{
    (void)state;
    char path[1024];
    scratch_path(&scratch, "moon.1001.exr", path);
    struct new_file file;
    assert_int_equal(new_file_open(&file, path, NULL), PASSEL_OK);
    assert_int_equal(new_file_write(&file, "moon", 4, NULL), PASSEL_OK);
    assert_int_equal(access(path, F_OK), -1);
    assert_int_equal(access(file.temporary, F_OK), 0);
    assert_int_equal(new_file_keep(&file, NULL), PASSEL_OK);
    assert_content(path, "moon");
    assert_int_equal(scratch_count(&scratch), 1);
    assert_int_equal(put(path, "lamp light", NULL), PASSEL_OK);
    assert_content(path, "lamp light");
    assert_int_equal(scratch_count(&scratch), 1);
}

static void dropped_file_leaves_the_old_one(void **state)
{
    (void)state;
    char path[1024];
    scratch_write(&scratch, "moon", "old", 3);
    struct new_file file;
    assert_int_equal(new_file_open(&file, scratch_path(&scratch, "moon", path), NULL), PASSEL_OK);
    assert_int_equal(new_file_write(&file, "new", 3, NULL), PASSEL_OK);
    new_file_drop(&file);
    new_file_drop(&file);
    assert_content(path, "old");
    assert_int_equal(scratch_count(&scratch), 1);
    /* A zeroed-out one has descriptor 0, which is not its own. */
    if (fcntl(0, F_GETFD) == -1)
        assert_int_equal(open("/dev/null", O_RDONLY), 0);
    struct new_file zeroed;
    memset(&zeroed, 0, sizeof zeroed);
    new_file_drop(&zeroed);
    assert_int_not_equal(fcntl(0, F_GETFD), -1);
}

static void names_of_full_length_can_be_written(void **state)
{
    (void)state;
    char name[256], path[1024];
    memset(name, 'n', 255);
    name[255] = '\0';
    assert_int_equal(put(scratch_path(&scratch, name, path), "long", NULL), PASSEL_OK);
    assert_content(path, "long");
}

/* Each step that can fail: the old file stays, nothing is left beside it, the message names the file and the reason. */
static void failed_steps_leave_the_old_file(void **state)
{
    (void)state;
    int *const steps[] = { &fault.write, &fault.fsync, &fault.close, &fault.rename };
    char path[1024];
    scratch_write(&scratch, "moon", "old", 3);
    scratch_path(&scratch, "moon", path);
    for (size_t i = 0; i < 4; i++) {
        const long before = fail_memory_open();
        struct passel_error error = { PASSEL_OK, "" };
        fault.number = ENOSPC;
        *steps[i] = 0;
        assert_int_equal(put(path, "new", &error), PASSEL_BAD_DISK);
        no_faults();
        assert_int_equal(error.status, PASSEL_BAD_DISK);
        assert_non_null(strstr(error.text, path));
        assert_non_null(strstr(error.text, strerror(ENOSPC)));
        assert_content(path, "old");
        assert_int_equal(scratch_count(&scratch), 1);
        assert_int_equal(fail_memory_open(), before);
    }
}

static void full_disk_in_the_middle(void **state)
{
    (void)state;
    char path[1024];
    scratch_path(&scratch, "moon", path);
    fault.number = ENOSPC;
    fault.most = 3;
    fault.write = 2;
    assert_int_equal(put(path, "0123456789", NULL), PASSEL_BAD_DISK);
    assert_int_equal(scratch_count(&scratch), 0);
    struct new_file file;
    no_faults();
    assert_int_equal(new_file_open(&file, path, NULL), PASSEL_OK);
    fault.write = 0;
    assert_int_equal(new_file_write_at(&file, "x", 1, 5, NULL), PASSEL_BAD_DISK);
    new_file_drop(&file);
    assert_int_equal(scratch_count(&scratch), 0);
}

/* A limit of the system instead of a diverted call: files may not grow beyond 64 KiB. */
static void real_limit_of_the_system(void **state)
{
    (void)state;
    static char content[100001];
    char path[1024];
    memset(content, 'c', sizeof content - 1);
    struct rlimit before, limit;
    assert_int_equal(getrlimit(RLIMIT_FSIZE, &before), 0);
    limit = before;
    limit.rlim_cur = 65536;
    signal(SIGXFSZ, SIG_IGN);
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &limit), 0);
    struct passel_error error = { PASSEL_OK, "" };
    const enum passel_status status = put(scratch_path(&scratch, "big", path), content, &error);
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &before), 0);
    signal(SIGXFSZ, SIG_DFL);
    assert_int_equal(status, PASSEL_BAD_DISK);
    assert_non_null(strstr(error.text, strerror(EFBIG)));
    assert_int_equal(scratch_count(&scratch), 0);
}

static void short_and_interrupted_calls_are_completed(void **state)
{
    (void)state;
    char path[1024];
    scratch_path(&scratch, "moon", path);
    fault.most = 1;
    fault.interrupts = 3;
    assert_int_equal(put(path, "0123456789", NULL), PASSEL_OK);
    fault.interrupts = 3;
    assert_content(path, "0123456789");
    struct new_file file;
    assert_int_equal(new_file_open(&file, path, NULL), PASSEL_OK);
    fault.interrupts = 3;
    assert_int_equal(new_file_write_at(&file, "6789", 4, 6, NULL), PASSEL_OK);
    assert_int_equal(new_file_write_at(&file, "012345", 6, 0, NULL), PASSEL_OK);
    assert_int_equal(new_file_keep(&file, NULL), PASSEL_OK);
    assert_content(path, "0123456789");
}

struct part {
    struct new_file *file;
    int number;
    enum passel_status status;
};

static void *write_part(void *data)
{
    struct part *part = data;
    for (int row = 0; row < 200; row++) {
        char text[9];
        snprintf(text, sizeof text, "%03d-%03d\n", row, part->number);
        const uint64_t offset = (uint64_t)(row * 4 + part->number) * 8;
        const enum passel_status status = new_file_write_at(part->file, text, 8, offset, NULL);
        part->status = status != PASSEL_OK ? status : part->status;
    }
    return NULL;
}

static void threads_write_at_their_places(void **state)
{
    (void)state;
    char path[1024];
    struct new_file file;
    pthread_t threads[4];
    struct part parts[4];
    assert_int_equal(new_file_open(&file, scratch_path(&scratch, "rows", path), NULL), PASSEL_OK);
    for (int i = 0; i < 4; i++) {
        parts[i] = (struct part){ &file, i, PASSEL_OK };
        assert_int_equal(pthread_create(&threads[i], NULL, write_part, &parts[i]), 0);
    }
    for (int i = 0; i < 4; i++) {
        pthread_join(threads[i], NULL);
        assert_int_equal(parts[i].status, PASSEL_OK);
    }
    assert_int_equal(new_file_keep(&file, NULL), PASSEL_OK);
    char wanted[200 * 4 * 8 + 1];
    for (int i = 0; i < 800; i++)
        snprintf(wanted + 8 * i, 9, "%03d-%03d\n", i / 4, i % 4);
    assert_content(path, wanted);
}

static void *open_and_keep(void *data)
{
    struct part *part = data;
    char path[1024];
    for (int i = 0; i < 50 && part->status == PASSEL_OK; i++)
        part->status = put(scratch_path(&scratch, "same", path), part->number ? "one" : "two", NULL);
    return NULL;
}

/* Two writers of one name never share a temporary file: the name holds one content or the other. */
static void two_writers_of_one_name(void **state)
{
    (void)state;
    pthread_t threads[2];
    struct part parts[2];
    for (int i = 0; i < 2; i++) {
        parts[i] = (struct part){ NULL, i, PASSEL_OK };
        assert_int_equal(pthread_create(&threads[i], NULL, open_and_keep, &parts[i]), 0);
    }
    for (int i = 0; i < 2; i++) {
        pthread_join(threads[i], NULL);
        assert_int_equal(parts[i].status, PASSEL_OK);
    }
    assert_int_equal(scratch_count(&scratch), 1);
    char path[1024], *bytes;
    size_t size;
    assert_int_equal(file_read(scratch_path(&scratch, "same", path), 10, &bytes, &size, NULL), PASSEL_OK);
    assert_true(strcmp(bytes, "one") == 0 || strcmp(bytes, "two") == 0);
    memory_free(bytes);
}

static void offsets_beyond_the_machine_are_refused(void **state)
{
    (void)state;
    char path[1024];
    struct new_file file;
    assert_int_equal(new_file_open(&file, scratch_path(&scratch, "far", path), NULL), PASSEL_OK);
    assert_int_equal(new_file_write_at(&file, "x", 1, UINT64_MAX, NULL), PASSEL_BAD_DISK);
    assert_int_equal(new_file_write_at(&file, "x", 1, INT64_MAX, NULL), PASSEL_BAD_DISK);
    new_file_drop(&file);
}

/* Runs `call` as a user without rights, when this user has them all. */
static enum passel_status without_rights(enum passel_status (*call)(const char *, struct passel_error *),
                                         const char *path, struct passel_error *error)
{
    const uid_t user = geteuid();
    if (user == 0)
        assert_int_equal(seteuid(65534), 0);
    const enum passel_status status = call(path, error);
    if (user == 0)
        assert_int_equal(seteuid(user), 0);
    return status;
}

static enum passel_status put_x(const char *path, struct passel_error *error)
{
    return put(path, "x", error);
}

static void unwritable_folder(void **state)
{
    (void)state;
    char folder[1024], path[1024];
    scratch_path(&scratch, "locked", folder);
    assert_int_equal(mkdir(folder, 0555), 0);
    assert_int_equal(chmod(scratch.folder, 0755), 0);
    struct passel_error error = { PASSEL_OK, "" };
    scratch_path(&scratch, "locked/moon", path);
    assert_int_equal(without_rights(put_x, path, &error), PASSEL_NO_FILE);
    assert_non_null(strstr(error.text, path));
    assert_non_null(strstr(error.text, strerror(EACCES)));
    scratch_path(&scratch, "locked/deep/er", path);
    assert_int_equal(without_rights(folder_make, path, &error), PASSEL_NO_FILE);
    assert_non_null(strstr(error.text, "locked/deep"));
    assert_int_equal(access(path, F_OK), -1);
}

static void places_that_cannot_be_written(void **state)
{
    (void)state;
    char path[1024];
    scratch_write(&scratch, "file", "x", 1);
    assert_int_equal(put(scratch_path(&scratch, "none/moon", path), "x", NULL), PASSEL_NO_FILE);
    assert_int_equal(put(scratch_path(&scratch, "file/moon", path), "x", NULL), PASSEL_NO_FILE);
    assert_int_equal(put(scratch.folder, "x", NULL), PASSEL_NO_FILE);
    assert_int_equal(put("/proc/nothing/moon", "x", NULL), PASSEL_NO_FILE);
    /* Devices would be destroyed by a rename over them. */
    assert_int_equal(put("/dev/null", "x", NULL), PASSEL_UNSUPPORTED);
    struct stat facts;
    assert_int_equal(stat("/dev/null", &facts), 0);
    assert_true(S_ISCHR(facts.st_mode));
}

static void read_gives_all_and_a_nul(void **state)
{
    (void)state;
    static char content[300001];
    char path[1024], *bytes;
    size_t size;
    for (size_t i = 0; i < sizeof content; i++)
        content[i] = (char)(i * 31 % 251);
    static const size_t sizes[] = { 0, 1, 4095, 4096, 4097, 4098, 300001 };
    for (size_t i = 0; i < sizeof sizes / sizeof *sizes; i++) {
        scratch_write(&scratch, "data", content, sizes[i]);
        scratch_path(&scratch, "data", path);
        assert_int_equal(file_read(path, sizes[i], &bytes, &size, NULL), PASSEL_OK);
        assert_int_equal(size, sizes[i]);
        assert_memory_equal(bytes, content, size);
        assert_int_equal(bytes[size], 0);
        memory_free(bytes);
        if (sizes[i] > 0)
            assert_int_equal(file_read(path, sizes[i] - 1, &bytes, &size, NULL), PASSEL_UNSUPPORTED);
    }
    /* Files of /proc say that they are empty. */
    assert_int_equal(file_read("/proc/self/status", 1 << 20, &bytes, &size, NULL), PASSEL_OK);
    assert_true(size > 100);
    assert_memory_equal(bytes, "Name:", 5);
    memory_free(bytes);
    assert_int_equal(file_read("/proc/self/status", 100, &bytes, &size, NULL), PASSEL_UNSUPPORTED);
    assert_null(bytes);
    assert_int_equal(file_read("/dev/zero", 100000, &bytes, &size, NULL), PASSEL_UNSUPPORTED);
}

static void read_of_what_is_no_file(void **state)
{
    (void)state;
    char path[1024], *bytes;
    size_t size;
    struct passel_error error = { PASSEL_OK, "" };
    assert_int_equal(file_read(scratch_path(&scratch, "none", path), 10, &bytes, &size, &error), PASSEL_NO_FILE);
    assert_non_null(strstr(error.text, path));
    assert_null(bytes);
    assert_int_equal(file_read(scratch.folder, 10, &bytes, &size, &error), PASSEL_NO_FILE);
    assert_non_null(strstr(error.text, "folder"));
}

static void facts(void **state)
{
    (void)state;
    char path[1024];
    struct file_facts a, b;
    scratch_write(&scratch, "one", "12345", 5);
    assert_int_equal(file_facts(scratch_path(&scratch, "one", path), &a, NULL), PASSEL_OK);
    assert_int_equal(a.size, 5);
    assert_false(a.is_folder);
    assert_true(a.modified_ns > INT64_C(1500000000) * 1000000000);
    char other[1024];
    assert_int_equal(symlink(path, scratch_path(&scratch, "two", other)), 0);
    assert_int_equal(file_facts(other, &b, NULL), PASSEL_OK);
    assert_true(a.device == b.device && a.inode == b.inode);
    assert_int_equal(file_facts(scratch.folder, &b, NULL), PASSEL_OK);
    assert_true(b.is_folder && b.inode != a.inode);
    assert_int_equal(file_facts(scratch_path(&scratch, "none", path), &a, NULL), PASSEL_NO_FILE);
}

static void folders_are_made_with_their_parents(void **state)
{
    (void)state;
    char path[1024];
    struct file_facts found;
    assert_int_equal(folder_make(scratch_path(&scratch, "a/b//c/", path), NULL), PASSEL_OK);
    assert_int_equal(folder_make(path, NULL), PASSEL_OK);
    assert_int_equal(file_facts(scratch_path(&scratch, "a/b/c", path), &found, NULL), PASSEL_OK);
    assert_true(found.is_folder);
    assert_int_equal(folder_make("/", NULL), PASSEL_OK);
    assert_int_equal(folder_make(".", NULL), PASSEL_OK);
    assert_int_equal(folder_make("", NULL), PASSEL_NO_FILE);
    scratch_write(&scratch, "file", "x", 1);
    assert_int_equal(folder_make(scratch_path(&scratch, "file", path), NULL), PASSEL_NO_FILE);
    assert_int_equal(folder_make(scratch_path(&scratch, "file/below", path), NULL), PASSEL_NO_FILE);
}

static void names_come_sorted(void **state)
{
    (void)state;
    char path[1024], **names;
    size_t count;
    assert_int_equal(folder_list(scratch.folder, &names, &count, NULL), PASSEL_OK);
    assert_int_equal(count, 0);
    folder_free(names, count);
    for (int i = 0; i < 150; i++) {
        char name[16];
        snprintf(name, sizeof name, "f.%04d", i * 37 % 150);
        scratch_write(&scratch, name, "", 0);
    }
    scratch_write(&scratch, ".hidden", "", 0);
    scratch_write(&scratch, "\xC3\xA4", "", 0);
    assert_int_equal(folder_list(scratch.folder, &names, &count, NULL), PASSEL_OK);
    assert_int_equal(count, 152);
    assert_string_equal(names[0], ".hidden");
    assert_string_equal(names[1], "f.0000");
    assert_string_equal(names[150], "f.0149");
    assert_string_equal(names[151], "\xC3\xA4");
    folder_free(names, count);
    assert_int_equal(folder_list(scratch_path(&scratch, "none", path), &names, &count, NULL), PASSEL_NO_FILE);
    assert_int_equal(folder_list(scratch_path(&scratch, "f.0000", path), &names, &count, NULL), PASSEL_NO_FILE);
    assert_null(names);
}

static enum passel_status every_call(void *data)
{
    const char *path = data;
    char **names;
    size_t count, size;
    char *bytes;
    enum passel_status status = put(path, "moon", NULL);
    if (status == PASSEL_OK)
        status = file_read(path, 100, &bytes, &size, NULL);
    if (status == PASSEL_OK)
        memory_free(bytes);
    if (status == PASSEL_OK)
        status = folder_list(scratch.folder, &names, &count, NULL);
    if (status == PASSEL_OK)
        folder_free(names, count);
    char folder[1024];
    if (status == PASSEL_OK)
        status = folder_make(scratch_path(&scratch, "deep/er", folder), NULL);
    if (status == PASSEL_OK)
        assert_true(rmdir(folder) == 0 && rmdir(scratch_path(&scratch, "deep", folder)) == 0);
    return status;
}

static void failing_memory_leaves_nothing_behind(void **state)
{
    (void)state;
    char path[1024];
    scratch_write(&scratch, "other", "", 0);
    assert_true(fail_memory_each(every_call, (char *)scratch_path(&scratch, "moon", path)) >= 8);
    assert_int_equal(scratch_count(&scratch), 2);
}

static void assert_path(char *path, const char *wanted)
{
    assert_non_null(path);
    assert_string_equal(path, wanted);
    memory_free(path);
}

static void paths_are_joined(void **state)
{
    (void)state;
    assert_path(path_join("a/b", "c"), "a/b/c");
    assert_path(path_join("a/b/", "c"), "a/b/c");
    assert_path(path_join("/", "c"), "/c");
    assert_path(path_join("", "c"), "c");
    assert_path(path_join(".", "c"), "./c");
    assert_path(path_join("a", "/c"), "/c");
    assert_path(path_join("a", ""), "a/");
    fail_memory_at(1, true);
    assert_null(path_join("a", "b"));
    assert_null(path_join("", "b"));
    assert_null(path_folder("a"));
    fail_memory_never();
}

static void paths_are_split(void **state)
{
    (void)state;
    assert_path(path_folder("a/b/c"), "a/b");
    assert_path(path_folder("a//b"), "a");
    assert_path(path_folder("a/b/"), "a");
    assert_path(path_folder("c"), ".");
    assert_path(path_folder(""), ".");
    assert_path(path_folder("/c"), "/");
    assert_path(path_folder("/"), "/");
    assert_path(path_folder("//c"), "/");
}

static void extensions(void **state)
{
    (void)state;
    static const char *const pairs[][2] = {
        { "moon.1001.EXR", "exr" },
        { "a.b/moon", "" },
        { "moon.", "" },
        { "moon", "" },
        { "", "" },
        { "a/.png", "png" },
        { "x.abcdefghijklmno", "abcdefghijklmno" },
        { "x.abcdefghijklmnop", "" },
        { "x.\xC3\x84", "\xC3\x84" },
    };
    for (size_t i = 0; i < sizeof pairs / sizeof *pairs; i++) {
        char extension[16];
        path_extension(pairs[i][0], extension);
        assert_string_equal(extension, pairs[i][1]);
    }
}

#define SCRATCH_TEST(function) cmocka_unit_test_setup_teardown(function, enter, leave)

int main(void)
{
    const struct CMUnitTest tests[] = {
        SCRATCH_TEST(kept_file_is_in_its_place),
        SCRATCH_TEST(dropped_file_leaves_the_old_one),
        SCRATCH_TEST(names_of_full_length_can_be_written),
        SCRATCH_TEST(failed_steps_leave_the_old_file),
        SCRATCH_TEST(full_disk_in_the_middle),
        SCRATCH_TEST(real_limit_of_the_system),
        SCRATCH_TEST(short_and_interrupted_calls_are_completed),
        SCRATCH_TEST(threads_write_at_their_places),
        SCRATCH_TEST(two_writers_of_one_name),
        SCRATCH_TEST(offsets_beyond_the_machine_are_refused),
        SCRATCH_TEST(unwritable_folder),
        SCRATCH_TEST(places_that_cannot_be_written),
        SCRATCH_TEST(read_gives_all_and_a_nul),
        SCRATCH_TEST(read_of_what_is_no_file),
        SCRATCH_TEST(facts),
        SCRATCH_TEST(folders_are_made_with_their_parents),
        SCRATCH_TEST(names_come_sorted),
        SCRATCH_TEST(failing_memory_leaves_nothing_behind),
        cmocka_unit_test(paths_are_joined),
        cmocka_unit_test(paths_are_split),
        cmocka_unit_test(extensions),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
