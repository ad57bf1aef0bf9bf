/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * DWAA, DWAB and luminance/chroma files. The library's core does not decode them; its RGBA interface does, as halves
 * and in lines from the top, so such files are read whole.
 */
#include "media/exr.h"

#include "base/error.h"
#include "base/memory.h"
#include "picture/half.h"

#include <OpenEXR/ImfCRgbaFile.h>
#include <string.h>
#include <unistd.h>

enum {
    STRIP_ROWS = 256,
    MULTI_PART = 0x1000, /* flag in the second word of a file */
    MOST_NAME = 256,     /* with the NUL */
    MOST_TILE = 1 << 24, /* pixels */
};

/* Checks before the interface is called: it makes room for whatever a header claims. */

static size_t bytes_at(const struct exr_file *file, uint64_t offset, unsigned char *bytes, size_t most)
{
    size_t done = 0;
    for (ssize_t got = 1; done < most && got > 0; done += got > 0 ? (size_t)got : 0)
        got = pread(file->descriptor, bytes + done, most - done, (off_t)(offset + done));
    return done;
}

static uint32_t word_of(const unsigned char *bytes)
{
    return (uint32_t)bytes[0] | (uint32_t)bytes[1] << 8 | (uint32_t)bytes[2] << 16 | (uint32_t)bytes[3] << 24;
}

/* Steps over one attribute: name, type, size, value. At the end of a header *offset moves by one byte and *end is set.
 * False when the file is shorter than what it says. */
static bool attribute_fits(const struct exr_file *file, uint64_t *offset, bool *end)
{
    unsigned char bytes[2 * MOST_NAME + 4];
    const size_t there = bytes_at(file, *offset, bytes, sizeof bytes);
    *end = there > 0 && bytes[0] == 0;
    if (*end) {
        *offset += 1;
        return true;
    }
    const size_t name = strnlen((const char *)bytes, there) + 1;
    const size_t type = name < there ? strnlen((const char *)bytes + name, there - name) + 1 : there;
    if (name + type + 4 > there)
        return false;
    *offset += name + type + 4 + word_of(bytes + name + type);
    return *offset <= file->size;
}

/* Walks the headers of all parts. */
static bool headers_fit(const struct exr_file *file)
{
    unsigned char start[8];
    uint64_t offset = sizeof start;
    if (bytes_at(file, 0, start, sizeof start) != sizeof start)
        return false;
    const bool several = (word_of(start + 4) & MULTI_PART) != 0;
    for (bool end = false, ended = false;; ended = end) {
        if (!attribute_fits(file, &offset, &end))
            return false;
        if (end && (!several || ended))
            return true;
    }
}

static bool tiles_fit(const struct exr_reader *reader)
{
    uint32_t width, height;
    exr_tile_level_mode_t levels;
    exr_tile_round_mode_t rounding;
    if (reader->chosen.storage != EXR_STORAGE_TILED)
        return true;
    return exr_get_tile_descriptor(reader->file.context, reader->chosen.part, &width, &height, &levels, &rounding) ==
               EXR_ERR_SUCCESS &&
           (uint64_t)width * height <= MOST_TILE;
}

/* The interface addresses pixels from the origin of the picture, which mostly lies outside the strip in memory. */
static ImfRgba *origin_of(ImfRgba *strip, struct rect area)
{
    const intptr_t pixels = (intptr_t)area.y0 * rect_width(area) + area.x0;
    return (ImfRgba *)((uintptr_t)strip - (uintptr_t)(pixels * (intptr_t)sizeof *strip));
}

static void part_planes(const ImfRgba *from, ImfHalf *to, int plane, size_t count)
{
    for (size_t i = 0; i < count; i++)
        to[i] = plane == PLANE_R ? from[i].r : plane == PLANE_G ? from[i].g : plane == PLANE_B ? from[i].b : from[i].a;
}

static void strip_to_planes(const ImfRgba *strip, ImfHalf *halves, struct rect area, const struct picture *out,
                            struct media_faults *faults)
{
    const size_t width = (size_t)rect_width(area);
    for (int32_t y = area.y0; y < area.y1; y++)
        for (int p = 0; p < PLANE_COUNT; p++)
            if (out->plane[p] != NULL) {
                float *row = picture_row(out, (enum plane)p, y);
                part_planes(strip + (size_t)(y - area.y0) * width, halves, p, width);
                if (half_to_float(halves, row, width))
                    faults_repair(row, width, faults);
            }
}

static enum passel_status read_strips(ImfInputFile *file, ImfRgba *strip, ImfHalf *halves, const struct picture *out,
                                      struct media_faults *faults, struct passel_error *error)
{
    struct rect area = out->area;
    const size_t width = (size_t)rect_width(area);
    for (int32_t y = out->area.y0; y < out->area.y1; y += STRIP_ROWS) {
        area.y0 = y;
        area.y1 = y + STRIP_ROWS < out->area.y1 ? y + STRIP_ROWS : out->area.y1;
        if (!ImfInputSetFrameBuffer(file, origin_of(strip, area), 1, width) ||
            !ImfInputReadPixels(file, area.y0, area.y1 - 1))
            return error_set(error, PASSEL_BAD_FILE, "%s (rows %d to %d cannot be decoded)",
                             passel_status_text(PASSEL_BAD_FILE), area.y0, area.y1 - 1);
        strip_to_planes(strip, halves, area, out, faults);
    }
    return PASSEL_OK;
}

static bool same_window(ImfInputFile *file, struct rect data)
{
    int x0, y0, x1, y1;
    ImfHeaderDataWindow(ImfInputHeader(file), &x0, &y0, &x1, &y1);
    return rect_same(data, rect_of(x0, y0, x1 + 1, y1 + 1));
}

static enum passel_status open_and_read(const char *path, ImfRgba *strip, ImfHalf *halves, const struct picture *out,
                                        struct media_faults *faults, struct passel_error *error)
{
    enum passel_status status = PASSEL_BAD_FILE;
    ImfInputFile *file = ImfOpenInputFile(path);
    if (file != NULL && same_window(file, out->area))
        status = read_strips(file, strip, halves, out, faults, error);
    else
        error_set(error, status, "%s (its header)", passel_status_text(status));
    if (file != NULL)
        ImfCloseInputFile(file);
    return status;
}

enum passel_status exr_rgba_read(const struct media_reader *reader, const struct picture *out,
                                 struct media_faults *faults, struct passel_error *error)
{
    const struct exr_reader *state = reader->state;
    const size_t width = (size_t)rect_width(out->area), height = (size_t)rect_height(out->area);
    if (!headers_fit(&state->file) || !tiles_fit(state))
        return error_set(error, PASSEL_BAD_FILE, "%s (its header)", passel_status_text(PASSEL_BAD_FILE));
    ImfRgba *strip = memory_zeros(width * (height < STRIP_ROWS ? height : STRIP_ROWS), sizeof *strip);
    ImfHalf *halves = memory_zeros(width, sizeof *halves);
    enum passel_status status = PASSEL_NO_MEMORY;
    if (strip != NULL && halves != NULL)
        status = open_and_read(reader->path, strip, halves, out, faults, error);
    else
        error_set(error, status, "memory is out");
    memory_free(halves);
    memory_free(strip);
    return status;
}
