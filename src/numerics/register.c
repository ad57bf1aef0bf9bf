/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A search over whole pixels at a coarse level, the best few places made exact there and judged one level finer; from
 * the winner down to the finest level a fixed number of Gauss-Newton steps each. Every step uses a level and the two
 * coarser ones together: each brings as much information as it has, so a soft or grainy picture is served by the
 * coarse ones. Tiles that want to go elsewhere than the map takes them (moving parts) lose weight (Cauchy). So do tiles
 * that are sure in one direction only: wires and outlines, whose bright side depends on the lamp, while paint and
 * texture hold in both.
 *
 * What the steps solve is a sum of unrelated scores over the picture, so its own scatter over parts of the picture
 * tells how sure the answer is (the sandwich estimate), without belief in any model of noise or light.
 */
#include "numerics/register.h"

#include <math.h>
#include <stdlib.h>

#include "base/error.h"
#include "base/memory.h"
#include "numerics/least_squares.h"
#include "numerics/order.h"
#include "numerics/register_level.h"

#define SEARCH_SIZE 160 /* longer side of the level that is searched */
#define CANDIDATES 8
#define SEARCH_STEPS 6
#define STEPS 6          /* at each level */
#define LAST_STEPS 5     /* at the finest */
#define TOGETHER 3       /* levels in one step */
#define LONGEST_STEP 2.0 /* pixels of the level, at a corner */
#define OUTLYING 9.0     /* squared distance, in the usual one, at which a tile has half its weight */
#define COARSER 8.0F     /* a coarser level counts so much less: light misleads it more */
#define PARTS 8          /* the picture is cut into 8 x 8 for the expected error */
#define MISLED 4.0
#define LEAST_TILES 12 /* fewer tiles decide nothing */
#define UNKNOWNS 8
#define DECOYS 12

struct task {
    struct register_pyramid pyramid;
    struct register_tile *tiles; /* room for TOGETHER levels */
    float *distances;
    enum register_model model;
    double x, y, radius; /* centre and half diagonal of `fixed` */
};

static const int unknowns_of[] = {
    [REGISTER_MOVE] = 2, [REGISTER_MOVE_TURN] = 3, [REGISTER_MOVE_TURN_SIZE] = 4, [REGISTER_PIN] = 8
};

/* ---- models ------------------------------------------------------------------------------------------------------ */

/* How a point moves with each unknown: two rows. Positions from the centre, in half diagonals. */
static void directions(double x, double y, double rows[2][UNKNOWNS])
{
    const double across[UNKNOWNS] = { 1, 0, -y, x, x, y, x * x, x * y };
    const double down[UNKNOWNS] = { 0, 1, x, y, -y, x, x * y, y * y };
    for (int k = 0; k < UNKNOWNS; k++) {
        rows[0][k] = across[k];
        rows[1][k] = down[k];
    }
}

/* The map that moves every point back by what the unknowns (in pixels) say; it stays in its model exactly. */
static struct transform step_back(const struct task *task, const double *d)
{
    double s[UNKNOWNS] = { 0 };
    for (int k = 0; k < unknowns_of[task->model]; k++)
        s[k] = d[k] / task->radius;
    double along = 1 - s[3], turn = -s[2];
    if (task->model == REGISTER_MOVE_TURN) {
        const double length = sqrt(along * along + turn * turn);
        along /= length;
        turn /= length;
    }
    const struct transform in = { { 1 / task->radius, 0, -task->x / task->radius, 0, 1 / task->radius,
                                    -task->y / task->radius, 0, 0, 1 } };
    const struct transform step = { { along - s[4], -turn - s[5], -s[0], turn - s[5], along + s[4], -s[1], s[6], s[7],
                                      1 } };
    const struct transform out = { { task->radius, 0, task->x, 0, task->radius, task->y, 0, 0, 1 } };
    return transform_chain(transform_chain(in, step), out);
}

static struct transform moved_by(double dx, double dy)
{
    const struct transform t = { { 1, 0, dx, 0, 1, dy, 0, 0, 1 } };
    return t;
}

static void corner(const struct task *task, int i, double *x, double *y)
{
    const struct rect r = task->pyramid.fixed;
    *x = ((i & 1 ? r.x1 : r.x0) - task->x) / task->radius;
    *y = ((i & 2 ? r.y1 : r.y0) - task->y) / task->radius;
}

