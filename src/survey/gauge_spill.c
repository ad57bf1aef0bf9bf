/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The screen's light on the subject. Two takes y1, y2 of one subject, filmed alike before screens K1, K2, differ where
 * it is solid by that light alone: y1 - y2 = s1 K1 - s2 K2, three equations for two unknowns. What lies across both
 * screens' colours, n = K1 x K2, is left for a difference of exposure: n (y1 - y2) = e n (y1 + y2) / 2. (Derived from
 * the matting equation, Smith and Blinn 1996.)
 *
 * Before one screen nobody knows the subject's own colour. Spill is strongest near its edges, so these are held against
 * what lies deeper: y = g m + s K, m the mean colour of the inside near by. Colours that change towards the edge are
 * taken for spill, or hide it, so this is an estimate.
 */
#include <math.h>

#include "base/error.h"
#include "base/memory.h"
#include "survey/gauge_screen.h"

/* What shows more than this share of both screens is seen through rather than lit. */
#define SEEN_THROUGH 0.2
/* Two takes are not lit alike when their exposure differs from part to part by more than this, root mean square. */
#define ALIKE_WITHIN 0.02
/* Squared share of the screens' colours that must lie apart for both to be told. */
#define APART_LEAST 0.05
/* Edges: blocks as deep as these; the inside: deeper than this, as many as this near by, in a square so far across. */
enum { EDGE_DEPTH = 5, INSIDE_DEPTH = 8, INSIDE_LEAST = 12, INSIDE_REACH = 16, EDGES_LEAST = 48 };
/* Parts of less of the subject than this are not named. */
#define PART_SHARE 0.02

