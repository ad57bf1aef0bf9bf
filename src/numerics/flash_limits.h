/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * Does a sequence flash so that it can harm eyes that are sensitive to it? The picture comes as a grid of cells, frame
 * by frame in order.
 *
 * Sources: W3C, Web Content Accessibility Guidelines 2.2, success criterion 2.3.1 with its definition of the general
 * flash and red flash thresholds; Recommendation ITU-R BT.1702. As they are read here:
 *
 * - A change is a rise or a fall of relative luminance by 0.1 or more, however many frames it takes, whose darker end
 * is below 0.80. Wavering by less than that does not end a rise or fall.
 * - A red change is one of (R - G - B) * 320 (0 when negative) by more than 20, with R / (R + G + B) of 0.8 or more at
 *   one of its ends.
 * - A flash is a pair of opposing changes at one place. More than three flashes in a second, so at least eight changes,
 *   from the first to the last within one second, are too many for a place.
 * - The sequence fails at a frame when places that make up more than `area` of the picture have too many at once.
 */
#ifndef NUMERICS_FLASH_LIMITS_H
#define NUMERICS_FLASH_LIMITS_H

#include <passel/error.h>
#include <stdbool.h>
#include <stdint.h>

/* Changes that are too many within a second: more than three flashes. They need one frame more than that. */
enum { FLASH_CHANGES = 8, FLASH_FRAMES_LEAST = FLASH_CHANGES + 1 };
/* Up to this share of the picture may flash as it likes. */
#define FLASH_AREA 0.25

enum flash_kind { FLASH_GENERAL, FLASH_RED, FLASH_KINDS };

/* Light of a cell as a display shows it: linear, 0 … 1, primaries of BT.709. */
struct flash_cell {
    float red, green, blue;
};

/* Frames that fail, one after another. */
struct flash_stretch {
    enum flash_kind kind;
    int32_t first, last; /* from the first change that counted to the last frame that fails */
    double share;        /* of the picture, the largest that failed at once */
};

struct flash_judge;

/* `rate`: frames in a second; `area`: the share of the picture that may, FLASH_AREA by the limits' own text. For
 * flash_judge_free. */
enum passel_status flash_judge_new(int cells, double rate, double area, struct flash_judge **judge,
                                   struct passel_error *error);
void flash_judge_free(struct flash_judge *judge); /* NULL is fine */

/* The next frame; `frame` is its number. One that does not follow the last begins a new sequence. */
enum passel_status flash_judge_frame(struct flash_judge *judge, int32_t frame, const struct flash_cell *cells,
                                     struct passel_error *error);

/* What has failed so far, in the order of the frames. Valid until the judge sees another frame or is freed. */
const struct flash_stretch *flash_judge_stretches(const struct flash_judge *judge, int *count);
/* The largest share of the picture that had too many flashes at once, also when that is within the limit. */
double flash_judge_share(const struct flash_judge *judge);

#endif
