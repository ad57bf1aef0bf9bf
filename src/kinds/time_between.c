/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A pixel at share t between two frames is explained by a motion m: in the first frame it was at x - t m, in the second
 * it will be at x + (1 - t) m. Candidates for m are the flows found here and in the neighbourhood that something may
 * have come from or go to; each is settled against the flow of the first frame and against that of the second. A motion
 * on which both flows agree shows both frames, mixed by t; one that only one of them knows – the place is hidden in the
 * other frame – shows that one; without any the two frames are mixed where they are.
 */
#include "kinds/time_between.h"

#include <math.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "numerics/flow.h"

enum {
    BLOCK = 8,      /* pixels along the side of a block that candidates are kept for */
    CANDIDATES = 6, /* per block */
    SETTLING = 4    /* rounds of it */
};

struct candidate {
    float u, v;
};

struct motion {
    struct rect area; /* of both frames' data windows */
    int32_t width, height;
    struct flow there, back;
    float *light[2];  /* square root of light, about 0 … 1 */
    float *astray[2]; /* by how many pixels the way there and back misses its start */
    int32_t columns, rows;
    struct candidate *candidates; /* CANDIDATES per block */
    unsigned char *candidate_counts;
};

/* ---- what is found once ---------------------------------------------------------------------------------------- */

void motion_free(struct motion *motion)
{
    if (motion == NULL)
        return;
    flow_release(&motion->there);
    flow_release(&motion->back);
    for (int i = 0; i < 2; i++) {
        memory_free(motion->light[i]);
        memory_free(motion->astray[i]);
    }
    memory_free(motion->candidates);
    memory_free(motion->candidate_counts);
    memory_free(motion);
}

size_t motion_bytes(const struct motion *motion)
{
    if (motion == NULL)
        return 0;
    const size_t pixels = (size_t)motion->width * (size_t)motion->height;
    const size_t blocks = (size_t)motion->columns * (size_t)motion->rows;
    return sizeof *motion + pixels * 8 * sizeof(float) + blocks * (CANDIDATES * sizeof(struct candidate) + 1);
}

/* The square root of the light of a frame in the motion's area; returns the sum of the light. */
static double take_light(const struct motion *motion, const struct picture *frame, const struct gain_field *gain,
                         float *light)
{
    const struct rect part = rect_cut(motion->area, frame->area);
    double sum = 0;
    for (int32_t y = part.y0; y < part.y1; y++) {
        float *row = light + (size_t)(y - motion->area.y0) * (size_t)motion->width + (part.x0 - motion->area.x0);
        const int32_t skip = part.x0 - frame->area.x0;
        const float *r = picture_row(frame, PLANE_R, y) + skip, *g = picture_row(frame, PLANE_G, y) + skip,
                    *b = picture_row(frame, PLANE_B, y) + skip;
        for (int32_t x = 0; x < rect_width(part); x++) {
            row[x] = fmaxf(0.25f * r[x] + 0.5f * g[x] + 0.25f * b[x], 0);
            if (gain != NULL)
                row[x] *= gain_field_at(gain, part.x0 + x + 0.5, y + 0.5);
            sum += (double)row[x];
        }
    }
    return sum;
}

/* Four times the mean light of both is 1. */
static void scale_light(struct motion *motion, double sum)
{
    const size_t count = (size_t)motion->width * (size_t)motion->height;
    const float scale = sum > 0 ? (float)(0.5 * (double)count / sum) : 1;
    for (int k = 0; k < 2; k++) {
        for (size_t i = 0; i < count; i++)
            motion->light[k][i] = fminf(sqrtf(motion->light[k][i] * scale), 4);
    }
}

/* How far from its start a pixel comes to lie that goes with `out` and comes back with `home`. */
static void find_astray(const struct flow *out, const struct flow *home, float *astray)
{
    for (int32_t y = 0; y < out->height; y++) {
        for (int32_t x = 0; x < out->width; x++) {
            const size_t i = (size_t)y * (size_t)out->width + (size_t)x;
            const float tx = (float)x + out->u[i], ty = (float)y + out->v[i];
            const float u = out->u[i] + plane_linear(home->u, home->width, home->height, tx, ty);
            const float v = out->v[i] + plane_linear(home->v, home->width, home->height, tx, ty);
            astray[i] = sqrtf(u * u + v * v);
        }
    }
}

