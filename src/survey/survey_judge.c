/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "survey/survey_judge.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "survey/survey_crushed.h"
#include "survey/survey_screens.h"

static enum severity grade(const struct limit *limit, double value)
{
    if (limit->below)
        return value < limit->shoot ? SEVERITY_SHOOT : value < limit->care ? SEVERITY_CARE : SEVERITY_GOOD;
    return value > limit->shoot ? SEVERITY_SHOOT : value > limit->care ? SEVERITY_CARE : SEVERITY_GOOD;
}

void survey_judge(struct survey *survey, enum limit_kind kind, int pass, double value, const char *where)
{
    const enum severity severity = grade(&survey->limits[kind], value);
    if (severity == SEVERITY_GOOD || survey->finding_count == survey->finding_room)
        return;
    struct finding *finding = &survey->findings[survey->finding_count++];
    *finding = (struct finding){ .severity = severity, .kind = kind, .pass = pass, .value = value };
    (void)snprintf(finding->where, sizeof finding->where, "%s", where);
    if (severity > survey->severity)
        survey->severity = severity;
}

/* ---- frames in words --------------------------------------------------------------------------------------------- */

int survey_frame_number(const struct pass_gauge *pass, int index)
{
    const struct clip *clip = pass->portrait->clip;
    return clip->numbered ? clip->frames[index] : index + 1;
}

/* "frame 1003" or "frames 1003, 1005"; cut off where it gets long. */
static void add_frame(char where[160], int number, int count)
{
    const size_t length = strlen(where);
    if (count == 1)
        (void)snprintf(where, 160, "frame %d", number);
    else if (count == 2 && strncmp(where, "frame ", 6) == 0) {
        char first[32];
        (void)snprintf(first, sizeof first, "%.24s", where + 6);
        (void)snprintf(where, 160, "frames %s, %d", first, number);
    } else if (length < 120)
        (void)snprintf(where + length, 160 - length, ", %d", number);
    else if (where[length - 1] != '.')
        (void)snprintf(where + length, 160 - length, " ...");
}

static void judge_frames(struct survey *survey, int index, enum limit_kind kind,
                         bool (*bad)(const struct pass_gauge *pass, int frame))
{
    const struct pass_gauge *pass = &survey->passes[index];
    char where[160] = "";
    int count = 0;
    for (int i = 0; i < pass->frame_count; i++) {
        if (bad(pass, i))
            add_frame(where, survey_frame_number(pass, i), ++count);
    }
    if (count > 0 && !pass->portrait->clip->numbered && !pass->portrait->movie)
        where[0] = '\0';
    survey_judge(survey, kind, index, count, where);
}

static bool is_unreadable(const struct pass_gauge *pass, int i)
{
    return pass->frames[i].status != PASSEL_OK;
}

static bool is_other_size(const struct pass_gauge *pass, int i)
{
    const struct frame_gauge *frame = &pass->frames[i];
    return frame->status == PASSEL_OK &&
           (frame->width != pass->portrait->width || frame->height != pass->portrait->height);
}

static bool is_repeated(const struct pass_gauge *pass, int i)
{
    const struct frame_gauge *frame = &pass->frames[i];
    return i > 0 && frame->status == PASSEL_OK && frame[-1].status == PASSEL_OK && frame->digest == frame[-1].digest;
}

static void judge_gaps(struct survey *survey, int index)
{
    const struct pass_gauge *pass = &survey->passes[index];
    const struct clip *clip = pass->portrait->clip;
    char where[160] = "";
    int count = 0;
    for (int i = 1; clip->numbered && i < clip->count; i++) {
        for (int number = clip->frames[i - 1] + 1; number < clip->frames[i]; number++)
            add_frame(where, number, ++count);
    }
    survey_judge(survey, LIMIT_MISSING, index, count, where);
}

/* ---- one pass ---------------------------------------------------------------------------------------------------- */

