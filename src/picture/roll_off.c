/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Above the knee k the curve is k + (1 - k) t / (1 + t) with t = (x - k) / (1 - k): the simple operator x / (1 + x) of
 * Reinhard, Stark, Shirley, Ferwerda, "Photographic Tone Reproduction for Digital Images" (2002), equation 3, moved so
 * that it leaves the line of slope 1 at the knee without a corner.
 */
#include "picture/roll_off.h"

#define KNEE 0.6F

void roll_off(float *light, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        const float x = light[i] > 0 ? light[i] : 0;
        const float over = (x < 65504 ? x : 65504) - KNEE;
        light[i] = over > 0 ? KNEE + (1 - KNEE) * over / (1 - KNEE + over) : x;
    }
}
