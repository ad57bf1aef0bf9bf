/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "numerics/fit_lights.h"

#include <math.h>
#include <string.h>

#include "base/error.h"
#include "base/memory.h"
#include "numerics/fit_solve.h"

/* The last rounds keep all that noise explains. */
enum { ABSOLUTE_ROUNDS = 12, BIWEIGHT_ROUNDS = 18, LAST_ROUNDS = 20 };

#define BIWEIGHT 4.685
#define KEPT_TO 3.5 /* sigmas */
#define GONE_FROM 6.0
#define SIGMA_OF_MEDIAN 1.4826 /* of |residual|, for a normal distribution */
#define SETTLED 1e-8
#define LIGHT_SHARE 0.002 /* of the light: what two takes of one light differ by without any noise */
#define SIGMA_LEAST 1e-6
#define DARK_SHARE 0.02    /* of the mean light: rows that are darker are not trusted more */
#define SAME_BY_NOISE 10.0 /* a difference below so many times what noise makes of it tells no lights apart */
#define SAME_LEAST 1e-7
#define MEMBER 0.3 /* of the largest part in a group */

struct fit {
    const struct fit_rows *rows;
    double *weights;        /* per row: how far it is believed, 0 … 1 */
    double *trust;          /* per row: the inverse of its expected noise; 1 on average */
    double *residuals;      /* per row, in units of its noise; not yet scaled */
    float *sorted;          /* per row */
    double *matrix, *right; /* the normal equations */
    double *inverse;
    double *noise; /* per light: how much of its diagonal is noise */
    double *gains, *before, *work;
    bool *active;
};

static void fit_release(struct fit *fit)
{
    memory_free(fit->weights);
    memory_free(fit->trust);
    memory_free(fit->residuals);
    memory_free(fit->sorted);
    memory_free(fit->matrix);
    memory_free(fit->right);
    memory_free(fit->inverse);
    memory_free(fit->noise);
    memory_free(fit->gains);
    memory_free(fit->before);
    memory_free(fit->work);
    memory_free(fit->active);
}

static enum passel_status fit_begin(struct fit *fit, const struct fit_rows *rows, struct passel_error *error)
{
    const size_t n = (size_t)rows->lights;
    *fit = (struct fit){ .rows = rows };
    fit->weights = memory_zeros(rows->count, sizeof *fit->weights);
    fit->trust = memory_zeros(rows->count, sizeof *fit->trust);
    fit->residuals = memory_zeros(rows->count, sizeof *fit->residuals);
    fit->sorted = memory_zeros(rows->count, sizeof *fit->sorted);
    fit->matrix = memory_zeros(n * n, sizeof *fit->matrix);
    fit->inverse = memory_zeros(n * n, sizeof *fit->inverse);
    fit->right = memory_zeros(n, sizeof *fit->right);
    fit->noise = memory_zeros(n, sizeof *fit->noise);
    fit->gains = memory_zeros(n, sizeof *fit->gains);
    fit->before = memory_zeros(n, sizeof *fit->before);
    fit->work = memory_zeros(2 * n + 4, n * sizeof *fit->work);
    fit->active = memory_zeros(n, sizeof *fit->active);
    if (fit->weights != NULL && fit->trust != NULL && fit->residuals != NULL && fit->sorted != NULL &&
        fit->matrix != NULL && fit->inverse != NULL && fit->right != NULL && fit->noise != NULL && fit->gains != NULL &&
        fit->before != NULL && fit->work != NULL && fit->active != NULL)
        return PASSEL_OK;
    fit_release(fit);
    return error_set(error, PASSEL_NO_MEMORY, "out of memory");
}

static const float *row_of(const struct fit *fit, size_t i)
{
    return fit->rows->halves + i * ((size_t)fit->rows->lights + 1) * 2;
}

static double mean_of(const float *row, int i)
{
    return ((double)row[2 * i] + (double)row[2 * i + 1]) / 2;
}

/* What the wanted picture has more than the gains explain; of one half. */
static double rest(const struct fit *fit, const float *row, int half)
{
    double sum = (double)row[2 * fit->rows->lights + half];
    for (int i = 0; i < fit->rows->lights; i++)
        sum -= fit->gains[i] * (double)row[2 * i + half];
    return sum;
}

static double residual_of(const struct fit *fit, const float *row)
{
    return (rest(fit, row, 0) + rest(fit, row, 1)) / 2;
}

