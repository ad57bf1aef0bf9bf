/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "kinds/shape_figure.h"

#include <math.h>
#include <string.h>

#include "base/error.h"
#include "base/file.h"
#include "base/memory.h"
#include "media/svg.h"
#include "numerics/spline_path.h"

static int number_count(const struct value *value)
{
    return value->track != NULL ? value->track->width : value->curve != NULL ? 1 : value->count;
}

static double number(const struct value *value, int component, struct moment moment)
{
    return value != NULL ? value_at(value, component, moment.frame, moment.scale) : 0;
}

enum passel_status figure_check(const struct recipe *recipe, const struct figure *figure, struct passel_error *error)
{
    static const struct {
        int least, step;
        const char *wish;
    } rules[] = {
        [FIGURE_POLYGON] = { 6, 2, "an X and a Y for each of three corners or more" },
        [FIGURE_SPLINE] = { 6, 2, "an X and a Y for each of three points or more" },
        [FIGURE_BEZIER] = { 12, 6, "a point and two handles, X and Y of each, for each of two parts or more" },
        [FIGURE_ELLIPSE] = { 4, 4, "X Y RX RY: four numbers" },
    };
    const int count = number_count(figure->points);
    const bool right = figure->form == FIGURE_ELLIPSE
                           ? count == 4
                           : count >= rules[figure->form].least && count % rules[figure->form].step == 0;
    if (right)
        return PASSEL_OK;
    return recipe_error(recipe, figure->points->where, PASSEL_BAD_RECIPE, error, "expected %s, not %d numbers",
                        rules[figure->form].wish, count);
}

/* ---- SVG --------------------------------------------------------------------------------------------------------- */

