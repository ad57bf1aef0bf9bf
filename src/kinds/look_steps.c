/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "kinds/look_steps.h"

#include <math.h>

#include "base/error.h"
#include "kinds/alpha_input.h"
#include "kinds/arena_picture.h"
#include "numerics/aperture.h"
#include "numerics/blur.h"
#include "picture/function.h"

int32_t look_step_reach(enum look_action action, double pixels)
{
    switch (action) {
    case LOOK_BLUR:
    case LOOK_SHARPEN:
    case LOOK_GLOW:
        return blur_radius(pixels);
    case LOOK_DEFOCUS:
        return aperture_reach(pixels);
    default:
        return 0;
    }
}

/* ---- steps on single pixels -------------------------------------------------------------------------------------- */

/* One row of a picture; alpha is NULL where everything is solid. */
struct row {
    float *colour[3], *alpha;
    int32_t x0, y, count;
};

static struct row row_of(const struct picture *picture, int32_t y)
{
    struct row row = { .x0 = picture->area.x0, .y = y, .count = rect_width(picture->area) };
    for (int c = 0; c < 3; c++)
        row.colour[c] = picture_row(picture, (enum plane)c, y);
    if (picture->plane[PLANE_A] != NULL)
        row.alpha = picture_row(picture, PLANE_A, y);
    return row;
}

static void row_gain(const struct row *row, const float gain[3])
{
    for (int c = 0; c < 3; c++) {
        float *restrict to = row->colour[c];
        for (int32_t i = 0; i < row->count; i++)
            to[i] *= gain[c];
    }
}

static void row_saturation(const struct row *row, const float weights[3], float saturation)
{
    float *restrict r = row->colour[0], *restrict g = row->colour[1], *restrict b = row->colour[2];
    for (int32_t i = 0; i < row->count; i++) {
        const float grey = weights[0] * r[i] + weights[1] * g[i] + weights[2] * b[i];
        r[i] = grey + saturation * (r[i] - grey);
        g[i] = grey + saturation * (g[i] - grey);
        b[i] = grey + saturation * (b[i] - grey);
    }
}

/* Where nothing is, there is nothing to divide by: light without alpha, such as a flame's, counts as it is. */
static void row_straight(const struct row *row, bool straight)
{
    for (int c = 0; c < 3 && row->alpha != NULL; c++) {
        for (int32_t i = 0; i < row->count; i++) {
            const float alpha = row->alpha[i] > 0 ? row->alpha[i] : 1;
            row->colour[c][i] = straight ? row->colour[c][i] / alpha : row->colour[c][i] * alpha;
        }
    }
}

/* An offset makes no light where nothing is. */
static void row_cdl(const struct row *row, const struct cdl *cdl)
{
    static const float rec709[3] = { 0.2126F, 0.7152F, 0.0722F }; /* whatever the primaries: so it is published */
    row_straight(row, true);
    for (int c = 0; c < 3; c++) {
        float *to = row->colour[c];
        encoding_apply(cdl->encoding, to, (size_t)row->count);
        for (int32_t i = 0; i < row->count; i++)
            to[i] = to[i] * cdl->slope[c] + (row->alpha == NULL || row->alpha[i] > 0 ? cdl->offset[c] : 0);
        if (cdl->power[c] < 1 || cdl->power[c] > 1)
            function_power(to, (size_t)row->count, cdl->power[c]);
    }
    if (cdl->saturation < 1 || cdl->saturation > 1)
        row_saturation(row, rec709, cdl->saturation);
    for (int c = 0; c < 3; c++)
        encoding_undo(cdl->encoding, row->colour[c], (size_t)row->count);
    row_straight(row, false);
}

static void row_veil(const struct row *row, const struct look_step *step)
{
    for (int c = 0; c < 3; c++) {
        float *restrict to = row->colour[c];
        for (int32_t i = 0; i < row->count; i++) {
            const float alpha = row->alpha != NULL ? alpha_clamped(row->alpha[i]) : 1;
            to[i] = (1 - step->amount) * to[i] + step->amount * step->colour[c] * alpha;
        }
    }
}

/* Darkens with the square of the way from where it begins to the corner: `amount` stops there. */
static void row_vignette(const struct row *row, const struct look_step *step)
{
    const double w = rect_width(step->frame), h = rect_height(step->frame), half = 4 / (w * w + h * h);
    const double y = row->y + 0.5 - (step->frame.y0 + h / 2), from = (double)step->level;
    for (int32_t i = 0; i < row->count; i++) {
        const double x = row->x0 + i + 0.5 - (step->frame.x0 + w / 2);
        const double way = (sqrt((x * x + y * y) * half) - from) / (1 - from);
        const float gain = way > 0 ? (float)function_exp2(-(double)step->amount * way * way) : 1;
        for (int c = 0; c < 3; c++)
            row->colour[c][i] *= gain;
    }
}

static void step_row(const struct look_step *step, const struct row *row)
{
    switch (step->action) {
    case LOOK_CDL:
        row_cdl(row, &step->cdl);
        break;
    case LOOK_SATURATION:
        row_saturation(row, step->weights, step->amount);
        break;
    case LOOK_VEIL:
        row_veil(row, step);
        break;
    case LOOK_VIGNETTE:
        row_vignette(row, step);
        break;
    default:
        row_gain(row, step->colour);
        break;
    }
}

