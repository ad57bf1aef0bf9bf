/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * What belongs together: two screens behind one subject, a screen and its empty, a lit pass and its dark, a lamp and
 * the set it lights, all lamps and each of them.
 */
#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/memory.h"
#include "survey/portrait.h"

/* Two screen passes show the same subject when what is not screen agrees over this share of both together. */
#define SAME_SUBJECT 0.8
/* A lamp lights the set: at most this share of its light may lie where there is no set. */
#define BESIDE_THE_SET 0.12
/* A pass that was exposed three stops longer has so much of the leaking light. */
#define LEAK_MOST 8.0
/* All lamps: what is left of it after the lamps are taken away, as a share of its own light. */
#define SUM_RESIDUAL 0.2
/* Subsets of lamps are tried up to so many lamps. */
enum { LAMPS_TRIED = 10 };

static bool same_size(const struct portrait *a, const struct portrait *b)
{
    return a->width == b->width && a->height == b->height;
}

/* ---- two screens ------------------------------------------------------------------------------------------------ */

static double overlap(const struct portrait *a, const struct portrait *b)
{
    size_t both = 0, either = 0;
    for (size_t i = 0; i < look_count(&a->look); i++) {
        both += !a->bare[i] && !b->bare[i];
        either += !a->bare[i] || !b->bare[i];
    }
    return either > 0 ? (double)both / (double)either : 0;
}

static void pair_screens(struct portraits *portraits)
{
    for (;;) {
        double best = SAME_SUBJECT;
        struct portrait *one = NULL, *other = NULL;
        for (int i = 0; i < portraits->count; i++) {
            for (int k = i + 1; k < portraits->count; k++) {
                struct portrait *a = &portraits->list[i], *b = &portraits->list[k];
                if (a->role != ROLE_SCREEN || b->role != ROLE_SCREEN || a->hue == b->hue || !same_size(a, b) ||
                    a->partner >= 0 || b->partner >= 0 || overlap(a, b) <= best)
                    continue;
                best = overlap(a, b);
                one = a;
                other = b;
            }
        }
        if (one == NULL)
            return;
        one->partner = (int)(other - portraits->list);
        other->partner = (int)(one - portraits->list);
    }
}

/* ---- empties and darks ------------------------------------------------------------------------------------------ */

/* How far an empty is from the bare part of a screen pass: mean distance of the logarithms. */
static double empty_distance(const struct portrait *screen, const struct portrait *empty)
{
    double sum = 0;
    size_t count = 0;
    for (size_t i = 0; i < look_count(&screen->look); i++) {
        if (!screen->bare[i])
            continue;
        sum += fabs(log(fmax(look_light(&screen->look, i), 1e-6F) / fmax(look_light(&empty->look, i), 1e-6F)));
        count++;
    }
    return count > 0 ? sum / (double)count : INFINITY;
}

/* How many words (three letters or more) of one file name stand in another. */
static int common_words(const char *a, const char *b)
{
    int count = 0;
    const size_t end = strcspn(a, ".");
    for (size_t i = 0; i < end;) {
        char word[32];
        size_t n = 0;
        while (i + n < end && isalpha((unsigned char)a[i + n]) && n < sizeof word - 1)
            n++;
        memcpy(word, a + i, n);
        word[n] = '\0';
        count += n >= 3 && strstr(b, word) != NULL;
        i += n + (n < sizeof word - 1);
    }
    return count;
}

/* True when empty `a` goes better with the screen than `b`: by its name, else by its place in the folder. */
static bool better_empty(const struct portraits *portraits, int screen, int a, int b)
{
    const char *name = portraits->list[screen].clip->name;
    const int words_a = common_words(name, portraits->list[a].clip->name);
    const int words_b = common_words(name, portraits->list[b].clip->name);
    return words_a != words_b ? words_a > words_b : abs(a - screen) < abs(b - screen);
}

static bool may_be_empty_of(const struct portrait *empty, const struct portrait *screen)
{
    return empty->role == ROLE_EMPTY && empty->hue == screen->hue && same_size(empty, screen);
}

