/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The kind `extend`: a plate made larger, or a hole in it filled. Its own pixels are copied bit by bit, but within
 * `seam` of an edge that is carried on; around them come held edges, a mirror image, the continued gradient of its
 * light, more of its texture, or another plate. This file has the settings, the windows, and the two ways that only
 * copy pixels; extend_solve.c finds the light of the others and extend_fill.c lays it in.
 */
#include <inttypes.h>
#include <math.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "kinds/extend.h"
#include "kinds/kinds.h"
#include "numerics/between.h"

#define TEXTURE_SEAM 24 /* the usual seam's part of the longer side */

static const struct choice keep_choices[] = {
    [KEEP_TOP] = { "top", "the plate stays at the top" },
    [KEEP_MIDDLE] = { "middle", "half way down" },
    [KEEP_BOTTOM] = { "bottom", "at the bottom" },
    [KEEP_LEFT] = { "left", "at the left" },
    [KEEP_CENTRE] = { "centre", "half way across" },
    [KEEP_RIGHT] = { "right", "at the right" },
    { NULL, NULL },
};

static const struct choice by_choices[] = {
    [BY_EDGE] = { "edge", "the outermost pixels are held" },
    [BY_MIRROR] = { "mirror", "the plate is mirrored at its edges, as often as needed" },
    [BY_GRADIENT] = { "gradient",
                      "the slow change of light is carried on, with the plate's grain: for skies and glows" },
    [BY_TEXTURE] = { "texture",
                     "clouds, rock or leaves of the plate are laid anew beside each other, on the slow change of its "
                     "light" },
    [BY_PLATE] = { "plate", "the picture named behind it, brought to the plate's brightness and colour where both are, "
                            "and joined "
                            "without a seam: an empty, for a hole; a wider painting, for a frame" },
    { NULL, NULL },
};

static const struct choice switch_choices[] = {
    { "off", "the light is left clean" },
    { "on", "grain like the plate's" },
    { NULL, NULL },
};

static const struct setting_spec head = {
    .values = (const struct value_spec[]){ { .label = "NAME", .type = VALUE_PICTURE }, { .label = NULL } },
};

static const struct setting_spec settings[] = {
    { .word = "to",
      .help = "the size it grows to; without it the plate keeps its size, and only holes are filled",
      .values = (const struct value_spec[]){ { .label = "WIDTHxHEIGHT", .type = VALUE_SIZE }, { .label = NULL } } },
    { .word = "keep",
      .help = "where the plate stays: one of top, middle, bottom and one of left, centre, right; what is not named is "
              "centred, an odd pixel goes to the right or bottom",
      .values =
          (const struct value_spec[]){
              { .label = "WHERE", .type = VALUE_CHOICE, .choices = keep_choices },
              { .label = "WHERE", .type = VALUE_CHOICE, .choices = keep_choices, .optional = true },
              { .label = NULL } } },
    { .word = "keep",
      .help = "where the plate's top left corner lies",
      .values =
          (const struct value_spec[]){
              { .label = "X Y", .type = VALUE_NUMBER, .unit = UNIT_PX, .least_count = 2, .most_count = 2 },
              { .label = NULL } } },
    { .word = "fill",
      .help =
          "a hole in the plate, where this picture's alpha is above 0: a rig, a wire, a stand. What a hole that moves "
          "uncovers in other frames is put in from there",
      .values = (const struct value_spec[]){ { .label = "SHAPE", .type = VALUE_PICTURE }, { .label = NULL } } },
    { .word = "by",
      .help = "what is put there",
      .values = (const struct value_spec[]){ { .label = "HOW", .type = VALUE_CHOICE, .choices = by_choices },
                                             { .label = "NAME", .type = VALUE_PICTURE, .optional = true },
                                             { .label = NULL } },
      .standard = "gradient" },
    { .word = "grain",
      .help =
          "whether the plate's grain is measured and laid onto new light; `edge` and `mirror` repeat the plate's own",
      .values = (const struct value_spec[]){ { .label = "SWITCH", .type = VALUE_CHOICE, .choices = switch_choices },
                                             { .label = NULL } },
      .standard = "on" },
    { .word = "seam",
      .help =
          "how far into the plate the new light reaches at an edge, to hide it; 0 leaves every pixel of the plate as "
          "it is. When not given: 0 px, but by `texture`, whose pieces do not meet the plate's own, a twenty-fourth "
          "of the frame's longer side. `edge` and `mirror` do not blend; the edge of a hole is as soft as its shape",
      .values =
          (const struct value_spec[]){
              { .label = "WIDTH", .type = VALUE_NUMBER, .unit = UNIT_PX, .limited = true, .least = 0, .most = 4096 },
              { .label = NULL } } },
    { .help = NULL },
};

