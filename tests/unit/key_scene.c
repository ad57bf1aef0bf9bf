/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * The set is made of soft discs, boxes and lines, painted one over the other.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>

#include "key_scene.h"

double dice_uniform(struct dice *dice)
{
    dice->state = dice->state * 6364136223846793005U + 1442695040888963407U;
    const uint64_t mixed = (dice->state ^ dice->state >> 29) * 0xbf58476d1ce4e5b9U;
    return ((double)(mixed >> 12) + 0.5) / 4503599627370496.0;
}

double dice_gauss(struct dice *dice)
{
    const double u = dice_uniform(dice), v = dice_uniform(dice);
    return sqrt(-2 * log(u)) * cos(6.283185307179586 * v);
}

static struct picture blank(int32_t width, int32_t height, unsigned planes)
{
    struct picture picture;
    assert_int_equal(picture_new(&picture, rect_of(0, 0, width, height), planes, NULL), PASSEL_OK);
    for (int p = 0; p < PLANE_COUNT; p++) {
        if (planes >> p & 1)
            picture_fill(&picture, (enum plane)p, picture.area, 0);
    }
    return picture;
}

static float *pixel(const struct picture *picture, int p, int32_t x, int32_t y)
{
    return picture_row(picture, (enum plane)p, y) + (x - picture->area.x0);
}

/* Lays `colour` of coverage `alpha` over the pixel. */
static void paint(const struct picture *cut, int32_t x, int32_t y, const double colour[3], double alpha)
{
    const double a = fmin(fmax(alpha, 0), 1);
    for (int c = 0; c < 3; c++)
        *pixel(cut, c, x, y) = (float)(colour[c] * a + (1 - a) * (double)*pixel(cut, c, x, y));
    *pixel(cut, PLANE_A, x, y) = (float)(a + (1 - a) * (double)*pixel(cut, PLANE_A, x, y));
}

static double box_coverage(double x, double y, const double box[4], double soft)
{
    const double across = fmin(x - box[0], box[2] - x), down = fmin(y - box[1], box[3] - y);
    return fmin(across, down) / soft + 0.5;
}

static double disc_coverage(double x, double y, double cx, double cy, double radius, double soft)
{
    return (radius - sqrt((x - cx) * (x - cx) + (y - cy) * (y - cy))) / soft + 0.5;
}

/* Distance of a point to a line from a to b. */
static double line_distance(double x, double y, const double line[4])
{
    const double dx = line[2] - line[0], dy = line[3] - line[1];
    const double t = fmin(fmax(((x - line[0]) * dx + (y - line[1]) * dy) / (dx * dx + dy * dy), 0), 1);
    return sqrt((x - line[0] - t * dx) * (x - line[0] - t * dx) + (y - line[1] - t * dy) * (y - line[1] - t * dy));
}

struct picture scene_cottage(int32_t width, int32_t height)
{
    static const double wall[3] = { 0.42, 0.38, 0.33 }, roof[3] = { 0.07, 0.33, 0.14 }, door[3] = { 0.05, 0.11, 0.40 };
    static const double wire[3] = { 0.03, 0.03, 0.03 }, smoke[3] = { 0.5, 0.5, 0.52 }, lamp[3] = { 2.4, 1.7, 0.7 };
    const struct picture cut = blank(width, height, HAS_RGBA);
    const double w = width, h = height;
    for (int32_t py = 0; py < height; py++) {
        for (int32_t px = 0; px < width; px++) {
            const double x = px + 0.5, y = py + 0.5;
            paint(&cut, px, py, smoke, 0.6 * disc_coverage(x, y, 0.62 * w, 0.2 * h, 0.01 * w, 0.22 * h));
            for (int k = 0; k < 6; k++) {
                const double line[4] = { 0.05 * w, (0.1 + 0.03 * k) * h, 0.55 * w, (0.35 + 0.02 * k * k) * h };
                paint(&cut, px, py, wire, 1 - line_distance(x, y, line));
            }
            const double shade = 0.7 + 0.3 * sin(0.9 * x) * sin(1.3 * y);
            const double walls[3] = { wall[0] * shade, wall[1] * shade, wall[2] * shade };
            const double tiles[3] = { roof[0] * shade, roof[1] * shade, roof[2] * shade };
            paint(&cut, px, py, walls, box_coverage(x, y, (const double[]){ 0.3 * w, 0.5 * h, 0.7 * w, 1.1 * h }, 1.5));
            paint(&cut, px, py, tiles,
                  (y - 0.35 * h - 0.6 * fabs(x - 0.5 * w)) / 2 > 0.5 * h - y ? 0.5 + (0.52 * h - y) / 3 : 0);
            paint(&cut, px, py, tiles,
                  box_coverage(x, y, (const double[]){ 0.27 * w, 0.36 * h, 0.73 * w, 0.52 * h }, 4));
            paint(&cut, px, py, door, box_coverage(x, y, (const double[]){ 0.45 * w, 0.65 * h, 0.55 * w, 1.1 * h }, 1));
            paint(&cut, px, py, lamp, disc_coverage(x, y, 0.38 * w, 0.65 * h, 0.02 * w, 2));
        }
    }
    return cut;
}

