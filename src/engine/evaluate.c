/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "engine/evaluate.h"

#include <string.h>

#include "base/error.h"
#include "engine/store.h"
#include "picture/coverage.h"

struct strip {
    const struct plan *plan;
    struct scratch *scratch;
    struct rect *need;      /* per node: what has to be made of it */
    struct picture *made;   /* per node */
    int last;               /* the highest node that is needed */
    int direct;             /* node that goes straight into `into`, or -1 */
    const struct picture *into;
};

/* ---- how inputs are read ------------------------------------------------------------------------------------------- */

static struct rect reach_of(const struct node *node, int k, struct rect want)
{
    return node->kind->reach != NULL ? node->kind->reach(&node->at, k, want) : want;
}

/* A kind that looks far up and down would have its input made again and again for every strip. */
static bool reaches_far(const struct node *node, int k, int32_t strip_rows)
{
    const struct rect data = node->info.data;
    struct rect want = data;
    const int32_t middle = data.y0 + rect_height(data) / 2;
    want.y0 = middle;
    want.y1 = middle + strip_rows < data.y1 ? middle + strip_rows : data.y1;
    if (rect_empty(want))
        return false;
    return rect_height(reach_of(node, k, want)) > rect_height(want) + strip_rows / 2;
}

static bool wants_spline(const struct node *node)
{
    return node->moments > 1 ? node->at.filter == FILTER_SPLINE
                             : transform_wants_spline(&node->transform, node->at.filter);
}

enum reading evaluate_reading(const struct plan *plan, int n, int k, int *input)
{
    const struct node *node = &plan->nodes[n];
    *input = node->inputs[k];
    if (node->kind->geometric && k == 0) {
        *input = node->source;
        if (!node->whole_shift)
            return wants_spline(node) ? READING_SPLINE : READING_STORED;
    }
    const struct node *read = &plan->nodes[*input];
    if (read->held[FORM_PLAIN] != NULL || node->asks.asks[k].whole || read->info.whole || read->shared)
        return READING_STORED;
    if (!(node->kind->geometric && k == 0) && reaches_far(node, k, plan->strip_rows))
        return READING_STORED;
    return READING_STREAMED;
}

static const struct picture *stored_picture(const struct node *node, enum reading reading)
{
    const struct stored *held = node->held[reading == READING_SPLINE ? FORM_SPLINE : FORM_PLAIN];
    return held != NULL ? &held->picture : NULL;
}

/* ---- which parts are needed -------------------------------------------------------------------------------------------- */

/* The part of input k that `node` wants for making `want`, before it is cut to what is there. */
static struct rect wanted_part(const struct node *node, int k, struct rect want, const struct picture_info *input)
{
    if (node->asks.asks[k].whole)
        return input->data;
    if (node->kind->geometric && k == 0)
        return node->whole_shift ? rect_shift(want, node->shift_x, node->shift_y) : input->data;
    return reach_of(node, k, want);
}

static enum border border_of(const struct node *node, int k)
{
    if (node->kind->geometric && k == 0)
        return node->hold ? BORDER_HOLD : BORDER_CLEAR;
    return node->asks.asks[k].border;
}

static void need_part(struct strip *strip, int n, struct rect part, enum border border)
{
    const struct rect data = strip->plan->nodes[n].info.data;
    if (rect_empty(part) || rect_empty(data))
        return;
    part = border == BORDER_HOLD ? reach_held(part, data) : rect_cut(part, data);
    strip->need[n] = rect_join(strip->need[n], part);
}

static void need_inputs(struct strip *strip, int n)
{
    const struct node *node = &strip->plan->nodes[n];
    if (rect_empty(strip->need[n]))
        return;
    for (int k = 0; k < node->asks.count; k++) {
        int input;
        if (evaluate_reading(strip->plan, n, k, &input) != READING_STREAMED)
            continue;
        need_part(strip, input, wanted_part(node, k, strip->need[n], &strip->plan->nodes[input].info),
                  border_of(node, k));
    }
}

/* ---- delivery ------------------------------------------------------------------------------------------------------------ */