/* Empties that fit about as well (two shots of one screen) are told apart by name and place. */
static int nearest_empty(const struct portraits *portraits, int screen, const bool *used)
{
    const struct portrait *s = &portraits->list[screen];
    double best = INFINITY;
    int found = -1;
    for (int i = 0; i < portraits->count; i++) {
        if (may_be_empty_of(&portraits->list[i], s) && !used[i])
            best = fmin(best, empty_distance(s, &portraits->list[i]));
    }
    for (int i = 0; i < portraits->count; i++) {
        const struct portrait *e = &portraits->list[i];
        if (may_be_empty_of(e, s) && !used[i] && empty_distance(s, e) <= 1.3 * best + 0.01 &&
            (found < 0 || better_empty(portraits, screen, i, found)))
            found = i;
    }
    return found;
}

enum { PORTRAITS_MOST = 4096 };

static void match_empties(struct portraits *portraits)
{
    bool used[PORTRAITS_MOST] = { false };
    const int count = portraits->count < PORTRAITS_MOST ? portraits->count : PORTRAITS_MOST;
    /* Screens that have a partner first, each in the folder's order; then empties may serve twice. */
    for (int round = 0; round < 3; round++) {
        for (int i = 0; i < count; i++) {
            struct portrait *p = &portraits->list[i];
            if (p->role != ROLE_SCREEN || p->empty >= 0 || (round == 0 && p->partner < 0))
                continue;
            if (round == 2)
                memset(used, 0, sizeof used);
            p->empty = nearest_empty(portraits, i, used);
            if (p->empty >= 0)
                used[p->empty] = true;
        }
    }
}

static bool of_the_shot(const struct portraits *portraits, const struct portrait *p)
{
    return p->width == portraits->width && p->height == portraits->height;
}

/* A dark pass never lies above what is lit: how much of it does, with the noise as the yardstick. */
static double dark_excess(const struct portrait *lit, const struct portrait *dark)
{
    double sum = 0;
    for (size_t i = 0; i < look_count(&lit->look); i++)
        sum += fmax(0, look_light(&dark->look, i) - look_light(&lit->look, i));
    return sum / (double)look_count(&lit->look);
}

/* How far it is from what nearly all lit passes have in common; else the darker, the better. */
static double dark_distance(const struct portraits *portraits, const struct portrait *dark)
{
    double sum = 0;
    if (portraits->common == NULL || !of_the_shot(portraits, dark))
        return (double)dark->bright;
    for (size_t i = 0; i < look_count(&dark->look); i++)
        sum += fabs((double)look_light(&dark->look, i) - (double)portraits->common[i]);
    return sum / (double)look_count(&dark->look);
}

static bool is_lit(const struct portrait *p)
{
    return p->role == ROLE_LAMP || p->role == ROLE_ELEMENT;
}

/* 0 when the rates are known and equal, 1 when they differ. A pass that says none is more likely to have the dark that
 * goes with no other. */
static double rates_differ(const struct portraits *portraits, const struct portrait *dark, const struct portrait *lit)
{
    if (dark->rate == lit->rate)
        return 0;
    if (dark->rate > 0 && lit->rate > 0)
        return 1;
    for (int i = 0; i < portraits->count; i++) {
        const struct portrait *p = &portraits->list[i];
        if (is_lit(p) && same_size(p, dark) && p->rate == dark->rate)
            return 0.5;
    }
    return 0.25;
}

/* The same size must be; the same rate is better, where both are known; then the level that lights off should have and
 * that lies above the lit pass least, then the nearest. */
static int dark_of(const struct portraits *portraits, int lit)
{
    const struct portrait *p = &portraits->list[lit];
    int found = -1;
    double best = INFINITY;
    for (int i = 0; i < portraits->count; i++) {
        const struct portrait *d = &portraits->list[i];
        if (d->role != ROLE_DARK || !same_size(d, p))
            continue;
        const double cost =
            dark_excess(p, d) + dark_distance(portraits, d) + rates_differ(portraits, d, p) + 1e-5 * abs(i - lit);
        if (cost < best) {
            best = cost;
            found = i;
        }
    }
    return found;
}

static void match_darks(struct portraits *portraits)
{
    for (int i = 0; i < portraits->count; i++) {
        struct portrait *p = &portraits->list[i];
        if (p->role == ROLE_LAMP || p->role == ROLE_ELEMENT)
            p->dark = dark_of(portraits, i);
    }
}

/* ---- lamps and elements ----------------------------------------------------------------------------------------- */

