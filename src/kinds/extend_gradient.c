/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Two layers make the synthetic light.
 *
 * The slow field lives on cells of about a hundredth of the frame, in fourth roots of light: a glow that falls off by
 * ratios is nearly straight there, and light stays positive. It is continued in value and slope and levels out (see
 * extend_field.c); clouds and masts that stand out of it have little say.
 *
 * What the field misses at the border itself, pixel by pixel, is carried outwards ever more blurred along the border,
 * as a membrane would do, its slope a few pixels far, so the seam fits exactly and no streak starts from it.
 */
#include "kinds/extend_gradient.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "kinds/extend.h"
#include "kinds/extend_field.h"
#include "numerics/between.h"

#define CELLS_ALONG 80
#define CELL_LEAST 4
#define SPREAD_TIMES 3.0F /* the middle half's reach: 2 sigma of grain */
#define LEAST_SHARE 0.7F  /* of the darkest root in the plate */
#define RIM_DEPTH 4       /* pixels that a border value is averaged over, inwards; as many more tell its slope */
#define SLOPE_BLUR 1      /* pixels along the border: a sigma of 1.4 */
#define CLEARLY 9.0F      /* 3 sigma, squared */
#define SLOPE_FADE 5.0F   /* pixels that a slope goes on */
#define RIM_SPREAD 0.6F   /* blur per pixel of distance */
#define RIM_NEAR 2        /* from this blur on, what stands out is limited to… */
#define RIM_TIMES 4.0F    /* …the usual miss */
#define RIM_FADE 0.08F    /* of the plate's smaller side */

/* ---- the slow field -------------------------------------------------------------------------------------------- */

/* Cells on the target, aligned with the plate's top left corner. */
static enum passel_status field_new(struct gradient *gradient, struct passel_error *error)
{
    const struct rect plate = gradient->plate, target = gradient->target;
    const int32_t larger = rect_width(target) > rect_height(target) ? rect_width(target) : rect_height(target);
    const int32_t size = larger / CELLS_ALONG > CELL_LEAST ? larger / CELLS_ALONG : CELL_LEAST;
    const int32_t left = (plate.x0 - target.x0 + size - 1) / size * size;
    const int32_t top = (plate.y0 - target.y0 + size - 1) / size * size;
    return cells_new(&gradient->field, rect_of(plate.x0 - left, plate.y0 - top, target.x1, target.y1), size, 4, error);
}

/* Whether a cell has a pixel that is not known. */
static bool has_hole(const struct picture *known, const struct cells *cells, int32_t i, int32_t j)
{
    const struct rect cell =
        rect_cut(cells->area, rect_shift(rect_of(0, 0, cells->size, cells->size), cells->area.x0 + i * cells->size,
                                         cells->area.y0 + j * cells->size));
    for (int32_t y = cell.y0; known != NULL && y < cell.y1; y++) {
        const float *row = picture_row(known, PLANE_A, y) - known->area.x0;
        for (int32_t x = cell.x0; x < cell.x1; x++) {
            if (!(row[x] > 0))
                return true;
        }
    }
    return false;
}

/* Mean of a cell's pixels that are near its median: as steady as a mean, and without what stands before the sky. */
static float cell_light(const struct picture *plate, const struct cells *own, int c, int32_t i, int32_t j)
{
    const int32_t at = j * own->width + i;
    const float middle = own->value[c][at], most = SPREAD_TIMES * own->spread[c][at];
    const struct rect cell =
        rect_cut(own->area, rect_shift(rect_of(0, 0, own->size, own->size), own->area.x0 + i * own->size,
                                       own->area.y0 + j * own->size));
    float sum = 0, count = 0;
    for (int32_t y = cell.y0; y < cell.y1; y++) {
        const float *row = picture_row(plate, (enum plane)c, y) - plate->area.x0;
        for (int32_t x = cell.x0; x < cell.x1; x++) {
            const float near = fabsf(row[x] - middle) <= most ? 1 : 0;
            sum += near * row[x];
            count += near;
        }
    }
    return count > 0 ? sum / count : middle;
}

/* Measures the cells that lie in the plate; the others keep weight 0. A cell that the plate covers less than half is
 * unknown too. */