static enum passel_status read_outline(const struct recipe *recipe, const struct setting *setting, struct arena *arena,
                                       struct svg_outline *outline, struct passel_error *error)
{
    const struct value *file = setting_value(setting, 0), *id = setting_tag_value(setting, "id", 0);
    struct passel_error own = { PASSEL_OK, "" };
    char *path = path_join(recipe->folder, file->text);
    if (path == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    const enum passel_status status = svg_read(path, id != NULL ? id->text : NULL, arena, outline, &own);
    memory_free(path);
    if (status == PASSEL_OK || status == PASSEL_NO_MEMORY)
        return status == PASSEL_OK ? PASSEL_OK : error_set(error, status, "%s", own.text);
    return recipe_error(recipe, file->where, status, error, "%s", own.text);
}

/* The page is laid over the frame: corner on corner, width on width. */
static void lay_over(const struct svg_outline *outline, const struct shot *shot, double *numbers)
{
    const double size = outline->has_page ? shot->width / outline->page[2] : 1;
    for (int k = 0; k < 6 * outline->segment_count; k++)
        numbers[k] = (outline->numbers[k] - (outline->has_page ? outline->page[k % 2] : 0)) * size;
}

static bool same_parts(const struct svg_figure *figure, const struct svg_outline *outline)
{
    return figure->contour_count == outline->contour_count && figure->segment_count == outline->segment_count &&
           memcmp(figure->segments, outline->segments, (size_t)outline->contour_count * sizeof *outline->segments) == 0;
}

static enum passel_status refuse_parts(const struct recipe *recipe, const struct setting *setting,
                                       const struct svg_figure *figure, const struct svg_outline *outline,
                                       struct passel_error *error)
{
    return recipe_error(recipe, setting_value(setting, 0)->where, PASSEL_BAD_RECIPE, error,
                        "this outline has %d points in %d contours, the key before it %d in %d; it can only be eased "
                        "into one with the same points: draw each key by moving the points of the one before",
                        outline->segment_count, outline->contour_count, figure->segment_count, figure->contour_count);
}

/* The track while it is being made. */
struct svg_keys {
    double *frames, *numbers, *slopes;
    enum leaving *leave;
};

static enum passel_status begin_svg(struct svg_figure *svg, struct svg_keys *keys, const struct svg_outline *outline,
                                    int count, struct arena *arena, struct passel_error *error)
{
    const size_t width = 6 * (size_t)outline->segment_count;
    *keys = (struct svg_keys){ .frames = arena_array(arena, (size_t)count, sizeof(double)),
                               .numbers = arena_array(arena, (size_t)count, width * sizeof(double)),
                               .slopes = arena_array(arena, (size_t)count, width * sizeof(double)),
                               .leave = arena_array(arena, (size_t)count, sizeof(enum leaving)) };
    if (keys->frames == NULL || keys->numbers == NULL || keys->slopes == NULL || keys->leave == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    *svg = (struct svg_figure){ .contour_count = outline->contour_count,
                                .segment_count = outline->segment_count,
                                .segments = outline->segments,
                                .track = { .count = count,
                                           .width = (int)width,
                                           .frames = keys->frames,
                                           .numbers = keys->numbers,
                                           .leave = keys->leave,
                                           .slopes = keys->slopes } };
    return PASSEL_OK;
}

enum passel_status figure_read_svg(const struct recipe *recipe, const struct shot *shot,
                                   const struct setting *const *settings, int count, struct arena *arena,
                                   struct figure *figure, struct passel_error *error)
{
    struct svg_figure *svg = arena_take(arena, sizeof *svg);
    struct svg_keys keys = { .frames = NULL };
    if (svg == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int k = 0; k < count; k++) {
        struct svg_outline outline;
        const struct value *frame = setting_tag_value(settings[k], "at", 0);
        RETURN_IF_ERROR(read_outline(recipe, settings[k], arena, &outline, error));
        if (k == 0)
            RETURN_IF_ERROR(begin_svg(svg, &keys, &outline, count, arena, error));
        if (!same_parts(svg, &outline))
            return refuse_parts(recipe, settings[k], svg, &outline, error);
        keys.frames[k] = frame != NULL ? frame->numbers[0] : 0;
        keys.leave[k] = settings[k]->operator_index >= 0 ? (enum leaving)settings[k]->operator_index : LEAVE_LINEAR;
        if (k > 0 && !(keys.frames[k] > keys.frames[k - 1]))
            return recipe_error(recipe, frame->where, PASSEL_BAD_RECIPE, error,
                                "the frames of the drawings must rise, and %g follows %g", keys.frames[k],
                                keys.frames[k - 1]);
        lay_over(&outline, shot, keys.numbers + (size_t)k * (size_t)svg->track.width);
    }
    track_slopes(&svg->track, keys.slopes);
    *figure = (struct figure){ .form = FIGURE_SVG, .svg = svg };
    return PASSEL_OK;
}

/* ---- curved parts ------------------------------------------------------------------------------------------------ */

static int part_count(const struct figure *figure)
{
    if (figure->form == FIGURE_SVG)
        return figure->svg->segment_count;
    return number_count(figure->points) / (figure->form == FIGURE_BEZIER ? 6 : 2);
}

static struct cubic spline_part(const struct figure *figure, struct moment moment, int k)
{
    const int count = part_count(figure);
    double p[4][2];
    for (int i = 0; i < 4; i++) {
        const int point = (k + i - 1 + count) % count;
        p[i][0] = number(figure->points, 2 * point, moment);
        p[i][1] = number(figure->points, 2 * point + 1, moment);
    }
    return cubic_through(p[0], p[1], p[2], p[3]);
}

static double svg_number_at(const struct figure *figure, struct moment moment, int component)
{
    return track_at(&figure->svg->track, component, moment.frame) / moment.scale;
}

/* Part k, whose end is the start of part `next`. */
static struct cubic part_of(const struct figure *figure, struct moment moment, int k, int next)
{
    struct cubic cubic;
    if (figure->form == FIGURE_SPLINE)
        return spline_part(figure, moment, k);
    for (int i = 0; i < 4; i++) {
        const int component = i < 3 ? 6 * k + 2 * i : 6 * next;
        cubic.x[i] = figure->form == FIGURE_SVG ? svg_number_at(figure, moment, component)
                                                : number(figure->points, component, moment);
        cubic.y[i] = figure->form == FIGURE_SVG ? svg_number_at(figure, moment, component + 1)
                                                : number(figure->points, component + 1, moment);
    }
    return cubic;
}

static int contour_count(const struct figure *figure)
{
    return figure->form == FIGURE_SVG ? figure->svg->contour_count : 1;
}

static int contour_parts(const struct figure *figure, int contour)
{
    return figure->form == FIGURE_SVG ? figure->svg->segments[contour] : part_count(figure);
}

/* All contours' points, written when `points` is there; returns how many. */
static int flatten(const struct figure *figure, struct moment moment, double tolerance, double *points, int *ends)
{
    int total = 0, first = 0;
    for (int c = 0; c < contour_count(figure); c++) {
        const int parts = contour_parts(figure, c);
        for (int k = 0; k < parts; k++) {
            const struct cubic cubic = part_of(figure, moment, first + k, first + (k + 1) % parts);
            const int pieces = cubic_pieces(&cubic, tolerance);
            if (points != NULL)
                cubic_flatten(&cubic, pieces, points + 2 * (size_t)total);
            total += pieces;
        }
        if (ends != NULL)
            ends[c] = total;
        first += parts;
    }
    return total;
}

/* ---- polygons ---------------------------------------------------------------------------------------------------- */

void figure_measure(const struct figure *figure, struct moment moment, double tolerance, int *points, int *contours)
{
    *contours = contour_count(figure);
    if (figure->form == FIGURE_POLYGON)
        *points = number_count(figure->points) / 2;
    else if (figure->form == FIGURE_ELLIPSE)
        *points =
            polygon_ellipse_points(number(figure->points, 2, moment), number(figure->points, 3, moment), tolerance);
    else
        *points = flatten(figure, moment, tolerance, NULL, NULL);
}

void figure_place(const struct figure *figure, struct moment moment, double tolerance, int points_count, double *points,
                  int *ends, struct polygon *polygon)
{
    *polygon =
        (struct polygon){ .count = points_count, .points = points, .contours = contour_count(figure), .ends = ends };
    ends[0] = points_count;
    if (figure->form == FIGURE_ELLIPSE) {
        polygon_ellipse(number(figure->points, 0, moment), number(figure->points, 1, moment),
                        number(figure->points, 2, moment), number(figure->points, 3, moment),
                        number(figure->turn, 0, moment), points_count, points);
    } else if (figure->form == FIGURE_POLYGON) {
        for (int i = 0; i < 2 * points_count; i++)
            points[i] = number(figure->points, i, moment);
    } else {
        (void)flatten(figure, moment, tolerance, points, ends);
    }
}

/* ---- change ------------------------------------------------------------------------------------------------------ */

bool figure_changes(const struct figure *figure)
{
    if (figure->form == FIGURE_SVG)
        return figure->svg->track.count > 1;
    return value_changes(figure->points) || (figure->turn != NULL && value_changes(figure->turn));
}

double figure_motion(const struct figure *figure, struct moment from, struct moment to)
{
    double most = 0;
    if (figure->form == FIGURE_SVG) {
        for (int i = 0; i < figure->svg->track.width; i++)
            most = fmax(most, fabs(svg_number_at(figure, to, i) - svg_number_at(figure, from, i)));
        return most;
    }
    for (int i = 0; i < number_count(figure->points); i++)
        most = fmax(most, fabs(number(figure->points, i, to) - number(figure->points, i, from)));
    const double radius =
        figure->form == FIGURE_ELLIPSE ? fmax(number(figure->points, 2, to), number(figure->points, 3, to)) : 0;
    const double turned = number(figure->turn, 0, to) - number(figure->turn, 0, from);
    return most + fabs(turned) * radius / 57;
}
