/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * extend: the slow light of a plate, on coarse cells, carried on past its edges.
 */
#ifndef KINDS_EXTEND_FIELD_H
#define KINDS_EXTEND_FIELD_H

#include "kinds/extend_gradient.h"

/* gradient->field has values in the plate, and weight 0 where nothing is known; it becomes the smooth field, continued
 * over the target. */
enum passel_status field_continue(struct gradient *gradient, enum gradient_detail detail, struct passel_error *error);

#endif
