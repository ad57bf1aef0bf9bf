/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Half floats: plain C, written so that it vectorises, and the conversion instructions (F16C) where the processor has
 * them. Layout of a half: 1 sign, 5 exponent (bias 15), 10 fraction bits; source: IEEE 754-2008 section 3.6.
 */
#include "picture/half.h"

#include <stdint.h>
#include <string.h>

#if defined(__x86_64__) || defined(__i386__)
#define HAS_F16C_VARIANT 1
#include <immintrin.h>
#endif

enum {
    HALF_INFINITY = 0x7c00,
    FLOAT_INFINITY = 0x7f800000,
    FLOAT_QUIET = 0x00400000,
    FLOAT_HALF_LARGEST = 0x477fe000, /* 65504 */
    FLOAT_HALF_NORMAL = 0x38800000,  /* 2^-14, the smallest normal half */
    BIAS_STEP = (127 - 15) << 23
};

static float float_of(uint32_t bits)
{
    float value;
    memcpy(&value, &bits, sizeof value);
    return value;
}

static uint32_t bits_of(float value)
{
    uint32_t bits;
    memcpy(&bits, &value, sizeof bits);
    return bits;
}

/* A denormal half m·2^-24 is (2^-14 + m·2^-24) - 2^-14: both are exact, and no denormal float is touched. */
static float half_widen(uint16_t half)
{
    const uint32_t magnitude = half & 0x7fffu;
    const uint32_t shifted = magnitude << 13;
    const uint32_t denormal = bits_of(float_of(FLOAT_HALF_NORMAL + shifted) - float_of(FLOAT_HALF_NORMAL));
    uint32_t bits = magnitude < 0x0400u ? denormal : shifted + BIAS_STEP;
    bits |= magnitude >= HALF_INFINITY ? FLOAT_INFINITY : 0u;
    bits |= magnitude > HALF_INFINITY ? FLOAT_QUIET : 0u;
    return float_of(bits | (uint32_t)(half & 0x8000u) << 16);
}

/* Below 2^-14 the unit of a half is 2^-24, which is the unit of floats in [0.5, 1): adding 0.5 rounds there. */
static uint16_t half_narrow(float value)
{
    const uint32_t all = bits_of(value);
    uint32_t bits = all & 0x7fffffffu;
    const uint32_t number = bits > FLOAT_INFINITY ? 0u : 0xffffffffu;
    bits = bits > FLOAT_HALF_LARGEST ? FLOAT_HALF_LARGEST : bits;
    const uint32_t normal = (bits - BIAS_STEP + 0x0fffu + (bits >> 13 & 1u)) >> 13;
    const uint32_t denormal = bits_of(float_of(bits) + 0.5f) - bits_of(0.5f);
    const uint32_t half = bits < FLOAT_HALF_NORMAL ? denormal : normal;
    return (uint16_t)((half | (all >> 16 & 0x8000u)) & number);
}

static bool plain_to_float(const void *halves, float *floats, size_t count)
{
    const unsigned char *in = halves;
    uint32_t odd = 0;
    for (size_t i = 0; i < count; i++) {
        uint16_t half;
        memcpy(&half, in + 2 * i, sizeof half);
        odd |= (half & 0x7fffu) >= HALF_INFINITY;
        floats[i] = half_widen(half);
    }
    return odd != 0;
}

static void plain_from_float(const float *floats, void *halves, size_t count)
{
    unsigned char *out = halves;
    for (size_t i = 0; i < count; i++) {
        const uint16_t half = half_narrow(floats[i]);
        memcpy(out + 2 * i, &half, sizeof half);
    }
}

static const struct half_variant variant_plain = { "plain C", plain_to_float, plain_from_float };

#ifdef HAS_F16C_VARIANT

__attribute__((target("avx,f16c"))) static bool f16c_to_float(const void *halves, float *floats, size_t count)
{
    const unsigned char *in = halves;
    const __m128i infinity = _mm_set1_epi16(HALF_INFINITY);
    __m128i odd = _mm_setzero_si128();
    size_t i = 0;
    for (; i + 8 <= count; i += 8) {
        const __m128i eight = _mm_loadu_si128((const __m128i *)(const void *)(in + 2 * i));
        odd = _mm_or_si128(odd, _mm_cmpeq_epi16(_mm_and_si128(eight, infinity), infinity));
        _mm256_storeu_ps(floats + i, _mm256_cvtph_ps(eight));
    }
    const bool rest = plain_to_float(in + 2 * i, floats + i, count - i);
    return rest || _mm_movemask_epi8(odd) != 0;
}

__attribute__((target("avx,f16c"))) static void f16c_from_float(const float *floats, void *halves, size_t count)
{
    unsigned char *out = halves;
    const __m256 largest = _mm256_set1_ps(HALF_LARGEST), smallest = _mm256_set1_ps(-HALF_LARGEST);
    size_t i = 0;
    for (; i + 8 <= count; i += 8) {
        __m256 eight = _mm256_loadu_ps(floats + i);
        eight = _mm256_and_ps(eight, _mm256_cmp_ps(eight, eight, _CMP_ORD_Q));
        eight = _mm256_max_ps(_mm256_min_ps(eight, largest), smallest);
        _mm_storeu_si128((__m128i *)(void *)(out + 2 * i), _mm256_cvtps_ph(eight, _MM_FROUND_TO_NEAREST_INT));
    }
    plain_from_float(floats + i, out + 2 * i, count - i);
}

static const struct half_variant variant_f16c = { "F16C", f16c_to_float, f16c_from_float };

/* Every processor with AVX2 has F16C, and this question (unlike that for F16C) is one that all compilers know. It
 * includes whether the system saves the wide registers. */
static bool f16c_there(void)
{
    return __builtin_cpu_supports("avx2");
}

#endif

int half_variants(const struct half_variant *variants[2])
{
    variants[0] = &variant_plain;
#ifdef HAS_F16C_VARIANT
    if (f16c_there()) {
        variants[1] = &variant_f16c;
        return 2;
    }
#endif
    return 1;
}

static const struct half_variant *fastest(void)
{
    const struct half_variant *variants[2];
    return variants[half_variants(variants) - 1];
}

bool half_to_float(const void *halves, float *floats, size_t count)
{
    return fastest()->to_float(halves, floats, count);
}

void half_from_float(const float *floats, void *halves, size_t count)
{
    fastest()->from_float(floats, halves, count);
}
