/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Along the border of the gap, anchors a little apart look for the pieces of the picture that look like what is around
 * them and go on far enough into the gap. Their offsets are the labels of a graph cut. What lies too deep for any piece
 * is filled in further passes, from the new border on.
 */
#include "numerics/patch_match.h"

#include <math.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "numerics/graph_cut.h"

#define RADIUS 8       /* of what an anchor compares */
#define ANCHOR_STEP 12 /* between anchors */
#define KEPT 4         /* offsets of an anchor */
#define APART 6        /* between them */
#define LABELS 48
#define LABELS_APART 16 /* pieces from nearly the same distance would show the same things beside each other */
#define CANDIDATES 512
#define DEPTH 96 /* how far into the gap a piece is followed */
#define PASSES 12
#define COST_MOST 100.0F /* of a piece */
#define ROUNDS 2         /* of the graph cut */
#define UNIT 1000        /* whole-number cost of a difference of one standard deviation */
#define BAD_SOURCE 50.0F /* cost of a cell from where there is nothing */
#define SHORT 2.0F       /* cost of a piece that does not go into the gap at all */
#define JOINT 0.05F      /* of a change of label, whatever it looks like */
#define REPEAT 1.5F      /* of a joint of two pieces from places so near each other that both show the same */
#define REPEAT_NEAR 40
#define AGAIN 0.8F   /* of showing what is shown elsewhere, too, for each time… */
#define AGAIN_MOST 3 /* …up to so many */
#define AGAIN_ROUNDS 2
#define BORDER 3.0F /* weight of meeting what is known */
#define BORDER_RADIUS 2
#define DULL 4.0F   /* cost of a source without any texture */
#define ENOUGH 0.5F /* of the border's texture is not dull */
#define LOUD 4.0F   /* cost of each time the border's texture above TOO_LIVELY of it: an edge, a mast */
#define TOO_LIVELY 1.5F
#define LIVELY_RADIUS 5   /* of what its liveliness is measured over */
#define STRANGE_MOST 1.0F /* of a source */
#define SOURCES_LEAST 12  /* fewer than one in so many would repeat themselves */
#define STRANGE 2.5F      /* standard deviations from what the border is like */

struct match {
    const struct patch_grid *grid;
    int32_t least;
    float scale[PATCH_PLANES];   /* one over the standard deviation near the gap */
    float *strange;              /* how unlike the border a source is */
    bool *known, *open, *source; /* as things stand */
    struct candidate {
        struct patch_from from;
        float cost;
    } candidates[CANDIDATES]; /* by cost */
    int candidate_count;
    struct patch_from labels[LABELS];
    int label_count;
    int32_t *label;
    int32_t *shown, *first; /* how often a source is shown in the gap, and the first cell that does */
    void *block;
};

static int32_t cell_count(const struct patch_grid *grid)
{
    return grid->width * grid->height;
}

/* The cell an offset leads to, or -1 where no piece may be taken from. */
static int32_t source_at(const struct match *match, int32_t x, int32_t y, struct patch_from from)
{
    const int32_t u = x + from.dx, v = y + from.dy;
    if (u < 0 || v < 0 || u >= match->grid->width || v >= match->grid->height)
        return -1;
    const int32_t cell = v * match->grid->width + u;
    return match->source[cell] ? cell : -1;
}

/* Distance of two cells' content, in standard deviations. */
static float unlike(const struct match *match, int32_t a, int32_t b)
{
    float sum = 0;
    for (int c = 0; c < PATCH_PLANES; c++) {
        const float off = (match->grid->plane[c][a] - match->grid->plane[c][b]) * match->scale[c];
        sum += off * off;
    }
    return sqrtf(sum / PATCH_PLANES);
}

/* ---- what the border is like ----------------------------------------------------------------------------------- */

/* An open neighbour's direction, or false. */
static bool faces_gap(const struct match *match, int32_t x, int32_t y, int32_t *dx, int32_t *dy)
{
    static const int32_t steps[4][2] = { { 0, -1 }, { 0, 1 }, { -1, 0 }, { 1, 0 } };
    const int32_t w = match->grid->width, h = match->grid->height;
    for (int k = 0; k < 4; k++) {
        const int32_t u = x + steps[k][0], v = y + steps[k][1];
        if (u >= 0 && v >= 0 && u < w && v < h && match->open[v * w + u]) {
            *dx = steps[k][0];
            *dy = steps[k][1];
            return true;
        }
    }
    return false;
}

