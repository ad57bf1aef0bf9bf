/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/* The noise model: found again from pictures made with a known one. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>

#include "fail_memory.h"
#include "key_scene.h"
#include "numerics/noise_model.h"

/* A ramp of light across, 0 … most, with noise; the right `busy` part of it is covered with fine texture. */
static struct picture ramp(double most, struct camera camera, double busy, uint64_t seed)
{
    struct picture picture;
    struct dice dice = { seed };
    assert_int_equal(picture_new(&picture, rect_of(-3, 5, 637, 325), HAS_RGB, NULL), PASSEL_OK);
    for (int c = 0; c < 3; c++) {
        for (int32_t y = picture.area.y0; y < picture.area.y1; y++) {
            for (int32_t x = 0; x < 640; x++) {
                const double down = (y - picture.area.y0) / 320.0,
                             weave = down < busy ? 0.3 * ((x * 7 + y * 5) % 4) : 0;
                picture_row(&picture, (enum plane)c, y)[x] = (float)(most * x / 640 * (1 + weave));
            }
        }
    }
    scene_add_noise(&picture, camera, &dice);
    return picture;
}

static struct noise measured(const struct picture *picture)
{
    struct noise_samples samples = { 0 };
    assert_int_equal(noise_gather(&samples, picture, PLANE_G, NULL), PASSEL_OK);
    assert_int_equal(samples.count, 40 * 20);
    const struct noise noise = noise_fit(&samples);
    noise_samples_release(&samples);
    return noise;
}

static void check(double most, struct camera camera, double busy, float within)
{
    for (uint64_t seed = 1; seed <= 4; seed++) {
        struct picture picture = ramp(most, camera, busy, seed);
        const struct noise noise = measured(&picture);
        for (int k = 1; k <= 4; k++) {
            const float level = (float)(most * k / 4.5);
            const double sigma = sqrt(camera.gain * (double)level + camera.floor);
            const float share = sqrtf(noise_variance(noise, level)) / (float)sigma;
            if (fabsf(share - 1) > within)
                fail_msg("at %g: %.3f of the true noise (gain %g, floor %g)", (double)level, (double)share,
                         (double)noise.gain, (double)noise.floor);
        }
        picture_release(&picture);
    }
}

static void test_found_again(void **state)
{
    (void)state;
    check(1, (struct camera){ 4e-4, 1e-5 }, 0, 0.05F);
    check(1, (struct camera){ 0, 1e-4 }, 0, 0.05F);
    check(0.02, (struct camera){ 1e-6, 1e-8 }, 0, 0.05F);
    check(8, (struct camera){ 2e-3, 0 }, 0, 0.05F);
}

static void test_texture(void **state)
{
    (void)state;
    check(1, (struct camera){ 4e-4, 1e-5 }, 0.6, 0.08F);
}

static void test_nothing_to_see(void **state)
{
    (void)state;
    struct noise_samples samples = { 0 };
    struct picture picture;
    assert_int_equal(picture_new(&picture, rect_of(0, 0, 64, 64), HAS_G, NULL), PASSEL_OK);
    picture_fill(&picture, PLANE_G, picture.area, 0.5F);
    assert_int_equal(noise_gather(&samples, &picture, PLANE_G, NULL), PASSEL_OK);
    const struct noise noise = noise_fit(&samples);
    assert_true(noise.gain == 0 && noise.floor == NOISE_FLOOR_LEAST);
    noise_samples_release(&samples);
    picture_release(&picture);
    assert_true(noise_variance((struct noise){ 1, 2 }, -5) == 2); /* below black there is read noise only */
}

static enum passel_status gather_twice(void *data)
{
    struct noise_samples samples = { 0 };
    enum passel_status status = noise_gather(&samples, data, PLANE_R, NULL);
    if (status == PASSEL_OK)
        status = noise_gather(&samples, data, PLANE_G, NULL);
    noise_samples_release(&samples);
    return status;
}

static void test_no_memory(void **state)
{
    (void)state;
    struct picture picture = ramp(1, (struct camera){ 4e-4, 1e-5 }, 0, 1);
    assert_int_equal(fail_memory_each(gather_twice, &picture), 2);
    picture_release(&picture);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_found_again),
        cmocka_unit_test(test_texture),
        cmocka_unit_test(test_nothing_to_see),
        cmocka_unit_test(test_no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
