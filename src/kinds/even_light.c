/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "kinds/even_light.h"

#include <math.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "numerics/least_squares.h"
#include "picture/function.h"

/* ---- cells ----------------------------------------------------------------------------------------------------- */

static int32_t cell_side(int32_t full_size, int scale)
{
    return full_size / scale > 2 ? full_size / scale : 2;
}

struct light_grid light_grid_over(struct rect display, enum even_light mode, int scale)
{
    struct light_grid grid = { .display = display };
    const int32_t width = rect_width(display), height = rect_height(display);
    grid.cell_width = cell_side(16, scale);
    grid.cell_height = cell_side(mode == EVEN_BANDS ? 4 : 16, scale);
    grid.columns = (width + grid.cell_width - 1) / grid.cell_width;
    grid.rows = (height + grid.cell_height - 1) / grid.cell_height;
    return grid;
}

struct rect light_grid_pixels(const struct light_grid *grid, struct rect cells)
{
    const struct rect d = grid->display;
    return rect_cut(rect_of(d.x0 + cells.x0 * grid->cell_width, d.y0 + cells.y0 * grid->cell_height,
                            d.x0 + cells.x1 * grid->cell_width, d.y0 + cells.y1 * grid->cell_height),
                    d);
}

static float cell_mean(const struct picture *in, struct rect pixels)
{
    double sum = 0;
    for (int32_t y = pixels.y0; y < pixels.y1; y++) {
        const int32_t skip = pixels.x0 - in->area.x0;
        const float *r = picture_row(in, PLANE_R, y) + skip, *g = picture_row(in, PLANE_G, y) + skip,
                    *b = picture_row(in, PLANE_B, y) + skip;
        for (int32_t x = 0; x < rect_width(pixels); x++)
            sum += 0.25 * (double)r[x] + 0.5 * (double)g[x] + 0.25 * (double)b[x];
    }
    return (float)(sum / ((double)rect_width(pixels) * (double)rect_height(pixels)));
}

void light_grid_measure(const struct light_grid *grid, const struct picture *in, const struct picture *out)
{
    for (int32_t y = out->area.y0; y < out->area.y1; y++) {
        float *row = picture_row(out, PLANE_A, y);
        for (int32_t x = out->area.x0; x < out->area.x1; x++)
            row[x - out->area.x0] = cell_mean(in, light_grid_pixels(grid, rect_of(x, y, x + 1, y + 1)));
    }
}

/* ---- robust means ---------------------------------------------------------------------------------------------- */

static void swap(double *a, double *b)
{
    const double kept = *a;
    *a = *b;
    *b = kept;
}

/* Brings the value that sorting would put at `rank` there, smaller ones before it. */
static double select_rank(double *values, int count, int rank)
{
    int low = 0, high = count - 1;
    while (low < high) {
        const double pivot = values[low + (high - low) / 2];
        int i = low, k = high;
        while (i <= k) {
            while (values[i] < pivot)
                i++;
            while (values[k] > pivot)
                k--;
            if (i <= k)
                swap(&values[i++], &values[k--]);
        }
        if (rank <= k)
            high = k;
        else if (rank >= i)
            low = i;
        else
            break;
    }
    return values[rank];
}

static double median_of(double *values, int count)
{
    const double upper = select_rank(values, count, count / 2);
    return count % 2 != 0 ? upper : 0.5 * (upper + select_rank(values, count, count / 2 - 1));
}

/* ---- frames against what they have in common ------------------------------------------------------------------- */

/* By how much (logarithm to base 2) a frame is brighter than the common light, for the cells that say something. */
struct ratios {
    double *value;  /* packed */
    double *sorted; /* room for as many */
    int32_t *cell;  /* which one */
    int count;
};

#define DARK (-1e9) /* the logarithm of light that says nothing */

/* Logarithms of a frame's light, cell by cell. */
static void take_logarithms(const struct picture *light, double *out)
{
    const int32_t columns = light->area.x1, rows = light->area.y1;
    double sum = 0;
    for (int32_t y = 0; y < rows; y++) {
        for (int32_t x = 0; x < columns; x++)
            sum += (double)picture_row(light, PLANE_A, y)[x];
    }
    const double least = fmax(0.02 * sum / ((double)columns * rows), 1e-12);
    for (int32_t y = 0; y < rows; y++) {
        for (int32_t x = 0; x < columns; x++) {
            const double here = (double)picture_row(light, PLANE_A, y)[x];
            *out++ = here > least ? function_log2(here) : DARK;
        }
    }
}

