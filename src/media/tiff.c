/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * TIFF files in, through libtiff: grey and RGB of 8, 16 or 32 bit integers and 16 or 32 bit floats with or without
 * alpha, in strips or tiles, interleaved or planar. What is stored otherwise (palettes, Y'CbCr, fewer bits) goes
 * through libtiff's own conversion to 8 bit RGB; CMYK, Lab and logarithmic light are refused. The first picture of a
 * file is read.
 */
#include <limits.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <tiffio.h>

#include "base/error.h"
#include "base/memory.h"
#include "media/choice.h"
#include "media/cursor.h"
#include "media/format.h"
#include "media/icc.h"
#include "picture/half.h"

enum { SIDE_LIMIT = 1 << 20, SAMPLES_LIMIT = 64, BLOCK_LIMIT = 1 << 30 };
#define PIXEL_LIMIT ((uint64_t)1 << 31)

/* How the samples lie in the file. */
struct layout {
    uint32_t width, height;
    uint16_t samples, bits, kind, photometric, planar, orientation;
    bool converted; /* read by libtiff's own conversion */
    bool tiled;
    uint32_t tile_width, tile_height;
    uint16_t compression;
};

struct tiff_state {
    struct cursor cursor;
    struct channel_choice channels;
    struct layout layout;
    TIFF *tiff;
    char message[200]; /* libtiff's first complaint since it was last asked for something */
};

/* What libtiff calls */

static tmsize_t take_bytes(thandle_t handle, void *bytes, tmsize_t size)
{
    struct tiff_state *state = handle;
    return size > 0 ? (tmsize_t)cursor_read(&state->cursor, bytes, (size_t)size) : 0;
}

static tmsize_t give_bytes(thandle_t handle, void *bytes, tmsize_t size)
{
    (void)handle, (void)bytes, (void)size;
    return 0;
}

static toff_t seek(thandle_t handle, toff_t offset, int from)
{
    struct tiff_state *state = handle;
    const uint64_t base = from == SEEK_CUR ? state->cursor.at : from == SEEK_END ? state->cursor.size : 0;
    state->cursor.at = base + offset <= INT64_MAX ? base + offset : INT64_MAX;
    return state->cursor.at;
}

static int leave_open(thandle_t handle)
{
    (void)handle;
    return 0;
}

static toff_t size_of(thandle_t handle)
{
    const struct tiff_state *state = handle;
    return state->cursor.size;
}

static int keep_message(TIFF *tiff, void *data, const char *module, const char *format, va_list values)
{
    struct tiff_state *state = data;
    (void)tiff, (void)module;
    if (state->message[0] == '\0')
        vsnprintf(state->message, sizeof state->message, format, values);
    return 1;
}

static int keep_quiet(TIFF *tiff, void *data, const char *module, const char *format, va_list values)
{
    (void)tiff, (void)data, (void)module, (void)format, (void)values;
    return 1;
}

static enum passel_status complain(const struct tiff_state *state, const char *otherwise, struct passel_error *error)
{
    return cursor_error(&state->cursor, state->message[0] ? state->message : otherwise, error);
}

static enum passel_status tiff_begin(struct tiff_state *state, struct passel_error *error)
{
    TIFFOpenOptions *options = TIFFOpenOptionsAlloc();
    if (!options)
        return error_set(error, PASSEL_NO_MEMORY, "no memory to open it");
    TIFFOpenOptionsSetErrorHandlerExtR(options, keep_message, state);
    TIFFOpenOptionsSetWarningHandlerExtR(options, keep_quiet, state);
    TIFFOpenOptionsSetMaxSingleMemAlloc(options, BLOCK_LIMIT);
    /* Not mapped into memory ("m"): a file that shrinks meanwhile must not raise a signal. */
    state->tiff = TIFFClientOpenExt("picture", "rm", state, take_bytes, give_bytes, seek, leave_open, size_of, NULL,
                                    NULL, options);
    TIFFOpenOptionsFree(options);
    return state->tiff ? PASSEL_OK : complain(state, "it has no directory", error);
}

static void state_free(struct tiff_state *state)
{
    if (state->tiff)
        TIFFClose(state->tiff);
    cursor_close(&state->cursor);
    memory_free(state);
}

/* The header */

static uint16_t tag_16(TIFF *tiff, uint32_t tag)
{
    uint16_t value = 0;
    TIFFGetFieldDefaulted(tiff, tag, &value);
    return value;
}

static const char *photometric_name(uint16_t photometric)
{
    switch (photometric) {
    case PHOTOMETRIC_SEPARATED:
        return "CMYK";
    case PHOTOMETRIC_CIELAB:
    case PHOTOMETRIC_ICCLAB:
    case PHOTOMETRIC_ITULAB:
        return "Lab";
    case PHOTOMETRIC_LOGL:
    case PHOTOMETRIC_LOGLUV:
        return "logarithmic luminance";
    case PHOTOMETRIC_MASK:
        return "transparency mask";
    case PHOTOMETRIC_CFA:
        return "colour filter array";
    default:
        return NULL;
    }
}

static bool layout_direct(const struct layout *layout)
{
    const bool grey = layout->photometric == PHOTOMETRIC_MINISBLACK || layout->photometric == PHOTOMETRIC_MINISWHITE;
    const bool colour = layout->photometric == PHOTOMETRIC_RGB && layout->samples >= 3;
    const bool integer = layout->kind == SAMPLEFORMAT_UINT || layout->kind == SAMPLEFORMAT_VOID;
    if (!grey && !colour)
        return false;
    if (layout->kind == SAMPLEFORMAT_IEEEFP)
        return layout->bits == 16 || layout->bits == 32;
    return integer && (layout->bits == 8 || layout->bits == 16 || layout->bits == 32);
}

/* Does the header promise more than a file of this size can hold? Nothing is known of the rarer compressions. */
static bool size_untrue(const struct tiff_state *state)
{
    const struct layout *layout = &state->layout;
    const uint64_t bits = (uint64_t)layout->width * layout->height * layout->bits *
                          (layout->photometric == PHOTOMETRIC_YCBCR ? 1 : layout->samples);
    switch (layout->compression) {
    case COMPRESSION_NONE:
        return bits / 8 > state->cursor.size;
    case COMPRESSION_LZW: /* a string of 4096 bytes in 12 bits */
    case COMPRESSION_ADOBE_DEFLATE:
    case COMPRESSION_DEFLATE:
        return bits / 8 > (state->cursor.size + 1) * 2800;
    default:
        return false;
    }
}

static enum passel_status check_layout(struct tiff_state *state, struct passel_error *error)
{
    struct layout *layout = &state->layout;
    const char *refused = photometric_name(layout->photometric);
    char message[1024] = "";
    if (layout->width == 0 || layout->height == 0 || layout->samples == 0)
        return error_set(error, PASSEL_BAD_FILE, "is damaged: it has no pixels");
    if (layout->width > SIDE_LIMIT || layout->height > SIDE_LIMIT || layout->samples > SAMPLES_LIMIT ||
        (uint64_t)layout->width * layout->height > PIXEL_LIMIT)
        return error_set(error, PASSEL_UNSUPPORTED, "%lux%lu pixels of %d samples are too many",
                         (unsigned long)layout->width, (unsigned long)layout->height, layout->samples);
    if (size_untrue(state))
        return error_set(error, PASSEL_BAD_FILE, "is damaged: %lux%lu pixels cannot be in %llu bytes",
                         (unsigned long)layout->width, (unsigned long)layout->height,
                         (unsigned long long)state->cursor.size);
    if (refused)
        return error_set(error, PASSEL_UNSUPPORTED, "%s TIFF is not served", refused);
    if (layout->orientation < ORIENTATION_TOPLEFT || layout->orientation > ORIENTATION_BOTLEFT)
        return error_set(error, PASSEL_UNSUPPORTED, "TIFF orientation %d (rows stand upright) is not served",
                         layout->orientation);
    if (!TIFFIsCODECConfigured(layout->compression))
        return error_set(error, PASSEL_UNSUPPORTED, "TIFF compression %d is not served", layout->compression);
    if (layout->converted &&
        (layout->kind == SAMPLEFORMAT_IEEEFP || layout->kind == SAMPLEFORMAT_INT || layout->bits > 16))
        return error_set(error, PASSEL_UNSUPPORTED, "TIFF samples of %d bits (%s) are not served", layout->bits,
                         layout->kind == SAMPLEFORMAT_IEEEFP ? "float" : "integer");
    if (layout->converted && !TIFFRGBAImageOK(state->tiff, message))
        return error_set(error, PASSEL_UNSUPPORTED, "TIFF of this kind is not served: %s", message);
    return PASSEL_OK;
}

static enum passel_status read_layout(struct tiff_state *state, struct passel_error *error)
{
    TIFF *tiff = state->tiff;
    struct layout *layout = &state->layout;
    TIFFGetField(tiff, TIFFTAG_IMAGEWIDTH, &layout->width);
    TIFFGetField(tiff, TIFFTAG_IMAGELENGTH, &layout->height);
    layout->compression = tag_16(tiff, TIFFTAG_COMPRESSION);
    layout->photometric = tag_16(tiff, TIFFTAG_PHOTOMETRIC);
    if (layout->compression == COMPRESSION_JPEG && layout->photometric == PHOTOMETRIC_YCBCR)
        layout->converted = true;
    layout->samples = tag_16(tiff, TIFFTAG_SAMPLESPERPIXEL);
    layout->bits = tag_16(tiff, TIFFTAG_BITSPERSAMPLE);
    layout->kind = tag_16(tiff, TIFFTAG_SAMPLEFORMAT);
    layout->planar = tag_16(tiff, TIFFTAG_PLANARCONFIG);
    layout->orientation = tag_16(tiff, TIFFTAG_ORIENTATION);
    layout->tiled = TIFFIsTiled(tiff) != 0;
    if (layout->tiled) {
        TIFFGetField(tiff, TIFFTAG_TILEWIDTH, &layout->tile_width);
        TIFFGetField(tiff, TIFFTAG_TILELENGTH, &layout->tile_height);
    }
    layout->converted = layout->converted || !layout_direct(layout);
    return check_layout(state, error);
}

/* The first extra sample, when the file says it is alpha. */
static enum alpha_form read_alpha(const struct tiff_state *state)
{
    const int colours = state->layout.photometric == PHOTOMETRIC_RGB ? 3 : 1;
    uint16_t count = 0, *kinds = NULL;
    if (state->layout.converted || state->layout.samples <= colours ||
        !TIFFGetField(state->tiff, TIFFTAG_EXTRASAMPLES, &count, &kinds) || count == 0)
        return ALPHA_NONE;
    return kinds[0] == EXTRASAMPLE_ASSOCALPHA   ? ALPHA_PREMULTIPLIED
           : kinds[0] == EXTRASAMPLE_UNASSALPHA ? ALPHA_STRAIGHT
                                                : ALPHA_NONE;
}

static void read_profile(const struct tiff_state *state, struct media_info *info)
{
    uint32_t size = 0;
    void *profile = NULL;
    struct colour_claim claim;
    const char *why = NULL;
    if (!TIFFGetField(state->tiff, TIFFTAG_ICCPROFILE, &size, &profile) || size == 0)
        return;
    if (!icc_reduce(profile, size, &claim, &why)) {
        snprintf(info->unserved, sizeof info->unserved, "ICC profile %s", why);
        return;
    }
    info->has_encoding = claim.has_encoding;
    info->encoding = claim.encoding;
    info->has_primaries = claim.has_primaries;
    info->primaries = claim.primaries;
}

static const char *compression_name(uint16_t compression)
{
    const TIFFCodec *codec = TIFFFindCODEC(compression);
    return codec ? codec->name : NULL;
}

static void read_info(const struct tiff_state *state, struct media_info *info)
{
    const struct layout *layout = &state->layout;
    float across = 0, down = 0;
    info->compression = layout->compression == COMPRESSION_NONE ? NULL : compression_name(layout->compression);
    info->display = info->data = rect_of(0, 0, (int32_t)layout->width, (int32_t)layout->height);
    if (TIFFGetField(state->tiff, TIFFTAG_XRESOLUTION, &across) &&
        TIFFGetField(state->tiff, TIFFTAG_YRESOLUTION, &down) && across > 0 && down > 0 && down / across < 1e3f &&
        down / across > 1e-3f)
        info->pixel_aspect = (double)down / (double)across;
    const bool is_float = layout->kind == SAMPLEFORMAT_IEEEFP;
    info->sample = !is_float ? SAMPLE_UINT : layout->bits == 16 ? SAMPLE_HALF : SAMPLE_FLOAT;
    info->bits = layout->converted ? 8 : layout->bits;
    info->whole = true;
    info->chunk_rows = (int)layout->height;
    read_profile(state, info);
}

static enum passel_status tiff_open(struct media_reader *reader, struct media_source *source,
                                    const struct media_choice *choice, struct passel_error *error)
{
    struct tiff_state *state = memory_zeros(1, sizeof *state);
    if (!state)
        return error_set(error, PASSEL_NO_MEMORY, "no memory to open it");
    state->cursor.descriptor = -1;
    enum passel_status status;
    GOTO_IF_ERROR(cursor_take(&state->cursor, source, error), out_state);
    GOTO_IF_ERROR(tiff_begin(state, error), out_state);
    GOTO_IF_ERROR(read_layout(state, error), out_state);
    read_info(state, &reader->info);
    const bool colour = state->layout.converted || state->layout.photometric == PHOTOMETRIC_RGB;
    GOTO_IF_ERROR(channels_choose(choice, colour, read_alpha(state), &reader->info, &state->channels, error),
                  out_state);
    reader->state = state;
    return PASSEL_OK;
out_state:
    state_free(state);
    return status;
}

/* Pixels */

static void samples_from_integers(const unsigned char *bytes, size_t count, int bits, float *samples)
{
    if (bits == 8) {
        for (size_t i = 0; i < count; i++)
            samples[i] = (float)bytes[i] / 255.0f;
    } else if (bits == 16) {
        const uint16_t *words = (const uint16_t *)(const void *)bytes;
        for (size_t i = 0; i < count; i++)
            samples[i] = (float)words[i] / 65535.0f;
    } else {
        const uint32_t *words = (const uint32_t *)(const void *)bytes;
        for (size_t i = 0; i < count; i++)
            samples[i] = (float)((double)words[i] / 4294967295.0);
    }
}

/* `count` samples as the file stores them (in this machine's byte order, aligned) to floats. */
static void samples_convert(const struct layout *layout, const void *bytes, size_t count, float *samples,
                            struct media_faults *faults)
{
    if (layout->kind != SAMPLEFORMAT_IEEEFP)
        samples_from_integers(bytes, count, layout->bits, samples);
    else if (layout->bits == 16)
        half_to_float(bytes, samples, count);
    else
        memcpy(samples, bytes, count * sizeof *samples);
    if (layout->kind == SAMPLEFORMAT_IEEEFP)
        faults_repair(samples, count, faults);
}

/* What one walk over the file delivers: all samples of a pixel, or one of them when they are stored apart. */
struct walk {
    struct tiff_state *state;
    uint16_t sample;  /* which is asked of libtiff */
    size_t per_pixel; /* samples that come together */
    bool inverted;    /* the first of them is 0 for white */
    struct channel_choice channels;
    struct picture out; /* the planes that are fed */
    struct media_faults *faults;
    void *bytes;
    float *samples;
};

/* Where a stored row lies in the picture. */
static int32_t row_upright(const struct layout *layout, uint32_t y)
{
    const bool turned = layout->orientation == ORIENTATION_BOTLEFT || layout->orientation == ORIENTATION_BOTRIGHT;
    return (int32_t)(turned ? layout->height - 1 - y : y);
}

static void walk_deliver(const struct walk *walk, const void *bytes, uint32_t x, uint32_t y, size_t pixels)
{
    const struct layout *layout = &walk->state->layout;
    const size_t count = pixels * walk->per_pixel;
    samples_convert(layout, bytes, count, walk->samples, walk->faults);
    for (size_t i = 0; walk->inverted && i < count; i += walk->per_pixel)
        walk->samples[i] = 1.0f - walk->samples[i];
    channels_deliver(&walk->channels, walk->samples, walk->per_pixel, &walk->out, row_upright(layout, y), (int32_t)x,
                     pixels);
}

static bool walk_tiles(const struct walk *walk)
{
    const struct layout *layout = &walk->state->layout;
    const size_t row_bytes = (size_t)TIFFTileRowSize64(walk->state->tiff);
    for (uint32_t y = 0; y < layout->height; y += layout->tile_height) {
        for (uint32_t x = 0; x < layout->width; x += layout->tile_width) {
            if (TIFFReadTile(walk->state->tiff, walk->bytes, x, y, 0, walk->sample) < 0)
                return false;
            const uint32_t rows = layout->height - y < layout->tile_height ? layout->height - y : layout->tile_height;
            const uint32_t pixels = layout->width - x < layout->tile_width ? layout->width - x : layout->tile_width;
            for (uint32_t row = 0; row < rows; row++)
                walk_deliver(walk, (const char *)walk->bytes + row * row_bytes, x, y + row, pixels);
        }
    }
    return true;
}

static bool walk_rows(const struct walk *walk)
{
    const struct layout *layout = &walk->state->layout;
    for (uint32_t y = 0; y < layout->height; y++) {
        if (TIFFReadScanline(walk->state->tiff, walk->bytes, y, walk->sample) < 0)
            return false;
        walk_deliver(walk, walk->bytes, 0, y, layout->width);
    }
    return true;
}

static enum passel_status walk_run(struct walk *walk, struct passel_error *error)
{
    const struct layout *layout = &walk->state->layout;
    TIFF *tiff = walk->state->tiff;
    const uint64_t pixels = layout->tiled ? layout->tile_width : layout->width;
    const uint64_t size = layout->tiled ? TIFFTileSize64(tiff) : TIFFScanlineSize64(tiff);
    const uint64_t row = layout->tiled ? TIFFTileRowSize64(tiff) : size;
    if (size == 0 || size > BLOCK_LIMIT || pixels > BLOCK_LIMIT || row < pixels * walk->per_pixel * layout->bits / 8)
        return complain(walk->state, "its blocks have no sensible size", error);
    walk->bytes = memory_zeros(1, (size_t)size);
    walk->samples = memory_zeros((size_t)pixels, walk->per_pixel * sizeof(float));
    enum passel_status status = PASSEL_OK;
    if (!walk->bytes || !walk->samples)
        status = error_set(error, PASSEL_NO_MEMORY, "no memory to decode it");
    else if (!(layout->tiled ? walk_tiles(walk) : walk_rows(walk)))
        status = complain(walk->state, "its pixels cannot be decoded", error);
    memory_free(walk->bytes);
    memory_free(walk->samples);
    return status;
}

static enum passel_status read_together(struct tiff_state *state, const struct picture *out,
                                        struct media_faults *faults, struct passel_error *error)
{
    struct walk walk = { .state = state,
                         .per_pixel = state->layout.samples,
                         .inverted = state->layout.photometric == PHOTOMETRIC_MINISWHITE,
                         .channels = state->channels,
                         .out = *out,
                         .faults = faults };
    return walk_run(&walk, error);
}

static enum passel_status read_apart(struct tiff_state *state, const struct picture *out, struct media_faults *faults,
                                     struct passel_error *error)
{
    for (uint16_t sample = 0; sample < state->layout.samples; sample++) {
        bool wanted = false;
        struct walk walk = { .state = state,
                             .sample = sample,
                             .per_pixel = 1,
                             .inverted = sample == 0 && state->layout.photometric == PHOTOMETRIC_MINISWHITE,
                             .out = *out,
                             .faults = faults };
        for (int p = 0; p < PLANE_COUNT; p++) {
            if (state->channels.source[p] != sample)
                walk.out.plane[p] = NULL;
            wanted = wanted || walk.out.plane[p];
        }
        if (wanted)
            RETURN_IF_ERROR(walk_run(&walk, error));
    }
    for (int p = 0; p < PLANE_COUNT; p++)
        if (out->plane[p] && state->channels.source[p] < 0)
            picture_fill(out, (enum plane)p, out->area, 1.0f);
    return PASSEL_OK;
}

static void mirror_rows(const struct picture *out)
{
    for (int p = 0; p < PLANE_COUNT; p++) {
        for (int32_t y = out->area.y0; out->plane[p] && y < out->area.y1; y++) {
            float *left = picture_row(out, (enum plane)p, y), *right = left + rect_width(out->area) - 1;
            for (; left < right; left++, right--) {
                const float held = *left;
                *left = *right;
                *right = held;
            }
        }
    }
}

static enum passel_status read_converted(struct tiff_state *state, const struct picture *out,
                                         struct passel_error *error)
{
    const struct layout *layout = &state->layout;
    const size_t width = layout->width, height = layout->height;
    uint32_t *raster = memory_zeros(width * height, sizeof *raster);
    float *samples = memory_zeros(width, 3 * sizeof *samples);
    enum passel_status status = PASSEL_OK;
    if (!raster || !samples)
        status = error_set(error, PASSEL_NO_MEMORY, "no memory to decode it");
    else if (!TIFFReadRGBAImageOriented(state->tiff, layout->width, layout->height, raster, ORIENTATION_TOPLEFT, 1) ||
             state->message[0])
        status = complain(state, "its pixels cannot be decoded", error);
    for (size_t y = 0; status == PASSEL_OK && y < height; y++) {
        const uint32_t *row = raster + y * width;
        for (size_t x = 0; x < width; x++) {
            samples[3 * x] = (float)TIFFGetR(row[x]) / 255.0f;
            samples[3 * x + 1] = (float)TIFFGetG(row[x]) / 255.0f;
            samples[3 * x + 2] = (float)TIFFGetB(row[x]) / 255.0f;
        }
        channels_deliver(&state->channels, samples, 3, out, (int32_t)y, 0, width);
    }
    memory_free(raster);
    memory_free(samples);
    return status;
}

static enum passel_status tiff_read(struct media_reader *reader, int32_t frame, const struct picture *out,
                                    struct media_faults *faults, struct passel_error *error)
{
    (void)frame;
    struct tiff_state *state = reader->state;
    const uint16_t orientation = state->layout.orientation;
    state->message[0] = '\0';
    if (state->layout.converted)
        return read_converted(state, out, error);
    if (state->layout.planar == PLANARCONFIG_SEPARATE)
        RETURN_IF_ERROR(read_apart(state, out, faults, error));
    else
        RETURN_IF_ERROR(read_together(state, out, faults, error));
    if (orientation == ORIENTATION_TOPRIGHT || orientation == ORIENTATION_BOTRIGHT)
        mirror_rows(out);
    return PASSEL_OK;
}

static void tiff_close(struct media_reader *reader)
{
    state_free(reader->state);
}

/* Little- and big-endian, classic and BigTIFF. */
static bool tiff_probe(const unsigned char *head, size_t size)
{
    return size >= 8 && (memcmp(head, "II*\0", 4) == 0 || memcmp(head, "MM\0*", 4) == 0 ||
                         memcmp(head, "II+\0", 4) == 0 || memcmp(head, "MM\0+", 4) == 0);
}

const struct media_format format_tiff = {
    .name = "TIFF",
    .probe = tiff_probe,
    .open = tiff_open,
    .read = tiff_read,
    .close = tiff_close,
};
