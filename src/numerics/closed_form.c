/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * L is never written down. In a window with colours I, mean m and covariance S, alpha a misses its affine fit by
 *     e_i = (a_i - mean a) - (I_i - m) · (S + epsilon/9)^-1 cov(I, a),
 * and L a is the sum of e over the windows that a pixel is in. The matrix of one window is a projection or less, so L
 * is never larger than 9: steps of size STEP/9 converge for any STEP below 2, whatever the picture. With such a
 * smoother before and after, and the same on the coarser grids, the cycle is symmetric and positive, as conjugate
 * gradients want it.
 */
#include "numerics/closed_form.h"

#include <math.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"

#define STEP 1.6F
#define STEPS_MOST 60
#define STEPS_EACH 3 /* before and after, on each level */
#define STEPS_COARSEST 24
#define ACCURACY 5e-7 /* of the squared residual: hair gets no better beyond it, nor wide edges by much */
#define LEVELS 12
#define SMALLEST 8 /* pixels along a side that are not halved further */

/* The fits of all windows, in the order of their runs: mean colours and the inverses of the covariances (xx xy xz yy yz
 * zz). */
struct fits {
    float *mean[3], *inverse[6];
};

/* Windows in a row with centres x0 … x1 - 1, or unknown pixels likewise. */
struct run {
    int32_t y, x0, x1;
};

struct level {
    int32_t width, height;
    float *guide[3];
    uint8_t *unknown;
    struct run *window_runs, *pixel_runs;
    int window_run_count, pixel_run_count;
    struct fits fits;
    float *x, *right, *rest; /* solution, right side, and what is left; 0 at known pixels */
};

/* ---- levels ------------------------------------------------------------------------------------------------------ */

static size_t pixels_of(const struct level *level)
{
    return (size_t)level->width * (size_t)level->height;
}

static void level_release(struct level *level)
{
    for (int c = 0; c < 3; c++)
        memory_free(level->guide[c]);
    memory_free(level->unknown);
    memory_free(level->window_runs);
    memory_free(level->pixel_runs);
    for (int c = 0; c < 3; c++)
        memory_free(level->fits.mean[c]);
    for (int k = 0; k < 6; k++)
        memory_free(level->fits.inverse[k]);
    memory_free(level->x);
    memory_free(level->right);
    memory_free(level->rest);
    *level = (struct level){ 0 };
}

static enum passel_status level_new(struct level *level, int32_t width, int32_t height, struct passel_error *error)
{
    *level = (struct level){ .width = width, .height = height };
    float **const planes[] = { &level->guide[0], &level->guide[1], &level->guide[2],
                               &level->x,        &level->right,    &level->rest };
    for (size_t i = 0; i < sizeof planes / sizeof *planes; i++) {
        *planes[i] = memory_zeros(pixels_of(level), sizeof(float));
        if (*planes[i] == NULL)
            return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    }
    level->unknown = memory_zeros(pixels_of(level), 1);
    return level->unknown != NULL ? PASSEL_OK : error_set(error, PASSEL_NO_MEMORY, "out of memory");
}

/* True when the window around (x, y) holds an unknown pixel. */
static bool window_serves(const struct level *level, int32_t x, int32_t y)
{
    for (int32_t v = y - 1; v <= y + 1; v++) {
        const uint8_t *row = level->unknown + (size_t)v * (size_t)level->width + x;
        if (row[-1] | row[0] | row[1])
            return true;
    }
    return false;
}

static bool pixel_serves(const struct level *level, int32_t x, int32_t y)
{
    return level->unknown[(size_t)y * (size_t)level->width + (size_t)x] != 0;
}

typedef bool serves_function(const struct level *level, int32_t x, int32_t y);