static void judge_clipped(struct survey *survey, int index)
{
    static const char *const names[] = { "red", "green", "blue" };
    const struct pass_gauge *pass = &survey->passes[index];
    double worst = 0;
    char where[160] = "";
    for (int i = 0; i < pass->frame_count; i++) {
        for (int c = 0; c < 3; c++) {
            const double share = 100 * (double)pass->frames[i].clipped[c];
            if (share <= worst)
                continue;
            worst = share;
            if (pass->frame_count > 1)
                (void)snprintf(where, sizeof where, "%s, worst in frame %d", names[c], survey_frame_number(pass, i));
            else
                (void)snprintf(where, sizeof where, "%s", names[c]);
        }
    }
    survey_judge(survey, LIMIT_CLIPPED, index, worst, where);
}

static void judge_flash(struct survey *survey, int index)
{
    const struct flash_gauge *flash = &survey->passes[index].flash;
    struct text where = { 0 };
    flash_gauge_where(flash, &where);
    survey_judge(survey, LIMIT_FLASH, index, 100 * flash->share, where.failed ? "" : where.bytes);
    text_release(&where);
}

/* Of two screens that do not agree, the one farther from the other passes has moved. */
static void judge_screens(struct survey *survey, int index)
{
    const struct pass_gauge *pass = &survey->passes[index];
    const int partner = pass->portrait->partner;
    const bool other = survey->passes[partner].bump > pass->bump;
    const double sign = other ? -1 : 1;
    char where[160];
    (void)snprintf(where, sizeof where, "%.2f px right, %.2f px down of %.60s", sign * pass->pair_x,
                   sign * pass->pair_y, survey->passes[other ? index : partner].label);
    survey_judge(survey, LIMIT_SCREENS, other ? partner : index, pass->pair, where);
}

static bool screens_tell(const struct survey *survey, int index)
{
    const int partner = survey->passes[index].portrait->partner;
    const double pair = partner < 0 ? -1 : partner < index ? survey->passes[index].pair : survey->passes[partner].pair;
    return pair > survey->limits[LIMIT_SCREENS].care;
}

static void judge_odd(struct survey *survey, int index)
{
    const struct pass_gauge *pass = &survey->passes[index];
    /* A dark pass too many does no harm; one with light of its own is judged as underexposed. */
    if (pass->portrait->role == ROLE_ODD && pass->light_over_noise < 0 && pass->portrait->bright > 0.0225F)
        survey_judge(survey, LIMIT_ODD, index, 1, pass->portrait->why);
}

/* Where the focus is farthest from that of the lock pass. */
static void say_softest(const struct pass_gauge *pass, char where[160])
{
    static const char *const down[] = { "upper", "middle", "lower" };
    static const char *const across[] = { "left", "left of the middle", "right of the middle", "right" };
    int softest = -1;
    for (int i = 0; i < FOCUS_REGIONS; i++) {
        if (pass->focus_regions[i] >= 0 && (softest < 0 || pass->focus_regions[i] < pass->focus_regions[softest]))
            softest = i;
    }
    where[0] = '\0';
    if (softest >= 0)
        (void)snprintf(where, 160, "softest in the %s third, %s: %.2f", down[softest / FOCUS_ACROSS],
                       across[softest % FOCUS_ACROSS], (double)pass->focus_regions[softest]);
}

