/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What the files of the OpenEXR reader and writer share. The library's C interface (openexr.h) does the container and
 * most codecs; ZIP and ZIPS go through libdeflate (exr_zip.c); DWA and luminance/chroma through the library's other C
 * interface (exr_rgba.c).
 */
#ifndef MEDIA_EXR_H
#define MEDIA_EXR_H

#include <OpenEXR/openexr.h>
#include <pthread.h>
#include <stdatomic.h>

#include "media/format.h"

/* Name of the text attribute that keeps media_plan.digest. */
#define EXR_DIGEST "passelDigest"

/* exr_file.c: an open file as the library sees it */

struct exr_file {
    exr_context_t context;
    int descriptor;
    uint64_t size;
    atomic_bool disk_failed;    /* a read failed that is not the end of the file */
    struct passel_error *heard; /* while opening: what the library says goes here */
};

/* Takes the source's descriptor. On failure nothing is open. `file` must not move afterwards. */
enum passel_status exr_file_open(struct exr_file *file, struct media_source *source, struct passel_error *error);
void exr_file_close(struct exr_file *file);
/* "bad chunk (rows 16 and on)" and the like, with the status that fits the library's result. */
enum passel_status exr_file_error(const struct exr_file *file, exr_result_t result, int32_t row,
                                  struct passel_error *error);
/* Refuses a part that is too large, or so large that this file cannot hold it. */
enum passel_status exr_file_plausible(const struct exr_file *file, int part, struct passel_error *error);
bool exr_chunk_plausible(const exr_chunk_info_t *chunk);
/* Makes a pipeline's buffer hold at least `size` bytes; what it held is lost. */
exr_result_t exr_reserve(void **buffer, size_t *room, size_t size);

/* exr_header.c: what a part holds and which of it was chosen */

struct exr_chosen {
    int part;
    exr_storage_t storage;
    exr_compression_t compression;
    const exr_attr_chlist_t *channels;
    int source[PLANE_COUNT];        /* the channel that feeds each plane, or -1 */
    bool through_rgba;              /* must be read through the library's RGBA interface */
    int32_t tile_width, chunk_rows; /* tile_width: of the picture when it is stored in lines */
    int32_t row_reach;              /* a stored line stands for this many rows (sub-sampled channels) */
};

enum passel_status exr_choose(const struct exr_file *file, const struct media_choice *choice, struct exr_chosen *chosen,
                              struct media_info *info, struct passel_error *error);

/* exr_read.c, exr_rgba.c */

struct exr_reader {
    struct exr_file file;
    struct exr_chosen chosen;
    pthread_mutex_t lock;    /* guards `idle` */
    struct exr_worker *idle; /* pipelines that no call is using */
};

/* Reads the whole data window through the RGBA interface. */
enum passel_status exr_rgba_read(const struct media_reader *reader, const struct picture *out,
                                 struct media_faults *faults, struct passel_error *error);

/* exr_zip.c: the arithmetic around zlib in ZIP and ZIPS chunks */

/* Undoes byte differences and puts the two halves of `from` (even and odd bytes) together. */
void exr_zip_join(const uint8_t *from, uint8_t *to, size_t size);
/* The reverse: even bytes, then odd ones, then differences. */
void exr_zip_split(const uint8_t *from, uint8_t *to, size_t size);

#endif
