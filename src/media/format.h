/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What a file format offers to media.c, which finds the format, checks what all formats share and puts the file's name
 * before messages that lack it. A format is one constant struct; media.c lists them.
 */
#ifndef MEDIA_FORMAT_H
#define MEDIA_FORMAT_H

#include <stddef.h>

#include "media/media.h"

enum { PROBE_BYTES = 16 };

/* An open file at its start. Seekable: read from offset 0 on. A pipe: `head` has been taken off it and comes first. */
struct media_source {
    const char *path; /* "-" is standard input */
    int descriptor;   /* a format that wants to keep it sets -1 here; media.c closes what is left */
    bool seekable;
    uint64_t size; /* bytes; 0 when not seekable */
    unsigned char head[PROBE_BYTES];
    size_t head_size;
};

struct media_reader {
    const struct media_format *format;
    char *path;
    struct media_info info; /* filled by `open`; media.c gives back metadata, channels and parts (memory_free) */
    void *state;            /* the format's own */
};

struct media_format {
    const char *name;
    /* Is this the start of such a file? */
    bool (*probe)(const unsigned char *head, size_t size);
    /* Reads the header; fills reader->info (zeroed; pixel_aspect 1, frame_count 1 and `format` are set) and
     * reader->state. On failure it keeps nothing of its own; what it put into info is given back by media.c. */
    enum passel_status (*open)(struct media_reader *reader, struct media_source *source,
                               const struct media_choice *choice, struct passel_error *error);
    /* media_read; out->area is not empty and inside info.data (all of it when info.whole), frame is one there is. */
    enum passel_status (*read)(struct media_reader *reader, int32_t frame, const struct picture *out,
                               struct media_faults *faults, struct passel_error *error);
    void (*close)(struct media_reader *reader); /* gives `state` back */
    /* media_digest, or NULL when files of this format carry none. *digest is NULL before the call. */
    enum passel_status (*digest)(struct media_source *source, char **digest, struct passel_error *error);
};

struct media_writer {
    const struct media_output *output;
    char *path;
    struct rect data; /* of the plan */
    int rows;         /* set by `create`: media_writer_rows */
    void *state;
};

struct media_output {
    const char *extension; /* lower case, no dot */
    /* Opens the file. Keeps copies of what it needs of the plan. On failure nothing is left. */
    enum passel_status (*create)(struct media_writer *writer, const struct media_plan *plan,
                                 struct passel_error *error);
    enum passel_status (*write)(struct media_writer *writer, const struct picture *rows, struct passel_error *error);
    /* Both give `state` back in any case. */
    enum passel_status (*finish)(struct media_writer *writer, struct passel_error *error);
    void (*discard)(struct media_writer *writer);
};

/* NULL-ended lists of names, as in media_info. */
void names_free(char **names);
/* Appends a copy; *names may be NULL at first. PASSEL_NO_MEMORY leaves the list as it was. */
enum passel_status names_add(char ***names, const char *name, struct passel_error *error);

/* Puts 0 for NaN and ± the largest half for ± infinity, and counts them. */
void faults_repair(float *samples, size_t count, struct media_faults *faults);

extern const struct media_format format_exr, format_jpeg, format_png, format_tiff, format_yuv;
extern const struct media_output output_exr, output_png;

#endif