static void ratios_of(struct ratios *ratios, const double *logarithms, const double *common, size_t cells)
{
    ratios->count = 0;
    for (size_t i = 0; i < cells; i++) {
        if (logarithms[i] < 0.25 * DARK || common[i] < 0.25 * DARK)
            continue;
        ratios->cell[ratios->count] = (int32_t)i;
        ratios->value[ratios->count++] = logarithms[i] - common[i];
    }
}

/* Tukey's weight of a residual in units of the spread: 0 from 4.685 spreads on. */
static double tukey(double residual, double spread)
{
    const double u = residual / (4.685 * spread);
    return fabs(u) < 1 ? (1 - u * u) * (1 - u * u) : 0;
}

/* A spread that one odd cell in two does not change; never 0. */
static double spread_about(struct ratios *ratios, int first, int count, const double *model)
{
    for (int i = 0; i < count; i++)
        ratios->sorted[i] = fabs(ratios->value[first + i] - model[first + i]);
    return 1.4826 * median_of(ratios->sorted, count) + 1e-6;
}

/* Where most of the values first … first + count - 1 are; `model` is room. */
static double location(struct ratios *ratios, int first, int count, double *model)
{
    memcpy(ratios->sorted, ratios->value + first, (size_t)count * sizeof *ratios->sorted);
    double centre = median_of(ratios->sorted, count);
    for (int pass = 0; pass < 5; pass++) {
        for (int i = 0; i < count; i++)
            model[first + i] = centre;
        const double spread = spread_about(ratios, first, count, model);
        double sum = 0, weights = 0;
        for (int i = 0; i < count; i++) {
            const double weight = tukey(ratios->value[first + i] - centre, spread);
            sum += weight * ratios->value[first + i];
            weights += weight;
        }
        if (weights > 0)
            centre = sum / weights;
    }
    return centre;
}

/* ---- surfaces and rows ----------------------------------------------------------------------------------------- */

enum { TERMS = 6 };

static void surface_terms(const struct light_grid *grid, int32_t cell, double terms[TERMS])
{
    const double x = ((double)(cell % grid->columns) + 0.5) / grid->columns * 2 - 1;
    const double y = ((double)(cell / grid->columns) + 0.5) / grid->rows * 2 - 1;
    const double all[TERMS] = { 1, x, y, x * x, x * y, y * y };
    memcpy(terms, all, sizeof all);
}

static double surface_at(const double terms[TERMS], const double surface[TERMS])
{
    double sum = 0;
    for (int i = 0; i < TERMS; i++)
        sum += terms[i] * surface[i];
    return sum;
}

/* Iteratively re-weighted: begins level and ends as the surface that most cells lie on. */
static void fit_surface(const struct light_grid *grid, struct ratios *ratios, double *model, double *out)
{
    double surface[TERMS] = { location(ratios, 0, ratios->count, model) };
    for (int pass = 0; pass < 12; pass++) {
        struct normal_equations equations;
        double terms[TERMS];
        for (int i = 0; i < ratios->count; i++) {
            surface_terms(grid, ratios->cell[i], terms);
            model[i] = surface_at(terms, surface);
        }
        const double spread = spread_about(ratios, 0, ratios->count, model);
        normal_equations_init(&equations, TERMS);
        for (int i = 0; i < ratios->count; i++) {
            surface_terms(grid, ratios->cell[i], terms);
            normal_equations_add(&equations, terms, ratios->value[i], tukey(ratios->value[i] - model[i], spread));
        }
        if (!normal_equations_solve(&equations, surface))
            break;
    }
    for (int32_t cell = 0; cell < grid->columns * grid->rows; cell++) {
        double terms[TERMS];
        surface_terms(grid, cell, terms);
        out[cell] = surface_at(terms, surface);
    }
}

