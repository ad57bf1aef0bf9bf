/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "kinds/matte_steps.h"

#include <math.h>
#include <stdbool.h>

#include "base/error.h"
#include "base/memory.h"
#include "kinds/alpha_input.h"
#include "kinds/arena_picture.h"
#include "numerics/blur.h"
#include "numerics/closed_form.h"
#include "numerics/components.h"
#include "numerics/curve.h"
#include "numerics/disc.h"
#include "numerics/noise_model.h"

#define KNOWN (1.0F / 512) /* so near to 0 or 1 alpha counts as known */
/* What a window's colours must vary before they say something. Less, and a slow gradient behind hair explains any
 * alpha; more, and fine hair blurs. Both measured on hair, strands and soft discs with truth, at three levels of noise.
 */
#define RESOLVE_NOISE 0.03F  /* of the noise's variance */
#define RESOLVE_LIGHT2 5e-5F /* or of the square of the guide's mean light, whatever is more */
#define RESOLVE_LEAST 1e-9F

bool matte_step_whole(enum matte_action action)
{
    return action == MATTE_HOLES || action == MATTE_SPECKS || action == MATTE_RESOLVE;
}

int32_t matte_step_reach(enum matte_action action, double pixels)
{
    switch (action) {
    case MATTE_CHOKE:
    case MATTE_SPREAD:
        return disc_reach(pixels);
    case MATTE_RIM:
        return disc_reach(pixels / 2);
    case MATTE_SOFTEN:
        return blur_radius(pixels);
    default:
        return 0;
    }
}

/* ---- response ---------------------------------------------------------------------------------------------------- */

static double secant(const struct response *response, int k)
{
    return (response->out[k + 1] - response->out[k]) / (response->in[k + 1] - response->in[k]);
}

void response_prepare(struct response *response)
{
    const int last = response->count - 1;
    for (int k = 1; k < last; k++)
        response->slope[k] = curve_slope(secant(response, k - 1), response->in[k] - response->in[k - 1],
                                         secant(response, k), response->in[k + 1] - response->in[k]);
    /* At the ends the curve leaves as steeply as a parabola through the end and its neighbour's slope does. */
    response->slope[0] = curve_slope_limit((3 * secant(response, 0) - response->slope[1]) / 2, secant(response, 0));
    response->slope[last] =
        curve_slope_limit((3 * secant(response, last - 1) - response->slope[last - 1]) / 2, secant(response, last - 1));
    if (last == 1)
        response->slope[0] = response->slope[1] = secant(response, 0);
}

static float response_at(const struct response *response, float value)
{
    const int last = response->count - 1;
    const double v = (double)value;
    if (!(v > response->in[0]))
        return (float)response->out[0];
    if (v >= response->in[last])
        return (float)response->out[last];
    int k = 0;
    while (v >= response->in[k + 1])
        k++;
    const double width = response->in[k + 1] - response->in[k], t = (v - response->in[k]) / width;
    if (!response->smooth)
        return (float)(response->out[k] * (1 - t) + response->out[k + 1] * t);
    return (float)curve_cubic(response->out[k], response->slope[k], response->out[k + 1], response->slope[k + 1], width,
                              t);
}

/* ---- steps on single pixels -------------------------------------------------------------------------------------- */

static void row_levels(float *restrict row, float least, float most, size_t count)
{
    const float width = most - least > 1e-30f ? most - least : 1e-30f;
    for (size_t x = 0; x < count; x++)
        row[x] = alpha_clamped((row[x] - least) / width);
}

static void row_response(float *restrict row, const struct response *response, size_t count)
{
    for (size_t x = 0; x < count; x++)
        row[x] = response_at(response, row[x]);
}

static void row_invert(float *restrict row, size_t count)
{
    for (size_t x = 0; x < count; x++)
        row[x] = 1 - row[x];
}

static void row_minus(float *restrict row, const float *restrict other, size_t count)
{
    for (size_t x = 0; x < count; x++)
        row[x] *= 1 - alpha_clamped(other[x]);
}

static void row_union(float *restrict row, const float *restrict other, size_t count)
{
    for (size_t x = 0; x < count; x++) {
        const float b = alpha_clamped(other[x]);
        row[x] = b + (1 - b) * row[x];
    }
}

static void row_within(float *restrict row, const float *restrict other, size_t count)
{
    for (size_t x = 0; x < count; x++)
        row[x] *= alpha_clamped(other[x]);
}

static void step_row(const struct matte_step *step, float *row, const float *other, size_t count)
{
    switch (step->action) {
    case MATTE_RESPONSE:
        row_response(row, &step->response, count);
        break;
    case MATTE_INVERT:
        row_invert(row, count);
        break;
    case MATTE_MINUS:
        row_minus(row, other, count);
        break;
    case MATTE_UNION:
        row_union(row, other, count);
        break;
    case MATTE_WITHIN:
        row_within(row, other, count);
        break;
    default:
        row_levels(row, step->floor, step->ceiling, count);
        break;
    }
}

static void step_pixels(const struct matte_step *step, const struct picture *matte, const struct picture *other)
{
    for (int32_t y = matte->area.y0; y < matte->area.y1; y++)
        step_row(step, picture_row(matte, PLANE_A, y),
                 other != NULL ? picture_row(other, PLANE_A, y) + (matte->area.x0 - other->area.x0) : NULL,
                 (size_t)rect_width(matte->area));
}

/* ---- steps that look around -------------------------------------------------------------------------------------- */

