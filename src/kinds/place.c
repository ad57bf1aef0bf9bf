/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The kind `place`: moves, turns, sizes, pins and crops a picture.
 *
 * Every step is a map of the frame onto itself; they are joined, so that the picture is resampled once. A crop is a
 * rectangle in the frame as things lie at its step: the steps below carry it along, and it is applied to the resampled
 * pixels as the share of each that it covers. `handheld` is a move and a turn like any other, by chance that follows
 * from the seed and the frame. With an open shutter the picture is the mean of many moments (kind.h: `moments`).
 */
#include <math.h>
#include <string.h>

#include "base/error.h"
#include "kinds/corners.h"
#include "kinds/kinds.h"
#include "numerics/flicker.h"
#include "picture/coverage.h"
#include "picture/function.h"

enum action {
    PLACE_MOVE,
    PLACE_TURN,
    PLACE_SIZE,
    PLACE_ABOUT,
    PLACE_PIN,
    PLACE_CROP,
    PLACE_HANDHELD,
    PLACE_FILTER,
    PLACE_SHUTTER
};

struct step {
    enum action action;
    const struct value *amount;
    const struct value *soft; /* of a crop, or NULL */
    const struct value *turn; /* of the unrest of a hand, or NULL */
    struct flicker unrest[3]; /* of the hand: across, down, turning */
};

struct place {
    const struct value *picture;
    const struct step *steps;
    int count, crops;
    bool by_frame; /* a hand holds it */
    enum filter filter;
    const struct value *shutter; /* degrees */
};

/* A crop at one frame: `rest` leads from the output to the frame as it was at the crop. */
struct crop {
    struct transform rest;
    double x0, y0, x1, y1, soft;
};

#define PLACE_LIMITS .unit = UNIT_PX, .limited = true, .least = -100000, .most = 100000
#define SMALLEST_SIZE 1e-4
#define MOMENTS_MOST 512   /* of an open shutter */
#define PROBES 16          /* pieces of the way that is measured for them */
#define STILL (1.0 / 1024) /* pixels of a way that are none */

static const struct tag_spec crop_tags[] = {
    { .word = "soft",
      .help = "the picture fades out over so much inside the new sides",
      .values = (const struct value_spec[]){ { .label = "N",
                                               .type = VALUE_NUMBER,
                                               .may_change = true,
                                               .unit = UNIT_PX,
                                               .limited = true,
                                               .least = 0,
                                               .most = 100000 },
                                             { .label = NULL } } },
    { .word = NULL },
};

static const struct tag_spec handheld_tags[] = {
    { .word = "turn",
      .help = "it turns, too, by so much",
      .values = (const struct value_spec[]){ { .label = "N",
                                               .type = VALUE_NUMBER,
                                               .may_change = true,
                                               .unit = UNIT_DEGREES,
                                               .limited = true,
                                               .least = 0,
                                               .most = 45 },
                                             { .label = NULL } } },
    { .word = "every",
      .help = "the quickest unrest: it needs so many frames from one side to the other; 6 when not given",
      .values =
          (const struct value_spec[]){
              { .label = "N", .type = VALUE_NUMBER, .unit = UNIT_FRAMES, .limited = true, .least = 1, .most = 1000 },
              { .label = NULL } } },
    { .word = "seed",
      .help = "another number, another hand",
      .values = (const struct value_spec[]){ { .label = "N", .type = VALUE_INTEGER }, { .label = NULL } } },
    { .word = NULL },
};

/* In the order of enum filter. */
static const struct choice filters[] = {
    { "nearest", "one pixel of the input for each of the output: hard steps, no mixing" },
    { "linear", "between four pixels: soft" },
    { "mitchell", "a gentle cubic: a little soft, hardly any ringing" },
    { "lanczos", "three lobes of a windowed sinc: sharp, rings at hard edges" },
    { "spline",
      "a quintic spline through the pixels: the closest to the original; its rings beside clipped highlights are "
      "taken off" },
    { NULL, NULL },
};