static enum passel_status field_measure(struct gradient *gradient, const struct picture *plate,
                                        const struct picture *known, struct passel_error *error)
{
    struct cells own;
    struct cells *field = &gradient->field;
    RETURN_IF_ERROR(cells_new(&own, gradient->plate, field->size, 4, error));
    cells_measure(&own, plate);
    const int32_t left = (gradient->plate.x0 - field->area.x0) / field->size;
    const int32_t top = (gradient->plate.y0 - field->area.y0) / field->size;
    gradient->opaque = true;
    for (int32_t j = 0; j < own.height; j++) {
        for (int32_t i = 0; i < own.width; i++) {
            const int32_t from = j * own.width + i, to = (top + j) * field->width + left + i;
            const bool cut = (i + 1) * own.size - rect_width(own.area) > own.size / 2 ||
                             (j + 1) * own.size - rect_height(own.area) > own.size / 2;
            for (int c = 0; c < 3; c++)
                field->value[c][to] = fourth_root(cell_light(plate, &own, c, i, j));
            field->value[PLANE_A][to] = own.value[PLANE_A][from];
            field->weight[to] = (cut && own.width > 1 && own.height > 1) || has_hole(known, &own, i, j) ? 0 : 1;
            gradient->opaque = gradient->opaque && (field->weight[to] == 0 || own.value[PLANE_A][from] == 1);
        }
    }
    cells_release(&own);
    return PASSEL_OK;
}

static void find_least(struct gradient *gradient)
{
    const struct cells *field = &gradient->field;
    for (int c = 0; c < 3; c++) {
        float least = -1;
        for (int32_t i = 0; i < field->width * field->height; i++) {
            if (field->weight[i] > 0 && (least < 0 || field->value[c][i] < least))
                least = field->value[c][i];
        }
        gradient->least[c] = LEAST_SHARE * larger(least, 0);
    }
}

/* Light of the slow field along a row. */
static void field_row(const struct gradient *gradient, int plane, int32_t x0, int32_t y, int32_t count, float *out)
{
    cells_row(&gradient->field, plane, x0, y, count, out);
    if (plane == PLANE_A) {
        for (int32_t i = 0; i < count; i++)
            out[i] = gradient->opaque ? 1 : between(out[i], 0, 1);
        return;
    }
    for (int32_t i = 0; i < count; i++)
        out[i] = fourth_power(larger(out[i], gradient->least[plane]));
}

/* ---- the border ------------------------------------------------------------------------------------------------ */

/* Adds plate - field of one pixel, `depth` pixels from a side, to the border value it belongs to; `deep`: pixels from
 * there to the other side. Two groups of pixels, one behind the other, tell value and slope. */
static void rim_add(const struct rim *rim, int c, int32_t place, int32_t depth, int32_t deep, float off)
{
    const int32_t group = deep < 2 * RIM_DEPTH ? deep : RIM_DEPTH;
    if (depth < group)
        rim->miss[0][c][place] += off / (float)group;
    if (deep >= 2 * RIM_DEPTH && depth < 2 * RIM_DEPTH)
        rim->slope[c][place] += (depth < RIM_DEPTH ? off : -off) / (float)(RIM_DEPTH * RIM_DEPTH);
}

static void rim_collect(const struct rim *rim, struct rect plate, int c, int32_t x, int32_t y, float off)
{
    const int32_t w = rect_width(plate), h = rect_height(plate);
    const int32_t left = x - plate.x0, top = y - plate.y0;
    rim_add(rim, c, left, top, h, off);
    rim_add(rim, c, w + top, w - 1 - left, w, off);
    rim_add(rim, c, 2 * w + h - 1 - left, h - 1 - top, h, off);
    rim_add(rim, c, 2 * w + 2 * h - 1 - top, left, w, off);
}

static void rim_measure(const struct gradient *gradient, const struct picture *plate, float *row)
{
    const struct rect area = gradient->plate;
    const int32_t w = rect_width(area);
    for (int32_t y = area.y0; y < area.y1; y++) {
        const bool along = y - area.y0 < 2 * RIM_DEPTH || area.y1 - y <= 2 * RIM_DEPTH;
        for (int c = 0; c < 3; c++) {
            const float *own = picture_row(plate, (enum plane)c, y) + (area.x0 - plate->area.x0);
            field_row(gradient, c, area.x0, y, w, row);
            for (int32_t x = 0; x < w; x++) {
                if (along || x < 2 * RIM_DEPTH || w - x <= 2 * RIM_DEPTH)
                    rim_collect(&gradient->rim, area, c, area.x0 + x, y, own[x] - row[x]);
            }
        }
    }
}

/* out = mean of the 2 radius + 1 values around, on a ring. */
static void ring_box(const float *in, float *out, int32_t length, int32_t radius)
{
    double sum = 0;
    for (int32_t i = -radius; i <= radius; i++)
        sum += (double)in[(i + length) % length];
    for (int32_t i = 0; i < length; i++) {
        out[i] = (float)(sum / (2 * radius + 1));
        sum += (double)in[(i + radius + 1) % length] - (double)in[(i - radius + length) % length];
    }
}

