/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The kind `key screen`: a cut-out from one take before a screen of any colour.
 *
 * One take leaves one unknown too many, so something must be supposed of the foreground. First: it holds no screen
 * colour. That gives a first transmission, the share of the screen's hue in the pixel (key_hue.h), exact for greys. It
 * tells solid and bare apart. Then, near edges: the foreground's colours are those that stand solid near by, which
 * gives the alpha of skin, hair or a coat without the first's bias (key_local.h). Far from any screen, solid is solid;
 * where what is left, alone and pooled with its neighbours, is no more than the screen's noise, bare is bare. The
 * foreground is the take less its share of screen (Co = y - t K), then freed of spill.
 */
#include <math.h>
#include <string.h>

#include "base/error.h"
#include "kinds/alpha_input.h"
#include "kinds/arena_picture.h"
#include "kinds/key_hue.h"
#include "kinds/key_local.h"
#include "kinds/key_shadow.h"
#include "kinds/kinds.h"
#include "numerics/between.h"

enum { PICTURE_CUT = 0, PICTURE_SCREEN, PICTURE_SHADOW, PICTURE_SPILL, PICTURE_RESIDUAL };

enum shadows { SHADOWS_IN, SHADOWS_APART };

enum despill { DESPILL_NONE, DESPILL_MEAN, DESPILL_TWO_TO_ONE, DESPILL_LARGER };

struct key_screen {
    struct takes takes; /* first: the analysis reads it */
    const struct value *garbage, *core, *darkest, *restore;
    enum despill despill;
    enum shadows shadows;
    float luminance[3];
};

#define SEE_EDGE 3             /* pixels: an edge's soft part is no wider from the screen that it borders */
#define SOLID_SIGMAS 2.0F      /* a first transmission below this much noise is solid */
#define SOLID_SHARE 0.02F      /* or below this */
#define MOST_SIGMAS 2.0F       /* so much does noise add to the largest near by */
#define THIN_EDGE 0.1F         /* a solid pixel beside one that shows more is seen as thin, */
#define THIN_WEIGHT 0.03F      /* and its colour, which may hold some screen yet, counts so much */
#define NEAR_SCREEN_FROM 0.16F /* where the most transparent pixel near by shows less, smoothly, all is solid */
#define NEAR_SCREEN_TO 0.26F
#define RELIEF_FROM 0.06F /* where it shows so much more than the pixel itself, there are gaps near by, as in hair */
#define RELIEF_TO 0.12F
#define ALMOST_FROM 0.94F /* an alpha that is nearly 1, where no screen shows, is 1 */
#define ALMOST_TO 0.98F
#define GREYEST 0.05F        /* of its brightest channel: a screen shows more of its hue */
#define BARE_FROM 2.5F       /* sigmas of alpha that are nothing */
#define BARE_TO 5.0F         /* sigmas from which alpha is kept as it is */
#define POOL 3               /* pixels to either side that are pooled */
#define POOLED_FROM 3.5F     /* sigmas of pooled alpha that are nothing */
#define WEDGE_BIAS 0.17F     /* sigmas that noise across the hue takes from the share of a bare pixel, on the mean */
#define CREASE 0.003F        /* pooled alpha that a crease in the screen makes, */
#define CREASE_UNSEEN 0.008F /* and where there is no empty to show it */

static const struct choice despill_choices[] = {
    [DESPILL_NONE] = { "none", "colours stay as they are" },
    [DESPILL_MEAN] = { "mean", "the screen's channel no stronger than the mean of the other two: takes most" },
    [DESPILL_TWO_TO_ONE] = { "two-to-one", "than two parts of the larger and one of the smaller" },
    [DESPILL_LARGER] = { "larger", "than the larger of the other two: keeps yellows and cyans" },
    { NULL, NULL },
};

static const struct choice shadow_choices[] = {
    [SHADOWS_IN] = { "in", "part of the cut-out: a dark veil that darkens whatever is put behind" },
    [SHADOWS_APART] = { "apart", "not cut out; the picture NAME.shadow holds them" },
    { NULL, NULL },
};

static const struct value_spec one_picture[] = { { .label = "NAME", .type = VALUE_PICTURE }, { .label = NULL } };

