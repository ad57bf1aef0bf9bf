/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Skies differ: one goes on as it rises, in another a cloud stands before an even blue, a third is layered. A manner is
 * an order (a membrane keeps the value at the edge, a plate under tension its slope, too, for a while) and how much
 * dearer change along the edge is than change away from it: layers go on as they are, clouds are evened out.
 *
 * The plate itself says which suits: bands of it along the edge are hidden and guessed from what lies behind, in every
 * manner. Misses are compared by ratio, section by section, so that a part where a mast or a ridge makes all guesses
 * poor says no more than a part where they differ by little in absolute terms. The manners are then mixed: weights fall
 * with the miss, and a mixture's errors partly cancel (L. Breiman, Stacked Regressions, 1996, mixes predictors by their
 * misses on what was held back; the falling exponential is that of Akaike weights).
 *
 * A ridge past a left or a right side is no smooth field. There the border's own light, carried on straight or along
 * the plate's structures, is one more guess, and how much it has to say against all manners is found in the same bands.
 */
#include "kinds/extend_manner.h"

#include <math.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "kinds/extend_slant.h"

#define SHARP 0.1F          /* of the root, from cell to cell, is an edge */
#define BAND_MOST 12        /* cells that are hidden, at most */
#define DEPTHS 5            /* of bands, in turn */
#define BEHIND 10           /* cells behind a band that it is guessed from */
#define SECTION 8           /* cells along the edge that are compared as one */
#define MISS_FLOOR 0.001    /* of the root: smaller misses are all the same */
#define MISS_RATIO_MOST 20  /* squared; worse manners are out anyway */
#define DECIDED 20.0        /* how fast weights fall with the logarithm of the squared miss */
#define REACH 1.0           /* sections: what is seen so far along a layered side has a say */
#define EVERYWHERE 0.5      /* of a section: the say of the whole side */
#define CARRIED_REACH 0.6   /* sections: a ridge decides for so much around it */
#define CARRIED_DECIDED 8.0 /* as DECIDED, for carrying against all manners together */

/* After the manners of the field come those of carrying the border's own light on: straight, and along the plate's
 * structures. */
enum { STRAIGHT = MANNERS, SLANTED, WAYS };

struct manner {
    int order;      /* 1 membrane, 2 plate */
    double length;  /* how far a slope goes on, of the gap */
    double trust;   /* of a known cell's value against bending: 100 keeps it, 3 evens out a little */
    double stretch; /* how much dearer change along the edge is */
};

static const struct manner manners[MANNERS] = {
    { 1, 0, 100, 0.1 },   { 1, 0, 100, 0.3 },  { 1, 0, 100, 1 },   { 1, 0, 100, 3 },   { 1, 0, 100, 10 },
    { 2, 100, 100, 0.3 }, { 2, 100, 100, 1 },  { 2, 100, 100, 3 }, { 2, 100, 3, 0.3 }, { 2, 100, 3, 1 },
    { 2, 100, 3, 3 },     { 2, 1, 10, 0.1 },   { 2, 1, 10, 0.3 },  { 2, 1, 10, 1 },    { 2, 1, 10, 3 },
    { 2, 0.4, 10, 0.1 },  { 2, 0.4, 10, 0.3 }, { 2, 0.4, 10, 1 },  { 2, 0.4, 10, 3 },
};

double manner_trust(int manner)
{
    return manners[manner].trust;
}

struct extrapolate_law manner_law(int manner, int32_t gap, bool upright)
{
    const struct manner *is = &manners[manner];
    const double length = fmax(is->length * gap, 1);
    return (struct extrapolate_law){ .bend = is->order == 2,
                                     .slope = is->order == 2 ? 1 / (length * length) : 1,
                                     .stretch_x = upright ? is->stretch : 1,
                                     .stretch_y = upright ? 1 : is->stretch };
}

/* Along one direction: the last is left out when less than half of it is the plate's. */
static int32_t whole_cells(int32_t pixels, int32_t size)
{
    const int32_t count = (pixels + size - 1) / size;
    return count > 1 && count * size - pixels > size / 2 ? count - 1 : count;
}

struct rect plate_cells(const struct gradient *gradient)
{
    const struct cells *field = &gradient->field;
    const int32_t size = field->size;
    const int32_t left = (gradient->plate.x0 - field->area.x0) / size;
    const int32_t top = (gradient->plate.y0 - field->area.y0) / size;
    return rect_of(left, top, left + whole_cells(rect_width(gradient->plate), size),
                   top + whole_cells(rect_height(gradient->plate), size));
}

int32_t side_gap(const struct gradient *gradient, enum side side)
{
    const struct rect plate = gradient->plate, target = gradient->target;
    const int32_t pixels[SIDE_COUNT] = { plate.y0 - target.y0, target.y1 - plate.y1, plate.x0 - target.x0,
                                         target.x1 - plate.x1 };
    return (pixels[side] + gradient->field.size - 1) / gradient->field.size;
}

