/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Third derivatives along four directions keep structure apart by its direction far better than the gradient does:
 * relief shows its shading only across the lamp's direction, paint in all of them. A tile compares each of the four by
 * itself. With a the fixed picture's and b the moved one's, both less their tile's mean, the slope of b on a is
 * alpha = ab/aa, and what is left of b has the variance bb (1 - r²). The moved picture shifted by d shows
 * b ≈ alpha (a + d · grad a), so the likelihood's derivative is alpha (rest · grad a) / variance. Only the moved
 * picture is ever interpolated and only the fixed one differentiated, and their noises are unrelated: noise does not
 * pull the answer towards whole or half pixels.
 */
#include "numerics/register_level.h"

#include <math.h>
#include <string.h>

#include "base/error.h"
#include "numerics/blur.h"
#include "picture/function.h"

#define TILE 8
#define REACH 4 /* of the derivatives */
#define PATCH (TILE + 2 * REACH)
#define RING (TILE + 2) /* a tile and what its gradient needs */
#define MARGIN 2        /* pixels at a border that the smoothing has bent */
#define SMOOTHING 0.7
#define SMALLEST_LEVEL 40
#define FLAT 1e-13F   /* mean square of a third derivative, of the light's own, below which it is rounding */
#define CLOSEST 0.95F /* r² is not believed beyond this */
#define ENOUGH 0.6F   /* nor for the score: a few tiles that fit perfectly do not outvote many that fit */
#define CHANCE 0.1F   /* mean r² of tiles that have nothing to do with each other */
#define DIRECTIONS 4

/* ---- the pyramid ------------------------------------------------------------------------------------------------- */

/* Sum of the colours, or A, from (0, 0). */
static enum passel_status light_of(const struct picture *picture, struct picture *light, struct passel_error *error)
{
    const int32_t width = rect_width(picture->area), height = rect_height(picture->area);
    RETURN_IF_ERROR(picture_new(light, rect_of(0, 0, width, height), HAS_R, error));
    const bool coloured = (picture_planes(picture) & HAS_RGB) != 0;
    picture_fill(light, PLANE_R, light->area, 0);
    for (int p = 0; p < PLANE_COUNT; p++) {
        if (picture->plane[p] == NULL || (coloured && p == PLANE_A))
            continue;
        for (int32_t y = 0; y < height; y++) {
            const float *from = picture_row(picture, (enum plane)p, picture->area.y0 + y);
            float *to = picture_row(light, PLANE_R, y);
            for (int32_t x = 0; x < width; x++)
                to[x] += from[x];
        }
    }
    return PASSEL_OK;
}

/* Half the size, by (1 3 3 1)/8 both ways; an odd column or row is left out. */
static enum passel_status halve(const struct picture *from, struct picture *to, struct passel_error *error)
{
    const int32_t width = rect_width(from->area), height = rect_height(from->area);
    RETURN_IF_ERROR(picture_new(to, rect_of(0, 0, width / 2, height / 2), HAS_R, error));
    for (int32_t y = 0; y < height / 2; y++) {
        const float *rows[4];
        for (int i = 0; i < 4; i++) {
            const int32_t v = 2 * y - 1 + i;
            rows[i] = picture_row(from, PLANE_R, v < 0 ? 0 : v >= height ? height - 1 : v);
        }
        float *out = picture_row(to, PLANE_R, y);
        for (int32_t x = 0; x < width / 2; x++) {
            const int32_t u[4] = { x > 0 ? 2 * x - 1 : 0, 2 * x, 2 * x + 1, 2 * x + 2 < width ? 2 * x + 2 : width - 1 };
            float down[4];
            for (int i = 0; i < 4; i++)
                down[i] = rows[0][u[i]] + 3 * (rows[1][u[i]] + rows[2][u[i]]) + rows[3][u[i]];
            out[x] = (down[0] + 3 * (down[1] + down[2]) + down[3]) / 64;
        }
    }
    return PASSEL_OK;
}

