/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The kind `key two-screen`: a cut-out from takes of the same thing before two or more screens.
 *
 * A pixel of take i is y_i = Co + t K_i per channel, with the foreground Co (premultiplied), the screen K_i and the
 * transmission t = 1 - alpha. Takes and channels together over-determine the four unknowns; they are solved by least
 * squares (triangulation; Smith and Blinn 1996, Theorem 4, for any number of screens), each equation weighted by
 * 1 / variance of its own noise. With Co eliminated: t = Σ w (y - ȳ)(K - K̄) / Σ w (K - K̄)², the bars being the
 * channel's weighted means over takes, and Co = ȳ - t K̄. The variance follows the light that is expected, not the noisy
 * pixel itself, so a first solution gives the weights of the second. The variance of t is 1 / Σ w (K - K̄)²: with it
 * neighbours help (settle.h) where nothing but noise is between them; where the equations miss by far more than noise,
 * one take answers alone (key_disagree.h). Of two takes one of which was resampled, the other one's sampling counts
 * (key_own_sampling.h). Alpha may leave 0 … 1 by noise.
 */
#include <string.h>

#include "base/error.h"
#include "kinds/arena_picture.h"
#include "kinds/key_disagree.h"
#include "kinds/key_faults.h"
#include "kinds/key_own_sampling.h"
#include "kinds/key_screens.h"
#include "kinds/kinds.h"
#include "numerics/settle.h"

enum { PICTURE_CUT = 0, PICTURE_QUALITY = 1 };

#define UNKNOWNS 4
#define ROUNDS 2               /* the first is weighted by the takes' mean light */
#define TINY_DETERMINANT 0.01F /* Σ w (K - K̄)² of screens that say nothing: alpha then goes to 1 */
#define STRIP_ROWS 64          /* what strips see beyond themselves is made twice */
#define EVEN_VARIANCE 1e-6F    /* of every pixel with `trust empties` */
#define POOR_FIT 9.0F          /* the quality is half where the equations disagree by this much variance */

static const struct setting_spec settings[] = {
    { .word = "on",
      .help = "a take before one of the screens, and that screen with nothing before it; give two or more",
      .values = (const struct value_spec[]){ { .label = "NAME", .type = VALUE_PICTURE }, { .label = NULL } },
      .tags =
          (const struct tag_spec[]){
              { .word = "empty",
                .help = "the screen with nothing before it; estimated from the bare parts of "
                        "the take when there is none",
                .values =
                    (const struct value_spec[]){ { .label = "NAME", .type = VALUE_PICTURE }, { .label = NULL } } },
              { .word = NULL } },
      .repeats = true,
      .required = true },
    { .word = "trust",
      .help = "turns corrections off, for takes that need none",
      .values =
          (const struct value_spec[]){
              { .label = "WHAT",
                .type = VALUE_CHOICE,
                .choices =
                    (const struct choice[]){
                        { "levels",
                          "takes and empties were lit exactly alike: no empty is fitted to its take's brightness" },
                        { "empties",
                          "the empties are taken pixel by pixel as they are, and all channels count alike: plain "
                          "least squares, for takes without noise" },
                        { NULL, NULL } } },
              { .label = NULL } } },
    { .help = NULL },
};

/* ---- make and plan --------------------------------------------------------------------------------------------- */

static enum passel_status two_screen_make(const struct block *block, const struct recipe *recipe,
                                          const struct shot *shot, struct arena *arena, void **self,
                                          struct passel_error *error)
{
    struct takes *takes = arena_take(arena, sizeof *takes);
    (void)shot;
    if (takes == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int i = 0; i < block->setting_count; i++) {
        const struct setting *setting = &block->settings[i];
        if (strcmp(setting->spec->word, "on") != 0)
            continue;
        if (takes->count == SCREEN_LIMIT)
            return recipe_error(recipe, setting->where, PASSEL_BAD_RECIPE, error, "a key takes at most %d screens",
                                SCREEN_LIMIT);
        takes->take[takes->count++] =
            (struct take_names){ .on = setting_value(setting, 0), .empty = setting_tag_value(setting, "empty", 0) };
    }
    if (takes->count < 2)
        return recipe_error(recipe, block->where, PASSEL_BAD_RECIPE, error,
                            "a two-screen key needs takes before two different screens: write a second line \"on NAME "
                            "empty NAME\", or use \"key screen\" for one");
    const struct value *trust = setting_value(block_setting(block, "trust"), 0);
    takes->trust_levels = trust != NULL;
    takes->trust_empties = trust != NULL && strcmp(value_choice(trust), "empties") == 0;
    for (int i = 0; i < takes->count && takes->trust_empties; i++) {
        if (takes->take[i].empty == NULL)
            return recipe_error(recipe, takes->take[i].on->where, PASSEL_BAD_RECIPE, error,
                                "\"trust empties\" needs an empty for every take: on %s empty NAME",
                                takes->take[i].on->text);
    }
    *self = takes;
    return PASSEL_OK;
}