static void offer_candidate(struct motion *motion, int32_t column, int32_t row, struct candidate candidate)
{
    if (column < 0 || column >= motion->columns || row < 0 || row >= motion->rows)
        return;
    const size_t block = (size_t)row * (size_t)motion->columns + (size_t)column;
    struct candidate *list = motion->candidates + block * CANDIDATES;
    const int count = motion->candidate_counts[block];
    for (int i = 0; i < count; i++) {
        const float u = list[i].u - candidate.u, v = list[i].v - candidate.v;
        if (u * u + v * v < 1 + 0.01f * (candidate.u * candidate.u + candidate.v * candidate.v))
            return;
    }
    if (count == CANDIDATES)
        return;
    list[count] = candidate;
    motion->candidate_counts[block]++;
}

/* A block's motion is offered to all blocks around its way. */
static void offer_along(struct motion *motion, int32_t x, int32_t y, float sign, struct candidate candidate)
{
    const float length = fmaxf(fabsf(candidate.u), fabsf(candidate.v));
    const int steps = (int)fminf(length * (1.0f / BLOCK), 64) + 1;
    for (int s = 0; s <= steps; s++) {
        const float part = sign * (float)s / (float)steps;
        const int32_t column = (int32_t)floorf(((float)x + part * candidate.u) * (1.0f / BLOCK));
        const int32_t row = (int32_t)floorf(((float)y + part * candidate.v) * (1.0f / BLOCK));
        for (int32_t k = -1; k <= 1; k++) {
            for (int32_t i = -1; i <= 1; i++)
                offer_candidate(motion, column + i, row + k, candidate);
        }
    }
}

static void find_candidates(struct motion *motion)
{
    for (int32_t y = BLOCK / 2; y < motion->height; y += BLOCK) {
        for (int32_t x = BLOCK / 2; x < motion->width; x += BLOCK) {
            const size_t i = (size_t)y * (size_t)motion->width + (size_t)x;
            if (motion->astray[0][i] < 1)
                offer_along(motion, x, y, 1, (struct candidate){ motion->there.u[i], motion->there.v[i] });
            if (motion->astray[1][i] < 1)
                offer_along(motion, x, y, -1, (struct candidate){ -motion->back.u[i], -motion->back.v[i] });
        }
    }
}