static enum passel_status smooth(const struct picture *light, struct picture *smoothed, struct passel_error *error)
{
    struct arena scratch = { NULL };
    const enum passel_status status = blur_plane(smoothed, light, PLANE_R, SMOOTHING, &scratch, error);
    arena_release(&scratch);
    return status;
}

static enum passel_status level_pictures(struct register_level *level, const struct picture *fixed,
                                         const struct picture *moved, const struct picture *where,
                                         struct passel_error *error)
{
    RETURN_IF_ERROR(picture_new(&level->fixed, fixed->area, where != NULL ? HAS_R | HAS_A : HAS_R, error));
    RETURN_IF_ERROR(picture_new(&level->moved, moved->area, HAS_R, error));
    RETURN_IF_ERROR(picture_new(&level->spline, moved->area, HAS_R, error));
    RETURN_IF_ERROR(picture_new(&level->warped, fixed->area, HAS_R, error));
    RETURN_IF_ERROR(smooth(fixed, &level->fixed, error));
    RETURN_IF_ERROR(smooth(moved, &level->moved, error));
    for (int32_t y = 0; where != NULL && y < fixed->area.y1; y++)
        memcpy(picture_row(&level->fixed, PLANE_A, y), picture_row(where, PLANE_R, y),
               (size_t)fixed->area.x1 * sizeof(float));
    picture_copy(&level->spline, &level->moved);
    return spline_prepare(&level->spline, error);
}

/* The part of a shape that lies in `area`, moved to (0, 0), in plane R. */
static enum passel_status shape_part(const struct picture *where, struct rect area, struct picture *part,
                                     struct passel_error *error)
{
    RETURN_IF_ERROR(picture_new(part, rect_of(0, 0, rect_width(area), rect_height(area)), HAS_R, error));
    picture_fill(part, PLANE_R, part->area, 0);
    struct picture view = { .area = area, .stride = part->stride };
    struct picture source = { .area = where->area, .stride = where->stride };
    view.plane[PLANE_R] = part->plane[PLANE_R];
    source.plane[PLANE_R] = where->plane[PLANE_A];
    picture_copy(&view, &source);
    return PASSEL_OK;
}

/* The light of all three at the level being made. */
enum { LIGHT_FIXED, LIGHT_MOVED, LIGHT_WHERE, LIGHT_COUNT };

static enum passel_status halve_all(struct picture *light, struct passel_error *error)
{
    for (int i = 0; i < LIGHT_COUNT; i++) {
        struct picture half;
        if (light[i].owned == NULL)
            continue;
        RETURN_IF_ERROR(halve(&light[i], &half, error));
        picture_release(&light[i]);
        light[i] = half;
    }
    return PASSEL_OK;
}

static bool may_halve(const struct picture *light)
{
    const struct rect a = light[LIGHT_FIXED].area, b = light[LIGHT_MOVED].area;
    return a.x1 >= 2 * SMALLEST_LEVEL && a.y1 >= 2 * SMALLEST_LEVEL && b.x1 >= 2 * SMALLEST_LEVEL &&
           b.y1 >= 2 * SMALLEST_LEVEL;
}

enum passel_status register_pyramid_new(const struct picture *fixed, const struct picture *moved,
                                        const struct picture *where, struct register_pyramid *pyramid,
                                        struct passel_error *error)
{
    struct picture light[LIGHT_COUNT] = { 0 };
    enum passel_status status;
    *pyramid = (struct register_pyramid){ .fixed = fixed->area, .moved = moved->area };
    GOTO_IF_ERROR(light_of(fixed, &light[LIGHT_FIXED], error), out_light);
    GOTO_IF_ERROR(light_of(moved, &light[LIGHT_MOVED], error), out_light);
    if (where != NULL)
        GOTO_IF_ERROR(shape_part(where, fixed->area, &light[LIGHT_WHERE], error), out_light);
    for (double scale = 1;; scale *= 2) {
        struct register_level *level = &pyramid->levels[pyramid->count++];
        level->scale = scale;
        GOTO_IF_ERROR(level_pictures(level, &light[LIGHT_FIXED], &light[LIGHT_MOVED],
                                     where != NULL ? &light[LIGHT_WHERE] : NULL, error),
                      out_light);
        if (!may_halve(light) || pyramid->count == REGISTER_LEVELS)
            break;
        GOTO_IF_ERROR(halve_all(light, error), out_light);
    }
out_light:
    for (int i = 0; i < LIGHT_COUNT; i++)
        picture_release(&light[i]);
    if (status != PASSEL_OK)
        register_pyramid_release(pyramid);
    return status;
}