static void copy_held_row(float *to, struct rect area, const float *from, struct rect have)
{
    for (int32_t x = area.x0; x < area.x1; x++) {
        const int32_t u = x < have.x0 ? have.x0 : x >= have.x1 ? have.x1 - 1 : x;
        to[x - area.x0] = from[u - have.x0];
    }
}

static void copy_padded(const struct picture *to, const struct picture *from, enum plane plane, enum plane source,
                        struct rect data, enum border border)
{
    const struct rect have = rect_cut(from->area, data);
    const struct rect inside = rect_cut(to->area, have);
    if (border == BORDER_CLEAR || rect_empty(have))
        picture_fill(to, plane, to->area, 0);
    if (rect_empty(have))
        return;
    const int32_t skip = have.x0 - from->area.x0;
    for (int32_t y = to->area.y0; y < to->area.y1; y++) {
        const int32_t v = y < have.y0 ? have.y0 : y >= have.y1 ? have.y1 - 1 : y;
        if (border == BORDER_HOLD)
            copy_held_row(picture_row(to, plane, y), to->area, picture_row(from, source, v) + skip, have);
        else if (y >= inside.y0 && y < inside.y1)
            memcpy(picture_row(to, plane, y) + (inside.x0 - to->area.x0),
                   picture_row(from, source, y) + (inside.x0 - from->area.x0),
                   (size_t)rect_width(inside) * sizeof(float));
    }
}

/* The plane of `from` that stands for plane p, or PLANE_COUNT when it has to be made up. */
static enum plane standing_for(const struct picture *from, int p)
{
    if (from->plane[p] != NULL)
        return (enum plane)p;
    if (p != PLANE_A && from->plane[PLANE_R] == NULL && from->plane[PLANE_A] != NULL)
        return PLANE_A; /* a matte as a colour: white, cut out */
    return PLANE_COUNT;
}

enum passel_status deliver(const struct picture *from, const struct picture_info *info, struct rect area,
                           unsigned planes, enum border border, struct picture *out, struct scratch *scratch,
                           struct passel_error *error)
{
    const bool inside = rect_holds(rect_cut(from->area, info->data), area);
    *out = (struct picture){ .area = area, .stride = from->stride };
    unsigned missing = 0;
    for (int p = 0; p < PLANE_COUNT; p++) {
        if ((planes & 1u << p) == 0)
            continue;
        const enum plane source = standing_for(from, p);
        if (inside && source != PLANE_COUNT && !rect_empty(area))
            out->plane[p] = picture_row(from, source, area.y0) + (area.x0 - from->area.x0);
        else
            missing |= 1u << p;
    }
    if (missing == 0 || rect_empty(area))
        return PASSEL_OK;
    /* Rows must be equally far apart in all planes: when one has to be made, all are. */
    RETURN_IF_ERROR(scratch_picture(scratch, out, area, planes, error));
    for (int p = 0; p < PLANE_COUNT; p++) {
        if ((planes & 1u << p) == 0)
            continue;
        const enum plane source = standing_for(from, p);
        if (source != PLANE_COUNT) {
            copy_padded(out, from, (enum plane)p, source, info->data, border);
            continue;
        }
        picture_fill(out, (enum plane)p, area, 0);
        if (p == PLANE_A && !rect_empty(info->data))
            picture_fill(out, PLANE_A, border == BORDER_HOLD ? area : rect_cut(area, info->data), 1);
    }
    return PASSEL_OK;
}

static enum passel_status deliver_ask(const struct strip *strip, int n, int k, struct picture *out,
                                      struct passel_error *error)
{
    const struct node *node = &strip->plan->nodes[n];
    const struct ask *ask = &node->asks.asks[k];
    int input;
    const enum reading reading = evaluate_reading(strip->plan, n, k, &input);
    const struct node *read = &strip->plan->nodes[input];
    const struct picture *from = reading == READING_STREAMED ? &strip->made[input] : stored_picture(read, reading);
    const unsigned planes = plan_ask_planes(node, ask);
    struct rect part = wanted_part(node, k, strip->need[n], &read->info);
    if (node->kind->geometric && k == 0) {
        /* Resampling knows about borders and missing planes by itself. */
        part = reading == READING_STREAMED ? from->area : read->info.data;
        *out = rect_empty(from->area) ? (struct picture){ 0 } : picture_part(from, part);
        return PASSEL_OK;
    }
    return deliver(from, &read->info, part, planes, ask->border, out, strip->scratch, error);
}

