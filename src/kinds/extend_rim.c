/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What the field misses at the border, pixel by pixel, is carried outwards ever more blurred along the border, as a
 * membrane would do, its slope a few pixels far, so the seam fits exactly and no streak starts from it.
 *
 * A star or a spark close behind the border is no part of it: a pixel has no more say than what is usual around there,
 * or what the outermost pixel before it is like. One that lies on the border is carried on, but only for a few pixels.
 *
 * Past a left or a right side the border's own light, shifted by the slant of the plate's structures, stands for field
 * and miss as far as the plate has shown that it guesses better (extend_manner.c).
 */
#include "kinds/extend_rim.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "kinds/extend_manner.h"
#include "numerics/between.h"
#include "numerics/order.h"

#define RIM_DEPTH 4 /* pixels that a border value is averaged over, inwards; as many more tell its slope */
#define DEEP (2 * RIM_DEPTH)
#define WINDOW 8          /* places each way: what is narrower than that stands out… */
#define STANDS_OUT 4.0F   /* …by so many times the usual distance from the middle */
#define SLOPE_BLUR 1      /* pixels along the border: a sigma of 1.4 */
#define CLEARLY 9.0F      /* 3 sigma, squared */
#define SLOPE_FADE 5.0F   /* pixels that a slope goes on */
#define RIM_SPREAD 0.6F   /* blur per pixel of distance */
#define CARRY_SPREAD 0.1F /* the same, of the border's own light carried on */
#define CARRY_FROM 8.0F   /* pixels from the border: nearer, the field and its miss have most of the say */
#define RIM_NEAR 2        /* from this blur on, what stands out is limited to… */
#define RIM_TIMES 4.0F    /* …the usual miss */
#define RIM_FADE 0.08F    /* of the plate's smaller side */
#define BELOW 0.75F       /* of the darkest light beside it: no place gets darker… */
#define ABOVE (1 / BELOW) /* …or so much brighter, by what was missed nearby */

/* Memory of the learning. */
struct learning {
    struct rim *rim;
    float *off[DEEP]; /* plate - field, so many pixels from the border, at every place; one colour */
    float *light;     /* of the outermost pixel */
    float *root;      /* of the mean light of the outermost RIM_DEPTH */
    float *middle, *usual, *near, *raw, *spare, *row;
    void *block;
};

static enum passel_status learning_new(struct learning *learning, struct rim *rim, int32_t width,
                                       struct passel_error *error)
{
    const size_t length = (size_t)rim->length;
    *learning = (struct learning){ .rim = rim };
    float *next = learning->block = memory_zeros(length * (DEEP + 7) + (size_t)width, sizeof *next);
    if (next == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int k = 0; k < DEEP; k++, next += length)
        learning->off[k] = next;
    learning->middle = next;
    learning->usual = next + length;
    learning->near = next + 2 * length;
    learning->raw = next + 3 * length;
    learning->spare = next + 4 * length;
    learning->light = next + 5 * length;
    learning->root = next + 6 * length;
    learning->row = next + 7 * length;
    return PASSEL_OK;
}

/* ---- collecting ------------------------------------------------------------------------------------------------ */

/* Where the i-th pixel along a side, from the left or from the top, is on the ring. */
static int32_t place_along(struct rect plate, enum side side, int32_t i)
{
    const int32_t w = rect_width(plate), h = rect_height(plate);
    const int32_t place[SIDE_COUNT] = { i, 2 * w + h - 1 - i, 2 * w + 2 * h - 1 - i, w + i };
    return place[side];
}

