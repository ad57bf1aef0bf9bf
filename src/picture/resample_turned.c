/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Resampling through any transform, pixel by pixel. A pixel's footprint is a block of input pixels and their weights:
 * a product of weights in x and y, or, where the picture gets smaller along a slanting axis, a weight for each pixel.
 */
#include <math.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "picture/coverage.h"
#include "picture/resample.h"

#define TABLE_STEPS 256 /* entries of the kernel table per pixel */
#define TABLE_SIZE (KERNEL_REACH * TABLE_STEPS + 2)

/* Kernel and derivatives at steps of 1/256, read with linear interpolation, for weights without a product form. */
struct kernel_table {
    float value[TABLE_SIZE], slope[TABLE_SIZE], bend[TABLE_SIZE];
};

struct footprint {
    int32_t x, y;      /* the first input pixel */
    int columns, rows; /* its size */
    bool product;      /* weight = across[i] * down[j]; else block[j * columns + i] */
    float *across, *down, *block;
    float *patch; /* room for the footprint's pixels where some of them lie outside */
    struct kernel_table *table;
};

static bool footprint_init(struct footprint *footprint, const struct resampling *task)
{
    double reach_x, reach_y;
    stretch_reach(task->t, task->out->area, task->kernel.reach, &reach_x, &reach_y);
    const size_t columns = (size_t)(2 * reach_x) + KERNEL_TAPS, rows = (size_t)(2 * reach_y) + KERNEL_TAPS;
    memset(footprint, 0, sizeof *footprint);
    footprint->across = memory_new(columns * sizeof(float));
    footprint->down = memory_new(rows * sizeof(float));
    footprint->block = memory_new(columns * rows * sizeof(float));
    footprint->patch = memory_new(columns * rows * sizeof(float));
    footprint->table = memory_new(sizeof *footprint->table);
    if (footprint->across == NULL || footprint->down == NULL || footprint->block == NULL || footprint->patch == NULL ||
        footprint->table == NULL)
        return false;
    for (int i = 0; i < TABLE_SIZE; i++) {
        const double u = (double)i / TABLE_STEPS;
        footprint->table->value[i] = (float)kernel_at(&task->kernel, &task->kernel.value, u);
        footprint->table->slope[i] = (float)kernel_at(&task->kernel, &task->kernel.slope, u);
        footprint->table->bend[i] = (float)kernel_at(&task->kernel, &task->kernel.bend, u);
    }
    return true;
}

static void footprint_release(struct footprint *footprint)
{
    memory_free(footprint->across);
    memory_free(footprint->down);
    memory_free(footprint->block);
    memory_free(footprint->patch);
    memory_free(footprint->table);
}

static inline float look_up(const float *table, float u)
{
    const float scaled = u * TABLE_STEPS;
    const int i = (int)scaled;
    return table[i] + (scaled - (float)i) * (table[i + 1] - table[i]);
}

/* The kernel at (u, v), sharpened by G = I - M^2 for the spline: see kernel.c. The slope is odd in u and in v. */
static inline float slanting_weight(const struct kernel *kernel, const struct kernel_table *table, const float g[3],
                                    float u, float v)
{
    const float size_u = fabsf(u), size_v = fabsf(v), reach = (float)kernel->reach;
    if (size_u >= reach || size_v >= reach)
        return 0;
    const float value_u = look_up(table->value, size_u), value_v = look_up(table->value, size_v);
    if (!kernel->sharpened)
        return value_u * value_v;
    const float sharp_u = value_u - 0.25f * g[0] * look_up(table->bend, size_u);
    const float sharp_v = value_v - 0.25f * g[2] * look_up(table->bend, size_v);
    const float slopes = look_up(table->slope, size_u) * look_up(table->slope, size_v);
    return sharp_u * sharp_v - 0.5f * g[1] * (u * v < 0 ? -slopes : slopes);
}

static void place_slanting(struct footprint *footprint, const struct kernel *kernel, const struct stretch *s, double x,
                           double y)
{
    const double reach_x = kernel->reach * (s->s00 + fabs(s->s01)), reach_y = kernel->reach * (s->s11 + fabs(s->s01));
    const float g[3] = { (float)(1 - s->m00 * s->m00 - s->m01 * s->m01), (float)(-s->m01 * (s->m00 + s->m11)),
                         (float)(1 - s->m11 * s->m11 - s->m01 * s->m01) };
    footprint->product = false;
    footprint->x = floor_position(x - reach_x + 0.5);
    footprint->y = floor_position(y - reach_y + 0.5);
    footprint->columns = (int)(2 * reach_x) + 1;
    footprint->rows = (int)(2 * reach_y) + 1;
    const size_t count = (size_t)footprint->columns * (size_t)footprint->rows;
    double sum = 0;
    float *weight = footprint->block;
    for (int j = 0; j < footprint->rows; j++)
        for (int i = 0; i < footprint->columns; i++, weight++) {
            const double dx = footprint->x + i + 0.5 - x, dy = footprint->y + j + 0.5 - y;
            *weight = slanting_weight(kernel, footprint->table, g, (float)(s->m00 * dx + s->m01 * dy),
                                      (float)(s->m01 * dx + s->m11 * dy));
            sum += *weight;
        }
    for (size_t i = 0; i < count; i++)
        footprint->block[i] = (float)(footprint->block[i] / sum);
}

static void place_footprint(struct footprint *footprint, const struct kernel *kernel, const struct stretch *s, double x,
                            double y)
{
    if (s->turned) {
        place_slanting(footprint, kernel, s, x, y);
        return;
    }
    footprint->product = true;
    footprint->columns = kernel_count(kernel, s->s00);
    footprint->rows = kernel_count(kernel, s->s11);
    kernel_weights(kernel, s->s00, x, &footprint->x, footprint->across);
    kernel_weights(kernel, s->s11, y, &footprint->y, footprint->down);
}

