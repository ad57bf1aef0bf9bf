/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/* Membranes against harmonic functions and a slow direct iteration; surfaces from steps; labels against all labellings.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <string.h>

#include "fail_memory.h"
#include "numerics/graph_cut.h"
#include "numerics/membrane.h"
#include "numerics/poisson.h"

#define W 61
#define H 47

/* Harmonic: what is known around a gap decides the rest. */
static double harmonic(double x, double y)
{
    return 0.3 + 0.01 * x - 0.02 * y + 0.0007 * (x * x - y * y) + 0.0003 * x * y;
}

static void test_harmonic(void **state)
{
    (void)state;
    float plane[W * H], weight[W * H], *planes[1] = { plane };
    double worst = 0;
    for (int i = 0; i < W * H; i++) {
        const int x = i % W, y = i / W;
        const int gap = (x - 30) * (x - 30) + (y - 22) * (y - 22) < 15 * 15;
        weight[i] = gap ? 0 : 1;
        plane[i] = gap ? NAN : (float)harmonic(x, y);
    }
    assert_int_equal(membrane_fill(planes, 1, weight, W, H, 0, NULL), PASSEL_OK);
    for (int i = 0; i < W * H; i++)
        worst = fmax(worst, fabs((double)plane[i] - harmonic(i % W, i / W)));
    assert_true(worst < 2e-3); /* of values that span 1.5 */
}

/* At a free edge with pull, values fall off as the solution of u'' = pull u does: cosh. */
static void test_pull(void **state)
{
    (void)state;
    float plane[W * H] = { 0 }, weight[W * H] = { 0 }, *planes[1] = { plane };
    const double pull = 1 / 36.0, rate = acosh(1 + pull / 2); /* of the difference equation */
    for (int y = 0; y < H; y++) {
        weight[y * W] = 1;
        plane[y * W] = 2;
    }
    assert_int_equal(membrane_fill(planes, 1, weight, W, H, (float)pull, NULL), PASSEL_OK);
    for (int i = 0; i < W * H; i++) {
        const double wanted = 2 * cosh((W - 0.5 - i % W) * rate) / cosh((W - 0.5) * rate);
        assert_float_equal((double)plane[i], wanted, 0.02);
    }
}

static void test_nothing_known(void **state)
{
    (void)state;
    float plane[12] = { 1, 2, 3 }, weight[12] = { 0 }, *planes[1] = { plane };
    assert_int_equal(membrane_fill(planes, 1, weight, 4, 3, 0, NULL), PASSEL_OK);
    for (int i = 0; i < 12; i++)
        assert_true(plane[i] == 0);
    weight[5] = 1;
    plane[5] = 7;
    assert_int_equal(membrane_fill(planes, 1, weight, 4, 3, 0, NULL), PASSEL_OK);
    for (int i = 0; i < 12; i++)
        assert_float_equal(plane[i], 7, 1e-4);
}

/* Steps of a known surface give the surface back, from one fixed corner. */
static void test_steps(void **state)
{
    (void)state;
    enum { w = 14, h = 9 };
    float surface[w * h] = { 0 }, wanted[w * h], right[w * h] = { 0 }, down[w * h] = { 0 };
    unsigned char cells[w * h];
    for (int i = 0; i < w * h; i++)
        wanted[i] = (float)((i * 37 % 11) - 5);
    for (int i = 0; i < w * h; i++) {
        right[i] = i % w + 1 < w ? wanted[i + 1] - wanted[i] : 0;
        down[i] = i + w < w * h ? wanted[i + w] - wanted[i] : 0;
        cells[i] = i == 0 ? POISSON_FIXED : POISSON_FREE;
    }
    surface[0] = wanted[0];
    poisson_solve(surface, right, down, cells, w, h, 0);
    for (int i = 0; i < w * h; i++)
        assert_float_equal(surface[i], wanted[i], 0.01);
}

/* ---- labels ---------------------------------------------------------------------------------------------------- */

#define LW 4
#define LH 3
#define LABELS 2

static int32_t cost_of(const void *data, int32_t cell, int32_t label)
{
    const int32_t *costs = data;
    return costs[cell * LABELS + label];
}

static int32_t joint_of(const void *data, int32_t p, int32_t q, int32_t a, int32_t b)
{
    const int32_t *costs = data;
    return a == b ? 0 : costs[LW * LH * LABELS + (p * 5 + q) % 7];
}

static int32_t energy_of(const int32_t *costs, const bool *open, const int32_t *label)
{
    int32_t sum = 0;
    for (int p = 0; p < LW * LH; p++) {
        if (!open[p])
            continue;
        sum += cost_of(costs, p, label[p]);
        if (p % LW + 1 < LW && open[p + 1])
            sum += joint_of(costs, p, p + 1, label[p], label[p + 1]);
        if (p + LW < LW * LH && open[p + LW])
            sum += joint_of(costs, p, p + LW, label[p], label[p + LW]);
    }
    return sum;
}

/* With two labels one expansion finds the best of all labellings; here all 4096 are tried. */
static void test_labels(void **state)
{
    (void)state;
    uint32_t dice = 12345;
    for (int round = 0; round < 40; round++) {
        int32_t costs[LW * LH * LABELS + 7], label[LW * LH] = { 0 }, best = INT32_MAX;
        bool open[LW * LH];
        for (size_t i = 0; i < sizeof costs / sizeof *costs; i++)
            costs[i] = (int32_t)((dice = dice * 1664525 + 1013904223) >> 20) % 100;
        for (int i = 0; i < LW * LH; i++)
            open[i] = round % 2 == 0 || i != 5;
        const struct labelling labelling = {
            .width = LW, .height = LH, .labels = LABELS, .open = open, .data = costs, .cell = cost_of, .pair = joint_of
        };
        assert_int_equal(graph_cut_label(&labelling, 4, label, NULL), PASSEL_OK);
        for (int code = 0; code < 1 << (LW * LH); code++) {
            int32_t tried[LW * LH];
            for (int i = 0; i < LW * LH; i++)
                tried[i] = code >> i & 1;
            const int32_t energy = energy_of(costs, open, tried);
            best = energy < best ? energy : best;
        }
        assert_int_equal(energy_of(costs, open, label), best);
    }
}

static enum passel_status span(void *data)
{
    float weight[64] = { 1 };
    return membrane_fill(data, 1, weight, 8, 8, 0, NULL);
}

static enum passel_status cut(void *data)
{
    int32_t label[LW * LH] = { 0 };
    bool open[LW * LH] = { true, true };
    const struct labelling labelling = {
        .width = LW, .height = LH, .labels = LABELS, .open = open, .data = data, .cell = cost_of, .pair = joint_of
    };
    return graph_cut_label(&labelling, 1, label, NULL);
}

static void test_no_memory(void **state)
{
    (void)state;
    float plane[64] = { 0 }, *planes[1] = { plane };
    int32_t costs[LW * LH * LABELS + 7] = { 0 };
    assert_true(fail_memory_each(span, planes) > 0);
    assert_true(fail_memory_each(cut, costs) > 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_harmonic), cmocka_unit_test(test_pull),   cmocka_unit_test(test_nothing_known),
        cmocka_unit_test(test_steps),    cmocka_unit_test(test_labels), cmocka_unit_test(test_no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
