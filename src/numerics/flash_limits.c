/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "numerics/flash_limits.h"

#include <math.h>

#include "base/error.h"
#include "base/memory.h"

enum { CHANGES = FLASH_CHANGES };

/* Slack for sums in float: a change of just 0.1 counts. */
#define LUMINANCE_STEP (0.1F - 1e-5F)
#define LUMINANCE_DARK 0.80F
#define RED_STEP (20.0F / 320 + 1e-5F)
#define RED_SHARE 0.8F

/* A value at an end of a rise or fall, and whether it can count. */
struct end {
    float value;
    bool marked; /* saturated red */
};

/* One measure of one cell: where its value turned last, where it has been since, and its last changes. */
struct place {
    int direction;    /* 1 rising, -1 falling, 0 not known yet */
    struct end start; /* where the rise or fall began; the lowest so far while the direction is not known */
    struct end far;   /* its farthest value; the highest so far while the direction is not known */
    bool counted;     /* this rise or fall */
    int last;         /* direction of the last change that counted */
    int32_t changes[CHANGES];
    int count; /* of all changes */
};

struct flash_judge {
    int cells;
    double rate, area;
    double most;          /* the largest share of the places that had too many changes at once */
    struct place *places; /* cells * FLASH_KINDS */
    bool begun;
    int32_t frame; /* the last one */
    struct flash_stretch *stretches;
    int stretch_count, stretch_room;
    int open[FLASH_KINDS]; /* the stretch that reached the last frame, or -1 */
};

enum passel_status flash_judge_new(int cells, double rate, double area, struct flash_judge **made,
                                   struct passel_error *error)
{
    struct flash_judge *judge = memory_zeros(1, sizeof *judge);
    if (judge != NULL)
        judge->places = memory_zeros((size_t)cells, FLASH_KINDS * sizeof *judge->places);
    if (judge == NULL || judge->places == NULL) {
        memory_free(judge);
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    }
    judge->cells = cells;
    judge->rate = rate;
    judge->area = area;
    *made = judge;
    return PASSEL_OK;
}

void flash_judge_free(struct flash_judge *judge)
{
    if (judge == NULL)
        return;
    memory_free(judge->places);
    memory_free(judge->stretches);
    memory_free(judge);
}

/* ---- one place --------------------------------------------------------------------------------------------------- */

static void turn(struct place *place, int direction, struct end start, struct end now)
{
    place->direction = direction;
    place->start = start;
    place->far = now;
    place->counted = false;
}

/* Follows the value by rises and falls of at least `step`. */
static void follow(struct place *place, struct end now, float step)
{
    if (place->direction == 0) {
        if (now.value < place->start.value)
            place->start = now;
        if (now.value > place->far.value)
            place->far = now;
        if (now.value - place->start.value >= step)
            turn(place, 1, place->start, now);
        else if (place->far.value - now.value >= step)
            turn(place, -1, place->far, now);
        return;
    }
    const float beyond = (now.value - place->far.value) * (float)place->direction;
    if (beyond > 0)
        place->far = now;
    else if (-beyond >= step)
        turn(place, -place->direction, place->far, now);
}

static void count_change(struct place *place, int32_t frame)
{
    place->counted = true;
    if (place->direction == place->last)
        return;
    place->last = place->direction;
    place->changes[place->count++ % CHANGES] = frame;
}

/* The frame of the first of the last eight changes when they lie within a second of `frame`. */
static bool too_many(const struct place *place, int32_t frame, double rate, int32_t *first)
{
    if (place->count < CHANGES)
        return false;
    *first = place->changes[place->count % CHANGES];
    return frame - *first <= rate;
}

static void follow_luminance(struct place *place, const struct flash_cell *cell, int32_t frame, bool begin)
{
    const struct end now = { .value = 0.2126F * cell->red + 0.7152F * cell->green + 0.0722F * cell->blue };
    if (begin)
        *place = (struct place){ .start = now, .far = now };
    follow(place, now, LUMINANCE_STEP);
    if (place->direction != 0 && !place->counted && fminf(place->start.value, place->far.value) < LUMINANCE_DARK)
        count_change(place, frame);
}

static void follow_red(struct place *place, const struct flash_cell *cell, int32_t frame, bool begin)
{
    const float sum = cell->red + cell->green + cell->blue;
    const struct end now = { .value = fmaxf(cell->red - cell->green - cell->blue, 0),
                             .marked = sum > 0 && cell->red >= RED_SHARE * sum };
    if (begin)
        *place = (struct place){ .start = now, .far = now };
    follow(place, now, RED_STEP);
    if (place->direction != 0 && !place->counted && (place->start.marked || place->far.marked))
        count_change(place, frame);
}

/* ---- the picture ------------------------------------------------------------------------------------------------- */

/* The frame fails by a share of the picture; `first` is the earliest change that counted. */
static enum passel_status fail(struct flash_judge *judge, enum flash_kind kind, int32_t first, int32_t frame,
                               double share, struct passel_error *error)
{
    if (judge->open[kind] < 0) {
        if (judge->stretch_count == judge->stretch_room) {
            const int room = judge->stretch_room == 0 ? 8 : judge->stretch_room * 2;
            struct flash_stretch *stretches =
                memory_grow(judge->stretches, (size_t)judge->stretch_count, (size_t)room, sizeof *stretches);
            if (stretches == NULL)
                return error_set(error, PASSEL_NO_MEMORY, "out of memory");
            judge->stretches = stretches;
            judge->stretch_room = room;
        }
        judge->open[kind] = judge->stretch_count;
        judge->stretches[judge->stretch_count++] = (struct flash_stretch){ .kind = kind, .first = first };
    }
    struct flash_stretch *stretch = &judge->stretches[judge->open[kind]];
    stretch->last = frame;
    stretch->share = fmax(stretch->share, share);
    return PASSEL_OK;
}

static enum passel_status judge_kind(struct flash_judge *judge, enum flash_kind kind, int32_t frame,
                                     struct passel_error *error)
{
    int cells = 0;
    int32_t earliest = frame;
    for (int i = 0; i < judge->cells; i++) {
        int32_t first;
        if (!too_many(&judge->places[i * FLASH_KINDS + (int)kind], frame, judge->rate, &first))
            continue;
        cells++;
        earliest = first < earliest ? first : earliest;
    }
    const double share = (double)cells / judge->cells;
    judge->most = fmax(judge->most, share);
    if (share > judge->area)
        return fail(judge, kind, earliest, frame, share, error);
    judge->open[kind] = -1;
    return PASSEL_OK;
}

enum passel_status flash_judge_frame(struct flash_judge *judge, int32_t frame, const struct flash_cell *cells,
                                     struct passel_error *error)
{
    const bool begin = !judge->begun || frame != judge->frame + 1;
    judge->begun = true;
    judge->frame = frame;
    if (begin)
        judge->open[FLASH_GENERAL] = judge->open[FLASH_RED] = -1;
    for (int i = 0; i < judge->cells; i++) {
        follow_luminance(&judge->places[i * FLASH_KINDS + FLASH_GENERAL], &cells[i], frame, begin);
        follow_red(&judge->places[i * FLASH_KINDS + FLASH_RED], &cells[i], frame, begin);
    }
    RETURN_IF_ERROR(judge_kind(judge, FLASH_GENERAL, frame, error));
    return judge_kind(judge, FLASH_RED, frame, error);
}

const struct flash_stretch *flash_judge_stretches(const struct flash_judge *judge, int *count)
{
    *count = judge->stretch_count;
    return judge->stretches;
}

double flash_judge_share(const struct flash_judge *judge)
{
    return judge->most;
}