/* Measures of -1 were not taken. */
static void judge_measures(struct survey *survey, int index)
{
    const struct pass_gauge *pass = &survey->passes[index];
    char where[160];
    /* A soft picture has no edge to hold on to, and two screens alike say better which of them moved. */
    const bool soft = pass->focus >= 0 && pass->focus < survey->limits[LIMIT_FOCUS].care;
    if (pass->bump >= 0 && !soft && !screens_tell(survey, index)) {
        (void)snprintf(where, sizeof where, "%.2f px right, %.2f px down of the others", pass->bump_x, pass->bump_y);
        survey_judge(survey, LIMIT_BUMP, index, pass->bump, where);
    }
    if (pass->pair >= 0)
        judge_screens(survey, index);
    if (pass->shake >= 0)
        survey_judge(survey, LIMIT_SHAKE, index, pass->shake, "");
    /* Edges that shake through the tiles change them too; and rows that change more than the whole are bands, no
     * flicker. */
    const bool shakes = pass->shake > survey->limits[LIMIT_SHAKE].care;
    const bool banded = !shakes && 100 * pass->bands > survey->limits[LIMIT_BANDS].care && pass->bands > pass->flicker;
    if (pass->flicker >= 0 && !banded)
        survey_judge(survey, LIMIT_FLICKER, index, 100 * pass->flicker, "");
    if (pass->bands >= 0 && !shakes)
        survey_judge(survey, LIMIT_BANDS, index, 100 * pass->bands, "");
    if (pass->light_over_noise >= 0)
        survey_judge(survey, LIMIT_NOISE, index, pass->light_over_noise, "");
    if (pass->focus >= 0) {
        say_softest(pass, where);
        survey_judge(survey, LIMIT_FOCUS, index, pass->focus, where);
    }
    if (pass->evenness >= 0)
        survey_judge(survey, LIMIT_EVENNESS, index, pass->evenness, "");
    if (pass->dark_wander >= 0)
        survey_judge(survey, LIMIT_DARK, index, 100 * pass->dark_wander, "");
}

static void judge_pass(struct survey *survey, int index)
{
    const struct pass_gauge *pass = &survey->passes[index];
    uint64_t no_numbers = 0;
    for (int i = 0; i < pass->frame_count; i++)
        no_numbers += pass->frames[i].no_numbers;
    if (pass->frame_count == 0)
        survey_judge(survey, LIMIT_UNREADABLE, index, 1, "no file has this name");
    judge_frames(survey, index, LIMIT_UNREADABLE, is_unreadable);
    judge_frames(survey, index, LIMIT_SIZE, is_other_size);
    judge_frames(survey, index, LIMIT_DUPLICATE, is_repeated);
    judge_gaps(survey, index);
    survey_judge(survey, LIMIT_NUMBERS, index, (double)no_numbers, "");
    judge_clipped(survey, index);
    judge_crushed(survey, index);
    judge_flash(survey, index);
    judge_measures(survey, index);
    judge_subject(survey, index);
    judge_odd(survey, index);
}

/* ---- passes against each other ----------------------------------------------------------------------------------- */

/* The last frame that most passes with this first one have. */
static void judge_lengths(struct survey *survey)
{
    for (int i = 0; i < survey->count; i++) {
        const struct clip *clip = survey->passes[i].portrait->clip;
        int longest = 0, alike = 0;
        if (!clip->numbered || clip->count == 0)
            continue;
        for (int k = 0; k < survey->count; k++) {
            const struct clip *other = survey->passes[k].portrait->clip;
            if (k == i || !other->numbered || other->count == 0 || other->frames[0] != clip->frames[0])
                continue;
            const int last = other->frames[other->count - 1];
            alike = last == longest ? alike + 1 : last > longest ? 1 : alike;
            longest = last > longest ? last : longest;
        }
        const int short_by = longest - clip->frames[clip->count - 1];
        if (alike < 2 || short_by <= 0)
            continue;
        char where[160];
        (void)snprintf(where, sizeof where, "ends at %d, others at %d", clip->frames[clip->count - 1], longest);
        survey_judge(survey, LIMIT_SHORT, i, short_by, where);
    }
}

static void judge_copies(struct survey *survey)
{
    for (int i = 0; i < survey->count; i++) {
        for (int k = 0; k < i; k++) {
            const struct pass_gauge *a = &survey->passes[k], *b = &survey->passes[i];
            if (a->readable == 0 || b->readable == 0 || a->frames[0].status != PASSEL_OK ||
                b->frames[0].status != PASSEL_OK || a->frames[0].digest != b->frames[0].digest ||
                a->frames[0].width != b->frames[0].width)
                continue;
            char where[160];
            (void)snprintf(where, sizeof where, "its first frame is that of %.100s", a->label);
            survey_judge(survey, LIMIT_DUPLICATE, i, 1, where);
        }
    }
}

