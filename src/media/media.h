/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Files on one side, pictures on the other. A reader gives the values as the file stores them, scaled to 0 … 1 when
 * they are integers: still encoded, alpha as the file has it. Undoing an encoding, converting primaries and
 * premultiplying is the caller's part (picture/encoding.h, picture/primaries.h).
 */
#ifndef MEDIA_MEDIA_H
#define MEDIA_MEDIA_H

#include <passel/error.h>
#include <stdbool.h>
#include <stdint.h>

#include "picture/encoding.h"
#include "picture/picture.h"
#include "picture/primaries.h"

enum sample { SAMPLE_UINT, SAMPLE_HALF, SAMPLE_FLOAT };
enum alpha_form { ALPHA_NONE, ALPHA_STRAIGHT, ALPHA_PREMULTIPLIED };

/* What travels from the lock pass to the outputs. Texts are owned by the struct (metadata_release). */
struct metadata {
    bool has_time_code;
    uint32_t time_code[2]; /* SMPTE ST 12-1 as OpenEXR packs it: time and flags, user data */
    int32_t rate_num, rate_den; /* frames per second; 0, 0 when unknown */
    bool has_primaries;
    struct primaries primaries;
    char *owner;    /* or NULL */
    char *comments; /* or NULL */
};
void metadata_release(struct metadata *metadata);
enum passel_status metadata_copy(struct metadata *to, const struct metadata *from, struct passel_error *error);
/* The time code `frames` later at `rate` (drop-frame honoured; wraps at 24 h). */
void time_code_advance(uint32_t time_code[2], int32_t frames, int32_t rate_num, int32_t rate_den);

struct media_info {
    const char *format;        /* "OpenEXR", "PNG", "TIFF", "JPEG", "YUV4MPEG2" */
    const char *compression;   /* "zip", "deflate", … or NULL */
    struct rect display, data; /* data: where the file has pixels */
    double pixel_aspect;       /* width / height of a pixel; 1 when the file says nothing */
    unsigned planes;           /* what a read can give: HAS_RGB, HAS_RGBA or HAS_A (only an A channel was found) */
    enum sample sample;
    int bits;                  /* per sample as stored */
    bool whole;                /* rows only come all at once: read the whole data window in one call */
    int chunk_rows;            /* rows that are stored together; reading multiples from data.y0 wastes nothing */
    enum alpha_form alpha;
    bool has_encoding;
    struct encoding encoding;  /* what the file says of itself */
    bool has_primaries;
    struct primaries primaries;
    char unserved[120];        /* what the file says of its colour and Passel cannot follow, or "": for `probe`, `check` */
    struct metadata metadata;
    int32_t frame_count;       /* of a file that holds several (video); 1 otherwise; -1 unknown (a pipe) */
    char **channels;           /* all channel names of the chosen part, for `probe`; NULL-ended, owned by the reader */
    char **parts;              /* part names, NULL-ended, owned by the reader; NULL when the format has none */
};

/* What to take of a file that holds several pictures. Zeroed: the plain R, G, B, A (or Y) of the first part. */
struct media_choice {
    const char *channels; /* a layer: "lamp" takes lamp.R, lamp.G, lamp.B, lamp.A; or a single channel name */
    const char *part;     /* a part's name, or its number from 0 */
};

struct media_reader;

/* Finds the format by the first bytes and reads the header. The error names the file and, for a wrong choice, lists
 * what there is. Formats: OpenEXR, PNG, TIFF, JPEG, YUV4MPEG2 (also "-" and pipes, in order). */
enum passel_status media_open(const char *path, const struct media_choice *choice, struct media_reader **reader,
                              struct passel_error *error);
const struct media_info *media_info(const struct media_reader *reader);

/* How many values were not numbers or infinite; they were read as 0 and ± the largest half (65504). */
struct media_faults {
    uint64_t nan, infinite;
};

/* Reads the pixels of out->area (inside the data window) into its planes. `frame` counts from 0 (video; else 0). Adds
 * to *faults. Safe from several threads at once unless info.whole. */
enum passel_status media_read(struct media_reader *reader, int32_t frame, const struct picture *out,
                              struct media_faults *faults, struct passel_error *error);
void media_close(struct media_reader *reader); /* NULL is fine */

enum pixels { PIXELS_HALF, PIXELS_FLOAT, PIXELS_8, PIXELS_16 };

struct media_layer {
    const char *name; /* "" is the plain R, G, B, A; else the prefix before the dot */
    unsigned planes;
};

/* A file to be written. Values are written as given: for PNG the caller has already encoded them and made alpha
 * straight; the writer scales, clamps and rounds them (8 bit: with a fixed ordered dither). */
struct media_plan {
    struct rect display, data;
    double pixel_aspect;
    const struct media_layer *layers; /* PNG takes exactly one */
    int layer_count;
    enum pixels pixels;
    const char *compression;    /* none rle zips zip piz pxr24 b44 b44a; NULL: zip. PNG: NULL */
    struct encoding encoding;   /* said in the file where the format can (PNG: cICP or sRGB or gAMA) */
    struct primaries primaries; /* said in the file (EXR: chromaticities unless Rec.709; PNG: cICP or cHRM) */
    struct metadata metadata;
    const char *digest;         /* text kept in the header ("passel" attribute or tEXt chunk), or NULL */
};

struct media_writer;

/* Opens a temporary file beside `path`; the format comes from its extension (exr, png). */
enum passel_status media_create(const char *path, const struct media_plan *plan, struct media_writer **writer,
                                struct passel_error *error);
int media_writer_rows(const struct media_writer *writer); /* strips must be multiples of this, counted from data.y0 */

/* Writes rows area.y0 … y1 of all layers (rows[i] is layer i; full data width). Strips come in any order from any
 * thread, each row once; the last strip may be shorter. */
enum passel_status media_write(struct media_writer *writer, const struct picture *rows, struct passel_error *error);

/* Flushes, closes, renames: the file is whole. PASSEL_BAD_DISK when rows are missing. Frees the writer in any case; on
 * failure nothing is left behind. */
enum passel_status media_finish(struct media_writer *writer, struct passel_error *error);
void media_discard(struct media_writer *writer); /* deletes what was begun; NULL is fine */

/* The digest text that media_plan.digest put into a file (caller frees with memory_free), or NULL in *digest when the
 * file has none, is not whole, or cannot be read: checks that the file is complete (all chunks there). */
enum passel_status media_digest(const char *path, char **digest, struct passel_error *error);

#endif