static int32_t ring_radius(int32_t wanted, int32_t length)
{
    return wanted < (length - 1) / 2 ? wanted : (length - 1) / 2;
}

/* Three boxes are nearly a Gaussian of variance radius (radius + 1). */
static void ring_blur(const float *in, float *out, float *spare, int32_t length, int32_t radius)
{
    ring_box(in, out, length, radius);
    ring_box(out, spare, length, radius);
    ring_box(spare, out, length, radius);
}

static int by_value(const void *a, const void *b)
{
    const float x = *(const float *)a, y = *(const float *)b;
    return (x > y) - (x < y);
}

/* A star or a spire at the border is not carried far: what it misses by more than most places is cut. */
static void ring_limit(float *miss, int32_t length, float *spare)
{
    for (int32_t i = 0; i < length; i++)
        spare[i] = fabsf(miss[i]);
    qsort(spare, (size_t)length, sizeof *spare, by_value);
    const float most = RIM_TIMES * spare[length / 2];
    for (int32_t i = 0; i < length; i++)
        miss[i] = between(miss[i], -most, most);
}

/* The field has the slopes that are wider than a cell, so of those only what is clearly more than grain is left to the
 * rim; finer ones are taken as they are. */
static void rim_slope(float *slope, int32_t length, int32_t cell, float *raw, float *spare)
{
    const int32_t radius = ring_radius(cell, length);
    double square = 0;
    memcpy(raw, slope, (size_t)length * sizeof *raw);
    for (int32_t i = 0; i + 1 < length; i++)
        square += 0.5 * ((double)raw[i + 1] - (double)raw[i]) * ((double)raw[i + 1] - (double)raw[i]);
    ring_blur(raw, slope, spare, length, radius);
    /* a Gaussian of sigma s leaves 1 / (2 sqrt(pi) s) of white noise's variance */
    const double kept = 1 / (3.545 * sqrt((double)radius * (radius + 1)) + 1);
    const float noise = CLEARLY * (float)(square / length * kept) + 1e-20F;
    for (int32_t i = 0; i < length; i++)
        raw[i] -= slope[i] * noise / (slope[i] * slope[i] + noise);
    ring_blur(raw, slope, spare, length, ring_radius(SLOPE_BLUR, length));
}

