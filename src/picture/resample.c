/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Resampling: choosing the way, the whole-pixel move, the nearest pixel, and the upright case. In the upright case an
 * output row first sums its input rows (along x, whole vectors), then each pixel sums along that line.
 */
#include "picture/resample.h"

#include <math.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"

double resample_clamp(const struct resampling *task, double position, int32_t first, int32_t end, double pad)
{
    const double beyond = task->filter == FILTER_SPLINE ? -0.5 : pad - 1; /* all taps beyond the edge, or at it */
    return fmin(fmax(position, first - beyond), end + beyond);
}

int32_t resample_stand_in(const struct resampling *task, int32_t i, int32_t first, int32_t end)
{
    if (task->filter == FILTER_SPLINE && (i < first || i >= end)) {
        const int32_t n = end - first, phase = ((i - first) % (2 * n) + 2 * n) % (2 * n);
        return first + (phase < n ? phase : 2 * n - 1 - phase);
    }
    return resample_inside(i, first, end);
}

float resample_missing(int plane)
{
    return plane == PLANE_A ? 1 : 0;
}

static void shift_row(const struct resampling *task, int plane, int32_t y, int32_t dx, int32_t dy)
{
    const struct picture *out = task->out, *in = task->in;
    const struct rect here = task->here;
    float *row = picture_row(out, (enum plane)plane, y);
    const int32_t width = rect_width(out->area), in_y = resample_inside(y + dy, here.y0, here.y1);
    const bool outside = y + dy < task->data.y0 || y + dy >= task->data.y1;
    const float *from = in->plane[plane] != NULL ? picture_row(in, (enum plane)plane, in_y) : NULL;
    for (int32_t i = 0; i < width; i++) {
        const int32_t x = out->area.x0 + i + dx;
        if (!task->hold && (outside || x < task->data.x0 || x >= task->data.x1))
            row[i] = 0;
        else
            row[i] = from != NULL ? from[resample_inside(x, here.x0, here.x1) - in->area.x0] : resample_missing(plane);
    }
}

static void resample_shift(const struct resampling *task, int32_t dx, int32_t dy)
{
    for (int plane = 0; plane < PLANE_COUNT; plane++)
        for (int32_t y = task->out->area.y0; task->out->plane[plane] != NULL && y < task->out->area.y1; y++)
            shift_row(task, plane, y, dx, dy);
}

static void resample_nearest(const struct resampling *task)
{
    const struct picture *out = task->out, *in = task->in;
    const struct rect data = task->data, here = task->here;
    for (int32_t y = out->area.y0; y < out->area.y1; y++)
        for (int32_t x = out->area.x0; x < out->area.x1; x++) {
            double px, py;
            const double w = task->t->m[6] * (x + 0.5) + task->t->m[7] * (y + 0.5) + task->t->m[8];
            transform_point(task->t, x + 0.5, y + 0.5, &px, &py);
            const bool inside = w > 0 && px >= data.x0 && px < data.x1 && py >= data.y0 && py < data.y1;
            const int32_t in_x = resample_inside(floor_position(fmin(fmax(px, here.x0), here.x1)), here.x0, here.x1);
            const int32_t in_y = resample_inside(floor_position(fmin(fmax(py, here.y0), here.y1)), here.y0, here.y1);
            for (int plane = 0; plane < PLANE_COUNT; plane++) {
                if (out->plane[plane] == NULL)
                    continue;
                float value = resample_missing(plane);
                if (in->plane[plane] != NULL)
                    value = picture_row(in, (enum plane)plane, in_y)[in_x - in->area.x0];
                picture_row(out, (enum plane)plane, y)[x - out->area.x0] = inside || (task->hold && w > 0) ? value : 0;
            }
        }
}

/* Weights along one axis: output pixel i takes `taps` input pixels from first[i] on. */
struct axis {
    int32_t count; /* output pixels */
    int taps;
    int32_t least, most; /* taps lie in [least, most) */
    int32_t *first;
    float *weights; /* taps per output pixel */
    float *cover;   /* covered share of each output pixel */
};

static void axis_release(struct axis *axis)
{
    memory_free(axis->first);
    memory_free(axis->weights);
    memory_free(axis->cover);
}

/* How much of output pixel i lies in the image of [first, end), input = scale * output + offset. */
static float covered(int32_t i, double scale, double offset, int32_t first, int32_t end)
{
    const double a = (first - offset) / scale, b = (end - offset) / scale;
    const double from = fmax(fmin(a, b), i), to = fmin(fmax(a, b), i + 1.0);
    return (float)fmin(fmax(to - from, 0), 1);
}

#define UPRIGHT_LIMIT 4096 /* times that a filter is widened at most */

