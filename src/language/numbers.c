/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Numbers and units.
 */
#include "language/numbers.h"

#include <locale.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *const unit_words[UNIT_COUNT] = {
    [UNIT_NONE] = "",         [UNIT_STOPS] = "stops", [UNIT_PX] = "px",    [UNIT_PERCENT] = "%", [UNIT_FRACTION] = "%",
    [UNIT_FRAMES] = "frames", [UNIT_DEGREES] = "deg", [UNIT_KELVIN] = "K", [UNIT_SECONDS] = "s", [UNIT_NITS] = "nits",
};

const char *unit_word(enum unit unit)
{
    return unit_words[unit];
}

enum unit unit_named(const char *text, size_t length)
{
    for (int unit = UNIT_STOPS; unit < UNIT_COUNT; unit++)
        if (strlen(unit_words[unit]) == length && memcmp(unit_words[unit], text, length) == 0)
            return (enum unit)unit;
    return UNIT_COUNT;
}

bool unit_stands_apart(enum unit unit)
{
    return unit != UNIT_NONE && unit != UNIT_PERCENT && unit != UNIT_FRACTION;
}

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static size_t sign_length(const char *text, size_t length)
{
    return length > 0 && (text[0] == '+' || text[0] == '-');
}

static size_t digits_length(const char *text, size_t length)
{
    size_t count = 0;
    while (count < length && is_digit(text[count]))
        count++;
    return count;
}

/* The parts of a written number, as offsets into it. */
struct parts {
    size_t whole;    /* first digit before the point */
    size_t point;    /* the point, or where it would stand */
    size_t fraction; /* first digit behind it */
    size_t end;      /* behind the last digit of both */
    size_t exponent; /* sign or first digit of the exponent; == `used` when there is none */
    size_t used;
};

static bool split(const char *text, size_t length, struct parts *parts)
{
    parts->whole = sign_length(text, length);
    parts->point = parts->whole + digits_length(text + parts->whole, length - parts->whole);
    parts->fraction = parts->end = parts->point;
    if (parts->point < length && text[parts->point] == '.') {
        parts->fraction++;
        parts->end = parts->fraction + digits_length(text + parts->fraction, length - parts->fraction);
    }
    parts->used = parts->exponent = parts->end;
    if (parts->point == parts->whole && parts->end == parts->fraction)
        return false;
    if (parts->end < length && (text[parts->end] == 'e' || text[parts->end] == 'E')) {
        const size_t begin = parts->end + 1;
        const size_t digits = begin + sign_length(text + begin, length - begin);
        const size_t count = digits_length(text + digits, length - digits);
        if (count > 0) {
            parts->exponent = begin;
            parts->used = digits + count;
        }
    }
    return true;
}

bool number_begins(const char *text, size_t length)
{
    struct parts parts;
    return split(text, length, &parts);
}

/* The exponent as written; beyond a billion its digits no longer matter. */
static int exponent_of(const char *text, const struct parts *parts)
{
    if (parts->exponent == parts->used)
        return 0;
    const bool negative = text[parts->exponent] == '-';
    int value = 0;
    for (size_t i = parts->exponent + sign_length(text + parts->exponent, 1); i < parts->used; i++)
        if (value < 100000000)
            value = value * 10 + (text[i] - '0');
    return negative ? -value : value;
}

/* Up to 15 digits and a power of ten up to 22 are exact in a double, so one multiplication or division rounds right. */
static bool read_short(const char *text, const struct parts *parts, double *number)
{
    static const double powers[] = { 1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,  1e8,  1e9,  1e10, 1e11,
                                     1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22 };
    int exponent = exponent_of(text, parts);
    int64_t digits = 0;
    int count = 0;
    if (parts->end - parts->fraction > 22)
        return false;
    for (size_t i = parts->whole; i < parts->end; i++) {
        if (text[i] == '.')
            continue;
        digits = digits * 10 + (text[i] - '0');
        if (digits > 0 && ++count > 15)
            return false;
    }
    exponent -= (int)(parts->end - parts->fraction);
    if (exponent < -22 || exponent > 22)
        return false;
    const double value = exponent < 0 ? (double)digits / powers[-exponent] : (double)digits * powers[exponent];
    *number = text[0] == '-' ? -value : value;
    return true;
}

/* No double, nor the middle between two, has more significant digits than this. */
#define DIGITS_THAT_COUNT 800

/* Digits without leading zeros, at most DIGITS_THAT_COUNT and a 1 for any that are not 0 behind them, then the exponent
 * that belongs to them: the same number, in bounded room. */
static void write_plainly(const char *text, const struct parts *parts, char out[DIGITS_THAT_COUNT + 33])
{
    int64_t exponent = exponent_of(text, parts) - (int64_t)(parts->end - parts->fraction);
    size_t count = 0;
    bool more = false;
    for (size_t i = parts->whole; i < parts->end; i++) {
        if (text[i] == '.' || (count == 0 && text[i] == '0'))
            continue;
        if (count < DIGITS_THAT_COUNT) {
            out[count++] = text[i];
        } else {
            more = more || text[i] != '0';
            exponent++;
        }
    }
    if (more) {
        out[count++] = '1';
        exponent--;
    }
    snprintf(out + count, 32, "%se%lld", count == 0 ? "0" : "", (long long)exponent);
}

/* Everything else goes through strtod, with the C locale for this thread only. */
static double read_long(const char *text, const struct parts *parts)
{
    char plainly[DIGITS_THAT_COUNT + 33];
    write_plainly(text, parts, plainly);
    const locale_t plain = newlocale(LC_ALL_MASK, "C", (locale_t)0);
    const locale_t before = uselocale(plain);
    const double value = strtod(plainly, NULL);
    uselocale(before);
    if (plain != (locale_t)0)
        freelocale(plain);
    return text[0] == '-' ? -value : value;
}

bool number_read(const char *text, size_t length, double *number, size_t *used)
{
    struct parts parts;
    if (!split(text, length, &parts))
        return false;
    *used = parts.used;
    if (!read_short(text, &parts, number))
        *number = read_long(text, &parts);
    return true;
}

bool integer_read(const char *text, size_t length, int32_t *number, size_t *used)
{
    const size_t sign = sign_length(text, length);
    const size_t digits = digits_length(text + sign, length - sign);
    int64_t value = 0;
    if (digits == 0)
        return false;
    for (size_t i = sign; i < sign + digits; i++) {
        value = value * 10 + (text[i] - '0');
        if (value > INT32_MAX)
            return false;
    }
    *number = (int32_t)(text[0] == '-' ? -value : value);
    *used = sign + digits;
    return true;
}
