/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "numerics/seeded.h"

/* Spreads every bit over all others: two rounds of shift and multiply, the constants of D. Stafford's thirteenth
 * variant of the finisher of A. Appleby's MurmurHash3 ("Better bit mixing", 2011). */
static uint64_t mixed(uint64_t x)
{
    x = (x ^ x >> 30) * UINT64_C(0xbf58476d1ce4e5b9);
    x = (x ^ x >> 27) * UINT64_C(0x94d049bb133111eb);
    return x ^ x >> 31;
}

/* Steps of 2^64 divided by the golden ratio keep neighbouring seeds and places apart before they are mixed. */
double seeded_share(uint64_t seed, uint64_t series, int64_t place)
{
    const uint64_t golden = UINT64_C(0x9e3779b97f4a7c15);
    const uint64_t start = mixed(mixed(seed + golden) + series * golden);
    return (double)(mixed(start + (uint64_t)place * golden) >> 11) * 0x1p-53;
}
