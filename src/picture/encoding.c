/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The curves. All of the present ones are a straight piece near black and a power above it:
 *
 *   code = slope * light                   below light_break
 *   code = scale * light ^ power - offset  from there on
 *
 * Where rounded constants make the pieces meet with a step down (sRGB: 3e-8), the upper piece starts at the end of the
 * lower one, so that every curve rises.
 *
 * sRGB      IEC 61966-2-1:1999 with amendment 1
 * Rec.709   ITU-R BT.709-6, item 1.2 (its constants leave a step of 2.5e-4 at the break)
 * BT.1886   ITU-R BT.1886 annex 1 with black 0 and white 1
 */
#include "picture/encoding.h"

#include <assert.h>
#include <math.h>

#include "picture/function.h"

struct power_curve {
    float light_break, code_break; /* straight below; -1: no straight piece */
    double slope, scale, offset;
    double power; /* of light; 0: the encoding's own gamma is the power of the code */
};

struct curve {
    const char *name;
    void (*undo)(const struct curve *curve, double gamma, float *samples, size_t count);
    void (*apply)(const struct curve *curve, double gamma, float *samples, size_t count);
    struct power_curve power;
};

#define BLOCK 256 /* samples at a time, so that the second array stays in the first-level cache */

static void power_undo(const struct curve *curve, double gamma, float *samples, size_t count)
{
    const struct power_curve p = curve->power;
    const float join = (float)(p.code_break / p.slope);
    float high[BLOCK];
    assert(count <= BLOCK);
    for (size_t i = 0; i < count; i++)
        high[i] = (float)((fabsf(samples[i]) + p.offset) / p.scale);
    function_power(high, count, p.power > 0 ? 1 / p.power : gamma);
    for (size_t i = 0; i < count; i++) {
        const float code = fabsf(samples[i]);
        const float above = high[i] < join ? join : high[i];
        samples[i] = copysignf(code < p.code_break ? (float)(code / p.slope) : above, samples[i]);
    }
}

static void power_apply(const struct curve *curve, double gamma, float *samples, size_t count)
{
    const struct power_curve p = curve->power;
    const float join = (float)(p.slope * p.light_break);
    float high[BLOCK];
    assert(count <= BLOCK);
    for (size_t i = 0; i < count; i++)
        high[i] = fabsf(samples[i]);
    function_power(high, count, p.power > 0 ? p.power : 1 / gamma);
    for (size_t i = 0; i < count; i++) {
        const float light = fabsf(samples[i]);
        const float power = (float)(p.scale * high[i] - p.offset);
        const float above = power < join ? join : power;
        samples[i] = copysignf(light < p.light_break ? (float)(p.slope * light) : above, samples[i]);
    }
}

static const struct curve curves[ENCODING_COUNT] = {
    [ENCODING_LINEAR] = { "linear", NULL, NULL, { 0 } },
    [ENCODING_SRGB] = { "srgb", power_undo, power_apply, { 0.0031308f, 0.04045f, 12.92, 1.055, 0.055, 1 / 2.4 } },
    [ENCODING_REC709] = { "rec709", power_undo, power_apply, { 0.018f, 0.081f, 4.5, 1.099, 0.099, 0.45 } },
    [ENCODING_BT1886] = { "bt1886", power_undo, power_apply, { -1, -1, 1, 1, 0, 1 / 2.4 } },
    [ENCODING_GAMMA] = { "gamma", power_undo, power_apply, { -1, -1, 1, 1, 0, 0 } },
};

const char *encoding_name(enum encoding_curve curve)
{
    return (unsigned)curve < ENCODING_COUNT ? curves[curve].name : "unknown";
}

void encoding_undo(struct encoding encoding, float *samples, size_t count)
{
    const struct curve *curve = &curves[encoding.curve];
    for (size_t i = 0; curve->undo != NULL && i < count; i += BLOCK)
        curve->undo(curve, encoding.gamma, samples + i, count - i < BLOCK ? count - i : BLOCK);
}

void encoding_apply(struct encoding encoding, float *samples, size_t count)
{
    const struct curve *curve = &curves[encoding.curve];
    for (size_t i = 0; curve->apply != NULL && i < count; i += BLOCK)
        curve->apply(curve, encoding.gamma, samples + i, count - i < BLOCK ? count - i : BLOCK);
}

bool encoding_same(struct encoding a, struct encoding b)
{
    return a.curve == b.curve && (a.curve != ENCODING_GAMMA || a.gamma == b.gamma);
}