static const struct setting_spec head = {
    .values = (const struct value_spec[]){ { .label = "NAME", .type = VALUE_PICTURE }, { .label = NULL } },
};

/* In the order of enum action. */
static const struct setting_spec settings[] = {
    { .word = "move",
      .help = "moves the picture to the right and down; whole pixels are copied unchanged",
      .values = (const struct value_spec[]){ { .label = "X Y",
                                               .type = VALUE_NUMBER,
                                               .may_change = true,
                                               .least_count = 2,
                                               .most_count = 2,
                                               PLACE_LIMITS },
                                             { .label = NULL } },
      .repeats = true },
    { .word = "turn",
      .help = "turns it clockwise",
      .values =
          (const struct value_spec[]){ { .label = "N", .type = VALUE_NUMBER, .may_change = true, .unit = UNIT_DEGREES },
                                       { .label = NULL } },
      .repeats = true },
    { .word = "size",
      .help = "makes it larger or smaller about a point; with two values, across and down",
      .values = (const struct value_spec[]){ { .label = "N",
                                               .type = VALUE_NUMBER,
                                               .may_change = true,
                                               .unit = UNIT_PERCENT,
                                               .least_count = 1,
                                               .most_count = 2,
                                               .limited = true,
                                               .least = SMALLEST_SIZE,
                                               .most = 100 },
                                             { .label = NULL } },
      .repeats = true },
    { .word = "about",
      .help = "the point of the frame that stays where it is in the turns and sizes below; without it, the centre of "
              "the picture's display window",
      .values = (const struct value_spec[]){ { .label = "X Y",
                                               .type = VALUE_NUMBER,
                                               .may_change = true,
                                               .least_count = 2,
                                               .most_count = 2,
                                               PLACE_LIMITS },
                                             { .label = NULL } },
      .repeats = true },
    { .word = "pin",
      .help =
          "where the corners of the display window go, seen as a plane in space: top left, top right, bottom right, "
          "bottom left",
      .values = (const struct value_spec[]){ { .label = "X Y X Y X Y X Y",
                                               .type = VALUE_NUMBER,
                                               .may_change = true,
                                               .least_count = 8,
                                               .most_count = 8,
                                               PLACE_LIMITS },
                                             { .label = NULL } },
      .repeats = true },
    { .word = "crop",
      .help =
          "takes so much off each side of the display window, as the picture lies at this step; what is outside the "
          "window goes too",
      .values = (const struct value_spec[]){ { .label = "LEFT TOP RIGHT BOTTOM",
                                               .type = VALUE_NUMBER,
                                               .may_change = true,
                                               .least_count = 4,
                                               .most_count = 4,
                                               PLACE_LIMITS },
                                             { .label = NULL } },
      .tags = crop_tags,
      .repeats = true },
    { .word = "handheld",
      .help =
          "the unrest of a camera held by hand: the picture wanders by so much (standard deviation; never more than "
          "two and a half times that), slowly for the most part. It follows from seed and frame alone",
      .values = (const struct value_spec[]){ { .label = "N",
                                               .type = VALUE_NUMBER,
                                               .may_change = true,
                                               .unit = UNIT_PX,
                                               .limited = true,
                                               .least = 0,
                                               .most = 1000 },
                                             { .label = NULL } },
      .tags = handheld_tags,
      .repeats = true },
    { .word = "filter",
      .help = "how pixels are made from those around them; all but `nearest` average when the picture gets smaller",
      .values = (const struct value_spec[]){ { .label = "FILTER", .type = VALUE_CHOICE, .choices = filters },
                                             { .label = NULL } },
      .standard = "spline" },
    { .word = "shutter",
      .help = "motion blur from the steps above: how long the shutter is open, about the middle of the frame; 180 deg "
              "is half of it",
      .values = (const struct value_spec[]){ { .label = "N",
                                               .type = VALUE_NUMBER,
                                               .may_change = true,
                                               .unit = UNIT_DEGREES,
                                               .limited = true,
                                               .least = 0,
                                               .most = 720 },
                                             { .label = NULL } },
      .standard = "0 deg" },
    { .help = NULL },
};

