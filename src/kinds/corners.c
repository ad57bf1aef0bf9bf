/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
#include "kinds/corners.h"

#include <math.h>
#include <string.h>

bool square_to_corners(const double corner[8], struct transform *t)
{
    const double x0 = corner[0], y0 = corner[1], x1 = corner[2], y1 = corner[3];
    const double x2 = corner[4], y2 = corner[5], x3 = corner[6], y3 = corner[7];
    const double sx = x0 - x1 + x2 - x3, sy = y0 - y1 + y2 - y3;
    const double dx1 = x1 - x2, dx2 = x3 - x2, dy1 = y1 - y2, dy2 = y3 - y2;
    const double determinant = dx1 * dy2 - dx2 * dy1;
    const double g = (sx * dy2 - dx2 * sy) / determinant, h = (dx1 * sy - sx * dy1) / determinant;
    const double m[9] = { x1 - x0 + g * x1, x3 - x0 + h * x3, x0, y1 - y0 + g * y1, y3 - y0 + h * y3, y0, g, h, 1 };
    memcpy(t->m, m, sizeof m);
    /* convex: the horizon runs outside; not convex, or all on a line: it cuts the square or nothing is left */
    return determinant != 0 && 1 + g > 0 && 1 + h > 0 && 1 + g + h > 0;
}

static void corner_of(struct rect window, int i, double *x, double *y)
{
    *x = i == 1 || i == 2 ? window.x1 : window.x0;
    *y = i >= 2 ? window.y1 : window.y0;
}

void corners_of_map(const struct transform *map, struct rect window, double corner[8])
{
    for (int i = 0; i < 4; i++) {
        double x, y;
        corner_of(window, i, &x, &y);
        transform_point(map, x, y, &corner[2 * i], &corner[2 * i + 1]);
    }
}

/* Least squares: the mean goes to the mean, and about it the plane is turned and sized as a complex number. */
static struct transform similarity(const double corner[8], struct rect window, enum register_model model)
{
    const double cx = (window.x0 + window.x1) / 2.0, cy = (window.y0 + window.y1) / 2.0;
    double mx = 0, my = 0, along = 0, across = 0, size = 0;
    for (int i = 0; i < 4; i++) {
        double x, y;
        corner_of(window, i, &x, &y);
        x -= cx;
        y -= cy;
        mx += corner[2 * i] / 4;
        my += corner[2 * i + 1] / 4;
        along += x * corner[2 * i] + y * corner[2 * i + 1];
        across += x * corner[2 * i + 1] - y * corner[2 * i];
        size += x * x + y * y;
    }
    if (model == REGISTER_MOVE) {
        along = 1;
        across = 0;
    } else {
        const double length = model == REGISTER_MOVE_TURN ? sqrt(along * along + across * across) : size;
        along /= length;
        across /= length;
    }
    const struct transform t = { { along, -across, mx - (along * cx - across * cy), across, along,
                                   my - (across * cx + along * cy), 0, 0, 1 } };
    return t;
}

bool map_of_corners(const double corner[8], struct rect window, enum register_model model, struct transform *map)
{
    struct transform to_corners;
    const double width = window.x1 - window.x0, height = window.y1 - window.y0;
    if (!square_to_corners(corner, &to_corners))
        return false;
    const struct transform to_square = { { 1 / width, 0, -window.x0 / width, 0, 1 / height, -window.y0 / height, 0, 0,
                                           1 } };
    *map = model == REGISTER_PIN ? transform_chain(to_square, to_corners) : similarity(corner, window, model);
    return true;
}
