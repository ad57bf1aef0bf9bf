/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Numbers and transforms of SVG 1.1 (section 7.6).
 */
#include <stdint.h>
#include <string.h>

#include "media/svg_parts.h"
#include "picture/function.h"

/* ---- numbers ----------------------------------------------------------------------------------------------------- */

static bool is_space(char c)
{
    return c == ' ' || c == '\t' || c == '\n' || c == '\r' || c == '\f';
}

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static const char *skip(const char *at, bool comma)
{
    while (is_space(*at))
        at++;
    if (comma && *at == ',') {
        at++;
        while (is_space(*at))
            at++;
    }
    return at;
}

/* 10^power by squaring; powers of ten up to 22 are exact. */
static double ten_to(int power)
{
    double result = 1, base = 10;
    for (; power > 0; power >>= 1) {
        if (power & 1)
            result *= base;
        base *= base;
    }
    return result;
}

static double scaled(uint64_t digits, int exponent)
{
    const double value = (double)digits;
    if (exponent < -300)
        return value / ten_to(300) / ten_to(-exponent - 300 < 60 ? -exponent - 300 : 60);
    return exponent < 0 ? value / ten_to(-exponent) : value * ten_to(exponent < 310 ? exponent : 310);
}

/* Digits at *at, into *digits while they fit; *shift counts those that no longer do. */
static int read_digits(const char **at, uint64_t *digits, int *shift)
{
    int count = 0;
    for (; is_digit(**at); (*at)++, count++) {
        if (*digits < UINT64_C(1000000000000000000))
            *digits = *digits * 10 + (uint64_t)(**at - '0');
        else if (*shift < 100000)
            ++*shift;
    }
    return count;
}

static int read_exponent(const char **at)
{
    const char *p = *at;
    if (*p != 'e' && *p != 'E')
        return 0;
    p++;
    const bool negative = *p == '-';
    if (*p == '-' || *p == '+')
        p++;
    if (!is_digit(*p))
        return 0; /* the e of an em */
    int value = 0;
    for (; is_digit(*p); p++)
        value = value < 10000 ? value * 10 + (*p - '0') : value;
    *at = p;
    return negative ? -value : value;
}

bool svg_number(const char **text, double *number)
{
    const char *at = skip(*text, true);
    const bool negative = *at == '-';
    if (*at == '-' || *at == '+')
        at++;
    uint64_t digits = 0;
    int shift = 0, lost = 0;
    int count = read_digits(&at, &digits, &shift);
    if (*at == '.' && (count > 0 || is_digit(at[1]))) {
        at++;
        const int fraction = read_digits(&at, &digits, &lost);
        count += fraction;
        shift -= fraction - lost;
    }
    if (count == 0)
        return false;
    shift += read_exponent(&at);
    const double value = scaled(digits, shift);
    *number = negative ? -value : value;
    *text = at;
    return value <= 1e300;
}

/* ---- transforms -------------------------------------------------------------------------------------------------- */

static struct svg_matrix chain(struct svg_matrix outer, struct svg_matrix inner)
{
    const double *a = outer.m, *b = inner.m;
    return (struct svg_matrix){ { a[0] * b[0] + a[2] * b[1], a[1] * b[0] + a[3] * b[1], a[0] * b[2] + a[2] * b[3],
                                  a[1] * b[2] + a[3] * b[3], a[0] * b[4] + a[2] * b[5] + a[4],
                                  a[1] * b[4] + a[3] * b[5] + a[5] } };
}

static double tangent(double degrees)
{
    return function_sinpi(degrees / 180) / function_cospi(degrees / 180);
}

static struct svg_matrix turned(const double *n, int count)
{
    const double c = function_cospi(n[0] / 180), s = function_sinpi(n[0] / 180);
    const double x = count == 3 ? n[1] : 0, y = count == 3 ? n[2] : 0;
    return (struct svg_matrix){ { c, s, -s, c, x - c * x + s * y, y - s * x - c * y } };
}

/* The matrix of one transform with `count` numbers. */
static bool one_transform(const char *name, size_t length, const double *n, int count, struct svg_matrix *matrix)
{
    static const struct {
        const char *name;
        int least, most;
    } known[] = { { "matrix", 6, 6 }, { "translate", 1, 2 }, { "scale", 1, 2 },
                  { "rotate", 1, 3 }, { "skewX", 1, 1 },     { "skewY", 1, 1 } };
    int k = 0;
    while (k < 6 && (strlen(known[k].name) != length || memcmp(known[k].name, name, length) != 0))
        k++;
    if (k == 6 || count < known[k].least || count > known[k].most || (k == 3 && count == 2))
        return false;
    const struct svg_matrix made[] = { { { n[0], n[1], n[2], n[3], n[4], n[5] } },
                                       { { 1, 0, 0, 1, n[0], count == 2 ? n[1] : 0 } },
                                       { { n[0], 0, 0, count == 2 ? n[1] : n[0], 0, 0 } },
                                       turned(n, count),
                                       { { 1, 0, tangent(n[0]), 1, 0, 0 } },
                                       { { 1, tangent(n[0]), 0, 1, 0, 0 } } };
    *matrix = made[k];
    return true;
}

bool svg_transform(const char *text, struct svg_matrix outer, struct svg_matrix *matrix)
{
    *matrix = outer;
    for (const char *at = skip(text, true); *at != '\0'; at = skip(at, true)) {
        const char *name = at;
        while ((*at >= 'a' && *at <= 'z') || (*at >= 'A' && *at <= 'Z'))
            at++;
        const size_t length = (size_t)(at - name);
        double numbers[6] = { 0 };
        int count = 0;
        struct svg_matrix one;
        at = skip(at, false);
        if (*at++ != '(')
            return false;
        while (count < 6 && svg_number(&at, &numbers[count]))
            count++;
        at = skip(at, false);
        if (*at++ != ')' || !one_transform(name, length, numbers, count, &one))
            return false;
        *matrix = chain(*matrix, one);
    }
    return true;
}
