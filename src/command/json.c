/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "command/json.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/text.h"

void json_text(const char *text)
{
    size_t left = strlen(text), used;
    (void)putchar('"');
    for (; left > 0; text += used, left -= used) {
        const uint32_t code = utf8_next(text, left, &used);
        if (code == '"' || code == '\\')
            (void)printf("\\%c", (char)code);
        else if (code < 0x20)
            (void)printf("\\u%04x", code);
        else if (code == 0xFFFD)
            (void)printf("\xEF\xBF\xBD");
        else
            (void)printf("%.*s", (int)used, text);
    }
    (void)putchar('"');
}

void json_number(double number)
{
    if (isfinite(number))
        (void)printf("%.9g", number);
    else
        (void)printf("null");
}