static enum passel_status two_screen_open(const struct at *at, void **state, struct passel_error *error)
{
    struct disagreement *found;
    RETURN_IF_ERROR(disagreement_new(&found, at->self, at->block->name, error));
    *state = found;
    return PASSEL_OK;
}

static void two_screen_close(void *state, struct text *notes)
{
    disagreement_end(state, notes);
}

static void ask_colour(struct ask_list *list, const struct value *value, int32_t frame)
{
    ask_add(list, (struct ask){ .block = value->block,
                                .picture = value->picture,
                                .frame = frame,
                                .planes = HAS_RGB,
                                .border = BORDER_HOLD });
}

static enum passel_status two_screen_asks(const struct at *at, struct ask_list *list, struct passel_error *error)
{
    const struct takes *takes = at->self;
    (void)error;
    for (int i = 0; i < takes->count; i++)
        ask_colour(list, takes->take[i].on, at->frame);
    for (int i = 0; i < takes->count && takes->trust_empties; i++)
        ask_colour(list, takes->take[i].empty, at->frame);
    return PASSEL_OK;
}

/* Not where the noise is unknown, and not in the picture that tells how well single pixels agree. */
static bool neighbours_help(const struct at *at)
{
    const struct takes *takes = at->self;
    return at->picture == PICTURE_CUT && !takes->trust_empties;
}

/* The take at its own sampling where the other one was resampled; -1: there is no such difference. */
static int own_take(const struct at *at)
{
    const struct takes *takes = at->self;
    if (at->inputs == NULL || takes->count != 2 || !neighbours_help(at) ||
        at->inputs[0].resampled == at->inputs[1].resampled)
        return -1;
    return at->inputs[0].resampled ? 1 : 0;
}

/* How far around a pixel is looked. */
static int32_t reach_of(const struct at *at)
{
    return !neighbours_help(at) ? 0 : own_take(at) < 0 ? SETTLE_REACH : SETTLE_REACH + OWN_REACH;
}

static enum passel_status two_screen_info(const struct at *at, struct picture_info *info, struct passel_error *error)
{
    const struct takes *takes = at->self;
    *info = at->inputs[0];
    for (int i = 1; i < at->ask_count; i++) {
        const struct take_names *take = &takes->take[i % takes->count];
        RETURN_IF_ERROR(
            takes_check(at->recipe, info, &at->inputs[i], i < takes->count ? take->on : take->empty, error));
        info->data = rect_cut(info->data, at->inputs[i].data);
    }
    info->planes = at->picture == PICTURE_QUALITY ? HAS_A : HAS_RGBA;
    info->whole = false;
    info->strip_rows = neighbours_help(at) ? STRIP_ROWS : 0;
    return PASSEL_OK;
}

static struct rect two_screen_reach(const struct at *at, int ask, struct rect want)
{
    (void)ask;
    return rect_grow(want, reach_of(at), reach_of(at));
}

/* ---- fill: a row of equations ---------------------------------------------------------------------------------- */

#define SPAN 512 /* pixels worked on at a time: their rows stay in the first cache */

/* Part of a row of everything. */
struct row {
    int32_t width;
    int count;                           /* takes */
    const float *take[SCREEN_LIMIT][3];  /* y */
    const float *field[SCREEN_LIMIT][3]; /* K */
    float *spare[SCREEN_LIMIT][3];
    float *weight[SCREEN_LIMIT]; /* of one channel at a time */
    float *mean_take[3], *mean_field[3];
    float *t, *above, *below; /* t = above / below */
    float *square;            /* Σ w (y - ȳ)²: less above² / below it is what the equations miss */
};

