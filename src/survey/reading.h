/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * One frame of a pass as linear light, for looking at: encoding undone, primaries and alpha as the file has them.
 */
#ifndef SURVEY_READING_H
#define SURVEY_READING_H

#include "media/media.h"
#include "picture/picture.h"

/* How a pass's files are to be read. */
struct reading_choice {
    struct media_choice media;
    bool has_encoding; /* the recipe says what the numbers mean; else the file does, else its format */
    struct encoding encoding;
    const char *primaries; /* that the recipe says, by name; or NULL: the file's, else BT.709's */
};

struct reading {
    struct picture picture;   /* R, G and B; area is the data window, counted from the top left of the display window;
                               * its planes are there when all of them were read */
    int32_t width, height;    /* of the display window */
    struct encoding encoding; /* that was undone */
    struct primaries primaries;
    bool said;          /* the file says its encoding itself */
    bool whole_numbers; /* the file stores integers: 1 is the largest there is */
    double rate;        /* frames a second that the file says, or 0 */
    bool has_time_code;
    uint32_t time_code;
    int32_t frames; /* of a movie; 1 otherwise */
    char format[16];
    struct media_faults faults;
};

/* Memory to read into from frame to frame, a thread's own; zeroed at first. */
struct reading_room {
    struct picture whole, rows;
};
void reading_room_release(struct reading_room *room);

/* A frame that is read from the top, a few rows at a time, so that they are looked at while they are at hand. */
struct reading_run {
    struct reading reading; /* its picture has no planes unless it is kept */
    struct picture rows;    /* what was read last: R, G and B, linear; area as that of the reading's picture */
    struct media_reader *reader;
    struct picture room; /* to read into, counted as the file does */
    int32_t frame, next, at_once;
};

/* Opens frame `frame` (from 0; of a movie) of a file. For reading_end, also after a failure; `room` is in use until
 * then. */
enum passel_status reading_begin(const char *path, int32_t frame, const struct reading_choice *choice, bool keep,
                                 struct reading_room *room, struct reading_run *run, struct passel_error *error);
/* Reads the next rows; their area is empty behind the last ones. */
enum passel_status reading_rows(struct reading_run *run, struct passel_error *error);
void reading_end(struct reading_run *run);

/* The header alone; no picture. */
enum passel_status reading_peek(const char *path, const struct reading_choice *choice, struct reading *reading,
                                struct passel_error *error);

#endif