/* Runs of the places `margin` or more inside that serve; *total counts them. Called first with runs NULL. */
static int find_runs(const struct level *level, serves_function *serves, int32_t margin, struct run *runs,
                     size_t *total)
{
    int count = 0;
    *total = 0;
    for (int32_t y = margin; y < level->height - margin; y++) {
        bool open = false;
        for (int32_t x = margin; x < level->width - margin; x++) {
            const bool now = serves(level, x, y);
            *total += now;
            if (now && !open)
                count++;
            if (now && runs != NULL)
                runs[count - 1] = (struct run){ y, open ? runs[count - 1].x0 : x, x + 1 };
            open = now;
        }
    }
    return count;
}

static void window_learn(const struct level *level, int32_t x, int32_t y, float epsilon, size_t n)
{
    double mean[3] = { 0 }, spread[6] = { 0 };
    for (int c = 0; c < 3; c++) {
        for (int k = 0; k < 9; k++)
            mean[c] +=
                (double)level->guide[c][(size_t)(y + k / 3 - 1) * (size_t)level->width + (size_t)(x + k % 3 - 1)] / 9;
        level->fits.mean[c][n] = (float)mean[c];
    }
    for (int k = 0; k < 9; k++) {
        const size_t i = (size_t)(y + k / 3 - 1) * (size_t)level->width + (size_t)(x + k % 3 - 1);
        double d[3];
        for (int c = 0; c < 3; c++)
            d[c] = ((double)level->guide[c][i] - mean[c]) / 3;
        for (int a = 0, m = 0; a < 3; a++) {
            for (int b = a; b < 3; b++)
                spread[m++] += d[a] * d[b];
        }
    }
    const double e = (double)epsilon / 9;
    const double xx = spread[0] + e, xy = spread[1], xz = spread[2], yy = spread[3] + e, yz = spread[4],
                 zz = spread[5] + e;
    const double minor[6] = { yy * zz - yz * yz, xz * yz - xy * zz, xy * yz - xz * yy,
                              xx * zz - xz * xz, xy * xz - xx * yz, xx * yy - xy * xy };
    const double determinant = xx * minor[0] + xy * minor[1] + xz * minor[2];
    for (int m = 0; m < 6; m++)
        level->fits.inverse[m][n] = (float)(minor[m] / determinant);
}

static bool fits_new(struct fits *fits, size_t count)
{
    bool made = true;
    for (int c = 0; c < 3; c++) {
        fits->mean[c] = memory_zeros(count + 1, sizeof(float));
        made = made && fits->mean[c] != NULL;
    }
    for (int k = 0; k < 6; k++) {
        fits->inverse[k] = memory_zeros(count + 1, sizeof(float));
        made = made && fits->inverse[k] != NULL;
    }
    return made;
}

static enum passel_status level_learn(struct level *level, float epsilon, struct passel_error *error)
{
    size_t pixels, windows, n = 0;
    const int pixel_runs = find_runs(level, pixel_serves, 0, NULL, &pixels);
    const int window_runs = find_runs(level, window_serves, 1, NULL, &windows);
    level->pixel_runs = memory_zeros((size_t)pixel_runs + 1, sizeof *level->pixel_runs);
    level->window_runs = memory_zeros((size_t)window_runs + 1, sizeof *level->window_runs);
    if (level->pixel_runs == NULL || level->window_runs == NULL || !fits_new(&level->fits, windows))
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    level->pixel_run_count = find_runs(level, pixel_serves, 0, level->pixel_runs, &pixels);
    level->window_run_count = find_runs(level, window_serves, 1, level->window_runs, &windows);
    for (int i = 0; i < level->window_run_count; i++) {
        const struct run run = level->window_runs[i];
        for (int32_t x = run.x0; x < run.x1; x++)
            window_learn(level, x, run.y, epsilon, n++);
    }
    return PASSEL_OK;
}

/* ---- L ----------------------------------------------------------------------------------------------------------- */

#define LANES 32 /* windows that are done together */

/* A row of windows beside each other. */
struct lanes {
    float mean[LANES], slope[3][LANES];
};

