/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Which of two screens keys which piece of the subject: pieces that have nearly the hue of one screen, and lie far from
 * the other's.
 */
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "survey/gauge_screen.h"

/* A piece is for the other screen when it lies nearer than this to the one, and so many degrees farther from the other.
 */
#define NEAR_DEGREES 30
#define FARTHER_BY 15
/* Blocks this near to each other are one piece; smaller ones, or of a smaller share of the subject, are not told. */
enum { REACH = 4, PIECE_LEAST = 6 };
#define PIECE_SHARE 0.001

struct growth {
    const struct subject *subject;
    int8_t *better; /* per block: the view to key it from, or -1; taken when it became part of a piece */
    uint32_t *stack;
};

static int better_view(const struct subject *subject, size_t i)
{
    const float first = subject->degrees[0][i], second = subject->degrees[1][i];
    if (first < 0 || second < 0)
        return -1;
    if (first < NEAR_DEGREES && second > first + FARTHER_BY)
        return 1;
    return second < NEAR_DEGREES && first > second + FARTHER_BY ? 0 : -1;
}

struct piece_sums {
    size_t count;
    double degrees[2];
    size_t parts[PARTS];
    int32_t x0, y0, x1, y1;
};

static void add_block(const struct subject *subject, size_t i, struct piece_sums *sums)
{
    const int32_t x = (int32_t)(i % (size_t)subject->across), y = (int32_t)(i / (size_t)subject->across);
    sums->x0 = sums->count == 0 || x < sums->x0 ? x : sums->x0;
    sums->y0 = sums->count == 0 || y < sums->y0 ? y : sums->y0;
    sums->x1 = sums->count == 0 || x >= sums->x1 ? x + 1 : sums->x1;
    sums->y1 = sums->count == 0 || y >= sums->y1 ? y + 1 : sums->y1;
    for (int k = 0; k < 2; k++)
        sums->degrees[k] += subject->degrees[k][i] < HUE_HARMLESS ? (double)subject->degrees[k][i] : 90;
    sums->parts[part_of(subject->views[0].take, i)]++;
    sums->count++;
}

/* All blocks that hang together with `seed`. */
static void grow(struct growth *growth, size_t seed, struct piece_sums *sums)
{
    const struct subject *subject = growth->subject;
    const int8_t wanted = growth->better[seed];
    size_t height = 0;
    growth->stack[height++] = (uint32_t)seed;
    growth->better[seed] = -1;
    while (height > 0) {
        const size_t i = growth->stack[--height];
        const int32_t x = (int32_t)(i % (size_t)subject->across), y = (int32_t)(i / (size_t)subject->across);
        add_block(subject, i, sums);
        for (int32_t v = y > REACH ? y - REACH : 0; v <= y + REACH && v < subject->down; v++) {
            for (int32_t u = x > REACH ? x - REACH : 0; u <= x + REACH && u < subject->across; u++) {
                const size_t near = (size_t)v * (size_t)subject->across + (size_t)u;
                if (growth->better[near] != wanted)
                    continue;
                growth->better[near] = -1;
                growth->stack[height++] = (uint32_t)near;
            }
        }
    }
}

/* The largest first; what does not fit is dropped. */
static void keep_piece(struct screen_choice *choice, const struct screen_piece *piece)
{
    int at = choice->count;
    while (at > 0 && choice->pieces[at - 1].share < piece->share)
        at--;
    if (at == PIECES_MOST)
        return;
    const int moved = choice->count < PIECES_MOST ? choice->count - at : PIECES_MOST - 1 - at;
    memmove(&choice->pieces[at + 1], &choice->pieces[at], (size_t)moved * sizeof *choice->pieces);
    choice->pieces[at] = *piece;
    choice->count += choice->count < PIECES_MOST;
}

static struct screen_piece piece_of(const struct subject *subject, int better, const struct piece_sums *sums)
{
    struct screen_piece piece = { .better = better,
                                  .box = { .x0 = sums->x0 * subject->block,
                                           .y0 = sums->y0 * subject->block,
                                           .x1 = sums->x1 * subject->block,
                                           .y1 = sums->y1 * subject->block },
                                  .share = (double)sums->count / (double)subject->area };
    for (int k = 0; k < 2; k++)
        piece.degrees[k] = sums->degrees[k] / (double)sums->count;
    for (int i = 1; i < PARTS; i++)
        piece.part = sums->parts[i] > sums->parts[piece.part] ? i : piece.part;
    return piece;
}

static void find_pieces(struct growth *growth, struct screen_choice *choice)
{
    const struct subject *subject = growth->subject;
    size_t most[PARTS] = { 0 };
    for (size_t i = 0; i < (size_t)subject->across * (size_t)subject->down; i++) {
        const int better = growth->better[i];
        struct piece_sums sums = { 0 };
        if (better < 0)
            continue;
        grow(growth, i, &sums);
        if (sums.count < PIECE_LEAST || (double)sums.count < PIECE_SHARE * (double)subject->area)
            continue;
        const struct screen_piece piece = piece_of(subject, better, &sums);
        keep_piece(choice, &piece);
        for (int part = 0; part < PARTS; part++) {
            if (sums.parts[part] < PIECE_LEAST || sums.parts[part] <= most[part])
                continue;
            most[part] = sums.parts[part];
            choice->map[part] = better == 0 ? CHOICE_FIRST : CHOICE_SECOND;
        }
    }
}

enum passel_status screen_choose(const struct subject *subject, struct screen_choice *choice,
                                 struct passel_error *error)
{
    const size_t blocks = (size_t)subject->across * (size_t)subject->down;
    size_t counts[PARTS] = { 0 };
    struct growth growth = { subject, memory_new(blocks), memory_new(blocks * sizeof(uint32_t)) };
    enum passel_status status = PASSEL_OK;
    choice->count = 0;
    if (growth.better == NULL || growth.stack == NULL)
        status = error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (size_t i = 0; i < blocks && status == PASSEL_OK; i++) {
        growth.better[i] = (int8_t)better_view(subject, i);
        counts[part_of(subject->views[0].take, i)] += subject->depth[i] >= SUBJECT_DEPTH;
    }
    for (int part = 0; part < PARTS; part++)
        choice->map[part] = counts[part] >= PIECE_LEAST ? CHOICE_EITHER : CHOICE_NONE;
    if (status == PASSEL_OK)
        find_pieces(&growth, choice);
    memory_free(growth.better);
    memory_free(growth.stack);
    return status;
}
