/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Past the plate's edges the field is a mixture of manners of going on (extend_manner.h), each side's own; past a
 * corner the two sides' are mixed by how far out it lies. Where there are only holes, and for a broad field, it is one
 * smooth surface, of which what stands out is no part.
 */
#include "kinds/extend_field.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "kinds/extend_manner.h"
#include "numerics/order.h"

#define STIFF 0.05      /* of a cell's value against bending, while outliers are sought: smooths over two cells */
#define OUTLIER 0.03    /* of the root: a smaller miss (12 % of the light) is hardly suspected */
#define CLOSE_TRUST 0.3 /* in the last round */
#define BROAD_TRUST 2e-4
#define CLOSE_ROUNDS 4
#define LENGTH 0.25        /* how far a slope goes on, of the plate's smaller side */
#define NARROW 6           /* cells each way: a thing narrower than that is not carried on… */
#define LAYER 24           /* …unless it lies across a left or right side and is so long */
#define USUAL_TIMES 5      /* the usual difference from what is beside is no sign of a thing */
#define LEAST_WEIGHT 0.02  /* manners of less say are left out */
#define DEPART_TIMES 5     /* the usual departure from the edge's value, and… */
#define DEPART_SHARE 0.08F /* …this share of the edge's root are the limit */

/* Memory of a continuation, per cell. */
struct continuing {
    const struct gradient *gradient;
    int planes;
    double *smooth[4], *one[4], *trust; /* one: a single manner's */
    double *belief;                     /* 0 … 1: whether a cell is of what is to be continued */
    bool *known, *joined;
    int32_t *queue;
    void *block;
};

/* Mean |difference| of the known cells. */
static double typical_miss(const struct cells *field, const bool *known, const float *value, const double *smooth)
{
    double sum = 0, seen = 0;
    for (int32_t i = 0; i < field->width * field->height; i++) {
        if (known[i]) {
            sum += fabs((double)value[i] - smooth[i]);
            seen += 1;
        }
    }
    return sum / fmax(seen, 1);
}

/* trust = full where a cell lies near the smooth planes; what lies far off in all of them (a cloud, a mast) has little.
 */
static void weigh_cells(const struct cells *field, const bool *known, double *const *smooth, int planes, double full,
                        double *trust)
{
    const int32_t count = field->width * field->height;
    memset(trust, 0, (size_t)count * sizeof *trust);
    for (int p = 0; p < planes; p++) {
        const double typical = 3 * typical_miss(field, known, field->value[p], smooth[p]);
        for (int32_t i = 0; i < count; i++) {
            const double scale = fmax(typical, OUTLIER * fabs(smooth[p][i]) + 1e-5);
            const double off = ((double)field->value[p][i] - smooth[p][i]) / scale;
            trust[i] += off * off / planes;
        }
    }
    for (int32_t i = 0; i < count; i++)
        trust[i] = known[i] ? full / ((1 + trust[i]) * (1 + trust[i])) : 0;
}

/* The cells around one, itself where the grid ends. */
static void find_around(const struct cells *field, int32_t cell, int32_t around[4])
{
    const int32_t w = field->width, x = cell % w, y = cell / w;
    around[0] = x > 0 ? cell - 1 : cell;
    around[1] = x + 1 < w ? cell + 1 : cell;
    around[2] = y > 0 ? cell - w : cell;
    around[3] = y + 1 < field->height ? cell + w : cell;
}

/* Marks the known cells that can be reached from what is to be found without stepping over an edge. */
static void find_joined(const struct continuing *go)
{
    const struct cells *field = &go->gradient->field;
    const int32_t count = field->width * field->height;
    int32_t head = 0, tail = 0, around[4];
    memset(go->joined, 0, (size_t)count * sizeof *go->joined);
    for (int32_t cell = 0; cell < count; cell++) {
        find_around(field, cell, around);
        for (int k = 0; k < 4 && go->known[cell] && !go->joined[cell]; k++) {
            if (!go->known[around[k]]) {
                go->joined[cell] = true;
                go->queue[tail++] = cell;
            }
        }
    }
    while (head < tail) {
        const int32_t cell = go->queue[head++];
        find_around(field, cell, around);
        for (int k = 0; k < 4; k++) {
            if (go->known[around[k]] && !go->joined[around[k]] && cells_are_gradual(field, cell, around[k])) {
                go->joined[around[k]] = true;
                go->queue[tail++] = around[k];
            }
        }
    }
}

/* ---- one smooth surface ---------------------------------------------------------------------------------------- */

