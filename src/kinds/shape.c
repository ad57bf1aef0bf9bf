/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The kind `shape`: a matte from outlines, typed or drawn, whose points may move over the frames.
 *
 * Without feather a pixel holds the exact share of it that is covered. With a feather of a pixel or more it follows the
 * distance of the pixel's centre from the outline; a feather between 0 and 1 blends the two, so that it can grow from 0
 * without a jump. Rows are always computed over the whole data window: the bits do not depend on the tile.
 */
#include <math.h>
#include <string.h>

#include "base/error.h"
#include "base/file.h"
#include "base/memory.h"
#include "kinds/kinds.h"
#include "kinds/shape_figure.h"
#include "kinds/shot.h"

enum feather_side { FEATHER_INSIDE, FEATHER_OUTSIDE, FEATHER_BOTH };

struct shape {
    const struct figure *figures;
    int count;
    const struct value *feather, *other, *shutter;
    enum feather_side side;
    char **files; /* of the SVG drawings; owned */
    int file_count;
};

/* The outlines of a frame; with an open shutter at several moments, one after the other. */
struct shape_frame {
    int count, moments;
    double feather;    /* pixels, both sides together */
    double at_outline; /* how far the ramp is on the outline, 0 … 1 */
    struct rect around;
    struct polygon *polygons; /* moments * count */
    double *points;           /* of all polygons */
    int *ends;                /* of all contours */
};

#define MOMENTS_MOST 64

enum { MOST_POINTS = 512 };

#define PLACE_LIMITS .unit = UNIT_PX, .limited = true, .least = -100000, .most = 100000

#define POINTS(name, least_numbers)                                                                                    \
    (const struct value_spec[])                                                                                        \
    {                                                                                                                  \
        { .label = name,                                                                                               \
          .type = VALUE_NUMBER,                                                                                        \
          .may_change = true,                                                                                          \
          .least_count = least_numbers,                                                                                \
          .most_count = 2 * MOST_POINTS,                                                                               \
          PLACE_LIMITS },                                                                                              \
        {                                                                                                              \
            .label = NULL                                                                                              \
        }                                                                                                              \
    }

static const struct tag_spec ellipse_tags[] = {
    { .word = "turn",
      .help = "turns the ellipse clockwise about its centre",
      .values =
          (const struct value_spec[]){ { .label = "N", .type = VALUE_NUMBER, .may_change = true, .unit = UNIT_DEGREES },
                                       { .label = NULL } } },
    { .word = NULL },
};

static const struct tag_spec svg_tags[] = {
    { .word = "id",
      .help = "the path or group of this id alone; all paths when none is named",
      .values = (const struct value_spec[]){ { .label = "NAME", .type = VALUE_TEXT }, { .label = NULL } } },
    { .word = "at",
      .help = "the frame at which the outline is so; the lines with a frame are the keys of one outline",
      .values = (const struct value_spec[]){ { .label = "FRAME", .type = VALUE_INTEGER }, { .label = NULL } } },
    { .word = NULL },
};

/* In the order of enum leaving. */
static const struct choice svg_leaves[] = {
    { "linear", "the outline goes straight on to the next key; when none is said" },
    { "smooth", "it eases away and on to the next key" },
    { "hold", "it stays until the next key" },
    { NULL, NULL },
};

/* In the order of enum feather_side. */
static const struct choice feather_sides[] = {
    { "inside", "from 0 on the outline to 1 so far inside it" },
    { "outside", "from 1 on the outline to 0 so far outside it" },
    { NULL, NULL },
};

static const struct tag_spec feather_tags[] = {
    { .word = "other",
      .help = "and so wide on the other side of the outline; a side must be named",
      .values = (const struct value_spec[]){ { .label = "N",
                                               .type = VALUE_NUMBER,
                                               .may_change = true,
                                               .unit = UNIT_PX,
                                               .limited = true,
                                               .least = 0,
                                               .most = 4000 },
                                             { .label = NULL } } },
    { .word = NULL },
};

