/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * How much of the light of a pass changes from frame to frame. Noise changes as well, and in a pass that is far
 * underexposed it changes more than anything else. But it knows nothing of its neighbours, while what moves covers
 * several blocks and moves in all colours: the covariance of the differences is free of noise.
 */
#include <math.h>

#include "survey/look.h"

/* Colours may share their noise (video keeps one brightness for all three): they count only when the neighbours are
 * related at all, at least by this share of it. */
#define NEIGHBOURS_LEAST 0.1

/* Products of differences that would be unrelated if they were noise. */
struct relation {
    double sum, squares, a, b;
};

static void relate(struct relation *relation, double a, double b)
{
    relation->sum += a * b;
    relation->squares += a * b * a * b;
    relation->a += a * a;
    relation->b += b * b;
}

/* What is certain of the correlation: three standard errors less than it seems. */
static double related(const struct relation *relation)
{
    const double sure = relation->sum - 3 * sqrt(relation->squares), all = sqrt(relation->a * relation->b);
    return sure > 0 && all > 0 ? sure / all : 0;
}

/* Differences of one sample from the mean: colours against each other, blocks against those right and below. */
static void relate_sample(const struct look *look, const struct look *mean, struct relation relations[3])
{
    for (int c = 0; c < 3; c++) {
        const float *a = look->plane[c], *m = mean->plane[c];
        const float *b = look->plane[(c + 1) % 3], *n = mean->plane[(c + 1) % 3];
        for (int32_t y = 0; y < look->down; y++) {
            for (int32_t x = 0; x < look->across; x++) {
                const size_t i = (size_t)y * (size_t)look->across + (size_t)x;
                const size_t right = i + 1, below = i + (size_t)look->across;
                const double here = (double)a[i] - m[i];
                relate(&relations[0], here, (double)b[i] - n[i]);
                if (x + 1 < look->across)
                    relate(&relations[1], here, (double)a[right] - m[right]);
                if (y + 1 < look->down)
                    relate(&relations[2], here, (double)a[below] - m[below]);
            }
        }
    }
}

float look_change(const struct look *const *looks, int count, const struct look *mean)
{
    struct relation relations[3] = { { 0 } };
    double light = 0, apart = 0;
    for (size_t i = 0; i < 3 * look_count(mean); i++) {
        double squares = 0;
        for (int k = 0; k < count; k++) {
            const double off = (double)looks[k]->plane[0][i] - mean->plane[0][i];
            squares += off * off;
        }
        light += mean->plane[0][i];
        apart += sqrt(squares / count);
    }
    for (int k = 0; k < count; k++)
        relate_sample(looks[k], mean, relations);
    const double colours = related(&relations[0]);
    const double neighbours = fmax(related(&relations[1]), related(&relations[2]));
    const double share = neighbours > NEIGHBOURS_LEAST * colours ? fmax(neighbours, colours) : neighbours;
    return light > 0 ? (float)(sqrt(share) * apart / light) : 0;
}