/* ---- make ------------------------------------------------------------------------------------------------------ */

static bool names_down(int choice)
{
    return choice <= KEEP_BOTTOM;
}

static enum passel_status read_keep(struct extend *extend, const struct setting *keep, const struct recipe *recipe,
                                    struct passel_error *error)
{
    const struct value *first = setting_value(keep, 0), *second = setting_value(keep, 1);
    if (first == NULL)
        return PASSEL_OK;
    if (first->spec->type == VALUE_NUMBER) {
        extend->at = first;
        return PASSEL_OK;
    }
    const struct value *values[2] = { first, second };
    if (second != NULL && names_down(first->choice) == names_down(second->choice))
        return recipe_error(recipe, second->where, PASSEL_BAD_RECIPE, error,
                            "one word for up and down (top, middle, bottom) and one for left and right (left, centre, "
                            "right)");
    for (int i = 0; i < 2 && values[i] != NULL; i++) {
        if (names_down(values[i]->choice))
            extend->down = (enum keep_word)values[i]->choice;
        else
            extend->across = (enum keep_word)values[i]->choice;
    }
    return PASSEL_OK;
}

static enum passel_status check_ways(const struct extend *extend, const struct recipe *recipe,
                                     struct passel_error *error)
{
    if ((extend->by == BY_PLATE) != (extend->other != NULL))
        return recipe_error(recipe, extend->by_where, PASSEL_BAD_RECIPE, error,
                            extend->by == BY_PLATE ? "expected the picture that fills the rest: `by plate NAME`"
                                                   : "only `by plate` takes a picture");
    if (extend->hole != NULL && extend->by < BY_GRADIENT)
        return recipe_error(
            recipe, extend->by_where, PASSEL_BAD_RECIPE, error,
            "a hole is filled by gradient, texture or plate; edge and mirror are for the frame's edges");
    if (extend->hole == NULL && extend->to == NULL)
        return recipe_error(
            recipe, extend->plate->where, PASSEL_BAD_RECIPE, error,
            "nothing is done to the plate: `to WIDTHxHEIGHT` makes it larger, `fill SHAPE` fills a hole");
    return PASSEL_OK;
}

