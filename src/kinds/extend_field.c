/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Skies differ: one goes on as it rises, in another a cloud stands before an even blue, a third is all clouds, whose
 * slopes mean nothing a little farther on. So there are several manners of going on, and the plate itself says which is
 * its own: a strip of it along the edges is guessed from the rest in each, and the one that guesses best is taken.
 */
#include "kinds/extend_field.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "numerics/extrapolate.h"

#define STIFF 0.05         /* of a cell's value against bending, while outliers are sought: smooths over two cells */
#define OUTLIER 0.03       /* of the root: a smaller miss (12 % of the light) is hardly suspected */
#define SHARP 0.1F         /* of the root, from cell to cell, is an edge */
#define DEPART_TIMES 5     /* the usual departure from the edge's value, and… */
#define DEPART_SHARE 0.08F /* …this share of the edge's root are the limit */
#define STRIP_LEAST 2      /* cells */
#define STRIP_MOST 5       /* a fraction of the plate */
#define BETTER 0.75        /* of the first manner's miss: as much better another one has to be */

/* How the field goes on. */
struct manner {
    int rounds;    /* more than one: what stands out loses its say */
    double trust;  /* of a cell's value against bending, in the last round */
    double length; /* how far a slope goes on, of the plate's smaller side */
    bool joined;   /* only what no sharp edge parts from the border has a say: the sky, not the rock before it */
};

static const struct manner close_manners[] = {
    { 4, 0.3, 0.25, false }, { 1, 1, 0.25, true }, { 1, 1, 0.6, true }, { 1, 1, 0.25, false }, { 1, 0.3, 0.06, false }
};
static const struct manner broad_manner = { 1, 2e-4, 0.25, false };

/* Memory of a continuation, per cell. */
struct continuing {
    const struct gradient *gradient;
    int planes;
    double *smooth[4], *trust;
    bool *known, *asked; /* asked: in the strip that is guessed */
    bool *joined;
    int32_t *queue;
    float *misses;
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

/* Whether two neighbouring cells are of one kind. */
static bool is_gradual(const struct cells *field, int32_t a, int32_t b)
{
    for (int p = 0; p < 3; p++) {
        const float x = field->value[p][a], y = field->value[p][b];
        if (fabsf(x - y) > SHARP * (x > y ? x : y) + 1e-3F)
            return false;
    }
    return true;
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
            if (go->known[around[k]] && !go->joined[around[k]] && is_gradual(field, cell, around[k])) {
                go->joined[around[k]] = true;
                go->queue[tail++] = around[k];
            }
        }
    }
}

/* smooth = the field in this manner, from the cells in `known`. */
static enum passel_status go_on(const struct continuing *go, const struct manner *manner, struct passel_error *error)
{
    const struct cells *field = &go->gradient->field;
    const int32_t w = rect_width(go->gradient->plate), h = rect_height(go->gradient->plate);
    const int32_t count = field->width * field->height;
    const double length = fmax(manner->length * (w < h ? w : h) / field->size, 2);
    enum passel_status status = PASSEL_OK;
    if (manner->joined)
        find_joined(go);
    for (int32_t i = 0; i < count; i++)
        go->trust[i] =
            go->known[i] && (!manner->joined || go->joined[i]) ? (manner->rounds > 1 ? STIFF : manner->trust) : 0;
    for (int round = 0; round < manner->rounds && status == PASSEL_OK; round++) {
        if (round > 0)
            weigh_cells(field, go->known, go->smooth, go->planes, round + 1 < manner->rounds ? STIFF : manner->trust,
                        go->trust);
        for (int p = 0; p < go->planes; p++) {
            for (int32_t i = 0; i < count; i++)
                go->smooth[p][i] = (double)field->value[p][i];
        }
        status = extrapolate(go->smooth, go->planes, go->trust, field->width, field->height, length, error);
    }
    return status;
}

/* ---- which manner ---------------------------------------------------------------------------------------------- */

/* Depth of the strip along an edge, in cells: a third of what is to be guessed there, as far as the plate allows. What
 * lies behind a deeper one may be something else altogether. */
static int32_t strip_of(int32_t gap, int32_t plate, int32_t size)
{
    const int32_t most = plate / STRIP_MOST / size, wanted = gap / 3 / size;
    return gap <= 0 || most < STRIP_LEAST ? 0 : wanted < STRIP_LEAST ? STRIP_LEAST : wanted < most ? wanted : most;
}

