/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Plots over the frames of a pass. Frames stand where their numbers are, so that a gap is seen as one; long passes are
 * drawn in columns of several frames, each with its extremes. Styles are the page's (page_style.c).
 */
#include <math.h>
#include <stdio.h>

#include "survey/gauge.h"
#include "survey/page.h"

enum { PLOT_WIDTH = 340, PLOT_HEIGHT = 132, LEFT = 38, RIGHT = 332, TOP = 8, BOTTOM = 110, COLUMNS = 147 };

/* Middle grey; darker and brighter than these is drawn at the edge. */
#define MIDDLE_GREY 0.18
#define MOST_STOPS 4.0
#define LEAST_STOPS (-10.0)

struct plot {
    int first, last; /* frame numbers */
    double low, high;
    int columns;
};

static struct plot plot_of(const struct pass_gauge *pass, double low, double high)
{
    struct plot plot = { .low = low, .high = high, .first = 1, .last = 1 };
    if (pass->frame_count > 0) {
        plot.first = survey_frame_number(pass, 0);
        plot.last = survey_frame_number(pass, pass->frame_count - 1);
    }
    const int span = plot.last - plot.first + 1;
    plot.columns = span < COLUMNS ? span : COLUMNS;
    return plot;
}

static int column_of(const struct plot *plot, int number)
{
    return (int)((int64_t)(number - plot->first) * plot->columns / (plot->last - plot->first + 1));
}

/* Where a column begins; one with a fraction lies inside. */
static double across(const struct plot *plot, double column)
{
    return LEFT + (RIGHT - LEFT) * column / plot->columns;
}

static double down(const struct plot *plot, double value)
{
    const double inside = fmin(fmax(value, plot->low), plot->high);
    return BOTTOM - (BOTTOM - TOP) * (inside - plot->low) / (plot->high - plot->low);
}

static void begin(struct text *text, const char *title)
{
    text_print(text, "<figure class=\"plot\"><figcaption>%s</figcaption>\n", title);
}

static void open_svg(struct text *text)
{
    text_print(text, "<svg viewBox=\"0 0 %d %d\" role=\"img\" aria-label=\"", PLOT_WIDTH, PLOT_HEIGHT);
}

/* A line over the whole width with its value at the left. */
static void say_level(const struct plot *plot, double value, const char *label, const char *class, struct text *text)
{
    const double y = down(plot, value);
    text_print(text, "<path class=\"%s\" d=\"M%d %.1fH%d\"/><text x=\"%d\" y=\"%.1f\" text-anchor=\"end\">%s</text>\n",
               class, LEFT, y, RIGHT, LEFT - 5, y + 4, label);
}

static void say_ends(const struct plot *plot, struct text *text)
{
    text_print(text, "<text x=\"%d\" y=\"%d\">frame %d</text>\n", LEFT, PLOT_HEIGHT - 6, plot->first);
    if (plot->last > plot->first)
        text_print(text, "<text x=\"%d\" y=\"%d\" text-anchor=\"end\">%d</text>\n", RIGHT, PLOT_HEIGHT - 6, plot->last);
}

static void end(const struct plot *plot, struct text *text)
{
    say_ends(plot, text);
    text_print(text, "</svg></figure>\n");
}

/* ---- exposure ---------------------------------------------------------------------------------------------------- */

static double stops(double light)
{
    return log2(fmax(light, 1e-6) / MIDDLE_GREY);
}

struct column {
    int frames;
    double low, middle, high; /* stops: the lowest, the mean, the highest of its frames */
};

static void fill_columns(const struct plot *plot, const struct pass_gauge *pass, struct column columns[COLUMNS])
{
    for (int i = 0; i < pass->frame_count; i++) {
        const struct frame_gauge *frame = &pass->frames[i];
        struct column *column = &columns[column_of(plot, survey_frame_number(pass, i))];
        if (frame->status != PASSEL_OK)
            continue;
        const double low = stops((double)frame->levels[0]), middle = stops((double)frame->levels[1]);
        const double high = stops((double)frame->levels[2]);
        const int n = column->frames++;
        column->low = n == 0 ? low : fmin(column->low, low);
        column->middle = (column->middle * n + middle) / (n + 1);
        column->high = n == 0 ? high : fmax(column->high, high);
    }
}