static const struct value_spec fraction[] = { { .label = "N",
                                                .type = VALUE_NUMBER,
                                                .may_change = true,
                                                .unit = UNIT_FRACTION,
                                                .limited = true,
                                                .least = 0,
                                                .most = 1 },
                                              { .label = NULL } };

static const struct setting_spec head = {
    .values = one_picture,
    .tags =
        (const struct tag_spec[]){ { .word = "empty",
                                     .help = "the screen with nothing before it; estimated from the bare parts of the "
                                             "take when there is none",
                                     .values = one_picture },
                                   { .word = NULL } },
};

static const struct setting_spec settings[] = {
    { .word = "colour",
      .help = "the screen's colour, scene-linear, when the take alone would mislead: only its hue counts",
      .values = (const struct value_spec[]){ { .label = "R G B",
                                               .type = VALUE_NUMBER,
                                               .least_count = 3,
                                               .most_count = 3,
                                               .limited = true,
                                               .least = 0,
                                               .most = 100 },
                                             { .label = NULL } } },
    { .word = "despill",
      .help = "how far the screen's light on the foreground is taken back",
      .tags = (const struct tag_spec[]){ { .word = "to",
                                           .help = "the most that is left of the screen's channel",
                                           .values = (const struct value_spec[]){ { .label = "LIMIT",
                                                                                    .type = VALUE_CHOICE,
                                                                                    .choices = despill_choices },
                                                                                  { .label = NULL } } },
                                         { .word = "restore",
                                           .help = "how much of the brightness that is taken comes back as grey light",
                                           .values = fraction },
                                         { .word = NULL } },
      .standard = "to two-to-one" },
    { .word = "shadows",
      .help = "what becomes of the shadows on the screen",
      .values = (const struct value_spec[]){ { .label = "HOW", .type = VALUE_CHOICE, .choices = shadow_choices },
                                             { .label = NULL } },
      .standard = "in" },
    { .word = "darkest",
      .help = "how much of its light the screen keeps in the darkest shadow; what is darker stands before it",
      .values = fraction,
      .standard = "50%" },
    { .word = "garbage",
      .help = "a matte of what must not show, such as stands and the studio beyond the screen",
      .values = one_picture },
    { .word = "core", .help = "a matte of what is solid for certain", .values = one_picture },
    { .word = "trust",
      .help = "turns the correction off that fits the empty to the take's brightness",
      .values =
          (const struct value_spec[]){
              { .label = "WHAT",
                .type = VALUE_CHOICE,
                .choices =
                    (const struct choice[]){ { "levels", "take and empty were lit exactly alike" }, { NULL, NULL } } },
              { .label = NULL } } },
    { .help = NULL },
};

/* ---- make and plan --------------------------------------------------------------------------------------------- */