static double dot(const double a[3], const double b[3])
{
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

static void colour_at(const struct look *look, size_t i, double colour[3])
{
    for (int c = 0; c < 3; c++)
        colour[c] = (double)look->plane[c][i];
}

static void behind(const struct screen_view *view, size_t i, double colour[3])
{
    float found[3];
    screen_behind(view, i, found);
    for (int c = 0; c < 3; c++)
        colour[c] = (double)found[c];
}

/* ---- two screens ------------------------------------------------------------------------------------------------- */

/* One block of both takes. */
struct both {
    double apart[3], mean[3], screen[2][3], across[3];
};

static struct both look_at_both(const struct subject *subject, size_t i)
{
    struct both both;
    double taken[2][3];
    for (int k = 0; k < 2; k++) {
        colour_at(subject->views[k].take, i, taken[k]);
        behind(&subject->views[k], i, both.screen[k]);
    }
    for (int c = 0; c < 3; c++) {
        const int d = (c + 1) % 3, e = (c + 2) % 3;
        both.apart[c] = taken[0][c] - taken[1][c];
        both.mean[c] = (taken[0][c] + taken[1][c]) / 2;
        both.across[c] = both.screen[0][d] * both.screen[1][e] - both.screen[0][e] * both.screen[1][d];
    }
    return both;
}

/* How much more exposure the first take has; -1 when parts of the picture do not agree. */
static double exposure_apart(const struct subject *subject)
{
    double products[PARTS] = { 0 }, squares[PARTS] = { 0 }, product = 0, square = 0, wrong = 0;
    for (size_t i = 0; i < (size_t)subject->across * (size_t)subject->down; i++) {
        if (subject->depth[i] < SUBJECT_DEPTH)
            continue;
        const struct both both = look_at_both(subject, i);
        const int part = part_of(subject->views[0].take, i);
        products[part] += dot(both.across, both.apart) * dot(both.across, both.mean);
        squares[part] += pow(dot(both.across, both.mean), 2);
    }
    for (int i = 0; i < PARTS; i++) {
        product += products[i];
        square += squares[i];
    }
    if (square <= 0)
        return -1;
    const double apart = product / square;
    for (int i = 0; i < PARTS; i++) {
        if (squares[i] > 0)
            wrong += squares[i] * pow(products[i] / squares[i] - apart, 2);
    }
    return sqrt(wrong / square) < ALIKE_WITHIN && fabs(apart) < 0.5 ? apart : -1;
}

/* Shares of both screens that lie on block i; false when the screens' colours are too much alike. */
static bool solve(const struct both *both, double exposure, double shares[2])
{
    double rest[3];
    for (int c = 0; c < 3; c++)
        rest[c] = both->apart[c] - exposure * both->mean[c];
    const double aa = dot(both->screen[0], both->screen[0]), bb = dot(both->screen[1], both->screen[1]);
    const double ab = dot(both->screen[0], both->screen[1]), ar = dot(both->screen[0], rest);
    const double br = dot(both->screen[1], rest), apart = aa * bb - ab * ab;
    if (!(apart > APART_LEAST * aa * bb))
        return false;
    shares[0] = (ar * bb - br * ab) / apart;
    shares[1] = (ar * ab - br * aa) / apart;
    return true;
}

struct spill_sums {
    double spill[PARTS], light[PARTS];
    size_t count[PARTS];
};

static double sum_of(const double colour[3])
{
    return colour[0] + colour[1] + colour[2];
}

static void add_both(const struct subject *subject, double exposure, struct spill_sums sums[2])
{
    for (size_t i = 0; i < (size_t)subject->across * (size_t)subject->down; i++) {
        double shares[2];
        if (subject->depth[i] < SUBJECT_DEPTH)
            continue;
        const struct both both = look_at_both(subject, i);
        if (!solve(&both, exposure, shares) || (shares[0] > SEEN_THROUGH && shares[1] > SEEN_THROUGH))
            continue;
        const int part = part_of(subject->views[0].take, i);
        for (int k = 0; k < 2; k++) {
            sums[k].spill[part] += shares[k] * sum_of(both.screen[k]);
            sums[k].light[part] += sum_of(both.mean) + (k == 0 ? 0.5 : -0.5) * sum_of(both.apart);
            sums[k].count[part]++;
        }
    }
}

static void tell(const struct subject *subject, const struct spill_sums *sums, struct screen_gauge *gauge)
{
    double spill = 0, light = 0;
    for (int i = 0; i < PARTS; i++) {
        spill += sums->spill[i];
        light += sums->light[i];
        if ((double)sums->count[i] < PART_SHARE * (double)subject->area || sums->light[i] <= 0)
            continue;
        const double share = sums->spill[i] / sums->light[i];
        gauge->spills[i] = (float)(share > 0 ? share : 0);
        if (gauge->spill_part < 0 || gauge->spills[i] > gauge->spills[gauge->spill_part])
            gauge->spill_part = i;
    }
    if (light <= 0)
        return;
    gauge->spill = spill > 0 ? spill / light : 0;
    gauge->how = SPILL_MEASURED;
}

/* ---- one screen -------------------------------------------------------------------------------------------------- */

/* The mean colour of what lies deep inside, near block i; false when too little does. */
static bool inside_near(const struct subject *subject, size_t i, double mean[3])
{
    const int32_t x = (int32_t)(i % (size_t)subject->across), y = (int32_t)(i / (size_t)subject->across);
    int count = 0;
    mean[0] = mean[1] = mean[2] = 0;
    for (int32_t v = y - INSIDE_REACH; v <= y + INSIDE_REACH; v++) {
        for (int32_t u = x - INSIDE_REACH; u <= x + INSIDE_REACH; u++) {
            if (u < 0 || v < 0 || u >= subject->across || v >= subject->down ||
                subject->depth[v * subject->across + u] <= INSIDE_DEPTH)
                continue;
            for (int c = 0; c < 3; c++)
                mean[c] += (double)subject->views[0].take->plane[c][v * subject->across + u];
            count++;
        }
    }
    for (int c = 0; c < 3; c++)
        mean[c] /= count > 0 ? count : 1;
    return count >= INSIDE_LEAST;
}

/* y = g m + s K by least squares; the light of s K as a share of that of y. */
static double share_at(const struct screen_view *view, size_t i, const double mean[3])
{
    double taken[3], screen[3];
    colour_at(view->take, i, taken);
    behind(view, i, screen);
    const double mm = dot(mean, mean), kk = dot(screen, screen), mk = dot(mean, screen), apart = mm * kk - mk * mk;
    if (!(apart > APART_LEAST * mm * kk) || sum_of(taken) <= 0)
        return 0;
    return (dot(screen, taken) * mm - dot(mean, taken) * mk) / apart * sum_of(screen) / sum_of(taken);
}

/* The middle one of the edges' shares, of all and of each part. */
static void estimate(const struct subject *subject, float *numbers, struct screen_gauge *gauge)
{
    const size_t blocks = (size_t)subject->across * (size_t)subject->down;
    float *const sorted = numbers + blocks;
    size_t all = 0;
    for (size_t i = 0; i < blocks; i++) {
        double mean[3];
        numbers[i] = NAN;
        if (subject->depth[i] < SUBJECT_DEPTH || subject->depth[i] > EDGE_DEPTH ||
            subject->degrees[0][i] == HUE_UNKNOWN || !inside_near(subject, i, mean))
            continue;
        numbers[i] = (float)share_at(&subject->views[0], i, mean);
        sorted[all++] = numbers[i];
    }
    if (all < EDGES_LEAST)
        return;
    const double middle = (double)numbers_at(sorted, all, 0.5);
    gauge->spill = middle > 0 ? middle : 0;
    gauge->how = SPILL_ESTIMATED;
    for (int part = 0; part < PARTS; part++) {
        size_t count = 0;
        for (size_t i = 0; i < blocks; i++) {
            if (!isnan(numbers[i]) && part_of(subject->views[0].take, i) == part)
                sorted[count++] = numbers[i];
        }
        if (count < EDGES_LEAST / 2)
            continue;
        const float share = numbers_at(sorted, count, 0.5);
        gauge->spills[part] = share > 0 ? share : 0;
        if (gauge->spill_part < 0 || gauge->spills[part] > gauge->spills[gauge->spill_part])
            gauge->spill_part = part;
    }
}

enum passel_status gauge_spill(const struct subject *subject, struct screen_gauge *const gauges[2],
                               struct passel_error *error)
{
    const size_t blocks = (size_t)subject->across * (size_t)subject->down;
    if (subject->count == 2) {
        struct spill_sums sums[2] = { 0 };
        const double exposure = exposure_apart(subject);
        if (exposure <= -1)
            return PASSEL_OK;
        add_both(subject, exposure, sums);
        for (int k = 0; k < 2; k++)
            tell(subject, &sums[k], gauges[k]);
        return PASSEL_OK;
    }
    float *numbers = memory_new(2 * blocks * sizeof *numbers);
    if (numbers == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    estimate(subject, numbers, gauges[0]);
    memory_free(numbers);
    return PASSEL_OK;
}