static enum passel_status rim_learn(struct gradient *gradient, const struct picture *plate, struct passel_error *error)
{
    struct rim *rim = &gradient->rim;
    const int32_t w = rect_width(gradient->plate), h = rect_height(gradient->plate);
    rim->length = 2 * (w + h);
    const size_t length = (size_t)rim->length;
    float *next = memory_zeros(length, (3 * RIM_LEVELS + 5) * sizeof *next);
    if (next == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    rim->block = next;
    for (int k = 0; k < RIM_LEVELS; k++) {
        for (int c = 0; c < 3; c++, next += length)
            rim->miss[k][c] = next;
    }
    for (int c = 0; c < 3; c++, next += length)
        rim->slope[c] = next;
    rim_measure(gradient, plate, next);
    float *raw = next, *spare = next + length, variance = 0;
    for (int c = 0; c < 3; c++)
        rim_slope(rim->slope[c], rim->length, gradient->field.size, raw, spare);
    for (int32_t k = 0, radius = 2; k < RIM_LEVELS; k++, radius *= 2) {
        const int32_t reach = ring_radius(radius, rim->length);
        variance += (float)reach * (float)(reach + 1);
        rim->sigma[k] = sqrtf(variance);
        for (int c = 0; c < 3; c++) {
            const float *from = rim->miss[k > 0 ? k - 1 : 0][c];
            memcpy(raw, from, length * sizeof *raw);
            if (k == RIM_NEAR)
                ring_limit(raw, rim->length, spare);
            ring_blur(raw, rim->miss[k][c], spare, rim->length, reach);
        }
    }
    return PASSEL_OK;
}

/* Nearest place on the border and the distance to it, for a pixel outside the plate or inside. */
static int32_t rim_place(const struct gradient *gradient, int32_t x, int32_t y, float *distance)
{
    const struct rect plate = gradient->plate, target = gradient->target;
    const int32_t w = rect_width(plate), h = rect_height(plate), far = RECT_LIMIT;
    const int32_t left = x - plate.x0, top = y - plate.y0, right = w - 1 - left, bottom = h - 1 - top;
    const int32_t out_x = left < 0 ? -left : right < 0 ? -right : 0, out_y = top < 0 ? -top : bottom < 0 ? -bottom : 0;
    const int32_t on_x = left < 0 ? 0 : right < 0 ? w - 1 : left, on_y = top < 0 ? 0 : bottom < 0 ? h - 1 : top;
    *distance = sqrtf((float)out_x * (float)out_x + (float)out_y * (float)out_y);
    if (out_y > 0)
        return top < 0 ? on_x : 2 * w + h - 1 - on_x;
    if (out_x > 0)
        return right < 0 ? w + on_y : 2 * w + 2 * h - 1 - on_y;
    const int32_t from_top = plate.y0 > target.y0 ? top : far, from_right = plate.x1 < target.x1 ? right : far;
    const int32_t from_bottom = plate.y1 < target.y1 ? bottom : far, from_left = plate.x0 > target.x0 ? left : far;
    const int32_t down = from_top < from_bottom ? from_top : from_bottom;
    const int32_t across = from_left < from_right ? from_left : from_right;
    *distance = (float)(down < across ? down : across);
    if (down <= across)
        return from_top <= from_bottom ? on_x : 2 * w + h - 1 - on_x;
    return from_right <= from_left ? w + on_y : 2 * w + 2 * h - 1 - on_y;
}

/* Where in the widening blurs a distance lies. */
struct rim_mix {
    int32_t place;
    int level;
    float to_next, strength, outwards;
};

static struct rim_mix rim_mix(const struct gradient *gradient, int32_t x, int32_t y)
{
    const struct rim *rim = &gradient->rim;
    const int32_t w = rect_width(gradient->plate), h = rect_height(gradient->plate);
    float distance;
    struct rim_mix mix = { .place = rim_place(gradient, x, y, &distance) };
    const float sigma = rim->sigma[0] + RIM_SPREAD * distance;
    while (mix.level < RIM_LEVELS - 2 && rim->sigma[mix.level + 1] <= sigma)
        mix.level++;
    const float below = rim->sigma[mix.level], above = rim->sigma[mix.level + 1];
    mix.to_next = above > below ? smaller((sigma - below) / (above - below), 1) : 0;
    const float out = rect_holds(gradient->plate, rect_of(x, y, x + 1, y + 1)) ? -distance : distance;
    const float short_fade = 1 + distance * distance * (1 / (SLOPE_FADE * SLOPE_FADE));
    mix.outwards = (out + (RIM_DEPTH - 1) / 2.0F) / (short_fade * short_fade);
    const float fade = distance / (RIM_FADE * (float)(w < h ? w : h));
    mix.strength = 1 / (1 + fade * fade);
    return mix;
}

static float rim_miss(const struct rim *rim, struct rim_mix mix, int c)
{
    const float here = rim->miss[mix.level][c][mix.place], next = rim->miss[mix.level + 1][c][mix.place];
    return mix.strength * (here + mix.to_next * (next - here)) + mix.outwards * rim->slope[c][mix.place];
}

/* ---- all together ---------------------------------------------------------------------------------------------- */

enum passel_status gradient_learn(struct gradient *gradient, const struct picture *plate, const struct picture *known,
                                  struct rect target, enum gradient_detail detail, struct passel_error *error)
{
    enum passel_status status;
    *gradient = (struct gradient){ .plate = plate->area, .target = target };
    GOTO_IF_ERROR(field_new(gradient, error), out_release);
    GOTO_IF_ERROR(field_measure(gradient, plate, known, error), out_release);
    find_least(gradient);
    GOTO_IF_ERROR(field_continue(gradient, detail, error), out_release);
    return PASSEL_OK;
out_release:
    gradient_release(gradient);
    return status;
}

enum passel_status gradient_learn_rim(struct gradient *gradient, const struct picture *plate,
                                      struct passel_error *error)
{
    return rim_learn(gradient, plate, error);
}

void gradient_release(struct gradient *gradient)
{
    cells_release(&gradient->field);
    memory_free(gradient->rim.block);
    gradient->rim.block = NULL;
}

void gradient_field_row(const struct gradient *gradient, int plane, int32_t x0, int32_t y, int32_t count, float *out)
{
    field_row(gradient, plane, x0, y, count, out);
}

void gradient_render(const struct gradient *gradient, int32_t x0, int32_t y, int32_t count, float *const planes[4])
{
    for (int p = 0; p < 4; p++) {
        if (planes[p] != NULL)
            field_row(gradient, p, x0, y, count, planes[p]);
    }
    for (int32_t i = 0; i < count && gradient->rim.block != NULL; i++) {
        const struct rim_mix mix = rim_mix(gradient, x0 + i, y);
        for (int c = 0; c < 3; c++) {
            if (planes[c] != NULL)
                planes[c][i] = fmaxf(planes[c][i] + rim_miss(&gradient->rim, mix, c), 0);
        }
    }
}