int32_t side_length(const struct gradient *gradient, enum side side)
{
    const struct rect cells = plate_cells(gradient);
    return is_upright(side) ? rect_width(cells) : rect_height(cells);
}

bool cells_are_gradual(const struct cells *field, int32_t a, int32_t b)
{
    for (int p = 0; p < 3; p++) {
        const float x = field->value[p][a], y = field->value[p][b];
        if (fabsf(x - y) > SHARP * (x > y ? x : y) + 1e-3F)
            return false;
    }
    return true;
}

/* ---- the strip along a side ------------------------------------------------------------------------------------ */

/* The plate's cells along a side, row 0 at the edge. */
struct strip {
    const struct gradient *gradient;
    enum side side;
    int32_t width, height;
    int32_t *cell; /* in the field */
    const double *belief;
    bool *usable; /* believed, and no edge of a thing parts it from row 0 */
    bool *known;
    double *guess[3], *trust;
    double *square, *product; /* of the plate's differences along the edge and inwards */
    double *slant;            /* [width] */
    int32_t *queue;
    void *block;
};

static enum passel_status strip_new(struct strip *strip, const struct gradient *gradient, enum side side,
                                    struct passel_error *error)
{
    const struct rect cells = plate_cells(gradient);
    const bool upright = is_upright(side);
    const double turned = side == SIDE_RIGHT || side == SIDE_BOTTOM ? -1 : 1;
    const int32_t deep = upright ? rect_height(cells) : rect_width(cells);
    *strip = (struct strip){ .gradient = gradient, .side = side };
    strip->width = upright ? rect_width(cells) : rect_height(cells);
    strip->height = deep < BAND_MOST + BEHIND ? deep : BAND_MOST + BEHIND;
    const size_t count = (size_t)strip->width * (size_t)strip->height;
    double *next = strip->block = memory_zeros(
        count * (6 * sizeof *next + 2 * sizeof(int32_t) + 2 * sizeof(bool)) + (size_t)strip->width * sizeof *next, 1);
    if (next == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int c = 0; c < 3; c++, next += count)
        strip->guess[c] = next;
    strip->trust = next;
    strip->square = next + count;
    strip->product = next + 2 * count;
    strip->slant = next + 3 * count;
    strip->cell = (int32_t *)(strip->slant + strip->width);
    strip->queue = strip->cell + count;
    strip->usable = (bool *)(strip->queue + count);
    strip->known = strip->usable + count;
    for (int32_t k = 0; k < (int32_t)count; k++) {
        const int32_t along = k % strip->width, in = k / strip->width;
        const int32_t x = upright ? cells.x0 + along : side == SIDE_LEFT ? cells.x0 + in : cells.x1 - 1 - in;
        const int32_t y = !upright ? cells.y0 + along : side == SIDE_TOP ? cells.y0 + in : cells.y1 - 1 - in;
        strip->cell[k] = y * gradient->field.width + x;
        strip->known[k] = gradient->field.weight[strip->cell[k]] > 0;
        strip->square[k] = (double)gradient->turn[upright ? 0 : 2][strip->cell[k]];
        strip->product[k] = turned * (double)gradient->turn[1][strip->cell[k]];
    }
    return PASSEL_OK;
}

/* What can be reached from the edge without stepping over the edge of a thing. */
static void find_usable(const struct strip *strip)
{
    const struct cells *field = &strip->gradient->field;
    const int32_t w = strip->width, count = w * strip->height;
    int32_t head = 0, tail = 0;
    for (int32_t k = 0; k < w; k++) {
        strip->usable[k] = strip->belief[strip->cell[k]] > 0;
        if (strip->usable[k])
            strip->queue[tail++] = k;
    }
    while (head < tail) {
        const int32_t k = strip->queue[head++];
        const int32_t around[4] = { k % w > 0 ? k - 1 : k, k % w + 1 < w ? k + 1 : k, k >= w ? k - w : k,
                                    k + w < count ? k + w : k };
        for (int i = 0; i < 4; i++) {
            const int32_t next = around[i];
            if (!strip->usable[next] && strip->belief[strip->cell[next]] > 0 &&
                cells_are_gradual(field, strip->cell[k], strip->cell[next])) {
                strip->usable[next] = true;
                strip->queue[tail++] = next;
            }
        }
    }
}

/* ---- guessing -------------------------------------------------------------------------------------------------- */

