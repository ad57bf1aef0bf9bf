/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Code points are those of ITU-T H.273; numbers in chunks are big-endian. Transfer code 1 (and 6, 14, 15, the same
 * curve) is read as Rec.709's camera curve; 4 and 5 are pure powers of 2.2 and 2.8.
 */
#include "media/png_colour.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <zlib.h>

#include "base/memory.h"

const char colour_chunk_names[CHUNK_COUNT][5] = { "cICP", "iCCP", "sRGB", "cHRM", "gAMA" };

enum { PROFILE_LIMIT = 4 << 20, PROFILE_NAME_LIMIT = 79 };
#define CHUNK_UNIT 100000.0

static const struct coded_primaries {
    unsigned char code;
    struct primaries primaries;
} coded_primaries[] = {
    { 1, { { 0.64, 0.33 }, { 0.3, 0.6 }, { 0.15, 0.06 }, { 0.3127, 0.329 } } },
    { 5, { { 0.64, 0.33 }, { 0.29, 0.6 }, { 0.15, 0.06 }, { 0.3127, 0.329 } } },
    { 6, { { 0.63, 0.34 }, { 0.31, 0.595 }, { 0.155, 0.07 }, { 0.3127, 0.329 } } },
    { 7, { { 0.63, 0.34 }, { 0.31, 0.595 }, { 0.155, 0.07 }, { 0.3127, 0.329 } } },
    { 9, { { 0.708, 0.292 }, { 0.17, 0.797 }, { 0.131, 0.046 }, { 0.3127, 0.329 } } },
    { 11, { { 0.68, 0.32 }, { 0.265, 0.69 }, { 0.15, 0.06 }, { 0.314, 0.351 } } },
    { 12, { { 0.68, 0.32 }, { 0.265, 0.69 }, { 0.15, 0.06 }, { 0.3127, 0.329 } } },
};

/* When writing, the first row that fits is taken. */
static const struct coded_transfer {
    unsigned char code;
    struct encoding encoding;
} coded_transfers[] = {
    { 1, { ENCODING_REC709, 0 } },  { 4, { ENCODING_GAMMA, 2.2 } }, { 5, { ENCODING_GAMMA, 2.8 } },
    { 6, { ENCODING_REC709, 0 } },  { 8, { ENCODING_LINEAR, 0 } },  { 13, { ENCODING_SRGB, 0 } },
    { 14, { ENCODING_REC709, 0 } }, { 15, { ENCODING_REC709, 0 } },
};

#define LENGTH(array) (sizeof(array) / sizeof((array)[0]))

static uint32_t read_be32(const unsigned char *bytes)
{
    return (uint32_t)bytes[0] << 24 | (uint32_t)bytes[1] << 16 | (uint32_t)bytes[2] << 8 | bytes[3];
}

static void write_be32(unsigned char *bytes, uint32_t value)
{
    for (int i = 0; i < 4; i++)
        bytes[i] = (unsigned char)(value >> (24 - 8 * i));
}

/* Reading. Each row says whether it could be followed, and if not, why. */

static bool read_cicp(struct chunk_bytes chunk, struct png_colour *colour, char why[80])
{
    snprintf(why, 80, "is damaged");
    if (chunk.size != 4 || chunk.bytes[3] > 1)
        return false;
    for (size_t i = 0; i < LENGTH(coded_primaries); i++) {
        if (coded_primaries[i].code == chunk.bytes[0]) {
            colour->claim.primaries = coded_primaries[i].primaries;
            colour->claim.has_primaries = true;
        }
    }
    for (size_t i = 0; i < LENGTH(coded_transfers); i++) {
        if (coded_transfers[i].code == chunk.bytes[1]) {
            colour->claim.encoding = coded_transfers[i].encoding;
            colour->claim.has_encoding = true;
        }
    }
    colour->narrow = chunk.bytes[3] == 0;
    snprintf(why, 80, "%d %d %d %d is not served", chunk.bytes[0], chunk.bytes[1], chunk.bytes[2], chunk.bytes[3]);
    return colour->claim.has_primaries && colour->claim.has_encoding && chunk.bytes[2] == 0;
}

/* Inflates a profile of at most PROFILE_LIMIT bytes and reduces it. */
static bool profile_reduce(const unsigned char *packed, size_t size, struct png_colour *colour, const char **why)
{
    unsigned char *profile = memory_new(PROFILE_LIMIT);
    uLongf length = PROFILE_LIMIT;
    colour->no_memory = !profile;
    const bool done = profile && uncompress(profile, &length, packed, (uLong)size) == Z_OK &&
                      icc_reduce(profile, length, &colour->claim, why);
    memory_free(profile);
    return done;
}

static bool read_iccp(struct chunk_bytes chunk, struct png_colour *colour, char why[80])
{
    snprintf(why, 80, "is damaged");
    const unsigned char *end = memchr(chunk.bytes, 0, chunk.size);
    if (!end || end == chunk.bytes || end - chunk.bytes > PROFILE_NAME_LIMIT)
        return false;
    const size_t before = (size_t)(end - chunk.bytes) + 2; /* name, NUL, method */
    if (chunk.size <= before || end[1] != 0)
        return false;
    const char *reason = "is damaged";
    const bool done = profile_reduce(chunk.bytes + before, chunk.size - before, colour, &reason);
    snprintf(why, 80, "%s", reason);
    return done;
}

static bool read_srgb(struct chunk_bytes chunk, struct png_colour *colour, char why[80])
{
    snprintf(why, 80, "is damaged");
    if (chunk.size != 1 || chunk.bytes[0] > 3)
        return false;
    colour->claim = (struct colour_claim){ true, { ENCODING_SRGB, 0 }, true, coded_primaries[0].primaries };
    return true;
}