enum { GRID_ACROSS = 32, GRID_DOWN = 18 };

/* Correlation of the logarithms of two looks, put on one grid. */
static double likeness(const struct look *a, const struct look *b)
{
    double n = 0, sa = 0, sb = 0, saa = 0, sbb = 0, sab = 0;
    for (int y = 0; y < GRID_DOWN; y++) {
        for (int x = 0; x < GRID_ACROSS; x++) {
            const struct look *looks[2] = { a, b };
            double v[2];
            for (int k = 0; k < 2; k++) {
                const size_t column = (size_t)((2 * x + 1) * looks[k]->across / (2 * GRID_ACROSS));
                const size_t row = (size_t)((2 * y + 1) * looks[k]->down / (2 * GRID_DOWN));
                v[k] = log(fmax(0, (double)look_light(looks[k], row * (size_t)looks[k]->across + column)) + 0.005);
            }
            n++;
            sa += v[0];
            sb += v[1];
            saa += v[0] * v[0];
            sbb += v[1] * v[1];
            sab += v[0] * v[1];
        }
    }
    const double va = saa - sa * sa / n, vb = sbb - sb * sb / n;
    return va > 0 && vb > 0 ? (sab - sa * sb / n) / sqrt(va * vb) : 0;
}

/* The share of a pass's light that falls where both screens of `a` are bare, whatever their sizes. */
static double beside(const struct portraits *portraits, const struct portrait *p, const struct portrait *a)
{
    const struct portrait *b = &portraits->list[a->partner];
    double out = 0, all = 0;
    for (int32_t y = 0; y < p->look.down; y++) {
        for (int32_t x = 0; x < p->look.across; x++) {
            const size_t column = (size_t)((2 * x + 1) * a->look.across / (2 * p->look.across));
            const size_t row = (size_t)((2 * y + 1) * a->look.down / (2 * p->look.down));
            const size_t at = row * (size_t)a->look.across + column;
            const size_t here = (size_t)y * (size_t)p->look.across + (size_t)x;
            const double light = fmax(0, (double)look_light(&p->look, here) - 0.003);
            all += light;
            out += a->bare[at] && b->bare[at] ? light : 0;
        }
    }
    return all > 0 ? out / all : 1;
}

/* Does a pass of another size show the set, or one of its screens? */
static bool seems_the_set(const struct portraits *portraits, const struct portrait *p)
{
    for (int k = 0; k < portraits->count; k++) {
        const struct portrait *o = &portraits->list[k];
        if (o == p || o->look.plane[0] == NULL || o->width != portraits->width || o->height != portraits->height ||
            o->role == ROLE_DARK)
            continue;
        if (likeness(&p->look, &o->look) > 0.7)
            return true;
        if (o->partner >= 0 && p->steady && beside(portraits, p, o) < 0.12)
            return true;
    }
    return false;
}

/* Then it was filmed with the camera set wrongly. */
static void judge_sizes(struct survey *survey)
{
    const struct portraits *portraits = &survey->portraits;
    for (int i = 0; i < survey->count; i++) {
        const struct portrait *p = survey->passes[i].portrait;
        char where[160];
        if (p->look.plane[0] == NULL || (p->width == portraits->width && p->height == portraits->height) ||
            p->role == ROLE_PLATE || p->role == ROLE_DARK || p->role == ROLE_ODD || !seems_the_set(portraits, p))
            continue;
        (void)snprintf(where, sizeof where, "%dx%d, the others %dx%d", (int)p->width, (int)p->height,
                       (int)portraits->width, (int)portraits->height);
        survey_judge(survey, LIMIT_SIZE, i, survey->passes[i].frame_count, where);
    }
}