static enum passel_status smooth_over(const struct continuing *go, int rounds, double trust, struct passel_error *error)
{
    const struct cells *field = &go->gradient->field;
    const int32_t w = rect_width(go->gradient->plate), h = rect_height(go->gradient->plate);
    const int32_t count = field->width * field->height;
    const double length = fmax(LENGTH * (w < h ? w : h) / field->size, 2);
    const struct extrapolate_law law = { 1, 1 / (length * length), 1, 1 };
    for (int32_t i = 0; i < count; i++)
        go->trust[i] = go->known[i] ? (rounds > 1 ? STIFF : trust) : 0;
    for (int round = 0; round < rounds; round++) {
        if (round > 0)
            weigh_cells(field, go->known, go->smooth, go->planes, round + 1 < rounds ? STIFF : trust, go->trust);
        for (int p = 0; p < go->planes; p++) {
            for (int32_t i = 0; i < count; i++)
                go->smooth[p][i] = (double)field->value[p][i];
        }
        RETURN_IF_ERROR(extrapolate(go->smooth, go->planes, go->trust, field->width, field->height, &law, error));
    }
    return PASSEL_OK;
}

/* ---- sides ----------------------------------------------------------------------------------------------------- */

/* What sides have a say, and how much every manner has past each of their cells. */
struct mixture {
    bool open[SIDE_COUNT];
    int32_t length[SIDE_COUNT];
    double *weight[SIDE_COUNT]; /* [manner * length + cell along the side] */
    bool used[SIDE_COUNT][MANNERS];
    int sides;
};

static void find_sides(const struct gradient *gradient, struct mixture *mixture)
{
    *mixture = (struct mixture){ .sides = 0 };
    for (int side = 0; side < SIDE_COUNT; side++) {
        mixture->open[side] = side_gap(gradient, (enum side)side) > 0;
        mixture->length[side] = side_length(gradient, (enum side)side);
        mixture->sides += mixture->open[side];
    }
}

static void mixture_release(struct mixture *mixture)
{
    for (int side = 0; side < SIDE_COUNT; side++)
        memory_free(mixture->weight[side]);
}

/* Manners of little say anywhere are left out. */
static void drop_least(struct mixture *mixture, int side)
{
    const int32_t length = mixture->length[side];
    double *weight = mixture->weight[side];
    for (int k = 0; k < MANNERS; k++) {
        for (int32_t i = 0; i < length; i++)
            mixture->used[side][k] = mixture->used[side][k] || weight[k * length + i] >= LEAST_WEIGHT;
    }
    for (int32_t i = 0; i < length; i++) {
        double sum = 0;
        for (int k = 0; k < MANNERS; k++)
            sum += mixture->used[side][k] ? weight[k * length + i] : 0;
        for (int k = 0; k < MANNERS; k++)
            weight[k * length + i] /= sum;
    }
}

static enum passel_status find_weights(const struct continuing *go, struct carrying *carrying, struct mixture *mixture,
                                       struct passel_error *error)
{
    for (int side = 0; side < SIDE_COUNT; side++) {
        if (!mixture->open[side])
            continue;
        mixture->weight[side] = memory_zeros((size_t)mixture->length[side], MANNERS * sizeof(double));
        carrying[side].say = memory_zeros((size_t)mixture->length[side], 2 * sizeof(double));
        if (mixture->weight[side] == NULL || carrying[side].say == NULL)
            return error_set(error, PASSEL_NO_MEMORY, "out of memory");
        carrying[side].slant = carrying[side].say + mixture->length[side];
        RETURN_IF_ERROR(
            manners_weigh(go->gradient, go->belief, (enum side)side, mixture->weight[side], &carrying[side], error));
        drop_least(mixture, side);
    }
    return PASSEL_OK;
}

/* How much a side has to say at a cell: all of it straight outside, by squared distance past a corner. */
static double side_share(const struct mixture *mixture, struct rect plate, int side, int32_t x, int32_t y)
{
    const double out[SIDE_COUNT] = { y < plate.y0 ? plate.y0 - y : 0, y >= plate.y1 ? y + 1 - plate.y1 : 0,
                                     x < plate.x0 ? plate.x0 - x : 0, x >= plate.x1 ? x + 1 - plate.x1 : 0 };
    double all = 0;
    for (int k = 0; k < SIDE_COUNT; k++)
        all += mixture->open[k] ? out[k] * out[k] : 0;
    return !mixture->open[side] ? 0 : all > 0 ? out[side] * out[side] / all : 1.0 / mixture->sides;
}

static void add_manner(const struct continuing *go, const struct mixture *mixture, int manner, int side)
{
    const struct cells *field = &go->gradient->field;
    const struct rect plate = plate_cells(go->gradient);
    const int32_t length = mixture->length[side];
    const double *weight = mixture->weight[side] + manner * length;
    for (int32_t i = 0; i < field->width * field->height; i++) {
        const int32_t x = i % field->width, y = i / field->width;
        const int32_t along = is_upright((enum side)side) ? x - plate.x0 : y - plate.y0;
        const double share = weight[along < 0         ? 0
                                    : along >= length ? length - 1
                                                      : along] *
                             side_share(mixture, plate, side, x, y);
        for (int p = 0; p < go->planes; p++)
            go->smooth[p][i] += share * go->one[p][i];
    }
}

