/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Maps of a picture in few cells, so that each can say its figure: where a screen is bright or dark, where the single
 * lamps do not add up to the pass under all of them, where a pass is clipped.
 */
#include <math.h>
#include <stdio.h>

#include "base/memory.h"
#include "survey/page.h"
#include "survey/parts.h"

enum { CELLS = PARTS, CELL_WIDTH = 42, CELL_HEIGHT = 26 };

struct cells {
    double sum[CELLS], light[CELLS];
    int count[CELLS];
};

void page_open_map(struct text *text, const char *title)
{
    text_print(text, "<figure class=\"plot\"><figcaption>%s</figcaption>\n<svg viewBox=\"0 0 %d %d\" role=\"img\" ",
               title, PARTS_ACROSS * CELL_WIDTH, PARTS_DOWN * CELL_HEIGHT);
}

/* Cells are drawn side by side; their figures stand in the middle. `mark` draws a frame around it. */
void page_cell(int cell, const char *fill, const char *ink, const char *figure, bool mark, struct text *text)
{
    const int x = cell % PARTS_ACROSS * CELL_WIDTH, y = cell / PARTS_ACROSS * CELL_HEIGHT;
    text_print(text, "<rect x=\"%d\" y=\"%d\" width=\"%d\" height=\"%d\" fill=\"%s\"/>", x, y, CELL_WIDTH, CELL_HEIGHT,
               fill);
    if (mark)
        text_print(text, "<rect class=\"frame\" x=\"%d\" y=\"%d\" width=\"%d\" height=\"%d\"/>", x + 2, y + 2,
                   CELL_WIDTH - 4, CELL_HEIGHT - 4);
    text_print(text, "<text x=\"%d\" y=\"%d\" text-anchor=\"middle\" style=\"fill:%s\">%s</text>\n", x + CELL_WIDTH / 2,
               y + CELL_HEIGHT / 2 + 4, ink, figure);
}

void page_empty_cell(int cell, struct text *text)
{
    page_cell(cell, "none", "currentColor", "\xC2\xB7", false, text);
}

/* ---- the screen -------------------------------------------------------------------------------------------------- */

/* Means of the screen's strongest colour where it is bare, in stops about their middle; false when there are none. */
static bool fill_evenness(const struct portrait *portrait, struct cells *cells)
{
    const struct look *look = &portrait->look;
    const int channel = portrait->hue >= HUE_RED && portrait->hue <= HUE_BLUE ? (int)portrait->hue : 1;
    float means[CELLS];
    size_t filled = 0;
    for (size_t i = 0; i < look_count(look); i++) {
        if (portrait->role != ROLE_EMPTY && !portrait->bare[i])
            continue;
        const int cell = part_of(look, i);
        cells->sum[cell] += (double)look->plane[channel][i];
        cells->count[cell]++;
    }
    for (int i = 0; i < CELLS; i++) {
        if (cells->count[i] > 0 && cells->sum[i] > 0)
            means[filled++] = (float)(cells->sum[i] / cells->count[i]);
        else
            cells->count[i] = 0;
    }
    const double middle = (double)numbers_at(means, filled, 0.5);
    for (int i = 0; i < CELLS; i++)
        cells->sum[i] = cells->count[i] > 0 ? log2(cells->sum[i] / cells->count[i] / middle) : 0;
    return filled > 1;
}

void page_evenness(const struct pass_gauge *pass, struct text *text)
{
    struct cells cells = { 0 };
    char figure[32], dark[PART_NAME], bright[PART_NAME];
    int least = -1, most = -1;
    if (pass->evenness < 0 || !fill_evenness(pass->portrait, &cells))
        return;
    for (int i = 0; i < CELLS; i++) {
        if (cells.count[i] == 0)
            continue;
        least = least < 0 || cells.sum[i] < cells.sum[least] ? i : least;
        most = most < 0 || cells.sum[i] > cells.sum[most] ? i : most;
    }
    page_open_map(text, "The screen, stops about its middle");
    text_print(text,
               "aria-label=\"Evenness of the screen: darkest at the %s, %+.2f stops; brightest at the %s, %+.2f "
               "stops\">\n",
               part_name(least, dark), cells.sum[least], part_name(most, bright), cells.sum[most]);
    for (int i = 0; i < CELLS; i++) {
        char fill[16];
        if (cells.count[i] == 0) {
            page_empty_cell(i, text);
            continue;
        }
        const int grey = (int)(fmin(fmax(128 + 110 * cells.sum[i], 16), 240) + 0.5);
        (void)snprintf(fill, sizeof fill, "#%02x%02x%02x", (unsigned)grey, (unsigned)grey, (unsigned)grey);
        (void)snprintf(figure, sizeof figure, "%+.2f", cells.sum[i]);
        page_cell(i, fill, grey > 118 ? "#000" : "#fff", figure, i == least || i == most, text);
    }
    text_print(text, "</svg></figure>\n");
}

/* ---- the sum of the lamps ---------------------------------------------------------------------------------------- */