/* A pixel of the plate belongs to a place of each of the four sides that it is near. */
static void collect(const struct learning *learning, struct rect plate, int32_t x, int32_t y, float own, float off)
{
    const int32_t w = rect_width(plate), h = rect_height(plate);
    const int32_t left = x - plate.x0, top = y - plate.y0;
    const int32_t depth[SIDE_COUNT] = { top, h - 1 - top, left, w - 1 - left };
    for (int side = 0; side < SIDE_COUNT; side++) {
        const int32_t place = place_along(plate, (enum side)side, is_upright((enum side)side) ? left : top);
        if (depth[side] < DEEP)
            learning->off[depth[side]][place] = off;
        if (depth[side] < RIM_DEPTH)
            learning->root[place] += own;
        if (depth[side] == 0)
            learning->light[place] = own;
    }
}

static void collect_plane(const struct learning *learning, const struct gradient *gradient, const struct picture *plate,
                          int c)
{
    const struct rect area = gradient->plate;
    const int32_t w = rect_width(area);
    memset(learning->root, 0, (size_t)learning->rim->length * sizeof *learning->root);
    for (int32_t y = area.y0; y < area.y1; y++) {
        const bool along = y - area.y0 < DEEP || area.y1 - y <= DEEP;
        const float *own = picture_row(plate, (enum plane)c, y) + (area.x0 - plate->area.x0);
        gradient_field_row(gradient, c, area.x0, y, w, learning->row);
        for (int32_t x = 0; x < w; x++) {
            if (along || x < DEEP || w - x <= DEEP)
                collect(learning, area, area.x0 + x, y, own[x], own[x] - learning->row[x]);
        }
    }
}

/* Pixels from a place straight through the plate to the other side. */
static int32_t pixels_behind(struct rect plate, int32_t place)
{
    const int32_t w = rect_width(plate), h = rect_height(plate);
    return place < w || (place >= w + h && place < 2 * w + h) ? h : w;
}

/* ---- rings ----------------------------------------------------------------------------------------------------- */

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

