/* SPDX-License-Identifier: BSD-3-Clause */
/* Copyright (c) 2026 The Passel authors */
/*
 * passel plan: scale, focus, ranks, background. Sums about the camera before the set.
 */
#include <math.h>
#include <stdio.h>

#include "command/plan_topic.h"
#include "survey/sums.h"
#include "survey/units.h"

static void scale_light(const struct plan_given *given, double camera)
{
    const double stops = sum_stops(given->rate, camera);
    plan_say("exposure", "shutter / 360 / rate; definition", "1/%.4g s instead of 1/%.4g s at %.4g degrees",
             1 / sum_exposure(camera, given->shutter), 1 / sum_exposure(given->rate, given->shutter), given->shutter);
    plan_say("light lost", "log2 of the two rates; definition", "%.2f stops: %.3g times the light on the set", stops,
             exp2(stops));
}

static void scale_speed(const struct plan_given *given, double scale, double camera)
{
    char full[QUANTITY_TEXT], set[QUANTITY_TEXT];
    const double speed = sum_set_speed(given->speed, scale, given->rate, camera);
    plan_say("speed on the set", "speed / N * camera rate / rate; VES Handbook, appendix A \"Miniatures\"",
             "%s for a full-size %s", speed_text(speed, set), speed_text(given->speed, full));
}

static void scale_stop(const struct plan_given *given, double scale)
{
    char ring[QUANTITY_TEXT];
    const double wanted = sum_f_number(given->stop, scale);
    const double stops = 2 * sum_stops(given->stop, wanted);
    plan_say("f-number", "f-number * N, same lens: the pupil shrinks with the scene; derived from the thin lens",
             "f/%.3g, on the ring f/%.4g, for the depth of field of f/%.3g", wanted, sum_engraved(wanted), given->stop);
    plan_say("light lost by it", "2 * log2 of the two f-numbers; definition", "%.2f stops: %.4g times the light", stops,
             exp2(stops));
    plan_say("softness from the stop", "first dark ring, 2.44 * 550 nm * f-number; Airy 1835", "%s on the sensor",
             length_text(sum_airy(wanted), ring));
    plan_note("A pass that holds still needs no stop for its own: expose each frame longer instead.");
}

void plan_scale(const struct plan_given *given)
{
    const double scale = given->numbers[0];
    const double camera = sum_camera_rate(given->rate, scale);
    plan_say("camera rate", "rate * sqrt(N); VES Handbook, appendix A \"Miniatures\"", "%.4g frames a second for %.4g",
             camera, given->rate);
    plan_say("retimed", "rate / camera rate", "plays at %.4g%% of its filmed speed: `speed %.4g%%`",
             100 * given->rate / camera, 100 * given->rate / camera);
    scale_light(given, camera);
    if (given->speed > 0)
        scale_speed(given, scale, camera);
    if (given->stop > 0)
        scale_stop(given, scale);
    if (given->distance > 0) {
        char full[QUANTITY_TEXT], set[QUANTITY_TEXT];
        plan_say("camera to the model", "distance / N, height and moves too, angles the same; similar triangles",
                 "%s for a full-size %s", length_text(given->distance / scale, set),
                 length_text(given->distance, full));
    }
    plan_note("The rate is for what falls, splashes, burns or blows. What only stands can be filmed at any rate.");
    plan_note("More light is more heat and more load on the mains: licensed people and local codes decide.");
}

static double blur_of(const struct plan_given *given)
{
    return given->blur > 0 ? given->blur : given->sensor / 1000;
}

static void say_blur(const struct plan_given *given)
{
    char text[QUANTITY_TEXT];
    plan_say("counts as sharp", given->blur > 0 ? "given" : "a thousandth of the sensor; common practice, no source",
             "a disc of %s", length_text(blur_of(given), text));
}

