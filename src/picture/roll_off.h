/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The view curve of quick pictures: light as it is up to 0.6, then rolled off towards 1, so that a lamp or a strike
 * far above white still shows its form on a screen.
 */
#ifndef PICTURE_ROLL_OFF_H
#define PICTURE_ROLL_OFF_H

#include <stddef.h>

/* Scene-linear light → what a screen is to show of it, 0 … 1, linear; negative light is shown as none. In place. */
void roll_off(float *light, size_t count);

#endif
