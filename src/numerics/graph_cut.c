/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * An expansion asks of every cell whether it keeps its label or takes the new one: a minimum cut, with pair costs split
 * after Kolmogorov and Zabih 2004. The flow is found by shortest paths (Dinic 1970) over the four neighbours of a grid.
 */
#include "numerics/graph_cut.h"

#include <string.h>

#include "base/error.h"
#include "base/memory.h"

enum { RIGHT, LEFT, DOWN, UP, SIDES };

struct net {
    int32_t width, count;
    int32_t *room[SIDES]; /* what may still flow to that neighbour */
    int32_t *spare;       /* > 0: still to come from the source; < 0: may still go to the sink */
    int32_t *depth;       /* steps from the source, -1 unreached */
    int32_t *path, *queue;
    unsigned char *next_side, *came_by;
    void *block;
};

static enum passel_status net_new(struct net *net, int32_t width, int32_t height, struct passel_error *error)
{
    const size_t count = (size_t)width * (size_t)height;
    *net = (struct net){ .width = width, .count = (int32_t)count };
    int32_t *next = net->block = memory_zeros(count, (SIDES + 4) * sizeof *next + 2);
    if (next == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int side = 0; side < SIDES; side++, next += count)
        net->room[side] = next;
    net->spare = next;
    net->depth = next + count;
    net->path = next + 2 * count;
    net->queue = next + 3 * count;
    net->next_side = (unsigned char *)(next + 4 * count);
    net->came_by = net->next_side + count;
    return PASSEL_OK;
}

static int32_t neighbour(const struct net *net, int32_t cell, int side)
{
    const int32_t step[SIDES] = { 1, -1, net->width, -net->width };
    return cell + step[side];
}

/* ---- flow ------------------------------------------------------------------------------------------------------ */

/* Steps from the source to every cell; whether the sink can be reached. */
static bool find_depths(const struct net *net)
{
    int32_t head = 0, tail = 0;
    bool reached = false;
    for (int32_t cell = 0; cell < net->count; cell++) {
        net->depth[cell] = net->spare[cell] > 0 ? 0 : -1;
        if (net->spare[cell] > 0)
            net->queue[tail++] = cell;
    }
    while (head < tail) {
        const int32_t cell = net->queue[head++];
        reached = reached || net->spare[cell] < 0;
        for (int side = 0; side < SIDES; side++) {
            if (net->room[side][cell] <= 0)
                continue;
            const int32_t next = neighbour(net, cell, side);
            if (net->depth[next] < 0) {
                net->depth[next] = net->depth[cell] + 1;
                net->queue[tail++] = next;
            }
        }
    }
    return reached;
}

/* Sends what fits along the path, whose last cell leads to the sink. */
static void push_along(const struct net *net, int32_t length)
{
    const int32_t first = net->path[0], last = net->path[length - 1];
    int32_t much = net->spare[first] < -net->spare[last] ? net->spare[first] : -net->spare[last];
    for (int32_t i = 1; i < length; i++) {
        const int32_t room = net->room[net->came_by[net->path[i]]][net->path[i - 1]];
        much = room < much ? room : much;
    }
    net->spare[first] -= much;
    net->spare[last] += much;
    for (int32_t i = 1; i < length; i++) {
        const int side = net->came_by[net->path[i]];
        net->room[side][net->path[i - 1]] -= much;
        net->room[side ^ 1][net->path[i]] += much;
    }
}

/* One step deeper from the path's end, or one back when there is none; the path's new length. */
static int32_t step_on(const struct net *net, int32_t length)
{
    const int32_t cell = net->path[length - 1];
    for (; net->next_side[cell] < SIDES; net->next_side[cell]++) {
        const int side = net->next_side[cell];
        if (net->room[side][cell] <= 0)
            continue;
        const int32_t next = neighbour(net, cell, side);
        if (net->depth[next] == net->depth[cell] + 1) {
            net->came_by[next] = (unsigned char)side;
            net->path[length] = next;
            return length + 1;
        }
    }
    if (length > 1)
        net->next_side[net->path[length - 2]]++;
    return length - 1;
}

/* Fills all shortest paths. */
static void push_shortest(const struct net *net)
{
    memset(net->next_side, 0, (size_t)net->count);
    for (int32_t source = 0; source < net->count; source++) {
        if (net->spare[source] <= 0)
            continue;
        net->path[0] = source;
        int32_t length = 1;
        while (length > 0 && net->spare[source] > 0) {
            if (net->spare[net->path[length - 1]] < 0) {
                push_along(net, length);
                length = 1;
            } else {
                length = step_on(net, length);
            }
        }
    }
}

/* ---- expansions ------------------------------------------------------------------------------------------------ */

/* Adds the four costs of a pair: both keep, q takes, p takes; both taking is free. */
static void add_pair(const struct net *net, int32_t p, int32_t q, int side, int32_t keep, int32_t q_takes,
                     int32_t p_takes)
{
    const int32_t link = q_takes + p_takes - keep;
    net->spare[p] += p_takes - keep;
    net->spare[q] -= p_takes;
    net->room[side][p] += link > 0 ? link : 0;
}

static void build_net(const struct labelling *labelling, const struct net *net, const int32_t *label, int32_t taken)
{
    const void *data = labelling->data;
    const int32_t width = labelling->width;
    for (int side = 0; side < SIDES; side++)
        memset(net->room[side], 0, (size_t)net->count * sizeof **net->room);
    memset(net->spare, 0, (size_t)net->count * sizeof *net->spare);
    for (int32_t p = 0; p < net->count; p++) {
        if (!labelling->open[p])
            continue;
        net->spare[p] += labelling->cell(data, p, taken) - labelling->cell(data, p, label[p]);
        for (int side = RIGHT; side <= DOWN; side += DOWN - RIGHT) {
            const int32_t q = neighbour(net, p, side);
            if ((side == RIGHT && p % width == width - 1) || q >= net->count || !labelling->open[q])
                continue;
            add_pair(net, p, q, side, labelling->pair(data, p, q, label[p], label[q]),
                     labelling->pair(data, p, q, label[p], taken), labelling->pair(data, p, q, taken, label[q]));
        }
    }
}

/* Cells that the source does not reach any more take the label; whether any does that had another. */
static bool expand(const struct labelling *labelling, const struct net *net, int32_t *label, int32_t taken)
{
    bool changed = false;
    build_net(labelling, net, label, taken);
    while (find_depths(net))
        push_shortest(net);
    for (int32_t p = 0; p < net->count; p++) {
        if (labelling->open[p] && net->depth[p] < 0 && label[p] != taken) {
            label[p] = taken;
            changed = true;
        }
    }
    return changed;
}

enum passel_status graph_cut_label(const struct labelling *labelling, int rounds, int32_t *label,
                                   struct passel_error *error)
{
    struct net net;
    RETURN_IF_ERROR(net_new(&net, labelling->width, labelling->height, error));
    int32_t still = 0;
    for (int32_t k = 0; k < rounds * labelling->labels && still < labelling->labels; k++)
        still = expand(labelling, &net, label, k % labelling->labels) ? 0 : still + 1;
    memory_free(net.block);
    return PASSEL_OK;
}