static const struct setting_spec settings[] = {
    { .word = "polygon",
      .help = "three corners or more, in order round the outline; the last is joined to the first",
      .values = POINTS("X Y X Y X Y …", 6),
      .repeats = true },
    { .word = "spline",
      .help = "a smooth closed curve through three points or more, in order round the outline",
      .values = POINTS("X Y X Y X Y …", 6),
      .repeats = true },
    { .word = "bezier",
      .help = "a closed curve in parts: for each a point, the handle that leaves it and the one that comes into the "
              "next point",
      .values = POINTS("X Y X1 Y1 X2 Y2 …", 12),
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
    { .word = "svg",
      .help =
          "paths of a drawing; its page lies over the frame, corner on corner and width on width. Draw over a frame "
          "of the shot in any vector program",
      .values = (const struct value_spec[]){ { .label = "FILE", .type = VALUE_PATH }, { .label = NULL } },
      .tags = svg_tags,
      .operators = svg_leaves,
      .repeats = true },
    { .word = "shutter",
      .help = "motion blur: how long the shutter is open, about the middle of the frame; 180 deg is half of it",
      .values = (const struct value_spec[]){ { .label = "N",
                                               .type = VALUE_NUMBER,
                                               .may_change = true,
                                               .unit = UNIT_DEGREES,
                                               .limited = true,
                                               .least = 0,
                                               .most = 720 },
                                             { .label = NULL } },
      .standard = "0 deg" },
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
      .tags = feather_tags,
      .operators = feather_sides,
      .standard = "0 px" },
    { .help = NULL },
};

/* ---- make -------------------------------------------------------------------------------------------------------- */

static bool is_svg(const struct setting *setting)
{
    return strcmp(setting->spec->word, "svg") == 0;
}

static bool is_keyed_svg(const struct setting *setting)
{
    return is_svg(setting) && setting_tag(setting, "at") != NULL;
}

/* The form of a figure's setting, or -1 for another setting. */
static int form_of(const struct setting *setting)
{
    static const char *const words[] = { [FIGURE_POLYGON] = "polygon",
                                         [FIGURE_SPLINE] = "spline",
                                         [FIGURE_BEZIER] = "bezier",
                                         [FIGURE_ELLIPSE] = "ellipse" };
    for (int form = FIGURE_POLYGON; form <= FIGURE_ELLIPSE; form++) {
        if (strcmp(setting->spec->word, words[form]) == 0)
            return form;
    }
    return -1;
}

static void shape_release(void *self)
{
    struct shape *shape = self;
    for (int i = 0; i < shape->file_count; i++)
        memory_free(shape->files[i]);
    shape->file_count = 0;
}

/* One figure of the drawings in `settings`, and their files. */
static enum passel_status add_svg(struct shape *shape, struct figure *figure, const struct recipe *recipe,
                                  const struct shot *shot, const struct setting *const *drawings, int count,
                                  struct arena *arena, struct passel_error *error)
{
    for (int i = 0; i < count; i++) {
        char *path = path_join(recipe->folder, setting_value(drawings[i], 0)->text);
        if (path == NULL)
            return error_set(error, PASSEL_NO_MEMORY, "out of memory");
        shape->files[shape->file_count++] = path;
    }
    shape->count++;
    return figure_read_svg(recipe, shot, drawings, count, arena, figure, error);
}