static bool read_chrm(struct chunk_bytes chunk, struct png_colour *colour, char why[80])
{
    snprintf(why, 80, "is damaged");
    if (chunk.size != 32)
        return false;
    double xy[8], matrix[9];
    for (size_t i = 0; i < 8; i++)
        xy[i] = (int32_t)read_be32(chunk.bytes + 4 * i) / CHUNK_UNIT;
    const struct primaries read = {
        { xy[2], xy[3] },
        { xy[4], xy[5] },
        { xy[6], xy[7] },
        { xy[0], xy[1] },
    };
    snprintf(why, 80, "has impossible primaries");
    if (!primaries_to_xyz(&read, matrix))
        return false;
    colour->claim.primaries = read;
    colour->claim.has_primaries = true;
    return true;
}

/* 100000 / value, or the power of three decimals that would be written as the same number (45455 is 2.2). */
static double gamma_of(uint32_t value)
{
    const double power = CHUNK_UNIT / value;
    const double rounded = floor(power * 1000 + 0.5) / 1000;
    return floor(CHUNK_UNIT / rounded + 0.5) == value ? rounded : power;
}

static bool read_gama(struct chunk_bytes chunk, struct png_colour *colour, char why[80])
{
    snprintf(why, 80, "is damaged");
    if (chunk.size != 4)
        return false;
    const uint32_t value = read_be32(chunk.bytes);
    if (value < 10000 || value > 1000000) {
        snprintf(why, 80, "%lu is not served", (unsigned long)value);
        return false;
    }
    const bool linear = value == 100000;
    colour->claim.encoding =
        (struct encoding){ linear ? ENCODING_LINEAR : ENCODING_GAMMA, linear ? 0 : gamma_of(value) };
    colour->claim.has_encoding = true;
    return true;
}

void png_colour_read(const struct chunk_bytes chunks[CHUNK_COUNT], struct png_colour *colour)
{
    static bool (*const readers[CHUNK_COUNT])(struct chunk_bytes, struct png_colour *, char[80]) = {
        read_cicp, read_iccp, read_srgb, read_chrm, read_gama,
    };
    memset(colour, 0, sizeof *colour);
    for (int i = 0; i < CHUNK_COUNT; i++) {
        struct png_colour tried = *colour;
        char why[80];
        if (!chunks[i].bytes)
            continue;
        if (readers[i](chunks[i], &tried, why)) {
            *colour = tried;
            if (i <= CHUNK_SRGB)
                return;
        } else if (tried.no_memory) {
            colour->no_memory = true;
            return;
        } else if (colour->unserved[0] == '\0') {
            snprintf(colour->unserved, sizeof colour->unserved, "%s %s", colour_chunk_names[i], why);
        }
    }
}

/* Writing */

static int primaries_code(const struct primaries *primaries)
{
    for (size_t i = 0; i < LENGTH(coded_primaries); i++)
        if (primaries_same(primaries, &coded_primaries[i].primaries))
            return coded_primaries[i].code;
    return 0;
}

static int transfer_code(struct encoding encoding)
{
    for (size_t i = 0; i < LENGTH(coded_transfers); i++)
        if (encoding_same(encoding, coded_transfers[i].encoding))
            return coded_transfers[i].code;
    return 0;
}

/* The number for gAMA, or 0 when the curve is not a pure power that it can say. */
static uint32_t gama_value(struct encoding encoding)
{
    switch (encoding.curve) {
    case ENCODING_LINEAR:
        return 100000;
    case ENCODING_BT1886:
        return 41667;
    case ENCODING_GAMMA:
        return encoding.gamma >= 0.1 && encoding.gamma <= 10 ? (uint32_t)(CHUNK_UNIT / encoding.gamma + 0.5) : 0;
    default:
        return 0;
    }
}

static void write_gama(struct new_chunk *chunk, uint32_t value)
{
    write_be32(chunk->bytes, value);
    chunk->size = 4;
}

static void write_chrm(struct new_chunk *chunk, const struct primaries *primaries)
{
    const double xy[8] = { primaries->white[0], primaries->white[1], primaries->red[0],  primaries->red[1],
                           primaries->green[0], primaries->green[1], primaries->blue[0], primaries->blue[1] };
    for (size_t i = 0; i < 8; i++)
        write_be32(chunk->bytes + 4 * i, (uint32_t)(int32_t)floor(xy[i] * CHUNK_UNIT + 0.5));
    chunk->size = 32;
}

bool png_colour_write(struct encoding encoding, const struct primaries *primaries, struct new_chunk chunks[CHUNK_COUNT])
{
    memset(chunks, 0, CHUNK_COUNT * sizeof *chunks);
    const int colour = primaries_code(primaries), transfer = transfer_code(encoding);
    const uint32_t gama = gama_value(encoding);
    write_chrm(&chunks[CHUNK_CHRM], primaries);
    if (encoding.curve == ENCODING_SRGB && colour == 1) {
        chunks[CHUNK_SRGB] = (struct new_chunk){ { 0 }, 1 };
        write_gama(&chunks[CHUNK_GAMA], 45455);
        return true;
    }
    if (gama)
        write_gama(&chunks[CHUNK_GAMA], gama);
    if (!colour || !transfer)
        return gama != 0;
    chunks[CHUNK_CICP] = (struct new_chunk){ { (unsigned char)colour, (unsigned char)transfer, 0, 1 }, 4 };
    return true;
}