static double noise_at(struct fit_noise noise, double mean)
{
    return noise.gain * fmax(mean, 0) + noise.floor;
}

static const struct fit_noise *noise_of(const struct fit *fit, size_t row)
{
    return fit->rows->noise + row / fit->rows->per_noise * ((size_t)fit->rows->lights + 1);
}

/* Standard deviation that noise gives to a row's residual. */
static double row_sigma(const struct fit *fit, size_t index)
{
    const int n = fit->rows->lights;
    const float *row = row_of(fit, index);
    const struct fit_noise *noise = noise_of(fit, index);
    const double light = mean_of(row, n) - residual_of(fit, row);
    double variance = noise_at(noise[n], light) + LIGHT_SHARE * light * LIGHT_SHARE * light;
    for (int i = 0; i < n; i++)
        variance += fit->gains[i] * fit->gains[i] * noise_at(noise[i], mean_of(row, i));
    return sqrt(variance);
}

/* ---- the normal equations ---------------------------------------------------------------------------------------- */

static void add_row(struct fit *fit, size_t index, double weight)
{
    const int n = fit->rows->lights;
    const float *row = row_of(fit, index);
    const struct fit_noise *noise = noise_of(fit, index);
    for (int i = 0; i < n; i++) {
        const double a = weight / 2 * (double)row[2 * i], b = weight / 2 * (double)row[2 * i + 1];
        for (int k = 0; k <= i; k++)
            fit->matrix[i * n + k] += a * (double)row[2 * k + 1] + b * (double)row[2 * k];
        fit->right[i] += a * (double)row[2 * n + 1] + b * (double)row[2 * n];
        fit->noise[i] += weight * noise_at(noise[i], mean_of(row, i));
    }
}

/* Streams over the rows. */
static void gather(struct fit *fit)
{
    const int n = fit->rows->lights;
    memset(fit->matrix, 0, (size_t)n * (size_t)n * sizeof *fit->matrix);
    memset(fit->right, 0, (size_t)n * sizeof *fit->right);
    memset(fit->noise, 0, (size_t)n * sizeof *fit->noise);
    for (size_t i = 0; i < fit->rows->count; i++) {
        if (fit->weights[i] > 0)
            add_row(fit, i, fit->weights[i] * fit->trust[i]);
    }
    for (int i = 0; i < n; i++) {
        for (int k = 0; k < i; k++)
            fit->matrix[k * n + i] = fit->matrix[i * n + k];
    }
}

static void measure(struct fit *fit)
{
    for (size_t i = 0; i < fit->rows->count; i++)
        fit->residuals[i] = residual_of(fit, row_of(fit, i)) / row_sigma(fit, i);
}

/* ---- how far rows are believed ----------------------------------------------------------------------------------- */

static float middle(float *values, size_t count)
{
    size_t low = 0, high = count - 1;
    while (low < high) {
        const float pivot = values[low + (high - low) / 2];
        size_t i = low, j = high;
        for (;;) {
            while (values[i] < pivot)
                i++;
            while (values[j] > pivot)
                j--;
            if (i >= j)
                break;
            const float swapped = values[i];
            values[i++] = values[j];
            values[j--] = swapped;
        }
        if (count / 2 <= j)
            high = j;
        else
            low = j + 1;
    }
    return values[count / 2];
}

static double spread(struct fit *fit)
{
    for (size_t i = 0; i < fit->rows->count; i++)
        fit->sorted[i] = (float)fabs(fit->residuals[i]);
    return fmax(SIGMA_OF_MEDIAN * (double)middle(fit->sorted, fit->rows->count), SIGMA_LEAST);
}

/* How far a residual of u sigmas is believed. */
static double belief(double u, int round)
{
    if (round < ABSOLUTE_ROUNDS)
        return u > 0.1 ? 0.1 / u : 1;
    if (round >= ABSOLUTE_ROUNDS + BIWEIGHT_ROUNDS)
        return fmin(fmax((GONE_FROM - u) / (GONE_FROM - KEPT_TO), 0), 1);
    const double t = fmin(u / BIWEIGHT, 1);
    return (1 - t * t) * (1 - t * t);
}

static double mean_around(const struct fit *fit)
{
    double sum = 0;
    for (size_t i = 0; i < fit->rows->count; i++)
        sum += fmax((double)fit->rows->around[i], 0);
    return sum / (double)fit->rows->count;
}

/* Variance that rows of a channel have for each unit of light, and in the dark: of the wanted picture, and of the
 * lights, of which the noisiest by its gain stands for all. */