/* The longest way that the unknowns move a corner. */
static double longest(const struct task *task, const double *d)
{
    double most = 0;
    for (int i = 0; i < 4; i++) {
        double x, y, rows[2][UNKNOWNS], move[2] = { 0, 0 };
        corner(task, i, &x, &y);
        directions(x, y, rows);
        for (int k = 0; k < unknowns_of[task->model]; k++) {
            move[0] += rows[0][k] * d[k];
            move[1] += rows[1][k] * d[k];
        }
        most = fmax(most, sqrt(move[0] * move[0] + move[1] * move[1]));
    }
    return most;
}

/* ---- one step ---------------------------------------------------------------------------------------------------- */

/* Squared distance between where a tile wants to go and where it is, in its own uncertainty; -1 when it does not say.
 */
static float distance(const struct register_tile *tile)
{
    const double xx = (double)tile->hxx, xy = (double)tile->hxy, yy = (double)tile->hyy;
    const double det = xx * yy - xy * xy, gx = (double)tile->gx, gy = (double)tile->gy;
    if (!(det > 1e-6 * xx * yy))
        return -1;
    return (float)((yy * gx * gx - 2 * xy * gx * gy + xx * gy * gy) / det);
}

/* 1 when a tile is as sure across as down, 0 when it knows one direction only. */
static float roundness(const struct register_tile *tile)
{
    const float trace = tile->hxx + tile->hyy;
    const float round = 4 * (tile->hxx * tile->hyy - tile->hxy * tile->hxy) / (trace * trace);
    return round > 0 ? round * round : 0;
}

/* Gives tiles that lie far off, or are sure in one direction only, less weight. */
static void weigh(const struct task *task, struct register_tile *tiles, int count, float share)
{
    int known = 0;
    for (int i = 0; i < count; i++)
        tiles[i].weight *= share * roundness(&tiles[i]);
    for (int i = 0; i < count; i++) {
        const float d = distance(&tiles[i]);
        if (d >= 0)
            task->distances[known++] = d;
    }
    if (known == 0)
        return;
    qsort(task->distances, (size_t)known, sizeof *task->distances, rising_floats);
    const float usual = task->distances[known / 2];
    for (int i = 0; i < count && usual > 0; i++) {
        const float d = distance(&tiles[i]);
        if (d >= 0)
            tiles[i].weight /= 1 + d / (usual * (float)OUTLYING);
    }
}

/* All tiles of a level and the coarser ones with it. */
static enum passel_status look(struct task *task, int level, const struct transform *map, int *count,
                               struct passel_error *error)
{
    float share = 1;
    *count = 0;
    for (int l = level; l < level + TOGETHER && l < task->pyramid.count; l++) {
        const struct register_view view = { .moved = &task->pyramid.levels[l].warped, .map = map, .every = 1 };
        RETURN_IF_ERROR(register_warp(&task->pyramid, l, map, error));
        const int more = register_measure(&task->pyramid, l, &view, task->tiles + *count);
        weigh(task, task->tiles + *count, more, share);
        *count += more;
        share /= COARSER;
    }
    return PASSEL_OK;
}

static void tile_rows(const struct task *task, const struct register_tile *tile, double rows[2][UNKNOWNS])
{
    directions(((double)tile->x - task->x) / task->radius, ((double)tile->y - task->y) / task->radius, rows);
}

static void gather(const struct task *task, int count, struct normal_equations *equations)
{
    const int n = unknowns_of[task->model];
    normal_equations_init(equations, n);
    for (int t = 0; t < count; t++) {
        const struct register_tile *tile = &task->tiles[t];
        const double w = (double)tile->weight, xx = (double)tile->hxx, xy = (double)tile->hxy, yy = (double)tile->hyy;
        double rows[2][UNKNOWNS];
        tile_rows(task, tile, rows);
        for (int i = 0; i < n; i++) {
            equations->right[i] += w * (rows[0][i] * (double)tile->gx + rows[1][i] * (double)tile->gy);
            for (int j = i; j < n; j++)
                equations->matrix[i * n + j] += w * (rows[0][i] * (xx * rows[0][j] + xy * rows[1][j]) +
                                                     rows[1][i] * (xy * rows[0][j] + yy * rows[1][j]));
        }
    }
}

