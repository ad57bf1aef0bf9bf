/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The byte arithmetic of ZIP and ZIPS chunks. Before deflate, bytes at even places are put before those at odd places,
 * and each byte but the first becomes its difference to the one before it, plus 128, modulo 256. Source: the
 * description of the OpenEXR file layout.
 *
 * Undoing the differences is a running sum: s[i] = 128 + sum of (d[0 … i] - 128). With SSE2 sixteen terms are summed
 * in four steps; both halves are summed at once, the second starting from the total of the first, so that the result
 * is stored joined.
 */
#include "media/exr.h"

#ifdef __SSE2__
#include <emmintrin.h>
#endif

static uint8_t total(const uint8_t *from, size_t count, uint8_t start)
{
    for (size_t i = 0; i < count; i++)
        start = (uint8_t)(start + from[i] - 128);
    return start;
}

#ifdef __SSE2__

/* Sums of all prefixes of sixteen bytes, on top of `before` (which holds the same byte sixteen times). */
static __m128i prefix_sums(__m128i terms, __m128i before)
{
    terms = _mm_add_epi8(terms, _mm_slli_si128(terms, 1));
    terms = _mm_add_epi8(terms, _mm_slli_si128(terms, 2));
    terms = _mm_add_epi8(terms, _mm_slli_si128(terms, 4));
    terms = _mm_add_epi8(terms, _mm_slli_si128(terms, 8));
    return _mm_add_epi8(terms, before);
}

/* The last of sixteen bytes, sixteen times. */
static __m128i last_byte(__m128i bytes)
{
    bytes = _mm_unpackhi_epi8(bytes, bytes);
    bytes = _mm_shufflehi_epi16(bytes, 0xff);
    return _mm_unpackhi_epi64(bytes, bytes);
}

/* As many steps of sixteen as there are; the sums so far go back into *even and *odd. Returns how far it went. */
static size_t join_wide(const uint8_t *from, size_t half, size_t count, uint8_t *to, uint8_t *even, uint8_t *odd)
{
    const __m128i offset = _mm_set1_epi8((char)128);
    __m128i before_even = _mm_set1_epi8((char)*even), before_odd = _mm_set1_epi8((char)*odd);
    size_t i = 0;
    for (; i + 16 <= count; i += 16) {
        const __m128i first = _mm_loadu_si128((const __m128i *)(const void *)(from + i));
        const __m128i second = _mm_loadu_si128((const __m128i *)(const void *)(from + half + i));
        const __m128i a = prefix_sums(_mm_xor_si128(first, offset), before_even);
        const __m128i b = prefix_sums(_mm_xor_si128(second, offset), before_odd);
        before_even = last_byte(a);
        before_odd = last_byte(b);
        _mm_storeu_si128((__m128i *)(void *)(to + 2 * i), _mm_unpacklo_epi8(a, b));
        _mm_storeu_si128((__m128i *)(void *)(to + 2 * i + 16), _mm_unpackhi_epi8(a, b));
    }
    *even = (uint8_t)_mm_cvtsi128_si32(before_even);
    *odd = (uint8_t)_mm_cvtsi128_si32(before_odd);
    return i;
}

#else

static size_t join_wide(const uint8_t *from, size_t half, size_t count, uint8_t *to, uint8_t *even, uint8_t *odd)
{
    (void)from, (void)half, (void)count, (void)to, (void)even, (void)odd;
    return 0;
}

#endif

void exr_zip_join(const uint8_t *from, uint8_t *to, size_t size)
{
    const size_t half = (size + 1) / 2, pairs = size / 2;
    uint8_t even = 128, odd = total(from, half, 128);
    size_t i = join_wide(from, half, pairs, to, &even, &odd);
    for (; i < pairs; i++) {
        even = (uint8_t)(even + from[i] - 128);
        odd = (uint8_t)(odd + from[half + i] - 128);
        to[2 * i] = even;
        to[2 * i + 1] = odd;
    }
    if (half > pairs)
        to[size - 1] = (uint8_t)(even + from[pairs] - 128);
}

/* Differences are taken while the bytes are parted: neighbours in a half lie two apart in `from`. */
void exr_zip_split(const uint8_t *from, uint8_t *to, size_t size)
{
    const size_t half = (size + 1) / 2, pairs = size / 2;
    if (size == 0)
        return;
    to[0] = from[0];
    for (size_t i = 1; i < half; i++)
        to[i] = (uint8_t)(from[2 * i] - from[2 * i - 2] + 128);
    if (pairs > 0)
        to[half] = (uint8_t)(from[1] - from[2 * (half - 1)] + 128);
    for (size_t i = 1; i < pairs; i++)
        to[half + i] = (uint8_t)(from[2 * i + 1] - from[2 * i - 1] + 128);
}