/* What is left in each cell, as a share of the cell's light; cells without light have no count. */
static void fill_rest(const struct portraits *portraits, const struct portrait *all, struct cells *cells)
{
    double light = 0;
    for (size_t i = 0; i < look_count(&all->look); i++) {
        const int cell = part_of(&all->look, i);
        float own;
        cells->sum[cell] += (double)portraits_rest(portraits, all, i, &own);
        cells->light[cell] += (double)own;
        cells->count[cell]++;
        light += (double)own;
    }
    for (int i = 0; i < CELLS; i++) {
        if (cells->light[i] < 0.1 * light / CELLS)
            cells->count[i] = 0;
        else
            cells->sum[i] /= cells->light[i];
    }
}

void page_rest(const struct survey *survey, const struct pass_gauge *pass, struct text *text)
{
    struct cells cells = { 0 };
    char where[PART_NAME], figure[32];
    int worst = -1;
    if (pass->sum < 0 || pass->portrait->role != ROLE_ALL_LAMPS)
        return;
    fill_rest(&survey->portraits, pass->portrait, &cells);
    for (int i = 0; i < CELLS; i++)
        worst = cells.count[i] > 0 && (worst < 0 || fabs(cells.sum[i]) > fabs(cells.sum[worst])) ? i : worst;
    if (worst < 0)
        return;
    page_open_map(text, "All lamps less the single ones, % of light");
    text_print(text,
               "aria-label=\"What the single lamps do not make of all lamps together: most at the %s, %+.0f%%\">\n",
               part_name(worst, where), 100 * cells.sum[worst]);
    for (int i = 0; i < CELLS; i++) {
        char fill[16];
        if (cells.count[i] == 0) {
            page_empty_cell(i, text);
            continue;
        }
        /* From grey to orange where light is missing from the sum, to blue where there is too much of it. */
        const double share = fmin(100 * fabs(cells.sum[i]) / survey->limits[LIMIT_SUM].shoot, 1);
        const bool more = cells.sum[i] > 0;
        (void)snprintf(fill, sizeof fill, "#%02x%02x%02x", (unsigned)(150 + (more ? 90 : -60) * share),
                       (unsigned)(150 - 10 * share), (unsigned)(150 + (more ? -90 : 90) * share));
        (void)snprintf(figure, sizeof figure, "%+.0f", 100 * cells.sum[i]);
        page_cell(i, fill, "#000", figure, i == worst, text);
    }
    text_print(text, "</svg></figure>\n");
}

/* ---- crushed black ----------------------------------------------------------------------------------------------- */

void page_crushed(const struct pass_gauge *pass, struct text *text)
{
    static const char *const names[] = { "red", "green", "blue" };
    const struct crushed_gauge *crushed = &pass->crushed;
    char name[PART_NAME], figure[32];
    if (crushed->part < 0)
        return;
    page_open_map(text, "Crushed, % of what is lit");
    text_print(text, "aria-label=\"Crushed black in %s, worst in the %s\">\n", names[crushed->channel],
               part_name(crushed->part, name));
    for (int i = 0; i < CELLS; i++) {
        char fill[16];
        if (crushed->parts[i] < 0) {
            page_empty_cell(i, text);
            continue;
        }
        const unsigned grey = (unsigned)(230 - 200 * sqrtf(crushed->parts[i]));
        (void)snprintf(fill, sizeof fill, "#%02x%02x%02x", grey, grey, grey);
        (void)snprintf(figure, sizeof figure, "%.0f", 100 * (double)crushed->parts[i]);
        page_cell(i, fill, grey > 118 ? "#000" : "#fff", figure, i == crushed->part, text);
    }
    text_print(text, "</svg></figure>\n");
}

/* ---- clipping ---------------------------------------------------------------------------------------------------- */

bool page_clipped(const struct pass_gauge *pass, int index, struct text *text)
{
    uint8_t worst[TILES] = { 0 };
    bool any = false;
    for (int i = 0; i < pass->frame_count; i++) {
        for (int t = 0; t < TILES; t++) {
            const uint8_t here = pass->frames[i].at_top[t];
            worst[t] = here > worst[t] ? here : worst[t];
            any = any || here > 0;
        }
    }
    if (!any)
        return false;
    text_print(
        text,
        "<svg class=\"over\" viewBox=\"0 0 %d %d\" preserveAspectRatio=\"none\" role=\"img\" aria-label=\"Hatched "
        "where it is clipped in any frame\"><pattern id=\"h%d\" width=\".5\" height=\".5\" "
        "patternUnits=\"userSpaceOnUse\"><path d=\"M0 .5L.5 0M-.1 .1L.1 -.1M.4 .6L.6 .4\"/></pattern>\n",
        TILES_ACROSS, TILES_DOWN, index);
    for (int t = 0; t < TILES; t++) {
        if (worst[t] > 0)
            text_print(text, "<rect x=\"%d\" y=\"%d\" width=\"1\" height=\"1\" fill=\"url(#h%d)\" opacity=\"%.2f\"/>\n",
                       t % TILES_ACROSS, t / TILES_ACROSS, index, 0.3 + 0.7 * worst[t] / 255);
    }
    text_print(text, "</svg>\n");
    return true;
}