/* The fit of `a` in `count` windows from fit `n` on; `at` is the first one's top left pixel. */
static void fit_lanes(const struct level *level, size_t n, size_t at, int count, const float *restrict a,
                      struct lanes *restrict lanes)
{
    float together[3][LANES] = { { 0 } };
    memset(lanes->mean, 0, sizeof lanes->mean);
    for (int k = 0; k < 9; k++) {
        const float *from = a + at + (size_t)(k / 3) * (size_t)level->width + (size_t)(k % 3);
        for (int i = 0; i < count; i++)
            lanes->mean[i] += from[i] / 9;
    }
    for (int k = 0; k < 9; k++) {
        const size_t place = at + (size_t)(k / 3) * (size_t)level->width + (size_t)(k % 3);
        for (int c = 0; c < 3; c++) {
            const float *restrict guide = level->guide[c] + place, *restrict mean = level->fits.mean[c] + n;
            for (int i = 0; i < count; i++)
                together[c][i] += (guide[i] - mean[i]) * (a[place + (size_t)i] - lanes->mean[i]) / 9;
        }
    }
    float *const *m = level->fits.inverse;
    for (int i = 0; i < count; i++) {
        const size_t j = n + (size_t)i;
        const float x = together[0][i], y = together[1][i], z = together[2][i];
        lanes->slope[0][i] = m[0][j] * x + m[1][j] * y + m[2][j] * z;
        lanes->slope[1][i] = m[1][j] * x + m[3][j] * y + m[4][j] * z;
        lanes->slope[2][i] = m[2][j] * x + m[4][j] * y + m[5][j] * z;
    }
}

/* Adds what these fits miss to `out`. */
static void miss_lanes(const struct level *level, size_t n, size_t at, int count, const float *restrict a,
                       const struct lanes *restrict lanes, float *restrict out)
{
    const float *restrict mr = level->fits.mean[0] + n, *restrict mg = level->fits.mean[1] + n,
                          *restrict mb = level->fits.mean[2] + n;
    for (int k = 0; k < 9; k++) {
        const size_t place = at + (size_t)(k / 3) * (size_t)level->width + (size_t)(k % 3);
        const float *restrict r = level->guide[0] + place, *restrict g = level->guide[1] + place,
                              *restrict b = level->guide[2] + place, *restrict from = a + place;
        float *restrict to = out + place;
        for (int i = 0; i < count; i++)
            to[i] += from[i] - lanes->mean[i] -
                     (lanes->slope[0][i] * (r[i] - mr[i]) + lanes->slope[1][i] * (g[i] - mg[i]) +
                      lanes->slope[2][i] * (b[i] - mb[i]));
    }
}

/* out = L a, for the pixels of all windows; `out` is dirty around the unknown ones. */
static void level_apply(const struct level *level, const float *a, float *out)
{
    size_t n = 0;
    for (int i = 0; i < level->window_run_count; i++) {
        const struct run run = level->window_runs[i];
        for (int32_t v = run.y - 1; v <= run.y + 1; v++)
            memset(out + (size_t)v * (size_t)level->width + (size_t)(run.x0 - 1), 0,
                   (size_t)(run.x1 - run.x0 + 2) * sizeof *out);
    }
    for (int i = 0; i < level->window_run_count; i++) {
        const struct run run = level->window_runs[i];
        for (int32_t x = run.x0; x < run.x1; x += LANES) {
            const int count = run.x1 - x < LANES ? run.x1 - x : LANES;
            const size_t at = (size_t)(run.y - 1) * (size_t)level->width + (size_t)(x - 1);
            struct lanes lanes;
            fit_lanes(level, n, at, count, a, &lanes);
            miss_lanes(level, n, at, count, a, &lanes, out);
            n += (size_t)count;
        }
    }
}

/* ---- the cycle --------------------------------------------------------------------------------------------------- */

