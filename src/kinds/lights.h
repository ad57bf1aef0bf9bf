/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The settings of a `lights` block as its files read them.
 */
#ifndef KINDS_LIGHTS_H
#define KINDS_LIGHTS_H

#include "kinds/kind.h"
#include "numerics/cells.h"

/* What is taken off a light's pass before it is weighted. */
enum black {
    BLACK_AMBIENT, /* the ambient, when there is one; with `minus` those passes */
    BLACK_AUTO,    /* what stands still and is dark in the pass itself */
    BLACK_NONE
};

struct light {
    const struct value *picture;
    const struct value *stops, *gain, *tint, *colour; /* each NULL when it was not given */
    int matte;                                        /* index into the block's mattes, or -1 */
    const struct value **minus;
    int minus_count;
    enum black black;
    int look; /* BLACK_AUTO: which of the found ones is its */
};

struct lights {
    const struct value *ambient; /* or NULL */
    struct light *lights;        /* those that are lit */
    int count;
    int looks;                   /* lights of BLACK_AUTO */
    const struct value **mattes; /* each picture once */
    int matte_count;
};

/* The dark of each light of BLACK_AUTO, found by the analysis. */
struct lights_dark {
    int count;
    struct cells dark[];
};

extern const struct analysis lights_analysis;

/* Is this setting of a `lights` block a light that is lit: neither off nor dark by another's solo? */
bool light_is_lit(const struct block *block, const struct setting *setting);

#endif