static struct fit_noise expected_noise(const struct fit *fit, size_t row)
{
    const struct fit_noise *noise = noise_of(fit, row);
    struct fit_noise sum = noise[fit->rows->lights];
    double most = 0;
    for (int i = 0; i < fit->rows->lights; i++) {
        most = fmax(most, fit->gains[i] * noise[i].gain);
        sum.floor += fit->gains[i] * fit->gains[i] * noise[i].floor;
    }
    sum.gain += most;
    return sum;
}

static void find_trust(struct fit *fit)
{
    const size_t count = fit->rows->count;
    const double dark = fit->rows->around != NULL ? DARK_SHARE * mean_around(fit) : 0;
    double sum = 0;
    struct fit_noise expected = { 0, 0 };
    for (size_t i = 0; i < count; i++) {
        if (i % fit->rows->per_noise == 0)
            expected = expected_noise(fit, i);
        const double variance =
            fit->rows->around != NULL ? expected.gain * fmax((double)fit->rows->around[i], dark) + expected.floor : 0;
        fit->trust[i] = variance > 0 ? 1 / variance : 0;
        sum += fit->trust[i];
    }
    for (size_t i = 0; i < count; i++)
        fit->trust[i] = sum > 0 ? fit->trust[i] * (double)count / sum : 1;
}

static bool settled(const struct fit *fit)
{
    for (int i = 0; i < fit->rows->lights; i++) {
        if (fabs(fit->gains[i] - fit->before[i]) > SETTLED * fmax(fit->gains[i], 1e-6))
            return false;
    }
    return true;
}

static void iterate(struct fit *fit)
{
    const int n = fit->rows->lights;
    for (size_t i = 0; i < fit->rows->count; i++)
        fit->weights[i] = fit->trust[i] = 1;
    for (int round = 0; round < ABSOLUTE_ROUNDS + BIWEIGHT_ROUNDS + LAST_ROUNDS; round++) {
        memcpy(fit->before, fit->gains, (size_t)n * sizeof *fit->before);
        gather(fit);
        fit_nonnegative(fit->matrix, fit->right, n, fit->gains, fit->work);
        measure(fit);
        if (round > ABSOLUTE_ROUNDS + BIWEIGHT_ROUNDS && settled(fit))
            break;
        const double sigma = spread(fit);
        find_trust(fit);
        for (size_t i = 0; i < fit->rows->count; i++)
            fit->weights[i] = belief(fabs(fit->residuals[i]) / sigma, round);
    }
}

/* ---- what is known of the answer --------------------------------------------------------------------------------- */

/* The share of the wanted light's variance that is explained, over the rows as they are believed. */
static void judge(struct fit *fit, struct fit_result *result)
{
    double squares = 0, sum = 0, light = 0, lights = 0;
    result->believed = 0;
    for (size_t i = 0; i < fit->rows->count; i++) {
        const double believed = fit->weights[i], wanted = mean_of(row_of(fit, i), fit->rows->lights);
        const double residual = residual_of(fit, row_of(fit, i));
        squares += believed * residual * residual;
        sum += believed;
        light += believed * wanted;
        lights += believed * wanted * wanted;
        result->believed += believed >= 0.5;
    }
    const double about = sum > 0 ? lights - light * light / sum : 0;
    result->r2 = about > 0 ? 1 - squares / about : 1;
}

/* The middle of the sandwich: Σ e e', where e is what a row adds to what the equations leave. */
static void gather_squares(struct fit *fit, double *squares)
{
    const int n = fit->rows->lights;
    memset(squares, 0, (size_t)n * (size_t)n * sizeof *squares);
    for (size_t index = 0; index < fit->rows->count; index++) {
        const float *row = row_of(fit, index);
        const double weight = fit->weights[index] * fit->trust[index] / 2;
        const double a = weight * rest(fit, row, 0), b = weight * rest(fit, row, 1);
        for (int i = 0; i < n && weight > 0; i++)
            fit->before[i] = (double)row[2 * i] * b + (double)row[2 * i + 1] * a;
        for (int i = 0; i < n && weight > 0; i++) {
            for (int k = 0; k < n; k++)
                squares[i * n + k] += fit->before[i] * fit->before[k];
        }
    }
}

/* Standard deviations from M^-1 (Σ e e') M^-1, which holds when rows differ in noise (H. White, Econometrica 48,
 * 1980). */
