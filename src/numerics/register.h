/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Registration: how one picture has to be moved so that it lies on another one that was lit by other lamps.
 *
 * Nothing is assumed about how bright things are. In small tiles, and there in each of four directions by itself, the
 * fine structure of one picture is taken to be the other's times a number of either sign, plus something unrelated;
 * what is sought is the map under which the two say most about each other (the sum of -log(1 - correlation²) over
 * tiles and directions, which for Gaussian values is their mutual information). So a tile counts as much as its
 * structure agrees: shading that turned over still counts, shadows, moving parts and grain hardly do.
 */
#ifndef NUMERICS_REGISTER_H
#define NUMERICS_REGISTER_H

#include <passel/error.h>

#include "picture/geometry.h"

enum register_model { REGISTER_MOVE, REGISTER_MOVE_TURN, REGISTER_MOVE_TURN_SIZE, REGISTER_PIN };

struct registration {
    struct transform map; /* a position in `fixed` → the same thing in `moved`; pixels */
    double expected;  /* pixels: the standard error at the worst corner, from how much parts of the picture differ */
    double clearness; /* how far the agreement stands out from that at wrong positions, in standard deviations */
    double agreement; /* 0 … 1: mean share of the structure that both have */
};

/* Moves beyond this share of the longer side are not looked for. */
#define REGISTER_REACH 0.1

#define REGISTER_SMALLEST 64

/* Finds `moved` in `fixed`: by the sum of their colours, or their A when they have none. `where`, when not NULL, has a
 * plane A in the coordinates of `fixed`: tiles where it is 0 do not count. `guess`, when not NULL, replaces the search
 * for a first position. Areas of at least REGISTER_SMALLEST each way.
 *
 * PASSEL_BAD_PICTURE, with what was measured, when the pictures do not determine the map: nothing to hold on to, no
 * agreement that stands out, or an expected error above REGISTER_WORST (REGISTER_WORST_PIN for four corners, each of
 * which has only its own part of the picture). *found then holds what was measured. */
#define REGISTER_WORST 0.33
#define REGISTER_WORST_PIN 0.5
#define REGISTER_CLEAR 10.0
enum passel_status register_pictures(const struct picture *fixed, const struct picture *moved,
                                     const struct picture *where, enum register_model model,
                                     const struct transform *guess, struct registration *found,
                                     struct passel_error *error);

#endif
