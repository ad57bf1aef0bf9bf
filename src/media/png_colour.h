/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The colour chunks of PNG (W3C PNG Third Edition, 11.3.2), as bytes, in both directions. Passel reads and writes them
 * itself: libpng 1.6 knows no cICP, no negative chromaticity (the blue of ACES), and mixes what contradicts.
 */
#ifndef MEDIA_PNG_COLOUR_H
#define MEDIA_PNG_COLOUR_H

#include <stdbool.h>
#include <stddef.h>

#include "media/icc.h"

/* The chunks met in a file, by precedence: what stands first and can be followed wins, the others are ignored. */
enum colour_chunk { CHUNK_CICP, CHUNK_ICCP, CHUNK_SRGB, CHUNK_CHRM, CHUNK_GAMA, CHUNK_COUNT };
extern const char colour_chunk_names[CHUNK_COUNT][5];

struct chunk_bytes {
    unsigned char *bytes; /* NULL: the chunk is not there */
    size_t size;
};

struct png_colour {
    struct colour_claim claim;
    bool no_memory;     /* a profile could not be unpacked: nothing else counts */
    bool narrow;        /* cICP with the full range flag off: code = 16·2^(n-8) + value · 219·2^(n-8) */
    char unserved[120]; /* as in media_info */
};

/* A chunk that is damaged or cannot be followed (PQ, a profile of tables) gives way to the next in precedence, as the
 * standard has it for decoders that cannot use one; the first such is told in `unserved`. */
void png_colour_read(const struct chunk_bytes chunks[CHUNK_COUNT], struct png_colour *colour);

/* The chunks that say `encoding` and `primaries`: sRGB with its fallbacks for sRGB itself; cICP where H.273 has codes,
 * with gAMA and cHRM where these say the same; else gAMA and cHRM. False when PNG cannot say it. */
enum { CHUNK_BYTES = 32 };
struct new_chunk {
    unsigned char bytes[CHUNK_BYTES];
    size_t size; /* 0: is not written */
};
bool png_colour_write(struct encoding encoding, const struct primaries *primaries,
                      struct new_chunk chunks[CHUNK_COUNT]);

#endif
