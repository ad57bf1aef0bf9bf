/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * passel draft: a first recipe from a folder of passes.
 */
#define _XOPEN_SOURCE 700 /* realpath */

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/file.h"
#include "base/memory.h"
#include "base/pool.h"
#include "command/command.h"
#include "survey/draft.h"

static const struct option options[] = {
    { "-o", "FILE", false, "write the recipe there; on standard output when not given" },
    { "--force", NULL, false, "write over a file that is there" },
    { "--threads", "N", false, "how many threads look; as many as the machine offers when not given" },
    { NULL, NULL, false, NULL },
};

/* The way from one folder to another, ended by a slash ("" for the same); for memory_free. */
static enum passel_status way_to(const char *from, const char *to, char **way, struct passel_error *error)
{
    char *a = realpath(from, NULL), *b = realpath(to, NULL);
    struct text text = { 0 };
    enum passel_status status = PASSEL_OK;
    if (a == NULL || b == NULL) {
        status = error_set(error, PASSEL_NO_FILE, "%s: no such folder", a == NULL ? from : to);
    } else {
        size_t same = 0;
        for (size_t i = 0;; i++) {
            const bool end_a = a[i] == '/' || a[i] == '\0', end_b = b[i] == '/' || b[i] == '\0';
            if (end_a && end_b)
                same = i;
            if (a[i] != b[i] || a[i] == '\0')
                break;
        }
        for (const char *c = a + same; *c != '\0' && strcmp(a, "/") != 0; c++)
            text_print(&text, *c == '/' && c[1] != '\0' ? "../" : "");
        const char *rest = b + same;
        rest += *rest == '/';
        text_print(&text, "%s%s", rest, *rest != '\0' ? "/" : "");
        if (text.failed)
            status = error_set(error, PASSEL_NO_MEMORY, "out of memory");
    }
    free(a);
    free(b);
    if (status == PASSEL_OK)
        *way = text.bytes;
    else
        text_release(&text);
    return status;
}

/* storm.passel names the shot storm; what cannot stand in a name becomes a dash. */
static void shot_name(const char *path, char name[64])
{
    const char *start = path != NULL && strrchr(path, '/') != NULL ? strrchr(path, '/') + 1 : path;
    size_t length = 0;
    for (; start != NULL && start[length] != '\0' && start[length] != '.' && length < 63; length++) {
        const char c = start[length];
        const bool letter = (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
        name[length] = letter || (length > 0 && c >= '0' && c <= '9') || c == '_' ? c : '-';
    }
    name[length] = '\0';
    if (length == 0 || name[0] == '-' || name[0] == '_')
        (void)snprintf(name, 64, "shot-1");
}

static enum passel_status draft_folder(const char *folder, const char *target, int threads, struct text *text,
                                       struct passel_error *error)
{
    struct clip_list clips = { 0 };
    struct portraits portraits = { 0 };
    char *home = path_folder(target != NULL ? target : "here"), *way = NULL, name[64];
    enum passel_status status = home != NULL ? PASSEL_OK : error_set(error, PASSEL_NO_MEMORY, "out of memory");
    if (status == PASSEL_OK)
        status = way_to(home, folder, &way, error);
    memory_free(home);
    RETURN_IF_ERROR(status);
    shot_name(target, name);
    GOTO_IF_ERROR(clips_find(folder, &clips, error), out_way);
    if (clips.skipped.length > 0)
        (void)fprintf(stderr, "not looked at (folders, and what is no picture by its name):\n%s", clips.skipped.bytes);
    if (clips.count == 0)
        GOTO_IF_ERROR(error_set(error, PASSEL_NO_FILE, "%s: no pictures in this folder", folder), out_clips);
    GOTO_IF_ERROR(portraits_take(&(struct portrait_wish){ folder, threads, 0, NULL }, &clips, &portraits, error),
                  out_clips);
    status = portraits_recognise(&portraits, error);
    if (status == PASSEL_OK)
        status = draft_write(&portraits, way, name, text, error);
    portraits_release(&portraits);
out_clips:
    clip_list_release(&clips);
out_way:
    memory_free(way);
    return status;
}

static enum passel_status write_file(const char *path, bool force, const struct text *text, struct passel_error *error)
{
    struct file_facts facts;
    if (!force && file_facts(path, &facts, NULL) == PASSEL_OK)
        return error_set(error, PASSEL_BAD_USE, "%s is there already; --force writes over it", path);
    return file_write(path, text->bytes, text->length, error);
}

static enum exit_code run(const struct call *call)
{
    const char *target = call_value(call, "-o");
    struct passel_error error = { 0 };
    struct file_facts facts;
    struct text text = { 0 };
    long threads;
    if (!call_number(call, "--threads", 1, 1024, machine_threads(), &threads))
        return EXIT_USE;
    if (target != NULL && !call_has(call, "--force") && file_facts(target, &facts, NULL) == PASSEL_OK) {
        (void)fprintf(stderr, "%s is there already; --force writes over it\n", target);
        return EXIT_USE;
    }
    enum passel_status status = draft_folder(call->arguments[0], target, (int)threads, &text, &error);
    if (status == PASSEL_OK && target != NULL)
        status = write_file(target, call_has(call, "--force"), &text, &error);
    else if (status == PASSEL_OK)
        (void)fwrite(text.bytes, 1, text.length, stdout);
    text_release(&text);
    return end_with(status, &error);
}

const struct command command_draft = {
    .name = "draft",
    .arguments = "FOLDER",
    .summary = "Writes a first recipe from a folder of passes.",
    .notes = "Looks at a few frames of each pass and takes it for lights off, one lamp, all lamps, a screen with or\n"
             "without a subject, an element on black, or a background: by what it shows, by its name only where that\n"
             "leaves doubt. The recipe renders as it stands and tells the reason of every guess.\n",
    .least_arguments = 1,
    .most_arguments = 1,
    .options = options,
    .run = run,
};