static enum passel_status screen_make(const struct block *block, const struct recipe *recipe, const struct shot *shot,
                                      struct arena *arena, void **self, struct passel_error *error)
{
    struct key_screen *key = arena_take(arena, sizeof *key);
    const struct value *colour = setting_value(block_setting(block, "colour"), 0);
    const struct value *despill = setting_tag_value(block_setting(block, "despill"), "to", 0);
    struct hue hue;
    double luminance[3];
    if (key == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    primaries_luminance(&shot->primaries, luminance);
    for (int c = 0; c < 3; c++)
        key->luminance[c] = (float)luminance[c];
    key->takes.count = 1;
    key->takes.take[0] =
        (struct take_names){ .on = setting_value(block->head, 0), .empty = setting_tag_value(block->head, "empty", 0) };
    key->takes.trust_levels = block_setting(block, "trust") != NULL;
    key->takes.has_colour = colour != NULL;
    for (int c = 0; c < 3 && colour != NULL; c++)
        key->takes.colour[c] = (float)colour->numbers[c];
    if (colour != NULL && !hue_of(key->takes.colour, &hue))
        return recipe_error(recipe, colour->where, PASSEL_BAD_RECIPE, error,
                            "a grey has no hue to key on; use `key luma` or `key difference` for a grey backing");
    key->garbage = setting_value(block_setting(block, "garbage"), 0);
    key->core = setting_value(block_setting(block, "core"), 0);
    key->darkest = setting_value(block_setting(block, "darkest"), 0);
    key->restore = setting_tag_value(block_setting(block, "despill"), "restore", 0);
    key->shadows = (enum shadows)setting_value(block_setting(block, "shadows"), 0)->choice;
    key->despill = despill == NULL ? DESPILL_TWO_TO_ONE : (enum despill)despill->choice;
    *self = key;
    return PASSEL_OK;
}

static enum passel_status screen_open(const struct at *at, void **state, struct passel_error *error)
{
    const struct key_screen *key = at->self;
    return faults_open(at, key->takes.take[0].on, key->takes.take[0].empty, state, error);
}

static bool is_cut(const struct at *at)
{
    return at->picture == PICTURE_CUT || at->picture == PICTURE_SPILL || at->picture == PICTURE_RESIDUAL;
}

static bool wants_shadow(const struct at *at)
{
    const struct key_screen *key = at->self;
    return at->picture == PICTURE_SHADOW || (is_cut(at) && key->shadows == SHADOWS_APART);
}

static enum passel_status screen_asks(const struct at *at, struct ask_list *list, struct passel_error *error)
{
    const struct key_screen *key = at->self;
    const struct value *take = key->takes.take[0].on;
    (void)error;
    ask_add(list,
            (struct ask){ .block = take->block, .picture = take->picture, .frame = at->frame, .planes = HAS_RGB });
    if (is_cut(at) && key->garbage != NULL)
        alpha_ask(list, key->garbage, at->frame);
    if (is_cut(at) && key->core != NULL)
        alpha_ask(list, key->core, at->frame);
    return PASSEL_OK;
}

static enum passel_status screen_info(const struct at *at, struct picture_info *info, struct passel_error *error)
{
    static const unsigned planes[] = { [PICTURE_CUT] = HAS_RGBA,
                                       [PICTURE_SCREEN] = HAS_RGB,
                                       [PICTURE_SHADOW] = HAS_A,
                                       [PICTURE_SPILL] = HAS_A,
                                       [PICTURE_RESIDUAL] = HAS_RGB };
    const struct key_screen *key = at->self;
    int ask = 1;
    if (is_cut(at) && key->garbage != NULL)
        RETURN_IF_ERROR(alpha_check(at, ask++, key->garbage, error));
    if (is_cut(at) && key->core != NULL)
        RETURN_IF_ERROR(alpha_check(at, ask, key->core, error));
    *info = at->inputs[0];
    info->planes = planes[at->picture];
    info->whole = false;
    info->strip_rows = is_cut(at) ? 3 * LOCAL_REACH : 0;
    return PASSEL_OK;
}

static struct rect screen_reach(const struct at *at, int ask, struct rect want)
{
    const int32_t around =
        ask > 0 ? 0 : (is_cut(at) ? LOCAL_REACH + SEE_EDGE : 0) + (wants_shadow(at) ? SHADOW_REACH : 0);
    return rect_grow(want, around, around);
}

/* ---- first transmission ---------------------------------------------------------------------------------------- */

/* Everything one fill works on. */
struct work {
    const struct screen *screen;
    struct hue hue;
    float bright;          /* the screen's brightest channel, on the whole */
    float restore;         /* share of the brightness that despill gives back */
    bool spill, residual;  /* wanted is this, not the cut-out */
    float thin;            /* below this alpha, a pixel by itself may be noise */
    float crease;          /* pooled alpha that a crease in the screen makes */
    struct rect out;       /* what is filled */
    struct rect around;    /* what is seen of the take */
    struct picture shadow; /* plane A, when shadows are apart: the share of its light that the screen loses */
    struct picture first;  /* plane A: the first transmission */
    struct picture solid;  /* plane A: how surely nothing of the screen shows, 0 … 1 */
    struct picture near;   /* plane A: the largest first transmission near by; as far as LOCAL_REACH */
    struct picture edge;   /* plane A: the same beside the pixel */
    struct local local;
    const float *field[3]; /* a row of the screen */
    /* rows as wide as `around` */
    float *spare[3], *most, *pooled;
    float *whole, *sigma; /* the bare screen's share of its hue, and the noise in it */
};

/* Along a row of the screen: how much of its hue the bare screen has, and the sigma of that. */
static void bare_row(const struct hue *hue, const struct noise noise[3], const float *restrict r,
                     const float *restrict g, const float *restrict b, float *restrict whole, float *restrict sigma,
                     int32_t count)
{
    const struct hue own = *hue;
    float gain[3], floor = 0;
    for (int c = 0; c < 3; c++) {
        gain[c] = own.axis[c] * own.axis[c] * noise[c].gain;
        floor += own.axis[c] * own.axis[c] * noise[c].floor;
    }
    for (int32_t i = 0; i < count; i++) {
        whole[i] = larger(hue_share(&own, r[i], g[i], b[i], 0), 1e-4F);
        sigma[i] = sqrtf(larger(gain[0] * r[i] + gain[1] * g[i] + gain[2] * b[i], 0) + floor);
    }
}

static void first_row(const struct hue *hue, const float *restrict r, const float *restrict g, const float *restrict b,
                      const float *restrict whole, const float *restrict sigma, float *restrict first,
                      float *restrict solid, int32_t count)
{
    const struct hue own = *hue;
    for (int32_t i = 0; i < count; i++) {
        const float part = 1 / whole[i], share = hue_share(&own, r[i], g[i], b[i], sigma[i]) * part;
        first[i] = share;
        solid[i] = share < larger(SOLID_SHARE, SOLID_SIGMAS * sigma[i] * part) ? 1.0F : 0.0F;
    }
}

/* The screen as it is lit in a row, shadows and all. */
static void shade_row(struct work *work, const float *restrict shadow, int32_t count)
{
    for (int c = 0; c < 3; c++) {
        const float *from = work->field[c];
        float *to = work->spare[c];
        for (int32_t i = 0; i < count; i++)
            to[i] = from[i] * (1 - shadow[i]);
        work->field[c] = to;
    }
}

static void field_rows(struct work *work, int32_t x0, int32_t y, int32_t count)
{
    for (int c = 0; c < 3; c++)
        work->field[c] = screen_row(work->screen, c, x0, y, count, work->spare[c]);
    if (work->shadow.plane[PLANE_A] != NULL)
        shade_row(work, picture_row(&work->shadow, PLANE_A, y) + (x0 - work->around.x0), count);
    bare_row(&work->hue, work->screen->noise, work->field[0], work->field[1], work->field[2], work->whole, work->sigma,
             count);
}

static void find_first(struct work *work, const struct picture *take)
{
    const int32_t count = rect_width(work->around), shift = work->around.x0 - take->area.x0;
    for (int32_t y = work->around.y0; y < work->around.y1; y++) {
        field_rows(work, work->around.x0, y, count);
        first_row(&work->hue, picture_row(take, PLANE_R, y) + shift, picture_row(take, PLANE_G, y) + shift,
                  picture_row(take, PLANE_B, y) + shift, work->whole, work->sigma,
                  picture_row(&work->first, PLANE_A, y), picture_row(&work->solid, PLANE_A, y), count);
    }
}

static void raise(float *restrict most, const float *restrict values, int32_t count)
{
    for (int32_t i = 0; i < count; i++)
        most[i] = larger(most[i], values[i]);
}

/* One row of the largest of `first` within `reach` pixels along it. */
static void most_along(const struct work *work, struct rect area, int32_t reach, int32_t y)
{
    const float *first = picture_row(&work->first, PLANE_A, y) - work->around.x0;
    memset(work->most, 0, (size_t)rect_width(area) * sizeof *work->most);
    for (int32_t d = -reach; d <= reach; d++) {
        const int32_t from = area.x0 + d < work->around.x0 ? work->around.x0 - d : area.x0;
        const int32_t to = area.x1 + d > work->around.x1 ? work->around.x1 - d : area.x1;
        if (from < to)
            raise(work->most + (from - area.x0), first + from + d, to - from);
    }
}

/* most = the largest of `first` within `reach` pixels. */
static void most_within(const struct work *work, const struct picture *most, int32_t reach)
{
    const struct rect area = most->area;
    const int32_t width = rect_width(area);
    for (int32_t y = area.y0; y < area.y1; y++)
        memset(picture_row(most, PLANE_A, y), 0, (size_t)width * sizeof *work->most);
    for (int32_t y = work->around.y0; y < work->around.y1; y++) {
        const int32_t from = y - reach < area.y0 ? area.y0 : y - reach;
        const int32_t to = y + reach >= area.y1 ? area.y1 - 1 : y + reach;
        if (from > to)
            continue;
        most_along(work, area, reach, y);
        for (int32_t row = from; row <= to; row++)
            raise(picture_row(most, PLANE_A, row), work->most, width);
    }
}

/* What has no screen near is solid; what has some beside it counts little. */
static void find_near(const struct work *work)
{
    const struct rect area = work->near.area;
    const float hidden = NEAR_SCREEN_FROM + MOST_SIGMAS / BARE_TO * work->thin;
    most_within(work, &work->near, SEE_EDGE);
    most_within(work, &work->edge, 1);
    for (int32_t y = area.y0; y < area.y1; y++) {
        const float *near = picture_row(&work->near, PLANE_A, y), *edge = picture_row(&work->edge, PLANE_A, y);
        const float *first = picture_row(&work->first, PLANE_A, y) + (area.x0 - work->around.x0);
        float *solid = picture_row(&work->solid, PLANE_A, y) + (area.x0 - work->around.x0);
        for (int32_t i = 0; i < rect_width(area); i++) {
            const float thin = first[i] <= 0 ? THIN_WEIGHT : 0;
            const float sure = edge[i] < THIN_EDGE ? solid[i] : thin;
            solid[i] = near[i] < hidden ? 1 : sure;
        }
    }
}

/* pooled[i] = mean alpha around of what is too thin to be told from noise by itself, so that an edge does not count;
 * `sums` holds count + 2 POOL. Where the picture ends, its edge is held. */
static void pool_row(const struct work *work, int32_t x0, int32_t y, int32_t count, float *restrict sums,
                     float *restrict pooled)
{
    const struct rect area = work->around;
    const int32_t from = x0 - POOL < area.x0 ? area.x0 : x0 - POOL;
    const int32_t to = x0 + count + POOL > area.x1 ? area.x1 : x0 + count + POOL;
    float *const inside = sums + (from - (x0 - POOL));
    memset(sums, 0, (size_t)(count + 2 * POOL) * sizeof *sums);
    for (int32_t v = y - POOL; v <= y + POOL; v++) {
        const int32_t held = v < area.y0 ? area.y0 : v >= area.y1 ? area.y1 - 1 : v;
        const float *first = picture_row(&work->first, PLANE_A, held) + (from - area.x0);
        for (int32_t i = 0; i < to - from; i++) {
            const float alpha = 1 - first[i];
            inside[i] += fabsf(alpha) < work->thin ? alpha : 0;
        }
    }
    for (int32_t i = x0 - POOL; i < from; i++)
        sums[i - (x0 - POOL)] = inside[0];
    for (int32_t i = to; i < x0 + count + POOL; i++)
        sums[i - (x0 - POOL)] = inside[to - from - 1];
    for (int32_t i = 0; i < count; i++) {
        float sum = 0;
        for (int32_t d = 0; d <= 2 * POOL; d++)
            sum += sums[i + d];
        pooled[i] = sum / ((2 * POOL + 1) * (2 * POOL + 1));
    }
}

/* ---- alpha and colour ------------------------------------------------------------------------------------------ */

static float ramp(float value, float from, float to)
{
    const float share = smaller(larger((value - from) / (to - from), 0), 1);
    return share * share * (3 - 2 * share);
}

/* What the whole screen has in common: its hue serves everywhere. False when it is grey. */
static bool learn_screen(struct work *work)
{
    float mean[3] = { 0 };
    const struct screen *screen = work->screen;
    const struct rect area = screen->field.area;
    for (int c = 0; c < 3; c++) {
        for (int32_t y = area.y0; y < area.y1; y += 16) {
            const float *row = picture_row(&screen->field, (enum plane)c, y);
            for (int32_t x = 0; x < rect_width(area); x += 16)
                mean[c] += row[x];
        }
    }
    float whole, sigma;
    const int32_t looked = ((rect_width(area) + 15) / 16) * ((rect_height(area) + 15) / 16);
    const float most = larger(larger(mean[0], mean[1]), larger(mean[2], 1e-6F));
    work->bright = most / (float)looked;
    for (int c = 0; c < 3; c++)
        mean[c] /= (float)looked;
    if (!hue_of((const float[]){ mean[0] / work->bright, mean[1] / work->bright, mean[2] / work->bright }, &work->hue))
        return false;
    bare_row(&work->hue, work->screen->noise, &mean[0], &mean[1], &mean[2], &whole, &sigma, 1);
    work->thin = BARE_TO * sigma / whole;
    return whole >= GREYEST * work->bright;
}

/* Alpha of one pixel; most: the largest first transmission near by, noise and all. *keep is how much of its foreground
 * stays (0 where only noise is left). */
static float pixel_alpha(const struct work *work, const float pixel[3], int32_t i, int32_t y, float first, float most,
                         float *keep)
{
    const float field[3] = { work->field[0][i], work->field[1][i], work->field[2][i] };
    const float sigma = work->sigma[i] / work->whole[i], limit = larger(SOLID_SHARE, SOLID_SIGMAS * sigma);
    const float near = most - MOST_SIGMAS * sigma;
    const float least = larger(work->crease, POOLED_FROM / (2 * POOL + 1) * sigma);
    const float pooled = ramp(work->pooled[i] - WEDGE_BIAS * sigma, least, 2 * least);
    *keep = 1;
    const float inside = 1 - ramp(near, NEAR_SCREEN_FROM, NEAR_SCREEN_TO);
    const float ajar = larger(1 - inside, ramp(near - larger(first, 2 * sigma), RELIEF_FROM, RELIEF_TO));
    if (ajar <= 0)
        return 1;
    *keep = pooled;
    if (pooled == 0 && 1 - first < BARE_FROM * sigma)
        return 0;
    const float open = local_alpha(&work->local, work->out.x0 + i, y, pixel, field);
    const float pure = ramp(limit - first, 0, limit) * ramp(open, ALMOST_FROM, ALMOST_TO);
    const float agreed = larger(pure, inside * ramp(open + SOLID_SIGMAS * sigma, ALMOST_FROM, ALMOST_TO));
    const float alpha = 1 + ajar * (1 - agreed) * (open - 1);
    *keep = larger(pooled, ramp(alpha, BARE_FROM * sigma, BARE_TO * sigma));
    return alpha * *keep;
}

/* Takes the excess of the screen's hue out of a premultiplied colour; returns how much that was. */
static float despill(const struct work *work, const struct key_screen *key, float colour[3])
{
    static const float shares[] = {
        [DESPILL_MEAN] = 0, [DESPILL_TWO_TO_ONE] = HUE_WEDGE / 3, [DESPILL_LARGER] = HUE_WEDGE
    };
    const struct hue *hue = &work->hue;
    if (key->despill == DESPILL_NONE)
        return 0;
    const float along = colour[0] * hue->axis[0] + colour[1] * hue->axis[1] + colour[2] * hue->axis[2];
    const float over = colour[0] * hue->across[0] + colour[1] * hue->across[1] + colour[2] * hue->across[2];
    const float excess = larger(along - shares[key->despill] * fabsf(over), 0);
    float lost = 0;
    for (int c = 0; c < 3; c++)
        lost += key->luminance[c] * excess * hue->strip[c];
    for (int c = 0; c < 3; c++)
        colour[c] += work->restore * lost - excess * hue->strip[c];
    return excess;
}

static void fill_row(const struct work *work, const struct key_screen *key, const struct picture *take,
                     const float *garbage, const float *core, const struct picture *out, int32_t y)
{
    const int32_t count = rect_width(out->area), shift = out->area.x0 - take->area.x0;
    const float *first = picture_row(&work->first, PLANE_A, y) + (out->area.x0 - work->around.x0);
    const float *near = picture_row(&work->near, PLANE_A, y) + (out->area.x0 - work->near.area.x0);
    const float *rows[3];
    float *to[PLANE_COUNT];
    for (int c = 0; c < 3; c++)
        rows[c] = picture_row(take, (enum plane)c, y) + shift;
    for (int p = 0; p < PLANE_COUNT; p++)
        to[p] = out->plane[p] == NULL ? NULL : picture_row(out, (enum plane)p, y);
    for (int32_t i = 0; i < count; i++) {
        const float pixel[3] = { rows[0][i], rows[1][i], rows[2][i] };
        float keep, colour[3], alpha = pixel_alpha(work, pixel, i, y, first[i], near[i], &keep);
        if (core != NULL && core[i] > alpha) {
            alpha = smaller(core[i], 1);
            keep = 1;
        }
        for (int c = 0; c < 3; c++)
            colour[c] = keep * (pixel[c] - (1 - alpha) * work->field[c][i]);
        const float excess = despill(work, key, colour);
        const float show = garbage == NULL ? 1 : 1 - between(garbage[i], 0, 1);
        for (int c = 0; c < 3; c++) {
            if (to[c] != NULL)
                to[c][i] = work->residual ? pixel[c] - (show * colour[c] + (1 - show * alpha) * work->field[c][i])
                                          : show * colour[c];
        }
        if (to[PLANE_A] != NULL)
            to[PLANE_A][i] = show * (work->spill ? excess / work->whole[i] : alpha);
    }
}

static enum passel_status work_new(struct work *work, const struct at *at, const struct picture *take, struct rect area,
                                   struct arena *scratch, struct passel_error *error)
{
    const struct screens *screens = at->found;
    const struct key_screen *key = at->self;
    *work = (struct work){ .screen = &screens->screen[0], .out = area };
    work->spill = at->picture == PICTURE_SPILL;
    work->residual = at->picture == PICTURE_RESIDUAL;
    work->restore = key->restore != NULL ? (float)value_at(key->restore, 0, at->frame, at->scale) : 0;
    work->crease = key->takes.take[0].empty != NULL ? CREASE : CREASE_UNSEEN;
    work->around = rect_cut(rect_grow(area, LOCAL_REACH + SEE_EDGE, LOCAL_REACH + SEE_EDGE),
                            rect_cut(at->inputs[0].data, take->area));
    if (!learn_screen(work))
        return error_set(
            error, PASSEL_BAD_PICTURE,
            "the screen of %s is grey: its brightest channel is %.3g and it has no hue to key on; use `key "
            "luma` or `key difference`",
            key->takes.take[0].on->text, (double)work->bright);
    RETURN_IF_ERROR(arena_picture(scratch, work->around, HAS_A, &work->first, error));
    RETURN_IF_ERROR(arena_picture(scratch, work->around, HAS_A, &work->solid, error));
    const struct rect near = rect_cut(rect_grow(area, LOCAL_REACH, LOCAL_REACH), work->around);
    RETURN_IF_ERROR(arena_picture(scratch, near, HAS_A, &work->near, error));
    RETURN_IF_ERROR(arena_picture(scratch, near, HAS_A, &work->edge, error));
    const size_t width = (size_t)rect_width(work->around) + 2 * POOL;
    float *rows = arena_row(scratch, 7 * (rect_width(work->around) + 2 * POOL));
    if (rows == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int c = 0; c < 3; c++)
        work->spare[c] = rows + (size_t)c * width;
    work->most = rows + 3 * width;
    work->pooled = rows + 4 * width;
    work->whole = rows + 5 * width;
    work->sigma = rows + 6 * width;
    return PASSEL_OK;
}

static const float *matte_row(const struct picture *matte, int32_t x0, int32_t y)
{
    return matte == NULL ? NULL : picture_row(matte, PLANE_A, y) + (x0 - matte->area.x0);
}

/* The part of the take that is filmed: beyond it, `in` is black. */
static struct picture filmed(const struct at *at, const struct picture *take)
{
    return picture_part(take, rect_cut(take->area, at->inputs[0].data));
}

static enum passel_status make_shadow(const struct at *at, const struct picture *take, struct rect area,
                                      struct arena *scratch, struct picture *shadow, struct passel_error *error)
{
    const struct key_screen *key = at->self;
    const struct screens *screens = at->found;
    const struct picture seen = filmed(at, take);
    RETURN_IF_ERROR(arena_picture(scratch, area, HAS_A, shadow, error));
    return shadow_find(shadow, &seen, &screens->screen[0], (float)value_at(key->darkest, 0, at->frame, at->scale),
                       scratch, error);
}

static enum passel_status fill_shadow(const struct at *at, const struct picture *take, const struct picture *out,
                                      struct arena *scratch, struct passel_error *error)
{
    struct picture shadow;
    if (out->plane[PLANE_A] == NULL)
        return PASSEL_OK;
    RETURN_IF_ERROR(make_shadow(at, take, out->area, scratch, &shadow, error));
    picture_copy(out, &shadow);
    return PASSEL_OK;
}

static enum passel_status fill_cut(const struct at *at, const struct picture *in, const struct picture *out,
                                   struct arena *scratch, struct passel_error *error)
{
    const struct key_screen *key = at->self;
    const struct picture *garbage = key->garbage == NULL ? NULL : &in[1];
    const struct picture *core = key->core == NULL ? NULL : &in[key->garbage == NULL ? 1 : 2];
    struct work work;
    RETURN_IF_ERROR(work_new(&work, at, &in[0], out->area, scratch, error));
    if (wants_shadow(at))
        RETURN_IF_ERROR(make_shadow(at, &in[0], work.around, scratch, &work.shadow, error));
    find_first(&work, &in[0]);
    find_near(&work);
    RETURN_IF_ERROR(local_learn(&work.local, out->area, &in[0], &work.solid, work.screen, work.bright, scratch, error));
    for (int32_t y = out->area.y0; y < out->area.y1; y++) {
        field_rows(&work, out->area.x0, y, rect_width(out->area));
        pool_row(&work, out->area.x0, y, rect_width(out->area), work.most, work.pooled);
        fill_row(&work, key, &in[0], matte_row(garbage, out->area.x0, y), matte_row(core, out->area.x0, y), out, y);
    }
    return PASSEL_OK;
}

static void fill_screen(const struct screen *screen, const struct picture *out)
{
    for (int c = 0; c < 3; c++) {
        for (int32_t y = out->area.y0; out->plane[c] != NULL && y < out->area.y1; y++) {
            float *row = picture_row(out, (enum plane)c, y);
            const float *from = screen_row(screen, c, out->area.x0, y, rect_width(out->area), row);
            if (from != row)
                memcpy(row, from, (size_t)rect_width(out->area) * sizeof *row);
        }
    }
}

static enum passel_status screen_fill(const struct at *at, const struct picture *in, const struct picture *out,
                                      struct arena *scratch, struct passel_error *error)
{
    const struct screens *screens = at->found;
    if (at->picture == PICTURE_CUT)
        faults_note(at, &screens->faults[0]);
    if (is_cut(at))
        return fill_cut(at, in, out, scratch, error);
    if (at->picture == PICTURE_SHADOW)
        return fill_shadow(at, &in[0], out, scratch, error);
    fill_screen(&screens->screen[0], out);
    return PASSEL_OK;
}

const struct kind kind_key_screen = {
    .schema = {
        .name = "key screen",
        .summary = "A cut-out from one take before a green, blue or other coloured screen.",
        .notes = "The colour of the screen is found in the take; uneven light is no matter, least of all with an empty. "
                 "Solid parts come out solid and the bare screen empty without any setting; the colours near an edge tell "
                 "how transparent hair and soft outlines are. What has the very colour of the screen needs a `core`, or a "
                 "second screen: see `key two-screen`. The picture `screen` is the bare screen as it was found. With "
                 "`shadows apart` multiply the new background by 1 minus `shadow`. The picture `spill` is how much of the "
                 "screen's light lay on the foreground: add the new background there, softened, and its light falls on "
                 "the foreground instead.",
        .example = "keeper = key screen keeper-green   empty green-empty\n"
                   "  despill  to larger\n"
                   "  garbage  stands\n",
        .form = HEAD_NAMED,
        .makes = MAKES_PICTURE,
        .head = &head,
        .settings = settings,
        .pictures = (const struct further_picture[]){ { "screen", "the screen as it would look with nothing before it" },
                                                      { "shadow", "a matte of the shadows on the screen" },
                                                      { "spill",
                                                        "a matte of the screen's light that despill took away" },
                                                      { "residual",
                                                        "what the key threw away: the take less the cut-out laid over "
                                                        "the screen; see `view`" },
                                                      { NULL, NULL } },
    },
    .analysis = &screens_analysis,
    .make = screen_make,
    .open = screen_open,
    .close = faults_close,
    .asks = screen_asks,
    .info = screen_info,
    .reach = screen_reach,
    .fill = screen_fill,
};