static void say_column(const struct plot *plot, const struct column *column, int i, struct text *text)
{
    const double x = across(plot, i), width = across(plot, i + 1) - x;
    const double high = down(plot, column->high), low = down(plot, column->low);
    if (column->frames > 0)
        text_print(text, "M%.1f %.1fh%.1fv%.1fh-%.1fz", x, high, width, fmax(low - high, 1), width);
}

/* Columns without a frame that can be read. */
static void say_gaps(const struct plot *plot, const struct column *columns, struct text *text)
{
    for (int i = 0, end; i < plot->columns; i = end) {
        end = i + 1;
        if (columns[i].frames > 0)
            continue;
        while (end < plot->columns && columns[end].frames == 0)
            end++;
        const double x = across(plot, i), width = across(plot, end) - x;
        text_print(text,
                   "<rect class=\"gap\" x=\"%.1f\" y=\"%d\" width=\"%.1f\" height=\"%d\"/>"
                   "<text class=\"bad\" x=\"%.1f\" y=\"%d\" text-anchor=\"middle\">\xC3\x97</text>\n",
                   x, TOP, width, BOTTOM - TOP, x + width / 2, (TOP + BOTTOM) / 2 + 4);
    }
}

/* Over all frames: the darkest, the mean and the brightest of each level. */
static void sum_up(const struct column *columns, int count, double level[3])
{
    int frames = 0;
    level[0] = INFINITY, level[1] = 0, level[2] = -INFINITY;
    for (int i = 0; i < count; i++) {
        if (columns[i].frames == 0)
            continue;
        level[0] = fmin(level[0], columns[i].low);
        level[1] += columns[i].middle * columns[i].frames;
        level[2] = fmax(level[2], columns[i].high);
        frames += columns[i].frames;
    }
    level[1] /= frames;
}

void page_levels(const struct pass_gauge *pass, struct text *text)
{
    const struct plot plot = plot_of(pass, LEAST_STOPS, MOST_STOPS);
    struct column columns[COLUMNS] = { 0 };
    double level[3];
    if (pass->readable == 0)
        return;
    fill_columns(&plot, pass, columns);
    sum_up(columns, plot.columns, level);
    begin(text, "Exposure, stops about middle grey");
    open_svg(text);
    text_print(text,
               "Exposure over the frames, in stops about middle grey: 1%% of the picture is darker than %.1f, half "
               "than %.1f, 99%% than %.1f\">\n",
               level[0], level[1], level[2]);
    for (int tick = -8; tick <= 4; tick += 4) {
        char label[8];
        (void)snprintf(label, sizeof label, tick == 0 ? "grey" : "%+d", tick);
        say_level(&plot, tick, label, tick == 0 ? "zero" : "grid", text);
    }
    text_print(text, "<path class=\"band\" d=\"");
    for (int i = 0; i < plot.columns; i++)
        say_column(&plot, &columns[i], i, text);
    text_print(text, "\"/>\n<path class=\"line\" d=\"");
    for (int i = 0; i < plot.columns; i++) {
        if (columns[i].frames > 0)
            text_print(text, "M%.1f %.1fH%.1f", across(&plot, i), down(&plot, columns[i].middle), across(&plot, i + 1));
    }
    text_print(text, "\"/>\n");
    say_gaps(&plot, columns, text);
    end(&plot, text);
}

/* ---- shake ------------------------------------------------------------------------------------------------------- */

static void say_way(const struct plot *plot, const struct pass_gauge *pass, bool is_down, double mean,
                    struct text *text)
{
    text_print(text, "<path class=\"%s\" d=\"", is_down ? "line dashed" : "line");
    for (int i = 0; i < pass->track_count; i++) {
        const struct track_point *point = &pass->track[i];
        const double x = across(plot, column_of(plot, survey_frame_number(pass, point->frame)) + 0.5);
        const double y = down(plot, (is_down ? point->y : point->x) - mean);
        text_print(text, "%c%.1f %.1f", i == 0 ? 'M' : 'L', x, y);
    }
    text_print(text, "\"/>\n");
}

