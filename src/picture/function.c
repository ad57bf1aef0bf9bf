/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * log2 from the series of the inverse hyperbolic tangent, 2^x and the sine from their Taylor series; each on a range so
 * short that a handful of terms reaches the rounding of a double.
 */
#include "picture/function.h"

#include <float.h>
#include <math.h>
#include <stdint.h>
#include <string.h>

#define SQRT2 1.4142135623730951
#define INTEGER_MAGIC 6755399441055744.0 /* 1.5 * 2^52: adding it rounds to whole numbers, found in the low bits */

/* log2(m) for m in [1/sqrt 2, sqrt 2]: 2/ln 2 * atanh((m-1)/(m+1)), nine terms. */
static inline double log2_near_one(double m)
{
    const double t = (m - 1) / (m + 1);
    const double s = t * t;
    double sum = 0.16972882833987804;
    sum = sum * s + 0.19235933878519512;
    sum = sum * s + 0.22195308321368667;
    sum = sum * s + 0.2623081892525388;
    sum = sum * s + 0.3205988979753252;
    sum = sum * s + 0.4121985831111324;
    sum = sum * s + 0.5770780163555853;
    sum = sum * s + 0.9617966939259756;
    sum = sum * s + 2.8853900817779268;
    return sum * t;
}

/* 2^f for f in [-1/2, 1/2]: terms (f ln 2)^k / k! up to the twelfth. */
static inline double exp2_near_zero(double f)
{
    double sum = 2.5678435993488196e-11;
    sum = sum * f + 4.44553827187081e-10;
    sum = sum * f + 7.054911620801121e-09;
    sum = sum * f + 1.0178086009239696e-07;
    sum = sum * f + 1.3215486790144305e-06;
    sum = sum * f + 1.5252733804059838e-05;
    sum = sum * f + 0.00015403530393381606;
    sum = sum * f + 0.0013333558146428441;
    sum = sum * f + 0.009618129107628477;
    sum = sum * f + 0.055504108664821576;
    sum = sum * f + 0.2402265069591007;
    sum = sum * f + 0.6931471805599453;
    return sum * f + 1.0;
}

double function_log2(double x)
{
    if (!(x > 0))
        return -1e9;
    int exponent;
    double m = frexp(x, &exponent); /* [1/2, 1) */
    if (m < SQRT2 / 2) {
        m *= 2;
        exponent--;
    }
    return exponent + log2_near_one(m);
}

double function_exp2(double x)
{
    if (x < -1000)
        return 0;
    if (x > 1023)
        return INFINITY;
    const double whole = floor(x + 0.5);
    return ldexp(exp2_near_zero(x - whole), (int)whole);
}

/* sin(pi r) for |r| ≤ 1/4. */
static double sinpi_near_zero(double r)
{
    const double s = r * r;
    double sum = 7.952054001475508e-07;
    sum = sum * s - 2.1915353447830204e-05;
    sum = sum * s + 0.00046630280576761234;
    sum = sum * s - 0.007370430945714348;
    sum = sum * s + 0.08214588661112819;
    sum = sum * s - 0.5992645293207919;
    sum = sum * s + 2.550164039877345;
    sum = sum * s - 5.167712780049969;
    return (sum * s + 3.141592653589793) * r;
}

/* cos(pi r) for |r| ≤ 1/4. */
static double cospi_near_zero(double r)
{
    const double s = r * r;
    double sum = 4.303069587032944e-06;
    sum = sum * s - 0.00010463810492484565;
    sum = sum * s + 0.001929574309403922;
    sum = sum * s - 0.02580689139001405;
    sum = sum * s + 0.23533063035889312;
    sum = sum * s - 1.3352627688545893;
    sum = sum * s + 4.058712126416768;
    sum = sum * s - 4.934802200544679;
    return sum * s + 1.0;
}

/* The sine of (quarters * 1/2 + r) half turns. */
static double sine_in_quarter(int quarters, double r)
{
    const double value = quarters & 1 ? cospi_near_zero(r) : sinpi_near_zero(r);
    return quarters & 2 ? -value : value;
}

double function_sinpi(double x)
{
    const double nearest = floor(2 * x + 0.5);
    return sine_in_quarter((int)(nearest - 4 * floor(nearest / 4)), x - nearest / 2);
}

double function_cospi(double x)
{
    const double nearest = floor(2 * x + 0.5);
    return sine_in_quarter((int)(nearest + 1 - 4 * floor((nearest + 1) / 4)), x - nearest / 2);
}

/* x = m * 2^e with m in [1/sqrt 2, sqrt 2], for x > 0. */
static inline void split_float(float x, float *m, int32_t *e)
{
    const float normal = x < FLT_MIN ? x * 0x1p24f : x;
    uint32_t bits;
    memcpy(&bits, &normal, sizeof bits);
    const uint32_t mantissa_bits = (bits & 0x7fffffu) | 0x3f800000u;
    float mantissa;
    memcpy(&mantissa, &mantissa_bits, sizeof mantissa);
    *e = (int32_t)(bits >> 23) - 127 - (x < FLT_MIN ? 24 : 0) + (mantissa > (float)SQRT2 ? 1 : 0);
    *m = mantissa > (float)SQRT2 ? mantissa * 0.5f : mantissa;
}

/* 2^y rounded to float, |y| ≤ 200. The whole part is added to the exponent bits. */
static inline float exp2_to_float(double y)
{
    const double shifted = y + INTEGER_MAGIC;
    const double value = exp2_near_zero(y - (shifted - INTEGER_MAGIC));
    uint64_t whole, bits;
    memcpy(&whole, &shifted, sizeof whole);
    memcpy(&bits, &value, sizeof bits);
    bits += whole << 52;
    double result;
    memcpy(&result, &bits, sizeof result);
    return (float)result;
}

void function_power(float *samples, size_t count, double exponent)
{
    for (size_t i = 0; i < count; i++) {
        const float x = samples[i];
        float m;
        int32_t e;
        split_float(x, &m, &e);
        double y = exponent * (e + log2_near_one(m));
        y = y < -200 ? -200 : y;
        y = y > 200 ? 200 : y;
        const float power = x > 0 ? exp2_to_float(y) : 0;
        samples[i] = x <= FLT_MAX ? power : x;
    }
}