static void find_scale(struct match *match)
{
    const struct patch_grid *grid = match->grid;
    const int32_t near = (grid->width > grid->height ? grid->width : grid->height) / 12;
    bool *mark = match->known; /* free until the first pass */
    double sum[PATCH_PLANES] = { 0 }, count = 0;
    int32_t dx, dy;
    memset(mark, 0, (size_t)cell_count(grid) * sizeof *mark);
    for (int32_t cell = 0; cell < cell_count(grid); cell++) {
        const int32_t x = cell % grid->width, y = cell / grid->width;
        if (match->open[cell] || !faces_gap(match, x, y, &dx, &dy))
            continue;
        for (int32_t k = 0; k < near; k++) {
            const int32_t u = x - k * dx, v = y - k * dy;
            if (u >= 0 && v >= 0 && u < grid->width && v < grid->height)
                mark[v * grid->width + u] = true;
        }
    }
    for (int32_t cell = 0; cell < cell_count(grid); cell++) {
        if (!mark[cell] || !grid->source[cell])
            continue;
        count += 1;
        for (int c = 0; c < PATCH_PLANES; c++)
            sum[c] += (double)grid->plane[c][cell] * (double)grid->plane[c][cell];
    }
    for (int c = 0; c < PATCH_PLANES; c++)
        match->scale[c] = (float)(1 / sqrt(fmax(sum[c] / fmax(count, 1), 1e-10)));
}

/* Standard deviation of the sources around a cell, in units of `scale`. */
static float lively_at(const struct match *match, int32_t x, int32_t y)
{
    const struct patch_grid *grid = match->grid;
    double sum[PATCH_PLANES] = { 0 }, square[PATCH_PLANES] = { 0 }, count = 0, variance = 0;
    for (int32_t v = y - LIVELY_RADIUS; v <= y + LIVELY_RADIUS; v++) {
        for (int32_t u = x - LIVELY_RADIUS; u <= x + LIVELY_RADIUS; u++) {
            if (u < 0 || v < 0 || u >= grid->width || v >= grid->height || !grid->source[v * grid->width + u])
                continue;
            count += 1;
            for (int c = 0; c < PATCH_PLANES; c++) {
                const double value = (double)(grid->plane[c][v * grid->width + u] * match->scale[c]);
                sum[c] += value;
                square[c] += value * value;
            }
        }
    }
    for (int c = 0; c < PATCH_PLANES && count > 0; c++)
        variance += square[c] / count - sum[c] / count * (sum[c] / count);
    return (float)sqrt(fmax(variance, 0) / PATCH_PLANES);
}

/* A flat piece differs less from a texture than another texture does: without a price on dullness, gaps would fill with
 * plain sky. Uses the marks of find_scale. */
static void find_strange(const struct match *match)
{
    const struct patch_grid *grid = match->grid;
    double near = 0, count = 0;
    for (int32_t cell = 0; cell < cell_count(grid); cell++) {
        match->strange[cell] = lively_at(match, cell % grid->width, cell / grid->width);
        if (match->known[cell] && grid->source[cell]) {
            near += (double)match->strange[cell];
            count += 1;
        }
    }
    const float usual = (float)fmax(near / fmax(count, 1), 1e-3);
    for (int32_t cell = 0; cell < cell_count(grid); cell++) {
        float sum = 0;
        for (int c = 0; c < PATCH_PLANES; c++)
            sum += grid->plane[c][cell] * match->scale[c] * (grid->plane[c][cell] * match->scale[c]);
        const float dull = fmaxf(1 - match->strange[cell] / (ENOUGH * usual), 0);
        const float loud = fmaxf(match->strange[cell] / usual - TOO_LIVELY, 0);
        match->strange[cell] =
            grid->doubt[cell] + DULL * dull * dull + LOUD * loud + fmaxf(sqrtf(sum / PATCH_PLANES) - STRANGE, 0);
    }
}

/* What is too strange is no source at all, as long as enough others are left: gaps that they do not reach at once are
 * filled in a further pass. */
static void find_sources(const struct match *match)
{
    int32_t all = 0, fit = 0;
    for (int32_t cell = 0; cell < cell_count(match->grid); cell++) {
        all += match->grid->source[cell];
        fit += match->grid->source[cell] && match->strange[cell] < STRANGE_MOST;
    }
    for (int32_t cell = 0; cell < cell_count(match->grid); cell++)
        match->source[cell] =
            match->grid->source[cell] && (match->strange[cell] < STRANGE_MOST || fit < all / SOURCES_LEAST);
}