/* x += STEP/9 (right - L x) at unknown pixels. */
static void level_step(struct level *level)
{
    level_apply(level, level->x, level->rest);
    for (int i = 0; i < level->pixel_run_count; i++) {
        const struct run run = level->pixel_runs[i];
        const size_t at = (size_t)run.y * (size_t)level->width;
        for (size_t k = at + (size_t)run.x0; k < at + (size_t)run.x1; k++)
            level->x[k] += STEP / 9 * (level->right[k] - level->rest[k]);
    }
}

/* Where a fine place lies among coarse ones: the one it is in, the next nearest, and the share of the former. */
static int32_t other_of(int32_t fine, int32_t count)
{
    const int32_t other = fine / 2 + (fine % 2 != 0 ? 1 : -1);
    return other < 0 ? 0 : other >= count ? count - 1 : other;
}

static const float near_share = 0.75F, far_share = 0.25F;

struct corners {
    size_t place[4];
    float share[4];
};

static struct corners corners_of(const struct level *coarse, int32_t x, int32_t y)
{
    const size_t stride = (size_t)coarse->width;
    const size_t x0 = (size_t)(x / 2), x1 = (size_t)other_of(x, coarse->width);
    const size_t y0 = (size_t)(y / 2) * stride, y1 = (size_t)other_of(y, coarse->height) * stride;
    return (struct corners){ { y0 + x0, y0 + x1, y1 + x0, y1 + x1 },
                             { near_share * near_share, near_share * far_share, near_share * far_share,
                               far_share * far_share } };
}

/* right side of the coarse level = what is left on the fine one, spread by the weights of the interpolation. */
static void go_down(struct level *fine, struct level *coarse)
{
    memset(coarse->right, 0, pixels_of(coarse) * sizeof(float));
    level_apply(fine, fine->x, fine->rest);
    for (int i = 0; i < fine->pixel_run_count; i++) {
        const struct run run = fine->pixel_runs[i];
        for (int32_t x = run.x0; x < run.x1; x++) {
            const size_t k = (size_t)run.y * (size_t)fine->width + (size_t)x;
            const struct corners corners = corners_of(coarse, x, run.y);
            for (int n = 0; n < 4; n++)
                coarse->right[corners.place[n]] += corners.share[n] * (fine->right[k] - fine->rest[k]);
        }
    }
}

static void go_up(struct level *fine, const struct level *coarse)
{
    for (int i = 0; i < fine->pixel_run_count; i++) {
        const struct run run = fine->pixel_runs[i];
        for (int32_t x = run.x0; x < run.x1; x++) {
            const struct corners corners = corners_of(coarse, x, run.y);
            float sum = 0;
            for (int n = 0; n < 4; n++)
                sum += corners.share[n] * coarse->x[corners.place[n]];
            fine->x[(size_t)run.y * (size_t)fine->width + (size_t)x] += sum;
        }
    }
}

/* levels[0].x ≈ L^-1 levels[0].right: down to the coarsest and up again, with steps before and after on each. */
static void cycle(struct level *levels, int count)
{
    for (int n = 0; n < count; n++) {
        memset(levels[n].x, 0, pixels_of(&levels[n]) * sizeof(float));
        for (int k = 0; k < (n == count - 1 ? STEPS_COARSEST : STEPS_EACH); k++)
            level_step(&levels[n]);
        if (n < count - 1)
            go_down(&levels[n], &levels[n + 1]);
    }
    for (int n = count - 2; n >= 0; n--) {
        go_up(&levels[n], &levels[n + 1]);
        for (int k = 0; k < STEPS_EACH; k++)
            level_step(&levels[n]);
    }
}

/* A level of half the size: colours are means, and a pixel is unknown when one of its four is. */
static void halve(const struct level *fine, struct level *coarse)
{
    for (int32_t y = 0; y < coarse->height; y++) {
        for (int32_t x = 0; x < coarse->width; x++) {
            const size_t k = (size_t)y * (size_t)coarse->width + (size_t)x;
            for (int n = 0; n < 4; n++) {
                const int32_t u = 2 * x + n % 2 < fine->width ? 2 * x + n % 2 : fine->width - 1;
                const int32_t v = 2 * y + n / 2 < fine->height ? 2 * y + n / 2 : fine->height - 1;
                const size_t i = (size_t)v * (size_t)fine->width + (size_t)u;
                coarse->unknown[k] |= fine->unknown[i];
                for (int c = 0; c < 3; c++)
                    coarse->guide[c][k] += fine->guide[c][i] / 4;
            }
        }
    }
}