static bool row_new(struct row *row, int count, struct arena *scratch)
{
    float *next = arena_array(scratch, (size_t)(4 * count + 10), SPAN * sizeof *next);
    if (next == NULL)
        return false;
    *row = (struct row){ .count = count };
    float **const singles[] = { &row->mean_take[0],
                                &row->mean_take[1],
                                &row->mean_take[2],
                                &row->mean_field[0],
                                &row->mean_field[1],
                                &row->mean_field[2],
                                &row->t,
                                &row->above,
                                &row->below,
                                &row->square };
    for (size_t i = 0; i < sizeof singles / sizeof singles[0]; i++, next += SPAN)
        *singles[i] = next;
    for (int i = 0; i < count; i++) {
        for (int c = 0; c < 3; c++, next += SPAN)
            row->spare[i][c] = next;
        row->weight[i] = next;
        next += SPAN;
    }
    return true;
}

static void row_load(struct row *row, const struct screens *screens, const struct picture *in, int32_t x0, int32_t y)
{
    for (int i = 0; i < row->count; i++) {
        for (int c = 0; c < 3; c++) {
            row->take[i][c] = picture_row(&in[i], (enum plane)c, y) + (x0 - in[i].area.x0);
            if (screens->screen[i].field.plane[c] != NULL)
                row->field[i][c] = screen_row(&screens->screen[i], c, x0, y, row->width, row->spare[i][c]);
            else /* the empty itself, asked for behind the takes */
                row->field[i][c] = picture_row(&in[row->count + i], (enum plane)c, y) + (x0 - in[0].area.x0);
        }
    }
}

/* Means of one channel over takes, by the weights (NULL: all alike). */
static void channel_means(const struct row *row, int c, float *const *weights)
{
    float *restrict mean = row->mean_take[c], *restrict mean_field = row->mean_field[c];
    for (int32_t x = 0; x < row->width; x++) {
        float sum = 0, take = 0, field = 0;
        for (int i = 0; i < row->count; i++) {
            const float weight = weights == NULL ? 1 : weights[i][x];
            sum += weight;
            take += weight * row->take[i][c][x];
            field += weight * row->field[i][c][x];
        }
        mean[x] = take / sum;
        mean_field[x] = field / sum;
    }
}

/* weight = 1 / variance of the noise at the light expected: ȳ + t (K - K̄). */
static void channel_weights(const struct row *row, const struct screens *screens, int c)
{
    const float *restrict mean = row->mean_take[c], *restrict mean_field = row->mean_field[c];
    const float *restrict t = row->t;
    for (int i = 0; i < row->count; i++) {
        const struct noise noise = screens->screen[i].noise[c];
        const float *restrict field = row->field[i][c];
        float *restrict weight = row->weight[i];
        for (int32_t x = 0; x < row->width; x++) {
            const float light = mean[x] + t[x] * (field[x] - mean_field[x]);
            weight[x] = 1 / (noise.gain * (light > 0 ? light : 0) + noise.floor);
        }
    }
}

static void channel_sums(const struct row *row, int c)
{
    const float *restrict mean = row->mean_take[c], *restrict mean_field = row->mean_field[c];
    float *restrict above = row->above, *restrict below = row->below, *restrict square = row->square;
    for (int i = 0; i < row->count; i++) {
        const float *restrict take = row->take[i][c], *restrict field = row->field[i][c];
        const float *restrict weight = row->weight[i];
        for (int32_t x = 0; x < row->width; x++) {
            const float arm = field[x] - mean_field[x], off = take[x] - mean[x];
            above[x] += weight[x] * arm * off;
            below[x] += weight[x] * arm * arm;
            square[x] += weight[x] * off * off;
        }
    }
}

/* One round of weighted least squares: t and the weighted means. */
static void row_round(const struct row *row, const struct screens *screens)
{
    const size_t bytes = (size_t)row->width * sizeof(float);
    memset(row->above, 0, bytes);
    memset(row->below, 0, bytes);
    memset(row->square, 0, bytes);
    for (int c = 0; c < 3; c++) {
        channel_weights(row, screens, c);
        channel_means(row, c, row->weight);
        channel_sums(row, c);
    }
    for (int32_t x = 0; x < row->width; x++)
        row->t[x] = row->above[x] / (row->below[x] + TINY_DETERMINANT);
}

