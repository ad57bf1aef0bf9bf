/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Folders rather than files are watched (inotify), since many editors write a new file and rename it over the old one.
 */
#include "command/watch_folders.h"

#include <errno.h>
#include <poll.h>
#include <string.h>
#include <sys/inotify.h>
#include <unistd.h>

#include "base/error.h"
#include "base/file.h"
#include "base/memory.h"

#define EVENTS                                                                                                         \
    (IN_CLOSE_WRITE | IN_MOVED_TO | IN_MOVED_FROM | IN_CREATE | IN_DELETE | IN_DELETE_SELF | IN_MOVE_SELF | IN_ONLYDIR)
#define QUIET 40     /* milliseconds without an event: a save is through */
#define BUSY_MOST 25 /* that many events later it is looked at all the same */
#define LOOK 250     /* milliseconds after which a stop is noticed at the latest */

enum passel_status watch_folders_open(struct watch_folders *watch, struct passel_error *error)
{
    *watch = (struct watch_folders){ .descriptor = inotify_init1(IN_NONBLOCK | IN_CLOEXEC) };
    if (watch->descriptor < 0)
        return error_set(error, PASSEL_BAD_DISK, "folders cannot be watched: %s", strerror(errno));
    return PASSEL_OK;
}

void watch_folders_close(struct watch_folders *watch)
{
    if (watch->descriptor >= 0)
        (void)close(watch->descriptor);
    memory_free(watch->folders);
    *watch = (struct watch_folders){ .descriptor = -1 };
}

void watch_folders_begin(struct watch_folders *watch)
{
    for (int i = 0; i < watch->count; i++)
        watch->folders[i].wanted = false;
}

static enum passel_status want(struct watch_folders *watch, int number, struct passel_error *error)
{
    for (int i = 0; i < watch->count; i++) {
        if (watch->folders[i].number == number) {
            watch->folders[i].wanted = true;
            return PASSEL_OK;
        }
    }
    if (watch->count == watch->room) {
        const int room = watch->room > 0 ? 2 * watch->room : 8;
        struct watched_folder *folders =
            memory_grow(watch->folders, (size_t)watch->room, (size_t)room, sizeof *folders);
        if (folders == NULL)
            return error_set(error, PASSEL_NO_MEMORY, "out of memory");
        watch->folders = folders;
        watch->room = room;
    }
    watch->folders[watch->count++] = (struct watched_folder){ .number = number, .wanted = true };
    return PASSEL_OK;
}

enum passel_status watch_folders_add(struct watch_folders *watch, const char *path, struct passel_error *error)
{
    char *folder = path_join(".", path);
    enum passel_status status = folder != NULL ? PASSEL_OK : error_set(error, PASSEL_NO_MEMORY, "out of memory");
    while (status == PASSEL_OK) {
        const int number = inotify_add_watch(watch->descriptor, folder, EVENTS);
        if (number >= 0) {
            status = want(watch, number, error);
            break;
        }
        const bool gone = errno == ENOENT || errno == ENOTDIR;
        char *parent = gone ? path_folder(folder) : NULL;
        if (!gone)
            status = error_set(error, PASSEL_BAD_DISK, "%s: cannot be watched: %s", folder, strerror(errno));
        else if (parent == NULL)
            status = error_set(error, PASSEL_NO_MEMORY, "out of memory");
        else if (strcmp(parent, folder) == 0)
            status = error_set(error, PASSEL_NO_FILE, "%s: no such folder", path);
        memory_free(folder);
        folder = parent;
    }
    memory_free(folder);
    return status;
}

void watch_folders_end(struct watch_folders *watch)
{
    int kept = 0;
    for (int i = 0; i < watch->count; i++) {
        if (watch->folders[i].wanted)
            watch->folders[kept++] = watch->folders[i];
        else
            (void)inotify_rm_watch(watch->descriptor, watch->folders[i].number); /* it may be gone by itself */
    }
    watch->count = kept;
}

/* Takes all events that are there. Those of the files that a render is about to finish do not count. */
static bool take_events(const struct watch_folders *watch)
{
    union {
        struct inotify_event event; /* for its alignment */
        char bytes[8192];
    } buffer;
    bool any = false;
    for (;;) {
        const ssize_t size = read(watch->descriptor, buffer.bytes, sizeof buffer.bytes);
        if (size <= 0)
            return any;
        for (ssize_t i = 0; i < size;) {
            struct inotify_event event;
            memcpy(&event, buffer.bytes + i, sizeof event);
            const char *name = event.len > 0 ? buffer.bytes + i + sizeof event : "";
            any = any || (strncmp(name, ".passel-", 8) != 0 && (event.mask & IN_IGNORED) == 0);
            i += (ssize_t)(sizeof event + event.len);
        }
    }
}

bool watch_folders_wait(struct watch_folders *watch, const volatile int *stop)
{
    struct pollfd poll_on = { .fd = watch->descriptor, .events = POLLIN };
    bool happened = false;
    for (int busy = 0; __atomic_load_n(stop, __ATOMIC_RELAXED) == 0;) {
        const int ready = poll(&poll_on, 1, happened ? QUIET : LOOK);
        if (ready > 0) {
            happened = take_events(watch) || happened;
            busy += happened;
        }
        if (happened && (ready == 0 || busy > BUSY_MOST))
            return true;
    }
    return false;
}