/* ---- offsets --------------------------------------------------------------------------------------------------- */

struct anchor {
    int32_t x, y, dx, dy;
    int32_t depth; /* cells of the gap that lie before it */
    struct patch_from best[KEPT];
    float cost[KEPT];
};

static bool is_near(struct patch_from from, int32_t least)
{
    return from.dx < least && from.dx > -least && from.dy < least && from.dy > -least;
}

/* Share of the gap before the anchor that the piece does not reach, and how strange it is there. */
static float shortfall(const struct match *match, const struct anchor *anchor, struct patch_from from)
{
    float bad = 0, seen = 0;
    for (int32_t k = 1; k <= anchor->depth; k += 3) {
        const int32_t source = source_at(match, anchor->x + k * anchor->dx, anchor->y + k * anchor->dy, from);
        seen += 1;
        bad += source < 0 ? SHORT : match->strange[source];
    }
    return seen > 0 ? bad / seen : 0;
}

/* How unlike the surroundings of the anchor a piece is; stops at `most`. */
static float piece_cost(const struct match *match, const struct anchor *anchor, struct patch_from from, float most)
{
    const struct patch_grid *grid = match->grid;
    float sum = 0, count = 0;
    if (source_at(match, anchor->x + anchor->dx, anchor->y + anchor->dy, from) < 0)
        return most;
    const float start = shortfall(match, anchor, from);
    for (int32_t y = anchor->y - RADIUS; y <= anchor->y + RADIUS && start < most; y += 2) {
        for (int32_t x = anchor->x - RADIUS; x <= anchor->x + RADIUS; x += 2) {
            if (x < 0 || y < 0 || x >= grid->width || y >= grid->height || !match->known[y * grid->width + x])
                continue;
            const int32_t source = source_at(match, x, y, from);
            sum += source < 0 ? 2 * SHORT : unlike(match, y * grid->width + x, source);
            count += 1;
        }
    }
    return count > 0 ? start + sum / count : most;
}

/* Keeps the best offsets that are not nearly the same. */
static void keep_offset(struct anchor *anchor, struct patch_from from, float cost)
{
    int place = KEPT;
    for (int k = 0; k < KEPT; k++) {
        const struct patch_from off = { from.dx - anchor->best[k].dx, from.dy - anchor->best[k].dy };
        if (is_near(off, APART) && anchor->cost[k] <= cost)
            return;
        if (cost < anchor->cost[k] && place == KEPT)
            place = k;
    }
    if (place == KEPT)
        return;
    int last = KEPT - 1;
    for (int k = place; k < KEPT; k++) {
        const struct patch_from off = { from.dx - anchor->best[k].dx, from.dy - anchor->best[k].dy };
        if (is_near(off, APART)) {
            last = k;
            break;
        }
    }
    for (int k = last; k > place; k--) {
        anchor->best[k] = anchor->best[k - 1];
        anchor->cost[k] = anchor->cost[k - 1];
    }
    anchor->best[place] = from;
    anchor->cost[place] = cost;
}

static void try_offset(const struct match *match, struct anchor *anchor, struct patch_from from)
{
    if (is_near(from, match->least))
        return;
    const float most = anchor->cost[KEPT - 1];
    const float cost = piece_cost(match, anchor, from, most);
    if (cost < most)
        keep_offset(anchor, from, cost);
}

static void add_candidate(struct match *match, struct patch_from from, float cost)
{
    if (match->candidate_count == CANDIDATES)
        return;
    int place = match->candidate_count++;
    for (; place > 0 && match->candidates[place - 1].cost > cost; place--)
        match->candidates[place] = match->candidates[place - 1];
    match->candidates[place] = (struct candidate){ from, cost };
}

/* The best that are not near one another. */
static void choose_labels(struct match *match)
{
    match->label_count = 0;
    for (int i = 0; i < match->candidate_count && match->label_count < LABELS; i++) {
        const struct patch_from from = match->candidates[i].from;
        bool apart = true;
        for (int k = 0; k < match->label_count && apart; k++) {
            const struct patch_from off = { from.dx - match->labels[k].dx, from.dy - match->labels[k].dy };
            apart = !is_near(off, LABELS_APART);
        }
        if (apart)
            match->labels[match->label_count++] = from;
    }
}