/* Guesses the first `hidden` rows by what lies in the next. */
static void carry_band(const struct strip *strip, int way, int32_t hidden)
{
    const struct slant_cells cells = { .value = { strip->guess[0], strip->guess[1], strip->guess[2] },
                                       .known = strip->known,
                                       .square = strip->square,
                                       .product = strip->product,
                                       .width = strip->width,
                                       .rows = strip->height };
    for (int32_t k = 0; k < strip->width * strip->height; k++) {
        for (int c = 0; c < 3; c++)
            strip->guess[c][k] = (double)strip->gradient->field.value[c][strip->cell[k]];
    }
    slant_find(&cells, hidden, strip->slant);
    slant_carry(&cells, hidden, way == SLANTED ? strip->slant : NULL);
}

/* Guesses the first `hidden` rows. */
static enum passel_status guess_band(const struct strip *strip, int manner, int32_t hidden, int32_t gap,
                                     struct passel_error *error)
{
    const int32_t w = strip->width, rows = strip->height < hidden + BEHIND ? strip->height : hidden + BEHIND;
    const struct extrapolate_law law = manner_law(manner, gap, true);
    for (int32_t k = 0; k < w * rows; k++) {
        strip->trust[k] =
            k >= w * hidden && strip->usable[k] ? manner_trust(manner) * strip->belief[strip->cell[k]] : 0;
        for (int c = 0; c < 3; c++)
            strip->guess[c][k] = (double)strip->gradient->field.value[c][strip->cell[k]];
    }
    return extrapolate(strip->guess, 3, strip->trust, w, rows, &law, error);
}

static int32_t sections_of(int32_t width)
{
    return width / SECTION > 1 ? width / SECTION : 1;
}

/* Mean square miss in a section of the band, as a share of the light's own root; below 0 when nothing is usable. */
static double section_miss(const struct strip *strip, int32_t first, int32_t last, int32_t hidden)
{
    const struct gradient *gradient = strip->gradient;
    double sum = 0, light = 0, count = 0;
    for (int32_t k = 0; k < strip->width * hidden; k++) {
        if (k % strip->width < first || k % strip->width >= last || !strip->usable[k])
            continue;
        const double belief = strip->belief[strip->cell[k]];
        for (int c = 0; c < 3; c++) {
            const double is = (double)gradient->field.value[c][strip->cell[k]];
            const double off = fmax(strip->guess[c][k], (double)gradient->least[c]) - is;
            sum += belief * off * off;
            light += belief * is * is;
        }
        count += 3 * belief;
    }
    return count > 0 ? sum / count + MISS_FLOOR * MISS_FLOOR * light / count + 1e-12 : -1;
}

/* Adds the logarithms of the misses against the best manner's; both [manner * sections + section]. */
static void add_scores(const double *misses, int32_t sections, double *scores)
{
    for (int32_t s = 0; s < sections; s++) {
        double least = misses[s];
        for (int k = 1; k < MANNERS; k++)
            least = fmin(least, misses[k * sections + s]);
        for (int k = 0; k < MANNERS && least > 0; k++)
            scores[k * sections + s] += log(fmin(misses[k * sections + s] / least, MISS_RATIO_MOST));
    }
}

static enum passel_status score_band(const struct strip *strip, int32_t hidden, int32_t gap, double *misses,
                                     double *scores, struct passel_error *error)
{
    const int32_t sections = sections_of(strip->width);
    for (int k = 0; k < (is_upright(strip->side) ? MANNERS : WAYS); k++) {
        if (k < MANNERS)
            RETURN_IF_ERROR(guess_band(strip, k, hidden, gap, error));
        else
            carry_band(strip, k, hidden);
        for (int32_t s = 0; s < sections; s++)
            misses[k * sections + s] =
                section_miss(strip, strip->width * s / sections, strip->width * (s + 1) / sections, hidden);
    }
    add_scores(misses, sections, scores);
    return PASSEL_OK;
}

/* ---- weights --------------------------------------------------------------------------------------------------- */

/* A section's score. Along a top or a bottom is one sky or one floor, and the whole side decides; a left or a right
 * side crosses sky, ridge and ground, so a section's own score has the most say, then its neighbours'. */
static double pooled(const double *scores, int32_t sections, int32_t at, bool layered)
{
    double sum = 0, all = 0;
    for (int32_t s = 0; s < sections; s++) {
        const double off = (s - at) / REACH, say = layered ? exp(-0.5 * off * off) + EVERYWHERE / sections : 1;
        sum += say * scores[s];
        all += say;
    }
    return sum / all;
}

/* weights[manner * sections + section]. A plate too thin to hide a band of does not tell its slope: its value goes on.
 */
static void weights_from(const double *scores, int32_t sections, int bands, bool layered, double *weights)
{
    for (int32_t s = 0; s < sections; s++) {
        double score[MANNERS], least = INFINITY, sum = 0;
        for (int k = 0; k < MANNERS; k++) {
            score[k] = pooled(scores + k * sections, sections, s, layered);
            least = fmin(least, score[k]);
        }
        for (int k = 0; k < MANNERS; k++) {
            double *weight = &weights[k * sections + s];
            *weight = bands > 0 ? exp(-DECIDED * (score[k] - least) / bands) : manners[k].order == 1;
            sum += *weight;
        }
        for (int k = 0; k < MANNERS; k++)
            weights[k * sections + s] /= sum;
    }
}