/* Marks the strip; whether there is one. */
static bool find_strip(const struct continuing *go)
{
    const struct cells *field = &go->gradient->field;
    const struct rect plate = go->gradient->plate, target = go->gradient->target;
    const int32_t w = rect_width(plate), h = rect_height(plate), size = field->size;
    const int32_t i0 = (plate.x0 - field->area.x0) / size, j0 = (plate.y0 - field->area.y0) / size;
    const int32_t i1 = i0 + (w + size - 1) / size, j1 = j0 + (h + size - 1) / size;
    const int32_t left = strip_of(plate.x0 - target.x0, w, size), right = strip_of(target.x1 - plate.x1, w, size);
    const int32_t top = strip_of(plate.y0 - target.y0, h, size), bottom = strip_of(target.y1 - plate.y1, h, size);
    bool any = false;
    for (int32_t k = 0; k < field->width * field->height; k++) {
        const int32_t i = k % field->width, j = k / field->width;
        const bool inside = i >= i0 + left && i < i1 - right && j >= j0 + top && j < j1 - bottom;
        go->asked[k] = field->weight[k] > 0 && !inside;
        any = any || go->asked[k];
    }
    return any;
}

static int by_value(const void *a, const void *b)
{
    const float x = *(const float *)a, y = *(const float *)b;
    return (x > y) - (x < y);
}

/* The middle one of the misses in the strip: what stands before the sky there cannot be guessed. */
static double strip_miss(const struct continuing *go)
{
    const struct cells *field = &go->gradient->field;
    int32_t count = 0;
    for (int32_t k = 0; k < field->width * field->height; k++) {
        float miss = 0;
        for (int p = 0; go->asked[k] && p < 3; p++)
            miss += fabsf((float)go->smooth[p][k] - field->value[p][k]);
        if (go->asked[k])
            go->misses[count++] = miss;
    }
    qsort(go->misses, (size_t)count, sizeof *go->misses, by_value);
    return (double)go->misses[count / 2];
}

static void mark_known(const struct continuing *go, bool strip_too)
{
    const struct cells *field = &go->gradient->field;
    for (int32_t k = 0; k < field->width * field->height; k++)
        go->known[k] = field->weight[k] > 0 && (strip_too || !go->asked[k]);
}

static enum passel_status choose_manner(const struct continuing *go, const struct manner *manners, int count,
                                        const struct manner **best, struct passel_error *error)
{
    double least = 0;
    *best = manners;
    if (!find_strip(go))
        return PASSEL_OK;
    mark_known(go, false);
    for (int k = 0; k < count; k++) {
        RETURN_IF_ERROR(go_on(go, &manners[k], error));
        const double miss = strip_miss(go);
        if (k == 0)
            least = BETTER * miss;
        if (miss < least) {
            least = miss;
            *best = &manners[k];
        }
    }
    return PASSEL_OK;
}

/* ---- no blow-up ------------------------------------------------------------------------------------------------ */

/* How far the field goes away from its value at the plate's nearest edge. */
static float departure(const struct gradient *gradient, int p, int32_t i, int32_t j, float *edge)
{
    const struct cells *field = &gradient->field;
    const int32_t left = (gradient->plate.x0 - field->area.x0) / field->size;
    const int32_t top = (gradient->plate.y0 - field->area.y0) / field->size;
    const int32_t right = left + (rect_width(gradient->plate) - 1) / field->size;
    const int32_t bottom = top + (rect_height(gradient->plate) - 1) / field->size;
    const int32_t u = i < left ? left : i > right ? right : i, v = j < top ? top : j > bottom ? bottom : j;
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
    qsort(sizes, (size_t)outside, sizeof *sizes, by_value);
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
    const size_t count = (size_t)gradient->field.width * (size_t)gradient->field.height;
    *go = (struct continuing){ .gradient = gradient, .planes = gradient->opaque ? 3 : 4 };
    double *next = go->block =
        memory_zeros(count, 5 * sizeof *next + sizeof(int32_t) + sizeof(float) + 3 * sizeof(bool));
    if (next == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int p = 0; p < 4; p++, next += count)
        go->smooth[p] = next;
    go->trust = next;
    go->queue = (int32_t *)(next + count);
    go->misses = (float *)(go->queue + count);
    go->known = (bool *)(go->misses + count);
    go->asked = go->known + count;
    go->joined = go->asked + count;
    return PASSEL_OK;
}

enum passel_status field_continue(struct gradient *gradient, enum gradient_detail detail, struct passel_error *error)
{
    const int32_t count = gradient->field.width * gradient->field.height;
    const struct manner *manner = &broad_manner;
    struct continuing go;
    enum passel_status status = PASSEL_OK;
    RETURN_IF_ERROR(continuing_new(&go, gradient, error));
    if (detail == DETAIL_CLOSE)
        status = choose_manner(&go, close_manners, sizeof close_manners / sizeof *close_manners, &manner, error);
    mark_known(&go, true);
    if (status == PASSEL_OK)
        status = go_on(&go, manner, error);
    for (int p = 0; p < go.planes && status == PASSEL_OK; p++) {
        for (int32_t i = 0; i < count; i++)
            gradient->field.value[p][i] = (float)go.smooth[p][i];
    }
    memory_free(go.block);
    for (int p = 0; p < 3 && status == PASSEL_OK; p++)
        status = limit_departures(gradient, p, error);
    return status;
}