/* Drops the cells that are far from where the whole frame is. What moves may fill most of a row, and would then be what
 * the row goes by. */
static void keep_near(struct ratios *ratios, double centre, double *model)
{
    int kept = 0;
    for (int i = 0; i < ratios->count; i++)
        model[i] = centre;
    const double reach = 3 * spread_about(ratios, 0, ratios->count, model);
    for (int i = 0; i < ratios->count; i++) {
        if (fabs(ratios->value[i] - centre) > reach)
            continue;
        ratios->value[kept] = ratios->value[i];
        ratios->cell[kept++] = ratios->cell[i];
    }
    ratios->count = kept;
}

/* Each row of cells for itself; one in which nothing is said goes as the whole frame does. */
static void fit_rows(const struct light_grid *grid, struct ratios *ratios, double *model, double *out)
{
    const double whole = location(ratios, 0, ratios->count, model);
    int first = 0;
    keep_near(ratios, whole, model);
    for (int32_t y = 0; y < grid->rows; y++) {
        int end = first;
        while (end < ratios->count && ratios->cell[end] / grid->columns == y)
            end++;
        out[y] = end > first ? location(ratios, first, end - first, model) : whole;
        first = end;
    }
}

/* A frame's flicker, as the mode has it; none where nothing is said. */
static void fit(const struct light_grid *grid, enum even_light mode, struct ratios *ratios, double *model, double *out)
{
    if (ratios->count == 0)
        return;
    if (mode == EVEN_AREAS)
        fit_surface(grid, ratios, model, out);
    else if (mode == EVEN_BANDS)
        fit_rows(grid, ratios, model, out);
    else
        out[0] = location(ratios, 0, ratios->count, model);
}

/* Shares that rise from the first frame to the middle one and fall again, a Hann window: the sum over anything that
 * comes and goes, such as a rolling band, is then next to nothing, wherever the window ends. */
static double other_share(int i, int count)
{
    return (1 - function_cospi(2.0 * (i + 1) / (count + 1))) / (count + 1);
}

/* What even_light_gain works on. */
struct even_room {
    const struct light_grid *grid;
    enum even_light mode;
    size_t cells, values; /* values: of one frame's flicker */
    int frames;
    struct ratios ratios;
    double *logarithms; /* of all frames, one behind the other */
    double *flicker;    /* likewise; the last one is of the frame that is asked for */
    double *common, *model, *median;
};

static void room_release(struct even_room *room)
{
    memory_free(room->ratios.value);
    memory_free(room->ratios.sorted);
    memory_free(room->ratios.cell);
    memory_free(room->logarithms);
    memory_free(room->flicker);
    memory_free(room->common);
    memory_free(room->model);
    memory_free(room->median);
}

static bool room_make(struct even_room *room)
{
    const size_t cells = room->cells, frames = (size_t)room->frames;
    room->logarithms = memory_zeros(cells * frames, sizeof *room->logarithms);
    room->flicker = memory_zeros(room->values * (frames + 1), sizeof *room->flicker);
    room->common = memory_zeros(cells, sizeof *room->common);
    room->model = memory_zeros(cells, sizeof *room->model);
    room->median = memory_zeros(frames, sizeof *room->median);
    room->ratios.value = memory_zeros(cells, sizeof *room->ratios.value);
    room->ratios.sorted = memory_zeros(cells, sizeof *room->ratios.sorted);
    room->ratios.cell = memory_zeros(cells, sizeof *room->ratios.cell);
    return room->logarithms != NULL && room->flicker != NULL && room->common != NULL && room->model != NULL &&
           room->median != NULL && room->ratios.value != NULL && room->ratios.sorted != NULL &&
           room->ratios.cell != NULL;
}

/* Which value of a frame's flicker a cell goes by. */
static size_t value_of_cell(const struct even_room *room, size_t cell)
{
    return room->mode == EVEN_AREAS ? cell : room->mode == EVEN_BANDS ? cell / (size_t)room->grid->columns : 0;
}

