/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "command/sheet.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "base/file.h"
#include "base/memory.h"
#include "base/text.h"
#include "command/letters.h"
#include "media/media.h"
#include "media/sequence.h"
#include "picture/encoding.h"

#define GAP 16
#define DOT 2
#define LABEL (DOT * LETTER_ROWS + 8) /* height of a line of text */
#define CELL_MOST 640                 /* wider frames are reduced */
#define PAGE 1.41421356               /* width / height of a page on its side */
#define GROUND 0.13F                  /* code values */
#define INK 0.8F

static const struct encoding srgb = { .curve = ENCODING_SRGB };

struct sheet {
    struct picture picture; /* code values of sRGB */
    int32_t width, height;  /* of a cell's picture */
    int reduction;          /* of the frames */
    int count, columns;
};

/* A frame's code values, alpha undone over the ground. `picture` is for picture_release. */
static enum passel_status read_frame(const char *pattern, int32_t frame, struct picture *picture)
{
    char *path = pattern_path(pattern, frame);
    struct media_reader *reader = NULL;
    struct media_faults faults = { 0 };
    struct passel_error unsaid = { 0 };
    enum passel_status status = PASSEL_NO_MEMORY;
    *picture = (struct picture){ 0 };
    if (path != NULL)
        status = media_open(path, &(struct media_choice){ 0 }, &reader, &unsaid);
    if (status == PASSEL_OK) {
        const struct media_info *info = media_info(reader);
        status = picture_new(picture, info->display, info->planes, &unsaid);
        if (status == PASSEL_OK)
            status = media_read(reader, 0, picture, &faults, &unsaid);
        if (status != PASSEL_OK)
            picture_release(picture);
    }
    media_close(reader);
    memory_free(path);
    return status;
}

/* Which of `count` frames is the k-th of those that are chosen. */
static int chosen(int k, int count)
{
    const int most = count < SHEET_MOST ? count : SHEET_MOST;
    return (int)((int64_t)count * (2 * k + 1) / (2 * most));
}

/* The number of columns that comes nearest to the form of a page. */
static int columns_for(int count, int32_t width, int32_t height)
{
    int best = 1;
    double least = INFINITY;
    for (int columns = 1; columns <= count; columns++) {
        const int rows = (count + columns - 1) / columns;
        const double form = (double)columns * (width + GAP) / ((double)rows * (height + LABEL + GAP) + LABEL);
        const double off = fabs(log(form / PAGE)) + 0.05 * (columns * rows - count);
        if (off < least) {
            least = off;
            best = columns;
        }
    }
    return best;
}

static enum passel_status sheet_begin(struct sheet *sheet, int count, struct rect frame, struct passel_error *error)
{
    sheet->reduction = (rect_width(frame) + CELL_MOST - 1) / CELL_MOST;
    sheet->width = rect_width(frame) / sheet->reduction;
    sheet->height = rect_height(frame) / sheet->reduction > 0 ? rect_height(frame) / sheet->reduction : 1;
    sheet->count = count;
    sheet->columns = columns_for(count, sheet->width, sheet->height);
    const int32_t rows = (count + sheet->columns - 1) / sheet->columns;
    const int32_t width = sheet->columns * (sheet->width + GAP) + GAP;
    const int32_t height = rows * (sheet->height + LABEL + GAP) + LABEL + 2 * GAP;
    RETURN_IF_ERROR(picture_new(&sheet->picture, rect_of(0, 0, width, height), HAS_RGB, error));
    for (int p = 0; p < PLANE_A; p++)
        picture_fill(&sheet->picture, (enum plane)p, sheet->picture.area, GROUND);
    return PASSEL_OK;
}

/* Code values → light over the ground; alpha stays. */
static void lay_on_ground(const struct picture *frame)
{
    const size_t width = (size_t)rect_width(frame->area);
    float ground = GROUND;
    encoding_undo(srgb, &ground, 1);
    for (int p = 0; p < PLANE_A; p++) {
        for (int32_t y = frame->area.y0; y < frame->area.y1 && frame->plane[p] != NULL; y++) {
            float *row = picture_row(frame, (enum plane)p, y);
            const float *alpha = frame->plane[PLANE_A] != NULL ? picture_row(frame, PLANE_A, y) : NULL;
            encoding_undo(srgb, row, width);
            for (size_t x = 0; x < width && alpha != NULL; x++)
                row[x] = row[x] * alpha[x] + ground * (1 - alpha[x]);
        }
    }
}

/* A row of the cell: means of n x n pixels. */
static void reduce_row(float *to, int32_t width, const struct picture *frame, enum plane plane, int32_t y, int n)
{
    memset(to, 0, (size_t)width * sizeof *to);
    for (int32_t v = y * n; v < (y + 1) * n; v++) {
        const float *from = picture_row(frame, plane, v);
        for (int32_t x = 0; x < width; x++) {
            for (int k = 0; k < n; k++)
                to[x] += from[x * n + k];
        }
    }
    for (int32_t x = 0; x < width; x++)
        to[x] /= (float)(n * n);
}