void register_pyramid_release(struct register_pyramid *pyramid)
{
    for (int i = 0; i < pyramid->count; i++) {
        picture_release(&pyramid->levels[i].fixed);
        picture_release(&pyramid->levels[i].moved);
        picture_release(&pyramid->levels[i].spline);
        picture_release(&pyramid->levels[i].warped);
    }
    pyramid->count = 0;
}

/* ---- laying one on the other ------------------------------------------------------------------------------------- */

/* The map in pixels of a level, from corner to corner of the areas. */
static struct transform level_map(const struct register_pyramid *pyramid, int level, const struct transform *map)
{
    const double scale = pyramid->levels[level].scale;
    const struct transform up = { { scale, 0, pyramid->fixed.x0, 0, scale, pyramid->fixed.y0, 0, 0, 1 } };
    const struct transform down = { { 1 / scale, 0, -pyramid->moved.x0 / scale, 0, 1 / scale,
                                      -pyramid->moved.y0 / scale, 0, 0, 1 } };
    return transform_chain(transform_chain(up, *map), down);
}

enum passel_status register_warp(const struct register_pyramid *pyramid, int level, const struct transform *map,
                                 struct passel_error *error)
{
    const struct register_level *here = &pyramid->levels[level];
    const struct transform t = level_map(pyramid, level, map);
    const struct picture *from = transform_wants_spline(&t, FILTER_SPLINE) ? &here->spline : &here->moved;
    return picture_resample(&here->warped, from, from->area, true, &t, FILTER_SPLINE, error);
}

/* ---- tiles ------------------------------------------------------------------------------------------------------- */

typedef float tile_values[TILE][TILE];
typedef float ring_values[RING][RING];

/* The third derivatives of a patch across, down and along both diagonals; by central differences. */
static void derive(const float *patch, size_t stride, ring_values *out)
{
    float one[PATCH][RING], two[PATCH][RING];
    for (int y = 0; y < PATCH; y++)
        for (int x = 0; x < RING; x++) {
            const float *p = patch + (size_t)y * stride + x + 3;
            one[y][x] = (p[1] - p[-1]) / 2;
            two[y][x] = (p[2] - 2 * p[0] + p[-2]) / 4;
        }
    for (int y = 0; y < RING; y++)
        for (int x = 0; x < RING; x++) {
            const float *p = patch + (size_t)(y + 3) * stride + x + 3;
            const float xxx = (p[3] - p[-3] - 3 * (p[1] - p[-1])) / 8;
            const float xxy = (two[y + 4][x] - two[y + 2][x]) / 2;
            const float xyy = (one[y + 5][x] - 2 * one[y + 3][x] + one[y + 1][x]) / 4;
            const float yyy = (p[3 * (ptrdiff_t)stride] - p[-3 * (ptrdiff_t)stride] -
                               3 * (p[(ptrdiff_t)stride] - p[-(ptrdiff_t)stride])) /
                              8;
            out[0][y][x] = xxx;
            out[1][y][x] = yyy;
            out[2][y][x] = xxx + yyy + 3 * (xxy + xyy);
            out[3][y][x] = xxx - yyy - 3 * (xxy - xyy);
        }
}

