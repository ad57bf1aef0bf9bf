/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "engine/fit_pictures.h"

#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "engine/render.h"

#define CLIP_SAME 1e-4F   /* of the brightest: pixels so near to it are as bright */
#define CLIP_BELOW 0.985F /* of the brightest: clipped in part, or rounded by a filter */
#define CLIP_PIXELS 16

struct gathering {
    const struct graph *graph;
    const struct fit_pictures *pictures;
    int threads;
    int32_t width, height; /* in blocks; 0: no picture has been seen yet */
    int32_t pixel_width, pixel_height;
    size_t frame_rows; /* blocks of a frame */
    size_t rows;       /* of a channel, over all frames */
    size_t wide;       /* numbers of a row: two for each light and the reference */
    float *halves;
    float *around;                      /* per row and channel: the reference's light in the blocks beside it */
    bool *clipped;                      /* per row */
    struct noise_samples (*samples)[3]; /* per light; behind them of the reference */
};

/* ---- pictures --------------------------------------------------------------------------------------------------- */

static enum passel_status check_size(struct gathering *g, const char *name, const struct picture *picture,
                                     struct passel_error *error)
{
    const int32_t width = rect_width(picture->area), height = rect_height(picture->area);
    if (width == g->pixel_width && height == g->pixel_height)
        return PASSEL_OK;
    return error_set(error, PASSEL_BAD_PICTURE, "%s is %dx%d, the lights are %dx%d: a fit compares them pixel by pixel",
                     name, (int)width, (int)height, (int)g->pixel_width, (int)g->pixel_height);
}

static enum passel_status make(const struct gathering *g, const struct block *block, int which, int32_t frame,
                               struct picture *picture, struct passel_error *error)
{
    struct picture_info info;
    RETURN_IF_ERROR(render_picture(g->graph, block, which, frame, g->threads, picture, &info, error));
    if ((picture_planes(picture) & HAS_RGB) == HAS_RGB)
        return PASSEL_OK;
    picture_release(picture);
    return error_set(error, PASSEL_BAD_PICTURE, "%s has no colour at frame %d; a fit needs red, green and blue",
                     block->name, (int)frame);
}

/* Means of the two halves of a block, each made of two opposite quarters, so that noise which a few neighbouring pixels
 * share is in one of them. */
static void half_means(const struct picture *picture, int c, int32_t i, int32_t j, double means[2])
{
    enum { QUARTER = FIT_BLOCK / 2 };
    double sums[2] = { 0, 0 };
    for (int32_t y = 0; y < FIT_BLOCK; y++) {
        const float *row = picture_row(picture, (enum plane)c, picture->area.y0 + j * FIT_BLOCK + y) + i * FIT_BLOCK;
        for (int32_t x = 0; x < FIT_BLOCK; x++)
            sums[(x / QUARTER + y / QUARTER) % 2] += (double)row[x];
    }
    means[0] = sums[0] / (FIT_BLOCK * QUARTER);
    means[1] = sums[1] / (FIT_BLOCK * QUARTER);
}

/* Adds `share` of the picture's means to one column of every row of a frame. */
static void add_means(struct gathering *g, const struct picture *picture, int column, int frame_index, double share)
{
    for (int c = 0; c < 3; c++) {
        float *to =
            g->halves + ((size_t)c * g->rows + (size_t)frame_index * g->frame_rows) * g->wide + 2 * (size_t)column;
        for (int32_t j = 0; j < g->height; j++) {
            for (int32_t i = 0; i < g->width; i++, to += g->wide) {
                double means[2];
                half_means(picture, c, i, j, means);
                to[0] += (float)(share * means[0]);
                to[1] += (float)(share * means[1]);
            }
        }
    }
}

/* Of the reference as it is, before anything is taken off: noise goes by that. */
static void look_around(struct gathering *g, int column, int frame_index)
{
    for (int c = 0; c < 3; c++) {
        const size_t first = (size_t)c * g->rows + (size_t)frame_index * g->frame_rows;
        for (int32_t row = 0; row < (int32_t)g->frame_rows; row++) {
            const int32_t i = row % g->width, j = row / g->width;
            float sum = 0;
            int count = 0;
            for (int32_t k = 0; k < 9; k++) {
                const int32_t x = i + k % 3 - 1, y = j + k / 3 - 1;
                if (k == 4 || x < 0 || y < 0 || x >= g->width || y >= g->height)
                    continue;
                const float *means = g->halves + (first + (size_t)(y * g->width + x)) * g->wide + 2 * column;
                sum += 0.5F * (means[0] + means[1]);
                count++;
            }
            g->around[first + (size_t)row] = count > 0 ? sum / (float)count : 0;
        }
    }
}

