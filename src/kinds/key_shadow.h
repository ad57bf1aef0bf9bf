/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Shadows on a screen: where the take shows the screen's own colour, only darker, and softly so.
 */
#ifndef KINDS_KEY_SHADOW_H
#define KINDS_KEY_SHADOW_H

#include <passel/error.h>

#include "base/arena.h"
#include "kinds/key_screens.h"

#define SHADOW_REACH 10 /* pixels of the take that must be seen around a shadow's pixel */

/* Fills plane A of `shadow` with the share of its light that the screen loses there, 0 … 1 - least; close to what
 * stands before the screen it goes on as it is near by. `take` covers the shadow's area grown by SHADOW_REACH, or ends
 * where the frame does. `least`: how much of its light the screen keeps in the darkest shadow. */
enum passel_status shadow_find(const struct picture *shadow, const struct picture *take, const struct screen *screen,
                               float least, struct arena *scratch, struct passel_error *error);

#endif
