/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The path data of SVG 1.1 (section 8.3): every command becomes cubic parts, every contour is closed.
 */
#include <math.h>
#include <string.h>

#include "base/memory.h"
#include "media/svg_parts.h"
#include "picture/function.h"

struct pen {
    const struct svg_matrix *matrix;
    struct svg_drawn *drawn;
    double at[2], start[2]; /* in the path's own units */
    double handle[2];       /* the last one, for S and T */
    char before;            /* the command before, in capitals */
    int first;              /* part that the contour begins with */
    bool open;              /* a contour has been begun */
};

/* ---- drawing ----------------------------------------------------------------------------------------------------- */

static bool make_room(struct svg_drawn *drawn)
{
    if (drawn->count == SVG_SEGMENTS_MOST)
        drawn->large = true;
    if (drawn->failed || drawn->large)
        return false;
    if (drawn->count < drawn->room)
        return true;
    const int room = drawn->room == 0 ? 64 : 2 * drawn->room;
    double *numbers = memory_grow(drawn->numbers, 6 * (size_t)drawn->room, 6 * (size_t)room, sizeof *numbers);
    if (numbers == NULL) {
        drawn->failed = true;
        return false;
    }
    drawn->numbers = numbers;
    drawn->room = room;
    return true;
}

/* A part from where the pen is to `to`. */
static void draw_cubic(struct pen *pen, const double one[2], const double two[2], const double to[2])
{
    const double *points[3] = { pen->at, one, two }, *m = pen->matrix->m;
    struct svg_drawn *drawn = pen->drawn;
    if (make_room(drawn)) {
        for (int k = 0; k < 3; k++) {
            const double x = points[k][0], y = points[k][1];
            drawn->numbers[6 * drawn->count + 2 * k] = m[0] * x + m[2] * y + m[4];
            drawn->numbers[6 * drawn->count + 2 * k + 1] = m[1] * x + m[3] * y + m[5];
        }
        drawn->count++;
    }
    pen->at[0] = to[0];
    pen->at[1] = to[1];
}

static void draw_line(struct pen *pen, double x, double y)
{
    const double to[2] = { x, y };
    const double one[2] = { (2 * pen->at[0] + x) / 3, (2 * pen->at[1] + y) / 3 };
    const double two[2] = { (pen->at[0] + 2 * x) / 3, (pen->at[1] + 2 * y) / 3 };
    draw_cubic(pen, one, two, to);
}

static void draw_quadratic(struct pen *pen, const double handle[2], const double to[2])
{
    double one[2], two[2];
    for (int k = 0; k < 2; k++) {
        one[k] = (pen->at[k] + 2 * handle[k]) / 3;
        two[k] = (to[k] + 2 * handle[k]) / 3;
    }
    pen->handle[0] = handle[0];
    pen->handle[1] = handle[1];
    draw_cubic(pen, one, two, to);
}

static void end_contour(struct pen *pen)
{
    struct svg_drawn *drawn = pen->drawn;
    if (!pen->open)
        return;
    if (pen->at[0] != pen->start[0] || pen->at[1] != pen->start[1])
        draw_line(pen, pen->start[0], pen->start[1]);
    pen->open = false;
    if (drawn->count == pen->first)
        return;
    if (drawn->contours == drawn->contour_room) {
        const int room = drawn->contour_room == 0 ? 16 : 2 * drawn->contour_room;
        int *segments = memory_grow(drawn->segments, (size_t)drawn->contour_room, (size_t)room, sizeof *segments);
        drawn->failed = drawn->failed || segments == NULL;
        if (segments == NULL)
            return;
        drawn->segments = segments;
        drawn->contour_room = room;
    }
    drawn->segments[drawn->contours++] = drawn->count - pen->first;
}

static void begin_contour(struct pen *pen)
{
    if (pen->open)
        return;
    pen->open = true;
    pen->first = pen->drawn->count;
    pen->start[0] = pen->at[0];
    pen->start[1] = pen->at[1];
}

/* ---- arcs -------------------------------------------------------------------------------------------------------- */

/* An ellipse, and the way round it. */
struct arc {
    double centre[2], radius[2], cosine, sine;
    double way; /* 1 with rising angles, -1 against them */
};

static void arc_place(const struct arc *arc, double u, double v, double place[2])
{
    const double x = arc->radius[0] * u, y = arc->radius[1] * v;
    place[0] = arc->centre[0] + arc->cosine * x - arc->sine * y;
    place[1] = arc->centre[1] + arc->sine * x + arc->cosine * y;
}

/* The part between two places of the unit circle whose handles are `k` long. */
static void arc_part(struct pen *pen, const struct arc *arc, const double from[2], const double to[2], double k,
                     const double *end)
{
    double one[2], two[2], place[2];
    arc_place(arc, from[0] - k * arc->way * from[1], from[1] + k * arc->way * from[0], one);
    arc_place(arc, to[0] + k * arc->way * to[1], to[1] - k * arc->way * to[0], two);
    arc_place(arc, to[0], to[1], place);
    draw_cubic(pen, one, two, end != NULL ? end : place);
}

