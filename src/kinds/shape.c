/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The kind `shape`: a matte from polygons and ellipses whose points may move over the frames.
 *
 * Without feather a pixel holds the exact share of it that is covered. With a feather of a pixel or more it follows the
 * distance of the pixel's centre from the outline; a feather between 0 and 1 blends the two, so that it can grow from 0
 * without a jump. Rows are always computed over the whole data window: the bits do not depend on the tile.
 */
#include <math.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "kinds/kinds.h"
#include "kinds/shot.h"
#include "numerics/polygon.h"

enum feather_side { FEATHER_INSIDE, FEATHER_OUTSIDE, FEATHER_BOTH };

struct figure {
    const struct value *points; /* of a polygon, or centre and radii */
    const struct value *turn;   /* of an ellipse, or NULL */
    bool ellipse;
};

struct shape {
    const struct figure *figures;
    int count;
    const struct value *feather;
    enum feather_side side;
};

struct shape_frame {
    int count;
    double feather; /* pixels */
    struct rect around;
    struct polygon *polygons;
    double *points; /* of all polygons */
};

enum { MOST_POINTS = 512 };

#define PLACE_LIMITS .unit = UNIT_PX, .limited = true, .least = -100000, .most = 100000

static const struct tag_spec ellipse_tags[] = {
    { .word = "turn",
      .help = "turns the ellipse clockwise about its centre",
      .values =
          (const struct value_spec[]){ { .label = "N", .type = VALUE_NUMBER, .may_change = true, .unit = UNIT_DEGREES },
                                       { .label = NULL } } },
    { .word = NULL },
};

/* In the order of enum feather_side. */
static const struct choice feather_sides[] = {
    { "inside", "from 0 on the outline to 1 so far inside it" },
    { "outside", "from 1 on the outline to 0 so far outside it" },
    { NULL, NULL },
};

static const struct setting_spec settings[] = {
    { .word = "polygon",
      .help = "three corners or more, in order round the outline; the last is joined to the first",
      .values = (const struct value_spec[]){ { .label = "X Y X Y X Y …",
                                               .type = VALUE_NUMBER,
                                               .may_change = true,
                                               .least_count = 6,
                                               .most_count = 2 * MOST_POINTS,
                                               PLACE_LIMITS },
                                             { .label = NULL } },
      .repeats = true },
    { .word = "ellipse",
      .help = "the centre, and the radii across and down",
      .values = (const struct value_spec[]){ { .label = "X Y RX RY",
                                               .type = VALUE_NUMBER,
                                               .may_change = true,
                                               .least_count = 4,
                                               .most_count = 4,
                                               PLACE_LIMITS },
                                             { .label = NULL } },
      .tags = ellipse_tags,
      .repeats = true },
    { .word = "feather",
      .help = "a soft edge so wide; half of it on either side of the outline when no side is named",
      .values = (const struct value_spec[]){ { .label = "N",
                                               .type = VALUE_NUMBER,
                                               .may_change = true,
                                               .unit = UNIT_PX,
                                               .limited = true,
                                               .least = 0,
                                               .most = 4000 },
                                             { .label = NULL } },
      .operators = feather_sides,
      .standard = "0 px" },
    { .help = NULL },
};

static int number_count(const struct value *value)
{
    return value->track != NULL ? value->track->width : value->curve != NULL ? 1 : value->count;
}

static enum passel_status check_figure(const struct recipe *recipe, const struct figure *figure,
                                       struct passel_error *error)
{
    const int count = number_count(figure->points);
    if (figure->ellipse && count == 4)
        return PASSEL_OK;
    if (!figure->ellipse && count >= 6 && count % 2 == 0)
        return PASSEL_OK;
    return recipe_error(recipe, figure->points->where, PASSEL_BAD_RECIPE, error,
                        figure->ellipse ? "expected X Y RX RY: four numbers, not %d"
                                        : "expected an X and a Y for each of three corners or more, not %d numbers",
                        count);
}