/* ---- clipping --------------------------------------------------------------------------------------------------- */

/* The level at which a channel is clipped: its brightest, when many pixels are just as bright; else 0. */
static float clip_level(const struct picture *picture, int c)
{
    float most = 0;
    size_t count = 0;
    const int32_t width = rect_width(picture->area);
    const size_t pixels = (size_t)width * (size_t)rect_height(picture->area);
    for (int pass = 0; pass < 2; pass++) {
        for (int32_t y = picture->area.y0; y < picture->area.y1; y++) {
            const float *row = picture_row(picture, (enum plane)c, y);
            for (int32_t x = 0; x < width; x++) {
                if (pass == 0)
                    most = row[x] > most ? row[x] : most;
                else
                    count += row[x] >= most * (1 - CLIP_SAME);
            }
        }
    }
    return count >= CLIP_PIXELS && count > pixels / 20000 && count < pixels / 2 ? most : 0;
}

static void mark_clipped(struct gathering *g, const struct picture *picture, int frame_index)
{
    bool *clipped = g->clipped + (size_t)frame_index * g->frame_rows;
    for (int c = 0; c < 3; c++) {
        const float level = clip_level(picture, c) * CLIP_BELOW;
        for (int32_t y = 0; y < g->height * FIT_BLOCK && level > 0; y++) {
            const float *row = picture_row(picture, (enum plane)c, picture->area.y0 + y);
            for (int32_t x = 0; x < g->width * FIT_BLOCK; x++) {
                if (row[x] >= level)
                    clipped[y / FIT_BLOCK * g->width + x / FIT_BLOCK] = true;
            }
        }
    }
}

/* ---- a frame ---------------------------------------------------------------------------------------------------- */

/* The first picture tells the size of all. */
static enum passel_status begin(struct gathering *g, const struct picture *picture, int frames,
                                struct passel_error *error)
{
    g->pixel_width = rect_width(picture->area);
    g->pixel_height = rect_height(picture->area);
    g->width = g->pixel_width / FIT_BLOCK;
    g->height = g->pixel_height / FIT_BLOCK;
    g->frame_rows = (size_t)g->width * (size_t)g->height;
    g->rows = g->frame_rows * (size_t)frames;
    if (g->rows == 0)
        return error_set(error, PASSEL_BAD_PICTURE, "pictures of %dx%d are too small to fit lights",
                         (int)g->pixel_width, (int)g->pixel_height);
    g->wide = 2 * ((size_t)g->pictures->lights + 1);
    g->halves = memory_zeros(3 * g->rows, g->wide * sizeof *g->halves);
    g->around = memory_zeros(3 * g->rows, sizeof *g->around);
    g->clipped = memory_zeros(g->rows, sizeof *g->clipped);
    if (g->halves == NULL || g->around == NULL || g->clipped == NULL)
        return error_set(error, PASSEL_NO_MEMORY,
                         "%d frames of %d lights do not fit in memory; name fewer with --frames", frames,
                         g->pictures->lights);
    return PASSEL_OK;
}

static enum passel_status gather_light(struct gathering *g, int light, int32_t frame, int frame_index, int frames,
                                       struct passel_error *error)
{
    const struct value *pass = g->pictures->passes[light];
    struct picture picture;
    enum passel_status status;
    RETURN_IF_ERROR(make(g, g->pictures->columns[light], 0, frame, &picture, error));
    if (g->halves == NULL)
        GOTO_IF_ERROR(begin(g, &picture, frames, error), out_picture);
    GOTO_IF_ERROR(check_size(g, pass->text, &picture, error), out_picture);
    add_means(g, &picture, light, frame_index, 1);
    for (int c = 0; c < 3; c++)
        GOTO_IF_ERROR(noise_gather(&g->samples[light][c], &picture, (enum plane)c, error), out_picture);
    picture_release(&picture);
    RETURN_IF_ERROR(make(g, pass->block, pass->picture, frame, &picture, error));
    if (check_size(g, pass->text, &picture, NULL) == PASSEL_OK)
        mark_clipped(g, &picture, frame_index);
out_picture:
    picture_release(&picture);
    return status;
}