static float own_light(const struct portraits *portraits, const struct portrait *p, size_t i)
{
    const float dark = p->dark >= 0 ? look_light(&portraits->list[p->dark].look, i) : 0;
    return look_light(&p->look, i) - dark;
}

/* How much of the leaking light is in a pass, as a share of what nearly all lit passes have where both screens are
 * bare: more than all when it was exposed longer. Of an even haze, which is nothing but surround, this says nothing. */
static double leak_share(const struct portraits *portraits, const struct portrait *p, const struct portrait *a,
                         const struct portrait *b)
{
    float *shares = portrait_shaped(p) ? memory_new(look_count(&p->look) * sizeof *shares) : NULL;
    size_t count = 0;
    for (size_t i = 0; i < look_count(&p->look) && shares != NULL; i++) {
        if (a->bare[i] && b->bare[i] && portraits->common[i] > 0)
            shares[count++] = look_light(&p->look, i) / portraits->common[i];
    }
    const double share = count > 0 ? (double)numbers_at(shares, count, 0.25) : 1;
    memory_free(shares);
    return share < 1 ? 1 : share > LEAK_MOST ? LEAK_MOST : share;
}

/* The share of its light that falls where both screens are bare. What most lit passes have there is no pass's own: the
 * dark that is taken off may be underexposed, or the pass overexposed. */
static double beside(const struct portraits *portraits, const struct portrait *p, const struct portrait *a,
                     const struct portrait *b)
{
    const bool common = portraits->common != NULL && of_the_shot(portraits, p);
    const double share = common ? leak_share(portraits, p, a, b) : 0;
    double out = 0, all = 0;
    for (size_t i = 0; i < look_count(&p->look); i++) {
        const bool bare = a->bare[i] && b->bare[i];
        double light = own_light(portraits, p, i);
        if (bare && common)
            light = fmin(light, (double)look_light(&p->look, i) - share * (double)portraits->common[i]);
        all += fmax(0, light);
        out += bare ? fmax(0, light) : 0;
    }
    return all > 0 ? out / all : 0;
}

static const struct portrait *first_pair(const struct portraits *portraits)
{
    for (int i = 0; i < portraits->count; i++) {
        if (portraits->list[i].partner >= 0)
            return &portraits->list[i];
    }
    return NULL;
}

/* Names are only asked where the pictures do not tell. */
static bool named_element(const char *name)
{
    static const char *const words[] = { "beam",  "burst", "dust", "ember", "fire", "flame", "fog",
                                         "flare", "mist",  "rain", "smoke", "snow", "spark", "splash" };
    char lower[128];
    size_t n = 0;
    for (; name[n] != '\0' && n < sizeof lower - 1; n++)
        lower[n] = (char)tolower((unsigned char)name[n]);
    lower[n] = '\0';
    for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
        if (strstr(lower, words[i]) != NULL)
            return true;
    }
    return false;
}

static void part_lamps(struct portraits *portraits)
{
    const struct portrait *a = first_pair(portraits);
    for (int i = 0; i < portraits->count; i++) {
        struct portrait *p = &portraits->list[i];
        if (p->role != ROLE_LAMP)
            continue;
        if (!of_the_shot(portraits, p)) {
            p->role = ROLE_ELEMENT;
            (void)snprintf(p->why, sizeof p->why, "something on black, of another size than the shot");
        } else if (a != NULL && same_size(a, p)) {
            const double share = beside(portraits, p, a, &portraits->list[a->partner]);
            p->role = share > BESIDE_THE_SET ? ROLE_ELEMENT : ROLE_LAMP;
            (void)snprintf(p->why, sizeof p->why, "steady light on black, %s%.0f%% of it %s",
                           p->under ? "far underexposed, " : "", 100 * share,
                           p->role == ROLE_ELEMENT ? "beside the set that the screens show"
                                                   : "outside the set that the screens show");
        } else if (named_element(p->clip->name)) {
            p->role = ROLE_ELEMENT;
            (void)snprintf(p->why, sizeof p->why, "steady light on black; by its name, no lamp");
        }
    }
}