/* Steps at one level; *held is false when there was nothing to hold on to. */
static enum passel_status refine(struct task *task, int level, int steps, struct transform *map, bool *held,
                                 struct passel_error *error)
{
    for (int i = 0; i < steps; i++) {
        int count;
        struct normal_equations equations;
        double d[UNKNOWNS];
        RETURN_IF_ERROR(look(task, level, map, &count, error));
        gather(task, count, &equations);
        *held = count >= LEAST_TILES && normal_equations_solve(&equations, d);
        if (!*held)
            return PASSEL_OK;
        const double way = longest(task, d) / task->pyramid.levels[level].scale;
        for (int k = 0; k < UNKNOWNS && way > LONGEST_STEP; k++)
            d[k] *= LONGEST_STEP / way;
        *map = transform_chain(step_back(task, d), *map);
    }
    return PASSEL_OK;
}

/* ---- the first position ------------------------------------------------------------------------------------------ */

struct candidate {
    double dx, dy, score; /* full pixels from corner to corner */
};

static double mean_score(const struct register_tile *tiles, int count)
{
    double sum = 0, weight = 0;
    for (int i = 0; i < count; i++) {
        sum += (double)(tiles[i].weight * tiles[i].score);
        weight += (double)tiles[i].weight;
    }
    return weight > 0 ? sum / weight : 0;
}

/* Keeps the best, no two of them within a pixel and a half of the level. */
static void enter(struct candidate *list, struct candidate new, double apart)
{
    for (int i = 0; i < CANDIDATES; i++) {
        const bool near = fabs(list[i].dx - new.dx) <= apart && fabs(list[i].dy - new.dy) <= apart;
        if (near && list[i].score >= new.score)
            return;
        if (near)
            list[i].score = -1;
    }
    for (int i = 0; i < CANDIDATES; i++) {
        if (list[i].score < new.score) {
            const struct candidate out = list[i];
            list[i] = new;
            new = out;
        }
    }
}

static void search(struct task *task, int level, struct candidate *list)
{
    const struct register_level *here = &task->pyramid.levels[level];
    const struct rect a = here->fixed.area;
    const int32_t longer = a.x1 > a.y1 ? a.x1 : a.y1, reach = (int32_t)ceil(longer * REGISTER_REACH);
    const int whole = register_tile_room(here);
    for (int i = 0; i < CANDIDATES; i++)
        list[i] = (struct candidate){ 0, 0, i == 0 ? 0 : -1 };
    for (int32_t dy = -reach; dy <= reach; dy++)
        for (int32_t dx = -reach; dx <= reach; dx++) {
            const struct register_view view = { .moved = &here->moved, .dx = dx, .dy = dy, .every = 1, .scores = true };
            const int count = register_measure(&task->pyramid, level, &view, task->tiles);
            const struct candidate new = { dx * here->scale, dy * here->scale, mean_score(task->tiles, count) };
            if (count > whole / 3)
                enter(list, new, 1.5 * here->scale);
        }
}

/* The level that is searched: the first whose longer side is small enough. */
static int search_level(const struct task *task)
{
    int level = 0;
    while (level + 1 < task->pyramid.count && (task->pyramid.levels[level].fixed.area.x1 > SEARCH_SIZE ||
                                               task->pyramid.levels[level].fixed.area.y1 > SEARCH_SIZE))
        level++;
    return level;
}

static enum passel_status first_position(struct task *task, int level, struct transform *map,
                                         struct passel_error *error)
{
    const struct rect fixed = task->pyramid.fixed, moved = task->pyramid.moved;
    const double x = moved.x0 - fixed.x0, y = moved.y0 - fixed.y0;
    const enum register_model model = task->model;
    const int finer = level > 0 ? level - 1 : 0;
    struct candidate list[CANDIDATES];
    double best = -1;
    search(task, level, list);
    *map = moved_by(x, y);
    task->model = REGISTER_MOVE;
    for (int i = 0; i < CANDIDATES; i++) {
        struct transform here = moved_by(x + list[i].dx, y + list[i].dy);
        int count;
        bool held = true;
        if (list[i].score < 0)
            continue;
        RETURN_IF_ERROR(refine(task, level, SEARCH_STEPS, &here, &held, error));
        if (held && finer < level)
            RETURN_IF_ERROR(refine(task, finer, SEARCH_STEPS / 2, &here, &held, error));
        RETURN_IF_ERROR(look(task, finer, &here, &count, error));
        const double score = mean_score(task->tiles, count);
        if (held && score > best) {
            best = score;
            *map = here;
        }
    }
    task->model = model;
    return PASSEL_OK;
}