/* Logarithm of a way of carrying's miss in a band against that of the manners by their weights. Misses count as they
 * are: a ridge comes to lie where there is none yet, so it decides for what is around it, too. */
static double carried_score(const double *misses, const double *weights, int32_t sections, int32_t at, int way)
{
    double carried = 0, mixed = 1e-12;
    for (int32_t s = 0; s < sections; s++) {
        const double off = (s - at) / CARRIED_REACH, say = exp(-0.5 * off * off);
        for (int k = 0; k < MANNERS && misses[s] > 0; k++)
            mixed += say * weights[k * sections + s] * misses[k * sections + s];
        carried += misses[s] > 0 ? say * misses[way * sections + s] : 0;
    }
    return log(fmin(fmax(carried / mixed, 1.0 / MISS_RATIO_MOST), MISS_RATIO_MOST));
}

/* Those of both ways of carrying; the rest is the manners'. misses: of all bands, one after the other. */
static void carried_weights(const double *misses, int32_t sections, int bands, double *weights)
{
    for (int32_t s = 0; s < sections && bands > 0; s++) {
        double all = 1;
        for (int k = MANNERS; k < WAYS; k++) {
            double score = 0;
            for (int band = 0; band < bands; band++)
                score += carried_score(misses + band * WAYS * sections, weights, sections, s, k) / bands;
            weights[k * sections + s] = exp(-CARRIED_DECIDED * score);
            all += weights[k * sections + s];
        }
        for (int k = MANNERS; k < WAYS; k++)
            weights[k * sections + s] /= all;
    }
}

/* A way's weight from the middles of the sections to cells. */
static void spread_weight(const double *weights, int32_t sections, int32_t width, double *weight)
{
    for (int32_t i = 0; i < width; i++) {
        const double at = fmin(fmax((i + 0.5) * sections / width - 0.5, 0), sections - 1);
        const int32_t first = (int32_t)at, second = first + 1 < sections ? first + 1 : first;
        weight[i] = weights[first] + (at - first) * (weights[second] - weights[first]);
    }
}

/* Both ways of carrying become one: two edges side by side would be neither. */
static void find_carrying(const struct strip *strip, const double *weights, int32_t sections,
                          const struct carrying *carrying)
{
    spread_weight(weights + STRAIGHT * sections, sections, strip->width, carrying->say);
    spread_weight(weights + SLANTED * sections, sections, strip->width, carrying->slant);
    carry_band(strip, SLANTED, 0);
    for (int32_t i = 0; i < strip->width; i++) {
        const double slanted = carrying->slant[i];
        carrying->say[i] += slanted;
        carrying->slant[i] = carrying->say[i] > 0 ? strip->slant[i] * slanted / carrying->say[i] : 0;
    }
}

enum passel_status manners_weigh(const struct gradient *gradient, const double *belief, enum side side, double *weight,
                                 const struct carrying *carrying, struct passel_error *error)
{
    static const int32_t depths[DEPTHS] = { 2, 3, 5, 8, BAND_MOST };
    const int32_t gap = side_gap(gradient, side);
    struct strip strip;
    int bands = 0;
    enum passel_status status;
    RETURN_IF_ERROR(strip_new(&strip, gradient, side, error));
    const int32_t sections = sections_of(strip.width);
    double *misses = memory_zeros((size_t)sections, (DEPTHS + 2) * WAYS * sizeof *misses);
    status = misses == NULL ? error_set(error, PASSEL_NO_MEMORY, "out of memory") : PASSEL_OK;
    double *scores = misses + DEPTHS * WAYS * sections, *weights = scores + WAYS * sections;
    strip.belief = belief;
    find_usable(&strip);
    for (int i = 0; i < DEPTHS && status == PASSEL_OK; i++) {
        if (2 * depths[i] > strip.height || (depths[i] > gap && bands > 0))
            continue;
        status = score_band(&strip, depths[i], gap, misses + bands * WAYS * sections, scores, error);
        bands++;
    }
    if (status == PASSEL_OK) {
        weights_from(scores, sections, bands, !is_upright(side), weights);
        for (int k = 0; k < MANNERS; k++)
            spread_weight(weights + k * sections, sections, strip.width, weight + k * strip.width);
        if (!is_upright(side)) {
            carried_weights(misses, sections, bands, weights);
            find_carrying(&strip, weights, sections, carrying);
        }
    }
    memory_free(misses);
    memory_free(strip.block);
    return status;
}