/* The middle one of what counts up to `reach` cells away. */
static double middle_along(const struct continuing *go, int p, int32_t i, bool across, int32_t reach)
{
    const struct cells *field = &go->gradient->field;
    const int32_t at = across ? i % field->width : i / field->width, size = across ? field->width : field->height;
    const int32_t step = across ? 1 : field->width;
    double around[2 * LAYER + 1];
    size_t count = 0;
    for (int32_t k = -reach; k <= reach; k++) {
        if (at + k >= 0 && at + k < size && go->joined[i + k * step])
            around[count++] = (double)field->value[p][i + k * step];
    }
    qsort(around, count, sizeof *around, rising_doubles);
    return 0.5 * (around[(count - 1) / 2] + around[count / 2]);
}

/* How far a cell stands out of what is beside it along a row or a column. */
static double off_along(const struct continuing *go, int32_t i, bool across, int32_t reach)
{
    double off = 0;
    for (int p = 0; p < 3; p++) {
        const double middle = middle_along(go, p, i, across, reach);
        off = fmax(off, fabs((double)go->gradient->field.value[p][i] - middle) / (fabs(middle) + 1e-3));
    }
    return off;
}

/* Takes belief from cells that stand out of what is beside them along a side. Past a left or a right side a far ridge
 * or a band of cloud goes on, which is narrow, too, but like what lies farther in. */
static void doubt_narrow(const struct continuing *go, bool upright)
{
    const int32_t count = go->gradient->field.width * go->gradient->field.height;
    double *const off = go->one[0], *const sorted = go->one[1];
    size_t seen = 0;
    for (int32_t i = 0; i < count; i++) {
        off[i] = 0;
        if (!go->joined[i])
            continue;
        off[i] = off_along(go, i, upright, NARROW);
        if (!upright)
            off[i] = fmin(off[i], off_along(go, i, true, LAYER));
        sorted[seen++] = off[i];
    }
    qsort(sorted, seen, sizeof *sorted, rising_doubles);
    const double scale = seen > 0 ? fmax(USUAL_TIMES * sorted[seen / 2], OUTLIER) : 1;
    for (int32_t i = 0; i < count; i++) {
        const double times = off[i] / scale, square = 1 + times * times;
        go->belief[i] /= square * square;
    }
}

/* What no edge of a thing parts from the border, and is not narrow: the sky, not the rock, the spire or the star before
 * it. */
static void find_belief(const struct continuing *go, const struct mixture *mixture)
{
    const int32_t count = go->gradient->field.width * go->gradient->field.height;
    find_joined(go);
    for (int32_t i = 0; i < count; i++)
        go->belief[i] = go->joined[i];
    if (mixture->open[SIDE_TOP] || mixture->open[SIDE_BOTTOM])
        doubt_narrow(go, true);
    if (mixture->open[SIDE_LEFT] || mixture->open[SIDE_RIGHT])
        doubt_narrow(go, false);
}

/* One manner over the whole grid, for the sides that have use for it. A side's law depends on how wide it is, so equal
 * sides share a solution only when they are. */
static enum passel_status go_on(const struct continuing *go, const struct mixture *mixture, int manner, int side,
                                struct passel_error *error)
{
    const struct cells *field = &go->gradient->field;
    const int32_t count = field->width * field->height;
    const struct extrapolate_law law =
        manner_law(manner, side_gap(go->gradient, (enum side)side), is_upright((enum side)side));
    for (int32_t i = 0; i < count; i++)
        go->trust[i] = manner_trust(manner) * go->belief[i];
    for (int p = 0; p < go->planes; p++) {
        for (int32_t i = 0; i < count; i++)
            go->one[p][i] = (double)field->value[p][i];
    }
    RETURN_IF_ERROR(extrapolate(go->one, go->planes, go->trust, field->width, field->height, &law, error));
    add_manner(go, mixture, manner, side);
    return PASSEL_OK;
}

static enum passel_status mix_manners(const struct continuing *go, const struct mixture *mixture,
                                      struct passel_error *error)
{
    const int32_t count = go->gradient->field.width * go->gradient->field.height;
    for (int p = 0; p < go->planes; p++)
        memset(go->smooth[p], 0, (size_t)count * sizeof *go->smooth[p]);
    for (int side = 0; side < SIDE_COUNT; side++) {
        for (int k = 0; k < MANNERS; k++) {
            if (mixture->used[side][k])
                RETURN_IF_ERROR(go_on(go, mixture, k, side, error));
        }
    }
    return PASSEL_OK;
}