/* ---- how sure ---------------------------------------------------------------------------------------------------- */

static int part_of(const struct task *task, const struct register_tile *tile)
{
    const struct rect r = task->pyramid.fixed;
    const int column = (int)(((double)tile->x - r.x0) * PARTS / rect_width(r));
    const int row = (int)(((double)tile->y - r.y0) * PARTS / rect_height(r));
    return (row < PARTS ? row : PARTS - 1) * PARTS + (column < PARTS ? column : PARTS - 1);
}

/* Standard error at the worst corner. Light misleads neighbouring tiles in the same way, which their scatter does not
 * show: against pictures with a known truth (tests/bench/align) it came out about MISLED times too small. */
static double expected_error(const struct task *task, int count)
{
    const int n = unknowns_of[task->model];
    double scores[PARTS * PARTS][UNKNOWNS] = { { 0 } }, steps[PARTS * PARTS][UNKNOWNS], worst = 0;
    struct normal_equations equations;
    gather(task, count, &equations);
    for (int t = 0; t < count; t++) {
        const struct register_tile *tile = &task->tiles[t];
        double rows[2][UNKNOWNS];
        tile_rows(task, tile, rows);
        for (int k = 0; k < n; k++)
            scores[part_of(task, tile)][k] +=
                (double)tile->weight * (rows[0][k] * (double)tile->gx + rows[1][k] * (double)tile->gy);
    }
    for (int p = 0; p < PARTS * PARTS; p++) {
        for (int k = 0; k < n; k++)
            equations.right[k] = scores[p][k];
        if (!normal_equations_solve(&equations, steps[p]))
            return INFINITY;
    }
    for (int i = 0; i < 4; i++) {
        double x, y, rows[2][UNKNOWNS], sum = 0;
        corner(task, i, &x, &y);
        directions(x, y, rows);
        for (int p = 0; p < PARTS * PARTS; p++) {
            double move[2] = { 0, 0 };
            for (int k = 0; k < n; k++) {
                move[0] += rows[0][k] * steps[p][k];
                move[1] += rows[1][k] * steps[p][k];
            }
            sum += move[0] * move[0] + move[1] * move[1];
        }
        worst = fmax(worst, sum);
    }
    return MISLED * sqrt(worst * PARTS * PARTS / (PARTS * PARTS - n));
}

/* Scores of the tiles of a level where the map is off by so many pixels of it. */
struct scores {
    double count, sum, squares;
};

static void add_scores(struct task *task, int level, const struct transform *map, int32_t dx, int32_t dy,
                       struct scores *scores)
{
    const struct register_view view = { .moved = &task->pyramid.levels[level].warped,
                                        .map = map,
                                        .dx = dx,
                                        .dy = dy,
                                        .every = level == 0 ? 3 : 1,
                                        .scores = true };
    const int count = register_measure(&task->pyramid, level, &view, task->tiles);
    for (int i = 0; i < count; i++) {
        const double score = (double)task->tiles[i].score, weight = (double)task->tiles[i].weight;
        scores->count += weight;
        scores->sum += weight * score;
        scores->squares += weight * score * score;
    }
}

/* How far the agreement stands out from that of wrong positions, whose tiles are taken as independent. */
static double clearness(struct task *task, const struct transform *map)
{
    static const int32_t away[DECOYS][2] = { { 7, 0 },  { 6, 4 },   { 4, 6 },   { 0, 7 },  { -4, 6 }, { -6, 4 },
                                             { -7, 0 }, { -6, -4 }, { -4, -6 }, { 0, -7 }, { 4, -6 }, { 6, -4 } };
    double above = 0, variance = 0;
    for (int level = 0; level < TOGETHER && level < task->pyramid.count; level++) {
        struct scores right = { 0, 0, 0 }, wrong = { 0, 0, 0 };
        add_scores(task, level, map, 0, 0, &right);
        for (int i = 0; i < DECOYS; i++)
            add_scores(task, level, map, away[i][0], away[i][1], &wrong);
        if (!(right.count > 0 && wrong.count > 0))
            continue;
        const double mean = wrong.sum / wrong.count;
        above += right.sum - right.count * mean;
        variance += right.count * (wrong.squares / wrong.count - mean * mean);
    }
    return variance > 0 ? above / sqrt(variance) : 0;
}