/* ---- settings ---------------------------------------------------------------------------------------------------- */

static enum passel_status pin_error(const struct recipe *recipe, const struct value *pin, int32_t frame,
                                    struct passel_error *error)
{
    return recipe_error(
        recipe, pin->where, PASSEL_BAD_RECIPE, error,
        "at frame %d these four corners are no outline of a plane seen from the front: expected top left, "
        "top right, bottom right, bottom left, without a dent and not on one line",
        (int)frame);
}

/* Three unrests that have nothing to do with each other, nor with those of another seed. */
static void read_hand(const struct setting *setting, struct step *step)
{
    const struct value *every = setting_tag_value(setting, "every", 0);
    const struct value *seed = setting_tag_value(setting, "seed", 0);
    for (int i = 0; i < 3; i++) {
        step->unrest[i].seed = 3 * (uint64_t)(int64_t)(seed != NULL ? seed->numbers[0] : 1) + (uint64_t)i;
        step->unrest[i].fastest = every != NULL ? every->numbers[0] : 6;
    }
}

static enum passel_status place_make(const struct block *block, const struct recipe *recipe, const struct shot *shot,
                                     struct arena *arena, void **self, struct passel_error *error)
{
    (void)recipe;
    (void)shot;
    struct place *place = arena_take(arena, sizeof *place);
    struct step *steps = arena_array(arena, (size_t)block->setting_count + 1, sizeof *steps);
    if (place == NULL || steps == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    place->picture = setting_value(block->head, 0);
    place->filter = (enum filter)setting_value(block_setting(block, "filter"), 0)->choice;
    place->shutter = setting_value(block_setting(block, "shutter"), 0);
    place->steps = steps;
    for (int i = 0; i < block->setting_count; i++) {
        if (block->settings[i].spec - settings >= PLACE_FILTER)
            continue;
        struct step *step = &steps[place->count++];
        step->action = (enum action)(block->settings[i].spec - settings);
        step->amount = setting_value(&block->settings[i], 0);
        step->soft = setting_tag_value(&block->settings[i], "soft", 0);
        step->turn = setting_tag_value(&block->settings[i], "turn", 0);
        place->crops += step->action == PLACE_CROP;
        if (step->action == PLACE_HANDHELD) {
            read_hand(&block->settings[i], step);
            place->by_frame = true;
        }
    }
    *self = place;
    return PASSEL_OK;
}

/* ---- one frame --------------------------------------------------------------------------------------------------- */

/* The moment being made, in frames. */
static double now(const struct at *at)
{
    return at->frame + at->beside;
}

static double number(const struct at *at, const struct value *value, int component)
{
    return value_at(value, component, now(at), at->scale);
}

/* The window keeps its place through all steps. In a folded chain inputs[0] is further down, so the own one counts. */
static struct rect window(const struct at *at)
{
    return at->info != NULL ? at->info->display : at->inputs[0].display;
}

/* The point that the step's turn or size leaves alone: that of the last `about` above it. */
static void centre_of(const struct place *place, const struct at *at, int step, double *x, double *y)
{
    const struct rect frame = window(at);
    *x = (frame.x0 + frame.x1) / 2.0;
    *y = (frame.y0 + frame.y1) / 2.0;
    for (int i = step - 1; i >= 0; i--)
        if (place->steps[i].action == PLACE_ABOUT) {
            *x = number(at, place->steps[i].amount, 0);
            *y = number(at, place->steps[i].amount, 1);
            return;
        }
}

/* Behind → before: p = centre + m (q - centre). */
static struct transform about_centre(double xx, double xy, double yx, double yy, double x, double y)
{
    const struct transform t = { { xx, xy, x - (xx * x + xy * y), yx, yy, y - (yx * x + yy * y), 0, 0, 1 } };
    return t;
}

static struct transform turn_back(double degrees, double x, double y)
{
    const double cosine = function_cospi(degrees / 180), sine = function_sinpi(degrees / 180);
    return about_centre(cosine, sine, -sine, cosine, x, y);
}

/* A turn about the centre, then a move. */
static struct transform hand_back(const struct at *at, const struct step *step, double x, double y)
{
    const double amount = number(at, step->amount, 0), turn = step->turn != NULL ? number(at, step->turn, 0) : 0;
    const struct transform move = { { 1, 0, -amount * flicker_at(&step->unrest[0], now(at)), 0, 1,
                                      -amount * flicker_at(&step->unrest[1], now(at)), 0, 0, 1 } };
    return transform_chain(move, turn_back(turn * flicker_at(&step->unrest[2], now(at)), x, y));
}

static enum passel_status pin_back(const struct at *at, const struct value *pin, struct transform *back,
                                   struct passel_error *error)
{
    const struct rect frame = window(at);
    const double width = frame.x1 - frame.x0, height = frame.y1 - frame.y0;
    double corner[8];
    struct transform to_corners, to_square;
    for (int i = 0; i < 8; i++)
        corner[i] = number(at, pin, i);
    if (!square_to_corners(corner, &to_corners) || !transform_invert(to_corners, &to_square))
        return pin_error(at->recipe, pin, at->frame, error);
    const struct transform to_window = { { width, 0, frame.x0, 0, height, frame.y0, 0, 0, 1 } };
    *back = transform_chain(to_square, to_window);
    return PASSEL_OK;
}

/* Where a point that lies at (x, y) behind the step was before it. */
static enum passel_status step_back(const struct place *place, const struct at *at, int index, struct transform *back,
                                    struct passel_error *error)
{
    const struct step *step = &place->steps[index];
    double x, y;
    *back = transform_identity();
    centre_of(place, at, index, &x, &y);
    if (step->action == PLACE_MOVE) {
        back->m[2] = -number(at, step->amount, 0);
        back->m[5] = -number(at, step->amount, 1);
    } else if (step->action == PLACE_TURN) {
        *back = turn_back(number(at, step->amount, 0), x, y);
    } else if (step->action == PLACE_SIZE) {
        const double across = fmax(number(at, step->amount, 0), SMALLEST_SIZE);
        const double down = fmax(number(at, step->amount, 1), SMALLEST_SIZE);
        *back = about_centre(1 / across, 0, 0, 1 / down, x, y);
    } else if (step->action == PLACE_HANDHELD) {
        *back = hand_back(at, step, x, y);
    } else if (step->action == PLACE_PIN) {
        return pin_back(at, step->amount, back, error);
    }
    return PASSEL_OK;
}

static struct crop crop_of(const struct at *at, const struct step *step, const struct transform *rest)
{
    const struct rect frame = window(at);
    const struct crop crop = { *rest,
                               frame.x0 + number(at, step->amount, 0),
                               frame.y0 + number(at, step->amount, 1),
                               frame.x1 - number(at, step->amount, 2),
                               frame.y1 - number(at, step->amount, 3),
                               step->soft != NULL ? fmax(number(at, step->soft, 0), 0) : 0 };
    return crop;
}

/* All steps joined, from the last back to the first: *whole leads from the output to the input. `crops`, when not NULL,
 * has room for place->crops. */
static enum passel_status join_steps(const struct place *place, const struct at *at, struct transform *whole,
                                     struct crop *crops, struct passel_error *error)
{
    *whole = transform_identity();
    for (int i = place->count - 1; i >= 0; i--) {
        struct transform back;
        if (place->steps[i].action == PLACE_CROP && crops != NULL)
            *crops++ = crop_of(at, &place->steps[i], whole);
        RETURN_IF_ERROR(step_back(place, at, i, &back, error));
        *whole = transform_chain(*whole, back);
    }
    return PASSEL_OK;
}

/* Where the corners of the input's data window lie at this moment; false when one is behind the camera. */
static bool corners_at(const struct at *at, double beside, double corner[8])
{
    const struct rect data = at->inputs[0].data;
    struct transform back, there;
    struct at moment = *at;
    moment.beside = beside;
    if (join_steps(at->self, &moment, &back, NULL, NULL) != PASSEL_OK || !transform_invert(back, &there))
        return false;
    corners_of_map(&there, data, corner);
    for (int i = 0; i < 8; i++)
        if (!isfinite(corner[i]))
            return false;
    return true;
}

/* How far the corner that runs furthest gets while the shutter is open. */
static double longest_way(const struct at *at, double open)
{
    double way[4] = { 0 }, before[8], after[8], most = 0;
    if (!corners_at(at, -open / 2, before))
        return MOMENTS_MOST;
    for (int k = 1; k <= PROBES; k++) {
        if (!corners_at(at, open * ((double)k / PROBES - 0.5), after))
            return MOMENTS_MOST;
        for (int i = 0; i < 4; i++) {
            const double dx = after[2 * i] - before[2 * i], dy = after[2 * i + 1] - before[2 * i + 1];
            way[i] += sqrt(dx * dx + dy * dy);
            most = fmax(most, way[i]);
        }
        memcpy(before, after, sizeof before);
    }
    return most;
}

/* Two moments for each pixel that something moves. */
static int place_moments(const struct at *at, double *open)
{
    const struct place *place = at->self;
    *open = value_at(place->shutter, 0, at->frame, 1) / 360;
    const double way = *open > 0 && !rect_empty(at->inputs[0].data) ? longest_way(at, *open) : 0;
    return way > STILL ? (int)fmin(ceil(2 * way) + 1, MOMENTS_MOST) : 1;
}

static bool place_by_frame(const struct at *at)
{
    return ((const struct place *)at->self)->by_frame;
}

static enum passel_status place_asks(const struct at *at, struct ask_list *list, struct passel_error *error)
{
    (void)error;
    const struct place *place = at->self;
    ask_value(list, place->picture, at->frame);
    return PASSEL_OK;
}

static enum passel_status place_transform(const struct at *at, struct transform *t, enum filter *filter,
                                          bool *ends_chain, struct passel_error *error)
{
    const struct place *place = at->self;
    *filter = place->filter;
    *ends_chain = place->crops > 0;
    return join_steps(place, at, t, NULL, error);
}

/* The crops of this frame in `arena`; *whole as join_steps gives it. */
static enum passel_status read_crops(const struct at *at, struct arena *arena, struct transform *whole,
                                     struct crop **crops, struct passel_error *error)
{
    const struct place *place = at->self;
    *crops = arena_array(arena, (size_t)place->crops + 1, sizeof **crops);
    if (*crops == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    return join_steps(place, at, whole, *crops, error);
}

/* The whole pixels around a crop; coordinates far out are cut to the limit. */
static struct rect around_crop(const struct crop *crop)
{
    const double limit = RECT_LIMIT;
    return rect_of(
        (int32_t)floor(fmin(fmax(crop->x0, -limit), limit)), (int32_t)floor(fmin(fmax(crop->y0, -limit), limit)),
        (int32_t)ceil(fmin(fmax(crop->x1, -limit), limit)), (int32_t)ceil(fmin(fmax(crop->y1, -limit), limit)));
}

/* What is covered at one moment. */
static enum passel_status data_at(const struct at *at, struct rect *data, struct passel_error *error)
{
    const struct place *place = at->self;
    struct arena arena = { NULL };
    struct transform whole;
    struct crop *crops;
    const enum passel_status status = read_crops(at, &arena, &whole, &crops, error);
    if (status == PASSEL_OK) {
        *data = transform_reach_out(&whole, place->filter, at->inputs[0].data);
        for (int i = 0; i < place->crops; i++)
            *data = rect_cut(*data, transform_reach_out(&crops[i].rest, FILTER_LINEAR, around_crop(&crops[i])));
    }
    arena_release(&arena);
    return status;
}

static enum passel_status place_info(const struct at *at, struct picture_info *info, struct passel_error *error)
{
    struct at moment = *at;
    double open = 0;
    const int count = place_moments(at, &open);
    struct rect all = { 0 };
    for (int k = 0; k < count; k++) {
        struct rect data;
        moment.beside = count > 1 ? open * ((k + 0.5) / count - 0.5) : 0;
        RETURN_IF_ERROR(data_at(&moment, &data, error));
        all = rect_join(all, data);
    }
    *info = at->inputs[0];
    info->planes |= HAS_A;
    info->whole = false;
    info->chunk_rows = 1;
    info->data = all;
    return PASSEL_OK;
}

/* ---- pixels ------------------------------------------------------------------------------------------------------ */

static double ramp(double distance, double soft)
{
    return fmin(fmax(distance / soft, 0), 1);
}

/* What the crop leaves of a pixel: its covered share, and less within the soft border. */
static float crop_share(const struct crop *crop, const struct coverage *coverage, int32_t x, int32_t y)
{
    const float covered = coverage_of(coverage, x, y);
    if (covered == 0 || crop->soft == 0)
        return covered;
    double px, py;
    transform_point(&crop->rest, x + 0.5, y + 0.5, &px, &py);
    const double across = ramp(fmin(px - crop->x0, crop->x1 - px), crop->soft);
    const double down = ramp(fmin(py - crop->y0, crop->y1 - py), crop->soft);
    return covered * (float)(across * down);
}

static void apply_crop(const struct crop *crop, const struct picture *out)
{
    const struct rect area = out->area;
    const double sides[4] = { crop->x0, crop->y0, crop->x1, crop->y1 };
    struct coverage coverage;
    coverage_init(&coverage, &crop->rest, sides);
    for (int32_t y = area.y0; y < area.y1; y++)
        for (int32_t x = area.x0; x < area.x1; x++) {
            const float share = crop_share(crop, &coverage, x, y);
            for (int plane = 0; share != 1 && plane < PLANE_COUNT; plane++)
                if (out->plane[plane] != NULL)
                    picture_row(out, (enum plane)plane, y)[x - area.x0] *= share;
        }
}

/* Behind the resampling: the crops. */
static enum passel_status place_fill(const struct at *at, const struct picture *in, const struct picture *out,
                                     struct arena *scratch, struct passel_error *error)
{
    const struct place *place = at->self;
    struct transform whole;
    struct crop *crops;
    picture_copy(out, &in[0]);
    RETURN_IF_ERROR(read_crops(at, scratch, &whole, &crops, error));
    for (int i = 0; i < place->crops; i++)
        apply_crop(&crops[i], out);
    return PASSEL_OK;
}

/* ---- descriptor -------------------------------------------------------------------------------------------------- */

const struct kind kind_place = {
    .schema = { .name = "place",
                .summary = "Moves, turns, sizes, pins or crops a picture.",
                .notes =
                    "The steps apply from the top down and are joined, so that the picture is resampled only once. "
                    "Outside of what it covers a placed picture is transparent; along its border the alpha is the "
                    "exact share of each pixel that is covered. A move by whole pixels changes no value.",
                .example = "sign = place sign-clip\n"
                           "  about  412 238 px\n"
                           "  size   62%\n"
                           "  turn   [1001 -4 smooth, 1013 4 smooth, 1025 -4] deg\n"
                           "  move   -35.5 12 px\n",
                .form = HEAD_NAMED,
                .makes = MAKES_PICTURE,
                .head = &head,
                .settings = settings },
    .geometric = true,
    .make = place_make,
    .by_frame = place_by_frame,
    .asks = place_asks,
    .info = place_info,
    .transform = place_transform,
    .moments = place_moments,
    .fill = place_fill,
};