/* Lanes keep the order of the sums, and vectors. */
static float product(tile_values a, tile_values b)
{
    float lanes[TILE] = { 0 };
    for (int y = 0; y < TILE; y++)
        for (int x = 0; x < TILE; x++)
            lanes[x] += a[y][x] * b[y][x];
    float sum = 0;
    for (int x = 0; x < TILE; x++)
        sum += lanes[x];
    return sum;
}

static void without_mean(tile_values a)
{
    float lanes[TILE] = { 0 };
    for (int y = 0; y < TILE; y++)
        for (int x = 0; x < TILE; x++)
            lanes[x] += a[y][x];
    float sum = 0;
    for (int x = 0; x < TILE; x++)
        sum += lanes[x];
    const float mean = sum / (TILE * TILE);
    for (int y = 0; y < TILE; y++)
        for (int x = 0; x < TILE; x++)
            a[y][x] -= mean;
}

static void inner(ring_values ring, tile_values out)
{
    for (int y = 0; y < TILE; y++)
        memcpy(out[y], &ring[y + 1][1], sizeof out[y]);
    without_mean(out);
}

/* Gradients of a ring, less their mean and what is along `a`. */
static void slopes(ring_values ring, tile_values a, float aa, tile_values across, tile_values down)
{
    for (int y = 0; y < TILE; y++)
        for (int x = 0; x < TILE; x++) {
            across[y][x] = (ring[y + 1][x + 2] - ring[y + 1][x]) / 2;
            down[y][x] = (ring[y + 2][x + 1] - ring[y][x + 1]) / 2;
        }
    without_mean(across);
    without_mean(down);
    const float kx = product(across, a) / aa, ky = product(down, a) / aa;
    for (int y = 0; y < TILE; y++)
        for (int x = 0; x < TILE; x++) {
            across[y][x] -= kx * a[y][x];
            down[y][x] -= ky * a[y][x];
        }
}

/* Mean square of the light of a patch. */
static float brightness(const float *patch, size_t stride)
{
    float sum = 0;
    for (int y = 0; y < PATCH; y++)
        for (int x = 0; x < PATCH; x++)
            sum += patch[(size_t)y * stride + (size_t)x] * patch[(size_t)y * stride + (size_t)x];
    return sum / (PATCH * PATCH);
}

/* Squares and product of the two, and how much of their structure both have. */
struct shares {
    float aa, bb, ab, shared;
};

/* Where the tile wants to go, and how surely. `b` is used up. */
static void add_pull(ring_values fixed, tile_values a, tile_values b, const struct shares *s,
                     struct register_tile *tile)
{
    tile_values across, down;
    const float alpha = s->ab / s->aa;
    const float trust = TILE * TILE / (s->bb * (1 - s->shared));
    const float real = fmaxf((s->shared - CHANCE) / (s->shared * (1 - CHANCE) + 1e-9F), 0);
    const float along = trust * alpha * real, certain = along * alpha * real;
    slopes(fixed, a, s->aa, across, down);
    for (int y = 0; y < TILE; y++)
        for (int x = 0; x < TILE; x++)
            b[y][x] -= alpha * a[y][x];
    tile->gx += along * product(b, across);
    tile->gy += along * product(b, down);
    tile->hxx += certain * product(across, across);
    tile->hxy += certain * product(across, down);
    tile->hyy += certain * product(down, down);
}

/* Adds one direction to the tile; in pixels of the level. `least` are the sums of squares that say something. */
static void compare(ring_values fixed, ring_values moved, const float least[2], bool scores, struct register_tile *tile)
{
    tile_values a, b;
    inner(fixed, a);
    inner(moved, b);
    const float aa = product(a, a), bb = product(b, b), ab = product(a, b);
    if (!(aa > least[0] && bb > least[1]))
        return;
    const float shared = fminf(ab * ab / (aa * bb), CLOSEST);
    tile->score -= (float)function_log2(1 - (double)fminf(shared, ENOUGH));
    tile->agreement += shared / DIRECTIONS;
    if (!scores)
        add_pull(fixed, a, b, &(struct shares){ aa, bb, ab, shared }, tile);
}

