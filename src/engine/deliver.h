/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * One frame of one output on its way to the disk: from light to the numbers of the file.
 */
#ifndef ENGINE_DELIVER_H
#define ENGINE_DELIVER_H

#include <passel/error.h>

#include "engine/plan.h"
#include "engine/scratch.h"
#include "media/media.h"
#include "numerics/flash_grid.h"

struct delivery {
    const struct output *output;
    char *path;
    struct media_writer *writer;
    unsigned *planes;        /* per picture of the output: what is written */
    char digest[33];         /* of everything that makes the file, in hexadecimal */
    struct flash_view *view; /* of the first picture; NULL when nobody watches */
};

/* Names the file and works out its digest; roots[i] is the node of the output's i-th picture. */
enum passel_status delivery_plan(struct delivery *delivery, const struct output *output, const struct plan *plan,
                                 const int *roots, struct passel_error *error);

/* True when the file is there, whole, made from just this, and younger than all inputs. */
bool delivery_fresh(const struct delivery *delivery, const struct plan *plan);

/* Makes missing folders and opens the file. Refuses to write over an input of the plan. */
enum passel_status delivery_open(struct delivery *delivery, const struct plan *plan, struct passel_error *error);

/* Writes a strip; pictures[i] is the strip of the output's i-th picture, and is left alone. */
enum passel_status delivery_write(struct delivery *delivery, const struct shot *shot, const struct picture *pictures,
                                  struct scratch *scratch, struct passel_error *error);

/* The file is whole from here on. */
enum passel_status delivery_keep(struct delivery *delivery, struct passel_error *error);
/* Deletes what was begun, if anything, and releases all. */
void delivery_release(struct delivery *delivery);

#endif
