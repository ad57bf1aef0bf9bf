/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "survey/parts.h"

#include <stdio.h>

int part_of(const struct look *look, size_t i)
{
    const int32_t x = (int32_t)(i % (size_t)look->across), y = (int32_t)(i / (size_t)look->across);
    return y * PARTS_DOWN / look->down * PARTS_ACROSS + x * PARTS_ACROSS / look->across;
}

const char *part_name(int part, char name[PART_NAME])
{
    static const char *const downs[] = { "top", "upper", "middle", "lower", "bottom" };
    static const char *const sides[] = { "left", "left", "left", "middle", "middle", "right", "right", "right" };
    (void)snprintf(name, PART_NAME, "%s %s", downs[part / PARTS_ACROSS], sides[part % PARTS_ACROSS]);
    return name;
}