static void solve_any(const struct row *row, const struct screens *screens)
{
    memset(row->t, 0, (size_t)row->width * sizeof *row->t);
    for (int c = 0; c < 3; c++)
        channel_means(row, c, NULL);
    for (int round = 0; round < ROUNDS; round++)
        row_round(row, screens);
}

/* The means that belong to a t from elsewhere. */
static void means_any(const struct row *row, const struct screens *screens)
{
    for (int c = 0; c < 3; c++) {
        channel_means(row, c, NULL);
        channel_weights(row, screens, c);
        channel_means(row, c, row->weight);
    }
}

/* ---- two takes: the same in one round --------------------------------------------------------------------------- */

/* What a channel of two takes adds to above, below and square: of the difference's variance only the sum of both lights
 * counts, and the takes' own sum is hardly moved by the noise of their difference. */
static void pair_sums(const float *restrict y0, const float *restrict y1, const float *restrict k0,
                      const float *restrict k1, struct noise noise0, struct noise noise1, float *restrict above,
                      float *restrict below, float *restrict square, int32_t width)
{
    const float floor = noise0.floor + noise1.floor;
    for (int32_t x = 0; x < width; x++) {
        const float light0 = y0[x] > 0 ? y0[x] : 0, light1 = y1[x] > 0 ? y1[x] : 0;
        const float arm = k0[x] - k1[x], off = y0[x] - y1[x];
        const float weight = 1 / (noise0.gain * light0 + noise1.gain * light1 + floor), weighted = weight * arm;
        above[x] += weighted * off;
        below[x] += weighted * arm;
        square[x] += weight * off * off;
    }
}

/* The weighted means of a channel, weights at the light that t expects of each take. */
static void pair_means(const float *restrict y0, const float *restrict y1, const float *restrict k0,
                       const float *restrict k1, struct noise noise0, struct noise noise1, const float *restrict t,
                       float *restrict mean, float *restrict mean_field, int32_t width)
{
    for (int32_t x = 0; x < width; x++) {
        const float arm = k0[x] - k1[x], rise = 0.5F * t[x] * arm, middle = 0.5F * (y0[x] + y1[x]);
        const float light0 = middle + rise, light1 = middle - rise;
        const float variance0 = noise0.gain * (light0 > 0 ? light0 : 0) + noise0.floor;
        const float variance1 = noise1.gain * (light1 > 0 ? light1 : 0) + noise1.floor;
        const float share = variance1 / (variance0 + variance1);
        mean[x] = y1[x] + share * (y0[x] - y1[x]);
        mean_field[x] = k1[x] + share * arm;
    }
}

static void solve_pair(const struct row *row, const struct screens *screens)
{
    const struct noise *noise0 = screens->screen[0].noise, *noise1 = screens->screen[1].noise;
    const size_t bytes = (size_t)row->width * sizeof(float);
    memset(row->above, 0, bytes);
    memset(row->below, 0, bytes);
    memset(row->square, 0, bytes);
    for (int c = 0; c < 3; c++)
        pair_sums(row->take[0][c], row->take[1][c], row->field[0][c], row->field[1][c], noise0[c], noise1[c],
                  row->above, row->below, row->square, row->width);
    for (int32_t x = 0; x < row->width; x++)
        row->t[x] = row->above[x] / (row->below[x] + TINY_DETERMINANT);
}

static void means_pair(const struct row *row, const struct screens *screens)
{
    const struct noise *noise0 = screens->screen[0].noise, *noise1 = screens->screen[1].noise;
    for (int c = 0; c < 3; c++)
        pair_means(row->take[0][c], row->take[1][c], row->field[0][c], row->field[1][c], noise0[c], noise1[c], row->t,
                   row->mean_take[c], row->mean_field[c], row->width);
}

/* ---- results ---------------------------------------------------------------------------------------------------- */

static void write_channel(const float *restrict mean, const float *restrict mean_field, const float *restrict t,
                          float *restrict to, int32_t width)
{
    for (int32_t x = 0; x < width; x++)
        to[x] = mean[x] - t[x] * mean_field[x];
}

