/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A small invented set for tests of keys, with the truth beside it: a cottage with a green copper roof and a blue door,
 * a bough of rigging wires one pixel wide, smoke, soft edges; uneven screens; noise that grows with the light. And a
 * keeper's head with fine hair. Linked with `passel_unit(test_thing key_scene)`.
 */
#ifndef TESTS_KEY_SCENE_H
#define TESTS_KEY_SCENE_H

#include "picture/picture.h"

/* Gaussian numbers of a fixed seed. */
struct dice {
    uint64_t state;
};
double dice_uniform(struct dice *dice); /* 0 … 1, both ends excluded */
double dice_gauss(struct dice *dice);

/* var = gain * light + floor. */
struct camera {
    double gain, floor;
};

/* R, G, B, A: premultiplied truth. */
struct picture scene_cottage(int32_t width, int32_t height);
struct picture scene_keeper(int32_t width, int32_t height);

/* R, G, B of an uneven screen around `colour`; `uneven` 0.3 is 30 % from the bright corner to the dark one. A stand and
 * a tape mark are on it when `marks` is set. */
struct picture scene_screen(int32_t width, int32_t height, const double colour[3], double uneven, bool marks);

/* What the camera sees of a cut-out before a screen lit `level` times as bright; without noise. NULL: the empty. */
struct picture scene_take(const struct picture *cut, const struct picture *screen, double level);
void scene_add_noise(const struct picture *picture, struct camera camera, struct dice *dice);

#endif