static void compare_patches(const float *fixed, size_t fixed_stride, const float *moved, size_t moved_stride,
                            bool scores, struct register_tile *tile)
{
    ring_values a[DIRECTIONS], b[DIRECTIONS];
    const float least[2] = { FLAT * TILE * TILE * brightness(fixed, fixed_stride),
                             FLAT * TILE * TILE * brightness(moved, moved_stride) };
    derive(fixed, fixed_stride, a);
    derive(moved, moved_stride, b);
    for (int i = 0; i < DIRECTIONS; i++)
        compare(a[i], b[i], least, scores, tile);
}

static float tile_weight(const struct register_level *level, int32_t x0, int32_t y0)
{
    if (level->fixed.plane[PLANE_A] == NULL)
        return 1;
    float sum = 0;
    for (int32_t y = y0; y < y0 + TILE; y++)
        for (int32_t x = x0; x < x0 + TILE; x++)
            sum += fminf(fmaxf(picture_row(&level->fixed, PLANE_A, y)[x], 0), 1);
    return sum / (TILE * TILE);
}

static bool inside(const struct transform *t, struct rect patch, struct rect area)
{
    const double xs[2] = { patch.x0, patch.x1 }, ys[2] = { patch.y0, patch.y1 };
    for (int i = 0; i < 4; i++) {
        double x, y;
        transform_point(t, xs[i & 1], ys[i >> 1], &x, &y);
        if (!(x >= area.x0 + MARGIN && x <= area.x1 - MARGIN && y >= area.y0 + MARGIN && y <= area.y1 - MARGIN))
            return false;
    }
    return true;
}

static int grid_count(int32_t size)
{
    const int32_t room = size - 2 * (REACH + MARGIN);
    return room < TILE ? 0 : room / TILE;
}

int register_tile_room(const struct register_level *level)
{
    return grid_count(level->fixed.area.x1) * grid_count(level->fixed.area.y1);
}

/* From pixels of the level to full ones. */
static void scale_tile(struct register_tile *tile, double scale, struct rect full, int32_t x, int32_t y)
{
    const float s = (float)scale;
    tile->x = (float)(full.x0 + (x + TILE / 2.0) * scale);
    tile->y = (float)(full.y0 + (y + TILE / 2.0) * scale);
    tile->gx /= s;
    tile->gy /= s;
    tile->hxx /= s * s;
    tile->hxy /= s * s;
    tile->hyy /= s * s;
}

int register_measure(const struct register_pyramid *pyramid, int level, const struct register_view *view,
                     struct register_tile *tiles)
{
    const struct register_level *here = &pyramid->levels[level];
    const int columns = grid_count(here->fixed.area.x1), rows = grid_count(here->fixed.area.y1);
    const struct rect room =
        rect_grow(view->moved->area, view->map == NULL ? -MARGIN : 0, view->map == NULL ? -MARGIN : 0);
    const struct transform t = view->map != NULL ? level_map(pyramid, level, view->map) : transform_identity();
    int count = 0;
    for (int row = 0; row < rows; row += view->every)
        for (int column = 0; column < columns; column += view->every) {
            const int32_t x = MARGIN + REACH + column * TILE, y = MARGIN + REACH + row * TILE;
            const struct rect patch = rect_of(x - REACH, y - REACH, x + TILE + REACH, y + TILE + REACH);
            const struct rect other = rect_shift(patch, view->dx, view->dy);
            struct register_tile tile = { .weight = tile_weight(here, x, y) };
            if (tile.weight <= 0 || !rect_holds(room, other) ||
                (view->map != NULL && !inside(&t, other, here->moved.area)))
                continue;
            compare_patches(picture_row(&here->fixed, PLANE_R, patch.y0) + patch.x0, here->fixed.stride,
                            picture_row(view->moved, PLANE_R, other.y0) + other.x0, view->moved->stride, view->scores,
                            &tile);
            scale_tile(&tile, here->scale, pyramid->fixed, x, y);
            tiles[count++] = tile;
        }
    return count;
}
