/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Two takes of which one was resampled: what is finer than a pixel cannot be laid on what another grid of pixels saw of
 * it, whatever the filter. So where the takes' equations miss by more than noise, the resampled one only tells what
 * colour the thing has, and alpha comes from the other take at its own sampling.
 */
#ifndef KINDS_KEY_OWN_SAMPLING_H
#define KINDS_KEY_OWN_SAMPLING_H

#include "base/arena.h"
#include "kinds/key_screens.h"

#define OWN_REACH 2 /* pixels around one that are asked with it */

struct own_sampling {
    const struct screens *screens; /* two */
    const struct picture *takes;   /* R, G, B of both, over `known` */
    int own;                       /* the take that was not resampled */
    struct rect known;
    /* Plane A, over known and more. */
    const struct picture *misfit;       /* what the equations miss, as a variance in units of their noise's */
    const struct picture *t, *variance; /* of the pair's answer; replaced */
    const struct picture *share;        /* zeros; becomes how much of the answer is of the one take */
    const struct picture *apart;        /* zeros; becomes 1 where the takes do not show the same thing */
};

/* Works on `want`, which lies in known. Bits do not depend on it. False when memory is out. */
bool own_sampling(const struct own_sampling *job, struct rect want, struct arena *scratch);

#endif