/* What is left of `all` after the lamps of `set` are taken away, as a share of its light. */
static double sum_residual(const struct portraits *portraits, const struct portrait *all, const int *lamps, int count,
                           unsigned set)
{
    double left = 0, light = 0;
    for (size_t i = 0; i < look_count(&all->look); i++) {
        double rest = own_light(portraits, all, i);
        light += fabs(rest);
        for (int k = 0; k < count; k++)
            rest -= (set & 1u << k) != 0 ? own_light(portraits, &portraits->list[lamps[k]], i) : 0;
        left += fabs(rest);
    }
    return light > 0 ? left / light : 1;
}

float portraits_rest(const struct portraits *portraits, const struct portrait *all, size_t i, float *light)
{
    float rest = own_light(portraits, all, i);
    *light = rest;
    for (int k = 0; k < portraits->count; k++)
        rest -= portraits->list[k].in_sum ? own_light(portraits, &portraits->list[k], i) : 0;
    return rest;
}

/* What the best single other lamp leaves of lamp k: little for another take of it, which is no sum of lamps. */
static double single_residual(const struct portraits *portraits, const int *lamps, int count, int k)
{
    double best = 1;
    for (int j = 0; j < count; j++) {
        if (j != k)
            best = fmin(best, sum_residual(portraits, &portraits->list[lamps[k]], lamps, count, 1u << j));
    }
    return best;
}

static void find_all_lamps(struct portraits *portraits)
{
    int lamps[LAMPS_TRIED + 1], count = 0;
    for (int i = 0; i < portraits->count && count <= LAMPS_TRIED; i++) {
        if (portraits->list[i].role == ROLE_LAMP)
            lamps[count++] = i;
    }
    double best = SUM_RESIDUAL;
    int found = -1, members = 0;
    unsigned best_set = 0;
    for (int k = 0; k < count && count >= 3 && count <= LAMPS_TRIED; k++) {
        const double single = single_residual(portraits, lamps, count, k);
        for (unsigned set = 1; set < 1u << count; set++) {
            int size = 0;
            for (int j = 0; j < count; j++)
                size += (set >> j & 1u) != 0;
            if ((set & 1u << k) != 0 || size < 2)
                continue;
            const double rest = sum_residual(portraits, &portraits->list[lamps[k]], lamps, count, set);
            if (rest < best && rest < 0.5 * single) {
                best = rest;
                found = lamps[k];
                members = size;
                best_set = set;
            }
        }
    }
    if (found < 0)
        return;
    struct portrait *all = &portraits->list[found];
    all->role = ROLE_ALL_LAMPS;
    all->residual = (float)best;
    for (int k = 0; k < count; k++)
        portraits->list[lamps[k]].in_sum = (best_set >> k & 1u) != 0;
    (void)snprintf(all->why, sizeof all->why, "%d other passes add up to it, within %.1f%% of its light", members,
                   100 * best);
}

/* ---- what is apart ----------------------------------------------------------------------------------------------- */

static void find_apart(struct portraits *portraits)
{
    bool pair = first_pair(portraits) != NULL;
    for (int i = 0; i < portraits->count; i++) {
        struct portrait *p = &portraits->list[i];
        const bool size = !of_the_shot(portraits, p);
        p->apart = (size && p->role != ROLE_PLATE) || (pair && p->role == ROLE_SCREEN && p->partner < 0);
    }
    /* Without lamps there is no dark set to look at: a dark pass nothing is taken from is the odd one. */
    for (int i = 0; i < portraits->count; i++) {
        struct portrait *p = &portraits->list[i];
        bool wanted = p->role != ROLE_DARK && p->role != ROLE_EMPTY;
        for (int k = 0; k < portraits->count && !wanted; k++)
            wanted = portraits->list[k].dark == i || portraits->list[k].empty == i;
        if (!wanted) {
            const bool dark = p->role == ROLE_DARK;
            p->role = ROLE_ODD;
            p->dark = dark ? dark_of(portraits, i) : -1;
            (void)snprintf(p->why, sizeof p->why, "%s, and no other pass needs it",
                           dark ? "nothing is lit" : "a screen alone");
            if (dark)
                (void)snprintf(p->doubt, sizeof p->doubt,
                               "lights off once more, or any pass so far underexposed that it is too dark to tell");
        }
    }
}

void recognise_pairs(struct portraits *portraits)
{
    pair_screens(portraits);
    match_empties(portraits);
    match_darks(portraits);
    part_lamps(portraits);
    match_darks(portraits);
    find_all_lamps(portraits);
    find_apart(portraits);
}
