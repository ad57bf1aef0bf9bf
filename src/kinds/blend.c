/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * c and a are the layer's premultiplied colour and alpha, C and A what lies below. A blend with the function B of
 * plain colours gives c (1 - A) + C (1 - a) + a A B(C/A, c/a); the last term is written without the divisions.
 */
#include "kinds/blend.h"

#include <math.h>

typedef void colour_function(float *restrict below, const float *restrict below_alpha, const float *restrict layer,
                             const float *restrict alpha, size_t count);
typedef void alpha_function(float *restrict below, const float *restrict alpha, size_t count);

static void colour_over(float *restrict below, const float *restrict below_alpha, const float *restrict layer,
                        const float *restrict alpha, size_t count)
{
    (void)below_alpha;
    for (size_t x = 0; x < count; x++)
        below[x] = layer[x] + (1 - alpha[x]) * below[x];
}

static void colour_add(float *restrict below, const float *restrict below_alpha, const float *restrict layer,
                       const float *restrict alpha, size_t count)
{
    (void)below_alpha;
    (void)alpha;
    for (size_t x = 0; x < count; x++)
        below[x] += layer[x];
}

/* c + C - cC holds for values up to 1, where it reaches 1; from there on the larger of the two goes on without a
 * jump. */
static void colour_screen(float *restrict below, const float *restrict below_alpha, const float *restrict layer,
                          const float *restrict alpha, size_t count)
{
    (void)below_alpha;
    (void)alpha;
    for (size_t x = 0; x < count; x++) {
        const float larger = layer[x] > below[x] ? layer[x] : below[x];
        const float screened = layer[x] + below[x] - layer[x] * below[x];
        below[x] = larger > 1 ? larger : screened;
    }
}

static void colour_multiply(float *restrict below, const float *restrict below_alpha, const float *restrict layer,
                            const float *restrict alpha, size_t count)
{
    for (size_t x = 0; x < count; x++)
        below[x] = layer[x] * (1 - below_alpha[x]) + below[x] * (1 - alpha[x]) + layer[x] * below[x];
}

static void colour_lighten(float *restrict below, const float *restrict below_alpha, const float *restrict layer,
                           const float *restrict alpha, size_t count)
{
    for (size_t x = 0; x < count; x++) {
        const float c = layer[x] * below_alpha[x], d = below[x] * alpha[x];
        below[x] = (layer[x] - c) + (below[x] - d) + (c > d ? c : d);
    }
}

static void colour_darken(float *restrict below, const float *restrict below_alpha, const float *restrict layer,
                          const float *restrict alpha, size_t count)
{
    for (size_t x = 0; x < count; x++) {
        const float c = layer[x] * below_alpha[x], d = below[x] * alpha[x];
        below[x] = (layer[x] - c) + (below[x] - d) + (c < d ? c : d);
    }
}

static void colour_difference(float *restrict below, const float *restrict below_alpha, const float *restrict layer,
                              const float *restrict alpha, size_t count)
{
    for (size_t x = 0; x < count; x++) {
        const float c = layer[x] * below_alpha[x], d = below[x] * alpha[x];
        below[x] = (layer[x] - c) + (below[x] - d) + fabsf(c - d);
    }
}

static void colour_in(float *restrict below, const float *restrict below_alpha, const float *restrict layer,
                      const float *restrict alpha, size_t count)
{
    (void)alpha;
    for (size_t x = 0; x < count; x++)
        below[x] = layer[x] * below_alpha[x];
}

static void colour_out(float *restrict below, const float *restrict below_alpha, const float *restrict layer,
                       const float *restrict alpha, size_t count)
{
    (void)alpha;
    for (size_t x = 0; x < count; x++)
        below[x] = layer[x] * (1 - below_alpha[x]);
}

static void colour_atop(float *restrict below, const float *restrict below_alpha, const float *restrict layer,
                        const float *restrict alpha, size_t count)
{
    for (size_t x = 0; x < count; x++)
        below[x] = layer[x] * below_alpha[x] + below[x] * (1 - alpha[x]);
}

static void colour_xor(float *restrict below, const float *restrict below_alpha, const float *restrict layer,
                       const float *restrict alpha, size_t count)
{
    for (size_t x = 0; x < count; x++)
        below[x] = layer[x] * (1 - below_alpha[x]) + below[x] * (1 - alpha[x]);
}

static void alpha_union(float *restrict below, const float *restrict alpha, size_t count)
{
    for (size_t x = 0; x < count; x++)
        below[x] = alpha[x] + (1 - alpha[x]) * below[x];
}

static void alpha_add(float *restrict below, const float *restrict alpha, size_t count)
{
    for (size_t x = 0; x < count; x++) {
        const float sum = alpha[x] + below[x];
        below[x] = sum < 1 ? sum : 1;
    }
}

static void alpha_in(float *restrict below, const float *restrict alpha, size_t count)
{
    for (size_t x = 0; x < count; x++)
        below[x] = alpha[x] * below[x];
}

static void alpha_out(float *restrict below, const float *restrict alpha, size_t count)
{
    for (size_t x = 0; x < count; x++)
        below[x] = alpha[x] * (1 - below[x]);
}

static void alpha_keep(float *restrict below, const float *restrict alpha, size_t count)
{
    (void)below;
    (void)alpha;
    (void)count;
}

static void alpha_xor(float *restrict below, const float *restrict alpha, size_t count)
{
    for (size_t x = 0; x < count; x++)
        below[x] = alpha[x] * (1 - below[x]) + below[x] * (1 - alpha[x]);
}

static const struct {
    colour_function *colour;
    alpha_function *alpha;
} blends[BLEND_COUNT] = {
    [BLEND_OVER] = { colour_over, alpha_union },
    [BLEND_ADD] = { colour_add, alpha_add },
    [BLEND_SCREEN] = { colour_screen, alpha_union },
    [BLEND_MULTIPLY] = { colour_multiply, alpha_union },
    [BLEND_LIGHTEN] = { colour_lighten, alpha_union },
    [BLEND_DARKEN] = { colour_darken, alpha_union },
    [BLEND_DIFFERENCE] = { colour_difference, alpha_union },
    [BLEND_IN] = { colour_in, alpha_in },
    [BLEND_OUT] = { colour_out, alpha_out },
    [BLEND_ATOP] = { colour_atop, alpha_keep },
    [BLEND_XOR] = { colour_xor, alpha_xor },
};

void blend_row(enum blend blend, float *const below[PLANE_COUNT], const float *const layer[PLANE_COUNT], size_t count)
{
    for (int p = PLANE_R; p <= PLANE_B; p++) {
        if (below[p])
            blends[blend].colour(below[p], below[PLANE_A], layer[p], layer[PLANE_A], count);
    }
    blends[blend].alpha(below[PLANE_A], layer[PLANE_A], count);
}

bool blend_ignores_nothing(enum blend blend)
{
    return blend != BLEND_IN && blend != BLEND_OUT;
}