/* What the matte rises within half the band to either side, less what it falls. */
static enum passel_status find_rim(const struct picture *made, const struct picture *matte, double pixels,
                                   struct arena *scratch, struct passel_error *error)
{
    struct picture least;
    RETURN_IF_ERROR(arena_picture(scratch, made->area, HAS_A, &least, error));
    RETURN_IF_ERROR(disc_plane(made, matte, PLANE_A, DISC_LARGEST, pixels / 2, scratch, error));
    RETURN_IF_ERROR(disc_plane(&least, matte, PLANE_A, DISC_LEAST, pixels / 2, scratch, error));
    for (int32_t y = made->area.y0; y < made->area.y1; y++) {
        float *row = picture_row(made, PLANE_A, y);
        const float *low = picture_row(&least, PLANE_A, y);
        for (int32_t x = 0; x < rect_width(made->area); x++)
            row[x] = alpha_clamped(row[x] - low[x]);
    }
    return PASSEL_OK;
}

static enum passel_status step_around(const struct matte_step *step, struct rect area, struct picture *matte,
                                      struct arena *scratch, struct passel_error *error)
{
    struct picture made;
    if (step->pixels <= 0 && step->action != MATTE_RIM)
        return PASSEL_OK;
    RETURN_IF_ERROR(arena_picture(scratch, area, HAS_A, &made, error));
    switch (step->action) {
    case MATTE_SOFTEN:
        RETURN_IF_ERROR(blur_plane(&made, matte, PLANE_A, step->pixels, scratch, error));
        break;
    case MATTE_RIM:
        RETURN_IF_ERROR(find_rim(&made, matte, step->pixels, scratch, error));
        break;
    default:
        RETURN_IF_ERROR(disc_plane(&made, matte, PLANE_A, step->action == MATTE_CHOKE ? DISC_LEAST : DISC_LARGEST,
                                   step->pixels, scratch, error));
        break;
    }
    *matte = made;
    return PASSEL_OK;
}

/* ---- resolve ----------------------------------------------------------------------------------------------------- */

/* The `epsilon` of closed_form_solve for this guide. */
static enum passel_status guide_epsilon(const struct picture *guide, float *epsilon, struct passel_error *error)
{
    float variance = 0, light = 0;
    for (int c = 0; c < 3; c++) {
        struct noise_samples samples = { 0 };
        const enum passel_status status = noise_gather(&samples, guide, (enum plane)c, error);
        double mean = 0;
        for (int32_t y = guide->area.y0; y < guide->area.y1; y++) {
            const float *row = picture_row(guide, (enum plane)c, y);
            for (int32_t x = 0; x < rect_width(guide->area); x++)
                mean += (double)row[x];
        }
        mean /= (double)rect_width(guide->area) * (double)rect_height(guide->area);
        if (status == PASSEL_OK)
            variance = fmaxf(variance, noise_variance(noise_fit(&samples), (float)mean));
        light = fmaxf(light, (float)mean);
        noise_samples_release(&samples);
        RETURN_IF_ERROR(status);
    }
    *epsilon = fmaxf(fmaxf(RESOLVE_NOISE * variance, RESOLVE_LIGHT2 * light * light), RESOLVE_LEAST);
    return PASSEL_OK;
}

/* Unknown is what is soft, and what has an edge within the radius. */
static enum passel_status find_unknown(const struct picture *matte, double radius, uint8_t *unknown,
                                       struct arena *scratch, struct passel_error *error)
{
    struct picture least, most;
    RETURN_IF_ERROR(arena_picture(scratch, matte->area, HAS_A, &least, error));
    RETURN_IF_ERROR(arena_picture(scratch, matte->area, HAS_A, &most, error));
    RETURN_IF_ERROR(disc_plane(&least, matte, PLANE_A, DISC_LEAST, radius, scratch, error));
    RETURN_IF_ERROR(disc_plane(&most, matte, PLANE_A, DISC_LARGEST, radius, scratch, error));
    for (int32_t y = matte->area.y0; y < matte->area.y1; y++) {
        const float *low = picture_row(&least, PLANE_A, y), *high = picture_row(&most, PLANE_A, y);
        for (int32_t x = 0; x < rect_width(matte->area); x++)
            *unknown++ = high[x] > KNOWN && low[x] < 1 - KNOWN;
    }
    return PASSEL_OK;
}

static enum passel_status resolve(const struct picture *matte, const struct picture *guide, double radius,
                                  struct arena *scratch, struct passel_error *error)
{
    float epsilon;
    const size_t pixels = (size_t)rect_width(matte->area) * (size_t)rect_height(matte->area);
    uint8_t *unknown = arena_array(scratch, pixels, 1);
    if (unknown == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    RETURN_IF_ERROR(find_unknown(matte, radius, unknown, scratch, error));
    RETURN_IF_ERROR(guide_epsilon(guide, &epsilon, error));
    return closed_form_solve(matte, guide, unknown, epsilon, NULL, error);
}

/* ---- one step ---------------------------------------------------------------------------------------------------- */

enum passel_status matte_step_run(const struct matte_step *step, struct rect area, struct picture *matte,
                                  const struct picture *other, struct arena *scratch, struct passel_error *error)
{
    switch (step->action) {
    case MATTE_CHOKE:
    case MATTE_SPREAD:
    case MATTE_SOFTEN:
    case MATTE_RIM:
        return step_around(step, area, matte, scratch, error);
    case MATTE_HOLES:
        return components_fill_holes(matte, PLANE_A, step->pixels, error);
    case MATTE_SPECKS:
        return components_drop_specks(matte, PLANE_A, step->pixels, error);
    case MATTE_RESOLVE:
        return resolve(matte, other, step->pixels, scratch, error);
    default:
        step_pixels(step, matte, other);
        return PASSEL_OK;
    }
}
