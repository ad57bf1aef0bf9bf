/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "command/letters.h"

#include <string.h>

/* Rows from the top, the leftmost dot in bit 4. */
struct letter {
    char sign;
    unsigned char row[LETTER_ROWS];
};

static const struct letter letters[] = {
    { ' ', { 0, 0, 0, 0, 0, 0, 0 } },        { '-', { 0, 0, 0, 14, 0, 0, 0 } },
    { '.', { 0, 0, 0, 0, 0, 12, 12 } },      { ',', { 0, 0, 0, 0, 12, 4, 8 } },
    { ':', { 0, 12, 12, 0, 12, 12, 0 } },    { '/', { 1, 1, 2, 4, 8, 16, 16 } },
    { '_', { 0, 0, 0, 0, 0, 0, 31 } },       { '0', { 14, 17, 17, 21, 17, 17, 14 } },
    { '1', { 4, 12, 4, 4, 4, 4, 14 } },      { '2', { 14, 17, 1, 6, 8, 16, 31 } },
    { '3', { 31, 2, 4, 2, 1, 17, 14 } },     { '4', { 2, 6, 10, 18, 31, 2, 2 } },
    { '5', { 31, 16, 30, 1, 1, 17, 14 } },   { '6', { 6, 8, 16, 30, 17, 17, 14 } },
    { '7', { 31, 1, 2, 2, 4, 4, 4 } },       { '8', { 14, 17, 17, 14, 17, 17, 14 } },
    { '9', { 14, 17, 17, 15, 1, 2, 12 } },   { 'A', { 4, 10, 17, 17, 31, 17, 17 } },
    { 'B', { 30, 17, 17, 30, 17, 17, 30 } }, { 'C', { 14, 17, 16, 16, 16, 17, 14 } },
    { 'D', { 28, 18, 17, 17, 17, 18, 28 } }, { 'E', { 31, 16, 16, 28, 16, 16, 31 } },
    { 'F', { 31, 16, 16, 28, 16, 16, 16 } }, { 'G', { 14, 17, 16, 19, 17, 17, 15 } },
    { 'H', { 17, 17, 17, 31, 17, 17, 17 } }, { 'I', { 14, 4, 4, 4, 4, 4, 14 } },
    { 'J', { 7, 2, 2, 2, 2, 18, 12 } },      { 'K', { 17, 18, 20, 24, 20, 18, 17 } },
    { 'L', { 16, 16, 16, 16, 16, 16, 31 } }, { 'M', { 17, 27, 21, 21, 17, 17, 17 } },
    { 'N', { 17, 25, 25, 21, 19, 19, 17 } }, { 'O', { 14, 17, 17, 17, 17, 17, 14 } },
    { 'P', { 30, 17, 17, 30, 16, 16, 16 } }, { 'Q', { 14, 17, 17, 17, 21, 18, 13 } },
    { 'R', { 30, 17, 17, 30, 20, 18, 17 } }, { 'S', { 15, 16, 16, 14, 1, 1, 30 } },
    { 'T', { 31, 4, 4, 4, 4, 4, 4 } },       { 'U', { 17, 17, 17, 17, 17, 17, 14 } },
    { 'V', { 17, 17, 17, 17, 10, 10, 4 } },  { 'W', { 17, 17, 17, 21, 21, 21, 10 } },
    { 'X', { 17, 10, 4, 4, 4, 10, 17 } },    { 'Y', { 17, 17, 10, 4, 4, 4, 4 } },
    { 'Z', { 31, 1, 2, 4, 8, 16, 31 } },     { 0, { 31, 17, 17, 17, 17, 17, 31 } }, /* a box: stands for all others */
};

static const struct letter *letter_of(char sign)
{
    const struct letter *letter = letters;
    if (sign >= 'a' && sign <= 'z')
        sign = (char)(sign - 'a' + 'A');
    while (letter->sign != 0 && letter->sign != sign)
        letter++;
    return letter;
}

int32_t letters_width(const char *text)
{
    return (int32_t)strlen(text) * LETTER_STEP;
}

static void fill_colour(const struct picture *picture, struct rect area, float value)
{
    area = rect_cut(area, picture->area);
    for (int p = PLANE_R; p <= PLANE_B && !rect_empty(area); p++)
        picture_fill(picture, (enum plane)p, area, value);
}

void letters_draw(const struct picture *picture, int32_t x, int32_t y, int32_t dot, float value, const char *text)
{
    for (; *text != '\0'; text++, x += LETTER_STEP * dot) {
        const struct letter *letter = letter_of(*text);
        for (int32_t row = 0; row < LETTER_ROWS; row++) {
            for (int32_t column = 0; column < LETTER_STEP - 1; column++) {
                const int32_t left = x + column * dot, top = y + row * dot;
                if ((letter->row[row] >> (LETTER_STEP - 2 - column) & 1) != 0)
                    fill_colour(picture, rect_of(left, top, left + dot, top + dot), value);
            }
        }
    }
}