static enum passel_status gather_reference(struct gathering *g, int32_t frame, int frame_index,
                                           struct passel_error *error)
{
    const int column = g->pictures->lights;
    struct picture picture;
    enum passel_status status;
    RETURN_IF_ERROR(make(g, g->pictures->reference, 0, frame, &picture, error));
    GOTO_IF_ERROR(check_size(g, "the reference", &picture, error), out_picture);
    add_means(g, &picture, column, frame_index, 1);
    look_around(g, column, frame_index);
    for (int c = 0; c < 3; c++)
        GOTO_IF_ERROR(noise_gather(&g->samples[column][c], &picture, (enum plane)c, error), out_picture);
    mark_clipped(g, &picture, frame_index);
    picture_release(&picture);
    if (g->pictures->base == NULL)
        return PASSEL_OK;
    RETURN_IF_ERROR(make(g, g->pictures->base, 0, frame, &picture, error));
    GOTO_IF_ERROR(check_size(g, "the ambient", &picture, error), out_picture);
    add_means(g, &picture, column, frame_index, -1);
out_picture:
    picture_release(&picture);
    return status;
}

/* ---- all of them ------------------------------------------------------------------------------------------------ */

/* Leaves out the rows that are clipped; channels stay one after another. */
static size_t keep_rows(struct gathering *g)
{
    const size_t wide = g->wide;
    float *to = g->halves, *around = g->around;
    for (int c = 0; c < 3; c++) {
        const float *from = g->halves + (size_t)c * g->rows * wide;
        for (size_t i = 0; i < g->rows; i++, from += wide) {
            if (g->clipped[i])
                continue;
            memmove(to, from, wide * sizeof *to);
            to += wide;
            *around++ = g->around[(size_t)c * g->rows + i];
        }
    }
    return (size_t)(to - g->halves) / wide / 3;
}

static enum passel_status measure_noise(struct gathering *g, struct fit_noise **made, struct passel_error *error)
{
    const int wide = g->pictures->lights + 1, pixels = FIT_BLOCK * FIT_BLOCK;
    struct fit_noise *noise = memory_zeros((size_t)wide, 3 * sizeof *noise);
    if (noise == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int c = 0; c < 3; c++) {
        for (int i = 0; i < wide; i++) {
            const struct noise found = noise_fit(&g->samples[i][c]);
            noise[c * wide + i] = (struct fit_noise){ (double)found.gain / pixels, (double)found.floor / pixels };
        }
    }
    *made = noise;
    return PASSEL_OK;
}

void fit_gathered_release(struct fit_gathered *gathered)
{
    memory_free(gathered->halves);
    memory_free(gathered->around);
    memory_free(gathered->noise);
    *gathered = (struct fit_gathered){ 0 };
}

enum passel_status fit_gather(const struct graph *graph, const struct fit_pictures *pictures, const int32_t *frames,
                              int frame_count, int threads, struct fit_gathered *gathered, struct passel_error *error)
{
    struct gathering g = { .graph = graph, .pictures = pictures, .threads = threads };
    enum passel_status status;
    *gathered = (struct fit_gathered){ 0 };
    g.samples = memory_zeros((size_t)pictures->lights + 1, sizeof *g.samples);
    if (g.samples == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int k = 0; k < frame_count; k++) {
        for (int i = 0; i < pictures->lights; i++)
            GOTO_IF_ERROR(gather_light(&g, i, frames[k], k, frame_count, error), out_gathering);
        GOTO_IF_ERROR(gather_reference(&g, frames[k], k, error), out_gathering);
    }
    GOTO_IF_ERROR(measure_noise(&g, &gathered->noise, error), out_gathering);
    gathered->all = g.rows;
    gathered->count = keep_rows(&g);
    gathered->halves = g.halves;
    gathered->around = g.around;
    g.halves = g.around = NULL;
out_gathering:
    for (int i = 0; i <= pictures->lights; i++) {
        for (int c = 0; c < 3; c++)
            noise_samples_release(&g.samples[i][c]);
    }
    memory_free(g.samples);
    memory_free(g.halves);
    memory_free(g.around);
    memory_free(g.clipped);
    return status;
}