/* Output pixels [from, from+count), input window [first, end). */
static bool axis_init(struct axis *axis, const struct resampling *task, double scale, double offset, int32_t from,
                      int32_t count, int32_t first, int32_t end)
{
    const double stretch = fmin(fmax(fabs(scale), 1), UPRIGHT_LIMIT);
    const double reach = task->kernel.reach * stretch;
    memset(axis, 0, sizeof *axis);
    axis->count = count;
    axis->taps = kernel_count(&task->kernel, stretch);
    axis->first = memory_new((size_t)count * sizeof *axis->first);
    axis->weights = memory_zeros((size_t)count * (size_t)axis->taps, sizeof *axis->weights);
    axis->cover = memory_new((size_t)count * sizeof *axis->cover);
    if (axis->first == NULL || axis->weights == NULL || axis->cover == NULL)
        return false;
    for (int32_t i = 0; i < count; i++) {
        const double position = scale * (from + i + 0.5) + offset;
        kernel_weights(&task->kernel, stretch, resample_clamp(task, position, first, end, reach), &axis->first[i],
                       axis->weights + (size_t)i * (size_t)axis->taps);
        axis->least = i == 0 || axis->first[i] < axis->least ? axis->first[i] : axis->least;
        axis->most = i == 0 || axis->first[i] + axis->taps > axis->most ? axis->first[i] + axis->taps : axis->most;
        axis->cover[i] = task->hold ? 1 : covered(from + i, scale, offset, first, end);
    }
    return true;
}

/* line[x - columns->least] = the weighted sum of the rows, for all columns that a tap needs. */
static void sum_rows(const struct resampling *task, int plane, const struct axis *columns, const struct axis *rows,
                     int32_t i, float *line)
{
    const struct rect here = task->here;
    const int32_t from = columns->least > here.x0 ? columns->least : here.x0;
    const int32_t to = columns->most < here.x1 ? columns->most : here.x1;
    memset(line, 0, (size_t)(columns->most - columns->least) * sizeof *line);
    for (int k = 0; k < rows->taps; k++) {
        const float weight = rows->weights[(size_t)i * (size_t)rows->taps + (size_t)k];
        const int32_t y = resample_stand_in(task, rows->first[i] + k, task->data.y0, task->data.y1);
        const float *row =
            picture_row(task->in, (enum plane)plane, resample_inside(y, here.y0, here.y1)) - task->in->area.x0;
        for (int32_t x = from; x < to; x++)
            line[x - columns->least] += weight * row[x];
    }
    for (int32_t x = columns->least; x < columns->most; x++)
        if (x < task->data.x0 || x >= task->data.x1) {
            const int32_t stand_in = resample_stand_in(task, x, task->data.x0, task->data.x1);
            if (stand_in >= from && stand_in < to)
                line[x - columns->least] = line[stand_in - columns->least];
        }
}

static void upright_row(const struct resampling *task, int plane, const struct axis *columns, const struct axis *rows,
                        int32_t i, float *line)
{
    const float share = rows->cover[i];
    float *row = picture_row(task->out, (enum plane)plane, task->out->area.y0 + i);
    if (task->in->plane[plane] == NULL) {
        for (int32_t x = 0; x < columns->count; x++)
            row[x] = resample_missing(plane) * (columns->cover[x] * share);
        return;
    }
    if (share > 0)
        sum_rows(task, plane, columns, rows, i, line);
    for (int32_t x = 0; x < columns->count; x++) {
        const float cover = columns->cover[x] * share;
        const float *weights = columns->weights + (size_t)x * (size_t)columns->taps;
        row[x] =
            cover > 0 ? cover * resample_dot(weights, line + (columns->first[x] - columns->least), columns->taps) : 0;
    }
}

enum passel_status resample_upright(const struct resampling *task, struct passel_error *error)
{
    const double *m = task->t->m;
    const struct rect area = task->out->area, data = task->data;
    struct axis columns, rows = { 0 };
    float *line = NULL;
    enum passel_status status = PASSEL_OK;
    const bool made = axis_init(&columns, task, m[0], m[2], area.x0, rect_width(area), data.x0, data.x1) &&
                      axis_init(&rows, task, m[4], m[5], area.y0, rect_height(area), data.y0, data.y1);
    if (made)
        line = memory_new((size_t)(columns.most - columns.least) * sizeof *line);
    if (line == NULL)
        status = error_set(error, PASSEL_NO_MEMORY, "no memory for the weights of a resampling");
    for (int plane = 0; status == PASSEL_OK && plane < PLANE_COUNT; plane++)
        for (int32_t i = 0; task->out->plane[plane] != NULL && i < rows.count; i++)
            upright_row(task, plane, &columns, &rows, i, line);
    memory_free(line);
    axis_release(&rows);
    axis_release(&columns);
    return status;
}

enum passel_status picture_resample(const struct picture *out, const struct picture *in, struct rect data, bool hold,
                                    const struct transform *t, enum filter filter, struct passel_error *error)
{
    struct resampling task = { .out = out, .in = in, .data = data, .hold = hold, .t = t, .filter = filter };
    const double *m = t->m;
    int32_t dx, dy;
    task.here = rect_cut(in->area, data);
    if (rect_empty(out->area))
        return PASSEL_OK;
    if (rect_empty(task.here)) {
        for (int plane = 0; plane < PLANE_COUNT; plane++)
            picture_fill(out, (enum plane)plane, out->area, 0);
        return PASSEL_OK;
    }
    if (transform_is_shift(t, &dx, &dy)) {
        resample_shift(&task, dx, dy);
        return PASSEL_OK;
    }
    if (filter == FILTER_NEAREST) {
        resample_nearest(&task);
        return PASSEL_OK;
    }
    kernel_init(&task.kernel, filter);
    if (m[1] == 0 && m[3] == 0 && m[6] == 0 && m[7] == 0 && m[0] != 0 && m[4] != 0)
        return resample_upright(&task, error);
    return resample_turned(&task, error);
}