static enum passel_status add_figures(struct shape *shape, struct figure *figures, const struct setting **keys,
                                      const struct block *block, const struct recipe *recipe, const struct shot *shot,
                                      struct arena *arena, struct passel_error *error)
{
    int key_count = 0;
    for (int i = 0; i < block->setting_count; i++) {
        const struct setting *setting = &block->settings[i];
        struct figure *figure = &figures[shape->count];
        const int form = form_of(setting);
        if (is_keyed_svg(setting)) {
            keys[key_count++] = setting;
        } else if (is_svg(setting)) {
            RETURN_IF_ERROR(add_svg(shape, figure, recipe, shot, &setting, 1, arena, error));
        } else if (form >= 0) {
            *figure = (struct figure){ .form = (enum figure_form)form,
                                       .points = setting_value(setting, 0),
                                       .turn = setting_tag_value(setting, "turn", 0) };
            shape->count++;
            RETURN_IF_ERROR(figure_check(recipe, figure, error));
        }
    }
    if (key_count > 0)
        RETURN_IF_ERROR(add_svg(shape, &figures[shape->count], recipe, shot, keys, key_count, arena, error));
    if (shape->count == 0)
        return recipe_error(recipe, block->where, PASSEL_BAD_RECIPE, error,
                            "a shape needs an outline: a `polygon`, `spline`, `bezier`, `ellipse` or `svg`");
    return PASSEL_OK;
}