static enum passel_status extend_make(const struct block *block, const struct recipe *recipe, const struct shot *shot,
                                      struct arena *arena, void **self, struct passel_error *error)
{
    struct extend *extend = arena_take(arena, sizeof *extend);
    (void)shot;
    if (extend == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    const struct setting *by = block_setting(block, "by");
    const struct value *other = setting_value(by, 1);
    extend->plate = setting_value(block->head, 0);
    extend->to = setting_value(block_setting(block, "to"), 0);
    extend->hole = setting_value(block_setting(block, "fill"), 0);
    extend->seam = setting_value(block_setting(block, "seam"), 0);
    extend->grain = strcmp(value_choice(setting_value(block_setting(block, "grain"), 0)), "on") == 0;
    extend->by = (enum extend_by)setting_value(by, 0)->choice;
    extend->by_where = by->given ? by->where : block->where;
    extend->other = other != NULL && other->spec != NULL ? other : NULL;
    extend->down = KEEP_MIDDLE;
    extend->across = KEEP_CENTRE;
    *self = extend;
    RETURN_IF_ERROR(check_ways(extend, recipe, error));
    return read_keep(extend, block_setting(block, "keep"), recipe, error);
}

/* ---- windows --------------------------------------------------------------------------------------------------- */

static int32_t share_of(enum keep_word word, int32_t room)
{
    return word == KEEP_TOP || word == KEEP_LEFT ? 0 : word == KEEP_BOTTOM || word == KEEP_RIGHT ? room : room / 2;
}

static struct rect target_of(const struct at *at, const struct rect display)
{
    const struct extend *extend = at->self;
    return extend->to == NULL ? display : rect_reduce(rect_of(0, 0, extend->to->first, extend->to->last), at->scale);
}

static enum passel_status find_place(const struct at *at, struct rect display, struct rect target, int32_t *x,
                                     int32_t *y, struct passel_error *error)
{
    const struct extend *extend = at->self;
    const int32_t room_x = rect_width(target) - rect_width(display);
    const int32_t room_y = rect_height(target) - rect_height(display);
    *x = share_of(extend->across, room_x);
    *y = share_of(extend->down, room_y);
    if (room_x < 0 || room_y < 0)
        return recipe_error(at->recipe, extend->to->where, PASSEL_BAD_RECIPE, error,
                            "the plate is %" PRId32 " x %" PRId32 " and does not fit into %" PRId32 " x %" PRId32
                            "; crop it with `place` first",
                            rect_width(display) * at->scale, rect_height(display) * at->scale, extend->to->first,
                            extend->to->last);
    if (extend->at == NULL)
        return PASSEL_OK;
    *x = (int32_t)floor(value_at(extend->at, 0, at->frame, at->scale));
    *y = (int32_t)floor(value_at(extend->at, 1, at->frame, at->scale));
    if (*x < 0 || *y < 0 || *x > room_x || *y > room_y)
        return recipe_error(at->recipe, extend->at->where, PASSEL_BAD_RECIPE, error,
                            "there the plate would stick out of %" PRId32 " x %" PRId32, rect_width(target) * at->scale,
                            rect_height(target) * at->scale);
    return PASSEL_OK;
}

enum passel_status windows_find(const struct at *at, const struct picture_info *input, struct windows *windows,
                                struct passel_error *error)
{
    const struct rect target = target_of(at, input->display);
    int32_t x, y;
    RETURN_IF_ERROR(find_place(at, input->display, target, &x, &y, error));
    windows->target = target;
    windows->dx = target.x0 + x - input->display.x0;
    windows->dy = target.y0 + y - input->display.y0;
    windows->plate = rect_shift(rect_cut(input->display, input->data), windows->dx, windows->dy);
    return PASSEL_OK;
}

enum passel_status other_shift(const struct at *at, const struct picture_info *plate, const struct picture_info *other,
                               int32_t *dx, int32_t *dy, struct passel_error *error)
{
    const struct extend *extend = at->self;
    struct windows windows;
    RETURN_IF_ERROR(windows_find(at, plate, &windows, error));
    const int32_t width = rect_width(other->display), height = rect_height(other->display);
    if (width == rect_width(windows.target) && height == rect_height(windows.target)) {
        *dx = windows.target.x0 - other->display.x0;
        *dy = windows.target.y0 - other->display.y0;
        return PASSEL_OK;
    }
    if (width != rect_width(plate->display) || height != rect_height(plate->display))
        return recipe_error(at->recipe, extend->other->where, PASSEL_BAD_RECIPE, error,
                            "this picture is %" PRId32 " x %" PRId32 "; it must be as large as the enlarged frame "
                            "(%" PRId32 " x %" PRId32 ") or as the plate; `place` brings it there",
                            width * at->scale, height * at->scale, rect_width(windows.target) * at->scale,
                            rect_height(windows.target) * at->scale);
    *dx = windows.dx + plate->display.x0 - other->display.x0;
    *dy = windows.dy + plate->display.y0 - other->display.y0;
    return PASSEL_OK;
}

/* Clouds that end in the plate's own edge show it as a line, however well the pieces fit. */
float extend_seam(const struct at *at)
{
    const struct extend *extend = at->self;
    if (extend->seam != NULL)
        return (float)value_at(extend->seam, 0, at->frame, at->scale);
    if (extend->by != BY_TEXTURE || extend->to == NULL)
        return 0;
    const int32_t longer = extend->to->first > extend->to->last ? extend->to->first : extend->to->last;
    return (float)longer / (float)(TEXTURE_SEAM * at->scale);
}

/* ---- asks ------------------------------------------------------------------------------------------------------ */

struct extend_asks extend_asks_of(const struct extend *extend, int picture)
{
    struct extend_asks asks = { .plate = 0, .level = -1, .hole = -1, .other = -1, .other_level = -1 };
    int next = 1;
    if (picture == PICTURE_OTHER_LEVEL)
        return asks;
    if (picture == 0 && extend->by >= BY_GRADIENT)
        asks.level = next++;
    if (extend->hole != NULL)
        asks.hole = next++;
    if (picture == 0 && extend->other != NULL) {
        asks.other = next++;
        asks.other_level = next++;
    }
    return asks;
}

static void ask_levels(const struct at *at, struct ask_list *list, int picture)
{
    ask_add(list, (struct ask){
                      .block = at->block, .picture = picture, .frame = at->frame, .planes = HAS_RGBA, .whole = true });
}

static void ask_planes(struct ask_list *list, const struct value *value, int32_t frame, unsigned planes)
{
    ask_add(list, (struct ask){ .block = value->block, .picture = value->picture, .frame = frame, .planes = planes });
}

/* In the order of extend_asks_of. */
static enum passel_status extend_asks(const struct at *at, struct ask_list *list, struct passel_error *error)
{
    const struct extend *extend = at->self;
    const struct extend_asks asks = extend_asks_of(extend, at->picture);
    (void)error;
    if (at->picture < 0)
        ask_planes(list, at->picture == PICTURE_LEVEL ? extend->plate : extend->other, at->frame, HAS_RGB);
    else
        ask_value(list, extend->plate, at->frame);
    if (asks.level >= 0)
        ask_levels(at, list, PICTURE_LEVEL);
    if (asks.hole >= 0)
        ask_planes(list, extend->hole, at->frame, HAS_A);
    if (asks.other >= 0)
        ask_planes(list, extend->other, at->frame, PLANES_AS_WANTED);
    if (asks.other_level >= 0)
        ask_levels(at, list, PICTURE_OTHER_LEVEL);
    return PASSEL_OK;
}

/* The pixels whose light a picture of cells tells, in coordinates of its input. */
static enum passel_status level_area(const struct at *at, struct rect *area, struct passel_error *error)
{
    struct windows windows;
    *area = rect_cut(at->inputs[0].data, at->inputs[0].display);
    if (at->picture == PICTURE_OTHER_LEVEL)
        return PASSEL_OK;
    RETURN_IF_ERROR(windows_find(at, &at->inputs[0], &windows, error));
    *area = rect_shift(windows.plate, -windows.dx, -windows.dy);
    return PASSEL_OK;
}

static enum passel_status extend_info(const struct at *at, struct picture_info *info, struct passel_error *error)
{
    struct windows windows;
    struct rect area;
    *info = (struct picture_info){ .planes = HAS_RGBA, .chunk_rows = 1, .pixel_aspect = at->inputs[0].pixel_aspect };
    if (at->picture < 0) {
        RETURN_IF_ERROR(level_area(at, &area, error));
        info->display = info->data = level_window(area, level_cell(at->scale));
        return PASSEL_OK;
    }
    RETURN_IF_ERROR(windows_find(at, &at->inputs[0], &windows, error));
    info->display = windows.target;
    if (!rect_empty(windows.plate)) /* a plate that shows nothing has nothing to go on with */
        info->data = windows.target;
    info->planes = at->inputs[0].planes;
    return PASSEL_OK;
}

/* ---- edge and mirror ------------------------------------------------------------------------------------------- */

/* Position `i` seen in a row of mirrors around from … to. */
static int32_t mirrored(int32_t i, int32_t from, int32_t to)
{
    const int32_t count = to - from;
    int32_t turn = (i - from) % (2 * count);
    if (turn < 0)
        turn += 2 * count;
    return from + (turn < count ? turn : 2 * count - 1 - turn);
}

static int32_t source_of(enum extend_by by, int32_t i, int32_t from, int32_t to)
{
    return by == BY_MIRROR ? mirrored(i, from, to) : place_between(i, from, to - 1);
}

/* The part of from … to that positions *first … *last need. */
static void source_span(enum extend_by by, int32_t *first, int32_t *last, int32_t from, int32_t to)
{
    const int32_t a = source_of(by, *first, from, to), b = source_of(by, *last - 1, from, to);
    const int32_t far = RECT_LIMIT / (to - from) + 1;
    const bool one_image = (*first - from) / (to - from) + far == (*last - 1 - from) / (to - from) + far;
    if (by == BY_MIRROR && (!one_image || *first < from)) {
        *first = from;
        *last = to;
    } else {
        *first = a < b ? a : b;
        *last = (a < b ? b : a) + 1;
    }
}

static struct rect other_reach(const struct at *at, const struct picture_info *other, struct rect want)
{
    int32_t dx, dy;
    if (other_shift(at, &at->inputs[0], other, &dx, &dy, NULL) != PASSEL_OK)
        return rect_of(0, 0, 0, 0);
    return rect_shift(want, -dx, -dy);
}

static struct rect extend_reach(const struct at *at, int ask, struct rect want)
{
    const struct extend *extend = at->self;
    const struct extend_asks asks = extend_asks_of(extend, at->picture);
    struct windows windows;
    struct rect area;
    if (at->picture < 0)
        return level_area(at, &area, NULL) == PASSEL_OK ? level_pixels(area, level_cell(at->scale), want)
                                                        : rect_of(0, 0, 0, 0);
    if (windows_find(at, &at->inputs[0], &windows, NULL) != PASSEL_OK || rect_empty(windows.plate))
        return rect_of(0, 0, 0, 0);
    if (ask == asks.other)
        return other_reach(at, &at->inputs[ask], want);
    if (extend->by >= BY_GRADIENT)
        return rect_shift(rect_cut(want, windows.plate), -windows.dx, -windows.dy);
    source_span(extend->by, &want.x0, &want.x1, windows.plate.x0, windows.plate.x1);
    source_span(extend->by, &want.y0, &want.y1, windows.plate.y0, windows.plate.y1);
    return rect_shift(want, -windows.dx, -windows.dy);
}

static void fill_from_plate(const struct picture *in, const struct picture *out, const struct windows *windows,
                            enum extend_by by)
{
    const struct rect plate = windows->plate;
    for (int p = 0; p < PLANE_COUNT; p++) {
        for (int32_t y = out->area.y0; out->plane[p] != NULL && y < out->area.y1; y++) {
            const int32_t from_y = source_of(by, y, plate.y0, plate.y1) - windows->dy;
            const float *from = picture_row(in, (enum plane)p, from_y) - in->area.x0 - windows->dx;
            float *to = picture_row(out, (enum plane)p, y) - out->area.x0;
            for (int32_t x = out->area.x0; x < out->area.x1; x++)
                to[x] = from[source_of(by, x, plate.x0, plate.x1)];
        }
    }
}

static enum passel_status extend_fill(const struct at *at, const struct picture *in, const struct picture *out,
                                      struct arena *scratch, struct passel_error *error)
{
    const struct extend *extend = at->self;
    const struct extend_asks asks = extend_asks_of(extend, at->picture);
    struct windows windows;
    struct rect area;
    if (at->picture < 0) {
        RETURN_IF_ERROR(level_area(at, &area, error));
        level_measure(&in[0], asks.hole >= 0 ? &in[asks.hole] : NULL, area, level_cell(at->scale), out);
        return PASSEL_OK;
    }
    if (extend->by >= BY_GRADIENT)
        return extend_fill_solved(at, in, out, scratch, error);
    RETURN_IF_ERROR(windows_find(at, &at->inputs[0], &windows, error));
    fill_from_plate(&in[0], out, &windows, extend->by);
    return PASSEL_OK;
}

const struct kind kind_extend = {
    .schema = {
        .name = "extend",
        .summary = "A plate made larger than it was filmed, or a hole in it filled.",
        .notes = "The plate keeps its pixels and gets new surroundings; `fill` puts the same into a hole. `by gradient` "
                 "carries the light of a sky, a wall or a glow on past the edge, in value and in slope. `by texture` lays "
                 "pieces of the plate beside each other where they fit. `by plate` takes another picture, which lies in "
                 "the enlarged frame, or on the plate when it is only as large as that. The plate's grain is laid over "
                 "what is new: a still gets one grain, the frames of a moving plate each their own. The fill is found "
                 "once, from up to nine frames spread over the shot; in every frame it is as bright as the plate along "
                 "the border is just then, so it follows a flash and does not boil.",
        .example = "sky = extend dusk\n"
                   "  to    1920x1080\n"
                   "  keep  bottom\n"
                   "  by    gradient\n"
                   "\n"
                   "clean = extend set\n"
                   "  fill  rig\n"
                   "  by    plate empty\n",
        .form = HEAD_NAMED,
        .makes = MAKES_PICTURE,
        .head = &head,
        .settings = settings,
    },
    .analysis = &extend_analysis,
    .make = extend_make,
    .asks = extend_asks,
    .info = extend_info,
    .reach = extend_reach,
    .fill = extend_fill,
};