/* ---- making -------------------------------------------------------------------------------------------------------------- */

static void clear(const struct picture *picture)
{
    for (int p = 0; p < PLANE_COUNT; p++)
        picture_fill(picture, (enum plane)p, picture->area, 0);
}

/* The picture as the node's own step `own` places it. `room` is for the resampled one where more is to be done. */
static enum passel_status fill_placed(const struct strip *strip, const struct node *node, const struct at *at,
                                      const struct transform *own, const struct picture *in, const struct picture *room,
                                      const struct picture *out, struct passel_error *error)
{
    const struct node *source = &strip->plan->nodes[node->source];
    const struct transform window = transform_chain(*own, node->to_window);
    const bool more = node->ends_chain && node->kind->fill != NULL;
    const struct picture *resampled = more ? room : out;
    struct transform t = transform_chain(*own, node->below);
    if (node->moments > 1)
        t = transform_resampled(t);
    if (rect_empty(in->area)) {
        clear(resampled);
    } else {
        RETURN_IF_ERROR(picture_resample(resampled, in, source->info.data, node->hold, &t, node->at.filter, error));
        if (transform_wants_spline(&t, node->at.filter))
            RETURN_IF_ERROR(picture_limit_ringing(resampled, in, source->info.data, &t, error));
        if (node->cut)
            coverage_cut(resampled, &window, node->window, node->at.filter);
    }
    if (!more)
        return PASSEL_OK;
    return node->kind->fill(at, resampled, out, &strip->scratch->arena, error);
}

/* Sums in the order of the moments, whatever the strip. */
static void add_moment(const struct picture *sum, const struct picture *moment)
{
    const size_t width = (size_t)rect_width(sum->area);
    for (int p = 0; p < PLANE_COUNT; p++)
        for (int32_t y = sum->area.y0; sum->plane[p] != NULL && y < sum->area.y1; y++) {
            float *to = picture_row(sum, (enum plane)p, y);
            const float *from = picture_row(moment, (enum plane)p, y);
            for (size_t x = 0; x < width; x++)
                to[x] += from[x];
        }
}

static void divide(const struct picture *sum, float count)
{
    for (int p = 0; p < PLANE_COUNT; p++)
        for (int32_t y = sum->area.y0; sum->plane[p] != NULL && y < sum->area.y1; y++) {
            float *to = picture_row(sum, (enum plane)p, y);
            for (int32_t x = 0; x < rect_width(sum->area); x++)
                to[x] /= count;
        }
}

/* False when nothing of this moment reaches the area. */
static bool shows(const struct strip *strip, const struct node *node, const struct transform *own, struct rect area)
{
    const struct transform t = transform_chain(*own, node->below);
    const struct rect there = transform_reach_out(&t, node->at.filter, strip->plan->nodes[node->source].info.data);
    return node->hold || !rect_empty(rect_cut(there, area));
}

/* Light, premultiplied, adds up while the shutter is open: the mean over its moments, each resampled and cropped by
 * itself. */
static enum passel_status fill_smeared(const struct strip *strip, const struct node *node, const struct picture *in,
                                       const struct picture *room, const struct picture *out,
                                       struct passel_error *error)
{
    struct at at = node->at;
    struct picture moment;
    RETURN_IF_ERROR(scratch_picture(strip->scratch, &moment, out->area, picture_planes(out), error));
    clear(out);
    for (int k = 0; k < node->moments; k++) {
        struct transform own;
        enum filter filter;
        bool ends;
        at.beside = node_moment(node, k);
        RETURN_IF_ERROR(node->kind->transform(&at, &own, &filter, &ends, error));
        if (!shows(strip, node, &own, out->area))
            continue;
        RETURN_IF_ERROR(fill_placed(strip, node, &at, &own, in, room, &moment, error));
        add_moment(out, &moment);
        arena_release(&strip->scratch->arena);
    }
    divide(out, (float)node->moments);
    return PASSEL_OK;
}