/* Cell by cell the median over frames, their flicker as far as it is known taken off: what passes by is not in it. */
static void find_common(const struct even_room *room)
{
    for (size_t cell = 0; cell < room->cells; cell++) {
        const size_t value = value_of_cell(room, cell);
        for (int i = 0; i < room->frames; i++)
            room->median[i] =
                room->logarithms[(size_t)i * room->cells + cell] - room->flicker[(size_t)i * room->values + value];
        room->common[cell] = median_of(room->median, room->frames);
    }
}

static void find_flicker(struct even_room *room, const double *logarithms, int frame)
{
    ratios_of(&room->ratios, logarithms, room->common, room->cells);
    fit(room->grid, room->mode, &room->ratios, room->model, room->flicker + (size_t)frame * room->values);
}

/* The first round knows no flicker, and a cell that something passed is then off by that of the frames it was free in.
 */
static void compare_frames(struct even_room *room, const struct picture *light, const struct picture *others)
{
    for (int i = 0; i < room->frames; i++)
        take_logarithms(&others[i], room->logarithms + (size_t)i * room->cells);
    for (int round = 0; round < 3; round++) {
        find_common(room);
        for (int i = 0; i < room->frames; i++)
            find_flicker(room, room->logarithms + (size_t)i * room->cells, i);
    }
    take_logarithms(light, room->logarithms);
    find_flicker(room, room->logarithms, room->frames);
}

enum passel_status even_light_gain(const struct light_grid *grid, enum even_light mode, const struct picture *light,
                                   const struct picture *others, int other_count, struct gain_field *field,
                                   struct passel_error *error)
{
    const int32_t columns = mode == EVEN_AREAS ? grid->columns : 1, rows = mode == EVEN_WHOLE ? 1 : grid->rows;
    const size_t values = (size_t)columns * (size_t)rows;
    struct even_room room = { .grid = grid,
                              .mode = mode,
                              .cells = (size_t)grid->columns * (size_t)grid->rows,
                              .values = values,
                              .frames = other_count };
    *field = (struct gain_field){ .x0 = grid->display.x0,
                                  .y0 = grid->display.y0,
                                  .cell_width = grid->cell_width,
                                  .cell_height = grid->cell_height,
                                  .columns = columns,
                                  .rows = rows,
                                  .gain = memory_zeros(values, sizeof *field->gain) };
    if (!room_make(&room) || field->gain == NULL) {
        room_release(&room);
        memory_free(field->gain);
        field->gain = NULL;
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    }
    compare_frames(&room, light, others);
    for (size_t value = 0; value < values; value++) {
        double level = -room.flicker[(size_t)other_count * values + value];
        for (int i = 0; i < other_count; i++)
            level += other_share(i, other_count) * room.flicker[(size_t)i * values + value];
        field->gain[value] = (float)function_exp2(level);
    }
    room_release(&room);
    return PASSEL_OK;
}

/* ---- the gain of a pixel --------------------------------------------------------------------------------------- */

/* The value before a position among `count` centres, and how far it lies towards the next. */
static int32_t before(double position, int32_t count, float *share)
{
    const double held = fmin(fmax(position, 0), count - 1);
    const int32_t i = (int32_t)held < count - 1 ? (int32_t)held : count - 2;
    *share = count > 1 ? (float)(held - i) : 0;
    return count > 1 ? i : 0;
}

float gain_field_at(const struct gain_field *field, double x, double y)
{
    float u, v;
    const int32_t i = before((x - field->x0) / field->cell_width - 0.5, field->columns, &u);
    const int32_t k = before((y - field->y0) / field->cell_height - 0.5, field->rows, &v);
    const float *top = field->gain + (size_t)k * (size_t)field->columns + i;
    const float *low = field->rows > 1 ? top + field->columns : top;
    const int32_t right = field->columns > 1;
    return (1 - v) * ((1 - u) * top[0] + u * top[right]) + v * ((1 - u) * low[0] + u * low[right]);
}

void gain_field_row(const struct gain_field *field, int32_t x0, int32_t y, int32_t count, float *row)
{
    if (field->columns == 1) {
        const float gain = gain_field_at(field, 0, y + 0.5);
        for (int32_t i = 0; i < count; i++)
            row[i] *= gain;
        return;
    }
    for (int32_t i = 0; i < count; i++)
        row[i] *= gain_field_at(field, x0 + i + 0.5, y + 0.5);
}