/* ---- conjugate gradients ----------------------------------------------------------------------------------------- */

struct solver {
    struct level levels[LEVELS];
    int count;
    float *alpha;     /* known and unknown */
    float *direction; /* 0 at known pixels */
};

static double product(const struct level *level, const float *a, const float *b)
{
    double sum = 0;
    for (int i = 0; i < level->pixel_run_count; i++) {
        const struct run run = level->pixel_runs[i];
        const size_t at = (size_t)run.y * (size_t)level->width;
        for (size_t k = at + (size_t)run.x0; k < at + (size_t)run.x1; k++)
            sum += (double)a[k] * (double)b[k];
    }
    return sum;
}

/* a = scale a + more b */
static void combine(const struct level *level, float *a, float scale, float more, const float *b)
{
    for (int i = 0; i < level->pixel_run_count; i++) {
        const struct run run = level->pixel_runs[i];
        const size_t at = (size_t)run.y * (size_t)level->width;
        for (size_t k = at + (size_t)run.x0; k < at + (size_t)run.x1; k++)
            a[k] = scale * a[k] + more * b[k];
    }
}

/* levels[0].right holds the residual throughout: it is what the cycle starts from. */
static int solve(struct solver *solver)
{
    struct level *top = &solver->levels[0];
    level_apply(top, solver->alpha, top->rest);
    combine(top, top->right, 0, -1, top->rest);
    const double enough = ACCURACY * product(top, top->right, top->right);
    double before = 0;
    int step = 0;
    for (; step < STEPS_MOST && product(top, top->right, top->right) > enough; step++) {
        cycle(solver->levels, solver->count);
        const double now = product(top, top->x, top->right);
        combine(top, solver->direction, step > 0 ? (float)(now / before) : 0, 1, top->x);
        level_apply(top, solver->direction, top->rest);
        const double curvature = product(top, solver->direction, top->rest);
        if (!(now > 0 && curvature > 0))
            break;
        combine(top, solver->alpha, 1, (float)(now / curvature), solver->direction);
        combine(top, top->right, 1, -(float)(now / curvature), top->rest);
        before = now;
    }
    return step;
}

/* ---- whole pictures ---------------------------------------------------------------------------------------------- */

static struct rect unknown_box(const struct picture *matte, const uint8_t *unknown)
{
    const struct rect area = matte->area;
    struct rect box = { 0, 0, 0, 0 };
    for (int32_t y = area.y0; y < area.y1; y++) {
        for (int32_t x = area.x0; x < area.x1; x++) {
            if (*unknown++ != 0)
                box = rect_join(box, rect_of(x, y, x + 1, y + 1));
        }
    }
    return rect_cut(rect_grow(box, 3, 3), area);
}

static void read_guide(struct level *level, const struct picture *guide, struct rect box)
{
    for (int c = 0; c < 3; c++) {
        for (int32_t y = box.y0; y < box.y1; y++)
            memcpy(level->guide[c] + (size_t)(y - box.y0) * (size_t)level->width,
                   picture_row(guide, (enum plane)c, y) + (box.x0 - guide->area.x0),
                   (size_t)level->width * sizeof(float));
    }
}