static enum passel_status fill_geometric(const struct strip *strip, int n, const struct picture *in,
                                         const struct picture *out, struct passel_error *error)
{
    const struct node *node = &strip->plan->nodes[n];
    struct picture room = { 0 };
    if (node->ends_chain && node->kind->fill != NULL)
        RETURN_IF_ERROR(scratch_picture(strip->scratch, &room, out->area, picture_planes(out), error));
    if (node->moments > 1)
        return fill_smeared(strip, node, in, &room, out, error);
    return fill_placed(strip, node, &node->at, &node->own, in, &room, out, error);
}

static enum passel_status make_node(const struct strip *strip, int n, const struct picture *out,
                                    struct passel_error *error)
{
    const struct node *node = &strip->plan->nodes[n];
    struct picture *in = scratch_take(strip->scratch, ((size_t)node->asks.count + 1) * sizeof *in);
    if (in == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int k = 0; k < node->asks.count; k++)
        RETURN_IF_ERROR(deliver_ask(strip, n, k, &in[k], error));
    enum passel_status status;
    if (node->kind->geometric)
        status = fill_geometric(strip, n, in, out, error);
    else
        status = node->kind->fill(&node->at, in, out, &strip->scratch->arena, error);
    arena_release(&strip->scratch->arena);
    return status;
}

static enum passel_status strip_begin(struct strip *strip, struct passel_error *error)
{
    const size_t count = (size_t)strip->last + 1;
    strip->need = scratch_take(strip->scratch, count * sizeof *strip->need);
    strip->made = scratch_take(strip->scratch, count * sizeof *strip->made);
    if (strip->need == NULL || strip->made == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    memset(strip->need, 0, count * sizeof *strip->need);
    memset(strip->made, 0, count * sizeof *strip->made);
    return PASSEL_OK;
}

static enum passel_status strip_make(struct strip *strip, struct passel_error *error)
{
    for (int n = strip->last; n >= 0; n--)
        need_inputs(strip, n);
    for (int n = 0; n <= strip->last; n++) {
        if (rect_empty(strip->need[n]))
            continue;
        const struct node *node = &strip->plan->nodes[n];
        if (n == strip->direct)
            strip->made[n] = *strip->into;
        else
            RETURN_IF_ERROR(scratch_picture(strip->scratch, &strip->made[n], strip->need[n],
                                            plan_made_planes(node, node->wanted), error));
        RETURN_IF_ERROR(make_node(strip, n, &strip->made[n], error));
    }
    return PASSEL_OK;
}

enum passel_status evaluate_into(const struct plan *plan, int node, const struct picture *into, struct scratch *scratch,
                                 struct passel_error *error)
{
    struct strip strip = { .plan = plan,
                           .scratch = scratch,
                           .last = node,
                           .direct = node,
                           .into = into };
    scratch_reset(scratch);
    RETURN_IF_ERROR(strip_begin(&strip, error));
    strip.need[node] = into->area;
    return strip_make(&strip, error);
}

enum passel_status evaluate_area(const struct plan *plan, const int *roots, const unsigned *planes, int root_count,
                                 struct rect area, struct picture *out, struct scratch *scratch,
                                 struct passel_error *error)
{
    struct strip strip = { .plan = plan, .scratch = scratch, .direct = -1 };
    for (int i = 0; i < root_count; i++)
        strip.last = roots[i] > strip.last ? roots[i] : strip.last;
    scratch_reset(scratch);
    RETURN_IF_ERROR(strip_begin(&strip, error));
    for (int i = 0; i < root_count; i++) {
        if (plan->nodes[roots[i]].held[FORM_PLAIN] == NULL)
            need_part(&strip, roots[i], area, BORDER_CLEAR);
    }
    RETURN_IF_ERROR(strip_make(&strip, error));
    for (int i = 0; i < root_count; i++) {
        const struct node *root = &plan->nodes[roots[i]];
        const struct picture *from = root->held[FORM_PLAIN] != NULL ? &root->held[FORM_PLAIN]->picture
                                                                    : &strip.made[roots[i]];
        RETURN_IF_ERROR(deliver(from, &root->info, area, planes[i], BORDER_CLEAR, &out[i], scratch, error));
    }
    return PASSEL_OK;
}