static enum passel_status shape_make(const struct block *block, const struct recipe *recipe, const struct shot *shot,
                                     struct arena *arena, void **self, struct passel_error *error)
{
    const size_t room = (size_t)block->setting_count + 1;
    struct shape *shape = arena_take(arena, sizeof *shape);
    struct figure *figures = arena_array(arena, room, sizeof *figures);
    const struct setting **keys = arena_array(arena, room, sizeof *keys);
    char **files = arena_array(arena, room, sizeof *files);
    if (shape == NULL || figures == NULL || keys == NULL || files == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    shape->figures = figures;
    shape->files = files;
    const struct setting *feather = block_setting(block, "feather");
    shape->feather = setting_value(feather, 0);
    shape->other = setting_tag_value(feather, "other", 0);
    shape->shutter = setting_value(block_setting(block, "shutter"), 0);
    shape->side = feather->operator_index >= 0 ? (enum feather_side)feather->operator_index : FEATHER_BOTH;
    if (shape->other != NULL && shape->side == FEATHER_BOTH)
        return recipe_error(recipe, shape->other->where, PASSEL_BAD_RECIPE, error,
                            "the other side of what? Name one: `feather 6 px outside other 2 px`");
    const enum passel_status status = add_figures(shape, figures, keys, block, recipe, shot, arena, error);
    if (status != PASSEL_OK)
        shape_release(shape);
    else
        *self = shape;
    return status;
}

static const char *shape_file(const struct at *at, int index)
{
    const struct shape *shape = at->self;
    return index < shape->file_count ? shape->files[index] : NULL;
}

/* Drawings are keyed outside the settings, and an open shutter looks at the time around. */
static bool shape_by_frame(const struct at *at)
{
    const struct shape *shape = at->self;
    const bool open = value_at(shape->shutter, 0, at->frame, 1) > 0;
    for (int i = 0; i < shape->count; i++) {
        if (figure_changes(&shape->figures[i]) && (open || shape->figures[i].form == FIGURE_SVG))
            return true;
    }
    return false;
}

/* ---- one frame --------------------------------------------------------------------------------------------------- */

/* How far a polygon may run from its curve: a soft edge hides more than a hard one. */
static double tolerance(double feather)
{
    return feather >= 1 ? 1.0 / 64 : 1.0 / 1024;
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
    memory_free(frame->ends);
    memory_free(frame);
}

/* How long the shutter is open, in frames. */
static double open_time(const struct shape *shape, const struct at *at)
{
    return value_at(shape->shutter, 0, at->frame, 1) / 360;
}

/* Moment k of n, evenly spread over the time that the shutter is open. */
static struct moment moment_of(const struct at *at, double open, int k, int n)
{
    return (struct moment){ at->frame + open * ((k + 0.5) / n - 0.5), at->scale };
}

/* Two moments for each pixel that something moves. */
static int moments_needed(const struct shape *shape, const struct at *at, double open)
{
    const struct moment first = { at->frame - open / 2, at->scale }, last = { at->frame + open / 2, at->scale };
    double most = 0;
    for (int i = 0; i < shape->count && open > 0; i++)
        most = fmax(most, figure_motion(&shape->figures[i], first, last));
    return most > 0 ? (int)fmin(ceil(2 * most) + 1, MOMENTS_MOST) : 1;
}

static int shape_moments(const struct at *at, double *open)
{
    *open = open_time(at->self, at);
    return moments_needed(at->self, at, *open);
}

static bool make_polygons(const struct shape *shape, const struct at *at, struct shape_frame *frame)
{
    const double open = open_time(shape, at), tight = tolerance(frame->feather);
    size_t points = 0, ends = 0;
    frame->count = shape->count;
    frame->moments = moments_needed(shape, at, open);
    const int total = frame->moments * frame->count;
    frame->polygons = memory_zeros((size_t)total, sizeof *frame->polygons);
    if (frame->polygons == NULL)
        return false;
    for (int i = 0; i < total; i++) {
        struct polygon *polygon = &frame->polygons[i];
        figure_measure(&shape->figures[i % frame->count], moment_of(at, open, i / frame->count, frame->moments), tight,
                       &polygon->count, &polygon->contours);
        points += (size_t)polygon->count;
        ends += (size_t)polygon->contours;
    }
    frame->points = memory_zeros(points, 2 * sizeof *frame->points);
    frame->ends = memory_zeros(ends, sizeof *frame->ends);
    if (frame->points == NULL || frame->ends == NULL)
        return false;
    for (int i = 0, point = 0, end = 0; i < total; i++) {
        struct polygon *polygon = &frame->polygons[i];
        figure_place(&shape->figures[i % frame->count], moment_of(at, open, i / frame->count, frame->moments), tight,
                     polygon->count, frame->points + 2 * (size_t)point, frame->ends + end, polygon);
        point += polygon->count;
        end += polygon->contours;
        frame->around = rect_join(frame->around, polygon_box(polygon));
    }
    return true;
}

static void read_feather(const struct shape *shape, const struct at *at, struct shape_frame *frame)
{
    const double own = value_at(shape->feather, 0, at->frame, at->scale);
    const double other = shape->other != NULL ? value_at(shape->other, 0, at->frame, at->scale) : 0;
    const double share = own + other > 0 ? own / (own + other) : 1;
    frame->feather = own + other;
    frame->at_outline = shape->side == FEATHER_BOTH ? 0.5 : shape->side == FEATHER_OUTSIDE ? share : 1 - share;
}

static enum passel_status shape_open(const struct at *at, void **state, struct passel_error *error)
{
    const struct shape *shape = at->self;
    struct shape_frame *frame = memory_zeros(1, sizeof *frame);
    if (frame != NULL)
        read_feather(shape, at, frame);
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
    double *cover, *squared, *joined, *sum;
    int *winding;
};

static double ramp(double at_outline, double distance, double width)
{
    const double t = fmin(fmax(at_outline + distance / width, 0), 1);
    return t * t * (3 - 2 * t);
}

/* Replaces the cover of a row by the feathered edge, in part when the feather is below a pixel. */
static void feather_row(const struct polygon *polygon, double at_outline, double feather, int32_t y, int32_t x0,
                        int32_t x1, const struct row_work *work)
{
    const double width = fmax(feather, 1), share = fmin(feather, 1);
    polygon_winding(polygon, y, x0, x1, work->winding);
    polygon_distance(polygon, y, x0, x1, width, work->squared);
    for (int32_t x = 0; x < x1 - x0; x++) {
        const double distance = sqrt(work->squared[x]);
        const double soft = ramp(at_outline, work->winding[x] != 0 ? distance : -distance, width);
        work->cover[x] += share * (soft - work->cover[x]);
    }
}

/* Joins the figures of one moment. */
static void join_row(const struct shape_frame *frame, const struct polygon *polygons, int32_t y, struct rect data,
                     const struct row_work *work)
{
    const int32_t width = rect_width(data);
    memset(work->joined, 0, (size_t)width * sizeof *work->joined);
    for (int i = 0; i < frame->count; i++) {
        const struct polygon *polygon = &polygons[i];
        polygon_cover(polygon, y, data.x0, data.x1, work->cover);
        if (frame->feather > 0)
            feather_row(polygon, frame->at_outline, frame->feather, y, data.x0, data.x1, work);
        for (int32_t x = 0; x < width; x++)
            work->joined[x] = work->cover[x] + (1 - work->cover[x]) * work->joined[x];
    }
}

static void shape_row(const struct shape_frame *frame, int32_t y, struct rect data, const struct row_work *work)
{
    const int32_t width = rect_width(data);
    memset(work->sum, 0, (size_t)width * sizeof *work->sum);
    for (int k = 0; k < frame->moments; k++) {
        join_row(frame, frame->polygons + (size_t)k * (size_t)frame->count, y, data, work);
        for (int32_t x = 0; x < width; x++)
            work->sum[x] += work->joined[x];
    }
}

static enum passel_status shape_fill(const struct at *at, const struct picture *in, const struct picture *out,
                                     struct arena *scratch, struct passel_error *error)
{
    (void)in;
    const struct shape_frame *frame = at->state;
    const struct rect data = at->info->data;
    const size_t room = (size_t)rect_width(data) + 1;
    const struct row_work work = { .cover = arena_array(scratch, room, sizeof(double)),
                                   .squared = arena_array(scratch, room, sizeof(double)),
                                   .joined = arena_array(scratch, room, sizeof(double)),
                                   .sum = arena_array(scratch, room, sizeof(double)),
                                   .winding = arena_array(scratch, room, sizeof(int)) };
    if (work.cover == NULL || work.squared == NULL || work.joined == NULL || work.sum == NULL || work.winding == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int32_t y = out->area.y0; y < out->area.y1; y++) {
        shape_row(frame, y, data, &work);
        float *row = picture_row(out, PLANE_A, y);
        const double *from = work.sum + (out->area.x0 - data.x0);
        for (int32_t x = 0; x < rect_width(out->area); x++)
            row[x] = (float)(from[x] / frame->moments);
    }
    return PASSEL_OK;
}

const struct kind kind_shape = {
    .schema = { .name = "shape",
                .summary = "A matte drawn with polygons, curves, ellipses or an SVG drawing.",
                .notes =
                    "Several figures are joined. Without feather the edge is anti-aliased by exact areas. Points are "
                    "full-size pixels from the top left of the shot. To cut a hole use `minus` in a matte block. A "
                    "`place` "
                    "with the same lines lets it follow what is placed; an `align` with the same `corners` takes it "
                    "along with a pass. Of an "
                    "SVG file the paths are read, with their transforms, ids and fill rules; strokes, colours and "
                    "other "
                    "elements are not. Drawings for several frames are eased point by point, so draw the next one by "
                    "moving the points of the one before.",
                .example = "rigging = shape\n"
                           "  polygon  [1001 820 0 860 0 848 410 832 410, 1048 826 0 866 0 854 410 838 410] px\n"
                           "  ellipse  840 420 30 22 px  turn 12 deg\n"
                           "  svg      mattes/gate.svg  id open    at 1001  smooth\n"
                           "  svg      mattes/gate.svg  id closed  at 1048\n"
                           "  feather  6 px outside\n",
                .form = HEAD_NAMED,
                .makes = MAKES_PICTURE,
                .settings = settings },
    .make = shape_make,
    .release = shape_release,
    .file = shape_file,
    .by_frame = shape_by_frame,
    .moments = shape_moments,
    .open = shape_open,
    .close = shape_close,
    .info = shape_info,
    .fill = shape_fill,
};
