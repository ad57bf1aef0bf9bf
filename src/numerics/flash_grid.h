/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * A frame as a grid of cells for numerics/flash_limits.h, from a few rows of its pixels.
 *
 * What a display shows of a frame: its light with every channel held between 0 and 1, where 1 is the display's white.
 */
#ifndef NUMERICS_FLASH_GRID_H
#define NUMERICS_FLASH_GRID_H

#include "numerics/flash_limits.h"
#include "picture/picture.h"
#include "picture/primaries.h"

enum { FLASH_ACROSS = 64, FLASH_DOWN = 36, FLASH_CELLS = FLASH_ACROSS * FLASH_DOWN };

struct flash_grid {
    struct flash_cell cells[FLASH_CELLS]; /* rows from the top */
};

/* One frame being looked at. */
struct flash_view;

/* A smaller frame has too few pixels for the grid, and is not judged. */
bool flash_view_fits(struct rect window);
/* `window` is the whole frame; what no strip shows of it is black. NULL when memory is out, or it does not fit.
 * Primaries that span no colours are taken for those of BT.709. */
struct flash_view *flash_view_new(struct rect window, const struct primaries *primaries);
void flash_view_free(struct flash_view *view); /* NULL is fine */
/* Takes in a strip of linear light, of which no two share a row; strips of one frame may come from several threads at
 * once. */
void flash_view_strip(struct flash_view *view, const struct picture *strip);
/* What was taken in; for memory_free; NULL when memory is out. */
struct flash_grid *flash_view_grid(const struct flash_view *view);

#endif