/* ---- no blow-up ------------------------------------------------------------------------------------------------ */

/* How far the field goes away from its value at the plate's nearest edge. */
static float departure(const struct gradient *gradient, int p, int32_t i, int32_t j, float *edge)
{
    const struct cells *field = &gradient->field;
    const struct rect plate = plate_cells(gradient);
    const int32_t u = i < plate.x0 ? plate.x0 : i >= plate.x1 ? plate.x1 - 1 : i;
    const int32_t v = j < plate.y0 ? plate.y0 : j >= plate.y1 ? plate.y1 - 1 : j;
    *edge = field->value[p][v * field->width + u];
    return u == i && v == j ? 0 : field->value[p][j * field->width + i] - *edge;
}

/* Unchanged up to half the limit, never beyond it. */
static float limited(float off, float limit)
{
    const float half = 0.5F * limit, over = fabsf(off) - half;
    if (!(over > 0))
        return off;
    const float kept = half + over * half / (over + half);
    return off < 0 ? -kept : kept;
}

/* Where something dark or bright comes close to the edge, its flank would be taken for a slope and shoot off: nowhere
 * may the field go much farther than it does in most places. */
static enum passel_status limit_departures(const struct gradient *gradient, int p, struct passel_error *error)
{
    const struct cells *field = &gradient->field;
    const int32_t count = field->width * field->height;
    float edge, *sizes = memory_zeros((size_t)count, sizeof *sizes);
    int32_t outside = 0;
    if (sizes == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int32_t i = 0; i < count; i++) {
        const float off = departure(gradient, p, i % field->width, i / field->width, &edge);
        if (off != 0)
            sizes[outside++] = fabsf(off);
    }
    qsort(sizes, (size_t)outside, sizeof *sizes, rising_floats);
    const float usual = outside > 0 ? sizes[outside / 2] : 0;
    for (int32_t i = 0; i < count; i++) {
        const float off = departure(gradient, p, i % field->width, i / field->width, &edge);
        if (off != 0)
            field->value[p][i] = edge + limited(off, DEPART_TIMES * usual + DEPART_SHARE * fabsf(edge));
    }
    memory_free(sizes);
    return PASSEL_OK;
}

/* ---- all together ---------------------------------------------------------------------------------------------- */

static enum passel_status continuing_new(struct continuing *go, const struct gradient *gradient,
                                         struct passel_error *error)
{
    const struct cells *field = &gradient->field;
    const size_t count = (size_t)field->width * (size_t)field->height;
    *go = (struct continuing){ .gradient = gradient, .planes = gradient->opaque ? 3 : 4 };
    double *next = go->block = memory_zeros(count, 10 * sizeof *next + sizeof(int32_t) + 2 * sizeof(bool));
    if (next == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int p = 0; p < 4; p++, next += 2 * count) {
        go->smooth[p] = next;
        go->one[p] = next + count;
    }
    go->trust = next;
    go->belief = next + count;
    go->queue = (int32_t *)(next + 2 * count);
    go->known = (bool *)(go->queue + count);
    go->joined = go->known + count;
    for (size_t k = 0; k < count; k++)
        go->known[k] = field->weight[k] > 0;
    return PASSEL_OK;
}

static enum passel_status find_smooth(const struct continuing *go, struct carrying *carrying,
                                      enum gradient_detail detail, struct passel_error *error)
{
    struct mixture mixture;
    if (detail == DETAIL_BROAD)
        return smooth_over(go, 1, BROAD_TRUST, error);
    find_sides(go->gradient, &mixture);
    if (mixture.sides == 0)
        return smooth_over(go, CLOSE_ROUNDS, CLOSE_TRUST, error);
    find_belief(go, &mixture);
    enum passel_status status = find_weights(go, carrying, &mixture, error);
    if (status == PASSEL_OK)
        status = mix_manners(go, &mixture, error);
    mixture_release(&mixture);
    return status;
}

enum passel_status field_continue(struct gradient *gradient, enum gradient_detail detail, struct passel_error *error)
{
    const int32_t count = gradient->field.width * gradient->field.height;
    struct continuing go;
    RETURN_IF_ERROR(continuing_new(&go, gradient, error));
    enum passel_status status = find_smooth(&go, gradient->carrying, detail, error);
    for (int p = 0; p < go.planes && status == PASSEL_OK; p++) {
        for (int32_t i = 0; i < count; i++)
            gradient->field.value[p][i] = (float)go.smooth[p][i];
    }
    memory_free(go.block);
    for (int p = 0; p < 3 && status == PASSEL_OK; p++)
        status = limit_departures(gradient, p, error);
    return status;
}
