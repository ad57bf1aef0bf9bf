/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The descriptors that kinds/table.c lists, each defined in the file of its name.
 */
#ifndef KINDS_KINDS_H
#define KINDS_KINDS_H

#include "kinds/kind.h"

extern const struct kind kind_align;
extern const struct kind kind_curve;
extern const struct kind kind_extend;
extern const struct kind kind_flat;
extern const struct kind kind_key_difference;
extern const struct kind kind_key_luma;
extern const struct kind kind_key_screen;
extern const struct kind kind_key_two_screen;
extern const struct kind kind_lens;
extern const struct kind kind_lights;
extern const struct kind kind_look;
extern const struct kind kind_matte;
extern const struct kind kind_output;
extern const struct kind kind_pass;
extern const struct kind kind_place;
extern const struct kind kind_ramp;
extern const struct kind kind_shape;
extern const struct kind kind_shot;
extern const struct kind kind_stack;
extern const struct kind kind_streak;
extern const struct kind kind_take;
extern const struct kind kind_time;
extern const struct kind kind_view;

#endif