static void find_sigmas(struct fit *fit, struct fit_result *result)
{
    const int n = fit->rows->lights;
    for (int i = 0; i < n; i++)
        fit->active[i] = fit->matrix[i * n + i] > 0;
    fit_inverse(fit->matrix, fit->active, n, fit->inverse, fit->work);
    gather_squares(fit, fit->work);
    for (int i = 0; i < n; i++) {
        double variance = 0;
        for (int k = 0; k < n; k++) {
            for (int m = 0; m < n; m++)
                variance += fit->inverse[i * n + k] * fit->work[k * n + m] * fit->inverse[i * n + m];
        }
        result->found[i] =
            (struct fit_found){ fit->gains[i], fit->active[i] ? sqrt(fmax(variance, 0)) : (double)INFINITY };
    }
}

/* A direction in which the lights, each brought to size 1, differ by no more than noise can make of it: a sum of
 * products of two halves, each of twice a block's noise, strays by about the root of the number of rows. */
static bool is_vague(const struct fit *fit, const double *vectors, int direction, double value)
{
    const int n = fit->rows->lights;
    double noise = 0;
    for (int i = 0; i < n; i++) {
        const double part = vectors[i * n + direction], own = fit->matrix[i * n + i];
        noise += own > 0 ? part * part * 2 * fit->noise[i] / own : 0;
    }
    return value < SAME_BY_NOISE * noise / sqrt((double)fit->rows->count) + SAME_LEAST;
}

static void add_group(const struct fit *fit, const double *vectors, int direction, struct fit_result *result)
{
    const int n = fit->rows->lights;
    bool *members = result->groups + result->group_count * n;
    double most = 0;
    int count = 0;
    for (int i = 0; i < n; i++)
        most = fmax(most, fabs(vectors[i * n + direction]));
    for (int i = 0; i < n; i++) {
        members[i] = fit->matrix[i * n + i] > 0 && fabs(vectors[i * n + direction]) > MEMBER * most;
        count += members[i];
    }
    result->group_count += count > 1;
}

static enum passel_status find_groups(struct fit *fit, struct fit_result *result, struct passel_error *error)
{
    const int n = fit->rows->lights;
    const size_t size = (size_t)n * (size_t)n;
    double *scaled = memory_zeros(2 * size + (size_t)n, sizeof *scaled);
    if (scaled == NULL)
        return error_set(error, PASSEL_NO_MEMORY, "out of memory");
    double *vectors = scaled + size, *values = vectors + size;
    for (int i = 0; i < n; i++) {
        for (int k = 0; k < n; k++) {
            const double own = fit->matrix[i * n + i] * fit->matrix[k * n + k];
            scaled[i * n + k] = own > 0 ? fit->matrix[i * n + k] / sqrt(own) : i == k;
        }
    }
    fit_eigen(scaled, n, values, vectors);
    for (int direction = 0; direction < n; direction++) {
        if (is_vague(fit, vectors, direction, values[direction]))
            add_group(fit, vectors, direction, result);
    }
    memory_free(scaled);
    return PASSEL_OK;
}

/* ---- all of it --------------------------------------------------------------------------------------------------- */

void fit_result_release(struct fit_result *result)
{
    memory_free(result->found);
    memory_free(result->groups);
    *result = (struct fit_result){ 0 };
}

enum passel_status fit_lights(const struct fit_rows *rows, struct fit_result *result, struct passel_error *error)
{
    const size_t n = (size_t)rows->lights;
    struct fit fit;
    enum passel_status status;
    *result = (struct fit_result){ .lights = rows->lights };
    if (rows->lights < 1 || rows->count < n + 1)
        return error_set(error, PASSEL_BAD_PICTURE, "%zu blocks of pixels are too few to find %d lights", rows->count,
                         rows->lights);
    RETURN_IF_ERROR(fit_begin(&fit, rows, error));
    result->found = memory_zeros(n, sizeof *result->found);
    result->groups = memory_zeros(n * n, sizeof *result->groups);
    if (result->found == NULL || result->groups == NULL)
        GOTO_IF_ERROR(error_set(error, PASSEL_NO_MEMORY, "out of memory"), out_fit);
    iterate(&fit);
    judge(&fit, result);
    find_sigmas(&fit, result);
    GOTO_IF_ERROR(find_groups(&fit, result, error), out_fit);
out_fit:
    fit_release(&fit);
    if (status != PASSEL_OK)
        fit_result_release(result);
    return status;
}
