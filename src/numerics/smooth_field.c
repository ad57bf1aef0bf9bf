/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The slow part of the light is taken off with coarse cells, the rest divided by the noise that belongs there. What
 * remains of pure noise has variance 1; windows of growing size average it for as long as their variance says so. Once
 * a window around a pixel shows more, no larger one touches that pixel.
 */
#include "numerics/smooth_field.h"

#include <math.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "numerics/between.h"
#include "numerics/box_mean.h"
#include "numerics/cells.h"

#define CELL_SIZE 32
#define BAND_ROWS 128
#define RADIUS_LAST 8
/* Noise of a camera that has been filtered is broader than its finest detail tells; more than this is structure. */
#define EXCESS_MOST 2.0F

enum { Z_R, Z_G, Z_B, POWER, MEAN, CHI, KEEP, PLANES_OF_BAND };

/* A horizontal band and the rows around it that its windows see. */
struct band {
    int32_t width, rows; /* with the rows around */
    size_t stride;
    float *plane[PLANES_OF_BAND];
    double *columns;
    float *slow, *sigma; /* one row each */
    float *block;
};

static const int radii[] = { 1, 2, 4, RADIUS_LAST };

static enum passel_status band_new(struct band *band, int32_t width, struct passel_error *error)
{
    const size_t rows = BAND_ROWS + 2 * RADIUS_LAST;
    band->width = width;
    band->stride = ((size_t)width + 15) / 16 * 16;
    const size_t plane = band->stride * rows;
    band->block = memory_zeros(plane * PLANES_OF_BAND + 2 * band->stride, sizeof(float));
    band->columns = memory_zeros((size_t)width, sizeof(double));
    if (band->block == NULL || band->columns == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (size_t i = 0; i < PLANES_OF_BAND; i++)
        band->plane[i] = band->block + plane * i;
    band->slow = band->block + plane * PLANES_OF_BAND;
    band->sigma = band->slow + band->stride;
    return PASSEL_OK;
}

static void band_release(struct band *band)
{
    memory_free(band->block);
    memory_free(band->columns);
}

/* The slow part and the noise's sigma along row y of plane c. */
static void slow_row(struct band *band, const struct cells *cells, struct noise noise, float excess, int c,
                     const struct picture *picture, int32_t y)
{
    cells_row(cells, c, picture->area.x0, y, band->width, band->slow);
    for (int32_t x = 0; x < band->width; x++)
        band->sigma[x] = sqrtf(excess * noise_variance(noise, band->slow[x]));
}

static void band_load(struct band *band, const struct picture *picture, const struct cells *cells,
                      const struct noise noise[3], float excess, int32_t y0, int32_t y1)
{
    band->rows = y1 - y0;
    for (int32_t y = y0; y < y1; y++) {
        const size_t at = (size_t)(y - y0) * band->stride;
        float *power = band->plane[POWER] + at;
        memset(power, 0, band->stride * sizeof *power);
        for (int c = 0; c < 3; c++) {
            const float *row = picture_row(picture, (enum plane)c, y);
            float *z = band->plane[c] + at;
            slow_row(band, cells, noise[c], excess, c, picture, y);
            for (int32_t x = 0; x < band->width; x++) {
                z[x] = (row[x] - band->slow[x]) / band->sigma[x];
                power[x] += z[x] * z[x];
            }
        }
    }
}

/* CHI = variance of the three planes' z in windows of this radius (1 for pure noise). */
static void band_chi(struct band *band, int radius)
{
    const size_t size = band->stride * (size_t)band->rows;
    const float n = (float)((2 * radius + 1) * (2 * radius + 1));
    float *restrict chi = band->plane[CHI];
    const float *restrict mean = band->plane[MEAN];
    box_mean(band->plane[POWER], chi, band->width, band->rows, band->stride, radius, band->columns);
    for (int c = 0; c < 3; c++) {
        box_mean(band->plane[c], band->plane[MEAN], band->width, band->rows, band->stride, radius, band->columns);
        for (size_t i = 0; i < size; i++)
            chi[i] -= mean[i] * mean[i];
    }
    for (size_t i = 0; i < size; i++)
        chi[i] *= n / (3 * (n - 1));
}

/* Raises KEEP where CHI is more than chance makes of noise. */
static void band_keep(struct band *band, int radius)
{
    const size_t size = band->stride * (size_t)band->rows;
    const float n = (float)((2 * radius + 1) * (2 * radius + 1));
    const float chance = sqrtf(2 / (3 * (n - 1)));
    const float from = 1 + 3 * chance, slope = 1 / (2 * chance);
    float *restrict keep = band->plane[KEEP];
    const float *restrict chi = band->plane[CHI];
    for (size_t i = 0; i < size; i++)
        keep[i] = larger(keep[i], smaller((chi[i] - from) * slope, 1));
}

/* value = mean + KEEP (value - mean), in rows y0 … y1 of the picture; top is the band's first row. */
static void band_blend(struct band *band, const struct picture *values, int radius, int c, int32_t top, int32_t y0,
                       int32_t y1)
{
    box_mean(band->plane[c], band->plane[MEAN], band->width, band->rows, band->stride, radius, band->columns);
    for (int32_t y = y0; y < y1; y++) {
        const size_t at = (size_t)(y - top) * band->stride;
        const float *restrict mean = band->plane[MEAN] + at;
        const float *restrict keep = band->plane[KEEP] + at;
        float *restrict value = picture_row(values, (enum plane)c, y);
        for (int32_t x = 0; x < band->width; x++)
            value[x] = mean[x] + keep[x] * (value[x] - mean[x]);
    }
}

/* `z` takes the smoothed rest of rows y0 … y1. */
static void band_smooth(struct band *band, const struct picture *z, int32_t top, int32_t y0, int32_t y1)
{
    memset(band->plane[KEEP], 0, band->stride * (size_t)band->rows * sizeof(float));
    for (int32_t y = y0; y < y1; y++) {
        for (int c = 0; c < 3; c++)
            memcpy(picture_row(z, (enum plane)c, y), band->plane[c] + (size_t)(y - top) * band->stride,
                   (size_t)band->width * sizeof(float));
    }
    for (size_t k = 0; k < sizeof radii / sizeof radii[0]; k++) {
        band_chi(band, radii[k]);
        band_keep(band, radii[k]);
        for (int c = 0; c < 3; c++)
            band_blend(band, z, radii[k], c, top, y0, y1);
    }
}

/* Back from z to light. */
static void band_store(struct band *band, const struct picture *picture, const struct picture *z,
                       const struct cells *cells, const struct noise noise[3], float excess, int32_t y0, int32_t y1)
{
    for (int32_t y = y0; y < y1; y++) {
        for (int c = 0; c < 3; c++) {
            float *row = picture_row(picture, (enum plane)c, y);
            const float *rest = picture_row(z, (enum plane)c, y);
            slow_row(band, cells, noise[c], excess, c, picture, y);
            for (int32_t x = 0; x < band->width; x++)
                row[x] = band->slow[x] + band->sigma[x] * rest[x];
        }
    }
}

/* How much broader the noise is than the model: the median of CHI at thinly spread pixels, between 1 and EXCESS_MOST.
 */
static float find_excess(struct band *band, const struct picture *picture, const struct cells *cells,
                         const struct noise noise[3])
{
    enum { BINS = 64, BINS_PER_UNIT = 16, RADIUS = 4, STEP = 16 };
    const struct rect area = picture->area;
    int counts[BINS] = { 0 }, total = 0, below = 0, bin = 0;
    for (int32_t y0 = area.y0; y0 < area.y1; y0 += BAND_ROWS) {
        band_load(band, picture, cells, noise, 1, y0, y0 + BAND_ROWS < area.y1 ? y0 + BAND_ROWS : area.y1);
        band_chi(band, RADIUS);
        for (int32_t y = STEP / 2; y < band->rows; y += STEP) {
            for (int32_t x = STEP / 2; x < band->width; x += STEP) {
                const float chi = band->plane[CHI][(size_t)y * band->stride + (size_t)x];
                counts[(int)smaller(larger(chi, 0) * BINS_PER_UNIT, BINS - 1)]++;
                total++;
            }
        }
    }
    while (bin < BINS - 1 && (below += counts[bin]) * 2 < total)
        bin++;
    return smaller(larger(((float)bin + 0.5F) / BINS_PER_UNIT, 1), EXCESS_MOST);
}

static void smooth_bands(struct band *band, const struct picture *picture, const struct picture *z,
                         const struct cells *cells, const struct noise noise[3])
{
    const struct rect area = picture->area;
    const float excess = find_excess(band, picture, cells, noise);
    for (int32_t y0 = area.y0; y0 < area.y1; y0 += BAND_ROWS) {
        const int32_t y1 = y0 + BAND_ROWS < area.y1 ? y0 + BAND_ROWS : area.y1;
        const int32_t top = y0 - RADIUS_LAST > area.y0 ? y0 - RADIUS_LAST : area.y0;
        const int32_t bottom = y1 + RADIUS_LAST < area.y1 ? y1 + RADIUS_LAST : area.y1;
        band_load(band, picture, cells, noise, excess, top, bottom);
        band_smooth(band, z, top, y0, y1);
    }
    for (int32_t y0 = area.y0; y0 < area.y1; y0 += BAND_ROWS) {
        const int32_t y1 = y0 + BAND_ROWS < area.y1 ? y0 + BAND_ROWS : area.y1;
        band_store(band, picture, z, cells, noise, excess, y0, y1);
    }
}

enum passel_status smooth_field(const struct picture *picture, const struct noise noise[3], struct passel_error *error)
{
    struct band band = { 0 };
    struct cells cells = { 0 };
    struct picture z = { 0 };
    enum passel_status status;
    if (rect_empty(picture->area))
        return PASSEL_OK;
    GOTO_IF_ERROR(band_new(&band, rect_width(picture->area), error), out_release);
    GOTO_IF_ERROR(picture_new(&z, picture->area, HAS_RGB, error), out_release);
    GOTO_IF_ERROR(cells_new(&cells, picture->area, CELL_SIZE, 3, error), out_release);
    cells_measure(&cells, picture);
    smooth_bands(&band, picture, &z, &cells, noise);
out_release:
    cells_release(&cells);
    picture_release(&z);
    band_release(&band);
    return status;
}