static enum passel_status motion_new(struct rect area, struct motion **made, struct passel_error *error)
{
    struct motion *motion = memory_zeros(1, sizeof *motion);
    if (motion == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    motion->area = area;
    motion->width = rect_width(area);
    motion->height = rect_height(area);
    motion->columns = (motion->width + BLOCK - 1) / BLOCK;
    motion->rows = (motion->height + BLOCK - 1) / BLOCK;
    const size_t pixels = (size_t)motion->width * (size_t)motion->height;
    const size_t blocks = (size_t)motion->columns * (size_t)motion->rows;
    bool good = true;
    for (int i = 0; i < 2; i++) {
        motion->light[i] = memory_zeros(pixels, sizeof(float));
        motion->astray[i] = memory_zeros(pixels, sizeof(float));
        good = good && motion->light[i] != NULL && motion->astray[i] != NULL;
    }
    motion->candidates = memory_zeros(blocks * CANDIDATES, sizeof *motion->candidates);
    motion->candidate_counts = memory_zeros(blocks, 1);
    if (good && motion->candidates != NULL && motion->candidate_counts != NULL) {
        *made = motion;
        return PASSEL_OK;
    }
    motion_free(motion);
    return error_set(error, PASSEL_NO_MEMORY, "out of memory");
}

enum passel_status motion_find(const struct picture frames[2], const struct picture_info infos[2],
                               const struct gain_field *gains, struct motion **found, struct passel_error *error)
{
    const struct rect area = rect_join(infos[0].data, infos[1].data);
    struct motion *motion = NULL;
    *found = NULL;
    if (rect_empty(area))
        return PASSEL_OK;
    RETURN_IF_ERROR(motion_new(area, &motion, error));
    double sum = 0;
    for (int i = 0; i < 2; i++)
        sum += take_light(motion, &frames[i], gains != NULL ? &gains[i] : NULL, motion->light[i]);
    scale_light(motion, sum);
    const enum passel_status status = flow_find(motion->light[0], motion->light[1], motion->width, motion->height,
                                                &motion->there, &motion->back, error);
    if (status != PASSEL_OK) {
        motion_free(motion);
        return status;
    }
    find_astray(&motion->there, &motion->back, motion->astray[0]);
    find_astray(&motion->back, &motion->there, motion->astray[1]);
    find_candidates(motion);
    *found = motion;
    return PASSEL_OK;
}

/* ---- one pixel in between -------------------------------------------------------------------------------------- */

/* How a pixel is made: from where in each frame, and how much of each. */
struct source {
    float x[2], y[2];
    float weight[2];
};

/* Choices so far, for one pixel. */
struct choice_of_motion {
    float cost; /* of the motion that both frames know */
    float size; /* its length, squared */
    struct candidate both;
    struct candidate one[2]; /* what this frame alone knows */
    bool knows[2];
};

static const float ASTRAY = 0.7f;       /* pixels; what misses its start by more, and … */
static const float ASTRAY_SHARE = 0.1f; /* … by more than this part of its way, is hidden */
static const float SETTLED = 0.3f;      /* pixels that a settled motion may still move */
static const float ALIKE = 0.02f;       /* costs that differ by less are the same */
static const float COST_LIMIT = 0.25f;

/* Moves a candidate until it is the flow of frame k at the place it comes from (goes to). False when it does not
 * settle or leaves the area. */
static bool settle(const struct motion *motion, int k, float x, float y, float share, struct candidate *candidate)
{
    const struct flow *flow = k == 0 ? &motion->there : &motion->back;
    const float sign = k == 0 ? 1 : -1, part = k == 0 ? -share : 1 - share;
    float moved = 0;
    for (int round = 0; round < SETTLING; round++) {
        const float px = x + part * candidate->u, py = y + part * candidate->v;
        const float u = sign * plane_linear(flow->u, flow->width, flow->height, px, py);
        const float v = sign * plane_linear(flow->v, flow->width, flow->height, px, py);
        moved = fabsf(u - candidate->u) + fabsf(v - candidate->v);
        candidate->u = u;
        candidate->v = v;
    }
    return moved < SETTLED;
}

static float light_at(const struct motion *motion, int k, float x, float y)
{
    return plane_linear(motion->light[k], motion->width, motion->height, x, y);
}

static bool is_astray(const struct motion *motion, int k, float x, float y, struct candidate c)
{
    const float miss = plane_linear(motion->astray[k], motion->width, motion->height, x, y);
    return miss * miss > ASTRAY * ASTRAY + ASTRAY_SHARE * ASTRAY_SHARE * (c.u * c.u + c.v * c.v);
}

static bool is_inside(const struct motion *motion, float x, float y)
{
    return x > -0.5f && y > -0.5f && x < (float)motion->width - 0.5f && y < (float)motion->height - 0.5f;
}

/* How much the five pixels around a place differ between the frames, as a part of their light: a surface may turn and
 * get brighter. 0.5 keeps noise in the dark small. */
static float mismatch(const struct motion *motion, float x, float y, float share, struct candidate c)
{
    static const float at[5][2] = { { 0, 0 }, { -1, 0 }, { 1, 0 }, { 0, -1 }, { 0, 1 } };
    float differ = 0, sum = 0;
    for (int i = 0; i < 5; i++) {
        const float px = x + at[i][0], py = y + at[i][1];
        const float a = light_at(motion, 0, px - share * c.u, py - share * c.v);
        const float b = light_at(motion, 1, px + (1 - share) * c.u, py + (1 - share) * c.v);
        differ += fabsf(a - b);
        sum += a + b;
    }
    return differ / (5 * 0.5f + sum);
}

static void consider_both(struct choice_of_motion *choice, float cost, struct candidate c)
{
    const float size = c.u * c.u + c.v * c.v;
    /* What moves more is in front of what it passes, unless it fits worse. */
    const bool better = cost < choice->cost - ALIKE || (cost < choice->cost + ALIKE && size > choice->size);
    if (!better)
        return;
    choice->cost = fminf(cost, choice->cost);
    choice->size = size;
    choice->both = c;
}

static void consider(const struct motion *motion, float x, float y, float share, struct candidate start,
                     struct choice_of_motion *choice)
{
    for (int k = 0; k < 2; k++) {
        struct candidate c = start;
        if (!settle(motion, k, x, y, share, &c))
            continue;
        const float px = x + (k == 0 ? -share : 1 - share) * c.u, py = y + (k == 0 ? -share : 1 - share) * c.v;
        const float ox = x + (k == 0 ? 1 - share : -share) * c.u, oy = y + (k == 0 ? 1 - share : -share) * c.v;
        if (!is_inside(motion, px, py))
            continue;
        if (!is_inside(motion, ox, oy) || is_astray(motion, k, px, py, c)) {
            choice->one[k] = c;
            choice->knows[k] = true;
            continue;
        }
        const float cost = mismatch(motion, x, y, share, c);
        if (cost < COST_LIMIT)
            consider_both(choice, cost, c);
    }
}

static void source_move(struct source *source, int k, float part, struct candidate c)
{
    if (c.u * c.u + c.v * c.v < 0.003f) /* still: no pixel is resampled for so little */
        return;
    source->x[k] += part * c.u;
    source->y[k] += part * c.v;
}

static struct source source_of(const struct choice_of_motion *choice, float x, float y, float share)
{
    struct source source = { { x, x }, { y, y }, { 1 - share, share } };
    const bool agreed = choice->cost < COST_LIMIT;
    for (int k = 0; k < 2; k++) {
        if (agreed || choice->knows[k])
            source_move(&source, k, k == 0 ? -share : 1 - share, agreed ? choice->both : choice->one[k]);
        else if (choice->knows[1 - k])
            source.weight[k] = 0;
    }
    for (int k = 0; k < 2; k++) {
        if (source.weight[1 - k] == 0)
            source.weight[k] = 1;
    }
    return source;
}

/* x and y count from the centre of the motion's first pixel. */
static struct source explain(const struct motion *motion, int32_t x, int32_t y, float share)
{
    const size_t i = (size_t)y * (size_t)motion->width + (size_t)x;
    const size_t block = (size_t)(y / BLOCK) * (size_t)motion->columns + (size_t)(x / BLOCK);
    struct choice_of_motion choice = { .cost = COST_LIMIT + ALIKE };
    const float fx = (float)x, fy = (float)y;
    consider(motion, fx, fy, share, (struct candidate){ motion->there.u[i], motion->there.v[i] }, &choice);
    consider(motion, fx, fy, share, (struct candidate){ -motion->back.u[i], -motion->back.v[i] }, &choice);
    for (int k = 0; k < motion->candidate_counts[block]; k++)
        consider(motion, fx, fy, share, motion->candidates[block * CANDIDATES + (size_t)k], &choice);
    return source_of(&choice, fx, fy, share);
}

/* ---- pixels ---------------------------------------------------------------------------------------------------- */

/* The four samples around a position and the weights of the cubic through them; at a whole position one weight is 1. */
struct taps {
    int32_t at[4];
    float weight[4];
};

static struct taps taps_at(float position, int32_t first, int32_t end)
{
    struct taps taps;
    const float whole = floorf(position), t = position - whole;
    taps.weight[0] = t * (-0.5f + t * (1 - 0.5f * t));
    taps.weight[1] = 1 + t * t * (-2.5f + 1.5f * t);
    taps.weight[2] = t * (0.5f + t * (2 - 1.5f * t));
    taps.weight[3] = t * t * (-0.5f + 0.5f * t);
    for (int i = 0; i < 4; i++) {
        const int32_t at = (int32_t)whole + i - 1;
        taps.at[i] = at < first ? first : at >= end ? end - 1 : at;
    }
    return taps;
}

/* A frame at a position (0 is the centre of the picture's pixel 0), added to value[plane]. */
static void add_sample(const struct picture *frame, const struct gain_field *gain, float x, float y, float weight,
                       const struct picture *out, float value[PLANE_COUNT])
{
    const struct taps across = taps_at(x, frame->area.x0, frame->area.x1),
                      down = taps_at(y, frame->area.y0, frame->area.y1);
    const float lit = gain != NULL ? weight * gain_field_at(gain, (double)x + 0.5, (double)y + 0.5) : weight;
    for (int p = 0; p < PLANE_COUNT; p++) {
        if (out->plane[p] == NULL)
            continue;
        float sum = 0;
        for (int r = 0; r < 4; r++) {
            const float *row = picture_row(frame, (enum plane)p, down.at[r]) - frame->area.x0;
            float part = 0;
            for (int c = 0; c < 4; c++)
                part += across.weight[c] * row[across.at[c]];
            sum += down.weight[r] * part;
        }
        value[p] += (p == PLANE_A ? weight : lit) * sum;
    }
}

static void fill_pixel(const struct motion *motion, const struct picture frames[2], const struct gain_field *gains,
                       float share, int32_t x, int32_t y, const struct picture *out)
{
    const struct source source = explain(motion, x - motion->area.x0, y - motion->area.y0, share);
    float value[PLANE_COUNT] = { 0 };
    for (int k = 0; k < 2; k++) {
        if (source.weight[k] == 0 || rect_empty(frames[k].area))
            continue;
        add_sample(&frames[k], gains != NULL ? &gains[k] : NULL, source.x[k] + (float)motion->area.x0,
                   source.y[k] + (float)motion->area.y0, source.weight[k], out, value);
    }
    for (int p = 0; p < PLANE_COUNT; p++) {
        if (out->plane[p] != NULL)
            picture_row(out, (enum plane)p, y)[x - out->area.x0] = value[p];
    }
}

void motion_between(const struct motion *motion, const struct picture frames[2], const struct gain_field *gains,
                    double share, const struct picture *out)
{
    for (int32_t y = out->area.y0; y < out->area.y1; y++) {
        for (int32_t x = out->area.x0; x < out->area.x1; x++)
            fill_pixel(motion, frames, gains, (float)share, x, y, out);
    }
}