/* Light adds: what the lamps do not make of the pass under all of them. */
static void judge_sum(struct survey *survey)
{
    for (int i = 0; i < survey->count; i++) {
        struct pass_gauge *pass = &survey->passes[i];
        if (pass->portrait->role != ROLE_ALL_LAMPS)
            continue;
        pass->sum = (double)pass->portrait->residual;
        survey_judge(survey, LIMIT_SUM, i, 100 * pass->sum, "");
    }
}

/* ---- the sensor -------------------------------------------------------------------------------------------------- */

struct place {
    struct spot spot;
    bool without_set;
};

static int by_place(const void *pa, const void *pb)
{
    const struct place *a = pa, *b = pb;
    if (a->spot.y != b->spot.y)
        return a->spot.y < b->spot.y ? -1 : 1;
    return (a->spot.x > b->spot.x) - (a->spot.x < b->spot.x);
}

static bool is_without_set(const struct portrait *p)
{
    return p->role == ROLE_EMPTY || p->role == ROLE_PLATE;
}

int find_dead(const struct survey *survey, struct spot *places, int most)
{
    size_t room = 0, count = 0;
    int passes = 0, without = 0, found = 0;
    for (int i = 0; i < survey->count; i++)
        room += (size_t)survey->passes[i].spot_count;
    struct place *all = memory_new((room + 1) * sizeof *all);
    if (all == NULL)
        return 0;
    for (int i = 0; i < survey->count; i++) {
        const struct pass_gauge *pass = &survey->passes[i];
        if (pass->portrait->width != survey->portraits.width || pass->portrait->height != survey->portraits.height)
            continue;
        passes++;
        without += is_without_set(pass->portrait);
        for (int k = 0; k < pass->spot_count; k++)
            all[count++] = (struct place){ pass->spots[k], is_without_set(pass->portrait) };
    }
    qsort(all, count, sizeof *all, by_place);
    /* What sparkles on the set is not on an empty screen; without one, nearly every pass must show it. */
    const size_t least = without > 0 ? 3 : (size_t)fmax(3, ceil(0.75 * passes));
    for (size_t first = 0, end; first < count; first = end) {
        bool bare = without == 0;
        for (end = first; end < count && by_place(&all[first], &all[end]) == 0; end++)
            bare = bare || all[end].without_set;
        if (end - first >= least && bare && found < most)
            places[found++] = all[first].spot;
    }
    memory_free(all);
    return found;
}

static void judge_dead(struct survey *survey)
{
    struct spot places[64];
    char where[160] = "";
    const int count = find_dead(survey, places, 64);
    for (int i = 0; i < count && i < 4; i++) {
        const size_t length = strlen(where);
        (void)snprintf(where + length, sizeof where - length, "%sx %d y %d", i > 0 ? "; " : "", (int)places[i].x,
                       (int)places[i].y);
    }
    survey_judge(survey, LIMIT_DEAD, -1, count, where);
}

static int worst_first(const void *pa, const void *pb)
{
    const struct finding *a = pa, *b = pb;
    if (a->severity != b->severity)
        return a->severity > b->severity ? -1 : 1;
    if (a->kind != b->kind)
        return (int)a->kind - (int)b->kind;
    return a->pass - b->pass;
}

enum passel_status judge_all(struct survey *survey, struct passel_error *error)
{
    /* Every kind once for each pass, copies more often. */
    survey->finding_room = (LIMIT_COUNT + 8) * (survey->count + 1);
    survey->findings = memory_zeros((size_t)survey->finding_room, sizeof *survey->findings);
    if (survey->findings == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int i = 0; i < survey->count; i++)
        judge_pass(survey, i);
    judge_lengths(survey);
    judge_copies(survey);
    judge_sizes(survey);
    judge_sum(survey);
    judge_dead(survey);
    qsort(survey->findings, (size_t)survey->finding_count, sizeof *survey->findings, worst_first);
    return PASSEL_OK;
}
