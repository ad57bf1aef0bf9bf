/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * passel chart: the graph of a recipe as a picture, in SVG or as text for a graph drawer (DOT).
 */
#include <stdio.h>
#include <string.h>

#include "command/chart_layout.h"
#include "command/command.h"
#include "command/open_recipe.h"
#include "engine/recipe_handle.h"

static const struct option options[] = {
    { "--dot", NULL, false, "DOT text instead of SVG" },
    { "--set", "'BLOCK: LINE'", true, "a setting for this run only; may be given several times" },
    { NULL, NULL, false, NULL },
};

enum { BOX_WIDTH = 150, BOX_HEIGHT = 44, GAP_X = 90, GAP_Y = 26, MARGIN = 30 };

static const char *block_label(const struct block *block)
{
    if (block->schema->form != HEAD_OUTPUT || block->name[0] != '\0')
        return block->name;
    return "output";
}

/* What stands small below the name: the kind, and of an output its file. */
static const char *block_note(const struct block *block)
{
    if (block->schema->form != HEAD_OUTPUT)
        return block->schema->name;
    const struct value *file = setting_value(block_setting(block, "file"), 0);
    return file != NULL ? file->text : block->schema->name;
}

static void xml_text(const char *text)
{
    for (; *text != '\0'; text++) {
        if (*text == '<')
            (void)fputs("&lt;", stdout);
        else if (*text == '>')
            (void)fputs("&gt;", stdout);
        else if (*text == '&')
            (void)fputs("&amp;", stdout);
        else if (*text == '"')
            (void)fputs("&quot;", stdout);
        else if ((unsigned char)*text >= 0x20)
            (void)putchar(*text);
    }
}

/* Text that would leave its box loses its middle, never inside a UTF-8 sequence. */
static void xml_fitted(const char *text, size_t most)
{
    char head[64];
    const size_t length = strlen(text);
    if (length <= most || most + 4 > sizeof head) {
        xml_text(text);
        return;
    }
    size_t cut = most / 2, rest = length - most / 2 + 1;
    while (cut > 0 && ((unsigned char)text[cut] & 0xC0) == 0x80)
        cut--;
    while (rest < length && ((unsigned char)text[rest] & 0xC0) == 0x80)
        rest++;
    (void)snprintf(head, sizeof head, "%.*s…", (int)cut, text);
    xml_text(head);
    xml_text(text + rest);
}

static int box_x(const struct chart *chart, int block)
{
    return MARGIN + chart->column[block] * (BOX_WIDTH + GAP_X);
}

/* Columns are centred upon each other. */
static int box_y(const struct chart *chart, int block)
{
    int inside = 0;
    for (int b = 0; b < chart->recipe->block_count; b++)
        inside += chart->column[b] == chart->column[block];
    const int step = BOX_HEIGHT + GAP_Y;
    return MARGIN + (chart->rows - inside) * step / 2 + chart->row[block] * step;
}

static void svg_line(const struct chart *chart, const struct chart_line *line)
{
    const int x0 = box_x(chart, line->from) + BOX_WIDTH, y0 = box_y(chart, line->from) + BOX_HEIGHT / 2;
    const int x1 = box_x(chart, line->to), y1 = box_y(chart, line->to) + BOX_HEIGHT / 2;
    const bool number = chart->recipe->blocks[line->from]->schema->makes == MAKES_NUMBER;
    const int bend = (x1 - x0) / 2;
    (void)printf("<path d=\"M%d %d C%d %d %d %d %d %d\" fill=\"none\" stroke=\"%s\" stroke-width=\"1.5\"%s/>\n", x0, y0,
                 x0 + bend, y0, x1 - bend, y1, x1, y1, number ? "#a06a1c" : "#4a5a6a",
                 number ? " stroke-dasharray=\"4 3\"" : "");
    if (line->further == NULL)
        return;
    (void)printf("<text x=\"%d\" y=\"%d\" font-size=\"10\" fill=\"#4a5a6a\">.", x0 + 4, y0 - 4);
    xml_text(line->further);
    (void)printf("</text>\n");
}

