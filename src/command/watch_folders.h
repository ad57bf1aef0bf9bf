/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Folders that are watched for files being written, renamed, deleted and made again.
 */
#ifndef COMMAND_WATCH_FOLDERS_H
#define COMMAND_WATCH_FOLDERS_H

#include <passel/error.h>
#include <stdbool.h>

struct watched_folder {
    int number; /* of the watch */
    bool wanted;
};

struct watch_folders {
    int descriptor;
    struct watched_folder *folders;
    int count, room;
};

enum passel_status watch_folders_open(struct watch_folders *watch, struct passel_error *error);
void watch_folders_close(struct watch_folders *watch);

/* Between begin and end every folder is named that is still of interest; the others are let go. For a folder that is
 * not there its nearest parent is watched, so that its coming is noticed. */
void watch_folders_begin(struct watch_folders *watch);
enum passel_status watch_folders_add(struct watch_folders *watch, const char *path, struct passel_error *error);
void watch_folders_end(struct watch_folders *watch);

/* Waits until something has happened and it is quiet again; false when `stop` was set meanwhile. */
bool watch_folders_wait(struct watch_folders *watch, const volatile int *stop);

#endif