struct picture scene_keeper(int32_t width, int32_t height)
{
    static const double skin[3] = { 0.55, 0.36, 0.27 }, hair[3] = { 0.16, 0.10, 0.06 }, coat[3] = { 0.12, 0.13, 0.17 };
    static const double lamp[3] = { 2.0, 1.5, 0.6 };
    const struct picture cut = blank(width, height, HAS_RGBA);
    struct dice dice = { 5 };
    const double w = width, h = height, cx = 0.5 * w, cy = 0.42 * h, radius = 0.2 * h;
    double hairs[160][4];
    for (int k = 0; k < 160; k++) {
        const double turn = 3.1 + 3.3 * dice_uniform(&dice), bend = turn + 0.5 * (dice_uniform(&dice) - 0.5);
        const double length = radius * (1.15 + 0.5 * dice_uniform(&dice));
        hairs[k][0] = cx + 0.9 * radius * cos(turn);
        hairs[k][1] = cy + 0.9 * radius * sin(turn);
        hairs[k][2] = cx + length * cos(bend);
        hairs[k][3] = cy + length * sin(bend);
    }
    for (int32_t py = 0; py < height; py++) {
        for (int32_t px = 0; px < width; px++) {
            const double x = px + 0.5, y = py + 0.5;
            paint(&cut, px, py, coat, box_coverage(x, y, (const double[]){ 0.3 * w, 0.66 * h, 0.7 * w, 1.2 * h }, 1.5));
            paint(&cut, px, py, lamp, disc_coverage(x, y, 0.75 * w, 0.75 * h, 0.05 * h, 2));
            paint(&cut, px, py, hair, disc_coverage(x, y, cx, cy - 0.03 * h, radius * 1.08, 2));
            paint(&cut, px, py, skin, disc_coverage(x, y, cx, cy + 0.05 * h, radius * 0.95, 1.5));
            for (int k = 0; k < 160; k++)
                paint(&cut, px, py, hair, 0.9 * (0.9 - line_distance(x, y, hairs[k])));
        }
    }
    return cut;
}

struct picture scene_screen(int32_t width, int32_t height, const double colour[3], double uneven, bool marks)
{
    const struct picture screen = blank(width, height, HAS_RGB);
    for (int32_t py = 0; py < height; py++) {
        for (int32_t px = 0; px < width; px++) {
            const double x = (px + 0.5) / width, y = (py + 0.5) / height;
            double light = 1 - uneven * (0.6 * (x - 0.3) * (x - 0.3) + 0.5 * y * y + 0.3 * x * y);
            if (marks && fabs(x - 0.85) < 0.01 && y > 0.4)
                light *= 0.55; /* a stand */
            if (marks && fabs(x - 0.15) < 0.02 && fabs(y - 0.75) < 0.006)
                light *= 1.3; /* tape */
            for (int c = 0; c < 3; c++)
                *pixel(&screen, c, px, py) = (float)(colour[c] * light);
        }
    }
    return screen;
}

struct picture scene_take(const struct picture *cut, const struct picture *screen, double level)
{
    const struct picture take = blank(rect_width(screen->area), rect_height(screen->area), HAS_RGB);
    for (int c = 0; c < 3; c++) {
        for (int32_t y = 0; y < take.area.y1; y++) {
            for (int32_t x = 0; x < take.area.x1; x++) {
                const float t = cut == NULL ? 1 : 1 - *pixel(cut, PLANE_A, x, y);
                const float front = cut == NULL ? 0 : *pixel(cut, c, x, y);
                *pixel(&take, c, x, y) = front + t * (float)level * *pixel(screen, c, x, y);
            }
        }
    }
    return take;
}

void scene_add_noise(const struct picture *picture, struct camera camera, struct dice *dice)
{
    for (int c = 0; c < 3; c++) {
        for (int32_t y = picture->area.y0; y < picture->area.y1; y++) {
            for (int32_t x = picture->area.x0; x < picture->area.x1; x++) {
                float *at = pixel(picture, c, x, y);
                *at += (float)(sqrt(camera.gain * fmax((double)*at, 0) + camera.floor) * dice_gauss(dice));
            }
        }
    }
}
