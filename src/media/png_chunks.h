/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The row of chunks that a PNG file is, without decoding its picture.
 */
#ifndef MEDIA_PNG_CHUNKS_H
#define MEDIA_PNG_CHUNKS_H

#include <passel/error.h>

#include "media/format.h"

/* The keyword of the tEXt chunk that holds media_plan.digest. */
#define PNG_DIGEST_KEYWORD "passelDigest"

/* media_format.digest: every chunk up to IEND must be complete, and right by its checksum unless it is picture data,
 * which is skipped: a text from a file that is not whole does not count. */
enum passel_status png_chunks_digest(struct media_source *source, char **digest, struct passel_error *error);

#endif