static void step_pixels(const struct look_step *step, const struct picture *picture)
{
    for (int32_t y = picture->area.y0; y < picture->area.y1; y++) {
        const struct row row = row_of(picture, y);
        step_row(step, &row);
    }
}

/* ---- grain ------------------------------------------------------------------------------------------------------- */

static enum passel_status lay_grain(const struct look_step *step, const struct picture *picture, struct arena *scratch,
                                    struct passel_error *error)
{
    const int32_t count = rect_width(picture->area);
    float *room = arena_array(scratch, 4 * 3 * ((size_t)count + 2), sizeof *room);
    float *grain[3];
    bool whole = room != NULL;
    for (int c = 0; c < 3; c++)
        whole = (grain[c] = arena_row(scratch, count)) != NULL && whole;
    if (!whole)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    for (int32_t y = picture->area.y0; y < picture->area.y1; y++) {
        const struct row row = row_of(picture, y);
        const float *const light[3] = { row.colour[0], row.colour[1], row.colour[2] };
        grain_row(step->grain, step->seed, row.x0, y, count, light, grain, room);
        for (int c = 0; c < 3; c++) {
            for (int32_t i = 0; i < count; i++)
                row.colour[c][i] += step->amount * grain[c][i] * (row.alpha != NULL ? alpha_clamped(row.alpha[i]) : 1);
        }
    }
    return PASSEL_OK;
}

/* ---- steps that look around -------------------------------------------------------------------------------------- */

static enum passel_status soften(const struct look_step *step, struct rect area, struct picture *picture,
                                 struct arena *scratch, struct passel_error *error)
{
    struct picture made;
    RETURN_IF_ERROR(arena_picture(scratch, area, picture_planes(picture), &made, error));
    for (int p = 0; p < PLANE_COUNT; p++) {
        if (made.plane[p] == NULL)
            continue;
        if (step->action == LOOK_DEFOCUS)
            RETURN_IF_ERROR(aperture_plane(&made, picture, (enum plane)p, step->pixels, scratch, error));
        else
            RETURN_IF_ERROR(blur_plane(&made, picture, (enum plane)p, step->pixels, scratch, error));
    }
    *picture = made;
    return PASSEL_OK;
}

/* Light above the level, which is what glows. */
static enum passel_status bright_part(const struct look_step *step, const struct picture *picture,
                                      struct picture *bright, struct arena *scratch, struct passel_error *error)
{
    RETURN_IF_ERROR(arena_picture(scratch, picture->area, HAS_RGB, bright, error));
    for (int c = 0; c < 3; c++) {
        for (int32_t y = picture->area.y0; y < picture->area.y1; y++) {
            const float *from = picture_row(picture, (enum plane)c, y);
            float *to = picture_row(bright, (enum plane)c, y);
            for (int32_t i = 0; i < rect_width(picture->area); i++)
                to[i] = from[i] > step->level ? from[i] - step->level : 0;
        }
    }
    return PASSEL_OK;
}

/* to = keep · to + share · from, in the colours; `from` may hold more. */
static void mix_colours(const struct picture *to, float keep, const struct picture *from, float share)
{
    for (int c = 0; c < 3; c++) {
        for (int32_t y = to->area.y0; y < to->area.y1; y++) {
            float *restrict row = picture_row(to, (enum plane)c, y);
            const float *restrict other = picture_row(from, (enum plane)c, y) + (to->area.x0 - from->area.x0);
            for (int32_t i = 0; i < rect_width(to->area); i++)
                row[i] = keep * row[i] + share * other[i];
        }
    }
}

/* Both know a picture and the blurred one: sharpening adds what the blur took, a glow what it spread. */
static enum passel_status spread(const struct look_step *step, struct rect area, struct picture *picture,
                                 struct arena *scratch, struct passel_error *error)
{
    const bool glow = step->action == LOOK_GLOW;
    struct picture bright = *picture, blurred;
    if (glow)
        RETURN_IF_ERROR(bright_part(step, picture, &bright, scratch, error));
    RETURN_IF_ERROR(arena_picture(scratch, area, HAS_RGB, &blurred, error));
    for (int c = 0; c < 3; c++)
        RETURN_IF_ERROR(blur_plane(&blurred, &bright, (enum plane)c, step->pixels, scratch, error));
    *picture = picture_part(picture, area);
    mix_colours(picture, glow ? 1 : 1 + step->amount, &blurred, glow ? step->amount : -step->amount);
    return PASSEL_OK;
}

enum passel_status look_step_run(const struct look_step *step, struct rect area, struct picture *picture,
                                 struct arena *scratch, struct passel_error *error)
{
    switch (step->action) {
    case LOOK_BLUR:
    case LOOK_DEFOCUS:
        return step->pixels > 0 ? soften(step, area, picture, scratch, error) : PASSEL_OK;
    case LOOK_SHARPEN:
    case LOOK_GLOW:
        return step->pixels > 0 ? spread(step, area, picture, scratch, error) : PASSEL_OK;
    case LOOK_GRAIN:
        return lay_grain(step, picture, scratch, error);
    default:
        step_pixels(step, picture);
        return PASSEL_OK;
    }
}