static void write_cut(const struct row *row, const struct picture *out, int32_t x0, int32_t y)
{
    const int32_t shift = x0 - out->area.x0;
    for (int c = 0; c < 3; c++) {
        if (out->plane[c] != NULL)
            write_channel(row->mean_take[c], row->mean_field[c], row->t, picture_row(out, (enum plane)c, y) + shift,
                          row->width);
    }
    if (out->plane[PLANE_A] == NULL)
        return;
    float *restrict alpha = picture_row(out, PLANE_A, y) + shift;
    for (int32_t x = 0; x < row->width; x++)
        alpha[x] = 1 - row->t[x];
}

/* What the equations miss, in variances of noise (1 is expected), as 1 … 0. */
static void write_quality(const struct row *row, const struct screens *screens, const struct picture *out, int32_t x0,
                          int32_t y)
{
    float *restrict quality = picture_row(out, PLANE_A, y) + (x0 - out->area.x0);
    memset(row->above, 0, (size_t)row->width * sizeof *row->above);
    for (int c = 0; c < 3; c++) {
        channel_weights(row, screens, c);
        for (int i = 0; i < row->count; i++) {
            for (int32_t x = 0; x < row->width; x++) {
                const float miss = row->take[i][c][x] - row->mean_take[c][x] -
                                   row->t[x] * (row->field[i][c][x] - row->mean_field[c][x]);
                row->above[x] += row->weight[i][x] * miss * miss;
            }
        }
    }
    const float share = 1 / (POOR_FIT * (float)(3 * row->count - UNKNOWNS));
    for (int32_t x = 0; x < row->width; x++)
        quality[x] = 1 / (1 + share * row->above[x]);
}

/* With `trust empties` nothing is found out before: every equation has the same, small variance. */
static struct screens screens_without_noise(int count)
{
    struct screens screens = { .count = count };
    for (int i = 0; i < count; i++) {
        for (int c = 0; c < 3; c++)
            screens.screen[i].noise[c] = (struct noise){ .gain = 0, .floor = EVEN_VARIANCE };
    }
    return screens;
}

/* ---- fill ------------------------------------------------------------------------------------------------------- */

/* What one fill works on. */
struct fill {
    const struct screens *screens;
    const struct picture *in;
    struct row row;
    struct picture t, variance, misfit; /* plane A, over what is seen */
    struct picture share, apart;        /* of the take at its own sampling, likewise (key_own_sampling.h) */
    int own;                            /* that take, or -1 */
    struct single single;
};

static void begin_span(struct fill *fill, struct rect area, int32_t x0, int32_t y)
{
    fill->row.width = area.x1 - x0 < SPAN ? area.x1 - x0 : SPAN;
    row_load(&fill->row, fill->screens, fill->in, x0, y);
}

/* t and its variance, in `area`. */
static void solve(struct fill *fill, struct rect area)
{
    const struct row *row = &fill->row;
    const float share = 1 / (float)(3 * row->count - UNKNOWNS);
    for (int32_t y = area.y0; y < area.y1; y++) {
        for (int32_t x0 = area.x0; x0 < area.x1; x0 += SPAN) {
            begin_span(fill, area, x0, y);
            if (row->count == 2)
                solve_pair(row, fill->screens);
            else
                solve_any(row, fill->screens);
            const size_t bytes = (size_t)row->width * sizeof(float);
            memcpy(picture_row(&fill->t, PLANE_A, y) + (x0 - fill->t.area.x0), row->t, bytes);
            float *restrict variance = picture_row(&fill->variance, PLANE_A, y) + (x0 - fill->t.area.x0);
            float *restrict misfit = picture_row(&fill->misfit, PLANE_A, y) + (x0 - fill->t.area.x0);
            for (int32_t x = 0; x < row->width; x++) {
                variance[x] = 1 / (row->below[x] + TINY_DETERMINANT);
                misfit[x] = share * (row->square[x] - row->t[x] * row->above[x]);
            }
        }
    }
}

