/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The kind `extend`: a plate made larger. Its own pixels are copied bit by bit, but within `seam` of an edge that is
 * carried on; around them come held edges, a mirror image, or the continued gradient of its light.
 */
#include <inttypes.h>
#include <math.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "kinds/arena_picture.h"
#include "kinds/extend_gradient.h"
#include "kinds/kinds.h"

enum by { BY_EDGE, BY_MIRROR, BY_GRADIENT };
enum keep_word { KEEP_TOP, KEEP_MIDDLE, KEEP_BOTTOM, KEEP_LEFT, KEEP_CENTRE, KEEP_RIGHT, KEEP_COUNT };

struct extend {
    const struct value *to, *at, *seam; /* `at`: keep X Y px, or NULL */
    enum keep_word down, across;
    enum by by;
};

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
    { NULL, NULL },
};

static const struct setting_spec head = {
    .values = (const struct value_spec[]){ { .label = "NAME", .type = VALUE_PICTURE }, { .label = NULL } },
};

static const struct setting_spec settings[] = {
    { .word = "to",
      .help = "the size it grows to",
      .values = (const struct value_spec[]){ { .label = "WIDTHxHEIGHT", .type = VALUE_SIZE }, { .label = NULL } },
      .required = true },
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
    { .word = "by",
      .help = "what is put around it",
      .values = (const struct value_spec[]){ { .label = "HOW", .type = VALUE_CHOICE, .choices = by_choices },
                                             { .label = NULL } },
      .standard = "gradient" },
    { .word = "seam",
      .help =
          "how far into the plate the new light reaches, to hide a bad edge; 0 leaves every pixel of the plate as it "
          "is. Only `by gradient` blends",
      .values =
          (const struct value_spec[]){
              { .label = "WIDTH", .type = VALUE_NUMBER, .unit = UNIT_PX, .limited = true, .least = 0, .most = 4096 },
              { .label = NULL } },
      .standard = "0 px" },
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

static enum passel_status extend_make(const struct block *block, const struct recipe *recipe, const struct shot *shot,
                                      struct arena *arena, void **self, struct passel_error *error)
{
    struct extend *extend = arena_take(arena, sizeof *extend);
    (void)shot;
    if (extend == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    extend->to = setting_value(block_setting(block, "to"), 0);
    extend->seam = setting_value(block_setting(block, "seam"), 0);
    extend->by = (enum by)setting_value(block_setting(block, "by"), 0)->choice;
    extend->down = KEEP_MIDDLE;
    extend->across = KEEP_CENTRE;
    *self = extend;
    return read_keep(extend, block_setting(block, "keep"), recipe, error);
}

/* ---- windows --------------------------------------------------------------------------------------------------- */

/* Where everything lies at this scale: the plate's own pixels in its coordinates and in the output's. */
struct windows {
    struct rect target, plate;
    int32_t dx, dy; /* output = plate's + this */
};

static int32_t share_of(enum keep_word word, int32_t room)
{
    return word == KEEP_TOP || word == KEEP_LEFT ? 0 : word == KEEP_BOTTOM || word == KEEP_RIGHT ? room : room / 2;
}

static enum passel_status windows_find(const struct at *at, const struct picture_info *input, struct windows *windows,
                                       struct passel_error *error)
{
    const struct extend *extend = at->self;
    const struct rect target = rect_reduce(rect_of(0, 0, extend->to->first, extend->to->last), at->scale);
    const int32_t room_x = rect_width(target) - rect_width(input->display);
    const int32_t room_y = rect_height(target) - rect_height(input->display);
    int32_t x = share_of(extend->across, room_x), y = share_of(extend->down, room_y);
    if (room_x < 0 || room_y < 0)
        return recipe_error(at->recipe, extend->to->where, PASSEL_BAD_RECIPE, error,
                            "the plate is %" PRId32 " x %" PRId32 " and does not fit into %" PRId32 " x %" PRId32
                            "; crop it with `place` first",
                            rect_width(input->display) * at->scale, rect_height(input->display) * at->scale,
                            extend->to->first, extend->to->last);
    if (extend->at != NULL) {
        x = (int32_t)floor(value_at(extend->at, 0, at->frame, at->scale));
        y = (int32_t)floor(value_at(extend->at, 1, at->frame, at->scale));
        if (x < 0 || y < 0 || x > room_x || y > room_y)
            return recipe_error(at->recipe, extend->at->where, PASSEL_BAD_RECIPE, error,
                                "there the plate would stick out of %" PRId32 " x %" PRId32, extend->to->first,
                                extend->to->last);
    }
    windows->target = target;
    windows->dx = x - input->display.x0;
    windows->dy = y - input->display.y0;
    windows->plate = rect_shift(rect_cut(input->display, input->data), windows->dx, windows->dy);
    if (rect_empty(windows->plate))
        return error_set(error, PASSEL_BAD_PICTURE, "the plate has no pixels in its frame");
    return PASSEL_OK;
}

static enum passel_status extend_asks(const struct at *at, struct ask_list *list, struct passel_error *error)
{
    (void)error;
    ask_value(list, setting_value(at->block->head, 0), at->frame);
    return PASSEL_OK;
}

static enum passel_status extend_info(const struct at *at, struct picture_info *info, struct passel_error *error)
{
    struct windows windows;
    RETURN_IF_ERROR(windows_find(at, &at->inputs[0], &windows, error));
    *info = (struct picture_info){ .display = windows.target,
                                   .data = windows.target,
                                   .planes = at->inputs[0].planes,
                                   .chunk_rows = 1,
                                   .pixel_aspect = at->inputs[0].pixel_aspect };
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

static int32_t held(int32_t i, int32_t from, int32_t to)
{
    return i < from ? from : i >= to ? to - 1 : i;
}

static int32_t source_of(enum by by, int32_t i, int32_t from, int32_t to)
{
    return by == BY_MIRROR ? mirrored(i, from, to) : held(i, from, to);
}

/* The part of from … to that positions *first … *last need. */
static void source_span(enum by by, int32_t *first, int32_t *last, int32_t from, int32_t to)
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

static struct rect extend_reach(const struct at *at, int ask, struct rect want)
{
    const struct extend *extend = at->self;
    struct windows windows;
    if (windows_find(at, &at->inputs[ask], &windows, NULL) != PASSEL_OK)
        return rect_of(0, 0, 0, 0);
    if (extend->by == BY_GRADIENT)
        return rect_shift(rect_cut(want, windows.plate), -windows.dx, -windows.dy);
    source_span(extend->by, &want.x0, &want.x1, windows.plate.x0, windows.plate.x1);
    source_span(extend->by, &want.y0, &want.y1, windows.plate.y0, windows.plate.y1);
    return rect_shift(want, -windows.dx, -windows.dy);
}

static void fill_from_plate(const struct picture *in, const struct picture *out, const struct windows *windows,
                            enum by by)
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

/* ---- gradient -------------------------------------------------------------------------------------------------- */

static enum passel_status gradient_asks(const struct at *at, struct ask_list *list, struct passel_error *error)
{
    const struct extend *extend = at->self;
    const struct value *plate = setting_value(at->block->head, 0);
    (void)error;
    if (extend->by == BY_GRADIENT)
        ask_add(list, (struct ask){ .block = plate->block,
                                    .picture = plate->picture,
                                    .frame = at->frame,
                                    .planes = HAS_RGBA,
                                    .whole = true });
    return PASSEL_OK;
}

static enum passel_status gradient_add(const struct at *at, int round, const struct picture *pictures,
                                       const struct picture_info *infos, int count, void **work,
                                       struct passel_error *error)
{
    struct windows windows;
    (void)round;
    (void)count;
    RETURN_IF_ERROR(windows_find(at, &infos[0], &windows, error));
    struct gradient *gradient = memory_zeros(1, sizeof *gradient);
    if (gradient == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    *work = gradient;
    const struct picture own = picture_part(&pictures[0], rect_shift(windows.plate, -windows.dx, -windows.dy));
    return gradient_learn(gradient, &own, windows.dx, windows.dy, windows.target, error);
}

static enum passel_status gradient_finish(const struct at *at, void *work, void **found, size_t *bytes,
                                          struct passel_error *error)
{
    const struct gradient *gradient = work;
    struct gradient *kept = memory_zeros(1, sizeof *kept);
    (void)at;
    if (kept == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    *kept = *gradient;
    *(struct gradient *)work = (struct gradient){ 0 };
    *found = kept;
    *bytes = gradient_bytes(kept);
    return PASSEL_OK;
}

static void gradient_drop(void *gradient)
{
    if (gradient != NULL)
        gradient_release(gradient);
    memory_free(gradient);
}

static const struct analysis gradient_analysis = {
    .settings_matter = false,
    .asks = gradient_asks,
    .add = gradient_add,
    .finish = gradient_finish,
    .drop_work = gradient_drop,
    .drop_found = gradient_drop,
};

/* How much of the plate shows at a pixel inside it: 0 at an edge that is carried on … 1 from `seam` on. */
static float plate_share(const struct windows *windows, int32_t x, int32_t y, float seam)
{
    const struct rect plate = windows->plate, target = windows->target;
    int32_t depth = RECT_LIMIT;
    if (plate.x0 > target.x0 && x - plate.x0 < depth)
        depth = x - plate.x0;
    if (plate.x1 < target.x1 && plate.x1 - 1 - x < depth)
        depth = plate.x1 - 1 - x;
    if (plate.y0 > target.y0 && y - plate.y0 < depth)
        depth = y - plate.y0;
    if (plate.y1 < target.y1 && plate.y1 - 1 - y < depth)
        depth = plate.y1 - 1 - y;
    const float share = ((float)depth + 0.5F) / seam;
    return share >= 1 ? 1 : share * share * (3 - 2 * share);
}

/* Rows of scratch, as wide as what is being filled. */
static enum passel_status rows_new(struct gradient_row *row, const struct picture *out, struct arena *scratch,
                                   struct passel_error *error)
{
    const int32_t width = rect_width(out->area);
    *row = (struct gradient_row){ 0 };
    for (int p = 0; p < PLANE_COUNT; p++) {
        if (out->plane[p] == NULL)
            continue;
        row->smooth[p] = arena_row(scratch, width);
        if (p < 3)
            row->grain[p] = arena_row(scratch, width);
        if (row->smooth[p] == NULL || (p < 3 && row->grain[p] == NULL))
            return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    }
    return PASSEL_OK;
}

static void fill_new(const struct gradient *gradient, const struct picture *out, const struct gradient_row *row,
                     int32_t x0, int32_t x1, int32_t y)
{
    if (x0 >= x1)
        return;
    gradient_render(gradient, x0, y, x1 - x0, row);
    for (int p = 0; p < PLANE_COUNT; p++) {
        if (out->plane[p] == NULL)
            continue;
        float *to = picture_row(out, (enum plane)p, y) + (x0 - out->area.x0);
        for (int32_t i = 0; i < x1 - x0; i++)
            to[i] = p < 3 ? row->smooth[p][i] + row->grain[p][i] : row->smooth[p][i];
    }
}

static void copy_own(const struct picture *in, const struct picture *out, const struct windows *windows, int32_t x0,
                     int32_t x1, int32_t y)
{
    for (int p = 0; p < PLANE_COUNT; p++) {
        if (out->plane[p] == NULL)
            continue;
        const float *from = picture_row(in, (enum plane)p, y - windows->dy) + (x0 - windows->dx - in->area.x0);
        memcpy(picture_row(out, (enum plane)p, y) + (x0 - out->area.x0), from, (size_t)(x1 - x0) * sizeof *from);
    }
}

/* Blends new light into the plate's own: light is mixed, and just as much grain added as the mixing took. */
static void blend_seam(const struct gradient *gradient, const struct picture *out, const struct windows *windows,
                       const struct gradient_row *row, int32_t x0, int32_t x1, int32_t y, float seam)
{
    gradient_render(gradient, x0, y, x1 - x0, row);
    for (int p = 0; p < PLANE_COUNT; p++) {
        float *to = out->plane[p] == NULL ? NULL : picture_row(out, (enum plane)p, y) + (x0 - out->area.x0);
        for (int32_t i = 0; to != NULL && i < x1 - x0; i++) {
            const float share = plate_share(windows, x0 + i, y, seam);
            if (share < 1)
                to[i] = share * to[i] + (1 - share) * row->smooth[p][i];
            if (share < 1 && p < 3)
                to[i] += sqrtf(1 - share * share) * row->grain[p][i];
        }
    }
}

static enum passel_status fill_gradient(const struct at *at, const struct picture *in, const struct picture *out,
                                        const struct windows *windows, struct arena *scratch,
                                        struct passel_error *error)
{
    const struct extend *extend = at->self;
    const struct rect area = out->area;
    const float seam = (float)value_at(extend->seam, 0, at->frame, at->scale);
    struct gradient_row row;
    RETURN_IF_ERROR(rows_new(&row, out, scratch, error));
    for (int32_t y = area.y0; y < area.y1; y++) {
        const struct rect own = rect_cut(windows->plate, rect_of(area.x0, y, area.x1, y + 1));
        if (rect_empty(own)) {
            fill_new(at->found, out, &row, area.x0, area.x1, y);
            continue;
        }
        fill_new(at->found, out, &row, area.x0, own.x0, y);
        fill_new(at->found, out, &row, own.x1, area.x1, y);
        copy_own(in, out, windows, own.x0, own.x1, y);
        if (seam > 0)
            blend_seam(at->found, out, windows, &row, own.x0, own.x1, y, seam);
    }
    return PASSEL_OK;
}

static enum passel_status extend_fill(const struct at *at, const struct picture *in, const struct picture *out,
                                      struct arena *scratch, struct passel_error *error)
{
    const struct extend *extend = at->self;
    struct windows windows;
    RETURN_IF_ERROR(windows_find(at, &at->inputs[0], &windows, error));
    if (extend->by == BY_GRADIENT)
        return fill_gradient(at, &in[0], out, &windows, scratch, error);
    fill_from_plate(&in[0], out, &windows, extend->by);
    return PASSEL_OK;
}

const struct kind kind_extend = {
    .schema = {
        .name = "extend",
        .summary = "a plate made larger than it was filmed",
        .notes = "The plate keeps its pixels and gets new surroundings. `by gradient` carries the light of a sky, a wall "
                 "or a glow on past the edge, in value and in slope, and lays the plate's own kind of grain over it: a "
                 "still gets one grain, the frames of a moving plate each their own.",
        .example = "sky = extend dusk\n"
                   "  to    1920x1080\n"
                   "  keep  bottom\n"
                   "  by    gradient\n",
        .form = HEAD_NAMED,
        .makes = MAKES_PICTURE,
        .head = &head,
        .settings = settings,
    },
    .analysis = &gradient_analysis,
    .make = extend_make,
    .asks = extend_asks,
    .info = extend_info,
    .reach = extend_reach,
    .fill = extend_fill,
};