void page_track(const struct survey *survey, const struct pass_gauge *pass, struct text *text)
{
    const double care = survey->limits[LIMIT_SHAKE].care;
    double x = 0, y = 0, most = fmax(1.5 * care, 0.01);
    char label[32];
    if (pass->shake < 0 || pass->track_count < 2)
        return;
    for (int i = 0; i < pass->track_count; i++) {
        x += pass->track[i].x / pass->track_count;
        y += pass->track[i].y / pass->track_count;
    }
    for (int i = 0; i < pass->track_count; i++)
        most = fmax(most, 1.1 * fmax(fabs(pass->track[i].x - x), fabs(pass->track[i].y - y)));
    const struct plot plot = plot_of(pass, -most, most);
    begin(text, "Where the picture stands, px: <b>\xE2\x80\x94</b> right, <b>- -</b> down");
    open_svg(text);
    text_print(text, "Movement along the pass: %.2f pixels root mean square, seen in %d frames\">\n", pass->shake,
               pass->track_count);
    text_print(text, "<rect class=\"within\" x=\"%d\" y=\"%.1f\" width=\"%d\" height=\"%.1f\"/>\n", LEFT,
               down(&plot, care), RIGHT - LEFT, down(&plot, -care) - down(&plot, care));
    say_level(&plot, 0, "0", "zero", text);
    for (int sign = -1; sign <= 1; sign += 2) {
        (void)snprintf(label, sizeof label, "%+.3g", sign * care);
        say_level(&plot, sign * care, label, "grid", text);
    }
    say_way(&plot, pass, false, x, text);
    say_way(&plot, pass, true, y, text);
    end(&plot, text);
}

/* ---- flicker ----------------------------------------------------------------------------------------------------- */

void page_steps(const struct survey *survey, const struct pass_gauge *pass, struct text *text)
{
    const double care = survey->limits[LIMIT_FLICKER].care;
    double steps[COLUMNS] = { 0 }, largest = 0;
    char label[32];
    if (pass->flicker < 0)
        return;
    struct plot plot = plot_of(pass, 0, 1);
    for (int i = 0; i < pass->frame_count; i++) {
        const double step = 100 * gauge_step(pass->frames, pass->frame_count, i);
        double *kept = &steps[column_of(&plot, survey_frame_number(pass, i))];
        *kept = fabs(step) > fabs(*kept) ? step : *kept;
        largest = fmax(largest, fabs(step));
    }
    plot.high = fmax(fmax(1.5 * care, 0.01), 1.1 * largest);
    plot.low = -plot.high;
    begin(text, "Each frame against its neighbours, % of light");
    open_svg(text);
    text_print(text,
               "Flicker: frames differ from their neighbours by %.2f%%, root mean square; the largest step is "
               "%.1f%%\">\n",
               100 * pass->flicker, largest);
    text_print(text, "<rect class=\"within\" x=\"%d\" y=\"%.1f\" width=\"%d\" height=\"%.1f\"/>\n", LEFT,
               down(&plot, care), RIGHT - LEFT, down(&plot, -care) - down(&plot, care));
    for (int sign = -1; sign <= 1; sign += 2) {
        (void)snprintf(label, sizeof label, "%+.3g", sign * care);
        say_level(&plot, sign * care, label, "grid", text);
    }
    text_print(text, "<path class=\"bars\" d=\"");
    for (int i = 0; i < plot.columns; i++) {
        const double x = across(&plot, i + 0.15), width = across(&plot, i + 0.85) - x, y = down(&plot, steps[i]);
        if (fabs(y - down(&plot, 0)) >= 0.05)
            text_print(text, "M%.1f %.1fh%.1fV%.1fh-%.1fz", x, y, width, down(&plot, 0), width);
    }
    text_print(text, "\"/>\n");
    say_level(&plot, 0, "0", "zero", text);
    end(&plot, text);
}