void plan_focus(const struct plan_given *given)
{
    char a[QUANTITY_TEXT], b[QUANTITY_TEXT];
    const double blur = blur_of(given);
    const struct sharp_range sharp = sum_sharp(given->lens, given->stop, given->distance, blur);
    say_blur(given);
    plan_say("sharp", "s(H-f)/(H+s-2f) to s(H-f)/(H-s); derived from the thin lens", "%s to %s",
             length_text(sharp.nearest, a), length_text(sharp.farthest, b));
    plan_say("depth", NULL, "%s", length_text(sharp.farthest - sharp.nearest, a));
    plan_say("hyperfocal distance", "H = f^2/(N c) + f; derived from the thin lens", "%s",
             length_text(sharp.hyperfocal, a));
    if (given->scale > 0) {
        plan_say("as full-size", "all lengths * scale; geometry", "a scene sharp from %s to %s",
                 length_text(sharp.nearest * given->scale, a), length_text(sharp.farthest * given->scale, b));
        plan_say("as full-size", "f-number / scale; derived from the thin lens", "the same lens at f/%.3g",
                 given->stop / given->scale);
    }
}

void plan_ranks(const struct plan_given *given)
{
    char a[QUANTITY_TEXT], b[QUANTITY_TEXT];
    const double apparent = given->numbers[0] * given->distance;
    double nearest = given->distance, farthest = given->distance;
    plan_say("seems to stand at", "scale * distance is the same for all ranks; similar triangles", "%s",
             length_text(apparent, a));
    for (int i = 0; i < given->number_count; i++) {
        char label[32];
        const double distance = apparent / given->numbers[i];
        (void)snprintf(label, sizeof label, "1:%.4g", given->numbers[i]);
        plan_say(label, NULL, "%s; 1 m (3.28 ft) of it is built %s", length_text(distance, a),
                 length_text(1 / given->numbers[i], b));
        nearest = fmin(nearest, distance);
        farthest = fmax(farthest, distance);
    }
    if (given->lens > 0 && nearest > 2 * given->lens && farthest > nearest) {
        const double focus = 2 * nearest * farthest / (nearest + farthest);
        const double stop = given->lens * given->lens * (farthest - nearest) /
                            (blur_of(given) * (2 * nearest * farthest - given->lens * (nearest + farthest)));
        say_blur(given);
        plan_say("focus at", "2 n F / (n + F); derived from the thin lens", "%s", length_text(focus, a));
        plan_say("f-number", "f^2 (F-n) / (c (2 n F - f (n+F))); derived from the thin lens", "f/%.3g or more", stop);
    }
    plan_note("Ranks agree from one place of the lens only: turn the camera about its entrance pupil, do not move it.");
}

/* One direction of the frame: what fills it, and how many pixels are left over. */
static void say_cover(const char *label, double covers, double sees, int pixels)
{
    char a[QUANTITY_TEXT], b[QUANTITY_TEXT];
    const double share = covers / sees;
    const int held = share >= 1 ? pixels : (int)floor(share * pixels);
    plan_say(label, NULL, "%s of %s seen: %.1f%%", length_text(covers, a), length_text(sees, b), 100 * share);
    if (held < pixels)
        plan_say("", NULL, "%d of %d px; `extend` must add %d px", held, pixels, pixels - held);
    else
        plan_say("", NULL, "fills all %d px", pixels);
}

void plan_background(const struct plan_given *given)
{
    char a[QUANTITY_TEXT];
    const double across = sum_field(given->sensor, given->lens, given->distance);
    const double down = across * given->pixels_down / given->pixels_across;
    plan_say("the camera sees", "sensor * (d - f) / f; derived from the thin lens", "%s across",
             length_text(across, a));
    say_cover("across", given->width, across, given->pixels_across);
    if (given->height > 0)
        say_cover("up and down", given->height, down, given->pixels_down);
    plan_say("lens that it fills", "d * sensor / (width + sensor); derived from the thin lens", "%s or longer",
             length_text(sum_lens_to_fill(given->sensor, given->width, given->distance), a));
    plan_say("distance that it fills", "f * (width + sensor) / sensor; derived from the thin lens", "%s or nearer",
             length_text(sum_distance_to_fill(given->sensor, given->lens, given->width), a));
    plan_note("Measured from the lens's entrance pupil, square to its axis. Leave a margin for the handheld move.");
}