/* Handles for an angle whose cosine is c: 4/3 tan(angle/4), by halving. */
static double handle_length(double c)
{
    const double half_sine = sqrt(fmax((1 - c) / 2, 0)), half_cosine = sqrt(fmax((1 + c) / 2, 0));
    return 4.0 / 3 * half_sine / (1 + half_cosine);
}

/* Turns by sixteenths of a circle, of which a cubic is 1e-7 of the radius off, until the rest is less than one. */
static void draw_round(struct pen *pen, const struct arc *arc, const double first[2], const double last[2],
                       const double to[2])
{
    const double c = function_cospi(0.125), s = arc->way * function_sinpi(0.125);
    double from[2] = { first[0], first[1] };
    for (int k = 0; k < 16; k++) {
        const double along = from[0] * last[0] + from[1] * last[1];
        const double across = arc->way * (from[0] * last[1] - from[1] * last[0]);
        if (along >= c && (across >= 0 || (k > 0 && across > -1e-9)))
            break;
        const double next[2] = { c * from[0] - s * from[1], s * from[0] + c * from[1] };
        arc_part(pen, arc, from, next, handle_length(c), NULL);
        from[0] = next[0];
        from[1] = next[1];
    }
    arc_part(pen, arc, from, last, handle_length(from[0] * last[0] + from[1] * last[1]), to);
}

/* n: radii, turn of the axis, large, sweep, end (SVG 1.1, appendix F.6: centre from the two ends). */
static void draw_arc(struct pen *pen, const double *n, const double to[2])
{
    struct arc arc = { .radius = { fabs(n[0]), fabs(n[1]) },
                       .cosine = function_cospi(n[2] / 180),
                       .sine = function_sinpi(n[2] / 180),
                       .way = n[4] != 0 ? 1 : -1 };
    const double dx = (pen->at[0] - to[0]) / 2, dy = (pen->at[1] - to[1]) / 2;
    if (dx == 0 && dy == 0)
        return;
    if (arc.radius[0] == 0 || arc.radius[1] == 0) {
        draw_line(pen, to[0], to[1]);
        return;
    }
    /* half the chord on the unit circle */
    double u = (arc.cosine * dx + arc.sine * dy) / arc.radius[0];
    double v = (arc.cosine * dy - arc.sine * dx) / arc.radius[1];
    const double length = u * u + v * v;
    if (length > 1) { /* too small to reach: grown until they do */
        const double grown = sqrt(length);
        arc.radius[0] *= grown;
        arc.radius[1] *= grown;
        u /= grown;
        v /= grown;
    }
    const double beside = sqrt(fmax(1 / fmin(length, 1) - 1, 0)) * ((n[3] != 0) == (n[4] != 0) ? -1 : 1);
    const double from_u = beside * v, from_v = -beside * u; /* centre, seen from the chord's middle */
    const double first[2] = { u - from_u, v - from_v }, last[2] = { -u - from_u, -v - from_v };
    const double x = arc.radius[0] * from_u, y = arc.radius[1] * from_v;
    arc.centre[0] = arc.cosine * x - arc.sine * y + (pen->at[0] + to[0]) / 2;
    arc.centre[1] = arc.sine * x + arc.cosine * y + (pen->at[1] + to[1]) / 2;
    draw_round(pen, &arc, first, last, to);
}

/* ---- commands ---------------------------------------------------------------------------------------------------- */

static bool read_flag(const char **text, double *number)
{
    const char *at = *text;
    while (*at == ' ' || *at == '\t' || *at == '\n' || *at == '\r' || *at == ',')
        at++;
    if (*at != '0' && *at != '1')
        return false;
    *number = *at - '0';
    *text = at + 1;
    return true;
}

static int numbers_of(char command)
{
    static const struct {
        char command;
        int count;
    } known[] = { { 'M', 2 }, { 'L', 2 }, { 'H', 1 }, { 'V', 1 }, { 'C', 6 },
                  { 'S', 4 }, { 'Q', 4 }, { 'T', 2 }, { 'A', 7 }, { 'Z', 0 } };
    for (int k = 0; k < 10; k++) {
        if (known[k].command == command)
            return known[k].count;
    }
    return -1;
}

/* The numbers of one command, made absolute. */
static bool read_numbers(const struct pen *pen, const char **text, char command, bool relative, double *n)
{
    const int count = numbers_of(command);
    for (int k = 0; k < count; k++) {
        const bool flag = command == 'A' && (k == 3 || k == 4);
        if (!(flag ? read_flag(text, &n[k]) : svg_number(text, &n[k])))
            return false;
        if (!relative || flag || (command == 'A' && k < 5))
            continue;
        const bool down = command == 'V' || (command == 'A' ? k == 6 : command != 'H' && k % 2 == 1);
        n[k] += pen->at[down];
    }
    return true;
}