/* A star or a spire at the border is not carried far: what it misses by more than most places is cut. */
static void ring_limit(float *miss, int32_t length, float *spare)
{
    for (int32_t i = 0; i < length; i++)
        spare[i] = fabsf(miss[i]);
    qsort(spare, (size_t)length, sizeof *spare, rising_floats);
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

/* ---- what is usual --------------------------------------------------------------------------------------------- */

/* out = the middle one of the values around each place. */
static void ring_middle(const float *in, float *out, int32_t length)
{
    const int32_t reach = ring_radius(WINDOW, length);
    float around[2 * WINDOW + 1];
    for (int32_t i = 0; i < length; i++) {
        for (int32_t k = -reach; k <= reach; k++)
            around[k + reach] = in[(i + k + length) % length];
        out[i] = middle_of_few(around, 2 * reach + 1);
    }
}

/* middle and usual: of what is around each place, and how far from there values mostly are. */
static void find_usual(const struct learning *learning, const float *values)
{
    const int32_t length = learning->rim->length;
    ring_middle(values, learning->middle, length);
    for (int32_t i = 0; i < length; i++)
        learning->spare[i] = fabsf(values[i] - learning->middle[i]);
    ring_middle(learning->spare, learning->usual, length);
}

/* Behind the outermost pixel only what is usual or like that pixel is let stand. */
static void limit_behind(const struct learning *learning, int32_t depth)
{
    float *off = learning->off[depth];
    const float *outermost = learning->off[0];
    find_usual(learning, off);
    for (int32_t i = 0; i < learning->rim->length; i++) {
        const float slack = STANDS_OUT * learning->usual[i], middle = learning->middle[i];
        off[i] = between(off[i], smaller(middle, outermost[i]) - slack, larger(middle, outermost[i]) + slack);
    }
}

/* Takes off what is narrow. */
static void limit_narrow(const struct learning *learning, float *values)
{
    find_usual(learning, values);
    for (int32_t i = 0; i < learning->rim->length; i++) {
        const float slack = STANDS_OUT * learning->usual[i], middle = learning->middle[i];
        values[i] = between(values[i], middle - slack, middle + slack);
    }
}

/* Two groups of pixels, one behind the other, tell value and slope. */
static void find_values(const struct learning *learning, struct rect plate, float *miss, float *slope)
{
    for (int32_t i = 0; i < learning->rim->length; i++) {
        const int32_t deep = pixels_behind(plate, i), group = deep < DEEP ? deep : RIM_DEPTH;
        float sum = 0, behind = 0;
        for (int32_t k = 0; k < group && k < DEEP; k++)
            sum += learning->off[k][i];
        for (int32_t k = RIM_DEPTH; k < DEEP && deep >= DEEP; k++)
            behind += learning->off[k][i];
        miss[i] = sum / (float)group;
        slope[i] = deep >= DEEP ? (sum - behind) / (float)(RIM_DEPTH * RIM_DEPTH) : 0;
    }
}

/* ---- learning -------------------------------------------------------------------------------------------------- */

static enum passel_status rim_new(struct rim *rim, struct rect plate, struct passel_error *error)
{
    rim->length = 2 * (rect_width(plate) + rect_height(plate));
    const size_t length = (size_t)rim->length;
    float *next = memory_zeros(length, (6 * RIM_LEVELS + 11) * sizeof *next), variance = 0;
    if (next == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    rim->block = next;
    for (int k = 0; k < RIM_LEVELS; k++) {
        const int32_t reach = ring_radius(2 << k, rim->length);
        variance += (float)reach * (float)(reach + 1);
        rim->sigma[k] = sqrtf(variance);
        for (int c = 0; c < 3; c++, next += 2 * length) {
            rim->miss[k][c] = next;
            rim->own[k][c] = next + length;
        }
    }
    for (int c = 0; c < 3; c++, next += 3 * length) {
        rim->slope[c] = next;
        rim->low[c] = next + length;
        rim->high[c] = next + 2 * length;
    }
    rim->say = next;
    rim->slant = next + length;
    return PASSEL_OK;
}

/* The least and the most of what is usual along the border around each place. */
static void find_range(const struct learning *learning, int c)
{
    const int32_t length = learning->rim->length, reach = ring_radius(WINDOW, length);
    const float *light = learning->middle;
    ring_middle(learning->light, learning->middle, length);
    for (int32_t i = 0; i < length; i++) {
        float low = light[i], high = light[i];
        for (int32_t k = -2 * reach; k <= 2 * reach; k++) {
            low = smaller(low, light[(i + k + 2 * length) % length]);
            high = larger(high, light[(i + k + 2 * length) % length]);
        }
        learning->rim->low[c][i] = BELOW * low;
        learning->rim->high[c][i] = ABOVE * high;
    }
}

/* What stands out is no part of what is carried on. */
static void learn_own(const struct learning *learning, struct rect plate, int c)
{
    const struct rim *rim = learning->rim;
    float *root = learning->root;
    for (int32_t i = 0; i < rim->length; i++) {
        const int32_t deep = pixels_behind(plate, i), group = deep < RIM_DEPTH ? deep : RIM_DEPTH;
        root[i] = sqrtf(larger(root[i] / (float)group, 0));
    }
    limit_narrow(learning, root);
    for (int k = 0; k < RIM_LEVELS; k++)
        ring_blur(k > 0 ? rim->own[k - 1][c] : root, rim->own[k][c], learning->spare, rim->length,
                  ring_radius(2 << k, rim->length));
}

/* From cells to the places of the ring. */
static void learn_carrying(const struct gradient *gradient, enum side side)
{
    const struct carrying *carrying = &gradient->carrying[side];
    const struct rim *rim = &gradient->rim;
    const struct rect plate = gradient->plate;
    const bool upright = is_upright(side), turned = side == SIDE_BOTTOM || side == SIDE_LEFT;
    const int32_t length = side_length(gradient, side);
    for (int32_t i = 0; carrying->say != NULL && i < (upright ? rect_width(plate) : rect_height(plate)); i++) {
        const float at = between(((float)i + 0.5F) / (float)gradient->field.size - 0.5F, 0, (float)(length - 1));
        const int32_t first = (int32_t)at, second = first + 1 < length ? first + 1 : first;
        const float to_next = at - (float)first;
        const int32_t place = place_along(plate, side, i);
        const float slant =
            (float)carrying->slant[first] + to_next * (float)(carrying->slant[second] - carrying->slant[first]);
        rim->say[place] = (float)carrying->say[first] + to_next * (float)(carrying->say[second] - carrying->say[first]);
        rim->slant[place] = turned ? -slant : slant;
    }
}

static void learn_plane(const struct learning *learning, const struct gradient *gradient, const struct picture *plate,
                        int c)
{
    const struct rim *rim = learning->rim;
    const size_t bytes = (size_t)rim->length * sizeof(float);
    float *raw = learning->raw, *spare = learning->spare;
    collect_plane(learning, gradient, plate, c);
    find_range(learning, c);
    learn_own(learning, gradient->plate, c);
    for (int32_t k = 1; k < DEEP; k++)
        limit_behind(learning, k);
    find_values(learning, gradient->plate, learning->near, rim->slope[c]);
    limit_narrow(learning, rim->slope[c]);
    rim_slope(rim->slope[c], rim->length, gradient->field.size, raw, spare);
    memcpy(raw, learning->near, bytes);
    for (int k = 0; k < RIM_LEVELS; k++) {
        ring_blur(raw, rim->miss[k][c], spare, rim->length, ring_radius(2 << k, rim->length));
        memcpy(raw, rim->miss[k][c], bytes);
        if (k == 0) {
            limit_narrow(learning, learning->near);
            ring_blur(learning->near, raw, spare, rim->length, ring_radius(2, rim->length));
        }
        if (k + 1 == RIM_NEAR)
            ring_limit(raw, rim->length, spare);
    }
}

enum passel_status rim_learn(struct gradient *gradient, const struct picture *plate, struct passel_error *error)
{
    struct learning learning;
    RETURN_IF_ERROR(rim_new(&gradient->rim, gradient->plate, error));
    RETURN_IF_ERROR(learning_new(&learning, &gradient->rim, rect_width(gradient->plate), error));
    for (int c = 0; c < 3; c++)
        learn_plane(&learning, gradient, plate, c);
    for (int side = 0; side < SIDE_COUNT; side++)
        learn_carrying(gradient, (enum side)side);
    memory_free(learning.block);
    return PASSEL_OK;
}

/* ---- laying it on ---------------------------------------------------------------------------------------------- */

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
        return place_along(plate, top < 0 ? SIDE_TOP : SIDE_BOTTOM, on_x);
    if (out_x > 0)
        return place_along(plate, right < 0 ? SIDE_RIGHT : SIDE_LEFT, on_y);
    const int32_t from_top = plate.y0 > target.y0 ? top : far, from_right = plate.x1 < target.x1 ? right : far;
    const int32_t from_bottom = plate.y1 < target.y1 ? bottom : far, from_left = plate.x0 > target.x0 ? left : far;
    const int32_t down = from_top < from_bottom ? from_top : from_bottom;
    const int32_t across = from_left < from_right ? from_left : from_right;
    *distance = (float)(down < across ? down : across);
    if (down <= across)
        return place_along(plate, from_top <= from_bottom ? SIDE_TOP : SIDE_BOTTOM, on_x);
    return place_along(plate, from_right <= from_left ? SIDE_RIGHT : SIDE_LEFT, on_y);
}

/* Where in the widening blurs a distance lies. */
struct rim_mix {
    int32_t place;
    int level;
    float to_next, strength, outwards;
    float distance; /* 0 in the plate */
};

/* The widest blur that is no wider than sigma, but the last; *to_next: how far sigma has gone to the one after it. */
static int blur_level(const struct rim *rim, float sigma, float *to_next)
{
    int level = 0;
    while (level < RIM_LEVELS - 2 && rim->sigma[level + 1] <= sigma)
        level++;
    const float below = rim->sigma[level], above = rim->sigma[level + 1];
    *to_next = above > below ? smaller((sigma - below) / (above - below), 1) : 0;
    return level;
}

static struct rim_mix rim_mix(const struct gradient *gradient, int32_t x, int32_t y)
{
    const struct rim *rim = &gradient->rim;
    const int32_t w = rect_width(gradient->plate), h = rect_height(gradient->plate);
    float distance;
    struct rim_mix mix = { .place = rim_place(gradient, x, y, &distance) };
    mix.level = blur_level(rim, rim->sigma[0] + RIM_SPREAD * distance, &mix.to_next);
    const float out = rect_holds(gradient->plate, rect_of(x, y, x + 1, y + 1)) ? -distance : distance;
    mix.distance = larger(out, 0);
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

/* Beside an edge of much contrast the field is as blurred as its cells are, and what it misses on the bright side would
 * black out the dark one: as a membrane, the light stays within what is around it. */
static float corrected(const struct rim *rim, struct rim_mix mix, int c, float field)
{
    const float low = smaller(rim->low[c][mix.place], BELOW * field);
    const float high = larger(rim->high[c][mix.place], ABOVE * field);
    return larger(between(field + rim_miss(rim, mix, c), low, high), 0);
}

/* The place that is carried to another by its slant; it stays on its side. */
static float carried_place(const struct gradient *gradient, struct rim_mix mix)
{
    const int32_t w = rect_width(gradient->plate), h = rect_height(gradient->plate);
    const int32_t corner[5] = { 0, w, w + h, 2 * w + h, 2 * w + 2 * h };
    int side = 0;
    while (side < 3 && mix.place >= corner[side + 1])
        side++;
    return between((float)mix.place - gradient->rim.slant[mix.place] * mix.distance, (float)corner[side],
                   (float)(corner[side + 1] - 1));
}

/* At the seam the field and its miss fit better. */
static float carried_say(const struct rim *rim, struct rim_mix mix)
{
    const float square = mix.distance * mix.distance;
    return rim->say[mix.place] * square / (square + CARRY_FROM * CARRY_FROM);
}

/* The border's own light, carried on. */
static void carry(const struct gradient *gradient, struct rim_mix mix, float light[3])
{
    const struct rim *rim = &gradient->rim;
    const float at = carried_place(gradient, mix);
    const int32_t first = (int32_t)at, second = first + 1 < rim->length ? first + 1 : first;
    const float to_second = at - (float)first;
    float to_next;
    const int level = blur_level(rim, rim->sigma[0] + CARRY_SPREAD * mix.distance, &to_next);
    for (int c = 0; c < 3; c++) {
        const float *near = rim->own[level][c], *far = rim->own[level + 1][c];
        const float here = near[first] + to_second * (near[second] - near[first]);
        const float next = far[first] + to_second * (far[second] - far[first]);
        const float root = here + to_next * (next - here);
        light[c] = larger(root * root + mix.outwards * rim->slope[c][mix.place], 0);
    }
}

void rim_add_row(const struct gradient *gradient, int32_t x0, int32_t y, int32_t count, float *const planes[4])
{
    for (int32_t i = 0; i < count; i++) {
        const struct rim_mix mix = rim_mix(gradient, x0 + i, y);
        const float say = carried_say(&gradient->rim, mix);
        float carried[3] = { 0 };
        if (say > 0)
            carry(gradient, mix, carried);
        for (int c = 0; c < 3; c++) {
            if (planes[c] == NULL)
                continue;
            const float light = corrected(&gradient->rim, mix, c, planes[c][i]);
            planes[c][i] = say > 0 ? light + say * (carried[c] - light) : light;
        }
    }
}