/* Continues plane A of a picture that is known within `area`. */
static void hold_edge(const struct picture *picture, struct rect area)
{
    const struct rect all = picture->area;
    for (int32_t y = area.y0; y < area.y1; y++) {
        float *row = picture_row(picture, PLANE_A, y) - all.x0;
        for (int32_t x = all.x0; x < area.x0; x++)
            row[x] = row[area.x0];
        for (int32_t x = area.x1; x < all.x1; x++)
            row[x] = row[area.x1 - 1];
    }
    for (int32_t y = all.y0; y < all.y1; y++) {
        const int32_t from = y < area.y0 ? area.y0 : y >= area.y1 ? area.y1 - 1 : y;
        if (from != y)
            memcpy(picture_row(picture, PLANE_A, y), picture_row(picture, PLANE_A, from),
                   (size_t)rect_width(all) * sizeof(float));
    }
}

/* Where the takes are not sampled alike, t of the one that was not resampled. */
static enum passel_status solve_own(struct fill *fill, struct rect want, struct rect known, struct arena *scratch,
                                    struct passel_error *error)
{
    const struct own_sampling job = { .screens = fill->screens,
                                      .takes = fill->in,
                                      .own = fill->own,
                                      .known = known,
                                      .misfit = &fill->misfit,
                                      .t = &fill->t,
                                      .variance = &fill->variance,
                                      .share = &fill->share,
                                      .apart = &fill->apart };
    RETURN_IF_ERROR(arena_picture(scratch, fill->t.area, HAS_A, &fill->share, error));
    RETURN_IF_ERROR(arena_picture(scratch, fill->t.area, HAS_A, &fill->apart, error));
    if (!own_sampling(&job, rect_cut(rect_grow(want, SETTLE_REACH, SETTLE_REACH), known), scratch))
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    return PASSEL_OK;
}

static enum passel_status fill_solve(struct fill *fill, const struct at *at, struct rect want, struct arena *scratch,
                                     struct passel_error *error)
{
    const struct rect seen = rect_grow(want, reach_of(at), reach_of(at));
    const struct rect known = rect_cut(seen, fill->in[0].area);
    RETURN_IF_ERROR(arena_picture(scratch, seen, HAS_A, &fill->t, error));
    RETURN_IF_ERROR(arena_picture(scratch, seen, HAS_A, &fill->variance, error));
    RETURN_IF_ERROR(arena_picture(scratch, seen, HAS_A, &fill->misfit, error));
    solve(fill, known);
    if (!neighbours_help(at))
        return PASSEL_OK;
    if (fill->own >= 0)
        RETURN_IF_ERROR(solve_own(fill, want, known, scratch, error));
    hold_edge(&fill->t, known);
    hold_edge(&fill->variance, known);
    hold_edge(&fill->misfit, known);
    fill->single = single_of(fill->screens, fill->own);
    if (!settle(&fill->t, &fill->variance, want, scratch))
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    return PASSEL_OK;
}

/* The span's pixels where the takes disagree, from one take alone; `alone` is the span's. */
static void mix_single(const struct fill *fill, const struct at *at, const struct picture *out, int32_t x0, int32_t y,
                       const float *alone)
{
    const int take = fill->single.take;
    const int32_t shift = x0 - out->area.x0;
    for (int32_t x = 0; x < fill->row.width; x++) {
        float light[3], bare[3], cut[PLANE_COUNT];
        if (alone[x] <= 0)
            continue;
        for (int c = 0; c < 3; c++) {
            light[c] = fill->row.take[take][c][x];
            bare[c] = fill->row.field[take][c][x];
        }
        single_pixel(&fill->single, &fill->screens->screen[take], light, bare, cut);
        for (int p = 0; p < PLANE_COUNT; p++) {
            if (out->plane[p] == NULL)
                continue;
            float *to = picture_row(out, (enum plane)p, y) + shift + x;
            *to += alone[x] * (cut[p] - *to);
        }
        if (at->state != NULL && alone[x] >= 0.5F)
            disagreement_add(at->state, at->info->display, x0 + x, y, take);
    }
}

/* Where alpha is of one take, so is the colour. */
static void favour_own(const struct fill *fill, int32_t x0, int32_t y)
{
    const struct row *row = &fill->row;
    const float *restrict share = picture_row(&fill->share, PLANE_A, y) + (x0 - fill->share.area.x0);
    for (int c = 0; c < 3; c++) {
        const float *restrict take = row->take[fill->own][c], *restrict field = row->field[fill->own][c];
        float *restrict mean = row->mean_take[c], *restrict mean_field = row->mean_field[c];
        for (int32_t x = 0; x < row->width; x++) {
            mean[x] += share[x] * (take[x] - mean[x]);
            mean_field[x] += share[x] * (field[x] - mean_field[x]);
        }
    }
}