static void anchor_search(struct match *match, struct anchor *anchor)
{
    const struct patch_grid *grid = match->grid;
    for (int k = 0; k < KEPT; k++) {
        anchor->best[k] = (struct patch_from){ INT32_MAX / 4, 0 };
        anchor->cost[k] = COST_MOST;
    }
    for (int32_t v = 0; v < grid->height; v += 2) {
        for (int32_t u = 0; u < grid->width; u += 2) {
            if (match->source[v * grid->width + u])
                try_offset(match, anchor, (struct patch_from){ u - anchor->x, v - anchor->y });
        }
    }
    struct anchor coarse = *anchor;
    for (int k = 0; k < KEPT; k++) {
        if (coarse.cost[k] >= COST_MOST)
            continue;
        for (int32_t dy = -1; dy <= 1; dy++) {
            for (int32_t dx = -1; dx <= 1; dx++)
                try_offset(match, anchor, (struct patch_from){ coarse.best[k].dx + dx, coarse.best[k].dy + dy });
        }
    }
    for (int k = 0; k < KEPT; k++) {
        if (anchor->cost[k] < COST_MOST)
            add_candidate(match, anchor->best[k], anchor->cost[k]);
    }
}

static void find_offsets(struct match *match)
{
    const struct patch_grid *grid = match->grid;
    int32_t last_x = -RADIUS * 100, last_y = last_x;
    match->candidate_count = 0;
    for (int32_t cell = 0; cell < cell_count(grid); cell++) {
        struct anchor anchor = { .x = cell % grid->width, .y = cell / grid->width };
        const struct patch_from moved = { anchor.x - last_x, anchor.y - last_y };
        if (match->open[cell] || !match->known[cell] || !faces_gap(match, anchor.x, anchor.y, &anchor.dx, &anchor.dy) ||
            is_near(moved, ANCHOR_STEP))
            continue;
        last_x = anchor.x;
        last_y = anchor.y;
        for (int32_t k = 1; k < DEPTH; k++) {
            const int32_t x = anchor.x + k * anchor.dx, y = anchor.y + k * anchor.dy;
            if (x < 0 || y < 0 || x >= grid->width || y >= grid->height || !match->open[y * grid->width + x])
                break;
            anchor.depth = k;
        }
        anchor_search(match, &anchor);
    }
    choose_labels(match);
}

/* ---- labels ---------------------------------------------------------------------------------------------------- */

/* How badly a cell's label meets what is known around it. */
static float border_cost(const struct match *match, int32_t x, int32_t y, struct patch_from from)
{
    const struct patch_grid *grid = match->grid;
    float sum = 0, count = 0;
    for (int32_t v = y - BORDER_RADIUS; v <= y + BORDER_RADIUS; v++) {
        for (int32_t u = x - BORDER_RADIUS; u <= x + BORDER_RADIUS; u++) {
            if (u < 0 || v < 0 || u >= grid->width || v >= grid->height || !match->known[v * grid->width + u])
                continue;
            const int32_t source = source_at(match, u, v, from);
            sum += source < 0 ? SHORT : unlike(match, v * grid->width + u, source);
            count += 1;
        }
    }
    return count > 0 ? BORDER * sum / count : 0;
}

static void count_shown(const struct match *match, int32_t cell, struct patch_from from)
{
    const int32_t source = source_at(match, cell % match->grid->width, cell / match->grid->width, from);
    if (source < 0)
        return;
    if (match->shown[source]++ == 0)
        match->first[source] = cell;
}

/* Settled cells come first: what they show is shown already. */
static void find_shown(const struct match *match, const struct patch_from *settled)
{
    const int32_t count = cell_count(match->grid);
    memset(match->shown, 0, (size_t)count * sizeof *match->shown);
    for (int32_t cell = 0; cell < count; cell++) {
        if (!match->open[cell] && (settled[cell].dx != 0 || settled[cell].dy != 0))
            count_shown(match, cell, settled[cell]);
    }
    for (int32_t cell = 0; cell < count; cell++) {
        if (match->open[cell])
            count_shown(match, cell, match->labels[match->label[cell]]);
    }
}

/* The first to show something may; who repeats it had better show something else. */
static float again_cost(const struct match *match, int32_t cell, int32_t source)
{
    const int32_t times = match->shown[source];
    if (times == 0 || match->first[source] == cell)
        return 0;
    return AGAIN * (float)(times < AGAIN_MOST ? times : AGAIN_MOST);
}

static int32_t cell_cost(const void *data, int32_t cell, int32_t label)
{
    const struct match *match = data;
    const int32_t x = cell % match->grid->width, y = cell / match->grid->width;
    const struct patch_from from = match->labels[label];
    const int32_t source = source_at(match, x, y, from);
    const float cost = source < 0
                           ? BAD_SOURCE
                           : match->strange[source] + border_cost(match, x, y, from) + again_cost(match, cell, source);
    return (int32_t)(cost * UNIT);
}