static enum passel_status shape_make(const struct block *block, const struct recipe *recipe, const struct shot *shot,
                                     struct arena *arena, void **self, struct passel_error *error)
{
    (void)shot;
    struct shape *shape = arena_take(arena, sizeof *shape);
    struct figure *figures = arena_array(arena, (size_t)block->setting_count + 1, sizeof *figures);
    if (shape == NULL || figures == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    shape->figures = figures;
    for (int i = 0; i < block->setting_count; i++) {
        const struct setting *setting = &block->settings[i];
        if (strcmp(setting->spec->word, "feather") == 0)
            continue;
        struct figure *figure = &figures[shape->count++];
        figure->ellipse = strcmp(setting->spec->word, "ellipse") == 0;
        figure->points = setting_value(setting, 0);
        figure->turn = setting_tag_value(setting, "turn", 0);
        RETURN_IF_ERROR(check_figure(recipe, figure, error));
    }
    if (shape->count == 0)
        return recipe_error(recipe, block->where, PASSEL_BAD_RECIPE, error,
                            "a shape needs a `polygon` or an `ellipse`");
    const struct setting *feather = block_setting(block, "feather");
    shape->feather = setting_value(feather, 0);
    shape->side = feather->operator_index >= 0 ? (enum feather_side)feather->operator_index : FEATHER_BOTH;
    *self = shape;
    return PASSEL_OK;
}

/* ---- one frame --------------------------------------------------------------------------------------------------- */

static double number(const struct at *at, const struct value *value, int component)
{
    return value != NULL ? value_at(value, component, at->frame, at->scale) : 0;
}

/* How far a polygon may run inside its ellipse: a soft edge hides more than a hard one. */
static double tolerance(double feather)
{
    return feather >= 1 ? 1.0 / 64 : 1.0 / 1024;
}

static int point_count(const struct at *at, const struct figure *figure, double feather)
{
    if (!figure->ellipse)
        return number_count(figure->points) / 2;
    return polygon_ellipse_points(number(at, figure->points, 2), number(at, figure->points, 3), tolerance(feather));
}

static void place_points(const struct at *at, const struct figure *figure, int count, double *points)
{
    if (figure->ellipse) {
        polygon_ellipse(number(at, figure->points, 0), number(at, figure->points, 1), number(at, figure->points, 2),
                        number(at, figure->points, 3), number(at, figure->turn, 0), count, points);
        return;
    }
    for (int i = 0; i < 2 * count; i++)
        points[i] = number(at, figure->points, i);
}

static struct rect polygon_box(const struct polygon *polygon)
{
    double x0 = INFINITY, y0 = INFINITY, x1 = -INFINITY, y1 = -INFINITY;
    for (int i = 0; i < polygon->count; i++) {
        x0 = fmin(x0, polygon->points[2 * i]);
        x1 = fmax(x1, polygon->points[2 * i]);
        y0 = fmin(y0, polygon->points[2 * i + 1]);
        y1 = fmax(y1, polygon->points[2 * i + 1]);
    }
    return rect_of((int32_t)floor(x0), (int32_t)floor(y0), (int32_t)ceil(x1), (int32_t)ceil(y1));
}

static void shape_close(void *state, struct text *notes)
{
    (void)notes;
    struct shape_frame *frame = state;
    if (frame == NULL)
        return;
    memory_free(frame->polygons);
    memory_free(frame->points);
    memory_free(frame);
}

static bool make_polygons(const struct shape *shape, const struct at *at, struct shape_frame *frame)
{
    size_t total = 0;
    frame->count = shape->count;
    frame->polygons = memory_zeros((size_t)shape->count, sizeof *frame->polygons);
    if (frame->polygons == NULL)
        return false;
    for (int i = 0; i < shape->count; i++) {
        frame->polygons[i].count = point_count(at, &shape->figures[i], frame->feather);
        total += (size_t)frame->polygons[i].count;
    }
    frame->points = memory_zeros(total, 2 * sizeof *frame->points);
    if (frame->points == NULL)
        return false;
    double *points = frame->points;
    for (int i = 0; i < shape->count; i++) {
        struct polygon *polygon = &frame->polygons[i];
        place_points(at, &shape->figures[i], polygon->count, points);
        polygon->points = points;
        points += 2 * polygon->count;
        frame->around = rect_join(frame->around, polygon_box(polygon));
    }
    return true;
}

static enum passel_status shape_open(const struct at *at, void **state, struct passel_error *error)
{
    const struct shape *shape = at->self;
    struct shape_frame *frame = memory_zeros(1, sizeof *frame);
    if (frame != NULL)
        frame->feather = number(at, shape->feather, 0);
    if (frame == NULL || !make_polygons(shape, at, frame)) {
        shape_close(frame, NULL);
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    }
    *state = frame;
    return PASSEL_OK;
}

static enum passel_status shape_info(const struct at *at, struct picture_info *info, struct passel_error *error)
{
    (void)error;
    const struct shape_frame *frame = at->state;
    const int32_t soft = frame->feather > 0 ? (int32_t)ceil(fmax(frame->feather, 1)) : 0;
    const struct rect window = shot_window(at->shot, at->scale);
    *info = (struct picture_info){ .display = window,
                                   .data = rect_cut(rect_grow(frame->around, soft, soft), window),
                                   .planes = HAS_A,
                                   .chunk_rows = 1,
                                   .pixel_aspect = 1 };
    return PASSEL_OK;
}

/* ---- pixels ------------------------------------------------------------------------------------------------------ */

/* Memory for one row of the data window. */
struct row_work {
    double *cover, *squared, *joined;
    int *winding;
};

static double ramp(enum feather_side side, double distance, double width)
{
    const double at_outline = side == FEATHER_INSIDE ? 0 : side == FEATHER_OUTSIDE ? 1 : 0.5;
    const double t = fmin(fmax(at_outline + distance / width, 0), 1);
    return t * t * (3 - 2 * t);
}

/* Replaces the cover of a row by the feathered edge, in part when the feather is below a pixel. */
static void feather_row(const struct polygon *polygon, enum feather_side side, double feather, int32_t y, int32_t x0,
                        int32_t x1, const struct row_work *work)
{
    const double width = fmax(feather, 1), share = fmin(feather, 1);
    polygon_winding(polygon, y, x0, x1, work->winding);
    polygon_distance(polygon, y, x0, x1, width, work->squared);
    for (int32_t x = 0; x < x1 - x0; x++) {
        const double distance = sqrt(work->squared[x]);
        const double soft = ramp(side, work->winding[x] != 0 ? distance : -distance, width);
        work->cover[x] += share * (soft - work->cover[x]);
    }
}

static void shape_row(const struct shape *shape, const struct shape_frame *frame, int32_t y, struct rect data,
                      const struct row_work *work)
{
    const int32_t width = rect_width(data);
    memset(work->joined, 0, (size_t)width * sizeof *work->joined);
    for (int i = 0; i < frame->count; i++) {
        const struct polygon *polygon = &frame->polygons[i];
        polygon_cover(polygon, y, data.x0, data.x1, work->cover);
        if (frame->feather > 0)
            feather_row(polygon, shape->side, frame->feather, y, data.x0, data.x1, work);
        for (int32_t x = 0; x < width; x++)
            work->joined[x] = work->cover[x] + (1 - work->cover[x]) * work->joined[x];
    }
}

static enum passel_status shape_fill(const struct at *at, const struct picture *in, const struct picture *out,
                                     struct arena *scratch, struct passel_error *error)
{
    (void)in;
    const struct rect data = at->info->data;
    const size_t room = (size_t)rect_width(data) + 1;
    const struct row_work work = { .cover = arena_array(scratch, room, sizeof(double)),
                                   .squared = arena_array(scratch, room, sizeof(double)),
                                   .joined = arena_array(scratch, room, sizeof(double)),
                                   .winding = arena_array(scratch, room, sizeof(int)) };
    if (work.cover == NULL || work.squared == NULL || work.joined == NULL || work.winding == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int32_t y = out->area.y0; y < out->area.y1; y++) {
        shape_row(at->self, at->state, y, data, &work);
        float *row = picture_row(out, PLANE_A, y);
        const double *from = work.joined + (out->area.x0 - data.x0);
        for (int32_t x = 0; x < rect_width(out->area); x++)
            row[x] = (float)from[x];
    }
    return PASSEL_OK;
}

const struct kind kind_shape = {
    .schema = { .name = "shape",
                .summary = "A matte drawn with polygons and ellipses, keyed over frames.",
                .notes =
                    "Several figures are joined. Without feather the edge is anti-aliased by exact areas. Points are "
                    "full-size pixels from the top left of the shot. To cut a hole use `minus` in a matte block.",
                .example = "rigging = shape\n"
                           "  polygon  [1001 820 0 860 0 848 410 832 410, 1048 826 0 866 0 854 410 838 410] px\n"
                           "  ellipse  840 420 30 22 px  turn 12 deg\n"
                           "  feather  6 px outside\n",
                .form = HEAD_NAMED,
                .makes = MAKES_PICTURE,
                .settings = settings },
    .make = shape_make,
    .open = shape_open,
    .close = shape_close,
    .info = shape_info,
    .fill = shape_fill,
};