/* The handle that mirrors the last one, or the place itself when the command before was of another sort. */
static void mirrored(const struct pen *pen, const char *sorts, double handle[2])
{
    const bool smooth = pen->before != '\0' && strchr(sorts, pen->before) != NULL;
    for (int k = 0; k < 2; k++)
        handle[k] = smooth ? 2 * pen->at[k] - pen->handle[k] : pen->at[k];
}

static void draw(struct pen *pen, char command, const double *n)
{
    double handle[2];
    begin_contour(pen);
    switch (command) {
    case 'L':
        draw_line(pen, n[0], n[1]);
        break;
    case 'H':
        draw_line(pen, n[0], pen->at[1]);
        break;
    case 'V':
        draw_line(pen, pen->at[0], n[0]);
        break;
    case 'C':
        draw_cubic(pen, n, n + 2, n + 4);
        memcpy(pen->handle, n + 2, sizeof pen->handle);
        break;
    case 'S':
        mirrored(pen, "CS", handle);
        draw_cubic(pen, handle, n, n + 2);
        memcpy(pen->handle, n, sizeof pen->handle);
        break;
    case 'Q':
        draw_quadratic(pen, n, n + 2);
        break;
    case 'T':
        mirrored(pen, "QT", handle);
        draw_quadratic(pen, handle, n);
        break;
    default:
        draw_arc(pen, n, n + 5);
        break;
    }
}

static void obey(struct pen *pen, char command, const double *n)
{
    if (command == 'M') {
        end_contour(pen);
        pen->at[0] = n[0];
        pen->at[1] = n[1];
        begin_contour(pen);
    } else if (command == 'Z') {
        end_contour(pen);
    } else {
        draw(pen, command, n);
    }
    pen->before = command;
}

const char *svg_path(const char *data, const struct svg_matrix *matrix, struct svg_drawn *drawn)
{
    struct pen pen = { .matrix = matrix, .drawn = drawn };
    char command = '\0';
    bool relative = false, again = false;
    for (;;) {
        double n[7];
        while (*data == ' ' || *data == '\t' || *data == '\n' || *data == '\r' || *data == '\f')
            data++;
        if (*data == '\0')
            break;
        const char *place = data, capital = (char)(*data & ~0x20);
        if (((*data >= 'A' && *data <= 'Z') || (*data >= 'a' && *data <= 'z')) && numbers_of(capital) >= 0) {
            relative = *data != capital;
            command = capital;
            again = false;
            data++;
        } else if (!again || command == 'Z') {
            return place;
        } else if (command == 'M') {
            command = 'L'; /* further pairs of an M are lines */
        }
        if ((pen.before == '\0' && command != 'M') || !read_numbers(&pen, &data, command, relative, n))
            return place;
        obey(&pen, command, n);
        again = true;
    }
    end_contour(&pen);
    return NULL;
}

void svg_drawn_release(struct svg_drawn *drawn)
{
    memory_free(drawn->numbers);
    memory_free(drawn->segments);
    *drawn = (struct svg_drawn){ 0 };
}

/* ---- even and odd ------------------------------------------------------------------------------------------------ */

/* Part `k`'s start of a contour, whose handles stand for the curve well enough to tell inside from outside. */
static const double *corner(const double *numbers, int count, int k)
{
    return &numbers[2 * (k % (3 * count))];
}

static double twice_area(const double *numbers, int count)
{
    double area = 0;
    for (int k = 0; k < 3 * count; k++) {
        const double *a = corner(numbers, count, k), *b = corner(numbers, count, k + 1);
        area += a[0] * b[1] - a[1] * b[0];
    }
    return area;
}

static bool lies_in(const double *point, const double *numbers, int count)
{
    bool inside = false;
    for (int k = 0; k < 3 * count; k++) {
        const double *a = corner(numbers, count, k), *b = corner(numbers, count, k + 1);
        if ((a[1] > point[1]) != (b[1] > point[1]) &&
            point[0] < a[0] + (b[0] - a[0]) * (point[1] - a[1]) / (b[1] - a[1]))
            inside = !inside;
    }
    return inside;
}

/* The same contour, backwards from the same start. */
static void turn_round(double *numbers, int count)
{
    for (int low = 1, high = 3 * count - 1; low < high; low++, high--) {
        for (int k = 0; k < 2; k++) {
            const double held = numbers[2 * low + k];
            numbers[2 * low + k] = numbers[2 * high + k];
            numbers[2 * high + k] = held;
        }
    }
}

void svg_even_odd(struct svg_drawn *drawn, int first)
{
    double *numbers = drawn->numbers;
    int begin = 0;
    for (int k = 0; k < first; k++)
        begin += 6 * drawn->segments[k];
    for (int k = first, at = begin; k < drawn->contours; at += 6 * drawn->segments[k++]) {
        bool odd = false;
        for (int j = first, other = begin; j < drawn->contours; other += 6 * drawn->segments[j++]) {
            if (j != k && lies_in(&numbers[at], &numbers[other], drawn->segments[j]))
                odd = !odd;
        }
        if ((twice_area(&numbers[at], drawn->segments[k]) < 0) != odd)
            turn_round(&numbers[at], drawn->segments[k]);
    }
}