static enum passel_status solver_new(struct solver *solver, const struct picture *guide, struct rect box, float epsilon,
                                     const uint8_t *unknown, struct passel_error *error)
{
    struct level *top = &solver->levels[0];
    const struct rect area = guide->area;
    RETURN_IF_ERROR(level_new(top, rect_width(box), rect_height(box), error));
    solver->count = 1;
    read_guide(top, guide, box);
    for (int32_t y = box.y0; y < box.y1; y++)
        memcpy(top->unknown + (size_t)(y - box.y0) * (size_t)top->width,
               unknown + (size_t)(y - area.y0) * (size_t)rect_width(area) + (size_t)(box.x0 - area.x0),
               (size_t)top->width);
    solver->alpha = memory_zeros(pixels_of(top), sizeof(float));
    solver->direction = memory_zeros(pixels_of(top), sizeof(float));
    if (solver->alpha == NULL || solver->direction == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    RETURN_IF_ERROR(level_learn(top, epsilon, error));
    for (int n = 1; n < LEVELS; n++) {
        const struct level *fine = &solver->levels[n - 1];
        if (fine->width < SMALLEST || fine->height < SMALLEST)
            break;
        RETURN_IF_ERROR(level_new(&solver->levels[n], (fine->width + 1) / 2, (fine->height + 1) / 2, error));
        solver->count++;
        halve(fine, &solver->levels[n]);
        RETURN_IF_ERROR(level_learn(&solver->levels[n], epsilon, error));
    }
    return PASSEL_OK;
}

static void solver_release(struct solver *solver)
{
    for (int n = 0; n < LEVELS; n++)
        level_release(&solver->levels[n]);
    memory_free(solver->alpha);
    memory_free(solver->direction);
}

/* Rows of plane A between the picture and the solver. */
static void move_alpha(const struct solver *solver, const struct picture *matte, struct rect box, bool back)
{
    const struct level *top = &solver->levels[0];
    for (int32_t y = box.y0; y < box.y1; y++) {
        float *row = picture_row(matte, PLANE_A, y) + (box.x0 - matte->area.x0);
        float *own = solver->alpha + (size_t)(y - box.y0) * (size_t)top->width;
        const uint8_t *unknown = top->unknown + (size_t)(y - box.y0) * (size_t)top->width;
        for (int32_t x = 0; x < top->width; x++) {
            if (!back)
                own[x] = row[x];
            else if (unknown[x] != 0)
                row[x] = fminf(fmaxf(own[x], 0), 1);
        }
    }
}

enum passel_status closed_form_solve(const struct picture *matte, const struct picture *guide, const uint8_t *unknown,
                                     float epsilon, int *steps, struct passel_error *error)
{
    struct solver solver = { .count = 0 };
    const struct rect box = unknown_box(matte, unknown);
    int taken = 0;
    if (steps != NULL)
        *steps = 0;
    if (rect_width(box) < 3 || rect_height(box) < 3)
        return PASSEL_OK;
    const enum passel_status status = solver_new(&solver, guide, box, epsilon, unknown, error);
    if (status == PASSEL_OK) {
        move_alpha(&solver, matte, box, false);
        taken = solve(&solver);
        move_alpha(&solver, matte, box, true);
    }
    if (steps != NULL)
        *steps = taken;
    solver_release(&solver);
    return status;
}

enum passel_status closed_form_apply(const struct picture *out, const struct picture *a, const struct picture *guide,
                                     float epsilon, struct passel_error *error)
{
    struct level level;
    const struct rect area = a->area;
    enum passel_status status = level_new(&level, rect_width(area), rect_height(area), error);
    if (status == PASSEL_OK) {
        read_guide(&level, guide, area);
        memset(level.unknown, 1, pixels_of(&level));
        status = level_learn(&level, epsilon, error);
    }
    if (status == PASSEL_OK) {
        for (int32_t y = area.y0; y < area.y1; y++)
            memcpy(level.x + (size_t)(y - area.y0) * (size_t)level.width, picture_row(a, PLANE_A, y),
                   (size_t)level.width * sizeof(float));
        level_apply(&level, level.x, level.rest);
        for (int32_t y = area.y0; y < area.y1; y++)
            memcpy(picture_row(out, PLANE_A, y), level.rest + (size_t)(y - area.y0) * (size_t)level.width,
                   (size_t)level.width * sizeof(float));
    }
    level_release(&level);
    return status;
}