/* The weighted sum of a block of pixels, one row after the other. Called with constants where speed matters. */
static inline float sum_product(const struct footprint *footprint, const float *pixels, size_t stride, int columns,
                                int rows)
{
    float sum = 0;
    for (int j = 0; j < rows; j++)
        sum += footprint->down[j] * resample_dot(footprint->across, pixels + (size_t)j * stride, columns);
    return sum;
}

static float sum_pixels(const struct footprint *footprint, const float *pixels, size_t stride)
{
    if (!footprint->product) {
        float sum = 0;
        for (int j = 0; j < footprint->rows; j++)
            sum += resample_dot(footprint->block + (size_t)j * (size_t)footprint->columns, pixels + (size_t)j * stride,
                                footprint->columns);
        return sum;
    }
    if (footprint->columns == 6 && footprint->rows == 6)
        return sum_product(footprint, pixels, stride, 6, 6);
    if (footprint->columns == 4 && footprint->rows == 4)
        return sum_product(footprint, pixels, stride, 4, 4);
    return sum_product(footprint, pixels, stride, footprint->columns, footprint->rows);
}

/* Copies the footprint's pixels, those outside the window by their stand-ins. */
static void gather(const struct resampling *task, const struct footprint *footprint, int plane)
{
    const struct rect data = task->data, here = task->here;
    float *patch = footprint->patch;
    for (int j = 0; j < footprint->rows; j++) {
        const int32_t y = resample_stand_in(task, footprint->y + j, data.y0, data.y1);
        const float *row = picture_row(task->in, (enum plane)plane, resample_inside(y, here.y0, here.y1));
        for (int i = 0; i < footprint->columns; i++) {
            const int32_t x = resample_stand_in(task, footprint->x + i, data.x0, data.x1);
            *patch++ = row[resample_inside(x, here.x0, here.x1) - task->in->area.x0];
        }
    }
}

static float sample_plane(const struct resampling *task, const struct footprint *footprint, int plane, bool inside)
{
    const struct picture *in = task->in;
    if (in->plane[plane] == NULL)
        return resample_missing(plane);
    if (inside)
        return sum_pixels(footprint, picture_row(in, (enum plane)plane, footprint->y) + (footprint->x - in->area.x0),
                          in->stride);
    gather(task, footprint, plane);
    return sum_pixels(footprint, footprint->patch, (size_t)footprint->columns);
}

struct turned {
    const struct resampling *task;
    bool affine; /* the stretch is the same everywhere */
    struct coverage coverage;
    struct stretch stretch;
    struct footprint footprint;
};

/* Puts the footprint where the centre of output pixel (x, y) leads, w being the third coordinate there. */
static void aim(struct turned *turned, int32_t x, int32_t y, double w)
{
    const struct resampling *task = turned->task;
    struct stretch *stretch = &turned->stretch;
    double px, py;
    transform_point(task->t, x + 0.5, y + 0.5, &px, &py);
    if (!turned->affine)
        *stretch = stretch_at(task->t, px, py, w);
    const double reach_x = task->kernel.reach * (stretch->s00 + fabs(stretch->s01));
    const double reach_y = task->kernel.reach * (stretch->s11 + fabs(stretch->s01));
    px = resample_clamp(task, px, task->data.x0, task->data.x1, reach_x);
    py = resample_clamp(task, py, task->data.y0, task->data.y1, reach_y);
    place_footprint(&turned->footprint, &task->kernel, stretch, px, py);
}

static void turned_pixel(struct turned *turned, int32_t x, int32_t y)
{
    const struct resampling *task = turned->task;
    const struct footprint *footprint = &turned->footprint;
    const struct picture *out = task->out;
    const double w = task->t->m[6] * (x + 0.5) + task->t->m[7] * (y + 0.5) + task->t->m[8];
    const float cover = !(w > 0) ? 0 : task->hold ? 1 : coverage_of(&turned->coverage, x, y);
    bool inside = false;
    if (cover > 0) {
        aim(turned, x, y, w);
        inside = rect_holds(task->here, rect_of(footprint->x, footprint->y, footprint->x + footprint->columns,
                                                footprint->y + footprint->rows));
    }
    const size_t offset = (size_t)(y - out->area.y0) * out->stride + (size_t)(x - out->area.x0);
    for (int plane = 0; plane < PLANE_COUNT; plane++)
        if (out->plane[plane] != NULL)
            out->plane[plane][offset] = cover > 0 ? cover * sample_plane(task, footprint, plane, inside) : 0;
}

enum passel_status resample_turned(const struct resampling *task, struct passel_error *error)
{
    const double *m = task->t->m;
    const struct rect area = task->out->area;
    struct turned turned = { .task = task,
                             .affine = m[6] == 0 && m[7] == 0,
                             .stretch = stretch_at(task->t, 0, 0, m[8]) };
    const double window[4] = { task->data.x0, task->data.y0, task->data.x1, task->data.y1 };
    enum passel_status status = PASSEL_OK;
    coverage_init(&turned.coverage, task->t, window);
    if (!footprint_init(&turned.footprint, task))
        status = error_set(error, PASSEL_NO_MEMORY, "no memory for the footprints of a resampling");
    for (int32_t y = area.y0; status == PASSEL_OK && y < area.y1; y++)
        for (int32_t x = area.x0; x < area.x1; x++)
            turned_pixel(&turned, x, y);
    footprint_release(&turned.footprint);
    return status;
}