static void draw_frame(const struct sheet *sheet, const struct picture *frame, int32_t left, int32_t top)
{
    lay_on_ground(frame);
    for (int p = 0; p < PLANE_A; p++) {
        const enum plane plane = frame->plane[p] != NULL ? (enum plane)p : PLANE_A;
        for (int32_t y = 0; y < sheet->height; y++) {
            float *to = picture_row(&sheet->picture, (enum plane)p, top + y) + left;
            reduce_row(to, sheet->width, frame, plane, y, sheet->reduction);
            encoding_apply(srgb, to, (size_t)sheet->width);
        }
    }
}

/* `frame` is NULL where there is none. */
static void draw_cell(const struct sheet *sheet, int k, int32_t number, const struct picture *frame)
{
    const int32_t left = GAP + k % sheet->columns * (sheet->width + GAP);
    const int32_t top = LABEL + 2 * GAP + k / sheet->columns * (sheet->height + LABEL + GAP);
    char label[32];
    (void)snprintf(label, sizeof label, frame != NULL ? "%d" : "%d missing", (int)number);
    letters_draw(&sheet->picture, left, top + sheet->height + 4, DOT, INK, label);
    if (frame != NULL)
        draw_frame(sheet, frame, left, top);
}

/* storm.####.png → storm-sheet.png */
static char *sheet_path(const char *pattern)
{
    struct text text = { 0 };
    char *folder = path_folder(pattern);
    const char *slash = strrchr(pattern, '/'), *name = slash != NULL ? slash + 1 : pattern;
    bool numbered = false;
    size_t length = strlen(name) - strlen(".png");
    if (folder == NULL)
        return NULL;
    if (pattern_numbered(pattern, &numbered, NULL) == PASSEL_OK && numbered)
        length = strcspn(name, "#%");
    while (length > 1 && strchr("._-", name[length - 1]) != NULL)
        length--;
    text_print(&text, "%s/%.*s%ssheet.png", folder, (int)length, name, length > 0 ? "-" : "");
    memory_free(folder);
    if (text.failed)
        text_release(&text);
    return text.bytes;
}

static enum passel_status sheet_save(const struct sheet *sheet, const char *path, struct passel_error *error)
{
    const struct media_layer layer = { .name = "", .planes = HAS_RGB };
    const struct media_plan plan = { .display = sheet->picture.area,
                                     .data = sheet->picture.area,
                                     .pixel_aspect = 1,
                                     .layers = &layer,
                                     .layer_count = 1,
                                     .pixels = PIXELS_8,
                                     .encoding = srgb,
                                     .primaries = *primaries_named("rec709") };
    struct media_writer *writer;
    RETURN_IF_ERROR(media_create(path, &plan, &writer, error));
    const enum passel_status status = media_write(writer, &sheet->picture, error);
    if (status != PASSEL_OK) {
        media_discard(writer);
        return status;
    }
    return media_finish(writer, error);
}

/* Reads and draws the chosen frames; the first that can be read gives the size. */
static enum passel_status draw_all(struct sheet *sheet, const char *pattern, const int32_t *frames, int count,
                                   struct passel_error *error)
{
    const int most = count < SHEET_MOST ? count : SHEET_MOST;
    enum passel_status status = PASSEL_OK;
    struct picture first = { 0 };
    for (int k = 0; k < most && first.stride == 0; k++)
        (void)read_frame(pattern, frames[chosen(k, count)], &first);
    if (first.stride == 0)
        return error_set(error, PASSEL_NO_FILE, "%s: none of the frames can be read, so there is no sheet of them",
                         pattern);
    status = sheet_begin(sheet, most, first.area, error);
    for (int k = 0; k < most && status == PASSEL_OK; k++) {
        struct picture frame;
        const int32_t number = frames[chosen(k, count)];
        const bool there = read_frame(pattern, number, &frame) == PASSEL_OK &&
                           rect_width(frame.area) == rect_width(first.area) &&
                           rect_height(frame.area) == rect_height(first.area);
        draw_cell(sheet, k, number, there ? &frame : NULL);
        picture_release(&frame);
    }
    picture_release(&first);
    return status;
}

enum passel_status sheet_write(const char *pattern, const int32_t *frames, int count, const char *title, char **path,
                               struct passel_error *error)
{
    struct sheet sheet = { 0 };
    enum passel_status status;
    *path = NULL;
    GOTO_IF_ERROR(draw_all(&sheet, pattern, frames, count, error), out_sheet);
    letters_draw(&sheet.picture, GAP, GAP, DOT, INK, title);
    *path = sheet_path(pattern);
    if (*path == NULL)
        status = error_set(error, PASSEL_NO_MEMORY, "out of memory");
    else
        status = sheet_save(&sheet, *path, error);
    if (status != PASSEL_OK) {
        memory_free(*path);
        *path = NULL;
    }
out_sheet:
    picture_release(&sheet.picture);
    return status;
}