static float joint_cost(const struct match *match, int32_t cell, int32_t a, int32_t b)
{
    const int32_t x = cell % match->grid->width, y = cell / match->grid->width;
    const int32_t from_a = source_at(match, x, y, match->labels[a]), from_b = source_at(match, x, y, match->labels[b]);
    return from_a < 0 || from_b < 0 ? SHORT : unlike(match, from_a, from_b);
}

static int32_t pair_cost(const void *data, int32_t p, int32_t q, int32_t a, int32_t b)
{
    if (a == b)
        return 0;
    const struct match *match = data;
    const struct patch_from apart = { match->labels[a].dx - match->labels[b].dx,
                                      match->labels[a].dy - match->labels[b].dy };
    const float cost = joint_cost(match, p, a, b) + joint_cost(match, q, a, b) + JOINT;
    return (int32_t)((is_near(apart, REPEAT_NEAR) ? cost + REPEAT : cost) * UNIT);
}

/* To begin with, every cell has the label that suits it best by itself. */
static void first_labels(const struct match *match)
{
    for (int32_t cell = 0; cell < cell_count(match->grid); cell++) {
        int32_t least = INT32_MAX;
        for (int32_t label = 0; match->open[cell] && label < match->label_count; label++) {
            const int32_t cost = cell_cost(match, cell, label);
            if (cost < least) {
                least = cost;
                match->label[cell] = label;
            }
        }
    }
}

/* Cells that found a source are known from now on; whether there are any. */
static bool settle(const struct match *match, struct patch_from *from)
{
    bool any = false;
    for (int32_t cell = 0; cell < cell_count(match->grid); cell++) {
        if (!match->open[cell])
            continue;
        const struct patch_from found = match->labels[match->label[cell]];
        const int32_t source = source_at(match, cell % match->grid->width, cell / match->grid->width, found);
        if (source < 0)
            continue;
        any = true;
        from[cell] = found;
        match->open[cell] = false;
        match->known[cell] = true;
        for (int c = 0; c < PATCH_PLANES; c++)
            match->grid->plane[c][cell] = match->grid->plane[c][source];
    }
    return any;
}

static enum passel_status match_new(struct match *match, const struct patch_grid *grid, int32_t least,
                                    struct passel_error *error)
{
    const size_t count = (size_t)cell_count(grid);
    *match = (struct match){ .grid = grid, .least = least };
    match->block = memory_zeros(count, sizeof(float) + 3 * sizeof(int32_t) + 3 * sizeof(bool));
    if (match->block == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    match->strange = match->block;
    match->label = (int32_t *)(match->strange + count);
    match->shown = match->label + count;
    match->first = match->shown + count;
    match->known = (bool *)(match->first + count);
    match->open = match->known + count;
    match->source = match->open + count;
    return PASSEL_OK;
}

enum passel_status patch_match(const struct patch_grid *grid, int32_t least, struct patch_from *from,
                               struct passel_error *error)
{
    const size_t count = (size_t)cell_count(grid);
    struct match match;
    RETURN_IF_ERROR(match_new(&match, grid, least, error));
    memset(from, 0, count * sizeof *from);
    memcpy(match.open, grid->open, count * sizeof *match.open);
    find_scale(&match);
    find_strange(&match);
    find_sources(&match);
    memcpy(match.known, grid->known, count * sizeof *match.known);
    enum passel_status status = PASSEL_OK;
    for (int pass = 0; pass < PASSES && status == PASSEL_OK; pass++) {
        find_offsets(&match);
        if (match.label_count == 0)
            break;
        const struct labelling labelling = { .width = grid->width,
                                             .height = grid->height,
                                             .labels = match.label_count,
                                             .open = match.open,
                                             .data = &match,
                                             .cell = cell_cost,
                                             .pair = pair_cost };
        memset(match.shown, 0, count * sizeof *match.shown);
        first_labels(&match);
        status = graph_cut_label(&labelling, ROUNDS, match.label, error);
        for (int round = 0; round < AGAIN_ROUNDS && status == PASSEL_OK; round++) {
            find_shown(&match, from);
            status = graph_cut_label(&labelling, ROUNDS, match.label, error);
        }
        if (status == PASSEL_OK && !settle(&match, from))
            break;
    }
    memory_free(match.block);
    return status;
}