/* Where along row y of `area` the takes do not show the same thing; `row` takes it when it has to be found out here.
 * NULL: nowhere. */
static const float *apart_row(const struct fill *fill, const struct at *at, struct rect area, int32_t y, float *row)
{
    if (!neighbours_help(at) || fill->single.take < 0)
        return NULL;
    if (fill->own >= 0)
        return picture_row(&fill->apart, PLANE_A, y) + (area.x0 - fill->apart.area.x0);
    return disagree_row(&fill->misfit, &fill->variance, area, y, row) ? row : NULL;
}

static enum passel_status two_screen_fill(const struct at *at, const struct picture *in, const struct picture *out,
                                          struct arena *scratch, struct passel_error *error)
{
    const struct screens as_they_are = screens_without_noise(at->ask_count / 2);
    struct fill fill = { .screens = at->found != NULL ? at->found : &as_they_are, .in = in, .own = own_take(at) };
    if (!row_new(&fill.row, fill.screens->count, scratch))
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    float *alone = arena_row(scratch, rect_width(out->area));
    if (alone == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    RETURN_IF_ERROR(fill_solve(&fill, at, out->area, scratch, error));
    if (at->found != NULL && at->state != NULL && faults_looked_at(at))
        disagreement_takes(at->state, at->found);
    for (int32_t y = out->area.y0; y < out->area.y1; y++) {
        const float *apart = apart_row(&fill, at, out->area, y, alone);
        for (int32_t x0 = out->area.x0; x0 < out->area.x1; x0 += SPAN) {
            begin_span(&fill, out->area, x0, y);
            memcpy(fill.row.t, picture_row(&fill.t, PLANE_A, y) + (x0 - fill.t.area.x0),
                   (size_t)fill.row.width * sizeof(float));
            if (fill.row.count == 2)
                means_pair(&fill.row, fill.screens);
            else
                means_any(&fill.row, fill.screens);
            if (fill.own >= 0)
                favour_own(&fill, x0, y);
            if (at->picture == PICTURE_QUALITY)
                write_quality(&fill.row, fill.screens, out, x0, y);
            else
                write_cut(&fill.row, out, x0, y);
            if (apart != NULL)
                mix_single(&fill, at, out, x0, y, apart + (x0 - out->area.x0));
        }
    }
    return PASSEL_OK;
}

const struct kind kind_key_two_screen = {
    .schema = {
        .name = "key two-screen",
        .summary = "A cut-out from takes of the same thing before two or more different screens.",
        .notes = "What stands before the screens must be the same in all takes: camera, light, exposure. Then nothing has "
                 "to be known of its colours: a green roof before green and a blue door before blue come out whole. "
                 "Edges, wires and smoke keep their true transparency; where neighbouring pixels differ by nothing but "
                 "noise, they share one alpha. The empties are freed of noise, and an empty a "
                 "little darker or brighter than its take is fitted to it. Where something moved between the takes the cut-out is "
                 "made from the one whose screen is the clearest, and the frame tells where. Of two takes one of which was resampled (`align`, `place`) "
                 "the other one's sampling counts: hair stays as sharp as it was filmed, without seams. In the picture `quality` white is where the "
                 "takes agree and black where something moved between them or was lit differently.",
        .example = "cut = key two-screen\n"
                   "  on  gs   empty gs-empty\n"
                   "  on  bs   empty bs-empty\n",
        .form = HEAD_NAMED,
        .makes = MAKES_PICTURE,
        .settings = settings,
        .pictures = (const struct further_picture[]){
            { "quality", "how well the takes agree, pixel by pixel: 1 is as well as their noise allows, towards 0 where "
                         "something differs" },
            { NULL, NULL } },
    },
    .analysis = &screens_analysis,
    .make = two_screen_make,
    .open = two_screen_open,
    .close = two_screen_close,
    .asks = two_screen_asks,
    .info = two_screen_info,
    .reach = two_screen_reach,
    .fill = two_screen_fill,
};