static double agreement(const struct task *task, int count)
{
    double sum = 0, weight = 0;
    for (int i = 0; i < count; i++) {
        sum += (double)(task->tiles[i].weight * task->tiles[i].agreement);
        weight += (double)task->tiles[i].weight;
    }
    return weight > 0 ? sum / weight : 0;
}

/* ---- all of it --------------------------------------------------------------------------------------------------- */

static enum passel_status task_begin(struct task *task, const struct picture *fixed, const struct picture *moved,
                                     const struct picture *where, struct passel_error *error)
{
    const struct rect r = fixed->area;
    size_t room = 1;
    task->x = (r.x0 + r.x1) / 2.0;
    task->y = (r.y0 + r.y1) / 2.0;
    task->radius = sqrt((double)rect_width(r) * rect_width(r) + (double)rect_height(r) * rect_height(r)) / 2;
    RETURN_IF_ERROR(register_pyramid_new(fixed, moved, where, &task->pyramid, error));
    for (int l = 0; l < task->pyramid.count; l++)
        room += (size_t)register_tile_room(&task->pyramid.levels[l]);
    task->tiles = memory_zeros(room, sizeof *task->tiles);
    task->distances = memory_zeros(room, sizeof *task->distances);
    if (task->tiles == NULL || task->distances == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    return PASSEL_OK;
}

static enum passel_status nothing_to_hold(struct passel_error *error)
{
    return error_set(error, PASSEL_BAD_PICTURE,
                     "there is nothing to hold on to: hardly any structure that both pictures show");
}

static enum passel_status verdict(enum register_model model, const struct registration *found,
                                  struct passel_error *error)
{
    const double worst = model == REGISTER_PIN ? REGISTER_WORST_PIN : REGISTER_WORST;
    if (!(found->clearness >= REGISTER_CLEAR))
        return error_set(error, PASSEL_BAD_PICTURE,
                         "the pictures do not fit together anywhere within %.0f%% of their size: the best place stands "
                         "out from wrong ones by %.1f standard deviations, where %.0f are needed (%.0f%% of the "
                         "structure agrees)",
                         100 * REGISTER_REACH, found->clearness, REGISTER_CLEAR, 100 * found->agreement);
    if (!(found->expected <= worst))
        return error_set(error, PASSEL_BAD_PICTURE,
                         "the place is not sure enough: expected error %.2f px at a corner, where %.2f px are allowed "
                         "(%.0f%% of the structure agrees)",
                         found->expected, worst, 100 * found->agreement);
    return PASSEL_OK;
}

static enum passel_status solve(struct task *task, const struct transform *guess, struct registration *found,
                                struct passel_error *error)
{
    const int start = search_level(task);
    bool held = true;
    int count;
    if (guess != NULL)
        found->map = *guess;
    else
        RETURN_IF_ERROR(first_position(task, start, &found->map, error));
    for (int level = start; level >= 0 && held; level--)
        RETURN_IF_ERROR(refine(task, level, level > 0 ? STEPS : LAST_STEPS, &found->map, &held, error));
    if (!held)
        return nothing_to_hold(error);
    RETURN_IF_ERROR(look(task, 0, &found->map, &count, error));
    found->expected = expected_error(task, count);
    found->agreement = agreement(task, count);
    found->clearness = clearness(task, &found->map);
    return verdict(task->model, found, error);
}

static int32_t smallest(const struct picture *picture)
{
    const int32_t width = rect_width(picture->area), height = rect_height(picture->area);
    return width < height ? width : height;
}

enum passel_status register_pictures(const struct picture *fixed, const struct picture *moved,
                                     const struct picture *where, enum register_model model,
                                     const struct transform *guess, struct registration *found,
                                     struct passel_error *error)
{
    struct task task = { .model = model };
    *found = (struct registration){ .map = transform_identity() };
    if (smallest(fixed) < REGISTER_SMALLEST || smallest(moved) < REGISTER_SMALLEST)
        return error_set(error, PASSEL_BAD_PICTURE,
                         "the pictures are too small to be laid on each other: both need %d "
                         "pixels each way",
                         REGISTER_SMALLEST);
    enum passel_status status = task_begin(&task, fixed, moved, where, error);
    if (status == PASSEL_OK)
        status = solve(&task, guess, found, error);
    memory_free(task.tiles);
    memory_free(task.distances);
    register_pyramid_release(&task.pyramid);
    return status;
}