static void svg_box(const struct chart *chart, int b)
{
    const struct block *block = chart->recipe->blocks[b];
    const int x = box_x(chart, b), y = box_y(chart, b);
    const char *fill = block->schema->form == HEAD_OUTPUT      ? "#e6efe2"
                       : block->schema->makes == MAKES_NUMBER ? "#f6ead6"
                                                              : "#eceff3";
    (void)printf("<rect x=\"%d\" y=\"%d\" width=\"%d\" height=\"%d\" rx=\"3\" fill=\"%s\" stroke=\"#3a4652\"/>\n", x, y,
                 BOX_WIDTH, BOX_HEIGHT, fill);
    (void)printf("<text x=\"%d\" y=\"%d\" font-size=\"14\" fill=\"#1c242c\">", x + 10, y + 19);
    xml_fitted(block_label(block), 18);
    (void)printf("</text>\n<text x=\"%d\" y=\"%d\" font-size=\"11\" fill=\"#56626e\">", x + 10, y + 35);
    xml_fitted(block_note(block), 24);
    (void)printf("</text>\n");
}

static void print_svg(const struct chart *chart)
{
    const int width = 2 * MARGIN + chart->columns * (BOX_WIDTH + GAP_X) - GAP_X;
    const int height = 2 * MARGIN + chart->rows * (BOX_HEIGHT + GAP_Y) - GAP_Y;
    (void)printf("<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"%d\" height=\"%d\" viewBox=\"0 0 %d %d\" "
                 "font-family=\"sans-serif\">\n<rect width=\"100%%\" height=\"100%%\" fill=\"#ffffff\"/>\n",
                 width, height, width, height);
    for (int i = 0; i < chart->line_count; i++)
        svg_line(chart, &chart->lines[i]);
    for (int b = 0; b < chart->recipe->block_count; b++) {
        if (chart->column[b] >= 0)
            svg_box(chart, b);
    }
    (void)printf("</svg>\n");
}

static void dot_text(const char *text)
{
    for (; *text != '\0'; text++) {
        if (*text == '"' || *text == '\\')
            (void)putchar('\\');
        (void)putchar(*text);
    }
}

static void print_dot(const struct chart *chart)
{
    (void)printf("digraph recipe {\n  rankdir=LR;\n  node [shape=box];\n");
    for (int b = 0; b < chart->recipe->block_count; b++) {
        if (chart->column[b] < 0)
            continue;
        (void)printf("  b%d [label=\"", b);
        dot_text(block_label(chart->recipe->blocks[b]));
        (void)printf("\\n");
        dot_text(block_note(chart->recipe->blocks[b]));
        (void)printf("\"];\n");
    }
    for (int i = 0; i < chart->line_count; i++) {
        const struct chart_line *line = &chart->lines[i];
        (void)printf("  b%d -> b%d", line->from, line->to);
        if (line->role != NULL)
            (void)printf(" [label=\"%s%s%s\"]", line->role, line->further != NULL ? " ." : "",
                         line->further != NULL ? line->further : "");
        (void)printf(";\n");
    }
    (void)printf("}\n");
}

static enum exit_code run(const struct call *call)
{
    struct passel_recipe *recipe;
    const enum exit_code code = open_recipe(call, &recipe);
    if (code != EXIT_FINE)
        return code;
    struct chart chart;
    struct passel_error error = { 0 };
    const enum passel_status status = chart_make(&chart, recipe->recipe, &error);
    if (status == PASSEL_OK) {
        if (call_has(call, "--dot"))
            print_dot(&chart);
        else
            print_svg(&chart);
        chart_release(&chart);
    }
    passel_recipe_free(recipe);
    return end_with(status, &error);
}

const struct command command_chart = {
    .name = "chart",
    .arguments = "RECIPE",
    .summary = "Draws the graph of a recipe, on standard output.",
    .least_arguments = 1,
    .most_arguments = 1,
    .options = options,
    .run = run,
};
